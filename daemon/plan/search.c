/* SPDX-License-Identifier: MIT */
/*
 * The choice of one window: which visits, which cover positions after each, where each batch stands.
 *
 * Greedy. For each set of visits the covers of a chain are tried in all their settings, batch places one
 * after the other, until nothing gets better. Candidates are ranked with air stitched from fixed settings,
 * each simulated once; the best few are then simulated as they are, and only that decides.
 */
#include "plan/board.h"
#include "plan/marks.h"

#include <math.h>
#include <stdlib.h>

#define PASSES_MAX 3
#define FINALISTS 3           /* visit sets simulated exactly */
#define SETTINGS_NEAR 64      /* settings of one chain tried at once, in the next windows */
#define SETTINGS_FAR 16
#define NEAR_WINDOWS 3        /* of a site: searched with moves and all positions */
#define LATER_GAIN 0.02       /* batch-days a shifted visit must gain; chosen */
#define PATTERNS_MAX (1 << SLOTS_MAX)

typedef struct Search {
    Board *b;
    const Window *w;
    TrackShelf *shelves;      /* per chain */
    Track *tracks[SEGMENTS_MAX]; /* per chain */
    Tracks view;
    BatchResult *results;     /* of the schedule at hand */
    BatchResult *kept[2];     /* of the best settings, of the best path, so far */
    bool near;
} Search;

typedef struct Finalist {
    Schedule *schedule;
    PlanValue value;
} Finalist;

static bool here(const Search *q, const Schedule *s, int segment, int batch)
{
    return board_place(q->b, s->places[segment][batch])->site == q->w->site;
}

static void point_tracks(Search *q, const Schedule *s, int chain)
{
    for (int k = 0; k <= s->n_visits; k++)
        q->tracks[k][chain] = track_fixed(q->b, chain, q->w, &q->b->stand, s->positions[k], &q->shelves[chain]);
}

static bool in_chain(const Search *q, const Schedule *s, int batch, int chain)
{
    for (int k = 0; k <= s->n_visits; k++) {
        if (here(q, s, k, batch) && q->b->chain_of[s->places[k][batch]] == chain)
            return true;
    }
    return false;
}

/* Judges all that a change in one chain touches; the rest of the results stand. */
static PlanValue judge_chain(Search *q, const Schedule *s, int chain)
{
    PlanValue value;
    point_tracks(q, s, chain);
    for (int i = 0; i < q->b->s->n_batches; i++) {
        if (in_chain(q, s, i, chain))
            evaluate_batch(q->b, q->w, &q->b->stand, s, &q->view, i, &q->results[i]);
    }
    evaluate_sum(q->b, q->w, s, q->results, &value);
    return value;
}

static void keep_results(const Search *q, BatchResult *to)
{
    memcpy(to, q->results, (size_t)q->b->s->n_batches * sizeof *to);
}

static void restore_results(Search *q, const BatchResult *from)
{
    memcpy(q->results, from, (size_t)q->b->s->n_batches * sizeof *from);
}

static void point_used(Search *q, const Schedule *s)
{
    for (int c = 0; c < q->b->s->n_chains; c++) {
        bool used = false;
        for (int i = 0; i < q->b->s->n_batches; i++)
            used = used || in_chain(q, s, i, c);
        if (used)
            point_tracks(q, s, c);
    }
}

static PlanValue judge_all(Search *q, const Schedule *s)
{
    PlanValue value = {0};
    point_used(q, s);
    (void)evaluate(q->b, q->w, &q->b->stand, s, &q->view, q->results, &value);
    return value;
}

static bool segment_has_daylight(const Search *q, const Schedule *s, int segment)
{
    int from = s->visit_step[segment - 1], to = segment == s->n_visits ? q->w->end : s->visit_step[segment];
    for (int i = from; i < to; i++) {
        if (q->b->marks[q->w->site][i] & MARK_DAYLIGHT)
            return true;
    }
    return false;
}

/* One cover in one segment: what may be tried. */
typedef struct Choice {
    int segment, place, n;
    int8_t options[POSITIONS_MAX];
} Choice;

static bool shelters(const Search *q, const Schedule *s, int segment, int place)
{
    for (int i = 0; i < q->b->s->n_batches; i++) {
        if (!here(q, s, segment, i))
            continue;
        for (int p = s->places[segment][i]; p >= 0; p = board_place(q->b, p)->parent) {
            if (p == place)
                return true;
        }
    }
    return false;
}

