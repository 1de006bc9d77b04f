/* SPDX-License-Identifier: MIT */
/*
 * What the parts of the odds share (docs/odds.md). An error is always what was read less what was
 * computed, K: above 0 it was warmer than computed. Pure.
 */
#pragma once

#include "garden/types.h"

#define ODDS_THERMOMETER_K 0.4 /* standard deviation of a grower's thermometer; chosen */
#define ODDS_WILD 4.0          /* an error counts as at most so many spreads; chosen */
#define ODDS_FROST_C 0.0       /* frost, of air or leaf */

/*
 * Probability, 0..1, that `n` values that all err together pass below `limit_c`: error `i` is
 * `spread_k[i]`, at least 0, times one normal number that they share. Exact: one threshold, that of
 * the value with the fewest spreads left. 0 where there is no value; a NAN value is left out.
 */
double odds_below(const double *value_c, const double *spread_k, int n, double limit_c);

/* Spreads that a value is above a limit; one that has no spread is surely above, at or below. */
double odds_margin(double value_c, double spread_k, double limit_c);

/* Probability that a standard normal is above `margin`: the odds of a night's smallest margin. */
double odds_of_margin(double margin);

/* The inverse: the margin, within 8, that has these odds (0..1); the larger of two next to it. */
double odds_margin_for(double odds);
