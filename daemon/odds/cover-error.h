/* SPDX-License-Identifier: MIT */
/* What is known of a place's error, put to what was computed there: the one function for it. Pure.
 */
#pragma once

#include "climate/chain.h"
#include "odds/odds.h"

#define COVER_FULL_SUN_WM2 500.0 /* on the plants: from here on the error is noon's; chosen */

/* A place's own error at one moment. */
typedef struct CoverErrorAt {
    double bias_k, spread_k;
} CoverErrorAt;

/* The error with `light_wm2` on the plants: EXTREME_LOW's by night, EXTREME_HIGH's in full sun,
 * between them in proportion. */
CoverErrorAt cover_error_at(const CoverError *error, double light_wm2);

/*
 * Adds the bias to air and leaf of what layer `i` met. The state of the chain stays as computed.
 * `errors` as in a Snapshot; NULL: nothing is added, the spread is the chain's. Indoors too.
 */
CoverErrorAt cover_error_apply(const CoverError *errors, const Chain *chain, const int *positions,
                               int i, PlaceStep *step);

/*
 * Whether an extreme that was read with so much light on the plants teaches that extreme's error: a
 * minimum without sun, a maximum with at least half of what is full. Chosen.
 */
bool cover_error_teaches(Extreme which, double light_wm2);

/* The entry of `errors` for layer `i` with its covers in `positions` (by layer). */
const CoverError *cover_error_of(const CoverError *errors, const Chain *chain, const int *positions,
                                 int i);

/*
 * Position of the nearest cover over layer `i`, its own before its parents'; 0 where none is, and
 * under an automatic opener unless it is open.
 */
int cover_error_position(const Chain *chain, const int *positions, int i);
