/* SPDX-License-Identifier: MIT */
#include "weather/warning.h"

#include <math.h>

#define S_PER_H 3600
#define RAMP_S (2 * S_PER_H) /* chosen */

static WeatherHour *hour_at(const GArray *hours, guint i)
{
    return &g_array_index(hours, WeatherHour, i);
}

/* How much of the shift an hour takes: all in the night, falling to none RAMP_S outside it. */
static double share(int64_t utc, int64_t from_utc, int64_t to_utc)
{
    int64_t outside_s = 0;
    if (utc < from_utc)
        outside_s = from_utc - utc;
    else if (utc > to_utc)
        outside_s = utc - to_utc;
    return fmax(0, 1 - (double)outside_s / RAMP_S);
}

bool weather_apply_warning(WeatherSeries *series, const WeatherWarning *warning, int64_t sunset_utc,
                           int64_t sunrise_utc)
{
    const GArray *hours = series->hours;
    double low_c = INFINITY;
    /* The hour after sunrise belongs to the night: the minimum often lies between them. */
    int64_t end_utc = sunrise_utc + S_PER_H - 1;
    end_utc -= end_utc % S_PER_H;
    for (guint i = 0; i < hours->len; i++) {
        const WeatherHour *hour = hour_at(hours, i);
        if (hour->time_utc >= sunset_utc && hour->time_utc <= end_utc)
            low_c = fmin(low_c, hour->temperature_c);
    }
    double shift_k = warning->low_c - low_c;
    if (isinf(low_c) || shift_k >= 0)
        return false;
    for (guint i = 0; i < hours->len; i++) {
        WeatherHour *hour = hour_at(hours, i);
        double part = share(hour->time_utc, sunset_utc, end_utc);
        if (part <= 0)
            continue;
        hour->temperature_c += part * shift_k;
        hour->dew_point_c = fmin(hour->dew_point_c, hour->temperature_c);
        hour->spread_k += part * (WEATHER_WARNING_SPREAD_K - hour->spread_k);
        hour->estimated |= EST_WARNING;
    }
    return true;
}
