/* SPDX-License-Identifier: MIT */
/* Whether a batch is ready, what binds it, and what lies ahead of it. */
#include "odds/odds.h"
#include "plan/marks.h"
#include "plan/outlook.h"
#include "plan/sowing.h"

#include <math.h>

#define READY_NIGHTS 3 /* nights at the destination that must be within budget and floor */
#define DAY_S 86400
#define WEEK_S (7 * DAY_S)
#define READY_SD 1.2816 /* of the normal distribution: a tenth lies beyond on either side */
#define READY_LEAST                                                                                \
    (2.0 / 3.0)        /* of the days missing: days and nights in the open go together, and        \
                          a soft batch that misses twelve is ready after eight (ramp.md) */
#define READY_USED 0.6 /* of the days of a ramp are used, the others lost; chosen */
#define SEASON_BACK_S ((int64_t)90 * DAY_S) /* further back no season is looked for; chosen */

static Reason bound_by(int batch, LimitKind limit)
{
    return (Reason){.limit = limit,
                    .batch = batch,
                    .place = -1,
                    .predicted_c = NAN,
                    .spread_k = NAN,
                    .limit_c = NAN,
                    .odds = NAN,
                    .otherwise_odds = NAN,
                    .otherwise_c = NAN};
}

static int64_t planting_size_utc(const Board *b, int batch)
{
    const Batch *x = &b->s->batches[batch];
    double weeks = x->bought ? 0.0 : board_crop(b, batch)->weeks_to_plant;
    return plan_weeks_from(b->s->garden, x) + (int64_t)(weeks * WEEK_S);
}

/*
 * What the forecast of a night may still change by until it is judged: of its variance, that which
 * is gone by then, `sd` standard deviations of it.
 */
static double shift_k(const DestinationNights *d, int night, int ahead, double sd)
{
    const double now = d->spread_k[night], then = fmin(now, d->spread_k[ahead]);
    return sd * sqrt(fmax(0.0, now * now - then * then));
}

/* The next nights at the destination, judged as they will be when their day comes; with forecasts
 * that come out `sd` standard deviations warmer. */
static bool nights_there(const Board *b, int batch, const RampState *ramp, int step, double sd,
                         Reason *ret)
{
    const DestinationNights *d = &b->destinations[b->destination_of[batch]];
    const Crop *crop = board_crop(b, batch);
    const Risk *risk = &b->s->garden->risk;
    int first = 0;
    while (first < d->n && d->ends[first] <= step)
        first++;
    if (first + 1 > d->n)
        return false;
    for (int k = first; k < first + READY_NIGHTS && k < d->n; k++) {
        double air[RAMP_DAY_STEPS_MAX];
        const double warmer_k = shift_k(d, k, k - first, sd);
        for (int i = 0; i < d->steps[k]; i++)
            air[i] = d->air_c[(ptrdiff_t)k * RAMP_DAY_STEPS_MAX + i] + warmer_k;
        double spread = fmin(d->spread_k[k], d->spread_k[k - first]);
        double share = ramp_expected_excess_kh(crop, ramp, air, d->steps[k], spread) /
                       (RAMP_BUDGET_H * ramp_drop_k(crop, ramp));
        double damage = ramp_damage_c(crop, ramp), leaf = d->leaf_low_c[k] + warmer_k;
        double odds = odds_of_margin(odds_margin(leaf, spread, damage));
        if (odds <= risk->damage && share <= risk->check)
            continue;
        *ret = bound_by(batch, LIMIT_DESTINATION);
        ret->place = d->place;
        ret->at_utc = board_utc(b, d->ends[k]);
        ret->spread_k = spread;
        if (odds > risk->damage) {
            ret->predicted_c = leaf;
            ret->limit_c = damage;
            ret->odds = odds;
        } else {
            ret->predicted_c = ramp_cold_c(air, d->steps[k], ramp->hardened_to_c);
            ret->limit_c = ramp_allowed_low_c(crop, ramp);
            ret->odds = odds_of_margin(odds_margin(ret->predicted_c, spread, ret->limit_c));
        }
        return false;
    }
    double soil = d->soil_at_eight_c[first] + shift_k(d, first, 0, sd);
    if (soil < crop->soil_at_planting_c) {
        *ret = bound_by(batch, LIMIT_SOIL);
        ret->place = d->place;
        ret->predicted_c = soil;
        ret->limit_c = crop->soil_at_planting_c;
        ret->at_utc = board_utc(b, d->ends[first]);
        return false;
    }
    return true;
}

/* It waits until a frost that would harm it is unlikely to come any more. */
static Reason late_frost(const Board *b, int batch, int64_t utc)
{
    const Batch *x = &b->s->batches[batch];
    Reason reason = bound_by(batch, LIMIT_DESTINATION);
    reason.place = x->destination;
    reason.at_utc = plan_season_from(b->s->garden, x, utc);
    reason.odds = plan_late_frost_odds(b->s->garden, x, utc);
    reason.estimated = EST_TEMPERATURE;
    return reason;
}

