/* SPDX-License-Identifier: MIT */
/*
 * One batch through a window: what it meets, what that does to it, and which limits it passes.
 * The forecast's error is one shift of the whole night, so the chance of damage comes from the step with
 * the fewest standard deviations left: one threshold, exactly.
 */
#include "plan/board.h"
#include "plan/marks.h"

#include <math.h>

/* Until covers are calibrated, shut ones in full sun may be this much hotter than computed; chosen. */
#define SHUT_HEAT_ALLOWANCE_K 8.0
#define FULL_SUN_WM2 500.0          /* on the plants; chosen */
#define HEAT_LIGHT_WM2 50.0         /* below it heat is no matter; chosen */
#define OVERCAST 0.875              /* 7/8 */
#define FROZEN_C 1.0                /* plants at or below are left alone */
#define UNKNOWN_POSITION_SPREAD_K 3.0 /* a cover that nobody reported on; chosen */
/* Harm of passing a limit that has no odds, batch-days; chosen. */
#define HARM_HEAT_PER_KH 0.5
#define HARM_GUST 3.0
#define HARM_SCORCH_PER_H 0.5
#define HARM_OPEN_TOO_SOON 1.0
#define HARM_SETTLING_PER_H 0.2
#define HELD_SLACK 0.25             /* share of D that a held batch may fall on the mean */

typedef struct Walk {
    const Board *board;
    const Window *window;
    const Batch *batch;
    const Crop *crop;
    Stage stage;
    int batch_index;
    bool hardening;
    RampState ramp;
    double survive, night_z, day_spread, day_low;
    int night_step, night_place, day_low_step, day_low_place, day_ahead;
    double settling_h;
    BatchResult *ret;
} Walk;

void segment_fill(const Board *b, int place, const int *positions, Track track, int from, int to, Segment *ret)
{
    const Place *p = board_place(b, place);
    const Chain *chain = &b->s->chains[b->chain_of[place]];
    int layer = b->layer_of[place], at[CHAIN_LAYERS_MAX];
    for (int l = 0; l < chain->n; l++)
        at[l] = positions[chain->layers[l].place];
    *ret = (Segment){.from = from,
                     .to = to,
                     .place = place,
                     .layer = layer,
                     .stride = chain->n,
                     .track = track,
                     .outdoor = b->s->sites[p->site].steps,
                     .marks = b->marks[p->site],
                     .weight_clear = chain_exposure_weight(chain, at, layer, 0.0),
                     .weight_dull = chain_exposure_weight(chain, at, layer, 1.0),
                     .shelter = chain_shelter(chain, at, layer),
                     .spread_k = chain_spread_k(chain, layer)};
    ret->uncovered = !p->indoors && ret->shelter == 0.0;
    ret->shut = !p->indoors && ret->weight_clear == 0.0;
}

/*
 * Spread of the air in a segment at a step. A later window is decided anew when it comes, so it is judged with
 * the spread that its own forecast will have: that of the same lead from the window's start.
 */
static double step_spread(const Walk *w, const Segment *s, int step)
{
    if (w->board->s->garden->places[s->place].indoors)
        return s->spread_k;
    double issued = s->outdoor[step].spread_k, then = s->outdoor[step - w->window->first].spread_k;
    double model = w->batch->position_unknown ? fmax(s->spread_k, UNKNOWN_POSITION_SPREAD_K) : s->spread_k;
    return hypot(fmin(issued, then), model);
}

static void night_over(Walk *w)
{
    if (!isfinite(w->night_z))
        return;
    double odds = ramp_normal_below(-w->night_z), accepted = w->board->s->garden->risk.damage;
    w->survive *= 1.0 - odds;
    w->ret->broken += w->board->s->weights.lost_batch * fmax(0.0, odds - accepted);
    if (odds >= w->ret->damage.odds) {
        w->ret->damage.odds = odds;
        w->ret->damage.step = w->night_step;
        w->ret->damage.place = w->night_place;
    }
    w->night_z = INFINITY;
}

