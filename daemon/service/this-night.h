/* SPDX-License-Identifier: MIT */
/* The weather of a site with what was learned of it, and what readings of this night change. */
#pragma once

#include "service/learned.h"

#define THIS_NIGHT_S (18 * 3600) /* a reading is of the night that far ahead; chosen */

/*
 * Adds the learned bias and spread to the steps, as forecast, of a site's weather; then what was
 * read in the last hours. `weather` has its steps, first_utc and issued_utc.
 */
void this_night_weather(const Service *service, const Learned *learned, int site,
                        SiteWeather *weather);

/* The bias that is in a step `utc` of a site whose forecast was issued at `issued_utc`. */
double this_night_bias_k(const Learned *learned, int site, int64_t issued_utc, int64_t utc,
                         const OutdoorStep *step);

/* The open air at `utc` as the steps have it, between them in proportion; NAN outside. */
double this_night_outdoors_c(const SiteWeather *weather, int64_t utc);

/* For a Snapshot. */
typedef struct ThisNight {
    TonightPlace *places; /* (owned) (nullable) per place */
    TonightError *steps;  /* (owned) theirs */
    int n;                /* half-hours; 0 nothing was read */
} ThisNight;
void this_night_of(const Service *service, const Learned *learned, int n_steps, ThisNight *ret);
void this_night_clear(ThisNight *night);
