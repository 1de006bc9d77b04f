# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libcalendar.a
%C%_libcalendar_a_SOURCES = \
	%D%/component.h \
	%D%/decide.c %D%/decide.h \
	%D%/event.c %D%/event.h \
	%D%/file.c %D%/file.h \
	%D%/folder.c %D%/folder.h \
	%D%/match.c %D%/match.h \
	%D%/merge.c \
	%D%/object.c %D%/object.h %D%/object-private.h \
	%D%/write.c %D%/write.h
%C%_libcalendar_a_CFLAGS = $(AM_CFLAGS) $(ICAL_CFLAGS)
