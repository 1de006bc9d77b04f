/* SPDX-License-Identifier: MIT */
/*
 * What a window's schedule is worth. The search, its choices between days and sites, and the checks all
 * come here; the definition in words and units is docs/plan.md.
 */
#include "plan/board.h"
#include "plan/marks.h"

#include <math.h>
#include <stdlib.h>

#define FROZEN_C 1.0           /* plants at or below are left alone; common practice, no source */
#define HARM_FROZEN 2.0        /* batch-days; chosen */
#define HARM_COVER_GUST 5.0    /* a light or lid that stands open in a gale; chosen */
#define SAME_VISIT_STEPS 0     /* a published visit on the same half-hour stands */
#define MOVED_VISIT_STEPS (3 * STEPS_PER_H) /* further off it is another visit */
#define SETTLED_BEFORE_S (3 * 3600) /* from here to the visit only safety may move it */
#define SETTLED_FACTOR 10.0    /* on disturbance inside it; chosen */

static int segment_start(const Window *w, const Schedule *s, int segment)
{
    return segment == 0 ? w->first : s->visit_step[segment - 1];
}

static int segment_end(const Window *w, const Schedule *s, int segment)
{
    return segment == s->n_visits ? w->eval_end : s->visit_step[segment];
}

/* Whether anything over the batch, or the batch itself, is set otherwise at a visit. */
static bool touched_at(const Board *b, const Schedule *s, int batch, int visit)
{
    int place = s->places[visit][batch];
    if (place != s->places[visit + 1][batch])
        return true;
    for (int p = place; p >= 0; p = board_place(b, p)->parent) {
        if (s->positions[visit + 1][p] > s->positions[visit][p])
            return true;
    }
    return false;
}

static void check_frozen(const Board *b, const Schedule *s, int batch, int visit, const Segment *before,
                         BatchResult *ret)
{
    if (before->to <= before->from || !touched_at(b, s, batch, visit))
        return;
    double leaf = before->track.steps[(before->to - 1 - before->track.first) * before->stride + before->layer].leaf_c;
    if (leaf > FROZEN_C)
        return;
    ret->broken += HARM_FROZEN;
    ret->frozen = (Finding){.step = before->to, .place = before->place, .crossing = before->to,
                            .value = leaf, .limit = FROZEN_C, .odds = NAN};
}

void evaluate_batch(Board *b, const Window *w, const Stand *stand, const Schedule *s, const Tracks *tracks,
                    int batch, BatchResult *ret)
{
    Segment segments[SEGMENTS_MAX] = {0};
    int n = 0, visit_before[SEGMENTS_MAX];
    for (int k = 0; k <= s->n_visits; k++) {
        int place = s->places[k][batch];
        if (board_place(b, place)->site != w->site)
            continue;
        visit_before[n] = k;
        segment_fill(b, place, s->positions[k], tracks->of[k][b->chain_of[place]], segment_start(w, s, k),
                     segment_end(w, s, k), &segments[n++]);
    }
    b->nodes++;
    walk_batch(b, w, batch, &stand->ramps[batch], stand->stages[batch], segments, n, ret);
    for (int k = 0; k < n; k++) {
        if (visit_before[k] < s->n_visits)
            check_frozen(b, s, batch, visit_before[k], &segments[k], ret);
    }
}

int visit_jobs(const Board *b, const Window *w, const Schedule *s, int visit, double *ret_minutes)
{
    int covers = 0, moves = 0;
    for (int p = 0; p < b->s->garden->n_places; p++)
        covers += board_place(b, p)->site == w->site && s->positions[visit][p] != s->positions[visit + 1][p];
    for (int i = 0; i < b->s->n_batches; i++)
        moves += s->places[visit][i] != s->places[visit + 1][i];
    if (ret_minutes != NULL)
        *ret_minutes = b->s->weights.visit_min + b->s->weights.cover_min * covers + b->s->weights.move_min * moves;
    return covers + moves;
}

/* Lights, lids and vents that stand open in a gust above their limit. */
static double cover_gusts(const Board *b, const Window *w, const Schedule *s)
{
    const OutdoorStep *outdoor = b->s->sites[w->site].steps;
    double harm = 0.0;
    for (int k = 0; k <= s->n_visits; k++) {
        double gust = 0.0;
        for (int i = segment_start(w, s, k); i < segment_end(w, s, k); i++)
            gust = fmax(gust, outdoor[i].gust_ms);
        for (int p = 0; p < b->s->garden->n_places; p++) {
            const Place *place = board_place(b, p);
            if (place->site == w->site && place->covered && !place->cover.porous && s->positions[k][p] > 0 &&
                gust > place->cover.gust_limit_ms)
                harm += HARM_COVER_GUST;
        }
    }
    return harm;
}

