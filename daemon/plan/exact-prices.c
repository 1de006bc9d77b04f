/* SPDX-License-Identifier: MIT */
/*
 * A bound for one set of visits that knows who shares covers. A batch pays for each course of each
 * chain what it loses at the least under it, and its ways are worth so much less; a course costs
 * its work and what is paid for it. Whatever is paid, a whole choice costs the same: so the least
 * of each batch and the least course of each chain together are a bound. Payments go from the
 * batches to the chains and are spread again over the batches, chain by chain, which never lowers
 * it.
 */
#include "plan/exact-prices.h"

#include <math.h>
#include <string.h>

#define COLUMNS_MAX 500000 /* of all groups; chosen: 24 MB, and what they grew from */
#define ROUNDS_MAX 40      /* chosen */
#define RISES 0.05      /* of the distance that is left, in four rounds; less is not worth more */
#define AT_ONCE 128     /* columns worked out from one look through a list */
#define NEAR_LEAST 1e-4 /* batch-days: what is so near to the least is not worked out for it */

/* Room for `more` columns of a group beside those that it has. */
static bool make_room(Exact *x, ExactGroup *g, int more)
{
    x->n_columns += more;
    if (x->n_columns > COLUMNS_MAX)
        return false;
    if (g->n_columns + more <= g->size)
        return true;
    const int size = int_max(2 * g->size, g->n_columns + more);
    ExactColumn *columns = ARENA_NEW(x->q->b->arena, size, ExactColumn);
    if (columns == NULL)
        return false;
    if (g->n_columns > 0)
        memcpy(columns, g->columns, (size_t)g->n_columns * sizeof *columns);
    g->columns = columns;
    g->size = size;
    return true;
}

/* What a column could be worth at the best, before it is known. */
static double could_be(Exact *x, const ExactGroup *g, const ExactColumn *column)
{
    const double delay = exact_reach(x, g, column);
    return isfinite(delay) ? delay + exact_met(x, g, column) : delay;
}

static ExactColumn any_course(Exact *x, const ExactGroup *g, int path)
{
    ExactColumn column = {.path = (int16_t)path, .course = ANY_COURSE};
    for (int j = 0; j < g->paths[path].n_chains; j++)
        column.at[j] = (int16_t)x->chains[g->paths[path].chain[j]].first;
    column.value = could_be(x, g, &column);
    return column;
}

bool exact_columns_open(Exact *x)
{
    x->n_columns = 0;
    x->cost = ARENA_NEW(x->q->b->arena, x->n_courses, double);
    x->room = ARENA_NEW(x->q->b->arena, x->n_courses, double);
    x->had = ARENA_NEW(x->q->b->arena, COURSES_MAX, bool);
    if (!exact_reach_open(x) || !exact_met_open(x))
        return false;
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        g->n_columns = g->size = 0;
        g->price = ARENA_NEW(x->q->b->arena, x->n_courses, double);
        g->way = ARENA_NEW(x->q->b->arena, g->n_paths, double);
        if (!make_room(x, g, g->n_paths))
            return false;
        for (int p = 0; p < g->n_paths; p++)
            g->columns[g->n_columns++] = any_course(x, g, p);
        g->n_active = g->n_columns;
    }
    return !x->q->b->arena->failed;
}

/* The column at `number`, under any course, gives way to those under each. */
static bool expand(Exact *x, ExactGroup *g, int number)
{
    const int p = g->columns[number].path;
    const ExactPath *path = &g->paths[p];
    ExactColumn *any = &g->columns[number];
    any->known = true; /* nothing is chosen so */
    any->broken = any->number = any->value = INFINITY;
    memset(x->had, 0, (size_t)path->n_courses * sizeof *x->had);
    for (int i = 0; i < g->n_columns; i++) {
        if (g->columns[i].path == p && g->columns[i].course != ANY_COURSE)
            x->had[g->columns[i].course] = true;
    }
    for (int i = 0; i < path->n_courses; i++) {
        ExactColumn column = {.path = (int16_t)p, .course = i};
        int left = i;
        for (int j = path->n_chains - 1; j >= 0; j--) {
            const ExactChain *c = &x->chains[path->chain[j]];
            const int power = c->power[path->upto[j]];
            column.at[j] = (int16_t)(c->first + c->offset[path->upto[j]] + left % power);
            left /= power;
        }
        if (x->had[i])
            continue;
        column.value = could_be(x, g, &column);
        if (column.value >= g->enough)
            continue;
        if (!make_room(x, g, 1))
            return false;
        g->columns[g->n_columns++] = g->columns[g->n_active];
        g->columns[g->n_active++] = column;
    }
    return true;
}

