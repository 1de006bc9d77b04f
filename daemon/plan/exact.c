/* SPDX-License-Identifier: MIT */
/*
 * The exact search of one window. For each set of visits: what each way of each batch costs at the
 * least (exact-table.c), then ways for all of them by a lower bound that knows neither of the work
 * of covers nor of who shares them, then the courses of the covers, chains apart that no batch
 * joins. What cannot be better than the best so far is left out; nothing else is.
 */
#include "plan/exact-table.h"
#include "plan/marks.h"
#include "plan/outlook.h"

#include <math.h>

#define SETTINGS_MAX 4096 /* of a chain's covers: far more than can be searched */
#define SAME 1e-10        /* batch-days: not better by more than rounding */
#define STEPS_MAX 200000u /* of the search in one window, beside the evaluations; chosen */

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

/* Nothing of this set of visits is worth less. */
static double root(const Exact *x, int mode)
{
    double sum = x->base;
    for (int g = 0; g < x->n_groups; g++)
        sum += x->groups[g].n * x->groups[g].least[mode];
    return sum;
}

/* The paths of a group that could be part of something better are worked out; then its least, and
 * their order. */
static bool table_group(Exact *x, ExactGroup *g)
{
    double least = INFINITY, others = x->base + (g->n - 1) * g->least[x->mode];
    for (int i = 0; i < x->n_groups; i++)
        others += &x->groups[i] == g ? 0.0 : x->groups[i].n * x->groups[i].least[x->mode];
    for (int i = 0; i < g->n_paths; i++) {
        ExactPath *path = &g->paths[i];
        if (path->worth == NULL &&
            others + path->least[x->mode] + path->carrying < x->best - SAME &&
            !exact_table_path(x, g, path))
            return false;
        double worth = path->least[x->mode] + path->carrying;
        least = fmin(least, worth);
        int at = i;
        for (; at > 0; at--) {
            const ExactPath *before = &g->paths[g->order[x->mode][at - 1]];
            if (before->least[x->mode] + before->carrying <= worth)
                break;
            g->order[x->mode][at] = g->order[x->mode][at - 1];
        }
        g->order[x->mode][at] = i;
    }
    g->least[x->mode] = least;
    return true;
}

static ExactPath *path_of(const Exact *x, int member)
{
    ExactGroup *g = &x->groups[x->group_of[member]];
    return &g->paths[g->order[x->mode][x->path_of[member]]];
}

/*
 * What a course of one chain costs by itself: the work of its covers, and gusts. A cover over
 * nothing is left alone; a choice beyond the limits is no choice where one within them is sought.
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
            cost += b->s->weights.cover_min /
                    b->s->garden->growers[x->trial->grower[v]].minutes_per_batch_day;
        }
    }
    for (int j = 0; j < c->n_covers; j++) {
        ExactWorth harm = {evaluate_cover_gust(b, x->q->w, x->trial, c->place[j], NULL), 0.0};
        cost += exact_worth(&harm, x->mode);
    }
    return cost;
}

/* Chains that one batch joins, in their order; the courses of those before `at` are chosen. */
typedef struct Component {
    int n, *chains;
    double best; /* of all courses of its chains, with its batches */
} Component;

static void courses_of(Exact *x, Component *c, int at, double sum)
{
    if (at == c->n) {
        c->best = sum;
        for (int i = 0; i < c->n; i++)
            x->best_course[c->chains[i]] = x->course[c->chains[i]];
        return;
    }
    int chain = c->chains[at], n = x->chains[chain].power[x->trial->n_visits];
    for (int course = 0; course < n && !x->given_up; course++) {
        x->given_up = x->given_up || ++x->steps > STEPS_MAX;
        double cost = sum + course_alone(x, chain, course);
        x->course[chain] = course;
        for (int m = 0; m < x->n_members && cost < c->best - SAME; m++) {
            const ExactPath *path = path_of(x, m);
            if (x->component[chain] != x->component[path->chain[0]] || x->level[m] != at)
                continue;
            const ExactWorth *worth = &path->worth[exact_path_course(x, path)];
            cost += exact_worth(worth, x->mode) - path->least[x->mode];
        }
        if (cost < c->best - SAME)
            courses_of(x, c, at + 1, cost);
    }
}

/* Which chains the batches join; the number of each chain's component is its first chain. */
static void join_chains(Exact *x)
{
    int n_chains = x->q->b->s->n_chains;
    for (int c = 0; c < n_chains; c++)
        x->component[c] = c;
    for (int m = 0; m < x->n_members; m++) {
        const ExactPath *path = path_of(x, m);
        for (int j = 1; j < path->n_chains; j++) {
            int from = x->component[path->chain[j]], to = x->component[path->chain[0]];
            for (int c = 0; from != to && c < n_chains; c++) {
                if (x->component[c] == from)
                    x->component[c] = to;
            }
        }
    }
}

/* The chains of one component; for each of its batches the place of its last chain among them. How
 * many batches there are, and their least. */
static int component_open(Exact *x, int component, Component *ret, double *ret_least)
{
    int batches = 0;
    ret->n = 0;
    *ret_least = 0.0;
    for (int c = 0; c < x->q->b->s->n_chains; c++) {
        if (x->component[c] == component)
            ret->chains[ret->n++] = c;
    }
    for (int m = 0; m < x->n_members; m++) {
        const ExactPath *path = path_of(x, m);
        if (x->component[path->chain[0]] != component)
            continue;
        batches++;
        *ret_least += path->least[x->mode];
        for (int j = 0, i; j < path->n_chains; j++) {
            for (i = 0; ret->chains[i] != path->chain[j]; i++)
                ;
            x->level[m] = j == 0 ? i : int_max(x->level[m], i);
        }
    }
    return batches;
}

