/* SPDX-License-Identifier: MIT */
/*
 * The state is the bias in each position, before any reading 0 with `share` of the chain's
 * variance; between readings it goes back there like an Ornstein-Uhlenbeck process. What the
 * outdoors did that night is an unknown of its own: conditioned on what was read there, if it was,
 * it is noise with what variance is left. That is the joint update of both, since they are
 * independent beforehand.
 */
#include "odds/cover-filter.h"

#include <math.h>

#define BIAS_SHARE 0.7      /* of the chain's variance that is the same every night; chosen */
#define POSITIONS_ALIKE 0.5 /* correlation of the biases of two positions that cover; chosen */
#define MEMORY_D 365.0      /* in which a bias falls to 1/e unread: covers age, soils dry; chosen */
#define SCATTER_READINGS 6.0 /* what the prior scatter is worth in readings; chosen */
#define SPREAD_MIN_K 0.3     /* no place is surer; chosen */

static double prior_covariance(const CoverFilter *f, int i, int j)
{
    double variance = BIAS_SHARE * f->prior_spread_k * f->prior_spread_k;
    if (i == j)
        return variance;
    return f->open[i] || f->open[j] ? 0.0 : POSITIONS_ALIKE * variance;
}

void cover_filter_begin(double prior_spread_k, const Cover *cover, CoverFilter *ret)
{
    *ret = (CoverFilter){.n_positions = cover == NULL ? 1 : cover->n_positions,
                         .prior_spread_k = prior_spread_k,
                         .scatter_k2 = (1.0 - BIAS_SHARE) * prior_spread_k * prior_spread_k,
                         .scatter_weight = SCATTER_READINGS};
    for (int i = 0; i < ret->n_positions; i++)
        ret->open[i] = cover == NULL || cover->positions[i].open;
    for (int i = 0; i < ret->n_positions; i++) {
        for (int j = 0; j < ret->n_positions; j++)
            ret->covariance_k2[i][j] = prior_covariance(ret, i, j);
    }
}

void cover_filter_pass(double days, CoverFilter *f)
{
    double kept = exp(-fmax(0.0, days) / MEMORY_D);
    for (int i = 0; i < f->n_positions; i++) {
        f->bias_k[i] *= kept;
        for (int j = 0; j < f->n_positions; j++)
            f->covariance_k2[i][j] = kept * kept * f->covariance_k2[i][j] +
                                     (1.0 - kept * kept) * prior_covariance(f, i, j);
    }
}

/* What the reading was off by the place's own doing, and the variance of all that is not it. */
static double own_error(const CoverReading *r, double *ret_noise_k2)
{
    double thermometer = ODDS_THERMOMETER_K * ODDS_THERMOMETER_K;
    double outdoors = r->outdoor_spread_k * r->outdoor_spread_k;
    if (isnan(r->open_error_k) || !(r->open_spread_k > 0.0)) {
        *ret_noise_k2 = thermometer + outdoors;
        return r->error_k;
    }
    double open = r->open_spread_k * r->open_spread_k, sure = open / (open + thermometer);
    double share = fmin(1.0, r->outdoor_spread_k / r->open_spread_k);
    *ret_noise_k2 = thermometer + outdoors * (1.0 - sure);
    return r->error_k - share * sure * r->open_error_k;
}

/* The scatter, from one surprise squared: as much as it can tell apart from all the other noise. */
static void learn_scatter(CoverFilter *f, double surprise_k2, double expected_k2)
{
    double told = f->scatter_k2 / expected_k2, weight = told * told;
    f->scatter_weight += weight;
    f->scatter_k2 += weight * (surprise_k2 - expected_k2) / f->scatter_weight;
}

bool cover_filter_learn(const CoverReading *r, CoverFilter *f)
{
    int p = r->position;
    if (p < 0 || p >= f->n_positions || !isfinite(r->error_k) || !isfinite(r->outdoor_spread_k) ||
        !isfinite(r->days))
        return false;
    cover_filter_pass(r->days, f);
    double noise_k2, error = own_error(r, &noise_k2);
    double expected_k2 = f->covariance_k2[p][p] + f->scatter_k2 + noise_k2;
    double most = ODDS_WILD * sqrt(expected_k2);
    double off = fmax(-most, fmin(most, error - f->bias_k[p]));
    double gain[POSITIONS_MAX];
    for (int i = 0; i < f->n_positions; i++)
        gain[i] = f->covariance_k2[i][p] / expected_k2;
    for (int i = 0; i < f->n_positions; i++) {
        f->bias_k[i] += gain[i] * off;
        for (int j = 0; j < f->n_positions; j++)
            f->covariance_k2[i][j] -= gain[i] * gain[j] * expected_k2;
    }
    learn_scatter(f, off * off, expected_k2);
    f->n[p]++;
    return true;
}

LearnedError cover_filter_now(const CoverFilter *f, int position)
{
    int n = 0;
    if (position < 0 || position >= f->n_positions)
        return (LearnedError){.spread_k = f->prior_spread_k};
    for (int i = 0; i < f->n_positions; i++)
        n += prior_covariance(f, i, position) > 0.0 ? f->n[i] : 0;
    if (n == 0)
        return (LearnedError){.spread_k = f->prior_spread_k};
    double spread = sqrt(f->covariance_k2[position][position] + f->scatter_k2);
    return (LearnedError){
        .bias_k = f->bias_k[position], .spread_k = fmax(SPREAD_MIN_K, spread), .n = n};
}
