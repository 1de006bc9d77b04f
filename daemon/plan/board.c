/* SPDX-License-Identifier: MIT */
/* Sets the board: which steps are day or night, where everything stands, which batches are equal.
 */
#include "grow/growth.h"
#include "plan/board.h"
#include "odds/odds.h"
#include "plan/marks.h"
#include "plan/outlook.h"
#include "plan/tracks.h"
#include "plan/walk.h"

#include <math.h>

#define FITNESS_STEPS                                                                              \
    (6 * STEPS_PER_H) /* how often it is asked whether a batch may leave the heat; chosen */

PlanWeights plan_weights_default(void)
{
    return (PlanWeights){.lost_batch = 60.0,
                         .check = 5.0,
                         .visit_min = 15.0,
                         .cover_min = 1.0,
                         .move_min = 5.0,
                         .moved_visit = 0.1,
                         .dropped_visit = 0.2,
                         .changed_jobs = 0.1,
                         .transfer = 0.5};
}

int board_step_at_or_after(const Snapshot *s, int64_t utc)
{
    int64_t d = utc - s->start_utc;
    if (d <= 0)
        return 0;
    int64_t step = (d + STEP_S - 1) / STEP_S;
    return step > s->n_steps ? s->n_steps : (int)step;
}

static bool mark_sites(Board *b)
{
    const Snapshot *s = b->s;
    b->marks = ARENA_NEW(b->arena, s->garden->n_sites, uint8_t *);
    for (int site = 0; b->marks != NULL && site < s->garden->n_sites; site++) {
        b->marks[site] = ARENA_NEW(b->arena, s->n_steps + 1, uint8_t);
        for (int i = 0; b->marks[site] != NULL && i <= s->n_steps; i++)
            b->marks[site][i] =
                marks_at(&s->sites[site], s->garden->sites[site].latitude, board_utc(b, i));
    }
    return !b->arena->failed;
}

static bool map_places(Board *b)
{
    int n = b->s->garden->n_places;
    b->chain_of = ARENA_NEW(b->arena, n, int);
    b->layer_of = ARENA_NEW(b->arena, n, int);
    if (b->arena->failed)
        return false;
    for (int c = 0; c < b->s->n_chains; c++) {
        for (int l = 0; l < b->s->chains[c].n; l++) {
            b->chain_of[b->s->chains[c].layers[l].place] = c;
            b->layer_of[b->s->chains[c].layers[l].place] = l;
        }
    }
    return true;
}

Stand stand_new(Board *b)
{
    const Snapshot *s = b->s;
    Stand stand = {.chains = ARENA_NEW(b->arena, s->n_chains, ChainState),
                   .positions = ARENA_NEW(b->arena, s->garden->n_places, int),
                   .places = ARENA_NEW(b->arena, s->n_batches, int),
                   .since = ARENA_NEW(b->arena, s->n_batches, int),
                   .judged = ARENA_NEW(b->arena, s->n_batches, double),
                   .chill_left_h = ARENA_NEW(b->arena, s->n_batches, double),
                   .used_mm = ARENA_NEW(b->arena, s->n_batches, double),
                   .ramps = ARENA_NEW(b->arena, s->n_batches, RampState),
                   .stages = ARENA_NEW(b->arena, s->n_batches, Stage),
                   .leaf_c = ARENA_NEW(b->arena, s->n_batches, double)};
    return stand;
}

void stand_copy(const Board *b, const Stand *from, Stand *to)
{
    const Snapshot *s = b->s;
    size_t n_batches = (size_t)s->n_batches;
    memcpy(to->chains, from->chains, (size_t)s->n_chains * sizeof *to->chains);
    memcpy(to->positions, from->positions, (size_t)s->garden->n_places * sizeof *to->positions);
    memcpy(to->places, from->places, n_batches * sizeof *to->places);
    memcpy(to->used_mm, from->used_mm, n_batches * sizeof *to->used_mm);
    memcpy(to->judged, from->judged, n_batches * sizeof *to->judged);
    memcpy(to->chill_left_h, from->chill_left_h, n_batches * sizeof *to->chill_left_h);
    memcpy(to->since, from->since, n_batches * sizeof *to->since);
    memcpy(to->ramps, from->ramps, n_batches * sizeof *to->ramps);
    memcpy(to->leaf_c, from->leaf_c, n_batches * sizeof *to->leaf_c);
    memcpy(to->stages, from->stages, n_batches * sizeof *to->stages);
}

bool board_is_hardening(const Board *b, int batch, int step)
{
    Stage stage = b->stand.stages[batch];
    return stage == STAGE_HARDENING || stage == STAGE_READY || b->hardens_from[batch] <= step;
}

/* The first step at which it may leave the heat; a batch that settles grows on after that. */
static int hardens_from(const Board *b, int batch)
{
    Batch later = b->s->batches[batch];
    if (later.stage == STAGE_SETTLING)
        later.stage = STAGE_GROWING_ON;
    for (int step = 0; step < b->s->n_steps; step += FITNESS_STEPS) {
        int64_t utc = step == 0 ? b->s->now_utc : board_utc(b, step);
        if (plan_may_harden(b->s->garden, &later, utc))
            return step;
    }
    return NEVER;
}