/* Whether the batch, in this state at this step, could be planted; else what is wanting. `sd`: see
 * nights_there(). */
static bool is_ready(const Board *b, int batch, Stage stage, const RampState *ramp, int step,
                     double sd, Reason *ret)
{
    const DestinationNights *d =
        b->destination_of[batch] >= 0 ? &b->destinations[b->destination_of[batch]] : NULL;
    int64_t utc = board_utc(b, step);
    if (d == NULL) {
        *ret = bound_by(batch, LIMIT_DESTINATION);
        return false;
    }
    if (b->s->batches[batch].settled_utc > utc) {
        *ret = bound_by(batch, LIMIT_SETTLING);
        ret->at_utc = b->s->batches[batch].settled_utc;
        return false;
    }
    if (planting_size_utc(b, batch) > utc) {
        *ret = bound_by(batch, LIMIT_SIZE);
        ret->at_utc = planting_size_utc(b, batch);
        return false;
    }
    if (plan_late_frost_odds(b->s->garden, &b->s->batches[batch], utc) > LATE_FROST_ODDS) {
        *ret = late_frost(b, batch, utc);
        return false;
    }
    if (ramp->hold_days > 0) {
        *ret = bound_by(batch, LIMIT_HOLD);
        ret->at_utc = utc + (int64_t)ramp->hold_days * DAY_S;
        return false;
    }
    if ((stage != STAGE_HARDENING && stage != STAGE_READY) ||
        ramp->exposure_days < d->exposure_needed) {
        *ret = bound_by(batch, LIMIT_EXPOSURE);
        ret->predicted_c = ramp->exposure_days;
        ret->limit_c = d->exposure_needed;
        return false;
    }
    if (ramp_nights_had(ramp, d->shelter) < RAMP_NIGHTS_NEEDED) {
        *ret = bound_by(batch, LIMIT_NIGHTS);
        ret->predicted_c = ramp_nights_had(ramp, d->shelter);
        ret->limit_c = RAMP_NIGHTS_NEEDED;
        return false;
    }
    return nights_there(b, batch, ramp, step, sd, ret);
}

void outlook_mark_ready(Board *b, const Window *w)
{
    /* What makes a batch ready changes as a ramp day ends. */
    int since = w->end;
    while (since > w->first && !(b->marks[w->site][since] & MARK_CLOSES))
        since--;
    if (since == w->first)
        since = w->end;
    for (int i = 0; i < b->s->n_batches; i++) {
        BatchOutlook *o = &b->plan->outlooks[i];
        const Stage stage = b->stand.stages[i];
        const RampState *ramp = &b->stand.ramps[i];
        if (board_place(b, b->stand.places[i])->site != w->site || stage >= STAGE_PLANTED_OUT)
            continue;
        Reason wanting = bound_by(i, LIMIT_NONE), other;
        if (b->ready_utc[i] != 0)
            ;
        else if (is_ready(b, i, stage, ramp, w->end, 0.0, &wanting))
            b->ready_utc[i] = board_utc(b, since);
        else if (wanting.limit != LIMIT_NONE)
            o->bound = wanting;
        if (o->early_utc == 0 && is_ready(b, i, stage, ramp, w->end, READY_SD, &other))
            o->early_utc = board_utc(b, since);
        if (o->late_utc == 0 && is_ready(b, i, stage, ramp, w->end, -READY_SD, &other))
            o->late_utc = board_utc(b, since);
    }
}

double outlook_missing(const Board *b, int batch, const RampState *ramp)
{
    int d = b->destination_of[batch];
    return ramp_days_missing(board_crop(b, batch), ramp, b->destination_cold_c[batch],
                             d >= 0 ? b->destinations[d].shelter : 0.0,
                             d >= 0 ? b->destinations[d].exposure_needed : RAMP_EXPOSURE_FULL);
}

/*
 * Beyond the horizon: what is still missing then, a day for a day; never before it is large enough,
 * nor before normal nights at the destination are as mild as it asks even hardened.
 */
