/* SPDX-License-Identifier: MIT */
#include "test-hindcast-world.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include <math.h>

#include "climate/air.h"
#include "garden/garden.h"
#include "plan/marks.h"
#include "ramp/ramp.h"
#include "weather/forecast.h"

#define HOUR_S 3600
#define DAY_S 86400
#define WEEK_S (7 * DAY_S)
#define DAY_STEPS (24 * STEPS_PER_H)
#define MORNING_S (5 * HOUR_S) /* of the local day: the plan is made, the day begins */
#define BEFORE_D 10            /* on the sill before the start, for the soil and the batch */
#define BUDGET 20000           /* batch evaluations a plan may spend */

Watch watch_new(void)
{
    Watch watch = {.margin_k = INFINITY,
                   .damage_day = -1,
                   .kill_day = -1,
                   .kills_c = -INFINITY,
                   .chills_c = -INFINITY};

    for (int i = 0; i < FIRSTS; i++)
        watch.first[i] = -1;
    return watch;
}

/* ---- what a morning sees ---- */

/* The half-hours from this morning on: the truth, or with the spread of a forecast issued now, and
 * its errors. */
static void look_ahead(World *w, bool foreseen, double error_sd)
{
    WeatherHour ahead[WORLD_AHEAD_H];
    const WeatherHour *hours = (const WeatherHour *)(void *)w->hours->data;
    size_t first = (size_t)((w->now_utc - hours[0].time_utc) / HOUR_S);

    assert_true(first + WORLD_AHEAD_H <= w->hours->len);
    for (size_t i = 0; i < WORLD_AHEAD_H; i++) {
        WeatherHour *hour = &ahead[i];
        *hour = hours[first + i];
        double lead_h = (double)(hour->time_utc - w->now_utc) / HOUR_S;
        hour->spread_k = weather_spread_k(lead_h);
        hour->temperature_c += error_sd * hour->spread_k;
        if (foreseen && w->hooks.foresee != NULL)
            w->hooks.foresee(w->hooks.data, (int)i, lead_h, hour);
        hour->dew_point_c = fmin(hour->dew_point_c, hour->temperature_c);
    }
    assert_true(air_outdoor_steps(ahead, WORLD_AHEAD_H, w->now_utc, WORLD_AHEAD_STEPS, w->steps));
    for (int d = 0; d < WORLD_SUN_DAYS; d++)
        w->sun[d] = hindcast_solar_day(w->at, w->today - 1 + d);
    w->outlooks[0] = (SiteOutlook){.steps = w->steps,
                                   .days = w->sun,
                                   .n_days = WORLD_SUN_DAYS,
                                   .deep_c = hindcast_month_mean_c(w->days, w->today, w->shift_k)};
    w->outlooks[1] = w->outlooks[0];
}

/* When the grower can be there, day after day. */
static int visit_windows(const World *w, VisitWindow *ret, int size)
{
    const Grower *grower = &w->garden->growers[0];
    int n = 0;

    for (int32_t day = w->today; day < w->today + WORLD_AHEAD_D; day++) {
        int64_t midnight = hindcast_solar_day(w->at, day).midnight_utc;
        for (int r = 0; r < grower->n_rules; r++) {
            const VisitRule *rule = &grower->rules[r];
            if (!(rule->weekdays & 1u << (day + 3) % 7)) /* 1970-01-01 was a Thursday */
                continue;
            assert_true(n < size);
            ret[n++] = (VisitWindow){.grower = 0,
                                     .site = rule->site,
                                     .day = day,
                                     .from_utc = midnight + rule->from_min * 60,
                                     .to_utc = midnight + rule->to_min * 60};
        }
    }
    return n;
}

void world_plan(World *w, double error_sd, Arena *arena, Plan *ret)
{
    VisitWindow windows[4 * WORLD_AHEAD_D];
    int n_windows = visit_windows(w, windows, (int)G_N_ELEMENTS(windows));
    Snapshot snapshot = {.garden = w->garden,
                         .now_utc = w->now_utc,
                         .start_utc = w->now_utc,
                         .n_steps = WORLD_AHEAD_STEPS,
                         .sites = w->outlooks,
                         .chains = w->chains,
                         .states = w->states,
                         .n_chains = w->n_chains,
                         .positions = w->positions,
                         .cover_errors = w->cover_errors,
                         .batches = &w->batch,
                         .n_batches = 1,
                         .windows = windows,
                         .n_windows = n_windows,
                         .weights = plan_weights_default()};

    if (w->published != NULL) {
        snapshot.former = w->published->visits;
        snapshot.n_former = w->published->n_visits;
        snapshot.former_jobs = w->published->jobs;
        snapshot.n_former_jobs = w->published->n_jobs;
    }
    look_ahead(w, true, error_sd);
    arena->used = 0;
    assert_true(plan_make(&snapshot, BUDGET, arena, ret));
}

/* ---- the true world ---- */

