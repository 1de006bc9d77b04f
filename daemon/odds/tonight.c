/* SPDX-License-Identifier: MIT */
/*
 * Each error is an Ornstein-Uhlenbeck process of unit variance times its spread: a reading fades by
 * exp(-t/decay), and the spread comes back as it does. A reading under a cover sees the sum of the
 * open air's error and its own, and tells them apart only by their variances.
 */
#include "odds/tonight.h"

#include <math.h>

/* log of the decay: a prior as wide as a factor of 1.65 either way; chosen. */
#define DECAY_LOG_SPREAD 0.5
#define DECAY_STEPS 60 /* of the grid over three spreads either way */

#define THERMOMETER_K2 (ODDS_THERMOMETER_K * ODDS_THERMOMETER_K)

/* Log likelihood of one evening's pair, but for a constant. A night when the weather changed counts
 * as at most ODDS_WILD spreads off. */
static double pair_likelihood(const EveningPair *p, double decay_h, double spread_k)
{
    double kept = exp(-p->hours / decay_h), variance = spread_k * spread_k;
    double gain = kept * variance / (variance + THERMOMETER_K2);
    double rest = variance * (1.0 - kept * gain) + THERMOMETER_K2;
    double off = p->minimum_k - gain * p->evening_k;
    return -0.5 * (log(rest) + fmin(off * off / rest, ODDS_WILD * ODDS_WILD));
}

double tonight_decay_h(const EveningPair *pairs, int n, double spread_k)
{
    double likelihood[DECAY_STEPS + 1], most = -INFINITY, sum = 0.0, weight = 0.0;
    for (int g = 0; g <= DECAY_STEPS; g++) {
        double z = 6.0 * g / DECAY_STEPS - 3.0;
        likelihood[g] = -0.5 * z * z;
        for (int i = 0; i < n; i++)
            likelihood[g] +=
                pair_likelihood(&pairs[i], TONIGHT_DECAY_H * exp(DECAY_LOG_SPREAD * z), spread_k);
        most = fmax(most, likelihood[g]);
    }
    for (int g = 0; g <= DECAY_STEPS; g++) {
        double share = exp(likelihood[g] - most);
        sum += share * (6.0 * g / DECAY_STEPS - 3.0);
        weight += share;
    }
    return n == 0 ? TONIGHT_DECAY_H : TONIGHT_DECAY_H * exp(DECAY_LOG_SPREAD * sum / weight);
}

void tonight_begin(double decay_h, Tonight *ret)
{
    *ret = (Tonight){.decay_h = decay_h, .n = 1, .place = {TONIGHT_OUTDOORS}};
    ret->covariance[0][0] = 1.0;
}

/* What is left at `utc` of what was known at the last reading. */
static double kept_until(const Tonight *t, int64_t utc)
{
    return exp(-(double)(utc - t->at_utc) / 3600.0 / t->decay_h);
}

static int index_of(const Tonight *t, int place)
{
    int i = 0;
    while (i < t->n && t->place[i] != place)
        i++;
    return i;
}

static void pass_until(Tonight *t, int64_t utc)
{
    double kept = t->at_utc == 0 ? 1.0 : kept_until(t, utc);
    for (int i = 0; i < t->n; i++) {
        t->mean[i] *= kept;
        for (int j = 0; j < t->n; j++)
            t->covariance[i][j] =
                kept * kept * t->covariance[i][j] + (i == j ? 1.0 - kept * kept : 0.0);
    }
    t->at_utc = utc;
}

bool tonight_read(const TonightReading *r, Tonight *t)
{
    int own = index_of(t, r->place);
    if (r->time_utc < t->at_utc || own == TONIGHT_ERRORS_MAX || !isfinite(r->error_k) ||
        !isfinite(r->outdoor_spread_k) || (own > 0 && !isfinite(r->place_spread_k)))
        return false;
    pass_until(t, r->time_utc);
    if (own == t->n) {
        t->place[own] = r->place;
        t->covariance[own][own] = 1.0;
        t->n++;
    }
    double seen[TONIGHT_ERRORS_MAX] = {0}, with[TONIGHT_ERRORS_MAX], off = r->error_k,
           variance = THERMOMETER_K2;
    seen[0] = r->outdoor_spread_k;
    if (own > 0)
        seen[own] = r->place_spread_k;
    for (int i = 0; i < t->n; i++) {
        with[i] = seen[0] * t->covariance[i][0] + (own > 0 ? seen[own] * t->covariance[i][own] : 0);
        variance += seen[i] * with[i];
        off -= seen[i] * t->mean[i];
    }
    for (int i = 0; i < t->n; i++) {
        t->mean[i] += with[i] * off / variance;
        for (int j = 0; j < t->n; j++)
            t->covariance[i][j] -= with[i] * with[j] / variance;
    }
    return true;
}

TonightError tonight_outdoors(const Tonight *t, int64_t utc, double spread_k)
{
    if (t->at_utc == 0 || utc < t->at_utc)
        return (TonightError){.variance_k2 = spread_k * spread_k};
    double kept = kept_until(t, utc);
    double left = 1.0 - kept * kept * (1.0 - t->covariance[0][0]);
    return (TonightError){.shift_k = kept * t->mean[0] * spread_k,
                          .variance_k2 = left * spread_k * spread_k};
}

TonightError tonight_place(const Tonight *t, int place, int64_t utc, double outdoor_spread_k,
                           double place_spread_k)
{
    int own = index_of(t, place);
    if (t->at_utc == 0 || utc < t->at_utc || own == t->n)
        return (TonightError){.variance_k2 = place_spread_k * place_spread_k};
    double kept = kept_until(t, utc), left = 1.0 - kept * kept * (1.0 - t->covariance[own][own]);
    double shared = kept * kept * t->covariance[own][0];
    return (TonightError){.shift_k = kept * t->mean[own] * place_spread_k,
                          .variance_k2 = left * place_spread_k * place_spread_k +
                                         2.0 * shared * place_spread_k * outdoor_spread_k};
}
