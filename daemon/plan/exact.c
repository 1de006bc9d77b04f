/* SPDX-License-Identifier: MIT */
/*
 * The exact search of one window. For each set of visits: a bound that knows what each way of each
 * batch costs at the least and who shares covers (exact-prices.c), then the courses of the covers,
 * chain by chain, then ways for all batches under them. What cannot be better than the best so far
 * is left out; nothing else is.
 */
#include "plan/exact-prices.h"
#include "plan/marks.h"
#include "plan/outlook.h"

#include <math.h>

#define SETTINGS_MAX 4096 /* of a chain's covers: far more than can be searched */
#define SAME 1e-10        /* batch-days: not better by more than rounding */
/* Columns looked at in one window, beside the evaluations, for each that is allowed; at most. Both
 * chosen: a good deal cheaper. */
#define STEPS_EACH 200u
#define STEPS_MOST 40000000u
#define AGAIN 0.2 /* of the distance to the bound, that makes it worth to bound anew; chosen */

double exact_floor(const Board *b, const Window *w, int batch)
{
    if (b->stand.stages[batch] == STAGE_PLANTED_OUT || !board_is_hardening(b, batch, w->first))
        return 0.0;
    const RampState *now = &b->stand.ramps[batch];
    const Crop *crop = board_crop(b, batch);
    RampState best = *now;
    int days = w->joins;
    for (int i = int_max(w->first, b->stand.since[batch]); i < w->eval_end; i++)
        days += (b->marks[w->site][i] & MARK_CLOSES) != 0;
    best.hold_days = int_max(0, now->hold_days - days);
    best.exposure_days = int_min(RAMP_EXPOSURE_FULL, now->exposure_days + days);
    best.exposed_h = w->joins && b->stand.since[batch] < w->eval_end ? 0.0 : INFINITY;
    for (int i = 0; i < NIGHTS_KEPT; i++)
        best.nights_shelter[i] = i < days ? 0.0 : now->nights_shelter[i - days];
    double drop = fmax(crop->drop_k, crop->drop_first_k);
    best.hardened_to_c =
        fmin(now->hardened_to_c, fmax(crop->floor_hardened_c, now->hardened_to_c - days * drop));
    return (1.0 + b->work_ahead) * outlook_missing(b, batch, &best);
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
    for (int c = 0; c < x->q->b->s->n_chains && sum < x->best - SAME; c++)
        sum += course_alone(x, c, x->course[c]);
    if (!(sum < x->best - SAME))
        return;
    x->again = !(x->best - sum <= AGAIN * (x->best - x->lower));
    x->best = sum;
    x->failed = !take(x);
}

static bool is_over(const Exact *x)
{
    return x->given_up || x->failed || x->again;
}

/* Room for those placed so far: nobody comes to where more would be than go in. */
static bool add_to_places(Exact *x, int member, int sign)
{
    const Board *b = x->q->b;
    int batch = x->members[member];
    bool room = true;
    if (b->stand.stages[batch] == STAGE_PLANTED_OUT)
        return true;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        int place = x->trial->places[k][batch], trays = board_place(b, place)->trays;
        x->taken[k][place] += sign * b->s->batches[batch].trays;
        x->came[k][place] += sign * (place != x->trial->places[k - 1][batch]);
        room = room && (trays < 0 || x->came[k][place] == 0 || x->taken[k][place] <= trays);
    }
    return room;
}

/* Columns of each group, by their numbers; a chain's courses in order. */
typedef struct Lists {
    int **list, *n, *courses;
} Lists;

static bool lists_new(const Exact *x, int n_courses, Lists *ret)
{
    Arena *arena = x->q->b->arena;
    ret->list = ARENA_NEW(arena, x->n_groups, int *);
    ret->n = ARENA_NEW(arena, x->n_groups, int);
    ret->courses = ARENA_NEW(arena, n_courses, int);
    for (int i = 0; !arena->failed && i < x->n_groups; i++)
        ret->list[i] = ARENA_NEW(arena, x->groups[i].n_active, int);
    return !arena->failed;
}

/* A column for each batch from `m` on, all courses chosen; equal batches in the order of theirs.
 * `sum` is what is chosen, `lower` the bound. */
