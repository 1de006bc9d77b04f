/* SPDX-License-Identifier: MIT */
#include "odds/cover-error.h"

#include <math.h>

#define NO_SUN_WM2 50.0 /* dawn at most: the minimum often comes just after sunrise; chosen */

CoverErrorAt cover_error_at(const CoverError *error, double light_wm2)
{
    const LearnedError *low = &error->of[EXTREME_LOW], *high = &error->of[EXTREME_HIGH];
    double noon = fmax(0.0, fmin(1.0, light_wm2 / COVER_FULL_SUN_WM2));
    return (CoverErrorAt){.bias_k = low->bias_k + noon * (high->bias_k - low->bias_k),
                          .spread_k = low->spread_k + noon * (high->spread_k - low->spread_k)};
}

bool cover_error_teaches(Extreme which, double light_wm2)
{
    if (which == EXTREME_LOW)
        return light_wm2 <= NO_SUN_WM2;
    return light_wm2 >= 0.5 * COVER_FULL_SUN_WM2;
}

int cover_error_position(const Chain *chain, const int *positions, int i)
{
    for (int l = i; l >= 0; l = chain->layers[l].parent) {
        const Cover *cover = &chain->layers[l].cover;
        if (!chain->layers[l].covered)
            continue;
        int position = positions[l];
        bool there = position >= 0 && position < cover->n_positions;
        bool opens_itself = !isnan(cover->opener_from_c);
        return there && !(opens_itself && !cover->positions[position].open) ? position : 0;
    }
    return 0;
}

const CoverError *cover_error_of(const CoverError *errors, const Chain *chain, const int *positions,
                                 int i)
{
    ptrdiff_t place = chain->layers[i].place;
    return &errors[place * POSITIONS_MAX + cover_error_position(chain, positions, i)];
}

CoverErrorAt cover_error_apply(const CoverError *errors, const Chain *chain, const int *positions,
                               int i, PlaceStep *step)
{
    if (errors == NULL)
        return (CoverErrorAt){.spread_k = chain_spread_k(chain, i, EXTREME_LOW)};
    CoverErrorAt at = cover_error_at(cover_error_of(errors, chain, positions, i), step->light_wm2);
    step->air_c += at.bias_k;
    step->leaf_c += at.bias_k;
    return at;
}
