/* SPDX-License-Identifier: MIT */
/*
 * The search, its choices between days and sites, and the checks all come here; the definition in
 * words and units is docs/plan.md.
 */
#include "plan/evaluate.h"

#include <math.h>

/* The schedule judged last, and what came of each batch in it. */
typedef struct Recall {
    bool valid;
    const Window *window;
    int crossing_from;
    Schedule *schedule;
    BatchResult *results;
    Track *tracks[SEGMENTS_MAX]; /* per chain */
    bool *changed;               /* per chain: since then */
} Recall;

#define RECALLS 2
#define FORGOTTEN (-2) /* no visit */

#define HARM_FROZEN 1000.0  /* batch-days: never chosen, since nothing done is always a choice */
#define HARM_COVER_GUST 5.0 /* a light or lid that stands open in a gale; chosen */

bool batch_is_here(const Board *b, const Window *w, const Schedule *s, int batch)
{
    for (int k = 0; k <= s->n_visits; k++) {
        if (board_site(b, s->places[k][batch]) == w->site)
            return true;
    }
    return false;
}

int evaluate_leader(const Board *b, const Schedule *s, int batch)
{
    int leader = b->leader[batch];
    if (leader == batch || s->planted_at[batch] != s->planted_at[leader])
        return batch;
    for (int k = 0; k <= s->n_visits; k++) {
        if (s->places[k][batch] != s->places[k][leader])
            return batch;
    }
    return leader;
}

/* Whether anything over the batch is opened, or the batch itself moved, at a visit. */
static bool touched_at(const Board *b, const Schedule *s, int batch, int visit)
{
    int place = s->places[visit][batch];
    if (place != s->places[visit + 1][batch] || s->planted_at[batch] == visit)
        return true;
    for (int p = place; p >= 0; p = board_place(b, p)->parent) {
        if (s->positions[visit + 1][p] > s->positions[visit][p])
            return true;
    }
    return false;
}

/* Laying a fleece over plants in the bed touches nothing: they are not moved, only covered. */
static bool only_covered(const Board *b, const Schedule *s, int batch, int visit)
{
    int from = s->places[visit][batch], to = s->places[visit + 1][batch];
    return b->stand.stages[batch] == STAGE_PLANTED_OUT && board_place(b, to)->parent == from;
}

/* The batch's leaves at a visit, by the half-hour before it. */
static double leaf_at(const Board *b, const Window *w, const Schedule *s, const Tracks *tracks,
                      int batch, int visit)
{
    int place = s->places[visit][batch], chain = b->chain_of[place], step = s->visit_step[visit];
    if (step > w->first) {
        Track before = tracks->of[visit][chain];
        return before.steps[(step - 1 - before.first) * b->s->chains[chain].n + b->layer_of[place]]
            .leaf_c;
    }
    /* At the very start of a plan the half-hour that begins must do. */
    Track first = tracks->of[0][chain];
    return isnan(b->stand.leaf_c[batch]) && first.steps != NULL
               ? first.steps[b->layer_of[place]].leaf_c
               : b->stand.leaf_c[batch];
}

static void check_frozen(const Board *b, const Window *w, const Schedule *s, const Tracks *tracks,
                         int batch, BatchResult *ret)
{
    for (int v = 0; v < s->n_visits; v++) {
        int place = s->places[v][batch], step = s->visit_step[v];
        if (board_site(b, place) != w->site || step < b->stand.since[batch] ||
            !touched_at(b, s, batch, v) || only_covered(b, s, batch, v))
            continue;
        double leaf = leaf_at(b, w, s, tracks, batch, v);
        if (!(leaf <= FROZEN_C))
            continue;
        ret->broken += HARM_FROZEN;
        ret->frozen = (Finding){.step = step,
                                .place = place,
                                .crossing = step,
                                .value = leaf,
                                .limit = FROZEN_C,
                                .odds = NAN,
                                .spread = NAN,
                                .harm = HARM_FROZEN};
    }
}

