/* SPDX-License-Identifier: MIT */
/* A low that the grower heard of elsewhere for one night. */
#pragma once

#include "weather/series.h"

#define WEATHER_WARNING_SPREAD_K 1.0 /* of a night's temperature after a warning; chosen */

typedef struct WeatherWarning {
    char site[NAME_SIZE];
    int32_t night_day; /* local day number of the evening */
    double low_c;
    int64_t heard_utc;
} WeatherWarning;

/*
 * Shifts the night from `sunset_utc` to `sunrise_utc` so that its minimum is the warned low: all of
 * it by the same, with ramps of 2 h before and after (chosen). Hours shifted are marked
 * EST_WARNING, the dew point is held at most at the temperature, the spread of the night becomes 1
 * K. A warning never warms: false, and nothing changed, where the series has no hour of that night
 * or is as cold already.
 */
bool weather_apply_warning(WeatherSeries *series, const WeatherWarning *warning, int64_t sunset_utc,
                           int64_t sunrise_utc);
