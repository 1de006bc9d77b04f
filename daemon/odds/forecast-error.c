/* SPDX-License-Identifier: MIT */
/*
 * Normal-inverse-gamma, one night after the other. Between nights what was learned loses weight,
 * down to that of the prior; a night counts as at most ODDS_WILD of the spreads expected of it.
 */
#include "odds/forecast-error.h"

#include <math.h>

/* What the prior is worth, in nights. A bias of half the scatter is thus no surprise; a spread is
 * the prior's and what was read in equal parts after ten nights. Chosen. */
#define PRIOR_NIGHTS_BIAS 4.0
#define PRIOR_NIGHTS_SPREAD 10.0
#define HALF_LIFE_D 60.0 /* a season's nights count; chosen */
#define LEAST_SHARE (1.0 / 3.0)

typedef struct Belief {
    double mean_k, nights;             /* of the bias; weight of the prior included */
    double scatter_k2, scatter_nights; /* of the variance about it */
} Belief;

static double predicted_k2(const Belief *b)
{
    return b->scatter_k2 * (1.0 + 1.0 / b->nights);
}

/* The weights keep their distance from the prior's by `kept`; sums fade with them. */
static void fade(const Belief *prior, double kept, Belief *b)
{
    double nights = PRIOR_NIGHTS_BIAS + kept * (b->nights - PRIOR_NIGHTS_BIAS);
    double scatter = PRIOR_NIGHTS_SPREAD + kept * (b->scatter_nights - PRIOR_NIGHTS_SPREAD);
    b->mean_k *= kept * b->nights / nights;
    b->scatter_k2 = (kept * b->scatter_nights * b->scatter_k2 +
                     (1.0 - kept) * PRIOR_NIGHTS_SPREAD * prior->scatter_k2) /
                    scatter;
    b->nights = nights;
    b->scatter_nights = scatter;
}

static void take_in(double error_k, Belief *b)
{
    double most = ODDS_WILD * sqrt(predicted_k2(b));
    double off = fmax(-most, fmin(most, error_k - b->mean_k));
    b->scatter_k2 =
        (b->scatter_nights * b->scatter_k2 + off * off * b->nights / (b->nights + 1.0)) /
        (b->scatter_nights + 1.0);
    b->scatter_nights += 1.0;
    b->mean_k += off / (b->nights + 1.0);
    b->nights += 1.0;
}

LearnedError forecast_error_learn(double prior_spread_k, const ForecastNight *nights, int n)
{
    if (n == 0)
        return (LearnedError){.spread_k = prior_spread_k};
    const Belief prior = {.nights = PRIOR_NIGHTS_BIAS,
                          .scatter_k2 =
                              prior_spread_k * prior_spread_k / (1.0 + 1.0 / PRIOR_NIGHTS_BIAS),
                          .scatter_nights = PRIOR_NIGHTS_SPREAD};
    Belief b = prior;
    for (int i = 0; i < n; i++) {
        double next = i + 1 < n ? nights[i + 1].days_ago : 0.0;
        take_in(nights[i].error_k, &b);
        fade(&prior, exp2(-fmax(0.0, nights[i].days_ago - next) / HALF_LIFE_D), &b);
    }
    double least = fmax(FORECAST_SPREAD_MIN_K, LEAST_SHARE * prior_spread_k);
    return (LearnedError){
        .bias_k = b.mean_k, .spread_k = fmax(least, sqrt(predicted_k2(&b))), .n = n};
}

int forecast_error_lead(double lead_h)
{
    double day = ceil(lead_h / 24.0);
    return (int)fmax(1.0, fmin(FORECAST_LEADS, day));
}
