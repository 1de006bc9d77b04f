/* SPDX-License-Identifier: MIT */
/*
 * What a batch meets in a column at the least, before it is walked through it. Heat harms it by the
 * air alone. Cold does by the air and by how hard the batch is, which is taken as hard as it could
 * be: so each stretch between two visits has a bound of its own, for each course that leads to it,
 * and those of a column's stretches together are one of the column.
 */
#include "odds/odds.h"
#include "plan/exact-prices.h"
#include "plan/marks.h"

#include <math.h>

#define GAIN_H 72.0 /* frost tolerance takes at least so long to be gained: see ramp.c */
#define WARM_C 1e3  /* nothing falls by it */
#define WITHIN_SAME 1e-9

/* Of one place in one stretch, after one course. */
typedef struct Stretch {
    double heat_harm;
    double odds;  /* of damage, in its worst night */
    double share; /* of the budget, that a ramp day is expected to check */
    bool known;
} Stretch;

typedef struct Met {
    RampState ramp;             /* at the first visit */
    Stretch **stretches;        /* per chain: of each course and layer; NULL it is never there */
    Stretch *any[SEGMENTS_MAX]; /* per place: the least of any course */
} Met;

static void segment_of(Exact *x, int place, int visits, int course, const Air *air, Segment *ret)
{
    exact_set_positions(x, x->q->b->chain_of[place], course, visits, x->probe);
    segment_fill(x->q->b, place, x->probe->positions[visits], air->track,
                 segment_start(x->q->w, x->probe, visits), segment_end(x->q->w, x->probe, visits),
                 ret);
}

/* As hard as it could be after so many ramp days more. */
static RampState hard_after(const Crop *crop, const RampState *now, int days)
{
    RampState hard = *now;
    const double drop_k = fmax(crop->drop_first_k, crop->drop_k);
    hard.hardened_to_c =
        fmin(now->hardened_to_c, fmax(crop->floor_hardened_c, now->hardened_to_c - days * drop_k));
    hard.exposure_days = int_min(RAMP_EXPOSURE_FULL, now->exposure_days + days);
    return hard;
}

/*
 * The share of its budget that a ramp day is expected to check, by some of its half-hours alone:
 * the others are taken as warm, so that as many count as of a whole day. Errors of the forecast
 * only add to what is expected.
 */
static double share_of(const Crop *crop, const RampState *hard, const Segment *s, int from, int to)
{
    double air_c[RAMP_DAY_STEPS_MAX];
    int n = 0;
    if (crop->drop_k < crop->drop_first_k)
        return 0.0; /* it is not hardest where it may fall most */
    for (int step = from; step < to && n < RAMP_DAY_STEPS_MAX; step++)
        air_c[n++] = s->track.steps[(step - s->track.first) * s->stride + s->layer].air_c;
    while (n < RAMP_COLD_STEPS)
        air_c[n++] = WARM_C;
    return ramp_excess_kh(crop, hard, air_c, n, 0.0) / (RAMP_BUDGET_H * ramp_drop_k(crop, hard));
}

/* Whether the ramp day at hand at a step ends in the window, and is judged. */
static bool closes_after(const Exact *x, const Segment *s, int step)
{
    const Window *w = x->q->w;
    while (step < w->eval_end && !(s->marks[step] & MARK_CLOSES))
        step++;
    return step < w->eval_end || w->joins;
}

static Stretch stretch_of(Exact *x, const ExactGroup *g, int place, int visits, int course)
{
    const Board *b = x->q->b;
    const Window *w = x->q->w;
    const Crop *crop = board_crop(b, g->leader);
    const RampState *now = visits == 0 ? &b->stand.ramps[g->leader] : &g->met->ramp;
    const Air *air = exact_air(x, b->chain_of[place], visits, course);
    Stretch ret = {.known = true};
    Segment s;
    if (air == NULL)
        return ret;
    segment_of(x, place, visits, course, air, &s);
    const int begin = visits == 0 ? w->first : x->probe->visit_step[0];
    int days = 0;
    for (int step = begin; step < s.from; step++)
        days += (s.marks[step] & MARK_CLOSES) != 0;
    for (int from = s.from, to; from < s.to; from = to) {
        days += (s.marks[from] & MARK_CLOSES) != 0;
        for (to = from + 1; to < s.to && !(s.marks[to] & MARK_CLOSES);)
            to++;
        RampState hard = hard_after(crop, now, days);
        hard.frost_tolerance =
            fmin(1.0, now->frost_tolerance +
                          (1.0 - now->frost_tolerance) * (to - begin) / (STEPS_PER_H * GAIN_H));
        const WalkLeast least =
            walk_least(b, w, g->leader, &s, from, to,
                       fmin(ramp_damage_c(crop, now), ramp_damage_c(crop, &hard)));
        ret.heat_harm += least.heat_harm;
        ret.odds = fmax(ret.odds, odds_of_margin(least.margin));
        if (closes_after(x, &s, to))
            ret.share = fmax(ret.share, share_of(crop, &hard, &s, from, to));
    }
    return ret;
}

