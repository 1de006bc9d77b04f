# SPDX-License-Identifier: MIT

# Beneath the prefix, so that an installation anywhere else (and distcheck) stays there; systemd
# looks there for /usr and, but for sysusers.d, for /usr/local. Another folder, for instance:
# make install systemduserunitdir=FOLDER
if WITH_SYSTEMD
systemduserunitdir = $(prefix)/lib/systemd/user
systemduserunit_DATA = %D%/user/tholed.service %D%/user/tholed.socket
systemdsystemunitdir = $(prefix)/lib/systemd/system
systemdsystemunit_DATA = %D%/system/tholed.service %D%/system/tholed.socket
sysusersdir = $(prefix)/lib/sysusers.d
sysusers_DATA = %D%/sysusers.d/thole.conf
endif

UNIT_MAKE = $(AM_V_GEN)$(MKDIR_P) $(@D) && \
	sed -e 's|@bindir[@]|$(bindir)|' -e 's|@docdir[@]|$(docdir)|' $< >$@.tmp && mv $@.tmp $@
%D%/user/tholed.service: %D%/user/tholed.service.in Makefile
	$(UNIT_MAKE)
%D%/system/tholed.service: %D%/system/tholed.service.in Makefile
	$(UNIT_MAKE)

EXTRA_DIST += %D%/user/tholed.service.in %D%/user/tholed.socket \
	%D%/system/tholed.service.in %D%/system/tholed.socket %D%/sysusers.d/thole.conf
CLEANFILES += %D%/user/tholed.service %D%/system/tholed.service
