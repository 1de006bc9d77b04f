/* SPDX-License-Identifier: MIT */
#include "service/api-day.h"

#include <math.h>

#include "base/local-time.h"
#include "odds/odds.h"

#define EVENING_MIN (18 * 60) /* where the sun does not set or rise that day; chosen */
#define MORNING_MIN (6 * 60)
#define AFTER_SUNRISE_S 3600
#define NOON_MIN (14 * 60) /* about when a day is hottest; chosen */
#define NOON_STEPS 10      /* half-hours either side of it; chosen */

int api_day(const Service *service, int site, int64_t utc)
{
    return local_day(service->zones[site], utc);
}

int api_today(const Service *service, int site)
{
    return api_day(service, site, clock_now(service->clk));
}

static const SolarDay *find_solar(const Service *service, int site, int day)
{
    const GArray *days = service->weather != NULL ? service->weather[site].days : NULL;

    for (guint i = 0; days != NULL && i < days->len; i++) {
        const SolarDay *solar = &g_array_index(days, SolarDay, i);
        if (solar->day == day)
            return solar;
    }
    return NULL;
}

static int64_t night_start(const Service *service, int site, int day)
{
    const SolarDay *solar = find_solar(service, site, day);

    return solar != NULL && solar->sunset_utc != 0
               ? solar->sunset_utc
               : local_time_on_day(service->zones[site], day, EVENING_MIN);
}

static int64_t night_end(const Service *service, int site, int day)
{
    const SolarDay *solar = find_solar(service, site, day + 1);

    return (solar != NULL && solar->sunrise_utc != 0
                ? solar->sunrise_utc
                : local_time_on_day(service->zones[site], day + 1, MORNING_MIN)) +
           AFTER_SUNRISE_S;
}

int api_tonight(const Service *service, int site)
{
    int today = api_today(service, site);

    return clock_now(service->clk) < night_end(service, site, today - 1) ? today - 1 : today;
}

static char *format_day(int day, int letters)
{
    static const char *const weekdays[] = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                           "Friday", "Saturday", "Sunday"};
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    int year, month, day_of_month;

    local_day_to_date(day, &year, &month, &day_of_month);
    return g_strdup_printf("%.*s %d %.*s", letters, weekdays[local_weekday(day) - 1], day_of_month,
                           letters, months[month - 1]);
}

char *api_day_long(int day)
{
    return format_day(day, 12);
}

char *api_day_short(int day)
{
    return format_day(day, 3);
}

char *api_clock(const Service *service, int site, int64_t utc)
{
    if (utc == 0)
        return NULL;
    int minute = local_minute_of_day(service->zones[site], utc);
    return g_strdup_printf("%02d:%02d", minute / 60, minute % 60);
}

/* After readings of this night where there are any. */
static double spread_at(const SiteWeather *weather, int64_t i)
{
    return weather->tonight_spread != NULL ? g_array_index(weather->tonight_spread, double, i)
                                           : g_array_index(weather->steps, OutdoorStep, i).spread_k;
}

static void add_step(const OutdoorStep *step, int64_t utc, ApiNight *night)
{
    if (isnan(night->low_c) || step->air_c < night->low_c) {
        night->low_c = step->air_c;
        night->low_utc = utc;
        night->spread_k = step->spread_k;
        night->low_estimated = step->estimated;
        night->dew_point_c = step->estimated & EST_DEW_POINT ? NAN : step->dew_point_c;
    }
    night->cloud_pct += 100.0 * step->cloud;
    night->wind_ms += step->wind_ms;
    night->estimated |= step->estimated;
    if (!isnan(step->gust_ms))
        night->gust_ms = fmax(step->gust_ms, night->gust_ms); /* fmax passes over NAN */
    if (!isnan(step->precipitation_mm))
        night->rain_mm = (isnan(night->rain_mm) ? 0.0 : night->rain_mm) + step->precipitation_mm;
}

gboolean api_night(const Service *service, int site, int day, ApiNight *ret)
{
    const SiteWeather *weather = service->weather != NULL ? &service->weather[site] : NULL;
    ApiNight night = {.day = day, .low_c = NAN, .gust_ms = NAN, .rain_mm = NAN};

    if (weather == NULL || weather->steps == NULL || weather->steps->len < 2)
        return FALSE;
    int64_t first = (night_start(service, site, day) - weather->first_utc) / STEP_S;
    int64_t last = (night_end(service, site, day) - weather->first_utc) / STEP_S;
    first = MAX(first, 0);
    if (last >= (int64_t)weather->steps->len - 1 || last < first)
        return FALSE;
    for (int64_t i = first; i <= last; i++)
        add_step(&g_array_index(weather->steps, OutdoorStep, i), weather->first_utc + i * STEP_S,
                 &night);
    night.spread_k = spread_at(weather, (night.low_utc - weather->first_utc) / STEP_S);
    double n = (double)(last - first + 1);
    night.cloud_pct = CLAMP(night.cloud_pct / n, 0.0, 100.0);
    night.wind_ms = fmax(night.wind_ms / n, 0.0);
    night.frost_odds = odds_of_margin(odds_margin(night.low_c, night.spread_k, ODDS_FROST_C));
    *ret = night;
    return TRUE;
}

gboolean api_noon(const Service *service, int site, int day, ApiNight *ret)
{
    const SiteWeather *weather = service->weather != NULL ? &service->weather[site] : NULL;
    ApiNight noon = {.day = day, .low_c = NAN};
    if (weather == NULL || weather->steps == NULL)
        return FALSE;
    int64_t middle_utc = local_time_on_day(service->zones[site], day, NOON_MIN);
    int64_t first = (middle_utc - weather->first_utc) / STEP_S - NOON_STEPS,
            last = first + 2 * NOON_STEPS;
    if (first < 0 || last >= (int64_t)weather->steps->len - 1)
        return FALSE;
    for (int64_t i = first; i <= last; i++) {
        const OutdoorStep *step = &g_array_index(weather->steps, OutdoorStep, i);
        if (step->air_c <= noon.low_c)
            continue;
        noon.low_c = step->air_c;
        noon.low_utc = weather->first_utc + i * STEP_S;
        noon.spread_k = spread_at(weather, i);
        noon.low_estimated = step->estimated;
    }
    *ret = noon;
    return TRUE;
}