/* Stretches that there are for a group: each takes about as long as an evaluation. */
static uint64_t stretches_for(const Exact *x, const ExactGroup *g)
{
    uint64_t n = 0;
    for (int p = 0; p < g->n_places; p++)
        n += (uint64_t)x->chains[x->q->b->chain_of[g->places[p]]].all;
    return n;
}

bool exact_met_open(Exact *x)
{
    const Board *b = x->q->b;
    uint64_t n = 0;
    for (int i = 0; i < x->n_groups; i++)
        n += stretches_for(x, &x->groups[i]);
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        const int here = b->stand.places[g->leader];
        g->met = NULL;
        if (n > x->task->evaluations || b->stand.stages[g->leader] == STAGE_PLANTED_OUT ||
            b->stand.since[g->leader] > x->q->w->first || x->probe->planted_at[g->leader] >= 0)
            continue;
        Met *met = ARENA_NEW(b->arena, 1, Met);
        if (met == NULL)
            return false;
        met->stretches = ARENA_NEW(b->arena, b->s->n_chains, Stretch *);
        for (int k = 0; k < SEGMENTS_MAX; k++)
            met->any[k] = ARENA_NEW(b->arena, b->s->garden->n_places, Stretch);
        for (int p = 0; met->stretches != NULL && p < g->n_places; p++) {
            const int chain = b->chain_of[g->places[p]];
            if (met->stretches[chain] == NULL)
                met->stretches[chain] = ARENA_NEW(
                    b->arena, (size_t)x->chains[chain].all * (size_t)b->s->chains[chain].n,
                    Stretch);
        }
        const Air *air = b->arena->failed ? NULL : exact_air(x, b->chain_of[here], 0, 0);
        if (air == NULL)
            return false;
        Segment s;
        const BatchStart start = {b->stand.ramps[g->leader], b->stand.stages[g->leader],
                                  b->stand.judged[g->leader], b->stand.chill_left_h[g->leader]};
        segment_of(x, here, 0, 0, air, &s);
        met->ramp = s.from < s.to ? walk_ramp(b, x->q->w, g->leader, &start, &s) : start.ramp;
        g->met = met;
    }
    return !b->arena->failed;
}

static const Stretch *stretch_at(Exact *x, const ExactGroup *g, int place, int visits, int course)
{
    const int chain = x->q->b->chain_of[place];
    const ExactChain *c = &x->chains[chain];
    Stretch *stretch = &g->met->stretches[chain][(ptrdiff_t)(c->offset[visits] + course) *
                                                     x->q->b->s->chains[chain].n +
                                                 x->q->b->layer_of[place]];
    if (!stretch->known)
        *stretch = stretch_of(x, g, place, visits, course);
    return stretch;
}

static const Stretch *any_stretch(Exact *x, const ExactGroup *g, int place, int visits)
{
    Stretch *any = &g->met->any[visits][place];
    const int n = x->chains[x->q->b->chain_of[place]].power[visits];
    if (any->known)
        return any;
    *any = *stretch_at(x, g, place, visits, 0);
    for (int course = 1; course < n; course++) {
        const Stretch *other = stretch_at(x, g, place, visits, course);
        any->heat_harm = fmin(any->heat_harm, other->heat_harm);
        any->odds = fmin(any->odds, other->odds);
        any->share = fmin(any->share, other->share);
    }
    return any;
}

/* The stretch of a column after so many visits. */
static const Stretch *stretch_met(Exact *x, const ExactGroup *g, const ExactColumn *column,
                                  int visits)
{
    const ExactPath *path = &g->paths[column->path];
    const int place = path->places[visits], chain = x->q->b->chain_of[place];
    const ExactChain *c = &x->chains[chain];
    int j = 0;
    if (visits == 0)
        return stretch_at(x, g, place, 0, 0);
    if (column->course == ANY_COURSE)
        return any_stretch(x, g, place, visits);
    while (path->chain[j] != chain)
        j++;
    return stretch_at(x, g, place, visits,
                      (column->at[j] - c->first - c->offset[path->upto[j]]) /
                          c->power[path->upto[j] - visits]);
}

double exact_met(Exact *x, const ExactGroup *g, const ExactColumn *column)
{
    const Board *b = x->q->b;
    const Risk *risk = &b->s->garden->risk;
    double heat = 0.0, odds = 0.0, share = -b->stand.judged[g->leader];
    if (g->met == NULL)
        return 0.0;
    for (int k = 0; k <= x->probe->n_visits; k++) {
        const Stretch *stretch = stretch_met(x, g, column, k);
        heat += stretch->heat_harm;
        odds = fmax(odds, stretch->odds);
        share = fmax(share, stretch->share - b->stand.judged[g->leader]);
    }
    const double worth = walk_worth(b, g->leader), check = b->s->weights.check,
                 harm = heat + worth * fmax(0.0, odds - risk->damage) +
                        check * fmax(0.0, share - risk->check);
    if (x->mode == WITHIN && harm > 2.0 * WITHIN_SAME)
        return INFINITY;
    return (x->mode == WITHIN ? 0.0 : harm) + worth * odds + check * fmax(0.0, share);
}