/* The layer in which the batch stands; -1 not in this chain. */
static int layer_of_batch(const World *w, const Chain *chain)
{
    for (int l = 0; l < chain->n; l++) {
        if (chain->layers[l].place == w->batch.place)
            return l;
    }
    return -1;
}

static void note_first(Watch *watch, WatchFirst what, int day, bool happened)
{
    if (happened && watch->first[what] < 0)
        watch->first[what] = day;
}

static void note_harm(const World *w, const PlaceStep *met, bool covered, int day, Watch *watch)
{
    const Crop *crop = &w->garden->crops[w->batch.crop];
    double damage_c = ramp_damage_c(crop, &w->batch.ramp);

    if (met->leaf_c - damage_c < watch->margin_k) {
        watch->margin_k = met->leaf_c - damage_c;
        watch->leaf_c = met->leaf_c;
        watch->damage_c = damage_c;
        watch->margin_day = day;
    }
    if (met->leaf_c < damage_c) {
        watch->damage_kh += (damage_c - met->leaf_c) / STEPS_PER_H;
        watch->damage_days += watch->damage_day != day;
        watch->damage_day = day;
    }
    if (met->leaf_c < watch->kills_c) {
        watch->kill_days += watch->kill_day != day;
        watch->kill_day = day;
    }
    watch->chill_h += met->leaf_c < watch->chills_c ? 1.0 / STEPS_PER_H : 0.0;
    if (covered)
        watch->heat_kh += fmax(0, met->air_c - crop->heat_limit_c) / STEPS_PER_H;
}

/* How open the batch stands. */
static void note_open(const Chain *chain, const int *positions, int layer, int64_t local_s, int day,
                      Watch *watch)
{
    note_first(watch, FIRST_OUT, day, !chain->indoors);
    if (local_s % DAY_S == 13 * HOUR_S) {
        double weight = chain_exposure_weight(chain, positions, layer, 0);
        note_first(watch, FIRST_PROPPED, day, weight > 0 && weight < 0.5);
        note_first(watch, FIRST_HALF_OPEN, day, weight >= 0.5 && weight < 1);
        note_first(watch, FIRST_OPEN_DAY, day, weight >= 1);
    }
    if (local_s % DAY_S == 2 * HOUR_S)
        note_first(watch, FIRST_OPEN_NIGHT, day - 1, chain_shelter(chain, positions, layer) == 0);
}

/* One half-hour of a chain as it is about to pass, and of the batch in it. */
static void watch_step(const World *w, int c, int step, Watch *watch)
{
    const Chain *chain = &w->chains[c];
    int layer = layer_of_batch(w, chain), positions[CHAIN_LAYERS_MAX];
    int64_t utc = w->now_utc + (int64_t)step * STEP_S;
    int64_t local_s = utc - hindcast_solar_day(w->at, w->today).midnight_utc;
    int day = w->today - w->start + (int)(local_s / DAY_S);
    PlaceStep met[CHAIN_LAYERS_MAX];
    ChainState state = w->states[c];
    ChainForcing forcing = {.now = &w->steps[step],
                            .next = &w->steps[step + 1],
                            .deep_c = w->outlooks[0].deep_c,
                            .solar_hour = marks_solar_hour(utc + STEP_S, w->at->longitude)};

    for (int l = 0; l < chain->n; l++)
        positions[l] = w->positions[chain->layers[l].place];
    if (w->hooks.step != NULL && !chain->indoors)
        w->hooks.step(w->hooks.data, c, positions, &forcing, local_s + STEP_S, met);
    else if (layer >= 0)
        chain_step(chain, positions, &forcing, &state, met);
    if (layer < 0)
        return;
    note_harm(w, &met[layer],
              !chain->indoors && chain_shelter(chain, positions, layer) > 0 &&
                  w->batch.stage != STAGE_PLANTED_OUT,
              day, watch);
    note_open(chain, positions, layer, local_s, day, watch);
}

/* Half-hours `from` to `to` of today pass. */
static void pass(World *w, int from, int to, Watch *watch)
{
    for (int i = from; i < to; i++) {
        SiteOutlook here = w->outlooks[0];
        here.steps = &w->steps[i];
        PlanPast past = {.garden = w->garden,
                         .start_utc = w->now_utc + (int64_t)i * STEP_S,
                         .n = 1,
                         .outlook = &here,
                         .chains = w->chains,
                         .n_chains = w->n_chains,
                         .positions = w->positions,
                         .n_batches = 1};
        bool checked = false;

        for (int c = 0; c < w->n_chains; c++)
            watch_step(w, c, i, watch);
        for (; past.site < w->garden->n_sites; past.site++)
            plan_advance(&past, w->states, &w->batch, &checked);
        watch->checks += checked;
    }
}

static void next_morning(World *w)
{
    w->today++;
    w->now_utc = hindcast_solar_day(w->at, w->today).midnight_utc + MORNING_S;
}

