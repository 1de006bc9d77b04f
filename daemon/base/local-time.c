/* SPDX-License-Identifier: MIT */
/*
 * GLib knows the offset at an instant, and that is all that is asked of it here. Its own way from a
 * wall time to an instant gives the second of two and moves a missing time to the end of the gap.
 */
#include "base/local-time.h"

#include "base/error.h"

#define DAY_S 86400
#define EPOCH_JULIAN 719163 /* 1970-01-01 in GDate, which counts from 0001-01-01 as day 1 */

static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b < 0);
}

static int64_t offset_at(GTimeZone *zone, int64_t utc)
{
    const int interval = g_time_zone_find_interval(zone, G_TIME_TYPE_UNIVERSAL, utc);

    return g_time_zone_get_offset(zone, interval);
}

int local_day_from_date(int year, int month, int day_of_month)
{
    GDate date;

    g_date_clear(&date, 1);
    g_date_set_dmy(&date, (GDateDay)day_of_month, (GDateMonth)month, (GDateYear)year);
    return (int)g_date_get_julian(&date) - EPOCH_JULIAN;
}

void local_day_to_date(int day, int *ret_year, int *ret_month, int *ret_day_of_month)
{
    GDate date;

    g_date_clear(&date, 1);
    g_date_set_julian(&date, (guint32)(day + EPOCH_JULIAN));
    *ret_year = g_date_get_year(&date);
    *ret_month = (int)g_date_get_month(&date);
    *ret_day_of_month = g_date_get_day(&date);
}

int local_weekday(int day)
{
    /* Day 0, 1970-01-01, was a Thursday. */
    return (int)(day + 3 - 7 * floor_div(day + 3, 7)) + 1;
}

int local_day(GTimeZone *zone, int64_t utc)
{
    return (int)floor_div(utc + offset_at(zone, utc), DAY_S);
}

int local_minute_of_day(GTimeZone *zone, int64_t utc)
{
    return local_day_and_minute(zone, utc, NULL);
}

int local_day_and_minute(GTimeZone *zone, int64_t utc, int *ret_day)
{
    const int64_t local_s = utc + offset_at(zone, utc);
    const int64_t day = floor_div(local_s, DAY_S);

    if (ret_day != NULL)
        *ret_day = (int)day;
    return (int)((local_s - day * DAY_S) / 60);
}

/*
 * Offsets lie within 14 hours, so a day earlier and a day later are safely on either side of the
 * wall time; no zone changes twice within two days. If the offset before holds at the instant that
 * it gives, that is the (first) one; else if the one after does, that; else the time is in a gap.
 */
int64_t local_time_on_day(GTimeZone *zone, int day, int minute_of_day)
{
    const int64_t wall = (int64_t)day * DAY_S + (int64_t)minute_of_day * 60;
    const int64_t before = offset_at(zone, wall - DAY_S);
    const int64_t after = offset_at(zone, wall + DAY_S);

    if (offset_at(zone, wall - before) == before)
        return wall - before;
    if (offset_at(zone, wall - after) == after)
        return wall - after;
    return wall - before;
}

int64_t local_midnight(GTimeZone *zone, int day)
{
    return local_time_on_day(zone, day, 0);
}

/* Whether TEXT is like PATTERN, where 0 stands for any digit. */
static gboolean looks_like(const char *text, const char *pattern)
{
    for (; *pattern; text++, pattern++) {
        if (*pattern == '0' ? !g_ascii_isdigit(*text) : *text != *pattern)
            return FALSE;
    }
    return *text == '\0';
}

static int two_digits(const char *text)
{
    return 10 * (text[0] - '0') + (text[1] - '0');
}

/* The day of YYYY-MM-DD at the start of TEXT, which is known to look like it. */
static gboolean date_digits(const char *text, int *ret_day)
{
    const int year = 100 * two_digits(text) + two_digits(text + 2);
    const int month = two_digits(text + 5);
    const int day_of_month = two_digits(text + 8);

    if (!g_date_valid_dmy((GDateDay)day_of_month, (GDateMonth)month, (GDateYear)year))
        return FALSE;
    *ret_day = local_day_from_date(year, month, day_of_month);
    return TRUE;
}

gboolean local_day_parse(const char *text, int *ret_day, GError **error)
{
    if (looks_like(text, "0000-00-00") && date_digits(text, ret_day))
        return TRUE;
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                "\"%.40s\" is not a date; expected one like 2026-04-12", text);
    return FALSE;
}

char *local_day_format(int day)
{
    int year, month, day_of_month;

    local_day_to_date(day, &year, &month, &day_of_month);
    return g_strdup_printf("%04d-%02d-%02d", year, month, day_of_month);
}

gboolean utc_parse(const char *text, int64_t *ret_utc, GError **error)
{
    const gboolean with_seconds = looks_like(text, "0000-00-00T00:00:00Z");

    if (with_seconds || looks_like(text, "0000-00-00T00:00Z")) {
        const int hour = two_digits(text + 11);
        const int minute = two_digits(text + 14);
        const int second = with_seconds ? two_digits(text + 17) : 0;
        int day;

        if (hour < 24 && minute < 60 && second < 60 && date_digits(text, &day)) {
            *ret_utc = (int64_t)day * DAY_S + hour * 3600 + minute * 60 + second;
            return TRUE;
        }
    }
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                "\"%.40s\" is not a time in UTC; expected one like 2026-04-12T17:30:00Z", text);
    return FALSE;
}

static char *put_digits(char *to, int value, int digits)
{
    for (int i = digits; i-- > 0; value /= 10)
        to[i] = (char)('0' + value % 10);
    return to + digits;
}

/* Without printf: a reply may hold some ten thousand. */
char *utc_format(int64_t utc)
{
    const int64_t day = floor_div(utc, DAY_S);
    const int second_of_day = (int)(utc - day * DAY_S);
    char *text = g_malloc(sizeof "YYYY-MM-DDThh:mm:ssZ"), *to = text;
    int year, month, day_of_month;

    local_day_to_date((int)day, &year, &month, &day_of_month);
    to = put_digits(to, year, 4);
    *to++ = '-';
    to = put_digits(to, month, 2);
    *to++ = '-';
    to = put_digits(to, day_of_month, 2);
    *to++ = 'T';
    to = put_digits(to, second_of_day / 3600, 2);
    *to++ = ':';
    to = put_digits(to, second_of_day / 60 % 60, 2);
    *to++ = ':';
    to = put_digits(to, second_of_day % 60, 2);
    *to++ = 'Z';
    *to = '\0';
    return text;
}
