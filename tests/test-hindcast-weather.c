/* SPDX-License-Identifier: MIT */
#include "test-hindcast-weather.h"

#include <math.h>
#include <stdio.h>

#include "climate/air.h"
#include "climate/sun.h"

#define HOUR_S 3600
#define DAY_S 86400
#define HARGREAVES_INLAND 0.16 /* FAO-56 eq. 50 */
#define GUST_FACTOR 1.6        /* chosen */
#define MONTH_D 30

const Station seattle = {47.6, -122.3, -7 * HOUR_S}, chicago = {41.88, -87.63, -5 * HOUR_S},
              new_york = {40.71, -74.01, -4 * HOUR_S};

int32_t hindcast_day(int year, int month, int day_of_month)
{
    g_autoptr(GDateTime) midnight = g_date_time_new_utc(year, month, day_of_month, 0, 0, 0);

    g_assert(midnight != NULL);
    return (int32_t)(g_date_time_to_unix(midnight) / DAY_S);
}

static const DailyWeather *daily(const GArray *days, int32_t day)
{
    int32_t at = day - g_array_index(days, DailyWeather, 0).day;

    g_assert(at >= 0 && (guint)at < days->len);
    return &g_array_index(days, DailyWeather, at);
}

typedef bool (*ReadRow)(const char *line, int *ret_date, DailyWeather *ret);

static bool read_seattle_row(const char *line, int *ret_date, DailyWeather *ret)
{
    *ret = (DailyWeather){.dew_point_c = NAN, .cloud = NAN};
    return sscanf(line, "%4d-%2d-%2d,%lf,%lf,%lf,%lf,", &ret_date[0], &ret_date[1], &ret_date[2],
                  &ret->precipitation_mm, &ret->high_c, &ret->low_c, &ret->wind_ms) == 7;
}

static bool read_chicago_row(const char *line, int *ret_date, DailyWeather *ret)
{
    *ret = (DailyWeather){.precipitation_mm = 0};
    return sscanf(line, "%4d-%2d-%2d,%lf,%*f,%lf,%lf,%lf,%lf", &ret_date[0], &ret_date[1],
                  &ret_date[2], &ret->low_c, &ret->high_c, &ret->dew_point_c, &ret->wind_ms,
                  &ret->cloud) == 8;
}

static GArray *read_days(const char *path, const char *columns, ReadRow read, char **ret_problem)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *text = NULL;

    if (!g_file_get_contents(path, &text, NULL, &error)) {
        *ret_problem = g_strdup(error->message);
        return NULL;
    }
    g_auto(GStrv) lines = g_strsplit(g_strchomp(text), "\n", -1);
    g_autoptr(GArray) days = g_array_new(FALSE, FALSE, sizeof(DailyWeather));
    if (lines[0] == NULL || !g_str_has_prefix(lines[0], columns)) {
        *ret_problem = g_strdup("the first line does not name the columns that are known");
        return NULL;
    }
    for (int i = 1; lines[i] != NULL; i++) {
        DailyWeather row;
        int date[3];

        if (!read(lines[i], date, &row)) {
            *ret_problem = g_strdup_printf("line %d cannot be read: %s", i + 1, lines[i]);
            return NULL;
        }
        row.day = hindcast_day(date[0], date[1], date[2]);
        if (days->len > 0 && row.day != g_array_index(days, DailyWeather, days->len - 1).day + 1) {
            *ret_problem =
                g_strdup_printf("line %d does not follow the day before: %s", i + 1, lines[i]);
            return NULL;
        }
        g_array_append_val(days, row);
    }
    return g_steal_pointer(&days);
}

GArray *hindcast_read_days(const char *path, char **ret_problem)
{
    return read_days(path, "date,precipitation,temp_max,temp_min,wind,", read_seattle_row,
                     ret_problem);
}

GArray *hindcast_read_chicago(const char *path, char **ret_problem)
{
    return read_days(path, "date,temp_min,temp,temp_max,dew,wind,weather_cloud", read_chicago_row,
                     ret_problem);
}

SolarDay hindcast_solar_day(const Station *at, int32_t day)
{
    int64_t midnight = (int64_t)day * DAY_S - at->daylight_saving_s;
    int64_t noon = sun_noon_utc(midnight + DAY_S / 2, at->longitude), dawn;
    SolarDay ret = {.day = day, .midnight_utc = midnight};

    g_assert(sun_rise_set(noon, at->latitude, at->longitude, SUN_HORIZON_DEG, &ret.sunrise_utc,
                          &ret.sunset_utc));
    g_assert(sun_rise_set(noon, at->latitude, at->longitude, SUN_CIVIL_DEG, &dawn, &ret.dusk_utc));
    return ret;
}

double hindcast_month_mean_c(const GArray *days, int32_t day, double shift_k)
{
    double sum = 0;

    for (int32_t d = day - MONTH_D; d < day; d++)
        sum += (daily(days, d)->low_c + daily(days, d)->high_c) / 2;
    return sum / MONTH_D + shift_k;
}

