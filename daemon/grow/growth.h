/* SPDX-License-Identifier: MIT */
/*
 * The seedling as it grows: its leaves by published rates, its height by its leaves, and the cold
 * that it must not have had too much of (docs/growth.md). Pure.
 */
#pragma once

#include "garden/types.h"

/* What one leaf adds to the height where nothing is given; chosen: cabbage's by CROPGRO. */
#define GROWTH_LEAF_CM 2.0
#define GROWTH_TENDER_NIGHT_C 13.0 /* raised no cooler than this it stretches as tomato; chosen */
#define GROWTH_FACTOR_LEAST 0.2    /* of a measured height over the reckoned one; chosen */
#define GROWTH_FACTOR_MOST 5.0

/* A seedling that has been up for `days` (at least 0) at days between this low and high, °C. */
Growth growth_begin(const Crop *crop, double low_c, double high_c, double days);

/* `hours` more at this temperature of the air; nothing where the growth is not known. */
void growth_step(const Crop *crop, double air_c, double hours, Growth *growth);

/* Whether cold counts that spoils the harvest (chill_… of the crop): it has the leaves for it, or
 * was bought and nothing is known. */
bool growth_chills(const Crop *crop, const Growth *growth, bool bought);

/* Hours of that cold it may still have; INFINITY where none counts; below 0 it had too many. */
double growth_chill_left_h(const Crop *crop, const Growth *growth, bool bought);

/*
 * How much of its full length a leaf's stretch of stem has at this temperature, 0..1: CROPGRO's
 * factor on height, of tomato for tender crops, of cabbage for others.
 */
double growth_stretch(const Crop *crop, double air_c);

/* The height in cm, with what measuring it has taught; NAN not known. */
double growth_height_cm(const Growth *growth);

/* Days at such days until it has so many leaves; 0 it has them, INFINITY never or not known. */
double growth_days_to_leaves(const Crop *crop, const Growth *growth, double leaves, double low_c,
                             double high_c);

/* The same until it is so high. */
double growth_days_to_height(const Crop *crop, const Growth *growth, double height_cm, double low_c,
                             double high_c);

/*
 * The grower measured it: so high it is, and what comes on top is reckoned with the factor between
 * the two, within GROWTH_FACTOR_…, from the first true leaf on; where
 * the growth was not known (plants that were bought) its leaves are taken from its height.
 */
void growth_measured(const Crop *crop, double height_cm, Growth *growth);