static void choose_ways(Exact *x, const Lists *lists, int m, double sum, double lower)
{
    if (m == x->n_members) {
        finish(x, sum);
        return;
    }
    const ExactGroup *g = &x->groups[x->group_of[m]];
    const int *list = lists->list[x->group_of[m]];
    const int first = m > 0 && x->group_of[m - 1] == x->group_of[m] ? x->choice[m - 1] : 0;
    const double least = exact_reduced(x, g, &g->columns[list[0]]);
    for (int i = first; i < lists->n[x->group_of[m]] && !is_over(x); i++) {
        const ExactColumn *column = &g->columns[list[i]];
        const double next = lower - least + exact_reduced(x, g, column);
        x->given_up = ++x->steps > x->steps_most;
        if (next >= x->best - SAME)
            break;
        x->choice[m] = i;
        for (int k = 1; k <= x->trial->n_visits; k++)
            x->trial->places[k][x->members[m]] = g->paths[column->path].places[k];
        if (add_to_places(x, m, 1))
            choose_ways(x, lists, m + 1, sum + column->value, next);
        (void)add_to_places(x, m, -1);
    }
}

/* All courses are chosen: every column that could be part of something better is worked out, and
 * they come in order. `lower` is the bound. */
static void choose_all_ways(Exact *x, Lists *lists, double lower)
{
    double sum = x->base, bound = x->base - x->rent_back;
    for (int c = 0; c < x->q->b->s->n_chains; c++) {
        sum += exact_course_work(x, c, x->course[c]);
        bound += exact_course_cost(x, c);
    }
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        int *list = lists->list[i], n = 0;
        double least = INFINITY;
        for (int k = 0; k < lists->n[i]; k++)
            least = fmin(least, exact_reduced(x, g, &g->columns[list[k]]));
        for (int k = 0; k < lists->n[i]; k++) {
            const int number = list[k];
            ExactColumn *column = &g->columns[number];
            if (lower + exact_reduced(x, g, column) - least >= x->best - SAME)
                continue;
            if (!column->known && !exact_table_column(x, g, column)) {
                x->given_up = true;
                return;
            }
            const double value = exact_reduced(x, g, column);
            int at = n++;
            for (; at > 0 && exact_reduced(x, g, &g->columns[list[at - 1]]) > value; at--)
                list[at] = list[at - 1];
            list[at] = number;
        }
        lists->n[i] = n;
        if (n == 0)
            return;
        bound += g->n * exact_reduced(x, g, &g->columns[list[0]]);
    }
    if (bound < x->best - SAME)
        choose_ways(x, lists, 0, sum, bound);
}

/* Columns that cannot be part of anything better here go. */
static void thin_out(const Exact *x, Lists *lists, double lower)
{
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        int *list = lists->list[i], n = 0;
        double least = INFINITY;
        for (int k = 0; k < lists->n[i]; k++)
            least = fmin(least, exact_reduced(x, g, &g->columns[list[k]]));
        for (int k = 0; k < lists->n[i]; k++) {
            if (lower + exact_reduced(x, g, &g->columns[list[k]]) - least < x->best - SAME)
                list[n++] = list[k];
        }
        lists->n[i] = n;
    }
}

/* The columns of `from` that go with the course chosen for a chain; the bound with it. */
static double keep_course(Exact *x, const Lists *from, int chain, Lists *ret)
{
    const ExactChain *c = &x->chains[chain];
    const int n_visits = x->trial->n_visits;
    double lower = x->base - x->rent_back;
    for (int i = 0; i < x->q->b->s->n_chains; i++)
        lower += exact_course_cost(x, i);
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        ret->n[i] = 0;
        for (int k = 0; k < from->n[i]; k++) {
            const ExactColumn *column = &g->columns[from->list[i][k]];
            const ExactPath *path = &g->paths[column->path];
            int j = 0;
            while (j < path->n_chains && path->chain[j] != chain)
                j++;
            if (j == path->n_chains ||
                column->at[j] == c->first + c->offset[path->upto[j]] +
                                     x->course[chain] / c->power[n_visits - path->upto[j]])
                ret->list[i][ret->n[i]++] = from->list[i][k];
        }
        x->steps += (uint64_t)from->n[i];
        exact_paid(x, g);
        lower += g->n * exact_least(x, g, ret->list[i], ret->n[i]);
    }
    x->given_up = x->given_up || x->steps > x->steps_most;
    if (!is_over(x) && lower < x->best - SAME)
        thin_out(x, ret, lower);
    return lower;
}