static int choices_of(const Search *q, const Schedule *s, int chain, Choice *ret)
{
    const Chain *c = &q->b->s->chains[chain];
    int n = 0;
    for (int k = 1; k <= s->n_visits; k++) {
        bool daylight = segment_has_daylight(q, s, k);
        for (int l = 0; l < c->n; l++) {
            int place = c->layers[l].place;
            const Cover *cover = &board_place(q->b, place)->cover;
            if (!c->layers[l].covered || cover->n_positions < 2 || !shelters(q, s, k, place))
                continue;
            Choice choice = {.segment = k, .place = place};
            for (int p = 0; p < cover->n_positions; p++) {
                bool middle = p > 0 && p < cover->n_positions - 1;
                /* In the dark a prop is neither shelter nor air; far ahead the largest prop stands for all. */
                if (middle && (!daylight || (!q->near && p < cover->n_positions - 2)) && p != s->positions[0][place])
                    continue;
                choice.options[choice.n++] = (int8_t)p;
            }
            ret[n++] = choice;
        }
    }
    return n;
}

/* All combinations of a few covers, the others as they stand. */
static bool try_settings(Search *q, Schedule *s, int chain, const Choice *choices, int n, PlanValue *best)
{
    int at[SEGMENTS_MAX * CHAIN_LAYERS_MAX] = {0}, keep[SEGMENTS_MAX * CHAIN_LAYERS_MAX];
    bool better = false;
    keep_results(q, q->kept[0]);
    for (int i = 0; i < n; i++)
        keep[i] = s->positions[choices[i].segment][choices[i].place];
    for (;;) {
        for (int i = 0; i < n; i++)
            s->positions[choices[i].segment][choices[i].place] = choices[i].options[at[i]];
        PlanValue value = judge_chain(q, s, chain);
        if (plan_value_compare(&value, best) < 0) {
            *best = value;
            better = true;
            keep_results(q, q->kept[0]);
            for (int i = 0; i < n; i++)
                keep[i] = choices[i].options[at[i]];
        }
        int digit = 0;
        while (digit < n && ++at[digit] == choices[digit].n)
            at[digit++] = 0;
        if (digit == n || q->b->nodes > q->b->budget)
            break;
    }
    for (int i = 0; i < n; i++)
        s->positions[choices[i].segment][choices[i].place] = keep[i];
    point_tracks(q, s, chain);
    restore_results(q, q->kept[0]);
    return better;
}

static bool improve_chain(Search *q, Schedule *s, int chain, PlanValue *best)
{
    Choice choices[SEGMENTS_MAX * CHAIN_LAYERS_MAX];
    int n = choices_of(q, s, chain, choices), limit = q->near ? SETTINGS_NEAR : SETTINGS_FAR;
    long product = 1;
    for (int i = 0; i < n; i++)
        product = product > limit ? product : product * choices[i].n;
    if (n == 0)
        return false;
    if (product <= limit)
        return try_settings(q, s, chain, choices, n, best);
    bool better = false;
    for (int i = 0; i < n; i++)
        better = try_settings(q, s, chain, &choices[i], 1, best) || better;
    return better;
}

/* Trays taken in a place after a visit, one batch left out. */
static bool has_room(const Search *q, const Schedule *s, int segment, int place, int batch)
{
    int taken = 0, room = board_place(q->b, place)->trays;
    if (room < 0)
        return true;
    for (int i = 0; i < q->b->s->n_batches; i++) {
        if (i != batch && s->places[segment][i] == place && q->b->stand.stages[i] != STAGE_PLANTED_OUT)
            taken += q->b->s->batches[i].trays;
    }
    return taken + q->b->s->batches[batch].trays <= room;
}

/* A bed, and what lies over it, is for planting. */
bool place_takes_trays(const Board *b, int place)
{
    int root = place;
    while (board_place(b, root)->parent >= 0)
        root = board_place(b, root)->parent;
    return board_place(b, root)->kind != PLACE_BED && board_place(b, place)->kind != PLACE_PROPAGATOR;
}

static bool may_stand(const Search *q, int batch, int place)
{
    bool at_hand = board_place(q->b, place)->site == q->w->site && place_takes_trays(q->b, place);
    return at_hand || place == q->b->stand.places[batch];
}

static bool is_movable(const Search *q, const Schedule *s, int batch)
{
    Stage stage = q->b->stand.stages[batch];
    if (!here(q, s, 0, batch) || stage == STAGE_PLANTED_OUT)
        return false;
    return board_is_hardening(q->b, batch) || q->results[batch].broken > 0.0;
}

