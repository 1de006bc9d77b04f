# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libcaldav.a
%C%_libcaldav_a_SOURCES = \
	%D%/edit.c %D%/edit.h \
	%D%/state.c %D%/state.h \
	%D%/sync.c %D%/sync.h %D%/sync-private.h %D%/sync-take.c
%C%_libcaldav_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(XML_CFLAGS)

EXTRA_DIST += docs/caldav.md
