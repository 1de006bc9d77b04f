# SPDX-License-Identifier: MIT

# Beneath the prefix, so that an installation anywhere else (and distcheck) stays there; systemd
# looks there for /usr and /usr/local. Another folder: make install systemduserunitdir=FOLDER
systemduserunitdir = $(prefix)/lib/systemd/user
systemduserunit_DATA = %D%/tholed.service

%D%/tholed.service: %D%/tholed.service.in Makefile
	$(AM_V_GEN)$(MKDIR_P) %D% && \
	sed -e 's|@bindir[@]|$(bindir)|' -e 's|@docdir[@]|$(docdir)|' \
		'$(srcdir)/%D%/tholed.service.in' >$@.tmp && mv $@.tmp $@

EXTRA_DIST += %D%/tholed.service.in
CLEANFILES += %D%/tholed.service
