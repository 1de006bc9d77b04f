/* SPDX-License-Identifier: MIT */
#include "plan/errors.h"

#include <math.h>

#define LEAST_K 0.1 /* nothing is surer; chosen */

CoverError errors_of(const Snapshot *s, const Chain *chain, const int *positions, int layer)
{
    if (s->cover_errors != NULL)
        return *cover_error_of(s->cover_errors, chain, positions, layer);
    CoverError prior = {0};
    for (int which = 0; which < EXTREMES; which++)
        prior.of[which].spread_k = chain_spread_k(chain, layer, (Extreme)which);
    return prior;
}

static const TonightError *tonight_of(const Snapshot *s, int place, int position, int step)
{
    if (s->tonight == NULL || step >= s->n_tonight || s->tonight[place].steps == NULL ||
        s->tonight[place].position != position)
        return NULL;
    return &s->tonight[place].steps[step];
}

void errors_apply(const Snapshot *s, const Chain *chain, const int *positions, int step,
                  PlaceStep *met)
{
    for (int l = 0; l < chain->n && s->cover_errors != NULL; l++)
        (void)cover_error_apply(s->cover_errors, chain, positions, l, &met[l]);
    for (int l = 0; l < chain->n && s->tonight != NULL && step < s->n_tonight; l++) {
        const TonightError *tonight =
            tonight_of(s, chain->layers[l].place, cover_error_position(chain, positions, l), step);
        if (tonight == NULL)
            continue;
        met[l].air_c += tonight->shift_k;
        met[l].leaf_c += tonight->shift_k;
    }
}

double errors_outdoor_k(const Snapshot *s, int site, int step)
{
    const SiteOutlook *outlook = &s->sites[site];
    if (outlook->tonight_spread_k != NULL && step < s->n_tonight)
        return outlook->tonight_spread_k[step];
    return outlook->steps[step].spread_k;
}

double errors_own_k2(const Snapshot *s, int place, int position, int step, double spread_k)
{
    const TonightError *tonight = tonight_of(s, place, position, step);
    return tonight != NULL ? tonight->variance_k2 : spread_k * spread_k;
}

double errors_sum_k(double outdoor_k, double own_k2)
{
    return sqrt(fmax(LEAST_K * LEAST_K, outdoor_k * outdoor_k + own_k2));
}
