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

/* How far above what nothing passes a set's best is looked for first, batch-days, and how many
 * times further then; chosen. */
#define REACH 0.5
#define FURTHER 4.0
#define HOLD_MOST 10      /* days that a batch may come to be held, and more: see ramp.c */
#define SETTINGS_MAX 4096 /* of a chain's covers: far more than can be searched */
/* Columns looked at in one window, beside the evaluations, for each that is allowed; at most. Both
 * chosen: a good deal cheaper. */
#define STEPS_EACH 200u
#define STEPS_MOST 40000000u

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

static bool is_over(const Exact *x)
{
    return x->given_up || x->failed || x->again;
}

/* Columns of each group, by their numbers; a chain's courses in order. */
typedef struct Lists {
    int **list, *n, *courses;
    double *rents; /* as they were before these lists */
} Lists;

static bool lists_new(const Exact *x, int n_courses, Lists *ret)
{
    Arena *arena = x->q->b->arena;
    ret->list = ARENA_NEW(arena, x->n_groups, int *);
    ret->n = ARENA_NEW(arena, x->n_groups, int);
    ret->courses = ARENA_NEW(arena, n_courses, int);
    ret->rents = ARENA_NEW(arena, exact_rents_kept(x), double);
    for (int i = 0; !arena->failed && i < x->n_groups; i++)
        ret->list[i] = ARENA_NEW(arena, x->groups[i].n_active, int);
    return !arena->failed;
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
            if (lower + exact_reduced(x, g, &g->columns[list[k]]) - least < x->best - EXACT_SAME)
                list[n++] = list[k];
        }
        lists->n[i] = n;
    }
}

/* The bound of what is in these lists, by what is paid now. */
static double bound_of(Exact *x, const Lists *lists)
{
    double lower = x->base - x->rent_back;
    for (int c = 0; c < x->q->b->s->n_chains; c++)
        lower += exact_course_cost(x, c);
    for (int i = 0; i < x->n_groups && !x->given_up; i++) {
        ExactGroup *g = &x->groups[i];
        lower += g->n * exact_least(x, g, lists->list[i], lists->n[i]);
    }
    return lower;
}

/* Better rents for what is in these lists, the bound being `lower`; and the bound then. */
static double rent_here(Exact *x, Lists *lists, double lower)
{
    thin_out(x, lists, lower);
    exact_rent(x, lists->list, lists->n);
    const double better = bound_of(x, lists);
    if (!is_over(x) && better < x->best - EXACT_SAME)
        thin_out(x, lists, better);
    return better;
}

/* All courses are chosen: every column that could be part of something better is worked out, and
 * they come in order. `lower` is the bound. */
static void choose_all_ways(Exact *x, Lists *lists, double lower)
{
    double sum = x->base;
    for (int c = 0; c < x->q->b->s->n_chains; c++)
        sum += exact_course_work(x, c, x->course[c]);
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        for (int k = 0; k < lists->n[i]; k++) {
            ExactColumn *column = &g->columns[lists->list[i][k]];
            if (!column->known && !exact_table_column(x, g, column)) {
                x->given_up = true;
                return;
            }
        }
    }
    lower = rent_here(x, lists, bound_of(x, lists));
    if (!is_over(x) && lower < x->best - EXACT_SAME)
        exact_choose_ways(x, lists->list, lists->n, sum);
}

/* The columns of `from` that go with the course chosen for a chain; the bound with it. */
static double keep_course(Exact *x, const Lists *from, int chain, Lists *ret)
{
    const ExactChain *c = &x->chains[chain];
    const int n_visits = x->trial->n_visits;
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
    }
    x->given_up = x->given_up || x->steps > x->steps_most;
    const double lower = bound_of(x, ret);
    return is_over(x) || lower >= x->best - EXACT_SAME ? lower : rent_here(x, ret, lower);
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
        if (lower + cost[courses[i]] - cost[courses[0]] >= x->best - EXACT_SAME)
            break;
        x->fixed[chain] = true;
        x->course[chain] = courses[i];
        exact_rents_keep(x, lists[1].rents);
        const double next = keep_course(x, lists, chain, lists + 1);
        if (!is_over(x) && next < x->best - EXACT_SAME)
            choose_courses(x, lists + 1, at + 1, next);
        exact_rents_restore(x, lists[1].rents);
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