/* Whether an earlier segment of the batch's path is in the same chain. */
static bool chain_seen(const Search *q, const Schedule *s, int batch, int segment)
{
    for (int k = 0; k < segment; k++) {
        if (q->b->chain_of[s->places[k][batch]] == q->b->chain_of[s->places[segment][batch]])
            return true;
    }
    return false;
}

/* The batch along `path`, the covers of every chain on it set anew. `s` is left changed either way. */
static bool try_path(Search *q, Schedule *s, int batch, const int *path, PlanValue *best)
{
    bool changed = false;
    for (int k = 1; k <= s->n_visits; k++) {
        changed = changed || s->places[k][batch] != path[k];
        if (!has_room(q, s, k, path[k], batch))
            return false;
    }
    if (!changed)
        return false;
    for (int k = 1; k <= s->n_visits; k++)
        s->places[k][batch] = path[k];
    for (int k = 0; k <= s->n_visits; k++)
        point_tracks(q, s, q->b->chain_of[s->places[k][batch]]);
    PlanValue value;
    evaluate_batch(q->b, q->w, &q->b->stand, s, &q->view, batch, &q->results[batch]);
    evaluate_sum(q->b, q->w, s, q->results, &value);
    for (int k = 1; k <= s->n_visits; k++) {
        if (!chain_seen(q, s, batch, k) || (k == 1 && s->places[0][batch] != s->places[1][batch]))
            (void)improve_chain(q, s, q->b->chain_of[s->places[k][batch]], &value);
    }
    if (plan_value_compare(&value, best) >= 0)
        return false;
    *best = value;
    return true;
}

/* A batch's place after each visit: elsewhere for good, or out and back, or back only. */
static bool improve_batch(Search *q, Schedule *s, int batch, Schedule *spare, PlanValue *best)
{
    int n_places = q->b->s->garden->n_places, last = s->n_visits;
    bool better = false;
    for (int p = 0; p < n_places && q->b->nodes <= q->b->budget; p++) {
        if (!may_stand(q, batch, p))
            continue;
        for (int shape = 0; shape < (last > 1 && q->near ? 3 : 1); shape++) {
            int path[SEGMENTS_MAX];
            for (int k = 1; k <= last; k++) {
                bool there = shape == 0 || (shape == 1 ? k < last : k == last);
                path[k] = there ? p : s->places[0][batch];
            }
            schedule_copy(q->b, s, spare);
            keep_results(q, q->kept[1]);
            if (try_path(q, s, batch, path, best)) {
                better = true;
            } else {
                schedule_copy(q->b, spare, s);
                restore_results(q, q->kept[1]);
                point_used(q, s);
            }
        }
    }
    return better;
}

static void improve(Search *q, Schedule *s, Schedule *spare, PlanValue *best)
{
    *best = judge_all(q, s);
    for (int pass = 0; pass < PASSES_MAX && s->n_visits > 0; pass++) {
        bool better = false;
        for (int c = 0; c < q->b->s->n_chains; c++) {
            bool used = false;
            for (int i = 0; i < q->b->s->n_batches; i++)
                used = used || in_chain(q, s, i, c);
            better = (used && improve_chain(q, s, c, best)) || better;
        }
        for (int i = 0; i < q->b->s->n_batches; i++) {
            if (is_movable(q, s, i) && q->b->nodes <= q->b->budget)
                better = improve_batch(q, s, i, spare, best) || better;
        }
        if (!better)
            break;
    }
}

/* Whether the grower can get from a visit already planned at another site to this one. */
static bool can_be_there(const Search *q, int grower, int step)
{
    const Board *b = q->b;
    int64_t start = board_utc(b, step);
    int64_t between = (int64_t)((b->s->garden->growers[grower].travel_min + b->s->weights.visit_min) * 60.0);
    for (int i = 0; i < b->plan->n_visits; i++) {
        const Visit *v = &b->plan->visits[i];
        if (v->grower == grower && v->site != q->w->site && llabs(v->start_utc - start) < between)
            return false;
    }
    return true;
}

