/* SPDX-License-Identifier: MIT */
/*
 * What the exact search looks up, for one set of visits: the air of each chain after each course of
 * settings, simulated once, and what a way of a batch is worth under a course of each chain along
 * it. Of a chain that a batch leaves, only the settings up to then matter.
 */
#include "plan/exact-table.h"

#include <math.h>

#define WITHIN_SAME 1e-9 /* as in plan_value_compare() */
#define AIRS_MAX 1200    /* courses of one chain, with all that they begin with; chosen */

static void digits_set(const ExactChain *c, int setting, int *positions)
{
    for (int j = 0; j < c->n_covers; j++) {
        positions[c->place[j]] = setting % c->n_positions[j];
        setting /= c->n_positions[j];
    }
}

void exact_set_positions(const Exact *x, int chain, int course, int visits, Schedule *s)
{
    const ExactChain *c = &x->chains[chain];
    for (int k = visits; k >= 1; k--) {
        digits_set(c, course % c->n_settings, s->positions[k]);
        course /= c->n_settings;
    }
}

const Air *exact_air(Exact *x, int chain, int visits, int course)
{
    Board *b = x->q->b;
    const Window *w = x->q->w;
    ExactChain *c = &x->chains[chain];
    Air **slot = &c->airs[c->offset[visits] + course];
    if (*slot != NULL)
        return *slot;
    const ChainState *start = &b->stand.chains[chain];
    if (visits > 0) {
        const Air *before = exact_air(x, chain, visits - 1, course / c->n_settings);
        if (before == NULL)
            return NULL;
        start = &before->end;
    }
    const Chain *layers = &b->s->chains[chain];
    int from = segment_start(w, x->probe, visits), to = segment_end(w, x->probe, visits);
    Air *air = ARENA_NEW(b->arena, 1, Air);
    PlaceStep *steps = ARENA_NEW(b->arena, (size_t)(to - from) * (size_t)layers->n, PlaceStep);
    if (air == NULL || steps == NULL)
        return NULL;
    int at[CHAIN_LAYERS_MAX];
    exact_set_positions(x, chain, course, visits, x->probe);
    for (int l = 0; l < layers->n; l++)
        at[l] =
            layers->layers[l].covered ? x->probe->positions[visits][layers->layers[l].place] : 0;
    air->end = *start;
    air->track = track_part(b, chain, w, from, to, at, &air->end, steps);
    *slot = air;
    return air;
}

/* The chains of a path, each with the visits whose settings the batch feels. */
static void path_chains(const Exact *x, ExactPath *path)
{
    const Board *b = x->q->b;
    const Schedule *s = x->probe;
    path->n_chains = 0;
    path->n_courses = 1;
    for (int k = 0; k <= s->n_visits; k++) {
        int chain = b->chain_of[path->places[k]], at = 0;
        while (at < path->n_chains && path->chain[at] != chain)
            at++;
        if (at == path->n_chains)
            path->chain[path->n_chains++] = chain;
        path->upto[at] = k;
        /* Without a half-hour before the first visit, the first one after it tells of frost. */
        if (k == 0 && s->n_visits > 0 && s->visit_step[0] <= x->q->w->first)
            path->upto[at] = 1;
    }
    for (int j = 0; j < path->n_chains && path->n_courses <= COURSES_MAX; j++)
        path->n_courses *= x->chains[path->chain[j]].power[path->upto[j]];
}

static bool path_fill(const Exact *x, const ExactGroup *g, int number, ExactPath *ret)
{
    const Board *b = x->q->b;
    const Schedule *s = x->probe;
    ret->places[0] = b->stand.places[g->leader];
    for (int k = s->n_visits; k >= 1; k--) {
        ret->places[k] = g->places[number % g->n_places];
        number /= g->n_places;
    }
    for (int k = 1; k <= s->n_visits; k++) {
        if (s->visit_step[k - 1] < b->stand.since[g->leader] && ret->places[k] != ret->places[0])
            return false;
        const Grower *grower = &b->s->garden->growers[s->grower[k - 1]];
        if (ret->places[k] == ret->places[k - 1])
            continue;
        /* What is planted out takes no room from others, but needs it under a fleece. */
        int room = board_place(b, ret->places[k])->trays;
        if (room >= 0 && b->s->batches[g->leader].trays > room)
            return false;
        ret->carrying += b->s->weights.move_min / grower->minutes_per_batch_day;
    }
    path_chains(x, ret);
    return true;
}