bool exact_expand_all(Exact *x)
{
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        for (int k = 0; k < g->n_active; k++) {
            if (!g->columns[k].known && g->columns[k].course == ANY_COURSE && !expand(x, g, k))
                return false;
        }
    }
    return true;
}

/* Works out a column, or those that it stands for; false where the work is spent. */
static bool look_into(Exact *x, ExactGroup *g, int number)
{
    if (g->columns[number].course == ANY_COURSE)
        return expand(x, g, number);
    return exact_table_column(x, g, &g->columns[number]);
}

double exact_course_work(Exact *x, int chain, int course)
{
    const Board *b = x->q->b;
    const ExactChain *c = &x->chains[chain];
    double cost = 0.0;
    exact_set_positions(x, chain, course, x->trial->n_visits, x->trial);
    for (int v = 0; v < x->trial->n_visits; v++) {
        for (int j = 0; j < c->n_covers; j++) {
            if (x->trial->positions[v][c->place[j]] != x->trial->positions[v + 1][c->place[j]])
                cost += b->s->weights.cover_min /
                        b->s->garden->growers[x->trial->grower[v]].minutes_per_batch_day;
        }
    }
    return cost;
}

/* Whole courses of a chain, among all. */
static int whole(const Exact *x, int chain)
{
    const ExactChain *c = &x->chains[chain];
    return c->first + c->offset[x->trial->n_visits];
}

/* Nothing is paid. */
static void begin_prices(Exact *x)
{
    for (int i = 0; i < x->n_groups; i++) {
        for (int k = 0; k < x->groups[i].n_paths; k++)
            x->groups[i].paths[k].rent = 0.0;
        for (int k = 0; k < x->n_courses; k++)
            x->groups[i].price[k] = 0.0;
        x->groups[i].paid = 0.0;
    }
    exact_rent_begin(x);
    for (int c = 0; c < x->q->b->s->n_chains; c++) {
        x->fixed[c] = false;
        for (int k = 0; k < x->chains[c].power[x->trial->n_visits]; k++)
            x->cost[whole(x, c) + k] = exact_course_work(x, c, k);
    }
}

/* Known columns stay, the others are one for each way again; those that are worth `enough` of their
 * group are none. */
static void fold(Exact *x)
{
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        int n = 0;
        for (int k = 0; k < g->n_columns; k++) {
            ExactColumn column = g->columns[k];
            if (!column.known || column.course == ANY_COURSE)
                continue;
            column.value = exact_column_value(&column, x->mode);
            g->columns[n++] = column;
        }
        x->n_columns -= g->n_columns - n;
        g->n_columns = n;
        for (int p = 0; p < g->n_paths && !x->given_up; p++) {
            const ExactColumn any = any_course(x, g, p);
            if (any.value >= g->enough)
                continue;
            if (make_room(x, g, 1))
                g->columns[g->n_columns++] = any;
            else
                x->given_up = true;
        }
        g->n_active = g->n_columns;
    }
    begin_prices(x);
}

void exact_columns_begin(Exact *x)
{
    for (int i = 0; i < x->n_groups; i++)
        x->groups[i].enough = INFINITY;
    fold(x);
}

void exact_columns_again(Exact *x, double best)
{
    x->best = best;
    for (int i = 0; i < x->n_groups; i++)
        x->groups[i].enough = x->groups[i].settled + best - x->settled;
    fold(x);
}

double exact_reduced(const Exact *x, const ExactGroup *g, const ExactColumn *column)
{
    const ExactPath *path = &g->paths[column->path];
    double value = column->value + path->rent - g->paid;
    for (int j = 0; j < path->n_chains; j++) {
        if (!x->fixed[path->chain[j]])
            value -= g->price[column->at[j]] - g->price[x->chains[path->chain[j]].first];
    }
    return value;
}

void exact_paid(const Exact *x, ExactGroup *g)
{
    g->paid = 0.0;
    for (int c = 0; c < x->q->b->s->n_chains; c++)
        g->paid += g->price[x->fixed[c] ? whole(x, c) + x->course[c] : x->chains[c].first];
}