/* The ramp day ends: what it is expected to cost, before it becomes part of the batch. */
static void day_over(Walk *w, int step)
{
    const Board *b = w->board;
    RampState *ramp = &w->ramp;
    night_over(w);
    if (w->stage != STAGE_PLANTED_OUT && ramp->day_steps > 0) {
        double drop = ramp_drop_k(w->crop, ramp), budget = RAMP_BUDGET_H * drop;
        double spread = w->day_spread * (double)w->day_ahead / (double)ramp->day_steps;
        double cold = ramp_cold_c(ramp->day_air_c, ramp->day_steps, ramp->hardened_to_c);
        double share =
            ramp_expected_excess_kh(w->crop, ramp, ramp->day_air_c, ramp->day_steps, spread) / budget;
        double allowed = ramp_allowed_low_c(w->crop, ramp);
        if (ramp->hold_days > 0 && cold < ramp->hardened_to_c - HELD_SLACK * drop)
            share = fmax(share, (ramp->hardened_to_c - cold) / drop * b->s->garden->risk.check * 2.0);
        w->ret->checks += b->s->weights.check * share;
        w->ret->broken += b->s->weights.check * fmax(0.0, share - b->s->garden->risk.check);
        if (isnan(w->ret->check.value) || share > w->ret->check.spread) {
            double odds = spread > 0.0 ? ramp_normal_below((allowed - cold) / spread) : (cold < allowed ? 1.0 : 0.0);
            w->ret->check = (Finding){.step = w->day_low_step, .place = w->day_low_place, .crossing = -1,
                                      .value = cold, .limit = allowed, .spread = share, .odds = odds};
        }
        w->ret->ramp_day_cold_c = cold;
    }
    ramp_close_day(w->crop, w->hardening, board_utc(b, step), ramp);
    w->day_low = INFINITY;
    w->day_ahead = 0;
    w->ret->open_too_soon = false;
}

static void note_damage(Walk *w, const Segment *s, const PlaceStep *met, int step, double spread)
{
    double limit = ramp_damage_c(w->crop, &w->ramp);
    double z = (met->leaf_c - limit) / spread;
    if (z < w->night_z) {
        w->night_z = z;
        w->night_step = step;
        w->night_place = s->place;
    }
    if (z < w->board->damage_z && w->ret->damage.crossing < 0)
        w->ret->damage.crossing = step;
    if (met->leaf_c < w->ret->damage.value || isnan(w->ret->damage.value)) {
        w->ret->damage.value = met->leaf_c;
        w->ret->damage.limit = limit;
        w->ret->damage.spread = spread;
    }
}

static void note_heat(Walk *w, const Segment *s, const PlaceStep *met, int step)
{
    if (s->uncovered || met->light_wm2 < HEAT_LIGHT_WM2)
        return;
    double extra = s->shut ? SHUT_HEAT_ALLOWANCE_K * fmin(1.0, met->light_wm2 / FULL_SUN_WM2) : 0.0;
    double air = met->air_c + extra, over = air - w->crop->heat_limit_c;
    if (over > 0.0) {
        w->ret->broken += HARM_HEAT_PER_KH * over / STEPS_PER_H;
        if (w->ret->heat.crossing < 0)
            w->ret->heat.crossing = step;
    }
    if (isnan(w->ret->heat.value) || air > w->ret->heat.value)
        w->ret->heat = (Finding){.step = step, .place = s->place, .crossing = w->ret->heat.crossing,
                                 .value = air, .limit = w->crop->heat_limit_c, .spread = extra, .odds = NAN};
}

static void note_gust(Walk *w, const Segment *s, int step)
{
    double gust = s->outdoor[step].gust_ms, limit = ramp_gust_limit_ms(&w->ramp);
    if (!s->uncovered)
        return;
    if (gust > limit && w->ret->gust.crossing < 0) {
        w->ret->broken += HARM_GUST;
        w->ret->gust.crossing = step;
    }
    if (isnan(w->ret->gust.value) || gust > w->ret->gust.value)
        w->ret->gust = (Finding){.step = step, .place = s->place, .crossing = w->ret->gust.crossing,
                                 .value = gust, .limit = limit, .spread = 0.0, .odds = NAN};
}

static void note_exposure(Walk *w, const Segment *s, int step, double weight, bool night)
{
    double limit = ramp_allowance_h(&w->ramp) + RAMP_SCORCH_OVER_H;
    /* From open nights on it lives in the open: long June days are no scorch any more. */
    bool tender = w->ramp.exposure_days < RAMP_NIGHTS_FROM;
    if (tender && w->ramp.exposed_h > limit && weight > 0.0) {
        w->ret->broken += HARM_SCORCH_PER_H * weight / STEPS_PER_H;
        if (w->ret->scorch.crossing < 0)
            w->ret->scorch = (Finding){.step = step, .place = s->place, .crossing = step,
                                       .value = w->ramp.exposed_h, .limit = limit, .odds = NAN};
    }
    if (night && s->uncovered && w->ramp.exposure_days < RAMP_NIGHTS_FROM && !w->ret->open_too_soon) {
        w->ret->broken += HARM_OPEN_TOO_SOON;
        w->ret->open_too_soon = true;
    }
}

