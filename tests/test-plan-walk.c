/* SPDX-License-Identifier: MIT */
#include "test-plan-walk.h"

#include <math.h>
#include <string.h>

#include "plan/marks.h"

#define FIRST_WINDOW_STEPS                                                                         \
    14 /* all of them belong to the first window: its spread is the forecast's own */

typedef struct Walking {
    const World *w;
    const Plan *plan;
    Walked *ret;
    ChainState states[N_PLACES];
    int positions[N_PLACES], places[WORLD_BATCHES];
    bool planted[WORLD_BATCHES], hardening[WORLD_BATCHES];
    double night_z[WORLD_BATCHES], day_spread[WORLD_BATCHES], day_low[WORLD_BATCHES];
    int day_ahead[WORLD_BATCHES];
} Walking;

static void fault(Walking *k, int job, const char *what)
{
    if (k->ret->fault == NULL) {
        k->ret->fault = what;
        k->ret->fault_job = job;
    }
}

static void touch(Walking *k, int batch, int step)
{
    bool frozen = step > 0 && k->ret->leaf_at[batch][step - 1] <= 1.0;
    k->ret->batches[batch].frozen_touched += frozen;
}

static bool stands_under(const Walking *k, int batch, int place)
{
    for (int p = k->places[batch]; p >= 0; p = k->w->places[p].parent) {
        if (p == place)
            return true;
    }
    return false;
}

static void do_move(Walking *k, int j, int step)
{
    const Job *job = &k->plan->jobs[j];
    if (job->batch < 0 || job->batch >= k->w->snapshot.n_batches || job->place < 0 ||
        job->place >= N_PLACES) {
        fault(k, j, "a move of nothing, or to nowhere");
        return;
    }
    bool laid_over = k->planted[job->batch] && k->w->places[job->place].parent == job->from_place;
    bool crosses = k->w->places[job->place].site != k->w->places[job->from_place].site;
    if (k->places[job->batch] != job->from_place)
        fault(k, j, "a batch is not where the job takes it from");
    if (k->w->places[job->from_place].site != k->plan->visits[job->visit].site &&
        k->w->places[job->from_place].site != k->w->growers[0].home_site)
        fault(k, j, "a batch is fetched where the grower does not come from");
    if (crosses != (job->kind == JOB_TRANSFER) && job->kind != JOB_PLANT_OUT)
        fault(k, j, "a transfer is called a move, or a move a transfer");
    if (job->kind == JOB_PLANT_OUT && job->place != k->w->batches[job->batch].destination)
        fault(k, j, "a batch is planted out elsewhere than its destination");
    if (!laid_over)
        touch(k, job->batch, step);
    k->places[job->batch] = job->place;
    k->planted[job->batch] = k->planted[job->batch] || job->kind == JOB_PLANT_OUT;
    k->hardening[job->batch] = k->hardening[job->batch] || !k->w->places[job->place].indoors;
}

static void do_cover(Walking *k, int j, int step)
{
    const Job *job = &k->plan->jobs[j];
    if (job->place < 0 || !k->w->places[job->place].covered || job->position < 0 ||
        job->position >= k->w->places[job->place].cover.n_positions) {
        fault(k, j, "a cover that is none, or a position it has not");
        return;
    }
    if (k->w->places[job->place].site != k->plan->visits[job->visit].site)
        fault(k, j, "a cover of another site");
    if (k->positions[job->place] == job->position)
        fault(k, j, "a cover is set as it stands");
    for (int b = 0; b < k->w->snapshot.n_batches; b++) {
        if (job->position > k->positions[job->place] && stands_under(k, b, job->place))
            touch(k, b, step);
    }
    k->positions[job->place] = job->position;
}

