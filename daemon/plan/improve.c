/* SPDX-License-Identifier: MIT */
/*
 * With the visits given: the covers of one chain in all their settings, the batches that are equal
 * from place to place, until nothing gets better. Candidates are ranked with air stitched from
 * fixed settings, each simulated once; what is chosen is simulated as it is before it counts.
 */
#include "plan/marks.h"
#include "plan/search.h"

#include <math.h>

#define PASSES_NEAR 3    /* over covers and batches, at most; chosen */
#define PASSES_FAR 1     /* in later windows; chosen */
#define SETTINGS_NEAR 64 /* settings of one chain tried at once, in the next windows */
#define SETTINGS_FAR 16
#define GROUPS_FEW 4 /* groups of batches in a chain; more of them, fewer settings at once */
#define CHOICES_MAX (SEGMENTS_MAX * CHAIN_LAYERS_MAX)

static void point_tracks(Search *q, const Schedule *s, int chain)
{
    for (int k = 0; k <= s->n_visits; k++)
        q->tracks[k][chain] = track_fixed(q->b, chain, q->w, s->positions[k]);
}

static bool in_chain(const Search *q, const Schedule *s, int batch, int chain)
{
    for (int k = 0; k <= s->n_visits; k++) {
        if (q->b->chain_of[s->places[k][batch]] == chain)
            return true;
    }
    return false;
}

/* Judges all that a change in one chain touches; the rest of the results stand. Given up, with an
 * endless `broken`, once it cannot be better than `best`. */
static PlanValue judge_chain(Search *q, const Schedule *s, int chain, const PlanValue *best)
{
    Board *b = q->b;
    PlanValue value = {.broken = INFINITY};
    double broken = 0.0;
    point_tracks(q, s, chain);
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!in_chain(q, s, i, chain) && batch_is_here(b, q->w, s, i))
            broken += q->results[i].broken;
    }
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!in_chain(q, s, i, chain))
            continue;
        int leader = evaluate_leader(b, s, i);
        if (leader != i)
            q->results[i] = q->results[leader];
        else
            evaluate_batch(b, q->w, s, &q->view, i, &q->results[i]);
        broken += q->results[i].broken;
        if (broken > best->broken + 1e-6)
            return value;
    }
    evaluate_sum(b, q->w, s, q->results, &value);
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

static bool chain_used(const Search *q, const Schedule *s, int chain)
{
    for (int i = 0; i < q->b->s->n_batches; i++) {
        if (in_chain(q, s, i, chain))
            return board_site(q->b, q->b->s->chains[chain].layers[0].place) == q->w->site;
    }
    return false;
}

static void point_used(Search *q, const Schedule *s)
{
    for (int c = 0; c < q->b->s->n_chains; c++) {
        if (chain_used(q, s, c))
            point_tracks(q, s, c);
    }
}

