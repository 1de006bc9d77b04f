/* SPDX-License-Identifier: MIT */
/*
 * One batch through a window: what it meets, what that does to it, and which limits it passes.
 * The forecast's error is one shift of the whole night, so the chance of damage comes from the step
 * with the fewest standard deviations left: one threshold, exactly.
 */
#include "plan/walk.h"
#include "plan/errors.h"
#include "plan/marks.h"
#include "plan/outlook.h"

#include <math.h>

/* Heat is judged by what the air reaches in one case of ten; chosen: noon heat checks before it
 * kills, and a rule for one in a hundred would never leave a cover shut. */
#define HEAT_SD 1.2816
#define PROPPED_SURER 0.5             /* of a shut cover's noon error under a propped one; chosen */
#define HEAT_LIGHT_WM2 50.0           /* below it heat is no matter; chosen */
#define UNKNOWN_POSITION_SPREAD_K 3.0 /* a cover that nobody reported on; chosen */
#define NOT_AGAIN 2.0 /* a batch that cannot be sown again in time counts for so many; chosen */
/* Harm of passing a limit that has no odds, batch-days; chosen. */
#define HARM_HEAT_PER_KH 0.5
#define HARM_SETTLING_PER_H 0.2
#define HARM_CHILL_A_DAY                                                                           \
    0.1                 /* of the batch, each day of cold beyond those that spoil it; chosen       \
                         */
#define HELD_SLACK 0.25 /* share of D that a held batch may fall on the mean; chosen */

typedef struct Walk {
    const Board *board;
    const Window *window;
    const Batch *batch;
    const Crop *crop;
    Stage stage;
    int batch_index;
    bool hardening, night_counted, gust_counted;
    RampState ramp;
    double worth; /* batch-days lost with it */
    double judged, chill_left_h;
    double survive, day_spread, day_low, open_h, fleece_h;
    int day_low_step, day_low_place, day_ahead;
    Finding night; /* the step of this night with the fewest deviations left, kept in `odds` */
    BatchResult *ret;
} Walk;

double walk_worth(const Board *b, int batch)
{
    return b->s->weights.lost_batch * (b->s->batches[batch].resowable ? 1.0 : NOT_AGAIN);
}

int planted_ground(const Board *b, int place)
{
    const Place *p = board_place(b, place);
    if (p->kind == PLACE_FLEECE && p->parent >= 0)
        return p->parent;
    return place;
}

void segment_fill(const Board *b, int place, const int *positions, Track track, int from, int to,
                  Segment *ret)
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
                     .spread_k = errors_of(b->s, chain, at, layer).of[EXTREME_LOW].spread_k,
                     .noon_spread_k = errors_of(b->s, chain, at, layer).of[EXTREME_HIGH].spread_k,
                     .open_share = chain_open_share(chain, at, layer),
                     .position = cover_error_position(chain, at, layer)};
    ret->indoors = p->indoors;
    ret->uncovered = !p->indoors && ret->shelter == 0.0;
    ret->shut = !p->indoors && ret->weight_clear == 0.0;
}

/*
 * What of the open air's spread is in a segment at a step. A later window is decided anew when it
 * comes, so it is judged with the spread that its own forecast will have: that of the same lead
 * from the window's start.
 */
static double open_spread(const Walk *w, const Segment *s, int step)
{
    double issued = errors_outdoor_k(w->board->s, board_site(w->board, s->place), step),
           then = s->outdoor[step - w->window->first].spread_k;
    return s->open_share * fmin(issued, then);
}

/* Spread of the air in a segment at a step. */
static double step_spread(const Walk *w, const Segment *s, int step)
{
    const Snapshot *snapshot = w->board->s;
    if (s->indoors)
        return s->spread_k;
    double own = errors_own_k2(snapshot, s->place, s->position, step, s->spread_k);
    if (w->batch->position_unknown)
        own = fmax(own, UNKNOWN_POSITION_SPREAD_K * UNKNOWN_POSITION_SPREAD_K);
    return errors_sum_k(open_spread(w, s, step), own);
}

static void harm(Walk *w, Finding *f, double batch_days)
{
    f->harm += batch_days;
    w->ret->broken += batch_days;
}

static void crosses(const Walk *w, Finding *f, int step)
{
    if (f->crossing < 0 && step >= w->board->crossing_from)
        f->crossing = step;
}

/* A night that ends so soon is the last one to a grower who asks about tonight; chosen. */
#define LAST_NIGHT_S (3 * 3600)

static bool is_tonight(const Walk *w, int step)
{
    return board_utc(w->board, step) - w->board->s->now_utc >= LAST_NIGHT_S;
}