double exact_least(Exact *x, ExactGroup *g, const int *list, int n)
{
    for (;;) {
        double known = INFINITY, least[AT_ONCE];
        int next[AT_ONCE], n_next = 0;
        g->best = n > 0 ? (list != NULL ? list[0] : 0) : g->best;
        for (int i = 0; i < n; i++) {
            const int k = list != NULL ? list[i] : i;
            const double value = exact_reduced(x, g, &g->columns[k]);
            if (g->columns[k].known) {
                g->best = value < known ? k : g->best;
                known = fmin(known, value);
                continue;
            }
            if (n_next == AT_ONCE && value >= least[AT_ONCE - 1])
                continue;
            int at = n_next < AT_ONCE ? n_next++ : AT_ONCE - 1;
            for (; at > 0 && least[at - 1] > value; at--) {
                least[at] = least[at - 1];
                next[at] = next[at - 1];
            }
            least[at] = value;
            next[at] = k;
        }
        x->steps += (uint64_t)n;
        x->given_up = x->given_up || x->steps > x->steps_most;
        if (n_next == 0 || x->given_up || known <= least[0] + NEAR_LEAST)
            return n_next == 0 ? known : fmin(known, least[0]);
        for (int i = 0; i < n_next && least[i] + NEAR_LEAST < known; i++) {
            const int had = g->n_columns;
            if (!look_into(x, g, next[i])) {
                x->given_up = true;
                return fmin(known, least[i]);
            }
            if (g->n_columns != had) {
                n = list == NULL ? g->n_active : n;
                break;
            }
            known = fmin(known, exact_reduced(x, g, &g->columns[next[i]]));
        }
    }
}

/* Sinks the column at `at` of a heap, the least value at its top. */
static void sink(ExactColumn *heap, int n, int at)
{
    for (int below; (below = 2 * at + 1) < n; at = below) {
        below += below + 1 < n && heap[below + 1].value < heap[below].value;
        if (heap[at].value <= heap[below].value)
            break;
        const ExactColumn column = heap[at];
        heap[at] = heap[below];
        heap[below] = column;
    }
}

/* Works out what could be the least of a group while nothing is paid: the least bound first, each
 * put back by what it is, and no further than to `enough`. */
static void settle(Exact *x, ExactGroup *g, double enough)
{
    int n = 0;
    while (!x->given_up) {
        ExactColumn *heap = g->columns;
        for (int i = n == g->n_columns ? -1 : g->n_columns / 2 - 1; i >= 0; i--)
            sink(heap, g->n_columns, i);
        n = g->n_columns;
        if (n == 0 || heap->known || heap->value >= enough)
            return;
        x->given_up = !look_into(x, g, 0);
        sink(g->columns, n, 0);
        g->n_active = g->n_columns;
    }
}

void exact_settle(Exact *x)
{
    double lower = x->base;
    for (int i = 0; i < x->n_groups; i++) {
        double least = INFINITY;
        for (int k = 0; k < x->groups[i].n_columns; k++)
            least = fmin(least, x->groups[i].columns[k].value);
        x->groups[i].least = x->groups[i].settled = least;
        lower += x->groups[i].n * least;
    }
    for (int i = 0; i < x->n_groups; i++)
        x->groups[i].enough = x->groups[i].least + x->best - lower;
    for (int i = 0; i < x->n_groups && !x->given_up && lower < x->best - EXACT_SAME; i++) {
        ExactGroup *g = &x->groups[i];
        settle(x, g, g->least + (x->best - lower) / g->n);
        g->settled = g->n_columns > 0 ? g->columns[0].value : INFINITY;
        lower += g->n * (g->settled - g->least);
    }
    x->settled = x->lower = lower;
}

/* What a course begins with takes the largest of those that it begins; the least where `sign` is
 * -1. */
static void price_up(const Exact *x, int chain, double *price, double sign)
{
    const ExactChain *c = &x->chains[chain];
    for (int k = x->trial->n_visits; k > 0; k--) {
        const double *from = price + c->first + c->offset[k];
        double *to = price + c->first + c->offset[k - 1];
        for (int i = 0; i < c->power[k - 1]; i++) {
            double most = -INFINITY;
            for (int j = 0; j < c->n_settings; j++)
                most = fmax(most, sign * from[i * c->n_settings + j]);
            to[i] = sign * most;
        }
    }
}

static double cheapest(const Exact *x, int chain)
{
    double least = INFINITY;
    for (int k = 0; k < x->chains[chain].power[x->trial->n_visits]; k++)
        least = fmin(least, x->cost[whole(x, chain) + k]);
    return least;
}

/* Whether a group could ever be in a chain; for others its courses are all the same. */
static bool may_be_in(const Exact *x, const ExactGroup *g, int chain)
{
    int p = 0;
    while (p < g->n_places && x->q->b->chain_of[g->places[p]] != chain)
        p++;
    return p < g->n_places;
}

