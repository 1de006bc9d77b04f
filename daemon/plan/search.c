/* SPDX-License-Identifier: MIT */
/*
 * The choice of one window: which visits, which cover positions after each, where each batch
 * stands. Every set of visits is improved greedily; the best few are simulated as they are, and
 * only that decides.
 */
#include "plan/exact.h"

#include <math.h>

#define FINALISTS 3     /* visit sets simulated exactly */
#define NEAR_WINDOWS 3  /* of a site: searched with moves out and back, all positions and times */
#define LATER_GAIN 0.02 /* batch-days a shifted visit must gain; chosen */
#define PATTERNS_MAX (1 << STRETCHES_MAX) /* visits that are fixed are in each */

typedef struct Finalist {
    Schedule *schedule;
    PlanValue value;
} Finalist;

bool set_visits(const Search *q, unsigned mask, Schedule *s)
{
    const Board *b = q->b;
    s->n_visits = 0;
    for (int i = 0; i < q->w->n_slots; i++) {
        const Slot *slot = &q->w->slots[i];
        if (!(mask & (1u << i)))
            continue;
        if (s->n_visits == VISITS_MAX)
            return false;
        int earliest = s->n_visits == 0 ? slot->from : s->visit_step[s->n_visits - 1] + 1,
            step = slot->step;
        while (step < slot->to &&
               (step < earliest || !grower_can_be(b, q->w->site, slot->grower, step)))
            step++;
        while (step > int_max(slot->from, earliest) &&
               !grower_can_be(b, q->w->site, slot->grower, step))
            step--;
        if (step < earliest || !grower_can_be(b, q->w->site, slot->grower, step))
            return false;
        s->visit_step[s->n_visits] = step;
        s->grower[s->n_visits++] = slot->grower;
    }
    return true;
}

static int bits(unsigned mask)
{
    int n = 0;
    for (; mask != 0; mask &= mask - 1)
        n++;
    return n;
}

static void rank(Finalist *finalists, int *n, Schedule *schedule, const PlanValue *value)
{
    int at = *n < PATTERNS_MAX ? (*n)++ : *n - 1;
    while (at > 0 && plan_value_compare(value, &finalists[at - 1].value) < 0) {
        finalists[at] = finalists[at - 1];
        at--;
    }
    finalists[at] = (Finalist){.schedule = schedule, .value = *value};
}

/* Improves every visit set of the given sizes and ranks it. */
static bool try_patterns(Search *q, int least, int most, Finalist *finalists, int *n)
{
    for (unsigned mask = 0; mask < 1u << q->w->n_slots; mask++) {
        int size = bits(mask);
        if (size < least || size > most || (mask & q->w->fixed) != q->w->fixed)
            continue;
        Schedule *s = schedule_new(q->b, &q->b->stand);
        if (s == NULL)
            return false;
        PlanValue value;
        if (!set_visits(q, mask, s))
            continue;
        improve(q, s, &value);
        schedule_leave_idle_covers(q->b, q->w, s);
        rank(finalists, n, s, &value);
    }
    return !q->b->arena->failed;
}

/* The best of the ranked by exact simulation; a limit broken there sends it on through the list. */
static bool decide_exactly(Search *q, Finalist *finalists, int n, Finalist *ret)
{
    *ret = (Finalist){.value = {.broken = INFINITY}};
    for (int i = 0; i < n && (i < FINALISTS || ret->value.broken > 0.0); i++) {
        PlanValue *value = &finalists[i].value;
        if (!evaluate_exact(q->b, q->w, finalists[i].schedule, q->results, NULL, value) ||
            (q->near && !refine(q, finalists[i].schedule, value)))
            return false;
        if (ret->schedule == NULL || plan_value_compare(value, &ret->value) < 0)
            *ret = finalists[i];
    }
    return ret->schedule != NULL;
}

static const Slot *slot_of(const Window *w, int step)
{
    for (int i = 0; i < w->n_slots; i++) {
        if (step >= w->slots[i].from && step <= w->slots[i].to)
            return &w->slots[i];
    }
    return NULL;
}

/* Other times for the visits, their jobs unchanged; exact. */
static bool shift_visits(Search *q, Finalist *best)
{
    Schedule *s = best->schedule;
    for (int v = 0; v < s->n_visits; v++) {
        const Slot *slot = slot_of(q->w, s->visit_step[v]);
        int kept = s->visit_step[v];
        for (int step = slot == NULL ? 0 : slot->from; slot != NULL && step <= slot->to; step++) {
            bool ordered = (v == 0 || step > s->visit_step[v - 1]) &&
                           (v + 1 >= s->n_visits || step < s->visit_step[v + 1]);
            if (step == kept || !ordered || !grower_can_be(q->b, q->w->site, s->grower[v], step))
                continue;
            PlanValue value;
            s->visit_step[v] = step;
            if (!evaluate_exact(q->b, q->w, s, q->results, NULL, &value))
                return false;
            if (value.broken < best->value.broken - 1e-9 ||
                (value.broken <= best->value.broken + 1e-9 &&
                 value.number < best->value.number - LATER_GAIN)) {
                best->value = value;
                kept = step;
            }
        }
        s->visit_step[v] = kept;
    }
    return true;
}

static bool better_disturbed(const Finalist *a, double a_more, const Finalist *b, double b_more)
{
    if (a->value.broken < b->value.broken - 1e-9 || a->value.broken > b->value.broken + 1e-9)
        return a->value.broken < b->value.broken;
    return a->value.number + a_more < b->value.number + b_more - 1e-9;
}