void evaluate_batch(Board *b, const Window *w, const Schedule *s, const Tracks *tracks, int batch,
                    BatchResult *ret)
{
    Segment segments[SEGMENTS_MAX];
    int n = 0;
    for (int k = 0; k <= s->n_visits; k++) {
        int place = s->places[k][batch],
            from = int_max(segment_start(w, s, k), b->stand.since[batch]);
        int to = segment_end(w, s, k);
        Track track = tracks->of[k][b->chain_of[place]];
        /* Without air the arena is too small: the plan fails as a whole. */
        if (board_site(b, place) != w->site || from >= to || track.steps == NULL)
            continue;
        segment_fill(b, place, s->positions[k], track, from, to, &segments[n]);
        segments[n++].planted = s->planted_at[batch] >= 0 && k > s->planted_at[batch];
    }
    BatchStart start = {b->stand.ramps[batch], b->stand.stages[batch], b->stand.judged[batch],
                        b->stand.chill_left_h[batch]};
    b->nodes++;
    walk_batch(b, w, batch, &start, segments, n, ret);
    if (!b->arena->failed)
        check_frozen(b, w, s, tracks, batch, ret);
}

double evaluate_cover_gust(const Board *b, const Window *w, const Schedule *s, int place,
                           int *ret_step)
{
    const OutdoorStep *outdoor = b->s->sites[w->site].steps;
    const Place *p = board_place(b, place);
    double harm = 0.0;
    if (!p->covered || p->cover.porous || p->cover.n_positions < 2 || p->site != w->site)
        return 0.0;
    for (int k = 0; k <= s->n_visits; k++) {
        int i = segment_start(w, s, k), end = segment_end(w, s, k);
        if (s->positions[k][place] == 0)
            continue;
        while (i < end && outdoor[i].gust_ms <= p->cover.gust_limit_ms)
            i++;
        if (i == end || !schedule_shelters(b, s, k, place))
            continue;
        if (harm == 0.0 && ret_step != NULL)
            *ret_step = i;
        harm += HARM_COVER_GUST;
    }
    return harm;
}

void evaluate_sum(const Board *b, const Window *w, const Schedule *s, const BatchResult *results,
                  PlanValue *ret)
{
    PlanValue value = {0};
    for (int p = 0; p < b->s->garden->n_places; p++)
        value.broken += evaluate_cover_gust(b, w, s, p, NULL);
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!batch_is_here(b, w, s, i))
            continue;
        value.broken += results[i].broken;
        value.loss += results[i].loss;
        value.checks += results[i].checks;
        value.delay += results[i].delay;
        for (int k = 0; k < s->n_visits; k++) {
            if (board_site(b, s->places[k][i]) != board_site(b, s->places[k + 1][i]))
                value.visits += b->s->weights.transfer;
        }
    }
    for (int v = 0; v < s->n_visits; v++) {
        double minutes;
        if (schedule_jobs(b, w, s, v, &minutes) == 0)
            continue;
        if (window_fixed(w, s->grower[v], s->visit_step[v]) != NULL)
            minutes -= board_visit_min(b, w->site); /* it is made anyway */
        value.visits += minutes / b->s->garden->growers[s->grower[v]].minutes_per_batch_day;
    }
    value.number = value.loss + value.checks + value.delay + value.visits;
    *ret = value;
}

bool evaluate(Board *b, const Window *w, const Schedule *s, const Tracks *tracks,
              BatchResult *results, PlanValue *ret)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!batch_is_here(b, w, s, i))
            continue;
        int leader = evaluate_leader(b, s, i);
        if (leader != i)
            results[i] = results[leader];
        else
            evaluate_batch(b, w, s, tracks, i, &results[i]);
    }
    evaluate_sum(b, w, s, results, ret);
    return !b->arena->failed;
}

/* Chains of the site in which a batch stands at some time. */
static void chains_needed(const Board *b, const Schedule *s, bool *ret)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        for (int k = 0; k <= s->n_visits; k++)
            ret[b->chain_of[s->places[k][i]]] = true;
    }
}

bool evaluate_open(Board *b)
{
    b->recalls = NULL;
    Recall *recalls = ARENA_NEW(b->arena, RECALLS, Recall);
    for (int i = 0; recalls != NULL && i < RECALLS; i++) {
        Recall *r = &recalls[i];
        *r = (Recall){.schedule = schedule_new(b, &b->stand),
                      .results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult),
                      .changed = ARENA_NEW(b->arena, b->s->n_chains, bool)};
        for (int k = 0; k < SEGMENTS_MAX; k++)
            r->tracks[k] = ARENA_NEW(b->arena, b->s->n_chains, Track);
    }
    b->recalls = b->arena->failed ? NULL : recalls;
    return b->recalls != NULL;
}

void evaluate_forget(Board *b, int batch)
{
    for (int i = 0; b->recalls != NULL && i < RECALLS; i++)
        b->recalls[i].schedule->planted_at[batch] = FORGOTTEN;
}

