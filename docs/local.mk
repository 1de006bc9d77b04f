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

EXTRA_DIST += $(docpages_DATA) $(docschema_DATA) $(wildcard $(srcdir)/%D%/demo/*)
