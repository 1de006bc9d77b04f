/* SPDX-License-Identifier: MIT */
/*
 * What a forecast leaves out is filled in such that everything after can count on it. Each value
 * that the source did not give is marked, so that the grower can be told.
 */
#include "weather/forecast.h"

#include <math.h>
#include <stddef.h>

#include "base/local-time.h"
#include "climate/sun.h"
#include "weather/normals.h"

#define S_PER_H 3600
#define WHOLE_DAY_H 20 /* a local day with fewer hours may lack its coldest ones; chosen */

static double *field(WeatherHour *hour, size_t offset)
{
    return (double *)(void *)((char *)hour + offset);
}

static WeatherHour *hour_at(GArray *hours, guint i)
{
    return &g_array_index(hours, WeatherHour, i);
}

static guint next_with_temperature(GArray *hours, guint i)
{
    while (i < hours->len && isnan(hour_at(hours, i)->temperature_c))
        i++;
    return i;
}

/* Adds the hours strictly between the rows `i` and `j`: the row itself where there is one. */
static void append_between(GArray *to, GArray *rows, guint i, guint j)
{
    int64_t end = hour_at(rows, j)->time_utc;
    guint row = i + 1;
    for (int64_t t = hour_at(rows, i)->time_utc + S_PER_H; t < end; t += S_PER_H) {
        if (row < j && hour_at(rows, row)->time_utc == t) {
            g_array_append_val(to, *hour_at(rows, row));
            row++;
        } else {
            WeatherHour missing = weather_hour_missing(t);
            g_array_append_val(to, missing);
        }
    }
}

/* Leaves the hours from the first temperature to the first large hole, one for each hour. */
static void close_ranks(Forecast *forecast)
{
    GArray *rows = forecast->hours;
    GArray *whole = g_array_sized_new(FALSE, FALSE, sizeof(WeatherHour), rows->len);
    guint first = next_with_temperature(rows, 0);
    if (first > 0)
        g_ptr_array_add(forecast->notes,
                        g_strdup_printf("hours left out before the first temperature: %u", first));
    for (guint i = first; i < rows->len;) {
        g_array_append_val(whole, *hour_at(rows, i));
        guint next = next_with_temperature(rows, i + 1);
        if (next == rows->len && next == i + 1)
            break;
        int64_t from = hour_at(rows, i)->time_utc;
        if (next == rows->len ||
            hour_at(rows, next)->time_utc - from > (FORECAST_HOLE_H + 1) * S_PER_H) {
            g_autofree char *when = utc_format(from);
            g_ptr_array_add(forecast->notes, g_strdup_printf("no temperature for a while after %s: "
                                                             "what follows is not used",
                                                             when));
            break;
        }
        append_between(whole, rows, i, next);
        i = next;
    }
    g_array_unref(rows);
    forecast->hours = whole;
}

/* Interpolates holes of up to FORECAST_HOLE_H hours in one kind of instants, and marks them. */
static void interpolate(GArray *hours, size_t offset, uint32_t mark)
{
    for (guint i = 1; i < hours->len; i++) {
        if (!isnan(*field(hour_at(hours, i), offset)))
            continue;
        guint next = i;
        while (next < hours->len && isnan(*field(hour_at(hours, next), offset)))
            next++;
        double before = *field(hour_at(hours, i - 1), offset);
        if (next < hours->len && next - i <= FORECAST_HOLE_H && !isnan(before)) {
            double after = *field(hour_at(hours, next), offset);
            for (guint k = i; k < next; k++) {
                double share = (double)(k - i + 1) / (next - i + 1);
                *field(hour_at(hours, k), offset) = before + (after - before) * share;
                hour_at(hours, k)->estimated |= mark;
            }
        }
        i = next;
    }
}

static void fill_with(GArray *hours, size_t offset, uint32_t mark, double value)
{
    for (guint i = 0; i < hours->len; i++) {
        WeatherHour *hour = hour_at(hours, i);
        if (isnan(*field(hour, offset))) {
            *field(hour, offset) = value;
            hour->estimated |= mark;
        }
    }
}

/* Consecutive hours of one local day. */
typedef struct LocalDay {
    guint first, n;
    int day;
    double low_c;
} LocalDay;

