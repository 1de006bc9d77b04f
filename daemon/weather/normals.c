/* SPDX-License-Identifier: MIT */
#include "weather/normals.h"

#include <glib.h>
#include <math.h>

#include "climate/air.h"
#include "climate/sun.h"
#include "weather/forecast.h"

#define S_PER_H 3600
#define S_PER_DAY 86400
/* On a shorter day Linvill's curve ends before its top, at noon + 2 h. */
#define DAY_LEAST_S (4 * S_PER_H)

/* Monthly value at `utc`, linear between the middles of the months (UTC months: half a day is
 * nothing here). */
static double monthly(const double value[12], int64_t utc)
{
    g_autoptr(GDateTime) time = g_date_time_new_from_unix_utc(utc);
    int year, month, day;
    g_date_time_get_ymd(time, &year, &month, &day);
    double days = g_date_get_days_in_month((GDateMonth)month, (GDateYear)year);
    double second = g_date_time_get_hour(time) * 3600.0 + g_date_time_get_minute(time) * 60.0;
    /* Months since the middle of last December, from 0.5 to 12.5. */
    double position = month - 1 + (day - 1 + second / S_PER_DAY) / days + 0.5;
    int before = (int)position;
    double share = position - before;
    return value[(before + 11) % 12] * (1 - share) + value[before % 12] * share;
}

double weather_normals_mean_c(const Normals *normals, int64_t utc)
{
    return monthly(normals->mean_c, utc);
}

double weather_normals_range_k(const Normals *normals, int64_t utc)
{
    return monthly(normals->daily_range_k, utc);
}

static double low_c(const Site *site, int64_t noon_utc, bool cautious)
{
    double low = weather_normals_mean_c(&site->normals, noon_utc) -
                 weather_normals_range_k(&site->normals, noon_utc) / 2;
    if (cautious && weather_frost_season(site, noon_utc))
        low = fmin(low, NORMALS_CAUTIOUS_LOW_C);
    return low;
}

static double high_c(const Normals *normals, int64_t noon_utc)
{
    return weather_normals_mean_c(normals, noon_utc) +
           weather_normals_range_k(normals, noon_utc) / 2;
}

/* Where the sun does not rise or set, or hardly: a cosine with its top two hours after noon, as
 * Linvill's. */
static double polar_c(int64_t utc, int64_t noon_utc, double low, double high)
{
    double hours = (double)(utc - noon_utc) / S_PER_H - 2;
    return (low + high) / 2 + (high - low) / 2 * cos(2 * G_PI * hours / 24);
}

static double temperature_c(const Site *site, int64_t utc, bool cautious, double *ret_low_c)
{
    int64_t noon = sun_noon_utc(utc, site->longitude);
    int64_t sunrise, sunset, next_sunrise, next_sunset;
    bool rises =
        sun_rise_set(noon, site->latitude, site->longitude, SUN_HORIZON_DEG, &sunrise, &sunset);
    if (rises && utc < sunrise) {
        noon = sun_noon_utc(noon - S_PER_DAY, site->longitude);
        rises =
            sun_rise_set(noon, site->latitude, site->longitude, SUN_HORIZON_DEG, &sunrise, &sunset);
    }
    int64_t next_noon = sun_noon_utc(noon + S_PER_DAY, site->longitude);
    double low = low_c(site, noon, cautious);
    double high = high_c(&site->normals, noon);
    *ret_low_c = low;
    if (!rises ||
        !sun_rise_set(next_noon, site->latitude, site->longitude, SUN_HORIZON_DEG, &next_sunrise,
                      &next_sunset) ||
        sunset - sunrise < DAY_LEAST_S || utc >= next_sunrise)
        return polar_c(utc, noon, low, high);
    return air_linvill_c(utc, sunrise, sunset, next_sunrise, low, high,
                         low_c(site, next_noon, cautious));
}

WeatherHour weather_normals_hour(const Site *site, int64_t time_utc, bool cautious)
{
    WeatherHour hour = weather_hour_missing(time_utc);
    double low;
    hour.temperature_c = temperature_c(site, time_utc, cautious, &low);
    hour.dew_point_c = fmin(low, hour.temperature_c);
    hour.cloud_pct = NORMALS_CLOUD_PCT;
    hour.wind_ms = NORMALS_WIND_MS;
    hour.radiation_wm2 =
        weather_radiation_wm2(time_utc, site->latitude, site->longitude, NORMALS_CLOUD_PCT);
    hour.spread_k = NORMALS_SPREAD_K;
    hour.estimated = EST_TEMPERATURE | EST_DEW_POINT | EST_CLOUD | EST_WIND | EST_RADIATION;
    return hour;
}

bool weather_frost_season(const Site *site, int64_t utc)
{
    if (!g_date_valid_dmy((GDateDay)site->last_frost_day, (GDateMonth)site->last_frost_month, 2000))
        return true;
    g_autoptr(GDateTime) time = g_date_time_new_from_unix_utc(utc);
    int year = g_date_time_get_year(time);
    int after = site->last_frost_sd_d > 0 ? (int)ceil(2 * site->last_frost_sd_d) : 0;
    for (int y = year - 1; y <= year + 1; y++) {
        int day = site->last_frost_day;
        if (!g_date_valid_dmy((GDateDay)day, (GDateMonth)site->last_frost_month, (GDateYear)y))
            day = 28; /* 29 February */
        g_autoptr(GDateTime) date = g_date_time_new_utc(y, site->last_frost_month, day, 0, 0, 0);
        int64_t since = utc - g_date_time_to_unix(date);
        if (since >= -INT64_C(183) * S_PER_DAY && since < (int64_t)(after + 1) * S_PER_DAY)
            return true;
    }
    return false;
}