static void night_over(Walk *w, int step)
{
    Finding *d = &w->ret->damage;
    if (!isfinite(w->night.odds))
        return;
    double odds = odds_of_margin(w->night.odds), accepted = w->board->s->garden->risk.damage;
    w->survive *= 1.0 - odds;
    harm(w, d, w->worth * fmax(0.0, odds - accepted));
    if (isnan(d->value) || odds > d->odds ||
        (odds == d->odds && w->night.value - w->night.limit < d->value - d->limit)) {
        d->step = w->night.step;
        d->place = w->night.place;
        d->value = w->night.value;
        d->limit = w->night.limit;
        d->spread = w->night.spread;
        d->odds = odds;
    }
    if (isnan(w->ret->tonight.value) && is_tonight(w, step)) {
        w->ret->tonight = w->night;
        w->ret->tonight.odds = odds;
    }
    w->night.odds = INFINITY;
}

/* Expected check of the ramp day as a share of its budget. A held batch may hardly fall at all. */
static double check_share(const Walk *w, double spread)
{
    const RampState *ramp = &w->ramp;
    double drop = ramp_drop_k(w->crop, ramp);
    double share =
        ramp_expected_excess_kh(w->crop, ramp, ramp->day_air_c, ramp->day_steps, spread) /
        (RAMP_BUDGET_H * drop);
    if (ramp->hold_days == 0)
        return share;
    double cold = ramp_cold_c(ramp->day_air_c, ramp->day_steps, ramp->hardened_to_c);
    double over = (ramp->hardened_to_c - cold) / drop - HELD_SLACK;
    return over > 0.0 ? fmax(share, w->board->s->garden->risk.check + over) : share;
}

static void note_check(Walk *w, int step, double full, double allowed, double cold, double spread)
{
    const Snapshot *s = w->board->s;
    Finding *c = &w->ret->check;
    double share = fmax(0.0, full - w->judged);
    w->ret->checks += s->weights.check * share;
    harm(w, c, s->weights.check * fmax(0.0, full - fmax(w->judged, s->garden->risk.check)));
    if (isnan(c->value) || share > w->ret->check_share) {
        w->ret->check_share = share;
        c->step = w->day_low_step;
        c->place = w->day_low_place;
        c->value = cold;
        c->limit = allowed;
        c->spread = spread;
        c->odds = odds_of_margin(odds_margin(cold, spread, allowed));
    }
    w->ret->joined_share = full;
    if (isnan(w->ret->ramp_day_cold_c) && is_tonight(w, step))
        w->ret->ramp_day_cold_c = cold;
}

/* The ramp day ends: what it is expected to cost, as it becomes part of the batch. */
static void day_over(Walk *w, int step)
{
    RampState *ramp = &w->ramp;
    bool judge = w->stage != STAGE_PLANTED_OUT && ramp->day_steps > 0;
    bool settling = w->batch->settled_utc > board_utc(w->board, step);
    /* What has passed is known: only the coldest hours still ahead are uncertain. */
    double spread = w->day_spread * fmin(1.0, (double)w->day_ahead / RAMP_COLD_STEPS);
    double full = judge ? check_share(w, spread) : 0.0, allowed = ramp_allowed_low_c(w->crop, ramp);
    night_over(w, step);
    RampDay day =
        ramp_close_day(w->crop, w->hardening && !settling, board_utc(w->board, step), ramp);
    if (judge)
        note_check(w, step, full, allowed, day.cold_c, spread);
    w->judged = 0.0;
    w->day_low = INFINITY;
    w->day_ahead = 0;
    w->open_h = 0.0;
    w->night_counted = w->gust_counted = false;
}

static void note_damage(Walk *w, const Segment *s, const PlaceStep *met, int step, double spread)
{
    double limit = ramp_damage_c(w->crop, &w->ramp);
    double z = (met->leaf_c - limit) / spread;
    if (z < w->board->damage_z)
        crosses(w, &w->ret->damage, step);
    if (z < w->night.odds)
        w->night = (Finding){.step = step,
                             .place = s->place,
                             .value = met->leaf_c,
                             .limit = limit,
                             .spread = spread,
                             .odds = z};
}

/* What the air of noon may reach, and its spread. */
static double noon_c(const Walk *w, const Segment *s, const PlaceStep *met, int step,
                     double *ret_spread)
{
    double sun = fmin(1.0, met->light_wm2 / COVER_FULL_SUN_WM2);
    double own = sun * s->noon_spread_k * (s->shut ? 1.0 : PROPPED_SURER);
    *ret_spread = errors_sum_k(open_spread(w, s, step), own * own);
    return met->air_c + HEAT_SD * *ret_spread;
}

