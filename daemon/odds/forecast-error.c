/* SPDX-License-Identifier: MIT */
/*
 * Normal-inverse-gamma: weighted sums of the nights, beside a prior that is worth some. Older
 * nights count less, and a night counts as at most ODDS_WILD of the spreads that were expected of
 * it, so that a single wild one does not decide, and a colder last night still never makes the bias
 * warmer, as weights that fall with the distance would.
 */
#include "odds/forecast-error.h"

#include <math.h>

/* What the prior is worth, in nights. A bias of half the scatter is thus no surprise; a spread is
 * the prior's and what was read in equal parts after ten nights. Chosen. */
#define PRIOR_NIGHTS_BIAS 4.0
#define PRIOR_NIGHTS_SPREAD 10.0
#define HALF_LIFE_D 60.0 /* a season's nights count; chosen */
#define LEAST_SHARE (1.0 / 3.0)

/* Sums over the nights, each weighing 1 as it comes and less as it ages. */
typedef struct Sums {
    double nights, errors_k, squares_k2;
} Sums;

static double bias_k(const Sums *s)
{
    return s->errors_k / (PRIOR_NIGHTS_BIAS + s->nights);
}

/* Variance of one night's error about the bias, and of the bias itself, K². */
static double expected_k2(double prior_spread_k, const Sums *s)
{
    double prior_k2 = prior_spread_k * prior_spread_k / (1.0 + 1.0 / PRIOR_NIGHTS_BIAS);
    double about = s->squares_k2 - s->errors_k * bias_k(s);
    double scatter = (PRIOR_NIGHTS_SPREAD * prior_k2 + about) / (PRIOR_NIGHTS_SPREAD + s->nights);
    return scatter * (1.0 + 1.0 / (PRIOR_NIGHTS_BIAS + s->nights));
}

static void take_in(double prior_spread_k, double error_k, Sums *s)
{
    double most = ODDS_WILD * sqrt(expected_k2(prior_spread_k, s)), bias = bias_k(s);
    double counted = bias + fmax(-most, fmin(most, error_k - bias));
    s->nights += 1.0;
    s->errors_k += counted;
    s->squares_k2 += counted * counted;
}

static void age(double days, Sums *s)
{
    double kept = exp2(-fmax(0.0, days) / HALF_LIFE_D);
    s->nights *= kept;
    s->errors_k *= kept;
    s->squares_k2 *= kept;
}

LearnedError forecast_error_learn(double prior_spread_k, const ForecastNight *nights, int n)
{
    if (n == 0)
        return (LearnedError){.spread_k = prior_spread_k};
    Sums sums = {0};
    for (int i = 0; i < n; i++) {
        take_in(prior_spread_k, nights[i].error_k, &sums);
        age(nights[i].days_ago - (i + 1 < n ? nights[i + 1].days_ago : 0.0), &sums);
    }
    double least = fmax(FORECAST_SPREAD_MIN_K, LEAST_SHARE * prior_spread_k);
    return (LearnedError){.bias_k = bias_k(&sums),
                          .spread_k = fmax(least, sqrt(expected_k2(prior_spread_k, &sums))),
                          .n = n};
}

int forecast_error_lead(double lead_h)
{
    double day = ceil(lead_h / 24.0);
    return (int)fmax(1.0, fmin(FORECAST_LEADS, day));
}
