/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>
#include <stdint.h>

/*
 * Between instants (UTC seconds since 1970) and local days and hours. A day is a number: days since
 * 1970-01-01 by the local calendar. All dates are in the Gregorian calendar, years 1 to 9999.
 */

#define MINUTES_PER_DAY 1440

/* The number of a date; the date must exist. */
int local_day_from_date(int year, int month, int day_of_month);

/* The date of a day number. */
void local_day_to_date(int day, int *ret_year, int *ret_month, int *ret_day_of_month);

/* 1 Monday … 7 Sunday. */
int local_weekday(int day);

/* The local day and the minute of it (0 … 1439) that an instant falls in. */
int local_day(GTimeZone *zone, int64_t utc);
int local_minute_of_day(GTimeZone *zone, int64_t utc);

/* Both at once: the minute; the day goes to RET_DAY (nullable). */
int local_day_and_minute(GTimeZone *zone, int64_t utc, int *ret_day);

/*
 * The instant when local clocks show MINUTE_OF_DAY (0 … 1440) on a day. A time that a change of the
 * clock leaves out is read with the offset from before the change (02:30 becomes 03:30); of a time
 * that comes twice it is the first. (RFC 5545 §3.3.5)
 */
int64_t local_time_on_day(GTimeZone *zone, int day, int minute_of_day);

/* The first instant of a local day. */
int64_t local_midnight(GTimeZone *zone, int day);

/* A date as YYYY-MM-DD. Parsing takes exactly that. The caller owns what formatting gives. */
gboolean local_day_parse(const char *text, int *ret_day, GError **error) G_GNUC_WARN_UNUSED_RESULT;
char *local_day_format(int day);

/*
 * An instant as ISO 8601 in UTC, 2026-04-12T17:30:00Z. Parsing takes exactly that, with or without
 * the seconds.
 */
gboolean utc_parse(const char *text, int64_t *ret_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;
char *utc_format(int64_t utc);