/* Courses for the chains from `at` on, the cheapest first; `lists` for each of them, and after the
 * last. */
static void choose_courses(Exact *x, Lists *lists, int at, double lower)
{
    if (at == x->n_order) {
        choose_all_ways(x, lists, lower);
        return;
    }
    const int chain = x->order[at], n = x->chains[chain].power[x->trial->n_visits];
    const double *cost =
        x->cost + x->chains[chain].first + x->chains[chain].offset[x->trial->n_visits];
    int *courses = lists->courses;
    for (int i = 0; i < n; i++) {
        int k = i;
        for (; k > 0 && cost[courses[k - 1]] > cost[i]; k--)
            courses[k] = courses[k - 1];
        courses[k] = i;
    }
    for (int i = 0; i < n && !is_over(x); i++) {
        if (lower + cost[courses[i]] - cost[courses[0]] >= x->best - SAME)
            break;
        x->fixed[chain] = true;
        x->course[chain] = courses[i];
        const double next = keep_course(x, lists, chain, lists + 1);
        if (!is_over(x) && next < x->best - SAME)
            choose_courses(x, lists + 1, at + 1, next);
        x->fixed[chain] = false;
    }
}

/* The chains whose courses are to be chosen, and their lists. */
static bool order_chains(Exact *x, Lists *ret)
{
    const int n_visits = x->trial->n_visits;
    x->n_order = 0;
    for (int c = 0; c < x->q->b->s->n_chains; c++) {
        x->course[c] = x->chains[c].still;
        if (x->chains[c].n_settings < 2)
            continue;
        if (!lists_new(x, x->chains[c].power[n_visits], &ret[x->n_order]))
            return false;
        x->order[x->n_order++] = c;
    }
    return lists_new(x, 1, &ret[x->n_order]);
}

/* The best of one set of visits, if it is better than what was found. */
static void search_set(Exact *x, int mode)
{
    const PlanValue *v = x->value;
    x->mode = mode;
    x->lower = -INFINITY;
    x->best = mode == BROKEN ? v->broken + v->number : v->broken <= 1e-9 ? v->number : INFINITY;
    exact_columns_begin(x);
    exact_settle(x);
    while (!x->failed && x->lower < x->best - SAME) {
        x->again = false;
        exact_bound(x);
        if (x->given_up || x->lower >= x->best - SAME)
            return;
        x->given_up = !exact_expand_all(x);
        exact_drop(x);
        Lists *lists = ARENA_NEW(x->q->b->arena, x->q->b->s->n_chains + 1, Lists);
        if (x->given_up || lists == NULL || !order_chains(x, lists))
            return;
        for (int i = 0; i < x->n_groups; i++) {
            lists->n[i] = x->groups[i].n_active;
            for (int k = 0; k < lists->n[i]; k++)
                lists->list[i][k] = k;
        }
        choose_courses(x, lists, 0, x->at_hand);
        for (int c = 0; c < x->q->b->s->n_chains; c++)
            x->fixed[c] = false;
        if (!x->again || x->given_up)
            return;
    }
}

/* What no set of these visits is worth less than, before anything of it is known. */
static double least_of_all(Exact *x)
{
    const Board *b = x->q->b;
    x->base = 0.0;
    for (int v = 0; v < x->probe->n_visits; v++) {
        const int grower = x->probe->grower[v];
        if (window_fixed(x->q->w, grower, x->probe->visit_step[v]) == NULL)
            x->base += board_visit_min(b, x->q->w->site) /
                       b->s->garden->growers[grower].minutes_per_batch_day;
    }
    double sum = x->base;
    for (int g = 0; g < x->n_groups; g++)
        sum += x->groups[g].n * x->groups[g].floor;
    return sum;
}