static void note_shelters(Exact *x)
{
    const Board *b = x->q->b;
    for (int k = 0; k <= x->trial->n_visits; k++) {
        memset(x->shelters[k], 0, (size_t)b->s->garden->n_places);
        for (int i = 0; i < b->s->n_batches; i++) {
            for (int p = x->trial->places[k][i]; p >= 0; p = board_place(b, p)->parent)
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
        exact_set_positions(x, c, x->best_course[c], x->trial->n_visits, x->trial);
    if (!evaluate_exact(b, x->q->w, x->trial, x->q->results, NULL, &value))
        return false;
    if (plan_value_compare(&value, x->value) < 0) {
        schedule_copy(b, x->trial, x->found);
        *x->value = value;
    }
    return true;
}

/* All places are chosen: the best courses, component by component. */
static void choose_courses(Exact *x, double sum)
{
    Component c = {.chains = x->joined};
    note_shelters(x);
    join_chains(x);
    for (int chain = 0; chain < x->q->b->s->n_chains; chain++)
        x->best_course[chain] = x->chains[chain].still;
    for (int chain = 0; chain < x->q->b->s->n_chains; chain++) {
        double least;
        if (component_open(x, chain, &c, &least) == 0)
            continue;
        double limit = c.best = x->best - (sum - least);
        courses_of(x, &c, 0, least);
        if (x->given_up || !(c.best < limit))
            return;
        sum += c.best - least;
    }
    x->best = sum;
    x->failed = !take(x);
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

/* A way for each batch from `m` on; equal ones in the order of their ways. `sum` is the bound. */
static void choose_places(Exact *x, int m, double sum)
{
    if (m == x->n_members) {
        choose_courses(x, sum);
        return;
    }
    const ExactGroup *g = &x->groups[x->group_of[m]];
    int first = m > 0 && x->group_of[m - 1] == x->group_of[m] ? x->path_of[m - 1] : 0;
    for (int i = first; i < g->n_paths && !x->given_up && !x->failed; i++) {
        const ExactPath *path = &g->paths[g->order[x->mode][i]];
        double next = sum - g->least[x->mode] + path->least[x->mode] + path->carrying;
        x->given_up = ++x->steps > STEPS_MAX;
        if (next >= x->best - SAME)
            break;
        x->path_of[m] = i;
        for (int k = 1; k <= x->trial->n_visits; k++)
            x->trial->places[k][x->members[m]] = path->places[k];
        if (add_to_places(x, m, 1))
            choose_places(x, m + 1, next);
        (void)add_to_places(x, m, -1);
    }
}

/* The best of one set of visits, if it is better than what was found. */
static void search_set(Exact *x, int mode)
{
    const PlanValue *v = x->value;
    bool within = v->broken <= 1e-9;
    x->mode = mode;
    x->best = mode == BROKEN ? v->broken + v->number : within ? v->number : INFINITY;
    for (int g = 0; g < x->n_groups && root(x, mode) < x->best - SAME; g++) {
        if (!table_group(x, &x->groups[g])) {
            x->given_up = true;
            return;
        }
    }
    double least = root(x, mode);
    if (least < x->best - SAME)
        choose_places(x, 0, least);
}

/* One set of visits: those of `x->probe`. */
static bool try_set(Exact *x)
{
    Board *b = x->q->b;
    size_t keep = b->arena->used;
    x->base = 0.0;
    for (int v = 0; v < x->probe->n_visits; v++)
        x->base += board_visit_min(b, x->q->w->site) /
                   b->s->garden->growers[x->probe->grower[v]].minutes_per_batch_day;
    for (int g = 0; g < x->n_groups; g++)
        x->groups[g].least[WITHIN] = x->groups[g].least[BROKEN] = x->groups[g].floor;
    bool was_within = x->value->broken <= 1e-9;
    if (was_within && root(x, WITHIN) >= x->value->number - SAME)
        return true;
    for (int c = 0; c < b->s->n_chains; c++)
        x->shelved[c] = b->shelves[c].n;
    x->given_up = !exact_table_open(x);
    schedule_copy(b, x->probe, x->trial);
    if (!x->given_up)
        search_set(x, WITHIN);
    if (!x->given_up && x->value->broken > 1e-9)
        search_set(x, BROKEN);
    if (x->given_up) {
        x->bound = fmin(x->bound, root(x, was_within ? WITHIN : BROKEN));
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
            if (n != size)
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
    x->path_of = ARENA_NEW(b->arena, n_batches, int);
    x->level = ARENA_NEW(b->arena, n_batches, int);
    int **per_chain[] = {&x->course, &x->best_course, &x->component, &x->joined, &x->shelved};
    for (size_t i = 0; i < sizeof per_chain / sizeof *per_chain; i++)
        *per_chain[i] = ARENA_NEW(b->arena, n_chains, int);
    PlanValue idle;
    if (b->arena->failed || !evaluate_exact(b, x->q->w, x->probe, x->q->results, NULL, &idle))
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
    uint64_t most = b->nodes + task->evaluations;
    x.last = most < b->budget ? most : b->budget;
    if (!exact_open(&x))
        return false;
    size_t keep = b->arena->used;
    if (!try_sets(&x))
        return false;
    b->arena->used = keep;
    double found = value->broken <= 1e-9 ? value->number : value->broken + value->number;
    ret->proved = x.n_given_up == 0;
    ret->bound = ret->proved ? found : fmin(x.bound, found);
    ret->gap = found - ret->bound;
    return true;
}