/* More than any choice within the limits is worth: each night and each check at what is accepted,
 * all of the ramp missing. */
static double most_within(const Exact *x)
{
    const Board *b = x->q->b;
    const Window *w = x->q->w;
    const Risk *risk = &b->s->garden->risk;
    double days = 2.0, visits = 0.0, most = x->base + 1.0;
    for (int i = w->first; i < w->eval_end; i++)
        days += (b->marks[w->site][i] & MARK_CLOSES) != 0;
    for (int v = 0; v < x->trial->n_visits; v++)
        visits += 1.0 / b->s->garden->growers[x->trial->grower[v]].minutes_per_batch_day;
    for (int c = 0; c < b->s->n_chains; c++)
        most += x->chains[c].n_covers * b->s->weights.cover_min * visits;
    for (int i = 0; i < x->n_groups; i++) {
        const int batch = x->groups[i].leader;
        const Crop *crop = board_crop(b, batch);
        RampState soft = {.hardened_to_c =
                              fmax(crop->growing_on_night_c, b->stand.ramps[batch].hardened_to_c),
                          .hold_days = b->stand.ramps[batch].hold_days + HOLD_MOST};
        for (int k = 0; k < NIGHTS_KEPT; k++)
            soft.nights_shelter[k] = NAN;
        most += x->groups[i].n *
                (days * (walk_worth(b, batch) * risk->damage + b->s->weights.check * risk->check) +
                 (1.0 + b->work_ahead) * fmax(1.0, crop->drop_first_k / crop->drop_k) *
                     outlook_missing(b, batch, &soft) +
                 b->s->weights.move_min * visits + FLEECE_LEFT_ON_PER_H * 24.0 * days);
    }
    return most;
}

/* The best of one set of visits below `x->best`, if there is any. */
static void search_below(Exact *x)
{
    while (!x->failed && x->lower < x->best - EXACT_SAME) {
        x->again = false;
        exact_bound(x);
        if (x->given_up || x->lower >= x->best - EXACT_SAME)
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

/*
 * The best of one set of visits, if it is better than what was found. Looked for just above what
 * nothing passes, then further, so that little is looked at that is far from the best.
 */
static void search_set(Exact *x, int mode)
{
    const PlanValue *v = x->value;
    x->mode = mode;
    x->lower = x->at_hand = -INFINITY;
    exact_columns_begin(x);
    const double best = mode == BROKEN      ? v->broken + v->number
                        : v->broken <= 1e-9 ? v->number
                                            : most_within(x);
    x->best = best;
    exact_settle(x);
    double reach = REACH;
    while (!x->given_up && !x->failed && x->lower < best - EXACT_SAME) {
        const double below = fmin(best, fmax(x->lower, x->at_hand) + reach);
        exact_columns_again(x, below);
        search_below(x);
        x->lower = fmin(x->lower, below);
        if (x->given_up || x->best < below || below >= best)
            return;
        x->lower = below;
        reach *= x->at_hand < below ? FURTHER : 1.0;
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
    if (was_within && floor >= x->value->number - EXACT_SAME)
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
        memset(x->under[k], 0, (size_t)b->s->garden->n_places * sizeof(int));
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
            g->first = x->n_members;
            for (int j = i; j < b->s->n_batches; j++) {
                if (b->leader[j] != i)
                    continue;
                x->group_of[x->n_members] = x->n_groups;
                x->members[x->n_members++] = j;
                g->left = ++g->n;
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
        x->under[k] = ARENA_NEW(b->arena, n_places, int);
    }
    x->chains = ARENA_NEW(b->arena, n_chains, ExactChain);
    x->groups = ARENA_NEW(b->arena, n_batches, ExactGroup);
    x->members = ARENA_NEW(b->arena, n_batches, int);
    x->group_of = ARENA_NEW(b->arena, n_batches, int);
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
    return exact_rents_open(x) && exact_ways_open(x);
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