/* One set of visits: those of `x->probe`. */
static bool try_set(Exact *x)
{
    Board *b = x->q->b;
    size_t keep = b->arena->used;
    const double floor = least_of_all(x);
    bool was_within = x->value->broken <= 1e-9;
    if (was_within && floor >= x->value->number - SAME)
        return true;
    for (int c = 0; c < b->s->n_chains; c++)
        x->shelved[c] = b->shelves[c].n;
    schedule_copy(b, x->probe, x->trial);
    x->lower = -INFINITY;
    bool opened = exact_table_open(x) && exact_columns_open(x), given_up = !opened;
    x->given_up = false;
    if (opened) {
        search_set(x, WITHIN);
        given_up = x->given_up;
    }
    if (opened && x->value->broken > 1e-9) {
        x->given_up = false;
        search_set(x, BROKEN);
        given_up = given_up || x->given_up;
    }
    if (given_up) {
        x->bound = fmin(x->bound, fmax(floor, x->lower));
        x->n_given_up++;
    }
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        memset(x->taken[k], 0, (size_t)b->s->garden->n_places * sizeof(int));
        memset(x->came[k], 0, (size_t)b->s->garden->n_places * sizeof(int));
    }
    /* The air that was simulated for what was taken is given back as well. */
    for (int c = 0; c < b->s->n_chains; c++)
        b->shelves[c].n = x->shelved[c];
    if (b->arena->failed || x->failed)
        return false;
    b->arena->used = keep;
    return true;
}

static void probe_reset(Exact *x)
{
    const Board *b = x->q->b;
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        memcpy(x->probe->positions[k], b->stand.positions,
               (size_t)b->s->garden->n_places * sizeof(int));
        memcpy(x->probe->places[k], b->stand.places, (size_t)b->s->n_batches * sizeof(int));
    }
}

/* Every time of the visits that `slots` asks for, from slot `i` on; `n` are chosen. */
static bool try_times(Exact *x, unsigned slots, int i)
{
    const Window *w = x->q->w;
    Schedule *s = x->probe;
    if (i == w->n_slots) {
        probe_reset(x);
        return try_set(x);
    }
    if (!(slots & (1u << i)))
        return try_times(x, slots, i + 1);
    const Slot *slot = &w->slots[i];
    int v = s->n_visits++;
    bool ok = true;
    for (int step = slot->from; step <= slot->to && ok; step++) {
        if ((v > 0 && step <= s->visit_step[v - 1]) ||
            !grower_can_be(x->q->b, w->site, slot->grower, step))
            continue;
        s->visit_step[v] = step;
        s->grower[v] = slot->grower;
        ok = try_times(x, slots, i + 1);
    }
    s->n_visits--;
    return ok;
}

static bool try_sets(Exact *x)
{
    for (int size = x->task->least; size <= x->task->most; size++) {
        for (unsigned slots = 0; slots < 1u << x->q->w->n_slots; slots++) {
            int n = 0;
            for (unsigned left = slots; left != 0; left &= left - 1)
                n++;
            if (n != size || (slots & x->q->w->fixed) != x->q->w->fixed)
                continue;
            x->probe->n_visits = 0;
            probe_reset(x);
            if (x->task->all_times ? !try_times(x, slots, 0)
                                   : set_visits(x->q, slots, x->probe) && !try_set(x))
                return false;
        }
    }
    return true;
}

/* The batches that are here, by groups, and where each may stand; those that stay first, since they
 * bound the rest. */
static void open_groups(Exact *x)
{
    Board *b = x->q->b;
    for (int pass = 0; pass < 2; pass++) {
        for (int i = 0; i < b->s->n_batches; i++) {
            bool movable = is_movable(x->q, x->probe, i);
            if (b->leader[i] != i || !batch_is_here(b, x->q->w, x->probe, i) ||
                movable != (pass == 1))
                continue;
            ExactGroup *g = &x->groups[x->n_groups];
            *g = (ExactGroup){.leader = i, .floor = exact_floor(b, x->q->w, i)};
            g->places = ARENA_NEW(b->arena, b->s->garden->n_places, int);
            for (int p = 0; g->places != NULL && p < b->s->garden->n_places; p++) {
                if (p == b->stand.places[i] || (movable && may_stand(x->q, x->probe, i, p)))
                    g->places[g->n_places++] = p;
            }
            for (int j = i; j < b->s->n_batches; j++) {
                if (b->leader[j] != i)
                    continue;
                x->group_of[x->n_members] = x->n_groups;
                x->members[x->n_members++] = j;
                g->n++;
            }
            x->n_groups++;
        }
    }
}

