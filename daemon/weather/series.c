/* SPDX-License-Identifier: MIT */
#include "weather/series.h"

#include <math.h>
#include <string.h>

#include "weather/normals.h"

#define S_PER_H 3600
#define S_PER_DAY 86400
#define JOIN_H 24    /* over which a forecast fades into the normals; chosen */
#define OLD_H 24     /* chosen */
#define MISSING_H 72 /* chosen */
#define DEEP_DAYS 30 /* of air that the ground far below follows; chosen */

/* What a series is made of. */
typedef struct Merge {
    const Site *site;
    GPtrArray *visible; /* (owned) (element-type Forecast) not empty, newest issue first */
    int64_t now_utc;
    bool missing;
} Merge;

static const WeatherHour *hour_at(const GArray *hours, guint i)
{
    return &g_array_index(hours, WeatherHour, i);
}

static int64_t last_utc(const Forecast *forecast)
{
    return hour_at(forecast->hours, forecast->hours->len - 1)->time_utc;
}

/* The hour of a completed forecast at `utc`, NULL outside it. */
static const WeatherHour *find_hour(const GArray *hours, int64_t utc)
{
    if (hours->len == 0 || utc < hour_at(hours, 0)->time_utc)
        return NULL;
    int64_t i = (utc - hour_at(hours, 0)->time_utc) / S_PER_H;
    return i < hours->len ? hour_at(hours, (guint)i) : NULL;
}

/* Newest issue first; of equal ones the last fetched, then the one made for the site by name. */
static gint compare_age(gconstpointer a, gconstpointer b)
{
    const Forecast *one = *(Forecast *const *)a, *other = *(Forecast *const *)b;
    if (one->issued_utc != other->issued_utc)
        return one->issued_utc > other->issued_utc ? -1 : 1;
    if (one->fetched_utc != other->fetched_utc)
        return one->fetched_utc > other->fetched_utc ? -1 : 1;
    return (one->site[0] == '\0') - (other->site[0] == '\0');
}

static GPtrArray *visible_forecasts(const Site *site, const GPtrArray *forecasts, int64_t now_utc)
{
    GPtrArray *visible = g_ptr_array_new();
    for (guint i = 0; i < forecasts->len; i++) {
        Forecast *forecast = g_ptr_array_index(forecasts, i);
        bool ours = forecast->site[0] == '\0' || strcmp(forecast->site, site->name) == 0;
        if (ours && forecast->issued_utc <= now_utc && forecast->hours->len > 0)
            g_ptr_array_add(visible, forecast);
    }
    g_ptr_array_sort(visible, compare_age);
    return visible;
}

/* How good the forecasts are for the hours after now, and how far they reach. */
static void judge(Merge *merge, WeatherSeries *series)
{
    series->quality = WEATHER_MISSING;
    for (guint i = 0; i < merge->visible->len; i++) {
        const Forecast *forecast = g_ptr_array_index(merge->visible, i);
        int64_t age_s = merge->now_utc - forecast->issued_utc;
        bool reaches = last_utc(forecast) > merge->now_utc && age_s <= MISSING_H * S_PER_H;
        if (reaches && series->quality == WEATHER_MISSING) {
            series->quality = age_s <= OLD_H * S_PER_H ? WEATHER_FRESH : WEATHER_OLD;
            series->issued_utc = forecast->issued_utc;
        }
        if (reaches)
            series->valid_to_utc = MAX(series->valid_to_utc, last_utc(forecast));
    }
    merge->missing = series->quality == WEATHER_MISSING;
    if (merge->missing && merge->visible->len > 0) {
        const Forecast *last = g_ptr_array_index(merge->visible, 0);
        series->issued_utc = last->issued_utc;
    }
}

/* What was forecast most recently for `utc`; NULL where nothing may be used. */
static const WeatherHour *forecast_hour(const Merge *merge, int64_t utc)
{
    for (guint i = 0; i < merge->visible->len; i++) {
        const Forecast *forecast = g_ptr_array_index(merge->visible, i);
        if (utc > merge->now_utc && merge->now_utc - forecast->issued_utc > MISSING_H * S_PER_H)
            return NULL;
        const WeatherHour *hour = find_hour(forecast->hours, utc);
        if (hour != NULL)
            return hour;
    }
    return NULL;
}

/* How far the forecast at one end of a gap lies from the normals, and how much that counts. */
typedef struct Join {
    double weight, temperature_k, dew_point_k, spread_k;
} Join;

/* `end` is the forecast hour at one end, NULL without one; it fades over `taper_h`. */
static Join join_at(const Merge *merge, const WeatherHour *end, int64_t utc, double taper_h)
{
    Join join = {0};
    if (end == NULL)
        return join;
    double distance_h = fabs((double)(utc - end->time_utc)) / S_PER_H;
    join.weight = fmax(0, 1 - distance_h / taper_h);
    if (join.weight <= 0)
        return join;
    WeatherHour normal = weather_normals_hour(merge->site, end->time_utc, false);
    join.temperature_k = end->temperature_c - normal.temperature_c;
    join.dew_point_k = end->dew_point_c - normal.dew_point_c;
    join.spread_k = end->spread_k - normal.spread_k;
    return join;
}

