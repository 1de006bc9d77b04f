/* SPDX-License-Identifier: MIT */
#pragma once

#include "garden/types.h"
#include "odds/tonight.h"
#include "weather/series.h"

/* The weather of one site, as the plan reads it. */
typedef struct SiteWeather {
    /* (owned) (element-type OutdoorStep) from `first_utc`, one more than whole steps */
    GArray *steps;
    GArray *days; /* (owned) (element-type SolarDay) the day before first_utc first */
    int64_t first_utc;
    double deep_c;
    WeatherQuality quality;
    int64_t issued_utc, valid_to_utc;
    /* (owned) (nullable) to be said in every job, where the forecast is old or missing */
    char *note;
    Tonight tonight;        /* what was read in the last hours: in `steps` already */
    int64_t tonight_to_utc; /* until then it counts; 0 nothing was read */
    GArray *tonight_spread; /* (owned) (nullable) (element-type double) parallel to `steps` */
} SiteWeather;

/* Of `n_sites`, with nothing in common with the other. The caller owns it. */
SiteWeather *site_weather_copy(const SiteWeather *weather, int n_sites) G_GNUC_WARN_UNUSED_RESULT;

/* Frees `n_sites` of them. NULL is ignored. */
void site_weather_free(SiteWeather *weather, int n_sites);