/* Notes which chains have other air or other positions than in the schedule judged last; false
 * where nothing of it can be taken over. */
static bool compare_chains(const Board *b, const Window *w, const Schedule *s, const Tracks *tracks,
                           Recall *r)
{
    const Schedule *last = r->schedule;
    const size_t steps = (size_t)s->n_visits * sizeof(int);
    if (!r->valid || r->window != w || r->crossing_from != b->crossing_from ||
        last->n_visits != s->n_visits || memcmp(last->visit_step, s->visit_step, steps) != 0)
        return false;
    memset(r->changed, 0, (size_t)b->s->n_chains * sizeof *r->changed);
    for (int k = 0; k <= s->n_visits; k++) {
        for (int c = 0; c < b->s->n_chains; c++) {
            if (tracks->of[k][c].steps != r->tracks[k][c].steps)
                r->changed[c] = true;
        }
        for (int p = 0; p < b->s->garden->n_places; p++) {
            if (s->positions[k][p] != last->positions[k][p])
                r->changed[b->chain_of[p]] = true;
        }
    }
    return true;
}

/* Whether nothing that the batch meets is other than in the schedule judged last. */
static bool is_as_before(const Board *b, const Schedule *s, const Recall *r, int batch)
{
    if (s->planted_at[batch] != r->schedule->planted_at[batch])
        return false;
    for (int k = 0; k <= s->n_visits; k++) {
        const int place = s->places[k][batch];
        if (place != r->schedule->places[k][batch] || r->changed[b->chain_of[place]])
            return false;
    }
    return true;
}

/* Most schedules differ from the last one in one job: the rest is taken from there. It counts as
 * evaluated, so that the budget ends where it would. */
bool evaluate_again(Board *b, EvaluateAir air, const Window *w, const Schedule *s,
                    const Tracks *tracks, BatchResult *results, PlanValue *ret)
{
    if (b->recalls == NULL)
        return evaluate(b, w, s, tracks, results, ret);
    Recall *r = &b->recalls[air];
    const bool known = compare_chains(b, w, s, tracks, r);
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!batch_is_here(b, w, s, i))
            continue;
        const int leader = evaluate_leader(b, s, i);
        const bool kept = known && is_as_before(b, s, r, i);
        if (leader != i) {
            results[i] = results[leader];
        } else if (kept) {
            results[i] = r->results[i];
            b->nodes++;
        } else {
            evaluate_batch(b, w, s, tracks, i, &results[i]);
        }
        if (!kept)
            r->results[i] = results[i];
    }
    schedule_copy(b, s, r->schedule);
    for (int k = 0; k <= s->n_visits; k++)
        memcpy(r->tracks[k], tracks->of[k], (size_t)b->s->n_chains * sizeof(Track));
    r->window = w;
    r->crossing_from = b->crossing_from;
    r->valid = !b->arena->failed;
    evaluate_sum(b, w, s, results, ret);
    return !b->arena->failed;
}

bool evaluate_exact(Board *b, const Window *w, const Schedule *s, BatchResult *results,
                    Tracks *ret_tracks, PlanValue *ret)
{
    Track *tracks = ARENA_NEW(b->arena, b->s->n_chains, Track);
    bool *needed = ARENA_NEW(b->arena, b->s->n_chains, bool);
    if (b->arena->failed)
        return false;
    Tracks exact;
    for (int k = 0; k < SEGMENTS_MAX; k++)
        exact.of[k] = tracks;
    chains_needed(b, s, needed);
    for (int c = 0; c < b->s->n_chains; c++) {
        if (needed[c] && board_site(b, b->s->chains[c].layers[0].place) == w->site)
            tracks[c] = track_scheduled(b, c, w, s, NULL);
    }
    if (ret_tracks != NULL)
        *ret_tracks = exact;
    return !b->arena->failed && evaluate_again(b, AIR_SCHEDULED, w, s, &exact, results, ret);
}

int plan_value_compare(const PlanValue *a, const PlanValue *b)
{
    const double same = 1e-9;
    bool a_within = a->broken <= same, b_within = b->broken <= same;
    if (a_within != b_within)
        return a_within ? -1 : 1;
    /* Where no choice is within the limits, harm and work are weighed as what they are: batch-days.
     */
    double a_harm = a->broken + a->number, b_harm = b->broken + b->number;
    if (!a_within && fabs(a_harm - b_harm) > same)
        return a_harm < b_harm ? -1 : 1;
    if (fabs(a->number - b->number) > same)
        return a->number < b->number ? -1 : 1;
    return 0;
}