static GArray *local_days(GArray *hours, GTimeZone *zone)
{
    GArray *days = g_array_new(FALSE, FALSE, sizeof(LocalDay));
    for (guint i = 0; i < hours->len; i++) {
        const WeatherHour *hour = hour_at(hours, i);
        int day = local_day(zone, hour->time_utc);
        LocalDay *last = days->len > 0 ? &g_array_index(days, LocalDay, days->len - 1) : NULL;
        if (last != NULL && last->day == day) {
            last->n++;
            last->low_c = fmin(last->low_c, hour->temperature_c);
        } else {
            LocalDay start = {.first = i, .n = 1, .day = day, .low_c = hour->temperature_c};
            g_array_append_val(days, start);
        }
    }
    return days;
}

/*
 * FAO-56 eq. 48 takes the dew point near the day's minimum. A day held in part borrows a
 * neighbour's lower minimum: a dew point too high would make the night sky too warm.
 */
static void fill_dew_point(GArray *hours, GTimeZone *zone)
{
    g_autoptr(GArray) days = local_days(hours, zone);
    for (guint d = 0; d < days->len; d++) {
        const LocalDay *day = &g_array_index(days, LocalDay, d);
        double low_c = day->low_c;
        if (day->n < WHOLE_DAY_H && d > 0)
            low_c = fmin(low_c, g_array_index(days, LocalDay, d - 1).low_c);
        if (day->n < WHOLE_DAY_H && d + 1 < days->len)
            low_c = fmin(low_c, g_array_index(days, LocalDay, d + 1).low_c);
        for (guint i = day->first; i < day->first + day->n; i++) {
            WeatherHour *hour = hour_at(hours, i);
            if (isnan(hour->dew_point_c)) {
                hour->dew_point_c = low_c;
                hour->estimated |= EST_DEW_POINT;
            }
            hour->dew_point_c = fmin(hour->dew_point_c, hour->temperature_c);
        }
    }
}

double weather_radiation_wm2(int64_t end_utc, double latitude, double longitude, double cloud_pct)
{
    double clear = sun_clear_sky_mean_wm2(end_utc - S_PER_H, end_utc, latitude, longitude);
    return clear * (1 - 0.75 * pow(cloud_pct / 100, 3.4));
}

static void fill_radiation(GArray *hours, const Site *site)
{
    for (guint i = 0; i < hours->len; i++) {
        WeatherHour *hour = hour_at(hours, i);
        if (!isnan(hour->radiation_wm2))
            continue;
        double cloud_pct = hour->cloud_pct;
        if (i > 0)
            cloud_pct = (cloud_pct + hour_at(hours, i - 1)->cloud_pct) / 2;
        hour->radiation_wm2 =
            weather_radiation_wm2(hour->time_utc, site->latitude, site->longitude, cloud_pct);
        hour->estimated |= EST_RADIATION;
    }
}

void weather_complete(Forecast *forecast, const Site *site, GTimeZone *zone)
{
    close_ranks(forecast);
    GArray *hours = forecast->hours;
    interpolate(hours, offsetof(WeatherHour, temperature_c), EST_INTERPOLATED);
    interpolate(hours, offsetof(WeatherHour, dew_point_c), EST_DEW_POINT);
    interpolate(hours, offsetof(WeatherHour, cloud_pct), EST_CLOUD);
    interpolate(hours, offsetof(WeatherHour, wind_ms), EST_WIND);
    fill_dew_point(hours, zone);
    fill_with(hours, offsetof(WeatherHour, cloud_pct), EST_CLOUD, NORMALS_CLOUD_PCT);
    fill_with(hours, offsetof(WeatherHour, wind_ms), EST_WIND, NORMALS_WIND_MS);
    fill_radiation(hours, site);
    for (guint i = 0; i < hours->len; i++) {
        double lead_s = (double)(hour_at(hours, i)->time_utc - forecast->issued_utc);
        /* fmax passes over NAN */
        hour_at(hours, i)->spread_k =
            fmax(hour_at(hours, i)->spread_k, weather_spread_k(lead_s / S_PER_H));
    }
}