/* Every group pays for the courses of a chain what it loses under each, `most` at the most. */
static void collect(Exact *x, int chain, ExactGroup *g, double most)
{
    const ExactChain *c = &x->chains[chain];
    double *loses = x->room + c->first, least = INFINITY;
    const int n_visits = x->trial->n_visits;
    for (int i = 0; i < c->all; i++)
        loses[i] = INFINITY;
    for (int i = 0; i < g->n_active; i++) {
        const ExactColumn *column = &g->columns[i];
        const ExactPath *path = &g->paths[column->path];
        const double value = exact_reduced(x, g, column);
        int at = 0, j = 0;
        while (j < path->n_chains && path->chain[j] != chain)
            j++;
        if (j < path->n_chains)
            at = column->at[j] - c->first;
        loses[at] = fmin(loses[at], value);
        least = fmin(least, value);
    }
    if (!isfinite(least))
        return;
    for (int k = 1; k <= n_visits; k++) {
        for (int i = 0; i < c->power[k]; i++)
            loses[c->offset[k] + i] =
                fmin(loses[c->offset[k] + i], loses[c->offset[k - 1] + i / c->n_settings]);
    }
    for (int i = 0; i < c->power[n_visits]; i++) {
        const double paid = fmin(loses[c->offset[n_visits] + i] - least, most);
        g->price[whole(x, chain) + i] += paid;
        x->cost[whole(x, chain) + i] += g->n * paid;
    }
    price_up(x, chain, g->price, 1.0);
    exact_paid(x, g);
}

/* What a chain's courses cost beyond the least goes back to the batches that could be in it, to
 * each the same. */
static void spread(Exact *x, int chain)
{
    const double least = cheapest(x, chain);
    const int n = x->chains[chain].power[x->trial->n_visits];
    double *cost = x->cost + whole(x, chain);
    int members = 0;
    for (int i = 0; i < x->n_groups; i++)
        members += may_be_in(x, &x->groups[i], chain) ? x->groups[i].n : 0;
    if (members == 0)
        return;
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        if (!may_be_in(x, g, chain))
            continue;
        for (int k = 0; k < n; k++)
            g->price[whole(x, chain) + k] -= (cost[k] - least) / members;
        price_up(x, chain, g->price, 1.0);
        exact_paid(x, g);
    }
    for (int k = 0; k < n; k++)
        cost[k] = least;
}

double exact_course_cost(const Exact *x, int chain)
{
    return x->fixed[chain] ? x->cost[whole(x, chain) + x->course[chain]] : cheapest(x, chain);
}

static void sum_lower(Exact *x)
{
    double lower = x->base - x->rent_back;
    for (int c = 0; c < x->q->b->s->n_chains; c++)
        lower += cheapest(x, c);
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        g->least = exact_least(x, g, NULL, g->n_active);
        lower += g->n * g->least;
    }
    x->lower = fmax(x->lower, lower);
    x->at_hand = lower;
}

void exact_drop(Exact *x)
{
    double *dearer = x->room; /* than the cheapest, at the least */
    for (int c = 0; c < x->q->b->s->n_chains; c++) {
        const double least = cheapest(x, c);
        for (int k = 0; k < x->chains[c].power[x->trial->n_visits]; k++)
            dearer[whole(x, c) + k] = x->cost[whole(x, c) + k] - least;
        price_up(x, c, dearer, -1.0);
    }
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        for (int k = 0; k < g->n_active;) {
            const ExactColumn column = g->columns[k];
            const ExactPath *path = &g->paths[column.path];
            double with = x->at_hand - g->least + exact_reduced(x, g, &column);
            for (int j = 0; j < path->n_chains; j++)
                with += dearer[column.at[j]];
            if (with < x->best - EXACT_SAME) {
                k++;
                continue;
            }
            g->columns[k] = g->columns[--g->n_active];
            g->columns[g->n_active] = column;
        }
        x->steps += (uint64_t)g->n_columns;
    }
}

/* One round of payments, chain by chain. */
static void trade(Exact *x)
{
    for (int c = 0; c < x->q->b->s->n_chains; c++) {
        if (x->chains[c].n_settings < 2)
            continue;
        spread(x, c);
        const double most = fmax(0.0, x->best - x->at_hand) + 1.0;
        for (int i = 0; i < x->n_groups; i++) {
            if (!may_be_in(x, &x->groups[i], c))
                continue;
            collect(x, c, &x->groups[i], most);
            x->steps += (uint64_t)x->groups[i].n_active;
        }
    }
}

void exact_bound(Exact *x)
{
    for (int i = 0; i < x->n_groups; i++)
        exact_paid(x, &x->groups[i]);
    sum_lower(x);
    double before = x->lower;
    for (int round = 1; round <= ROUNDS_MAX && x->lower < x->best - EXACT_SAME; round++) {
        exact_drop(x);
        exact_rent(x, NULL, NULL);
        trade(x);
        sum_lower(x);
        if (x->given_up || !isfinite(x->lower))
            break;
        if (round % 4 == 0) {
            if (x->lower - before < RISES * (x->best - x->lower))
                break;
            before = x->lower;
        }
    }
    exact_drop(x);
}
