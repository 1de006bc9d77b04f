/* SPDX-License-Identifier: MIT */
/*
 * What crosses between sites, decided after a window's own schedule: batches brought to this site to go on
 * hardening, ready ones planted out here, and, where nothing here keeps a batch within its damage limit, home
 * with it. Trays travel with the grower: leave the other site, arrive `travel_min` later.
 */
#include "plan/board.h"
#include "plan/marks.h"

#include <math.h>

#define SURE_NIGHTS 3           /* nights that a batch brought here must be safe, all shut */
#define PLANT_SUN_WM2 350.0     /* brighter hours after planting are avoided; chosen */
#define PLANT_SUN_STEPS (3 * STEPS_PER_H)
#define PLANT_PATIENCE_S (2 * 86400) /* longest wait for a duller hour; chosen */
#define SODDEN_MM 15.0          /* in 24 h; chosen */
#define PLANT_GUST_MS 11.0      /* chosen */

typedef struct Transfer {
    Board *b;
    const Window *w;
    Schedule *schedule, *trial;
    BatchResult *results;
    PlanValue value;
} Transfer;

/* Puts a visit into the trial where there is none yet at `step`; its index, or -1. */
static int visit_at(Transfer *t, int grower, int step)
{
    Schedule *s = t->trial;
    for (int v = 0; v < s->n_visits; v++) {
        if (s->visit_step[v] == step)
            return v;
    }
    if (s->n_visits == VISITS_MAX)
        return -1;
    int at = s->n_visits++;
    while (at > 0 && s->visit_step[at - 1] > step) {
        s->visit_step[at] = s->visit_step[at - 1];
        s->grower[at] = s->grower[at - 1];
        at--;
    }
    s->visit_step[at] = step;
    s->grower[at] = grower;
    for (int k = s->n_visits; k > at; k--) {
        memcpy(s->positions[k], s->positions[k - 1], (size_t)t->b->s->garden->n_places * sizeof(int));
        memcpy(s->places[k], s->places[k - 1], (size_t)t->b->s->n_batches * sizeof(int));
    }
    return at;
}

static int used_visits(const Transfer *t, const Schedule *s)
{
    int n = 0;
    for (int v = 0; v < s->n_visits; v++)
        n += visit_jobs(t->b, t->w, s, v, NULL) > 0;
    return n;
}

/* The k-th time at which somebody could be here: visits of the schedule first, then slots. */
static bool opportunity(const Transfer *t, int k, int *ret_grower, int *ret_step)
{
    int n = 0;
    for (int v = 0; v < t->schedule->n_visits; v++) {
        if (visit_jobs(t->b, t->w, t->schedule, v, NULL) > 0 && n++ == k) {
            *ret_grower = t->schedule->grower[v];
            *ret_step = t->schedule->visit_step[v];
            return true;
        }
    }
    if (n >= t->w->cap || k - n >= t->w->n_slots)
        return false;
    *ret_grower = t->w->slots[k - n].grower;
    *ret_step = t->w->slots[k - n].step;
    return true;
}

static bool has_room(const Board *b, const int *places, int place, int batch)
{
    int taken = 0;
    for (int i = 0; i < b->s->n_batches; i++) {
        if (i != batch && places[i] == place && b->stand.stages[i] != STAGE_PLANTED_OUT)
            taken += b->s->batches[i].trays;
    }
    return board_place(b, place)->trays < 0 || taken + b->s->batches[batch].trays <= board_place(b, place)->trays;
}

/* The batch as it is when it leaves the other site at `step`; false where that is not known. */
static bool leave_at(Transfer *t, int batch, int grower, int step, RampState *ret)
{
    Board *b = t->b;
    const BatchPast *past = &b->past[batch];
    int travel = (int)ceil(b->s->garden->growers[grower].travel_min * 60.0 / STEP_S);
    int leave = step - travel;
    if (past->n_segments == 0 || leave < past->window.first || leave >= past->window.end)
        return false;
    /* A move at home after they have left cannot be made. */
    if (past->segments[past->n_segments - 1].from > leave)
        return false;
    Segment segments[SEGMENTS_MAX];
    Window until = past->window;
    until.end = until.eval_end = step;
    for (int k = 0; k < past->n_segments; k++) {
        segments[k] = past->segments[k];
        segments[k].to = k == past->n_segments - 1 ? (step < past->window.end ? step : past->window.end)
                                                   : segments[k].to;
    }
    BatchResult result;
    walk_batch(b, &until, batch, &past->start, b->stand.stages[batch], segments, past->n_segments, &result);
    *ret = result.ramp_at_end;
    return true;
}