static bool group_paths(Exact *x, ExactGroup *g)
{
    Board *b = x->q->b;
    int n = 1;
    for (int k = 0; k < x->probe->n_visits && n <= PATHS_MAX; k++)
        n *= g->n_places;
    if (n > PATHS_MAX)
        return false;
    g->paths = ARENA_NEW(b->arena, n, ExactPath);
    g->n_paths = 0;
    for (int i = 0; i < n && !b->arena->failed; i++) {
        g->paths[g->n_paths] = (ExactPath){0};
        g->n_paths += path_fill(x, g, i, &g->paths[g->n_paths]);
    }
    for (int i = 0; i < g->n_paths && !b->arena->failed; i++) {
        if (g->paths[i].n_courses > COURSES_MAX)
            return false;
    }
    return true;
}

bool exact_table_open(Exact *x)
{
    Board *b = x->q->b;
    int n_visits = x->probe->n_visits;
    x->n_courses = 0;
    for (int c = 0; c < b->s->n_chains; c++) {
        ExactChain *chain = &x->chains[c];
        int all = 0;
        chain->now = chain->still = 0;
        for (int j = chain->n_covers - 1; j >= 0; j--)
            chain->now = chain->now * chain->n_positions[j] + b->stand.positions[chain->place[j]];
        for (int k = 0; k <= n_visits; k++) {
            chain->power[k] = k == 0 ? 1 : chain->power[k - 1] * chain->n_settings;
            chain->still = k == 0 ? 0 : chain->still * chain->n_settings + chain->now;
            chain->offset[k] = all;
            all += chain->power[k];
            if (all > AIRS_MAX)
                return false;
        }
        chain->first = x->n_courses;
        chain->all = all;
        x->n_courses += all;
        if (x->n_courses > INT16_MAX)
            return false;
        chain->airs = ARENA_NEW(b->arena, all, Air *);
    }
    for (int g = 0; g < x->n_groups; g++) {
        if (!group_paths(x, &x->groups[g]))
            return false;
    }
    return true;
}

/* The air and the positions of one course of a path's chains. */
static bool point_air(Exact *x, const ExactPath *path, int number)
{
    for (int j = path->n_chains - 1; j >= 0; j--) {
        int chain = path->chain[j], upto = path->upto[j];
        const ExactChain *c = &x->chains[chain];
        int course = number % c->power[upto];
        number /= c->power[upto];
        for (int k = upto, part = course; k >= 0; k--, part /= c->n_settings) {
            const Air *air = exact_air(x, chain, k, part);
            if (air == NULL)
                return false;
            x->air.of[k][chain] = air->track;
        }
        exact_set_positions(x, chain, course, upto, x->probe);
        if (x->air.of[0][chain].n == 0 && upto > 0)
            x->air.of[0][chain] = x->air.of[1][chain];
    }
    return true;
}

double exact_column_value(const ExactColumn *c, int mode)
{
    if (mode == WITHIN)
        return c->broken <= WITHIN_SAME ? c->number : INFINITY;
    return c->broken + c->number;
}

bool exact_table_column(Exact *x, const ExactGroup *g, ExactColumn *column)
{
    Board *b = x->q->b;
    const ExactPath *path = &g->paths[column->path];
    BatchResult result;
    if (b->nodes >= x->last)
        return false;
    for (int k = 0; k <= x->probe->n_visits; k++)
        x->probe->places[k][g->leader] = path->places[k];
    if (!point_air(x, path, column->course))
        return false;
    evaluate_batch(b, x->q->w, x->probe, &x->air, g->leader, &result);
    column->known = true;
    column->broken = result.broken;
    column->number = result.loss + result.checks + result.delay + path->carrying;
    column->value = exact_column_value(column, x->mode);
    return !b->arena->failed;
}
