/* SPDX-License-Identifier: MIT */
/* How far odds and what came agree: scores, one joint test, a figure. */
#pragma once

#include "test-hindcast-season.h"

#define RELIABILITY_BINS 10

/* Murphy's decomposition of the Brier score: brier = reliability − resolution + uncertainty, but
 * for what odds differ within a bin. */
typedef struct Reliability {
    int n[RELIABILITY_BINS];
    double said[RELIABILITY_BINS], came[RELIABILITY_BINS]; /* means; 0 where n is */
    double brier, reliability, resolution, uncertainty;
    double climatology; /* Brier score of the frequency of each event in each place */
} Reliability;

Reliability reliability_of(const GArray *cases, SeasonOdds which, int place);

/*
 * Probability of a disagreement as large as that seen if the odds are right: over classes of odds,
 * the sums of (came − said) together (Hotelling's T²), by a studentized bootstrap whose blocks are
 * the sixty days of a season, in which garden and errors are the same. `place` -1: all.
 */
double reliability_p(const GArray *cases, SeasonOdds which, int n_seasons, int place, guint32 seed);

/* Writes the figure. */
bool reliability_draw(const GArray *cases, const char *path);
