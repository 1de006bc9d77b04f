/* SPDX-License-Identifier: MIT */
/* What the programs that test the ramp share: crops, random weather, and a batch's days. */
#pragma once

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <time.h>
#include "ramp/ramp.h"

/* Grower's judgement: common practice, no source. */
#define CROP(name_, grow, soft, hard, damage_soft, damage_hard, first, later)                      \
    {                                                                                              \
        .name = name_, .growing_on_night_c = grow, .floor_soft_c = soft, .floor_hardened_c = hard, \
        .damage_soft_c = damage_soft, .damage_hardened_c = damage_hard, .drop_first_k = first,     \
        .drop_k = later                                                                            \
    }

/* clang-format off */
enum { CABBAGE, LEEK, ONION, SWEET_PEA, LETTUCE, CELERY, TOMATO, COURGETTE, CORN, BEAN, PEPPER,
       BASIL, N_CROPS };
/* clang-format on */

static const Crop crops[N_CROPS] = {
    [CABBAGE] = CROP("cabbage", 10, 3, -2, -2, -6, 2.5, 5),
    [LEEK] = CROP("leek", 10, 2, -3, -3, -7, 2.5, 5),
    [ONION] = CROP("onion", 10, 2, -3, -3, -6, 2.5, 5),
    [SWEET_PEA] = CROP("sweet pea", 8, 2, -3, -2, -5, 2.5, 5),
    [LETTUCE] = CROP("lettuce", 8, 3, -1, -1, -4, 2.5, 4),
    [CELERY] = CROP("celery", 13, 10, 10, 0, -1, 2, 2),
    [TOMATO] = CROP("tomato", 15, 9, 6, 1, -0.5, 3, 3),
    [COURGETTE] = CROP("courgette", 16, 11, 7, 1, 0, 3, 3),
    [CORN] = CROP("sweet corn", 14, 10, 6, 0, -1, 3, 3),
    [BEAN] = CROP("bean", 14, 10, 7, 1, 0, 3, 3),
    [PEPPER] = CROP("pepper", 16, 12, 9, 2, 0, 2.5, 2.5),
    [BASIL] = CROP("basil", 16, 12, 10, 2, 1, 2, 2),
};

#define DAY_S 86400
#define START_UTC INT64_C(1777000000)

static uint64_t random_bits;

static inline void random_begin(const char *what)
{
    const char *given = getenv("THOLE_TEST_SEED");
    uint64_t seed = given ? strtoull(given, NULL, 10) : (uint64_t)time(NULL);
    print_message("# %s: THOLE_TEST_SEED=%llu\n", what, (unsigned long long)seed);
    random_bits = seed * UINT64_C(0x9E3779B97F4A7C15) + 1;
}

static inline double random_in(double low, double high)
{
    random_bits ^= random_bits << 13;
    random_bits ^= random_bits >> 7;
    random_bits ^= random_bits << 17;
    return low + (high - low) * (double)(random_bits >> 11) / 9007199254740992.0;
}

static inline int random_day(double *air_c, double low_c, double range_k)
{
    int n = (int)random_in(44, 61);
    for (int i = 0; i < n; i++) {
        double sun = sin(M_PI * 2 * i / n);
        air_c[i] = low_c + range_k * 0.5 * (1 + sun) + random_in(-1, 1);
    }
    return n;
}

/* Fourteen hours of day, then ten of night; `open_h` of the day at weight 1. */
typedef struct Day {
    double day_c, night_c, open_h, shelter;
} Day;

static inline RampDay live(const Crop *crop, RampState *state, Day day)
{
    for (int i = 0; i < 48; i++) {
        bool night = i >= 28;
        double open = fmax(0, fmin(1, day.open_h * STEPS_PER_H - i));
        RampStep step = {.air_c = night ? day.night_c : day.day_c,
                         .exposure_weight = night ? 0 : open,
                         .shelter = day.shelter,
                         .night = night};
        ramp_step(crop, &step, state);
    }
    return ramp_close_day(crop, true, state->day_start_utc + DAY_S, state);
}

static inline RampState begun(const Crop *crop)
{
    RampState state;
    ramp_begin(crop, START_UTC, &state);
    return state;
}
