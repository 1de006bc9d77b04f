/* SPDX-License-Identifier: MIT */
/*
 * The last part of the exact search: all courses are chosen, and each batch goes a way. Rents are
 * found anew after each batch that takes room from the others, so that what does not go in is seen
 * at once.
 */
#include "plan/exact-prices.h"

#include <math.h>
#include <string.h>

#define AGAIN 0.2      /* of the distance to the bound, that makes it worth to bound anew; chosen */
#define MEMBERS_MAX 64 /* batches for which rents are found anew; chosen */

typedef struct Ways {
    int **list;    /* per group: columns, those that are still possible first */
    int *n;        /* per group and batch chosen so far */
    double *rents; /* per batch chosen so far */
} Ways;

bool exact_ways_open(Exact *x)
{
    const int deep = x->n_members <= MEMBERS_MAX ? x->n_members + 1 : 0;
    Arena *arena = x->q->b->arena;
    x->ways = ARENA_NEW(arena, 1, Ways);
    if (x->ways == NULL)
        return false;
    x->ways->n = ARENA_NEW(arena, (x->n_members + 1) * x->n_groups, int);
    x->ways->rents = ARENA_NEW(arena, deep * exact_rents_kept(x), double);
    return !arena->failed;
}

/*
 * What a course of one chain costs beside the work of its covers: gusts. A cover over nothing is
 * left alone; a choice beyond the limits is no choice where one within them is sought.
 */
static double course_alone(const Exact *x, int chain, int course)
{
    const Board *b = x->q->b;
    const ExactChain *c = &x->chains[chain];
    double cost = 0.0;
    exact_set_positions(x, chain, course, x->trial->n_visits, x->trial);
    for (int j = 0; j < c->n_covers; j++) {
        int place = c->place[j];
        for (int v = 0; v < x->trial->n_visits; v++) {
            if (x->trial->positions[v][place] == x->trial->positions[v + 1][place])
                continue;
            if (!x->shelters[v + 1][place])
                return INFINITY;
        }
    }
    for (int j = 0; j < c->n_covers; j++) {
        const double harm = evaluate_cover_gust(b, x->q->w, x->trial, c->place[j], NULL);
        cost += x->mode == WITHIN && harm > 1e-9 ? INFINITY : harm;
    }
    return cost;
}

static void note_shelters(Exact *x)
{
    const Board *b = x->q->b;
    for (int k = 0; k <= x->trial->n_visits; k++) {
        memset(x->shelters[k], 0, (size_t)b->s->garden->n_places);
        for (int m = 0; m < x->n_members; m++) {
            int p = x->trial->places[k][x->members[m]];
            for (; p >= 0 && !x->shelters[k][p]; p = board_place(b, p)->parent)
                x->shelters[k][p] = 1;
        }
    }
}

/* A whole choice, if it is better in full. */
static bool take(Exact *x)
{
    Board *b = x->q->b;
    PlanValue value;
    for (int c = 0; c < b->s->n_chains; c++)
        exact_set_positions(x, c, x->course[c], x->trial->n_visits, x->trial);
    if (!evaluate_exact(b, x->q->w, x->trial, x->q->results, NULL, &value))
        return false;
    if (plan_value_compare(&value, x->value) < 0) {
        schedule_copy(b, x->trial, x->found);
        *x->value = value;
    }
    return true;
}

/* All is chosen, worth `sum` beside what the courses cost by themselves. */
static void finish(Exact *x, double sum)
{
    note_shelters(x);
    x->steps += (uint64_t)(x->n_members * (x->trial->n_visits + 1));
    for (int c = 0; c < x->q->b->s->n_chains && sum < x->best - EXACT_SAME; c++)
        sum += course_alone(x, c, x->course[c]);
    if (!(sum < x->best - EXACT_SAME))
        return;
    x->again = !(x->best - sum <= AGAIN * (x->best - x->lower));
    x->best = sum;
    x->failed = !take(x);
}

static bool is_over(const Exact *x)
{
    return x->given_up || x->failed || x->again;
}

/* A batch takes its room, or gives it back. */
static void add_to_places(Exact *x, int member, int sign)
{
    const Board *b = x->q->b;
    const int batch = x->members[member];
    const bool planted = b->stand.stages[batch] == STAGE_PLANTED_OUT;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        const int place = x->trial->places[k][batch];
        for (int p = place; p >= 0; p = board_place(b, p)->parent)
            x->under[k][p] += sign;
        x->taken[k][place] += planted ? 0 : sign * b->s->batches[batch].trays;
        x->came[k][place] += planted ? 0 : sign * (place != x->trial->places[k - 1][batch]);
    }
}

/* Whether a batch still goes in, beside those placed so far. */
static bool fits(const Exact *x, const ExactGroup *g, const ExactPath *path)
{
    const Board *b = x->q->b;
    if (b->stand.stages[g->leader] == STAGE_PLANTED_OUT)
        return true;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        const int place = path->places[k], trays = board_place(b, place)->trays;
        const bool come = x->came[k][place] > 0 || place != path->places[k - 1];
        if (trays >= 0 && come && x->taken[k][place] + b->s->batches[g->leader].trays > trays)
            return false;
    }
    return true;
}

