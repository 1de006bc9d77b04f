# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libcaldav.a
%C%_libcaldav_a_SOURCES = \
	%D%/dav.c %D%/dav.h \
	%D%/discover.c %D%/discover.h \
	%D%/edit.c %D%/edit.h \
	%D%/outlet.c %D%/outlet.h %D%/outlet-private.h \
	%D%/outlet-read.c %D%/outlet-write.c \
	%D%/state.c %D%/state.h \
	%D%/sync.c %D%/sync.h %D%/sync-private.h %D%/sync-take.c \
	%D%/xml.c %D%/xml.h
%C%_libcaldav_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS) $(XML_CFLAGS)
