/* SPDX-License-Identifier: MIT */
/*
 * How far the computed air of one place is off, for one extreme: a Kalman filter over the positions
 * of the nearest cover over it, and the scatter from night to night (docs/odds.md). Pure.
 */
#pragma once

#include "odds/odds.h"

/* One place, one extreme. Biases of two positions that both cover are correlated beforehand. */
typedef struct CoverFilter {
    int n_positions;
    double prior_spread_k;
    bool open[POSITIONS_MAX]; /* nothing over it: says nothing about the other positions */
    double bias_k[POSITIONS_MAX], covariance_k2[POSITIONS_MAX][POSITIONS_MAX];
    double scatter_k2, scatter_weight; /* variance from night to night; readings that it is worth */
    int n[POSITIONS_MAX];              /* readings in each position */
} CoverFilter;

/* One extreme read under the cover. */
typedef struct CoverReading {
    int position;
    double days;    /* since the reading before, at least 0 */
    double error_k; /* read less computed, without this place's own bias, with the site's */
    double outdoor_spread_k; /* what of the open air's spread comes in here */
    /* the open air itself: its whole spread, and what it was off that night; NAN where not read */
    double open_spread_k, open_error_k;
} CoverReading;

/*
 * Before any reading: no bias, and a spread of `prior_spread_k` (chain_spread_k()) altogether.
 * `cover` is the nearest over the place, NULL where none is. Also after a thermometer was moved.
 */
void cover_filter_begin(double prior_spread_k, const Cover *cover, CoverFilter *ret);

/* Takes one reading in, the oldest first. False where the position does not exist or a number is
 * missing: then nothing changes. */
bool cover_filter_learn(const CoverReading *reading, CoverFilter *filter);

/* Time goes by without a reading: what was learned slowly loses weight. */
void cover_filter_pass(double days, CoverFilter *filter);

/* What is known of one position; the prior where nothing was read that bears on it. `n` counts the
 * readings in every position that does. */
LearnedError cover_filter_now(const CoverFilter *filter, int position);