static WeatherHour gap_hour(const Merge *merge, int64_t utc, const Join *before, const Join *after)
{
    bool cautious = merge->missing && utc > merge->now_utc;
    WeatherHour hour = weather_normals_hour(merge->site, utc, cautious);
    double shift = before->weight * before->temperature_k + after->weight * after->temperature_k;
    double dew_shift = before->weight * before->dew_point_k + after->weight * after->dew_point_k;
    if (cautious) {
        shift = fmin(shift, 0);
        dew_shift = fmin(dew_shift, 0);
    } else {
        hour.spread_k += before->weight * before->spread_k + after->weight * after->spread_k;
    }
    hour.temperature_c += shift;
    hour.dew_point_c = fmin(hour.dew_point_c + dew_shift, hour.temperature_c);
    return hour;
}

/* Fills the hours [first, end) of `hours`, which no forecast holds. */
static void fill_gap(const Merge *merge, GArray *hours, guint first, guint end)
{
    const WeatherHour *before = first > 0 ? hour_at(hours, first - 1) : NULL;
    const WeatherHour *after = end < hours->len ? hour_at(hours, end) : NULL;
    double taper_h = JOIN_H;
    if (before != NULL && after != NULL)
        taper_h = fmin(taper_h, (double)(after->time_utc - before->time_utc) / S_PER_H);
    for (guint i = first; i < end; i++) {
        int64_t utc = hour_at(hours, i)->time_utc;
        Join from = join_at(merge, before, utc, taper_h);
        Join to = join_at(merge, after, utc, taper_h);
        g_array_index(hours, WeatherHour, i) = gap_hour(merge, utc, &from, &to);
    }
}

/* Every hour of [from_utc, to_utc], both on the hour. */
static GArray *merge_hours(const Merge *merge, int64_t from_utc, int64_t to_utc)
{
    GArray *hours = g_array_new(FALSE, FALSE, sizeof(WeatherHour));
    for (int64_t t = from_utc; t <= to_utc; t += S_PER_H) {
        const WeatherHour *held = forecast_hour(merge, t);
        WeatherHour hour = held != NULL ? *held : weather_hour_missing(t);
        g_array_append_val(hours, hour);
    }
    for (guint i = 0; i < hours->len;) {
        guint end = i;
        while (end < hours->len && isnan(hour_at(hours, end)->temperature_c))
            end++;
        if (end > i)
            fill_gap(merge, hours, i, end);
        i = end + 1;
    }
    return hours;
}

static int64_t hour_before(int64_t utc)
{
    int64_t rest = utc % S_PER_H;
    return utc - (rest < 0 ? rest + S_PER_H : rest);
}

WeatherSeries *weather_series_new(const Site *site, const GPtrArray *forecasts, int64_t now_utc,
                                  int64_t from_utc, int64_t to_utc)
{
    WeatherSeries *series = g_new0(WeatherSeries, 1);
    series->site = g_strdup(site->name);
    Merge merge = {.site = site, .now_utc = now_utc};
    merge.visible = visible_forecasts(site, forecasts, now_utc);
    judge(&merge, series);
    /* A day more on both sides, so that a join does not depend on where the series is cut. */
    int64_t from = hour_before(from_utc);
    int64_t to = hour_before(to_utc + S_PER_H - 1);
    series->hours = merge_hours(&merge, from - JOIN_H * S_PER_H, to + JOIN_H * S_PER_H);
    g_array_remove_range(series->hours, series->hours->len - JOIN_H, JOIN_H);
    g_array_remove_range(series->hours, 0, JOIN_H);
    g_ptr_array_unref(merge.visible);
    return series;
}

void weather_series_free(WeatherSeries *series)
{
    if (series == NULL)
        return;
    g_free(series->site);
    g_array_unref(series->hours);
    g_free(series);
}

/* "Tue 12:00", after a week "Tue 12 May 12:00"; in English, whatever the locale. */
static char *since_text(int64_t utc, int64_t now_utc, GTimeZone *zone)
{
    static const char *const days[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"};
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    g_autoptr(GDateTime) in_utc = g_date_time_new_from_unix_utc(utc);
    g_autoptr(GDateTime) time = g_date_time_to_timezone(in_utc, zone);
    const char *day = days[g_date_time_get_day_of_week(time) - 1];
    int hour = g_date_time_get_hour(time), minute = g_date_time_get_minute(time);
    if (now_utc - utc < 6 * S_PER_DAY)
        return g_strdup_printf("%s %02d:%02d", day, hour, minute);
    return g_strdup_printf("%s %d %s %02d:%02d", day, g_date_time_get_day_of_month(time),
                           months[g_date_time_get_month(time) - 1], hour, minute);
}

char *weather_quality_text(const WeatherSeries *series, int64_t now_utc, GTimeZone *zone)
{
    if (series->quality != WEATHER_MISSING)
        return g_strdup_printf("forecast %d h old",
                               (int)((now_utc - series->issued_utc) / S_PER_H));
    if (series->issued_utc == 0)
        return g_strdup("no forecast yet: planned on normals and the last frost date");
    g_autofree char *since = since_text(series->issued_utc, now_utc, zone);
    return g_strdup_printf("no forecast since %s: planned on normals and the last frost date",
                           since);
}

double weather_deep_c(const WeatherSeries *series, const Site *site, int64_t now_utc)
{
    int64_t last = hour_before(now_utc);
    double sum_c = 0;
    for (int i = 0; i < DEEP_DAYS * 24; i++) {
        int64_t utc = last - (int64_t)i * S_PER_H;
        const WeatherHour *hour = series != NULL ? find_hour(series->hours, utc) : NULL;
        sum_c += hour != NULL ? hour->temperature_c : weather_normals_mean_c(&site->normals, utc);
    }
    return sum_c / (DEEP_DAYS * 24);
}
