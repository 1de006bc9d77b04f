/* SPDX-License-Identifier: MIT */
#include "calendar/match.h"

#include <string.h>

/* Two sets of visits, being paired. */
typedef struct Pairing {
    const Visit *former, *planned;
    const int32_t *former_day, *planned_day; /* both or neither */
    int n_former, n_planned;
    int *former_of;
} Pairing;

static bool former_is_free(const Pairing *pairing, int former)
{
    for (int p = 0; p < pairing->n_planned; p++) {
        if (pairing->former_of[p] == former)
            return false;
    }
    return true;
}

/* Visits whose id says which former one they are. */
static void pair_by_id(Pairing *pairing)
{
    for (int p = 0; p < pairing->n_planned; p++) {
        if (pairing->planned[p].id[0] == '\0')
            continue;
        for (int f = 0; f < pairing->n_former; f++) {
            if (strcmp(pairing->planned[p].id, pairing->former[f].id) == 0 &&
                former_is_free(pairing, f)) {
                pairing->former_of[p] = f;
                break;
            }
        }
    }
}

/* Seconds between the starts, or -1 where the two cannot be one visit. */
static int64_t distance_s(const Pairing *pairing, int f, int p, bool same_day)
{
    const Visit *former = &pairing->former[f], *planned = &pairing->planned[p];
    int64_t distance;

    if (former->grower != planned->grower || former->site != planned->site)
        return -1;
    if (same_day && pairing->former_day[f] != pairing->planned_day[p])
        return -1;
    distance = planned->start_utc - former->start_utc;
    if (distance < 0)
        distance = -distance;
    return distance <= CALENDAR_MATCH_MAX_S ? distance : -1;
}

/* Pair the nearest two that are still free; false when no pair is left. */
static bool pair_nearest(Pairing *pairing, bool same_day)
{
    int64_t nearest = -1;
    int best_former = -1, best_planned = -1;

    for (int f = 0; f < pairing->n_former; f++) {
        if (!former_is_free(pairing, f))
            continue;
        for (int p = 0; p < pairing->n_planned; p++) {
            int64_t distance;
            if (pairing->former_of[p] >= 0 || pairing->planned[p].id[0] != '\0')
                continue;
            distance = distance_s(pairing, f, p, same_day);
            if (distance >= 0 && (nearest < 0 || distance < nearest)) {
                nearest = distance;
                best_former = f;
                best_planned = p;
            }
        }
    }
    if (nearest < 0)
        return false;
    pairing->former_of[best_planned] = best_former;
    return true;
}

void calendar_match(const Visit *former, const int32_t *former_day, int n_former,
                    const Visit *planned, const int32_t *planned_day, int n_planned,
                    int *ret_former_of)
{
    Pairing pairing = {
        .former = former,
        .planned = planned,
        .former_day = former_day,
        .planned_day = planned_day,
        .n_former = n_former,
        .n_planned = n_planned,
        .former_of = ret_former_of,
    };

    for (int p = 0; p < n_planned; p++)
        ret_former_of[p] = -1;
    pair_by_id(&pairing);
    if (former_day != NULL && planned_day != NULL) {
        while (pair_nearest(&pairing, true))
            ;
    }
    while (pair_nearest(&pairing, false))
        ;
}