#define YEAR_D 365.2425
#define ABOUT_D 7 /* days before and after a date that are as it usually is */

GArray *hindcast_usual(const GArray *days, int32_t first, int32_t last, double spreads)
{
    g_autoptr(GArray) usual = g_array_new(FALSE, FALSE, sizeof(DailyWeather));
    int32_t begin = g_array_index(days, DailyWeather, 0).day, end = begin + (int32_t)days->len - 1;

    for (int32_t day = first - 1; day <= last + 1; day++) {
        double n = 0, low = 0, high = 0, low2 = 0, high2 = 0;
        int years = (int)((end - begin) / YEAR_D) + 1;
        DailyWeather row = *daily(days, day);
        for (int y = -years; y <= years; y++) {
            int32_t same = day + (int32_t)lround(y * YEAR_D);
            for (int32_t d = MAX(begin, same - ABOUT_D); d <= MIN(end, same + ABOUT_D); d++) {
                n += 1;
                low += daily(days, d)->low_c;
                high += daily(days, d)->high_c;
                low2 += daily(days, d)->low_c * daily(days, d)->low_c;
                high2 += daily(days, d)->high_c * daily(days, d)->high_c;
            }
        }
        row.low_c = low / n + spreads * sqrt(low2 / n - low / n * (low / n));
        row.high_c = high / n + spreads * sqrt(high2 / n - high / n * (high / n));
        g_array_append_val(usual, row);
    }
    return g_steal_pointer(&usual);
}

/* Linvill's curve through the low at sunrise and the high two hours after noon. */
static double temperature_c(const Station *at, const GArray *days, int64_t utc, int32_t day)
{
    SolarDay sun = hindcast_solar_day(at, day);

    if (utc < sun.sunrise_utc)
        sun = hindcast_solar_day(at, --day);
    return air_linvill_c(utc, sun.sunrise_utc, sun.sunset_utc,
                         hindcast_solar_day(at, day + 1).sunrise_utc, daily(days, day)->low_c,
                         daily(days, day)->high_c, daily(days, day + 1)->low_c);
}

/* What a day's radiation is of the clear sky's, 0..1: Hargreaves from the daily range. */
static double clear_share(const Station *at, const DailyWeather *row)
{
    SolarDay sun = hindcast_solar_day(at, row->day);
    g_autoptr(GDateTime) noon =
        g_date_time_new_from_unix_utc((int64_t)row->day * DAY_S + DAY_S / 2);
    double top_mj = sun_extraterrestrial_mj(at->latitude, g_date_time_get_day_of_year(noon));
    double mj = air_hargreaves_mj(top_mj, row->low_c, row->high_c, HARGREAVES_INLAND), clear_mj = 0;

    for (int hour = 0; hour < 24; hour++) {
        int64_t from = sun.midnight_utc + (int64_t)hour * HOUR_S;
        clear_mj +=
            sun_clear_sky_mean_wm2(from, from + HOUR_S, at->latitude, at->longitude) * HOUR_S / 1e6;
    }
    return fmax(0, fmin(1, mj / clear_mj));
}

/* Cloud 0..1 under which the sky gives that share; Kasten and Czeplak 1980, from memory. */
static double cloud_of(double share)
{
    return fmin(1, pow((1 - share) / 0.75, 1 / 3.4));
}

GArray *hindcast_hours(const Station *at, const GArray *days, int32_t first, int32_t last,
                       double shift_k)
{
    g_autoptr(GArray) hours = g_array_new(FALSE, FALSE, sizeof(WeatherHour));

    for (int32_t day = first; day <= last; day++) {
        const DailyWeather *row = daily(days, day);
        /* where the cloud was measured, radiation follows from it; else both from the range */
        double share = isnan(row->cloud) ? clear_share(at, row) : 1 - 0.75 * pow(row->cloud, 3.4);
        double dew_c = isnan(row->dew_point_c) ? row->low_c : row->dew_point_c;
        int64_t midnight = hindcast_solar_day(at, day).midnight_utc;

        for (int hour = 1; hour <= 24; hour++) {
            int64_t utc = midnight + (int64_t)hour * HOUR_S;
            double clear_wm2 =
                sun_clear_sky_mean_wm2(utc - HOUR_S, utc, at->latitude, at->longitude);
            WeatherHour out = {
                .time_utc = utc,
                .temperature_c = temperature_c(at, days, utc, hour < 24 ? day : day + 1) + shift_k,
                .cloud_pct = 100 * cloud_of(share),
                .wind_ms = row->wind_ms,
                .gust_ms = GUST_FACTOR * row->wind_ms,
                .radiation_wm2 = share * clear_wm2,
                .precipitation_mm = row->precipitation_mm / 24,
            };
            out.dew_point_c = fmin(dew_c + shift_k, out.temperature_c);
            g_array_append_val(hours, out);
        }
    }
    return g_steal_pointer(&hours);
}