/* Those that could still be part of something better than the best come first in a group's list. */
static int keep_fitting(const Exact *x, const ExactGroup *g, int *list, int n, int last)
{
    for (int i = 0; i < n;) {
        if (list[i] >= last && fits(x, g, &g->paths[g->columns[list[i]].path])) {
            i++;
            continue;
        }
        const int gone = list[i];
        list[i] = list[--n];
        list[n] = gone;
    }
    return n;
}

static double least_of(const Exact *x, const ExactGroup *g, const int *list, int n)
{
    double least = INFINITY;
    for (int i = 0; i < n; i++)
        least = fmin(least, exact_reduced(x, g, &g->columns[list[i]]));
    return least;
}

/* What those placed so far, worth `placed` beside what is paid for courses, and the least of the
 * others come to. */
static double bound_of(Exact *x, const int *n, double placed)
{
    double lower = x->base - x->rent_back + placed;
    for (int c = 0; c < x->q->b->s->n_chains; c++)
        lower += exact_course_cost(x, c);
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        if (g->left > 0)
            lower += g->left * least_of(x, g, x->ways->list[i], n[i]);
        x->steps += (uint64_t)n[i];
    }
    return lower;
}

/* The group to place next: the one at hand until all of it are, then that with the fewest ways, the
 * larger first. */
static int next_group(const Exact *x, const int *n, int at_hand)
{
    int best = -1;
    if (at_hand >= 0 && x->groups[at_hand].left > 0)
        return at_hand;
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        if (g->left == 0)
            continue;
        if (best < 0 || n[i] < n[best] ||
            (n[i] == n[best] && x->q->b->s->batches[g->leader].trays >
                                    x->q->b->s->batches[x->groups[best].leader].trays))
            best = i;
    }
    return best;
}

static void seat(Exact *x, int depth, int at_hand, int last, double sum, double placed);

/* Each way of the next batch of a group, the least first. */
static void place_each(Exact *x, int depth, int i, double lower, double sum, double placed)
{
    ExactGroup *g = &x->groups[i];
    const int *n = x->ways->n + (ptrdiff_t)depth * x->n_groups, *list = x->ways->list[i];
    const int member = g->first + g->n - g->left, n_ways = n[i];
    const double least = least_of(x, g, list, n_ways);
    double *rents = x->n_members <= MEMBERS_MAX
                        ? x->ways->rents + (ptrdiff_t)depth * exact_rents_kept(x)
                        : NULL;
    int order[PATHS_MAX];
    for (int k = 0; k < n_ways; k++) {
        int at = k;
        for (; at > 0 && exact_reduced(x, g, &g->columns[order[at - 1]]) >
                             exact_reduced(x, g, &g->columns[list[k]]);
             at--)
            order[at] = order[at - 1];
        order[at] = list[k];
    }
    if (rents != NULL)
        exact_rents_keep(x, rents);
    for (int k = 0; k < n_ways && !is_over(x); k++) {
        const ExactColumn *column = &g->columns[order[k]];
        x->given_up = ++x->steps > x->steps_most;
        if (lower - least + exact_reduced(x, g, column) >= x->best - EXACT_SAME)
            break;
        for (int v = 1; v <= x->trial->n_visits; v++)
            x->trial->places[v][x->members[member]] = g->paths[column->path].places[v];
        /* Where rents stay as they are, what is paid is part of it for good. */
        const double paid = rents != NULL ? g->paths[column->path].rent : 0.0;
        const double next = placed + exact_reduced(x, g, column) - paid;
        g->left--;
        add_to_places(x, member, 1);
        seat(x, depth + 1, i, order[k], sum + column->value, next);
        add_to_places(x, member, -1);
        g->left++;
        if (rents != NULL)
            exact_rents_restore(x, rents);
    }
}

/* Places all that are left; `depth` are placed, of the group `at_hand` the last by the column
 * `last`: equal batches go in the order of their columns. */
static void seat(Exact *x, int depth, int at_hand, int last, double sum, double placed)
{
    int *n = x->ways->n + (ptrdiff_t)depth * x->n_groups;
    if (depth == x->n_members) {
        finish(x, sum);
        return;
    }
    for (int i = 0; depth > 0 && i < x->n_groups; i++) {
        n[i] = n[i - x->n_groups];
        if (x->groups[i].left == 0)
            continue;
        n[i] = keep_fitting(x, &x->groups[i], x->ways->list[i], n[i], i == at_hand ? last : 0);
        if (n[i] == 0)
            return;
    }
    if (depth > 0 && x->n_members <= MEMBERS_MAX)
        exact_rents_pay(x);
    double lower = bound_of(x, n, placed);
    if (lower < x->best - EXACT_SAME && depth > 0 && x->n_members <= MEMBERS_MAX) {
        exact_rent(x, x->ways->list, n);
        lower = bound_of(x, n, placed);
    }
    if (lower < x->best - EXACT_SAME)
        place_each(x, depth, next_group(x, n, at_hand), lower, sum, placed);
}

void exact_choose_ways(Exact *x, int **list, const int *n, double sum)
{
    x->ways->list = list;
    for (int i = 0; i < x->n_groups; i++) {
        x->ways->n[i] = n[i];
        if (n[i] == 0)
            return;
    }
    seat(x, 0, -1, 0, sum, 0.0);
}
