# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libbase.a
%C%_libbase_a_SOURCES = \
	%D%/atomic-file.c %D%/atomic-file.h \
	%D%/backoff.c %D%/backoff.h \
	%D%/clock.c %D%/clock.h %D%/clock-private.h \
	%D%/clock-system.c \
	%D%/clock-virtual.c \
	%D%/error.c %D%/error.h \
	%D%/json-check.c %D%/json-check.h \
	%D%/listener.c %D%/listener.h \
	%D%/json-text.c %D%/json-text.h \
	%D%/local-time.c %D%/local-time.h \
	%D%/log.c %D%/log.h \
	%D%/names.h \
	%D%/paths.c %D%/paths.h \
	%D%/secret.c %D%/secret.h \
	%D%/supervisor.c %D%/supervisor.h \
	%D%/url.c %D%/url.h
%C%_libbase_a_CFLAGS = $(AM_CFLAGS) $(SYSTEMD_CFLAGS)
