# SPDX-License-Identifier: MIT

noinst_LIBRARIES += %D%/libstore.a
%C%_libstore_a_SOURCES = \
	%D%/store.c %D%/store.h %D%/store-private.h \
	%D%/store-sql.c %D%/store-schema.c \
	%D%/store-pack.c %D%/store-pack.h \
	%D%/store-batches.c %D%/store-batches.h %D%/store-batch-events.c \
	%D%/store-garden-events.c %D%/store-garden-events.h \
	%D%/store-plan.c %D%/store-plan.h \
	%D%/store-readings.c %D%/store-readings.h \
	%D%/store-waterings.c %D%/store-waterings.h \
	%D%/store-reason.c %D%/store-reason.h \
	%D%/store-plan-records.c %D%/store-plan-records.h \
	%D%/store-weather.c %D%/store-weather.h \
	%D%/store-calendar.c %D%/store-calendar.h \
	%D%/store-minutes.c %D%/store-minutes.h \
	%D%/store-notices.c %D%/store-notices.h \
	%D%/store-wishes.c %D%/store-wishes.h \
	%D%/store-told.c %D%/store-told.h \
	%D%/store-outlets.c %D%/store-outlets.h \
	%D%/store-done-links.c %D%/store-done-links.h \
	%D%/store-export.c %D%/store-export.h
%C%_libstore_a_CFLAGS = $(AM_CFLAGS) $(SQLITE_CFLAGS) $(JSON_CFLAGS)
