/* SPDX-License-Identifier: MIT */
/* What each destination expects: its nights with covers shut, simulated once over the horizon. */
#include "plan/errors.h"
#include "plan/marks.h"
#include "plan/outlook.h"
#include "plan/tracks.h"

#include <math.h>

#define DESTINATION_NIGHTS 5 /* nights whose mean a destination is expected to give; chosen */

int outlook_exposure_needed(const Place *place)
{
    if (!place->covered)
        return RAMP_EXPOSURE_FULL;
    return place->cover.porous ? RAMP_EXPOSURE_POROUS : 0;
}

/* The air at a destination with its covers shut, split into ramp days. */
static bool destination_open(Board *b, int place, DestinationNights *ret)
{
    const Snapshot *s = b->s;
    int site = board_place(b, place)->site, chain = b->chain_of[place], layer = b->layer_of[place];
    int room = s->n_steps / 40 + 3;
    double *air = ARENA_NEW(b->arena, room * RAMP_DAY_STEPS_MAX, double);
    double *leaf = ARENA_NEW(b->arena, room, double), *spread = ARENA_NEW(b->arena, room, double);
    double *soil = ARENA_NEW(b->arena, room, double);
    int *steps = ARENA_NEW(b->arena, room, int), *ends = ARENA_NEW(b->arena, room, int);
    Window whole = {.site = site, .first = 0, .end = s->n_steps, .eval_end = s->n_steps};
    int *shut = ARENA_NEW(b->arena, s->garden->n_places, int); /* all closed */
    if (b->arena->failed)
        return false;
    TrackCourse course = track_course_fixed(b, chain, shut);
    Track track = track_run(b, chain, &whole, &b->start.chains[chain], &course, NULL);
    if (track.steps == NULL)
        return false;
    int shut_at[CHAIN_LAYERS_MAX] = {0}; /* by layer */
    double model = errors_of(s, &s->chains[chain], shut_at, layer).of[EXTREME_LOW].spread_k;
    *ret = (DestinationNights){.place = place,
                               .air_c = air,
                               .steps = steps,
                               .ends = ends,
                               .leaf_low_c = leaf,
                               .spread_k = spread,
                               .soil_at_eight_c = soil,
                               .shelter = chain_shelter(&s->chains[chain], shut, layer),
                               .exposure_needed = outlook_exposure_needed(board_place(b, place))};
    int k = 0;
    leaf[0] = INFINITY;
    for (int i = 0; i < s->n_steps && k < room - 1; i++) {
        const PlaceStep *step =
            &track.steps[(size_t)i * (size_t)s->chains[chain].n + (size_t)layer];
        if ((b->marks[site][i] & MARK_CLOSES) && steps[k] > 0) {
            ends[k] = i;
            soil[k] = step->surface_c;
            k++;
            leaf[k] = INFINITY;
        }
        if (steps[k] < RAMP_DAY_STEPS_MAX)
            air[k * RAMP_DAY_STEPS_MAX + steps[k]++] = step->air_c;
        if (step->leaf_c < leaf[k]) {
            leaf[k] = step->leaf_c;
            spread[k] = hypot(s->sites[site].steps[i].spread_k, model);
        }
    }
    ret->n = k;
    return true;
}

bool outlook_open_destinations(Board *b)
{
    const Snapshot *s = b->s;
    b->destinations = ARENA_NEW(b->arena, s->garden->n_places, DestinationNights);
    b->destination_of = ARENA_NEW(b->arena, s->n_batches, int);
    b->destination_cold_c = ARENA_NEW(b->arena, s->n_batches, double);
    if (b->arena->failed)
        return false;
    for (int i = 0; i < s->n_batches; i++) {
        int place = s->batches[i].destination;
        b->destination_of[i] = -1;
        b->destination_cold_c[i] = board_crop(b, i)->floor_hardened_c;
        if (place < 0)
            continue;
        int d = 0;
        while (d < b->n_destinations && b->destinations[d].place != place)
            d++;
        if (d == b->n_destinations &&
            !destination_open(b, place, &b->destinations[b->n_destinations++]))
            return false;
        b->destination_of[i] = d;
        const DestinationNights *nights = &b->destinations[d];
        double sum = 0.0;
        int n = nights->n < DESTINATION_NIGHTS ? nights->n : DESTINATION_NIGHTS;
        for (int k = 0; k < n; k++)
            sum += ramp_cold_c(nights->air_c + (ptrdiff_t)k * RAMP_DAY_STEPS_MAX, nights->steps[k],
                               s->batches[i].ramp.hardened_to_c);
        if (n > 0)
            b->destination_cold_c[i] = fmax(sum / n, board_crop(b, i)->floor_hardened_c);
    }
    return true;
}
