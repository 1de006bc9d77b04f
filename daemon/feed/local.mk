# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libfeed.a
%C%_libfeed_a_SOURCES = \
	%D%/arrival.c %D%/arrival.h \
	%D%/feed.c %D%/feed.h \
	%D%/page.c %D%/page.h \
	%D%/served.c %D%/served.h \
	%D%/token.c %D%/token.h \
	%D%/visitors.c %D%/visitors.h
%C%_libfeed_a_CFLAGS = $(AM_CFLAGS) $(SOUP_CFLAGS)