static void look_beyond(const Board *b, int batch, BatchOutlook *o)
{
    int64_t horizon = board_utc(b, b->s->n_steps);
    double days = ceil(outlook_missing(b, batch, &b->stand.ramps[batch]));
    int64_t ready = horizon + (int64_t)days * DAY_S, size = planting_size_utc(b, batch);
    ready = int64_later(ready, size);
    o->ready_utc = plan_season_from(b->s->garden, &b->s->batches[batch], ready);
    o->not_before = true;
    const Batch *x = &b->s->batches[batch];
    const double normal_c = plan_normal_low_c(b->s->garden, x, ready);
    if (o->ready_utc > ready && normal_c >= board_crop(b, batch)->floor_hardened_c) {
        o->bound = late_frost(b, batch, ready);
    } else if (o->ready_utc > ready) {
        o->bound = bound_by(batch, LIMIT_DESTINATION);
        o->bound.place = b->s->batches[batch].destination;
        o->bound.at_utc = o->ready_utc;
        o->bound.limit_c = board_crop(b, batch)->floor_hardened_c;
        o->bound.predicted_c = normal_c;
        o->bound.estimated = EST_TEMPERATURE;
    }
}

/*
 * Days that will be lost of a ramp that still asks `days`, so many that nine ramps of ten lose no
 * more: each day is used with READY_USED, so what is lost is negative binomial; its quantile by the
 * normal distribution.
 */
static double lost_days(double days)
{
    const double odds = (1.0 - READY_USED) / READY_USED;
    return days * odds + READY_SD * sqrt(days * odds / READY_USED);
}

/*
 * Between which days it is ready in eight cases of ten: the least and the most of what binds it,
 * each at its tenth and its ninetieth percentile, as if all came from one cold or warm spring.
 */
static void look_around(const Board *b, int batch, BatchOutlook *o)
{
    const Batch *x = &b->s->batches[batch];
    const Garden *garden = b->s->garden;
    const int64_t now = b->s->start_utc, horizon = board_utc(b, b->s->n_steps);
    const Site *site = &garden->sites[board_site(b, x->destination)];
    const int64_t season_s = (int64_t)(READY_SD * site->last_frost_sd_d * DAY_S);
    const double missing = ceil(fmax(0.0, o->missing_days));
    const int64_t size = planting_size_utc(b, batch);
    /* The day on which normal nights become mild enough; it may be past. */
    const int64_t mild = plan_season_from(garden, x, o->ready_utc - SEASON_BACK_S);

    if (o->ready_utc <= now) {
        o->early_utc = o->late_utc = o->ready_utc;
        return;
    }
    const int64_t soonest = now + (int64_t)(READY_LEAST * missing * DAY_S);
    const bool weather = o->bound.limit == LIMIT_DESTINATION || o->bound.limit == LIMIT_SOIL;
    if (o->early_utc == 0 || (!weather && soonest < o->early_utc))
        o->early_utc = int64_later(soonest, int64_later(size, mild - season_s));
    int64_t hard = now + (int64_t)((missing + lost_days(missing)) * DAY_S);
    if (o->late_utc == 0) {
        const double then = ceil(outlook_missing(b, batch, &b->stand.ramps[batch]));
        hard = int64_later(hard, horizon + (int64_t)((then + lost_days(then)) * DAY_S));
        hard = int64_later(hard, mild + season_s);
    }
    o->late_utc = int64_later(int64_later(o->late_utc, hard), o->ready_utc);
    o->early_utc = o->early_utc < o->ready_utc ? o->early_utc : o->ready_utc;
}

void outlook_batches(Board *b)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        BatchOutlook *o = &b->plan->outlooks[i];
        const Crop *crop = board_crop(b, i);
        const Batch *batch = &b->s->batches[i];
        o->batch = i;
        o->may_harden = plan_may_harden(b->s->garden, batch, b->s->now_utc);
        o->allowed_low_c = ramp_allowed_low_c(crop, &batch->ramp);
        o->floor_c = ramp_floor_c(crop, &batch->ramp);
        o->damage_c = ramp_damage_c(crop, &batch->ramp);
        o->missing_days = outlook_missing(b, i, &batch->ramp);
        if (batch->stage >= STAGE_PLANTED_OUT)
            continue;
        if (b->ready_utc[i] != 0)
            o->ready_utc = b->ready_utc[i];
        else if (b->destination_of[i] >= 0)
            look_beyond(b, i, o);
        if (o->ready_utc != 0)
            look_around(b, i, o);
    }
}

/* Batches that are ready as it is, before anything is planned. */
void outlook_begin(Board *b)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        BatchOutlook *o = &b->plan->outlooks[i];
        Reason wanting = bound_by(i, LIMIT_NONE);
        *o = (BatchOutlook){.batch = i,
                            .tonight_cold_c = NAN,
                            .tonight_leaf_c = NAN,
                            .tonight_spread_k = NAN,
                            .damage_odds = NAN,
                            .bound = wanting,
                            .stays = wanting};
        if (b->s->batches[i].stage >= STAGE_PLANTED_OUT)
            continue;
        if (is_ready(b, i, b->start.stages[i], &b->start.ramps[i], 0, 0.0, &wanting))
            b->ready_utc[i] = b->s->start_utc;
        else
            o->bound = wanting;
    }
}
