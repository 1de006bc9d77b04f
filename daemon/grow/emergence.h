/* SPDX-License-Identifier: MIT */
/*
 * Seed and seedling: how long they take at a temperature (docs/emergence.md). A rate is a share of
 * the way a day, so that days of different warmth add up. Pure.
 */
#pragma once

#include "garden/types.h"

/* Emergence is foretold to a fifth, or a day; measured against the table in docs/emergence.md. */
#define EMERGENCE_SPREAD 0.2
#define EMERGENCE_SPREAD_D 1.0
#define EMERGENCE_MOST_D 60.0 /* slower than this is too cold to sow; chosen */

/* Where no rate of leaves is printed: 45 °C·d a leaf above the base of emergence; chosen, between
 * tomato's 33 and cabbage's 47. */
#define EMERGENCE_LEAF_KD 45.0

typedef enum SeedFit { SEED_FITS, SEED_TOO_COLD, SEED_TOO_HOT } SeedFit;

/*
 * Share of the way from sowing to emergence that a day at this temperature brings: linear above the
 * base, no faster above the best temperature (`germinate_at_c`), nothing where none comes up.
 */
double emergence_rate(const Crop *crop, double compost_c);

/* The mean of that over a day between a low and a high, the temperature a cosine. */
double emergence_day_rate(const Crop *crop, double low_c, double high_c);

/* Days from sowing to emergence at such days; INFINITY where it never comes up. */
double emergence_days(const Crop *crop, double low_c, double high_c);

/* Days either side of them that must be reckoned with. */
double emergence_spread_d(double days);

/* Whether to sow at such days: too cold below what is printed as the least, or too slow; too hot at
 * a mean where none came up. */
SeedFit emergence_fit(const Crop *crop, double low_c, double high_c);

/* Of hour 0..23 of a day between a low and a high, °C: a cosine, coldest at both ends. */
double emergence_hour_c(double low_c, double high_c, int hour);

/* True leaves a day at a steady temperature; the law of the next. */
double emergence_leaf_rate(const Crop *crop, double air_c);

/* True leaves a day, at such days; where none is printed for the crop, by EMERGENCE_LEAF_KD. */
double emergence_leaves_a_day(const Crop *crop, double low_c, double high_c);