static void do_job(World *w, const Job *job)
{
    switch (job->kind) {
    case JOB_SET_COVER:
        w->positions[job->place] = job->position;
        break;
    case JOB_MOVE:
    case JOB_TRANSFER:
    case JOB_PLANT_OUT:
        assert_int_equal(job->from_place, w->batch.place);
        w->batch.place = job->place;
        if (job->kind == JOB_PLANT_OUT)
            w->batch.stage = STAGE_PLANTED_OUT;
        else if (w->batch.stage == STAGE_GROWING_ON && !w->garden->places[job->place].indoors)
            w->batch.stage = STAGE_HARDENING;
        break;
    case JOB_LEAVE_SHUT:
    case JOB_RESCUE:
    case JOB_CHOOSE:
    case JOB_WATER:
    case JOB_PROTECT:
        break;
    }
}

/* The next half-hours, and the visits in them. */
static void live_steps(World *w, const Plan *plan, int steps, Watch *watch)
{
    int64_t until_utc = w->now_utc + (int64_t)steps * STEP_S;
    int at = 0;

    look_ahead(w, false, 0);
    for (int v = 0; v < plan->n_visits && plan->visits[v].start_utc < until_utc; v++) {
        const Visit *visit = &plan->visits[v];
        int step = (int)((visit->start_utc - w->now_utc) / STEP_S);
        pass(w, at, step, watch);
        at = step;
        for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++)
            do_job(w, &plan->jobs[j]);
        watch->visits++;
    }
    pass(w, at, steps, watch);
}

void world_live(World *w, const Plan *plan, Watch *watch)
{
    live_steps(w, plan, DAY_STEPS, watch);
    next_morning(w);
}

void world_live_hours(World *w, const Plan *plan, int hours, Watch *watch)
{
    live_steps(w, plan, hours * STEPS_PER_H, watch);
    w->now_utc += (int64_t)hours * HOUR_S;
    if (w->now_utc >= hindcast_solar_day(w->at, w->today + 1).midnight_utc + MORNING_S)
        next_morning(w);
}

void world_foresee(World *w)
{
    look_ahead(w, true, 0);
}

void world_outing(World *w, int place, int from, int to, Watch *watch)
{
    int home = w->batch.place;

    look_ahead(w, false, 0);
    pass(w, 0, from, watch);
    w->batch.place = place;
    if (w->batch.stage == STAGE_GROWING_ON)
        w->batch.stage = STAGE_HARDENING;
    pass(w, from, to, watch);
    if (to < DAY_STEPS)
        w->batch.place = home;
    pass(w, to, DAY_STEPS, watch);
    next_morning(w);
}

void world_plant_out(World *w, int days, Watch *watch)
{
    w->batch.place = w->batch.destination;
    w->batch.stage = STAGE_PLANTED_OUT;
    w->positions[w->batch.destination] = 0;
    for (int i = 0; i < days; i++) {
        look_ahead(w, false, 0);
        pass(w, 0, DAY_STEPS, watch);
        next_morning(w);
    }
}

/* ---- its beginning ---- */

World *world_new(const Garden *garden, const Station *at, const GArray *days, const char *crop_name,
                 const char *destination, int32_t start, int last_day, double shift_k)
{
    World *w = g_new0(World, 1);
    int crop = garden_find_crop(garden, crop_name);
    double mean_c = hindcast_month_mean_c(days, start - BEFORE_D, shift_k);
    Watch unseen = watch_new();

    assert_true(crop >= 0 && garden->n_places <= WORLD_PLACES && garden->n_sites <= 2);
    w->garden = garden;
    w->at = at;
    w->days = days;
    w->shift_k = shift_k;
    w->start = start;
    w->hours = hindcast_hours(w->at, days, start - BEFORE_D - 1,
                              start + last_day + WORLD_AHEAD_D + 1, shift_k);
    for (int p = 0; p < garden->n_places; p++) {
        if (garden->places[p].parent >= 0)
            continue;
        assert_true(chain_build(garden, p, &w->chains[w->n_chains]));
        chain_rest(&w->chains[w->n_chains], mean_c, mean_c, &w->states[w->n_chains]);
        w->n_chains++;
    }
    w->today = start - BEFORE_D - 1;
    next_morning(w);
    w->batch =
        (Batch){.crop = crop,
                .number = 40,
                .trays = 1,
                .resowable = true,
                .stage = STAGE_GROWING_ON,
                .place = garden_find_place(garden, "sill"),
                .destination = garden_find_place(garden, destination),
                .sown_utc = w->now_utc - (int64_t)(garden->crops[crop].weeks_to_plant * WEEK_S)};
    assert_true(w->batch.place >= 0 && w->batch.destination >= 0);
    ramp_begin(&garden->crops[crop], w->now_utc, &w->batch.ramp);
    while (w->today < start) {
        look_ahead(w, false, 0);
        pass(w, 0, DAY_STEPS, &unseen);
        next_morning(w);
    }
    return w;
}

void world_free(World *world)
{
    if (world == NULL)
        return;
    g_array_unref(world->hours);
    g_free(world);
}