static void note_heat(Walk *w, const Segment *s, const PlaceStep *met, int step)
{
    Finding *f = &w->ret->heat;
    if (s->uncovered || s->indoors || met->light_wm2 < HEAT_LIGHT_WM2)
        return;
    double spread = 0.0, air = noon_c(w, s, met, step, &spread);
    double limit = ramp_heat_limit_c(w->crop, w->stage);
    double over = air - limit;
    if (over > 0.0) {
        w->ret->heat_kh += over / STEPS_PER_H;
        harm(w, f, HARM_HEAT_PER_KH * over / STEPS_PER_H);
        crosses(w, f, step);
    }
    if (isnan(f->value) || air > f->value) {
        f->step = step;
        f->place = s->place;
        f->value = air;
        f->limit = limit;
        f->spread = spread;
        f->odds = odds_of_margin((limit - met->air_c) / spread);
        f->position = board_place(w->board, s->place)->covered ? s->position : -1;
    }
}

static void note_gust(Walk *w, const Segment *s, int step)
{
    Finding *f = &w->ret->gust;
    double gust = s->outdoor[step].gust_ms, limit = ramp_gust_limit_ms(&w->ramp);
    if (!s->uncovered)
        return;
    if (gust > limit) {
        harm(w, f, w->gust_counted ? 0.0 : HARM_GUST);
        w->gust_counted = true;
        crosses(w, f, step);
    }
    if (isnan(f->value) || gust > f->value) {
        f->step = step;
        f->place = s->place;
        f->value = gust;
        f->limit = limit;
    }
}

static void note_here(Walk *w, const Segment *s, Finding *f, int step, double value, double limit)
{
    crosses(w, f, step);
    f->step = step;
    f->place = s->place;
    f->value = value;
    f->limit = limit;
}

/* Cold that spoils the harvest: free until its days are used up, then every hour counts. */
static void note_chill(Walk *w, const Segment *s, const PlaceStep *met, int step)
{
    Finding *f = &w->ret->chill;
    if (w->stage == STAGE_PLANTED_OUT || !(met->air_c < w->crop->chill_below_c))
        return;
    w->chill_left_h -= 1.0 / STEPS_PER_H;
    if (w->chill_left_h >= 0.0)
        return;
    harm(w, f, w->worth * HARM_CHILL_A_DAY / (24.0 * STEPS_PER_H));
    crosses(w, f, step);
    if (isnan(f->value) || met->air_c < f->value) {
        f->step = step;
        f->place = s->place;
        f->value = met->air_c;
        f->limit = w->crop->chill_below_c;
        f->spread = step_spread(w, s, step);
    }
}

static void note_exposure(Walk *w, const Segment *s, int step, double weight, bool night)
{
    double limit = ramp_allowance_h(&w->ramp) + RAMP_SCORCH_OVER_H, hours = weight / STEPS_PER_H;
    bool tender = w->ramp.exposure_days < RAMP_NIGHTS_FROM;
    if (ramp_scorches(&w->ramp, weight)) {
        harm(w, &w->ret->scorch, HARM_SCORCH_PER_H * hours);
        note_here(w, s, &w->ret->scorch, step, w->ramp.exposed_h, limit);
    }
    if (tender && night && s->uncovered) {
        w->open_h += 1.0 / STEPS_PER_H;
        if (w->open_h > OPEN_NIGHT_GRACE_H && !w->night_counted) {
            w->night_counted = true;
            harm(w, &w->ret->open_night, HARM_OPEN_TOO_SOON);
            note_here(w, s, &w->ret->open_night, step, w->ramp.exposure_days, RAMP_NIGHTS_FROM);
        }
    }
    if (weight > 0.0 && w->batch->settled_utc > board_utc(w->board, step)) {
        harm(w, &w->ret->settling, HARM_SETTLING_PER_H * hours);
        note_here(w, s, &w->ret->settling, step, hours, 0.0);
    }
}

static void walk_step(Walk *w, const Segment *s, int step)
{
    const PlaceStep *met = &s->track.steps[(step - s->track.first) * s->stride + s->layer];
    uint8_t marks = s->marks[step];
    bool night = marks & MARK_NIGHT;
    double weight = 0.0, spread = step_spread(w, s, step);
    if (marks & MARK_DAYLIGHT)
        weight = s->outdoor[step].cloud >= OVERCAST ? s->weight_dull : s->weight_clear;
    RampStep in = {.air_c = met->air_c,
                   .leaf_c = met->leaf_c,
                   .exposure_weight = weight,
                   .shelter = s->shelter,
                   .night = night};
    ramp_step(w->crop, &in, &w->ramp);
    w->day_ahead++;
    if (met->air_c < w->day_low) {
        w->day_low = met->air_c;
        w->day_low_step = step;
        w->day_low_place = s->place;
        w->day_spread = spread;
    }
    note_damage(w, s, met, step, spread);
    note_chill(w, s, met, step);
    if (w->stage != STAGE_PLANTED_OUT) {
        note_heat(w, s, met, step);
        note_gust(w, s, step);
        note_exposure(w, s, step, weight, night);
    } else if (!s->uncovered && s->place != w->batch->destination) {
        note_heat(w, s, met, step);
        w->fleece_h += marks & MARK_DAYLIGHT ? 1.0 / STEPS_PER_H : 0.0;
    }
}