static double batch_cost(const BatchResult *r) { return r->loss + r->checks + r->delay; }

/* With every cover shut, the next nights here must be within the damage limit. */
static bool sure_here(Transfer *t, int batch, int place, const RampState *ramp)
{
    Board *b = t->b;
    Window nights = *t->w;
    nights.end = nights.first + SURE_NIGHTS * 24 * STEPS_PER_H;
    if (nights.end > b->s->n_steps)
        nights.end = b->s->n_steps;
    nights.eval_end = nights.end;
    Schedule *shut = schedule_new(b, &b->stand);
    if (shut == NULL)
        return false;
    memset(shut->positions[0], 0, (size_t)b->s->garden->n_places * sizeof(int));
    Track track = track_run(b, b->chain_of[place], &nights, &b->stand, shut, NULL);
    if (track.steps == NULL)
        return false;
    Segment segment;
    BatchResult result;
    segment_fill(b, place, shut->positions[0], track, nights.first, nights.end, &segment);
    walk_batch(b, &nights, batch, ramp, b->stand.stages[batch], &segment, 1, &result);
    return result.damage.odds <= b->s->garden->risk.damage;
}

static void accept(Transfer *t, const PlanValue *value, int batch, const RampState *ramp)
{
    schedule_copy(t->b, t->trial, t->schedule);
    t->value = *value;
    t->b->stand.ramps[batch] = *ramp;
}

/* Here instead of there: what it costs or gains over this window. */
static bool bring(Transfer *t, int batch, int place, int grower, int step, const BatchResult *there)
{
    Board *b = t->b;
    RampState at_arrival, kept = b->stand.ramps[batch];
    PlanValue value;
    /* The grower comes from home, so only what stands there can be brought. */
    if (board_place(b, b->stand.places[batch])->site != b->s->garden->growers[grower].home_site ||
        !leave_at(t, batch, grower, step, &at_arrival))
        return false;
    schedule_copy(b, t->schedule, t->trial);
    int v = visit_at(t, grower, step);
    if (v < 0 || !has_room(b, t->trial->places[v + 1], place, batch) || !sure_here(t, batch, place, &at_arrival))
        return false;
    for (int k = v + 1; k <= t->trial->n_visits; k++)
        t->trial->places[k][batch] = place;
    b->stand.ramps[batch] = at_arrival;
    bool ok = evaluate_exact(b, t->w, &b->stand, t->trial, t->results, NULL, NULL, &value);
    b->stand.ramps[batch] = kept;
    if (!ok || t->results[batch].broken > there->broken + 1e-9)
        return false;
    double here = value.number + b->s->weights.transfer, stay = t->value.number + batch_cost(there);
    if (value.broken > t->value.broken + there->broken + 1e-9 || here >= stay - 1e-9)
        return false;
    accept(t, &value, batch, &at_arrival);
    return true;
}

static void bring_batches(Transfer *t)
{
    Board *b = t->b;
    for (int i = 0; i < b->s->n_batches; i++) {
        const BatchPast *past = &b->past[i];
        Stage stage = b->stand.stages[i];
        if (board_place(b, b->stand.places[i])->site == t->w->site || past->n_segments == 0 ||
            !(board_is_hardening(b, i)) || stage == STAGE_PLANTED_OUT)
            continue;
        BatchResult there;
        walk_batch(b, &past->window, i, &past->start, stage, past->segments, past->n_segments, &there);
        int grower, step;
        bool brought = false;
        for (int k = 0; !brought && opportunity(t, k, &grower, &step); k++) {
            for (int p = 0; p < b->s->garden->n_places && !brought; p++) {
                size_t mark = b->arena->used;
                if (board_place(b, p)->site == t->w->site && place_takes_trays(b, p) && !board_place(b, p)->indoors)
                    brought = bring(t, i, p, grower, step, &there);
                b->arena->used = mark;
            }
        }
    }
}