static void check_room(Walking *k, int job)
{
    for (int p = 0; p < N_PLACES; p++) {
        int taken = 0;
        for (int b = 0; b < k->w->snapshot.n_batches; b++)
            taken += k->places[b] == p && !k->planted[b] ? k->w->batches[b].trays : 0;
        if (k->w->places[p].trays >= 0 && taken > k->w->places[p].trays)
            fault(k, job, "more trays than there is room for");
    }
}

static void do_visits(Walking *k, int step)
{
    for (int v = 0; v < k->plan->n_visits; v++) {
        const Visit *visit = &k->plan->visits[v];
        if (visit->start_utc != k->w->snapshot.start_utc + (int64_t)step * STEP_S)
            continue;
        for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++) {
            JobKind kind = k->plan->jobs[j].kind;
            if (kind == JOB_SET_COVER)
                do_cover(k, j, step);
            else if (kind == JOB_MOVE || kind == JOB_TRANSFER || kind == JOB_PLANT_OUT)
                do_move(k, j, step);
        }
        check_room(k, visit->first_job);
    }
}

static void close_day(Walking *k, int b, int step)
{
    const Crop *crop = &k->w->crops[k->w->batches[b].crop];
    RampState *ramp = &k->ret->ramps[b];
    WalkedBatch *out = &k->ret->batches[b];
    out->damage_odds = fmax(out->damage_odds, odds_of_margin(k->night_z[b]));
    if (!k->planted[b] && ramp->day_steps > 0) {
        double drop = ramp_drop_k(crop, ramp);
        double spread = k->day_spread[b] * fmin(1.0, k->day_ahead[b] / (double)RAMP_COLD_STEPS);
        double share =
            ramp_expected_excess_kh(crop, ramp, ramp->day_air_c, ramp->day_steps, spread) /
            (RAMP_BUDGET_H * drop);
        double cold = ramp_cold_c(ramp->day_air_c, ramp->day_steps, ramp->hardened_to_c);
        double fall = (ramp->hardened_to_c - cold) / drop - 0.25;
        if (ramp->hold_days > 0 && fall > 0.0)
            share = fmax(share, 0.10 + fall);
        out->check_share = fmax(out->check_share, share);
    }
    ramp_close_day(crop, k->hardening[b], k->w->snapshot.start_utc + (int64_t)step * STEP_S, ramp);
    k->night_z[b] = INFINITY;
    k->day_low[b] = INFINITY;
    k->day_ahead[b] = 0;
}

static void live(Walking *k, int b, int step, const Chain *chain, const int *positions, int layer,
                 const PlaceStep *met, uint8_t marks)
{
    const Batch *batch = &k->w->batches[b];
    const Crop *crop = &k->w->crops[batch->crop];
    const OutdoorStep *out = &k->w->steps[k->w->places[k->places[b]].site][step];
    WalkedBatch *found = &k->ret->batches[b];
    RampState *ramp = &k->ret->ramps[b];
    double weight =
        marks & MARK_DAYLIGHT ? chain_exposure_weight(chain, positions, layer, out->cloud) : 0.0;
    double shelter = chain_shelter(chain, positions, layer),
           model = chain_spread_k(chain, layer, EXTREME_LOW);
    bool indoors = k->w->places[k->places[b]].indoors;
    double forecast = step < FIRST_WINDOW_STEPS ? out->spread_k : k->w->steps[0][0].spread_k;
    forecast *= chain_open_share(chain, positions, layer);
    double spread = indoors ? model : hypot(forecast, model);
    RampStep in = {.air_c = met->air_c,
                   .leaf_c = met->leaf_c,
                   .exposure_weight = weight,
                   .shelter = shelter,
                   .night = marks & MARK_NIGHT};
    ramp_step(crop, &in, ramp);
    k->day_ahead[b]++;
    if (met->air_c < k->day_low[b]) {
        k->day_low[b] = met->air_c;
        k->day_spread[b] = spread;
    }
    k->night_z[b] = fmin(k->night_z[b], (met->leaf_c - ramp_damage_c(crop, ramp)) / spread);
    k->ret->leaf_at[b][step] = met->leaf_c;
    if (k->planted[b])
        return;
    if (!indoors && shelter > 0.0 && met->light_wm2 >= 50.0) {
        /* what is reached in one case of ten: the 0.9 quantile of the normal */
        bool shut = chain_exposure_weight(chain, positions, layer, 0.0) == 0.0;
        double noon = chain_spread_k(chain, layer, EXTREME_HIGH) *
                      fmin(1.0, met->light_wm2 / 500.0) * (shut ? 1.0 : 0.5);
        double limit_c = crop->heat_limit_c;
        if (batch->stage <= STAGE_EMERGED)
            limit_c = fmin(limit_c, 30.0);
        found->heat_kh +=
            fmax(0.0, met->air_c + 1.2816 * hypot(forecast, noon) - limit_c) / STEPS_PER_H;
    }
    if (ramp->exposure_days < 4 && weight > 0.5 &&
        ramp->exposed_h > ramp_allowance_h(ramp) + RAMP_SCORCH_OVER_H)
        found->scorch_h += weight / STEPS_PER_H;
}

