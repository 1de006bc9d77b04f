/* SPDX-License-Identifier: MIT */
/*
 * The one hourly series of a site that everything else is computed from.
 *
 * Each hour is what was forecast most recently for it, by a forecast issued by now; hours after
 * now only by one that is at most 72 h old. After their end, and in gaps: the site's normals,
 * joined over 24 h. A forecast more than 24 h old is old; its spread has grown with its lead. One
 * more than 72 h old, or none, is missing: then all later hours are normals with a spread of 4 K,
 * never lifted by the join, and while a frost is still to be reckoned with every night's low is at
 * most 5.1 °C, so that 0 °C has odds of about one in ten (all chosen).
 */
#pragma once

#include <glib.h>

#include "weather/forecast.h"

typedef enum WeatherQuality {
    WEATHER_FRESH,
    WEATHER_OLD,
    WEATHER_MISSING,
} WeatherQuality;

typedef struct WeatherSeries {
    char *site;    /* (owned) */
    GArray *hours; /* (owned) (element-type WeatherHour) each full hour, no gap, no NAN but in
                      gust and precipitation */
    WeatherQuality quality;
    int64_t issued_utc;   /* of the newest forecast that reaches past now, else the last; 0 none */
    int64_t valid_to_utc; /* last hour after now that a forecast gives; 0 none does */
} WeatherSeries;

/*
 * The series from the full hour at or before `from_utc` to that at or after `to_utc`, both
 * included. `forecasts` (element-type Forecast), in any order, were completed (weather_complete());
 * those of other sites and those issued after `now_utc` are passed over. Owned by the caller.
 */
WeatherSeries *weather_series_new(const Site *site, const GPtrArray *forecasts, int64_t now_utc,
                                  int64_t from_utc, int64_t to_utc);

/* Frees it. NULL is ignored. */
void weather_series_free(WeatherSeries *series);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(WeatherSeries, weather_series_free)

/*
 * How good it is, in plain words: "forecast 31 h old", or "no forecast since Tue 12:00: planned on
 * normals and the last frost date". `zone` is the site's. Owned by the caller.
 */
char *weather_quality_text(const WeatherSeries *series, int64_t now_utc, GTimeZone *zone);

/*
 * Temperature of the ground far below, °C: the mean of the last 30 days before `now_utc`, hours
 * that `series` does not hold taken from the normals. `series` may be NULL.
 */
double weather_deep_c(const WeatherSeries *series, const Site *site, int64_t now_utc);
