# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libnotifier.a
%C%_libnotifier_a_CFLAGS = $(AM_CFLAGS) $(NOTIFY_CFLAGS) $(MAIL_CFLAGS) $(SOUP_CFLAGS) $(JSON_CFLAGS)
%C%_libnotifier_a_SOURCES = \
	%D%/channel.c %D%/channel.h %D%/channel-private.h \
	%D%/channel-command.c \
	%D%/channel-message.c %D%/channel-message.h \
	%D%/channel-smtp.c \
	%D%/channel-webhook.c \
	%D%/courier.c %D%/courier.h \
	%D%/due.c %D%/due.h \
	%D%/message.c %D%/message.h \
	%D%/news.c %D%/news.h \
	%D%/notifier.c %D%/notifier.h \
	%D%/route.c %D%/route.h \
	%D%/worker.c %D%/worker.h