static void do_step(Walking *k, int step)
{
    for (int c = 0; c < k->w->snapshot.n_chains; c++) {
        const Chain *chain = &k->w->chains[c];
        int site = k->w->places[chain->layers[0].place].site, positions[CHAIN_LAYERS_MAX];
        int64_t utc = k->w->snapshot.start_utc + (int64_t)step * STEP_S;
        uint8_t marks = marks_at(&k->w->outlooks[site], k->w->sites[site].latitude, utc);
        PlaceStep met[CHAIN_LAYERS_MAX];
        for (int l = 0; l < chain->n; l++)
            positions[l] = k->positions[chain->layers[l].place];
        ChainForcing forcing = {.now = &k->w->steps[site][step],
                                .next = &k->w->steps[site][step + 1],
                                .deep_c = k->w->outlooks[site].deep_c,
                                .solar_hour =
                                    marks_solar_hour(utc + STEP_S, k->w->sites[site].longitude)};
        chain_step(chain, positions, &forcing, &k->states[c], met);
        for (int b = 0; b < k->w->snapshot.n_batches; b++) {
            for (int l = 0; l < chain->n; l++) {
                if (chain->layers[l].place != k->places[b])
                    continue;
                if (marks & MARK_CLOSES)
                    close_day(k, b, step);
                live(k, b, step, chain, positions, l, &met[l], marks);
            }
        }
    }
}

void walk_plan(const World *w, const Plan *plan, Walked *ret)
{
    Walking k = {.w = w, .plan = plan, .ret = ret};
    memset(ret, 0, sizeof *ret);
    memcpy(k.states, w->states, sizeof k.states);
    memcpy(k.positions, w->positions, sizeof k.positions);
    for (int b = 0; b < w->snapshot.n_batches; b++) {
        k.places[b] = w->batches[b].place;
        k.planted[b] = w->batches[b].stage == STAGE_PLANTED_OUT;
        k.hardening[b] =
            w->batches[b].stage == STAGE_HARDENING || w->batches[b].stage == STAGE_READY;
        k.night_z[b] = k.day_low[b] = INFINITY;
        ret->ramps[b] = w->batches[b].ramp;
    }
    for (int step = 0; step < w->snapshot.n_steps; step++) {
        do_visits(&k, step);
        do_step(&k, step);
        for (int p = 0; p < N_PLACES; p++)
            ret->positions_at[p][step] = k.positions[p];
        for (int b = 0; b < w->snapshot.n_batches; b++)
            ret->places_at[b][step] = k.places[b];
    }
}

bool plan_names(const Plan *plan, int batch, LimitKind limit)
{
    for (int i = 0; i < plan->n_breaches; i++) {
        if (plan->breaches[i].batch == batch && plan->breaches[i].limit == limit)
            return true;
    }
    return false;
}
