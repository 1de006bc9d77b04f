# SPDX-License-Identifier: MIT

# The main job, once through.
.PHONY: demo
demo: all
	THOLE_BUILD_DIR='$(abs_top_builddir)' $(SHELL) $(srcdir)/%D%/demo/run.sh

# The README is installed with the pages that it leads to, side by side as in the tree.
dist_doc_DATA = README.md DEVELOPERS.md
docpagesdir = $(docdir)/docs
docpages_DATA = $(wildcard $(srcdir)/%D%/*.md)
docschemadir = $(docpagesdir)/schema
docschema_DATA = $(wildcard $(srcdir)/%D%/schema/*.json)

# The manuals, with the version and the folders of this installation put in.
man_pages = %D%/man/tholectl.1 %D%/man/thole.conf.5 %D%/man/thole.7 %D%/man/tholed.8
man_MANS = $(man_pages)

$(man_pages): %D%/local.mk Makefile
	$(AM_V_GEN)$(MKDIR_P) %D%/man && \
	sed -e 's|@date[@]|$(RELEASE_DAY)|' -e 's|@version[@]|$(PACKAGE_VERSION)|' \
		-e 's|@bindir[@]|$(bindir)|g' -e 's|@docdir[@]|$(docdir)|g' \
		-e 's|@pkgdatadir[@]|$(pkgdatadir)|g' '$(srcdir)/$@.in' >$@.tmp && mv $@.tmp $@
%D%/man/tholectl.1: %D%/man/tholectl.1.in
%D%/man/thole.conf.5: %D%/man/thole.conf.5.in
%D%/man/thole.7: %D%/man/thole.7.in
%D%/man/tholed.8: %D%/man/tholed.8.in

EXTRA_DIST += %D%/man/tholectl.1.in %D%/man/thole.conf.5.in %D%/man/thole.7.in %D%/man/tholed.8.in
CLEANFILES += $(man_pages)

EXTRA_DIST += $(docpages_DATA) $(docschema_DATA) $(wildcard $(srcdir)/%D%/demo/*)