static bool same_bits(const double *a, const double *b, size_t n)
{
    return memcmp(a, b, n * sizeof *a) == 0;
}

/* Field by field: what lies between two fields may differ in equal states. By bits, so that a
 * missing night equals a missing night. */
static bool ramps_equal(const RampState *a, const RampState *b)
{
    return same_bits(&a->hardened_to_c, &b->hardened_to_c, 1) &&
           same_bits(&a->frost_tolerance, &b->frost_tolerance, 1) &&
           a->exposure_days == b->exposure_days && a->hold_days == b->hold_days &&
           a->unused_days == b->unused_days &&
           same_bits(a->mean_air_c, b->mean_air_c, MEAN_STEPS) && a->mean_n == b->mean_n &&
           a->mean_next == b->mean_next && same_bits(&a->mean_sum_c, &b->mean_sum_c, 1) &&
           a->day_start_utc == b->day_start_utc &&
           same_bits(a->day_air_c, b->day_air_c, RAMP_DAY_STEPS_MAX) &&
           a->day_steps == b->day_steps && same_bits(&a->exposed_h, &b->exposed_h, 1) &&
           same_bits(&a->below_floor_kh, &b->below_floor_kh, 1) &&
           same_bits(&a->night_shelter, &b->night_shelter, 1) &&
           same_bits(a->nights_shelter, b->nights_shelter, NIGHTS_KEPT);
}

static bool batches_equal(const Board *b, int i, int j)
{
    const Batch *x = &b->s->batches[i], *y = &b->s->batches[j];
    const Stand *s = &b->stand;
    return x->crop == y->crop && x->trays == y->trays && x->destination == y->destination &&
           x->settled_utc == y->settled_utc && x->resowable == y->resowable &&
           x->position_unknown == y->position_unknown && b->hardens_from[i] == b->hardens_from[j] &&
           s->places[i] == s->places[j] && s->since[i] == s->since[j] &&
           s->stages[i] == s->stages[j] && s->judged[i] == s->judged[j] &&
           same_bits(&s->leaf_c[i], &s->leaf_c[j], 1) &&
           same_bits(&s->chill_left_h[i], &s->chill_left_h[j], 1) &&
           ramps_equal(&s->ramps[i], &s->ramps[j]);
}

void board_group(Board *b)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        int leader = 0;
        while (leader < i && (b->leader[leader] != leader || !batches_equal(b, leader, i)))
            leader++;
        b->leader[i] = leader;
    }
}

void board_group_again(Board *b, int batch)
{
    int heir = -1, n = b->s->n_batches;
    /* Those it led are still equal among themselves. */
    for (int i = batch + 1; i < n; i++) {
        if (b->leader[i] != batch)
            continue;
        heir = heir < 0 ? i : heir;
        b->leader[i] = heir;
    }
    b->leader[batch] = batch;
    for (int i = 0; i < n; i++) {
        if (i == batch || b->leader[i] != i || !batches_equal(b, i, batch))
            continue;
        if (i < batch) {
            b->leader[batch] = i;
            return;
        }
        for (int k = i; k < n; k++) /* it comes before those it is equal to now */
            b->leader[k] = b->leader[k] == i ? batch : b->leader[k];
        return;
    }
}

static bool open_batches(Board *b)
{
    const Snapshot *s = b->s;
    b->hardens_from = ARENA_NEW(b->arena, s->n_batches, int);
    b->leader = ARENA_NEW(b->arena, s->n_batches, int);
    b->ready_utc = ARENA_NEW(b->arena, s->n_batches, int64_t);
    b->survive = ARENA_NEW(b->arena, s->n_batches, double);
    b->past = ARENA_NEW(b->arena, s->n_batches, BatchPast);
    if (b->arena->failed)
        return false;
    for (int i = 0; i < s->n_batches; i++) {
        b->start.places[i] = s->batches[i].place;
        b->start.ramps[i] = s->batches[i].ramp;
        b->start.stages[i] = s->batches[i].stage;
        b->hardens_from[i] = hardens_from(b, i);
        b->start.leaf_c[i] = NAN;
        b->start.chill_left_h[i] =
            growth_chill_left_h(board_crop(b, i), &s->batches[i].growth, s->batches[i].bought);
        b->start.used_mm[i] = s->batches[i].used_mm;
        b->survive[i] = 1.0;
    }
    return true;
}

bool board_open(Board *b, const Snapshot *s, Arena *arena, Plan *plan)
{
    *b = (Board){.s = s, .arena = arena, .plan = plan};
    b->damage_z = odds_margin_for(s->garden->risk.damage);
    b->start = stand_new(b);
    b->stand = stand_new(b);
    b->shelves = ARENA_NEW(arena, s->n_chains, TrackShelf);
    b->hold = ARENA_NEW(arena, s->n_chains, PlaceStep *);
    b->decided_to = ARENA_NEW(arena, s->garden->n_sites, int);
    if (arena->failed || !mark_sites(b) || !map_places(b) || !board_open_windows(b) ||
        !open_batches(b))
        return false;
    memcpy(b->start.chains, s->states, (size_t)s->n_chains * sizeof *s->states);
    memcpy(b->start.positions, s->positions, (size_t)s->garden->n_places * sizeof *s->positions);
    stand_copy(b, &b->start, &b->stand);
    return outlook_open_destinations(b);
}