/* Visits already published that this schedule moves or drops. */
static double disturbance(const Board *b, const Window *w, const Schedule *s)
{
    double sum = 0.0;
    for (int i = 0; i < b->s->n_former; i++) {
        const Visit *f = &b->s->former[i];
        int64_t offset = f->start_utc - b->s->start_utc;
        int step = (int)(offset / STEP_S), nearest = MOVED_VISIT_STEPS + 1;
        if (f->site != w->site || offset < 0 || step < w->first || step >= w->end || f->start_utc < b->s->now_utc)
            continue;
        for (int v = 0; v < s->n_visits; v++) {
            int apart = abs(s->visit_step[v] - step);
            if (visit_jobs(b, w, s, v, NULL) > 0 && apart < nearest)
                nearest = apart;
        }
        double cost = nearest > MOVED_VISIT_STEPS ? b->s->weights.dropped_visit
                      : nearest > SAME_VISIT_STEPS ? b->s->weights.moved_visit
                                                   : 0.0;
        sum += cost * (f->start_utc - b->s->now_utc < SETTLED_BEFORE_S ? SETTLED_FACTOR : 1.0);
    }
    return sum;
}

void evaluate_sum(const Board *b, const Window *w, const Schedule *s, const BatchResult *results, PlanValue *ret)
{
    PlanValue value = {.broken = cover_gusts(b, w, s)};
    for (int i = 0; i < b->s->n_batches; i++) {
        bool here = false;
        for (int k = 0; k <= s->n_visits; k++)
            here = here || board_place(b, s->places[k][i])->site == w->site;
        if (!here)
            continue;
        value.broken += results[i].broken;
        value.loss += results[i].loss;
        value.checks += results[i].checks;
        value.delay += results[i].delay;
    }
    for (int v = 0; v < s->n_visits; v++) {
        double minutes;
        if (visit_jobs(b, w, s, v, &minutes) > 0)
            value.visits += minutes / b->s->garden->growers[s->grower[v]].minutes_per_batch_day;
    }
    value.disturbance = disturbance(b, w, s);
    value.number = value.loss + value.checks + value.delay + value.visits + value.disturbance;
    *ret = value;
}

bool evaluate(Board *b, const Window *w, const Stand *stand, const Schedule *s, const Tracks *tracks,
              BatchResult *results, PlanValue *ret)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        for (int k = 0; k <= s->n_visits; k++) {
            if (board_place(b, s->places[k][i])->site == w->site) {
                evaluate_batch(b, w, stand, s, tracks, i, &results[i]);
                break;
            }
        }
    }
    evaluate_sum(b, w, s, results, ret);
    return !b->arena->failed;
}

static bool chain_is_needed(const Board *b, const Window *w, const Schedule *s, int chain)
{
    if (board_place(b, b->s->chains[chain].layers[0].place)->site != w->site)
        return false;
    for (int i = 0; i < b->s->n_batches; i++) {
        for (int k = 0; k <= s->n_visits; k++) {
            if (b->chain_of[s->places[k][i]] == chain)
                return true;
        }
    }
    return false;
}

bool evaluate_exact(Board *b, const Window *w, const Stand *stand, const Schedule *s, BatchResult *results,
                    ChainState *ret_ends, Tracks *ret_tracks, PlanValue *ret)
{
    Track *tracks = ARENA_NEW(b->arena, b->s->n_chains, Track);
    if (tracks == NULL)
        return false;
    Tracks exact;
    for (int k = 0; k < SEGMENTS_MAX; k++)
        exact.of[k] = tracks;
    for (int c = 0; c < b->s->n_chains; c++) {
        bool here = board_place(b, b->s->chains[c].layers[0].place)->site == w->site;
        if (here && (ret_ends != NULL || chain_is_needed(b, w, s, c)))
            tracks[c] = track_run(b, c, w, stand, s, ret_ends != NULL ? &ret_ends[c] : NULL);
    }
    if (ret_tracks != NULL)
        *ret_tracks = exact;
    return !b->arena->failed && evaluate(b, w, stand, s, &exact, results, ret);
}

int plan_value_compare(const PlanValue *a, const PlanValue *b)
{
    const double same = 1e-9;
    bool a_within = a->broken <= same, b_within = b->broken <= same;
    if (a_within != b_within)
        return a_within ? -1 : 1;
    /* Where no choice is within the limits, harm and work are weighed as what they are: batch-days. */
    double a_harm = a->broken + a->number, b_harm = b->broken + b->number;
    if (!a_within && fabs(a_harm - b_harm) > same)
        return a_harm < b_harm ? -1 : 1;
    if (fabs(a->number - b->number) > same)
        return a->number < b->number ? -1 : 1;
    return 0;
}