/* Visits of the slots in `mask`; false where they cannot all be made. */
static bool set_visits(const Search *q, unsigned mask, Schedule *s)
{
    s->n_visits = 0;
    for (int i = 0; i < q->w->n_slots; i++) {
        const Slot *slot = &q->w->slots[i];
        if (!(mask & (1u << i)))
            continue;
        if (s->n_visits == VISITS_MAX)
            return false;
        int step = slot->step;
        while (!can_be_there(q, slot->grower, step) && step < slot->to)
            step++;
        bool after = s->n_visits == 0 || step > s->visit_step[s->n_visits - 1];
        if (!after || !can_be_there(q, slot->grower, step))
            return false;
        s->visit_step[s->n_visits] = step;
        s->grower[s->n_visits] = slot->grower;
        s->published[s->n_visits++] = slot->published;
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

/* A cover that nothing stands under is left as it was: no job for its own sake. */
static void leave_idle_covers(const Search *q, Schedule *s)
{
    for (int k = 1; k <= s->n_visits; k++) {
        for (int p = 0; p < q->b->s->garden->n_places; p++) {
            if (board_place(q->b, p)->site == q->w->site && !shelters(q, s, k, p))
                s->positions[k][p] = s->positions[k - 1][p];
        }
    }
}

/* Improves every visit set of the given sizes and ranks it. */
static bool try_patterns(Search *q, int least, int most, Finalist *finalists, int *n)
{
    Schedule *spare = schedule_new(q->b, &q->b->stand);
    for (unsigned mask = 0; mask < 1u << q->w->n_slots; mask++) {
        int size = bits(mask);
        if (size < least || size > most)
            continue;
        Schedule *s = schedule_new(q->b, &q->b->stand);
        if (s == NULL || spare == NULL)
            return false;
        PlanValue value;
        if (!set_visits(q, mask, s))
            continue;
        improve(q, s, spare, &value);
        leave_idle_covers(q, s);
        rank(finalists, n, s, &value);
    }
    return !q->b->arena->failed;
}

/* The best of the ranked by exact simulation; a limit broken there sends it on through the list. */
static bool decide_exactly(Search *q, Finalist *finalists, int n, Finalist *ret)
{
    *ret = (Finalist){.value = {.broken = INFINITY}};
    for (int i = 0; i < n && (i < FINALISTS || ret->value.broken > 0.0); i++) {
        PlanValue value;
        if (!evaluate_exact(q->b, q->w, &q->b->stand, finalists[i].schedule, q->results, NULL, NULL, &value))
            return false;
        if (ret->schedule == NULL || plan_value_compare(&value, &ret->value) < 0)
            *ret = (Finalist){.schedule = finalists[i].schedule, .value = value};
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
    for (int v = 0; v < best->schedule->n_visits; v++) {
        Schedule *s = best->schedule;
        const Slot *slot = slot_of(q->w, s->visit_step[v]);
        int kept = s->visit_step[v];
        if (slot == NULL || visit_jobs(q->b, q->w, s, v, NULL) == 0)
            continue;
        for (int step = slot->from; step <= slot->to; step++) {
            bool ordered = (v == 0 || step > s->visit_step[v - 1]) &&
                           (v + 1 >= s->n_visits || step < s->visit_step[v + 1]);
            if (step == kept || !ordered || !can_be_there(q, s->grower[v], step))
                continue;
            PlanValue value;
            s->visit_step[v] = step;
            if (!evaluate_exact(q->b, q->w, &q->b->stand, s, q->results, NULL, NULL, &value))
                return false;
            if (value.broken < best->value.broken - 1e-9 ||
                (value.broken <= best->value.broken + 1e-9 && value.number < best->value.number - LATER_GAIN)) {
                best->value = value;
                kept = step;
            }
        }
        s->visit_step[v] = kept;
    }
    return true;
}

bool search_window(Board *b, const Window *w, Schedule *ret)
{
    Search q = {.b = b, .w = w, .near = w->ordinal < NEAR_WINDOWS};
    q.shelves = ARENA_NEW(b->arena, b->s->n_chains, TrackShelf);
    q.results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    for (int i = 0; i < 2; i++)
        q.kept[i] = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    for (int k = 0; k < SEGMENTS_MAX; k++)
        q.view.of[k] = q.tracks[k] = ARENA_NEW(b->arena, b->s->n_chains, Track);
    Finalist *finalists = ARENA_NEW(b->arena, PATTERNS_MAX + 1, Finalist), best;
    if (b->arena->failed)
        return false;
    int n = 0;
    if (!try_patterns(&q, 0, w->cap, finalists, &n) || !decide_exactly(&q, finalists, n, &best))
        return false;
    /* Beyond the cap only to keep the risk limits. */
    if (best.value.broken > 0.0 && q.near && w->cap < VISITS_MAX && w->n_slots > w->cap) {
        Finalist more;
        n = 0;
        if (!try_patterns(&q, w->cap + 1, VISITS_MAX, finalists, &n))
            return false;
        if (n > 0 && decide_exactly(&q, finalists, n, &more) && more.value.broken < best.value.broken - 1e-9)
            best = more;
    }
    if (q.near && !shift_visits(&q, &best))
        return false;
    schedule_copy(b, best.schedule, ret);
    return true;
}