/* The covers that could ever be over a batch. */
static void open_chains(Exact *x)
{
    const Board *b = x->q->b;
    memset(x->shelters[0], 0, (size_t)b->s->garden->n_places);
    for (int g = 0; g < x->n_groups; g++) {
        for (int j = 0; j < x->groups[g].n_places; j++) {
            for (int p = x->groups[g].places[j]; p >= 0; p = board_place(b, p)->parent)
                x->shelters[0][p] = 1;
        }
    }
    for (int c = 0; c < b->s->n_chains; c++) {
        const Chain *layers = &b->s->chains[c];
        ExactChain *chain = &x->chains[c];
        chain->n_settings = 1;
        for (int l = 0; l < layers->n; l++) {
            int place = layers->layers[l].place, n = board_place(b, place)->cover.n_positions;
            if (!layers->layers[l].covered || n < 2 || !x->shelters[0][place])
                continue;
            chain->place[chain->n_covers] = place;
            chain->n_positions[chain->n_covers++] = n;
            chain->n_settings = int_min(chain->n_settings * n, SETTINGS_MAX);
        }
    }
}

static bool exact_open(Exact *x)
{
    Board *b = x->q->b;
    int n_batches = b->s->n_batches, n_chains = b->s->n_chains, n_places = b->s->garden->n_places;
    x->probe = schedule_new(b, &b->stand);
    x->trial = schedule_new(b, &b->stand);
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        x->air.of[k] = ARENA_NEW(b->arena, n_chains, Track);
        x->shelters[k] = ARENA_NEW(b->arena, n_places, uint8_t);
        x->taken[k] = ARENA_NEW(b->arena, n_places, int);
        x->came[k] = ARENA_NEW(b->arena, n_places, int);
    }
    x->chains = ARENA_NEW(b->arena, n_chains, ExactChain);
    x->groups = ARENA_NEW(b->arena, n_batches, ExactGroup);
    x->members = ARENA_NEW(b->arena, n_batches, int);
    x->group_of = ARENA_NEW(b->arena, n_batches, int);
    x->choice = ARENA_NEW(b->arena, n_batches, int);
    x->fixed = ARENA_NEW(b->arena, n_chains, bool);
    int **per_chain[] = {&x->course, &x->order, &x->shelved};
    for (size_t i = 0; i < sizeof per_chain / sizeof *per_chain; i++)
        *per_chain[i] = ARENA_NEW(b->arena, n_chains, int);
    PlanValue idle;
    if (!exact_rents_new(x) || b->arena->failed ||
        !evaluate_exact(b, x->q->w, x->probe, x->q->results, NULL, &idle))
        return false;
    open_groups(x);
    open_chains(x);
    return !b->arena->failed;
}

bool exact_window(Search *q, const ExactTask *task, Schedule *schedule, PlanValue *value,
                  ExactProof *ret)
{
    Board *b = q->b;
    Exact x = {.q = q, .task = task, .found = schedule, .value = value, .bound = INFINITY};
    const uint64_t before = b->nodes;
    x.last = before + task->evaluations;
    x.steps_most =
        task->evaluations < STEPS_MOST / STEPS_EACH ? task->evaluations * STEPS_EACH : STEPS_MOST;
    if (!exact_open(&x))
        return false;
    size_t keep = b->arena->used;
    if (!try_sets(&x))
        return false;
    b->arena->used = keep;
    b->nodes_beside += b->nodes - before;
    b->budget = b->budget < UINT64_MAX / 2 ? b->budget + (b->nodes - before) : b->budget;
    double found = value->broken <= 1e-9 ? value->number : value->broken + value->number;
    ret->proved = x.n_given_up == 0;
    ret->bound = ret->proved ? found : fmin(x.bound, found);
    ret->gap = found - ret->bound;
    return true;
}
