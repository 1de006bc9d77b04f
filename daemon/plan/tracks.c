/* SPDX-License-Identifier: MIT */
/* The air of chains over a window: as scheduled, or with fixed settings that many schedules share. */
#include "plan/board.h"
#include "plan/marks.h"

static void layer_positions(const Board *b, int chain, const int *positions, int *ret)
{
    const Chain *c = &b->s->chains[chain];
    for (int l = 0; l < c->n; l++)
        ret[l] = positions[c->layers[l].place];
}

Track track_run(Board *b, int chain, const Window *w, const Stand *stand, const Schedule *schedule,
                ChainState *ret_end)
{
    const Snapshot *s = b->s;
    const Chain *c = &s->chains[chain];
    const SiteOutlook *outlook = &s->sites[w->site];
    int n = w->eval_end - w->first, segment = 0, positions[CHAIN_LAYERS_MAX];
    PlaceStep *steps = ARENA_NEW(b->arena, (size_t)n * (size_t)c->n, PlaceStep);
    if (steps == NULL)
        return (Track){0};
    ChainState state = stand->chains[chain];
    layer_positions(b, chain, schedule->positions[0], positions);
    for (int i = 0; i < n; i++) {
        int step = w->first + i;
        while (segment < schedule->n_visits && step >= schedule->visit_step[segment])
            layer_positions(b, chain, schedule->positions[++segment], positions);
        if (step == w->end && ret_end != NULL)
            *ret_end = state;
        ChainForcing forcing = {.now = &outlook->steps[step],
                                .next = &outlook->steps[step + 1],
                                .deep_c = outlook->deep_c,
                                .solar_hour = marks_solar_hour(board_utc(b, step + 1),
                                                               s->garden->sites[w->site].longitude)};
        chain_step(c, positions, &forcing, &state, steps + (size_t)i * (size_t)c->n);
    }
    if (ret_end != NULL && w->end >= w->eval_end)
        *ret_end = state;
    return (Track){.first = w->first, .n = n, .steps = steps};
}

Track track_fixed(Board *b, int chain, const Window *w, const Stand *stand, const int *positions,
                  TrackShelf *shelf)
{
    const Chain *c = &b->s->chains[chain];
    int8_t setting[CHAIN_LAYERS_MAX] = {0};
    for (int l = 0; l < c->n; l++)
        setting[l] = (int8_t)positions[c->layers[l].place];
    for (int i = 0; i < shelf->n; i++) {
        if (memcmp(shelf->settings[i], setting, sizeof setting) == 0)
            return shelf->tracks[i];
    }
    Schedule fixed = {.positions = {(int *)positions}};
    Track track = track_run(b, chain, w, stand, &fixed, NULL);
    if (track.steps != NULL && shelf->n < TRACKS_MAX) {
        memcpy(shelf->settings[shelf->n], setting, sizeof setting);
        shelf->tracks[shelf->n++] = track;
    }
    return track;
}