/* What is published stands unless the new choice gains more than the disturbance costs. */
static bool prefer_published(Search *q, const Finalist *finalists, int n, Finalist *best)
{
    Board *b = q->b;
    double disturbed = former_disturbance(b, q->w, best->schedule);
    Finalist found = *best;
    for (int i = -1; i < int_min(n, FINALISTS) && disturbed > 0.0; i++) {
        Finalist snapped = {.schedule = schedule_new(b, &b->stand)};
        if (snapped.schedule == NULL)
            return false;
        schedule_copy(b, i < 0 ? best->schedule : finalists[i].schedule, snapped.schedule);
        (void)former_snap(b, q->w, snapped.schedule);
        if (!prune(q, snapped.schedule, &snapped.value))
            return false;
        double less = former_disturbance(b, q->w, snapped.schedule);
        if (better_disturbed(&snapped, less, &found, disturbed)) {
            found = snapped;
            disturbed = less;
        }
    }
    Finalist former = {.schedule = schedule_new(b, &b->stand)};
    if (former.schedule == NULL)
        return false;
    if (former_schedule(b, q->w, former.schedule)) {
        schedule_leave_idle_covers(b, q->w, former.schedule);
        schedule_drop_idle(b, q->w, former.schedule);
        if (!evaluate_exact(b, q->w, former.schedule, q->results, NULL, &former.value))
            return false;
        double less = former_disturbance(b, q->w, former.schedule);
        if (better_disturbed(&former, less, &found, disturbed + b->s->weights.changed_jobs))
            found = former;
    }
    *best = found;
    return true;
}

bool search_open(Board *b, const Window *w, Search *ret)
{
    *ret = (Search){.b = b, .w = w, .near = w->ordinal < NEAR_WINDOWS};
    ret->results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    ret->spare = schedule_new(b, &b->stand);
    for (int i = 0; i < 2; i++)
        ret->kept[i] = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    for (int k = 0; k < SEGMENTS_MAX; k++)
        ret->view.of[k] = ret->tracks[k] = ARENA_NEW(b->arena, b->s->n_chains, Track);
    return !b->arena->failed;
}

/* Betters the greedy choice until it is proved, or that would cost too much. */
static bool prove(Search *q, int least, int most, bool all_times, Finalist *best)
{
    Board *b = q->b;
    ExactTask task = {
        .least = least, .most = most, .all_times = all_times, .evaluations = b->exact_evaluations};
    ExactProof proof;
    Finalist found = {schedule_new(b, &b->stand), best->value};
    if (found.schedule == NULL)
        return false;
    schedule_copy(b, best->schedule, found.schedule);
    if (!exact_window(q, &task, found.schedule, &found.value, &proof))
        return false;
    *best = found;
    if (all_times) /* the proof is of the times tried first */
        return true;
    b->proof.proved = b->proof.proved && proof.proved;
    b->proof.gap = proof.gap;
    return true;
}

/* A later window is not proved: the gap is to where nothing costs anything but delay. */
static void note_gap(const Search *q, const PlanValue *value)
{
    Board *b = q->b;
    double bound = 0.0;
    for (int i = 0; i < b->s->n_batches; i++)
        bound += board_site(b, b->stand.places[i]) == q->w->site ? exact_floor(b, q->w, i) : 0.0;
    double found = value->broken <= 1e-9 ? value->number : value->broken + value->number;
    b->proof.proved = q->w->n_slots == 0;
    b->proof.gap = b->proof.proved ? 0.0 : fmax(0.0, found - bound);
}

bool search_window(Board *b, const Window *w, Schedule *ret)
{
    Search q;
    Finalist *finalists = ARENA_NEW(b->arena, PATTERNS_MAX + 1, Finalist), best;
    int n = 0;
    if (!search_open(b, w, &q) || !try_patterns(&q, 0, w->cap, finalists, &n) ||
        !decide_exactly(&q, finalists, n, &best))
        return false;
    bool exact = q.near && b->exact_evaluations > 0;
    b->proof = (WindowProof){.site = w->site, .day = w->day, .near = exact, .proved = exact};
    if (!exact)
        note_gap(&q, &best.value);
    else if (!prove(&q, 0, w->cap, false, &best) ||
             (best.value.broken > 1e-9 && !prove(&q, 0, w->cap, true, &best)))
        return false; /* another time may keep a limit that those tried first do not */
    /* Beyond the cap only to keep the risk limits. */
    if (best.value.broken > 0.0 && q.near && w->cap < VISITS_MAX && w->n_slots > w->cap) {
        Finalist more;
        int n_more = 0;
        Finalist *beyond = ARENA_NEW(b->arena, PATTERNS_MAX + 1, Finalist);
        if (beyond == NULL || !try_patterns(&q, w->cap + 1, VISITS_MAX, beyond, &n_more))
            return false;
        double gap = b->proof.gap;
        if (n_more > 0 && decide_exactly(&q, beyond, n_more, &more) &&
            (!exact || prove(&q, w->cap + 1, VISITS_MAX, false, &more)) &&
            more.value.broken < best.value.broken - 1e-9)
            best = more;
        else
            b->proof.gap = gap;
    }
    if (q.near && !shift_visits(&q, &best))
        return false;
    if (!prune(&q, best.schedule, &best.value) || !prefer_published(&q, finalists, n, &best))
        return false;
    b->proof.number = best.value.broken + best.value.number;
    schedule_copy(b, best.schedule, ret);
    return true;
}