static void walk_step(Walk *w, const Segment *s, int step)
{
    const PlaceStep *met = &s->track.steps[(step - s->track.first) * s->stride + s->layer];
    uint8_t marks = s->marks[step];
    bool night = marks & MARK_NIGHT, settling = w->batch->settled_utc > board_utc(w->board, step);
    double weight = 0.0, spread = step_spread(w, s, step);
    if (marks & MARK_DAYLIGHT)
        weight = s->outdoor[step].cloud >= OVERCAST ? s->weight_dull : s->weight_clear;
    RampStep in = {.air_c = met->air_c, .leaf_c = met->leaf_c, .exposure_weight = weight,
                   .shelter = s->shelter, .night = night};
    ramp_step(w->crop, &in, &w->ramp);
    w->day_ahead++;
    if (met->air_c < w->day_low) {
        w->day_low = met->air_c;
        w->day_low_step = step;
        w->day_low_place = s->place;
        w->day_spread = spread;
    }
    note_damage(w, s, met, step, spread);
    if (w->stage == STAGE_PLANTED_OUT)
        return;
    note_heat(w, s, met, step);
    note_gust(w, s, step);
    note_exposure(w, s, step, weight, night);
    if (settling && weight > 0.0)
        w->ret->broken += HARM_SETTLING_PER_H * weight / STEPS_PER_H;
}

static double delay_of(const Walk *w)
{
    const Board *b = w->board;
    int d = b->destination_of[w->batch_index];
    if (!board_is_hardening(b, w->batch_index) || w->stage == STAGE_PLANTED_OUT)
        return 0.0;
    return ramp_days_missing(w->crop, &w->ramp, b->destination_cold_c[w->batch_index],
                             d >= 0 ? b->destinations[d].shelter : 0.0,
                             d >= 0 && b->destinations[d].under_cover);
}

void walk_batch(const Board *b, const Window *window, int batch, const RampState *start, Stage stage,
                const Segment *segments, int n_segments, BatchResult *ret)
{
    *ret = (BatchResult){.damage = {.crossing = -1, .value = NAN, .odds = 0.0},
                         .check = {.crossing = -1, .value = NAN},
                         .heat = {.crossing = -1, .value = NAN},
                         .gust = {.crossing = -1, .value = NAN},
                         .scorch = {.crossing = -1, .value = NAN},
                         .frozen = {.crossing = -1, .value = NAN},
                         .ramp_day_cold_c = NAN};
    Walk w = {.board = b, .window = window, .batch = &b->s->batches[batch], .crop = board_crop(b, batch),
              .stage = stage, .batch_index = batch, .ramp = *start, .survive = 1.0, .night_z = INFINITY,
              .day_low = INFINITY, .ret = ret};
    bool hardening = stage == STAGE_HARDENING || stage == STAGE_READY, saved = false;
    const uint8_t *marks = NULL;
    for (int k = 0; k < n_segments; k++) {
        const Segment *s = &segments[k];
        marks = s->marks;
        /* Hardening begins where the batch first stands out of the building. */
        hardening = hardening || (b->may_harden[batch] && !board_place(b, s->place)->indoors);
        w.hardening = hardening;
        for (int step = s->from; step < s->to; step++) {
            if (step == window->end) {
                ret->ramp_at_end = w.ramp;
                saved = true;
            }
            if (marks[step] & MARK_CLOSES)
                day_over(&w, step);
            walk_step(&w, s, step);
        }
    }
    if (!saved)
        ret->ramp_at_end = w.ramp;
    if (marks != NULL && n_segments > 0 && (marks[window->eval_end] & MARK_CLOSES))
        day_over(&w, window->eval_end);
    else
        night_over(&w);
    ret->loss = b->s->weights.lost_batch * (1.0 - w.survive);
    ret->delay = delay_of(&w);
    if (isnan(ret->damage.value))
        ret->damage.odds = NAN;
}
