# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libnotifier.a
%C%_libnotifier_a_CFLAGS = $(AM_CFLAGS) $(NOTIFY_CFLAGS)
%C%_libnotifier_a_SOURCES = \
	%D%/due.c %D%/due.h \
	%D%/message.c %D%/message.h \
	%D%/notifier.c %D%/notifier.h \
	%D%/worker.c %D%/worker.h
