/* SPDX-License-Identifier: MIT */
/* Weather that is hard on a solver, for what is held to the reference. */
#pragma once

#include <math.h>
#include <stdlib.h>

#include "garden/types.h"

#define WEATHER_HOURS 240
#define WEATHER_STEPS (2 * WEATHER_HOURS)

static inline double weather_uniform(double from, double to)
{
    return from + (to - from) * rand() / RAND_MAX;
}

/* Ten days by the hour, as half-hours: about every other day a front changes the air by 10 K within
 * an hour, with wind and cloud of its own, and several times a day clouds come or go at once. */
static inline void make_weather(OutdoorStep *ret)
{
    const double pi = acos(-1);
    double air_c[WEATHER_HOURS + 1], sky_c[WEATHER_HOURS + 1], wind_ms[WEATHER_HOURS + 1],
        sun_wm2[WEATHER_HOURS + 1];
    double front_k = 5, cloud = weather_uniform(0, 1), wind = weather_uniform(0, 6);

    for (int h = 0; h <= WEATHER_HOURS; h++) {
        const double hour = h % 24;

        if (rand() % 48 == 0) {
            front_k = -front_k;
            wind = weather_uniform(0, 12);
        }
        if (rand() % 6 == 0)
            cloud = rand() % 2 ? 0 : weather_uniform(0, 1);
        wind = fmax(0, wind + weather_uniform(-1, 1));
        air_c[h] = 5 + 5 * sin(2 * pi * (hour - 9) / 24) + front_k;
        sky_c[h] = air_c[h] - 22 * (1 - 0.85 * cloud);
        wind_ms[h] = wind;
        sun_wm2[h] = fmax(0, sin(2 * pi * (hour + 0.5 - 6) / 24)) * 850 * (1 - 0.9 * cloud);
    }
    for (int k = 0; k <= WEATHER_STEPS; k++) {
        const int before = k / 2, after = before + k % 2;

        ret[k] = (OutdoorStep){
            .air_c = (air_c[before] + air_c[after]) / 2,
            .sky_c = (sky_c[before] + sky_c[after]) / 2,
            .wind_ms = (wind_ms[before] + wind_ms[after]) / 2,
            .radiation_wm2 = sun_wm2[before],
        };
    }
}