static double delay_of(const Walk *w)
{
    const Board *b = w->board;
    if (w->stage == STAGE_PLANTED_OUT)
        return FLEECE_LEFT_ON_PER_H * w->fleece_h;
    if (!board_is_hardening(b, w->batch_index, w->window->first))
        return 0.0;
    return (1.0 + b->work_ahead) * outlook_missing(b, w->batch_index, &w->ramp);
}

static void begin(Walk *w, BatchResult *ret)
{
    const Finding none = {.step = -1,
                          .place = -1,
                          .position = -1,
                          .crossing = -1,
                          .value = NAN,
                          .limit = NAN,
                          .spread = NAN,
                          .odds = NAN};
    *ret = (BatchResult){.ramp_day_cold_c = NAN};
    ret->damage = ret->check = ret->chill = ret->heat = ret->gust = none;
    ret->scorch = ret->open_night = ret->settling = ret->frozen = ret->tonight = none;
    w->night.odds = INFINITY;
    w->survive = 1.0;
    w->day_low = INFINITY;
    w->worth = walk_worth(w->board, w->batch_index);
    w->ret = ret;
}

static Walk walk_new(const Board *b, const Window *window, int batch, const BatchStart *start)
{
    return (Walk){.board = b,
                  .window = window,
                  .batch = &b->s->batches[batch],
                  .crop = board_crop(b, batch),
                  .stage = start->stage,
                  .batch_index = batch,
                  .hardening = start->stage == STAGE_HARDENING || start->stage == STAGE_READY,
                  .ramp = start->ramp,
                  .judged = start->judged,
                  .chill_left_h = start->chill_left_h};
}

RampState walk_ramp(const Board *b, const Window *window, int batch, const BatchStart *start,
                    const Segment *s)
{
    Walk w = walk_new(b, window, batch, start);
    BatchResult result;
    begin(&w, &result);
    w.hardening = w.hardening || (b->hardens_from[batch] <= window->first && !s->indoors);
    for (int step = s->from; step < s->to; step++) {
        if (s->marks[step] & MARK_CLOSES)
            day_over(&w, step);
        walk_step(&w, s, step);
    }
    return w.ramp;
}

WalkLeast walk_least(const Board *b, const Window *window, int batch, const Segment *s, int from,
                     int to, double damage_c)
{
    const BatchStart start = {.stage = b->stand.stages[batch]};
    Walk w = walk_new(b, window, batch, &start);
    BatchResult result;
    WalkLeast least = {.margin = INFINITY};
    begin(&w, &result);
    for (int step = from; step < to; step++) {
        const PlaceStep *met = &s->track.steps[(step - s->track.first) * s->stride + s->layer];
        least.margin = fmin(least.margin, (met->leaf_c - damage_c) / step_spread(&w, s, step));
        note_heat(&w, s, met, step);
    }
    least.heat_harm = result.heat.harm;
    return least;
}

void walk_batch(const Board *b, const Window *window, int batch, const BatchStart *start,
                const Segment *segments, int n_segments, BatchResult *ret)
{
    Walk w = walk_new(b, window, batch, start);
    bool saved = false;
    int last = window->first;
    begin(&w, ret);
    for (int k = 0; k < n_segments; k++) {
        const Segment *s = &segments[k];
        if (s->planted)
            w.stage = STAGE_PLANTED_OUT;
        /* Hardening begins where the batch first stands out of the building. */
        w.hardening = w.hardening || (b->hardens_from[batch] <= window->first && !s->indoors);
        for (int step = s->from; step < s->to; step++) {
            if (step == window->end) {
                ret->ramp_at_end = w.ramp;
                ret->chill_left_h = w.chill_left_h;
                saved = true;
            }
            if (s->marks[step] & MARK_CLOSES)
                day_over(&w, step);
            walk_step(&w, s, step);
        }
        last = s->to;
    }
    if (!saved) {
        ret->ramp_at_end = w.ramp;
        ret->chill_left_h = w.chill_left_h;
    }
    /* The ramp day that ends just here is judged; one that goes on is judged for its night so far.
     */
    if (n_segments > 0 && last == window->eval_end && window->joins) {
        day_over(&w, last);
    } else {
        night_over(&w, last);
        ret->joined_share = 0.0;
    }
    ret->survive = w.survive;
    ret->loss = w.worth * (1.0 - w.survive);
    ret->delay = delay_of(&w);
}