static bool segment_has_daylight(const Search *q, const Schedule *s, int segment)
{
    for (int i = segment_start(q->w, s, segment); i < segment_end(q->w, s, segment); i++) {
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

static int choices_of(const Search *q, const Schedule *s, int chain, Choice *ret)
{
    const Chain *c = &q->b->s->chains[chain];
    int n = 0;
    for (int k = 1; k <= s->n_visits; k++) {
        bool daylight = segment_has_daylight(q, s, k);
        for (int l = 0; l < c->n; l++) {
            int place = c->layers[l].place, last = board_place(q->b, place)->cover.n_positions - 1;
            if (!c->layers[l].covered || last < 1 || !schedule_shelters(q->b, s, k, place))
                continue;
            Choice choice = {.segment = k, .place = place};
            for (int p = 0; p <= last; p++) {
                bool middle = p > 0 && p < last;
                /* In the dark a prop is neither shelter nor air; the largest prop stands for all
                 * until it is refined. */
                if (middle && (!daylight || p < last - 1) && p != s->positions[0][place])
                    continue;
                choice.options[choice.n++] = (int8_t)p;
            }
            ret[n++] = choice;
        }
    }
    return n;
}

/* The settings of a few covers before and after a try. */
static bool set_choices(Schedule *s, const Choice *choices, const int *at, int n)
{
    bool changed = false;
    for (int i = 0; i < n; i++) {
        int *position = &s->positions[choices[i].segment][choices[i].place];
        changed = changed || *position != choices[i].options[at[i]];
        *position = choices[i].options[at[i]];
    }
    return changed;
}

/* All combinations of a few covers, the others as they stand. */
static bool try_settings(Search *q, Schedule *s, int chain, const Choice *choices, int n,
                         PlanValue *best)
{
    int at[CHOICES_MAX] = {0}, keep[CHOICES_MAX];
    bool better = false;
    keep_results(q, q->kept[0]);
    for (int i = 0; i < n; i++)
        keep[i] = s->positions[choices[i].segment][choices[i].place];
    for (;;) {
        if (set_choices(s, choices, at, n)) {
            PlanValue value = judge_chain(q, s, chain, best);
            if (plan_value_compare(&value, best) < 0) {
                *best = value;
                better = true;
                keep_results(q, q->kept[0]);
                for (int i = 0; i < n; i++)
                    keep[i] = choices[i].options[at[i]];
            }
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

static int groups_in_chain(const Search *q, const Schedule *s, int chain)
{
    int n = 0;
    for (int i = 0; i < q->b->s->n_batches; i++)
        n += in_chain(q, s, i, chain) && evaluate_leader(q->b, s, i) == i;
    return n;
}

static bool improve_chain(Search *q, Schedule *s, int chain, PlanValue *best)
{
    Choice choices[CHOICES_MAX];
    int n = choices_of(q, s, chain, choices),
        groups = int_max(groups_in_chain(q, s, chain), GROUPS_FEW);
    long product = 1, limit = (q->near ? SETTINGS_NEAR : SETTINGS_FAR) * GROUPS_FEW / groups;
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

bool may_stand(const Search *q, const Schedule *s, int batch, int place)
{
    const Board *b = q->b;
    int now = s->places[0][batch], from = b->stand.places[batch];
    if (place == from)
        return true;
    if (board_site(b, place) != q->w->site)
        return false;
    if (b->stand.stages[batch] == STAGE_PLANTED_OUT)
        return planted_ground(b, place) == planted_ground(b, now);
    if (!place_takes_trays(b, place))
        return false;
    return board_is_hardening(b, batch, q->w->first) || board_place(b, place)->indoors ||
           !board_place(b, now)->indoors;
}

bool is_movable(const Search *q, const Schedule *s, int batch)
{
    const Board *b = q->b;
    int place = s->places[0][batch];
    if (board_site(b, place) != q->w->site || s->planted_at[batch] >= 0)
        return false;
    if (b->stand.stages[batch] == STAGE_PLANTED_OUT)
        return q->results[batch].broken > 0.0 ||
               (planted_ground(b, place) != place && place != b->s->batches[batch].destination);
    bool settling = b->s->batches[batch].settled_utc > board_utc(b, q->w->first);
    return q->results[batch].broken > 0.0 ||
           (board_is_hardening(b, batch, q->w->first) && !settling);
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

/* Whether two batches are equal and go the same way. */
static bool together(const Search *q, const Schedule *s, int first, int batch)
{
    if (q->b->leader[first] != q->b->leader[batch] || s->planted_at[first] != s->planted_at[batch])
        return false;
    for (int k = 0; k <= s->n_visits; k++) {
        if (s->places[k][first] != s->places[k][batch])
            return false;
    }
    return true;
}

/* Sends the batch, and those equal to it that find room, along `path`; false where not even it can
 * go. */
static bool send(Search *q, Schedule *s, const Schedule *before, int batch, const int *path)
{
    bool sent = false;
    for (int i = batch; i < q->b->s->n_batches; i++) {
        if (i != batch && !together(q, before, batch, i))
            continue;
        bool room = true;
        for (int k = 1; k <= s->n_visits; k++)
            s->places[k][i] = path[k];
        for (int k = 1; k <= s->n_visits && room; k++)
            room = before->places[k][i] == path[k] || schedule_has_room(q->b, s, k, path[k], i);
        for (int k = 1; k <= s->n_visits && !room; k++)
            s->places[k][i] = before->places[k][i];
        sent = sent || room;
        if (!room)
            break;
    }
    return sent;
}

/* Judges the batches that were sent: equal ones, by one path. */
static void judge_sent(Search *q, const Schedule *s, const Schedule *before, int batch,
                       PlanValue *ret)
{
    evaluate_batch(q->b, q->w, s, &q->view, batch, &q->results[batch]);
    for (int i = batch + 1; i < q->b->s->n_batches; i++) {
        bool sent = false;
        for (int k = 1; k <= s->n_visits; k++)
            sent = sent || s->places[k][i] != before->places[k][i];
        if (sent)
            q->results[i] = q->results[batch];
    }
    evaluate_sum(q->b, q->w, s, q->results, ret);
}

/* The batch along `path`, the covers of every chain on it set anew. `s` is left changed either way.
 */
static bool try_path(Search *q, Schedule *s, const Schedule *before, int batch, const int *path,
                     PlanValue *best)
{
    PlanValue value;
    if (!send(q, s, before, batch, path))
        return false;
    for (int k = 0; k <= s->n_visits; k++)
        point_tracks(q, s, q->b->chain_of[s->places[k][batch]]);
    judge_sent(q, s, before, batch, &value);
    for (int k = 1; k <= s->n_visits; k++) {
        if (!chain_seen(q, s, batch, k) || (k == 1 && s->places[0][batch] != s->places[1][batch]))
            (void)improve_chain(q, s, q->b->chain_of[s->places[k][batch]], &value);
    }
    if (plan_value_compare(&value, best) >= 0)
        return false;
    *best = value;
    return true;
}

/* Whether `path` is another way than the batch goes, at visits on which it is there. */
static bool is_other_path(const Search *q, const Schedule *s, int batch, const int *path)
{
    bool changed = false;
    for (int k = 1; k <= s->n_visits; k++) {
        if (s->visit_step[k - 1] < q->b->stand.since[batch] && path[k] != s->places[0][batch])
            return false;
        changed = changed || s->places[k][batch] != path[k];
    }
    return changed;
}

/* A batch's place after each visit: elsewhere for good, or out and back, or back only. */
static bool improve_batch(Search *q, Schedule *s, int batch, PlanValue *best)
{
    int n_places = q->b->s->garden->n_places, last = s->n_visits;
    bool better = false;
    for (int p = 0; p < n_places && q->b->nodes <= q->b->budget; p++) {
        if (!may_stand(q, s, batch, p))
            continue;
        for (int shape = 0; shape < (last > 1 ? 3 : 1); shape++) {
            int path[SEGMENTS_MAX] = {0};
            for (int k = 1; k <= last; k++) {
                bool there = shape == 0 || (shape == 1 ? k < last : k == last);
                path[k] = there ? p : s->places[0][batch];
            }
            if (!is_other_path(q, s, batch, path))
                continue;
            schedule_copy(q->b, s, q->spare);
            keep_results(q, q->kept[1]);
            if (try_path(q, s, q->spare, batch, path, best)) {
                better = true;
            } else {
                schedule_copy(q->b, q->spare, s);
                restore_results(q, q->kept[1]);
                point_used(q, s);
            }
        }
    }
    return better;
}

/* Whether a batch before it is equal and goes the same way, so that it was moved with that one or
 * had no room. */
static bool goes_with_another(const Search *q, const Schedule *s, int batch)
{
    for (int i = 0; i < batch; i++) {
        if (together(q, s, i, batch))
            return true;
    }
    return false;
}

void improve(Search *q, Schedule *s, PlanValue *best)
{
    point_used(q, s);
    (void)evaluate_again(q->b, AIR_STITCHED, q->w, s, &q->view, q->results, best);
    int passes = q->near ? PASSES_NEAR : PASSES_FAR;
    for (int pass = 0; pass < passes && s->n_visits > 0; pass++) {
        bool better = false;
        for (int c = 0; c < q->b->s->n_chains; c++)
            better = (chain_used(q, s, c) && improve_chain(q, s, c, best)) || better;
        for (int i = 0; i < q->b->s->n_batches; i++) {
            if (is_movable(q, s, i) && q->b->nodes <= q->b->budget && !goes_with_another(q, s, i))
                better = improve_batch(q, s, i, best) || better;
        }
        if (!better)
            break;
    }
}

void improve_covers(Search *q, Schedule *s, int place, PlanValue *best)
{
    point_used(q, s);
    (void)evaluate_again(q->b, AIR_STITCHED, q->w, s, &q->view, q->results, best);
    (void)improve_chain(q, s, q->b->chain_of[place], best);
}