/* Whether the ground and the hours after `step` are fit for planting. */
static bool fit_to_plant(const Transfer *t, int batch, int step)
{
    const Board *b = t->b;
    const OutdoorStep *o = b->s->sites[t->w->site].steps;
    double rain = 0.0, gust = 0.0, sun = 0.0;
    for (int i = step - 24 * STEPS_PER_H; i < step; i++)
        rain += i >= 0 ? o[i].precipitation_mm : 0.0;
    for (int i = step; i < step + PLANT_SUN_STEPS && i < b->s->n_steps; i++) {
        gust = fmax(gust, o[i].gust_ms);
        sun += o[i].radiation_wm2 / PLANT_SUN_STEPS;
    }
    bool waited = board_utc(b, step) - b->ready_utc[batch] >= PLANT_PATIENCE_S;
    return rain <= SODDEN_MM && gust <= PLANT_GUST_MS && (sun <= PLANT_SUN_WM2 || waited);
}

static bool plant(Transfer *t, int batch, int grower, int step)
{
    Board *b = t->b;
    int place = b->s->batches[batch].destination, from = b->stand.places[batch];
    RampState ramp = b->stand.ramps[batch];
    PlanValue value;
    if (board_place(b, from)->site != t->w->site && !leave_at(t, batch, grower, step, &ramp))
        return false;
    schedule_copy(b, t->schedule, t->trial);
    int v = visit_at(t, grower, step);
    if (v < 0)
        return false;
    for (int k = v + 1; k <= t->trial->n_visits; k++)
        t->trial->places[k][batch] = place;
    RampState kept = b->stand.ramps[batch];
    b->stand.ramps[batch] = ramp;
    bool ok = evaluate_exact(b, t->w, &b->stand, t->trial, t->results, NULL, NULL, &value);
    b->stand.ramps[batch] = kept;
    if (!ok || t->results[batch].damage.odds > b->s->garden->risk.damage)
        return false;
    accept(t, &value, batch, &ramp);
    return true;
}

static void plant_ready(Transfer *t)
{
    Board *b = t->b;
    for (int i = 0; i < b->s->n_batches; i++) {
        int place = b->s->batches[i].destination, grower, step;
        if (b->ready_utc[i] == 0 || place < 0 || board_place(b, place)->site != t->w->site ||
            b->stand.stages[i] == STAGE_PLANTED_OUT)
            continue;
        for (int k = 0; opportunity(t, k, &grower, &step); k++) {
            size_t mark = b->arena->used;
            bool planted = board_utc(b, step) >= b->ready_utc[i] && fit_to_plant(t, i, step) &&
                           plant(t, i, grower, step);
            b->arena->used = mark;
            if (planted)
                break;
        }
    }
}

/* Home with it: indoors, where there is room, on a visit before the danger. */
static void take_home(Transfer *t, int batch)
{
    Board *b = t->b;
    double accepted = b->s->garden->risk.damage;
    int grower, step;
    for (int k = 0; opportunity(t, k, &grower, &step); k++) {
        int home = b->s->garden->growers[grower].home_site;
        for (int p = 0; p < b->s->garden->n_places; p++) {
            const Place *place = board_place(b, p);
            if (place->site != home || !place->indoors || place->kind == PLACE_PROPAGATOR || home == t->w->site ||
                !has_room(b, b->stand.places, p, batch))
                continue;
            PlanValue value;
            schedule_copy(b, t->schedule, t->trial);
            int v = visit_at(t, grower, step);
            if (v < 0)
                return;
            for (int s = v + 1; s <= t->trial->n_visits; s++)
                t->trial->places[s][batch] = p;
            size_t mark = b->arena->used;
            bool ok = evaluate_exact(b, t->w, &b->stand, t->trial, t->results, NULL, NULL, &value);
            b->arena->used = mark;
            if (ok && t->results[batch].damage.odds <= accepted && value.broken < t->value.broken) {
                schedule_copy(b, t->trial, t->schedule);
                t->value = value;
                return;
            }
        }
    }
}

bool transfer_window(Board *b, const Window *w, Schedule *schedule)
{
    if (b->s->garden->n_sites == 0 || w->n_slots == 0)
        return true;
    Transfer t = {.b = b, .w = w, .schedule = schedule, .trial = schedule_new(b, &b->stand),
                  .results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult)};
    if (b->arena->failed ||
        !evaluate_exact(b, w, &b->stand, schedule, t.results, NULL, NULL, &t.value))
        return false;
    for (int i = 0; i < b->s->n_batches; i++) {
        bool here = board_place(b, b->stand.places[i])->site == w->site;
        bool lost = here && t.results[i].damage.odds > b->s->garden->risk.damage;
        if (lost && b->stand.stages[i] != STAGE_PLANTED_OUT && used_visits(&t, schedule) <= w->cap)
            take_home(&t, i);
    }
    plant_ready(&t);
    bring_batches(&t);
    return !b->arena->failed;
}
