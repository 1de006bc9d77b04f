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

#define ARENA_BYTES (64u << 20)

static const char ground_text[] = "[site home]\n"
                                  "latitude=%s\n"
                                  "longitude=%s\n"
                                  "altitude=100\n"
                                  "zone=%s\n"
                                  "[place sill]\n"
                                  "kind=sill\n"
                                  "site=home\n"
                                  "[place frame]\n"
                                  "kind=cold-frame\n"
                                  "site=home\n"
                                  "[place bed]\n"
                                  "kind=bed\n"
                                  "site=home\n"
                                  "[place fleece]\n"
                                  "kind=fleece\n"
                                  "inside=bed\n"
                                  "[container block-4]\n"
                                  "volume-ml=40\n"
                                  "per-tray=40\n"
                                  "hold-max-weeks=12\n"
                                  "[grower one]\n"
                                  "visits-home=07:30-08:00; 18:00-18:30\n";

static Garden *ground_garden(const Station *at, const char *zone, const Crops *crops,
                             GError **error)
{
    char latitude[G_ASCII_DTOSTR_BUF_SIZE], longitude[G_ASCII_DTOSTR_BUF_SIZE];

    g_ascii_formatd(latitude, sizeof latitude, "%.1f", at->latitude);
    g_ascii_formatd(longitude, sizeof longitude, "%.1f", at->longitude);
    g_autofree char *text = g_strdup_printf(ground_text, latitude, longitude, zone);
    return garden_parse(text, strlen(text), "thole.conf", crops->crops, crops->n, NULL, error);
}

Ground *ground_new(const Station *at, const char *zone, const char *file, DaysReader reader)
{
    const char *source = g_getenv("THOLE_SOURCE_DIR"), *build = g_getenv("THOLE_BUILD_DIR");
    g_autoptr(GError) error = NULL;
    g_autofree char *problem = NULL;
    Ground *ground = g_new0(Ground, 1);

    g_assert(source != NULL && build != NULL);
    g_autofree char *crops = g_build_filename(source, "daemon", "garden", "crops.conf", NULL);
    g_autofree char *data = g_build_filename(build, "test-data", file, NULL);
    if (g_file_test(data, G_FILE_TEST_EXISTS))
        ground->days = reader(data, &problem);
    if (problem == NULL && crops_load(crops, NULL, &ground->crops, &error))
        ground->garden = ground_garden(at, zone, ground->crops, &error);
    if (ground->garden == NULL) {
        g_printerr("%s: %s\n", file, problem != NULL ? problem : error->message);
        ground_free(ground);
        return NULL;
    }
    ground->arena = (Arena){.base = g_malloc(ARENA_BYTES), .size = ARENA_BYTES};
    return ground;
}

void ground_free(Ground *ground)
{
    if (ground == NULL)
        return;
    g_clear_pointer(&ground->days, g_array_unref);
    g_clear_pointer(&ground->garden, garden_free);
    g_clear_pointer(&ground->crops, crops_free);
    g_free(ground->arena.base);
    g_free(ground);
}

Watch watch_new(void)
{
    Watch watch = {.margin_k = INFINITY};

    for (int i = 0; i < FIRSTS; i++)
        watch.first[i] = -1;
    return watch;
}

/* ---- what a morning sees ---- */

/* The half-hours from this morning on, with the spread of a forecast issued now, and its error. */
static void look_ahead(World *w, double error_sd)
{
    WeatherHour ahead[WORLD_AHEAD_H];
    const WeatherHour *hours = (const WeatherHour *)(void *)w->hours->data;
    size_t first = (size_t)((w->now_utc - hours[0].time_utc) / HOUR_S);

    assert_true(first + WORLD_AHEAD_H <= w->hours->len);
    for (size_t i = 0; i < WORLD_AHEAD_H; i++) {
        WeatherHour *hour = &ahead[i];
        *hour = hours[first + i];
        hour->spread_k = weather_spread_k((double)(hour->time_utc - w->now_utc) / HOUR_S);
        hour->temperature_c += error_sd * hour->spread_k;
        if (w->errors_k != NULL)
            hour->temperature_c += w->errors_k[i];
        hour->dew_point_c = fmin(hour->dew_point_c, hour->temperature_c);
    }
    assert_true(air_outdoor_steps(ahead, WORLD_AHEAD_H, w->now_utc, WORLD_AHEAD_STEPS, w->steps));
    for (int d = 0; d < WORLD_SUN_DAYS; d++)
        w->sun[d] = hindcast_solar_day(w->at, w->today - 1 + d);
    w->outlook = (SiteOutlook){.steps = w->steps,
                               .days = w->sun,
                               .n_days = WORLD_SUN_DAYS,
                               .deep_c = hindcast_month_mean_c(w->days, w->today, w->shift_k)};
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
                         .sites = &w->outlook,
                         .chains = w->chains,
                         .states = w->states,
                         .n_chains = w->n_chains,
                         .positions = w->positions,
                         .batches = &w->batch,
                         .n_batches = 1,
                         .windows = windows,
                         .n_windows = n_windows,
                         .weights = plan_weights_default()};

    look_ahead(w, error_sd);
    arena->used = 0;
    assert_true(plan_make(&snapshot, BUDGET, arena, ret));
}

/* ---- the true world ---- */

/* Where the batch stands: its chain, its layer, and the positions of the chain's covers. */
static const Chain *find_batch(const World *w, int *ret_chain, int *ret_layer, int *ret_positions)
{
    for (int c = 0; c < w->n_chains; c++) {
        const Chain *chain = &w->chains[c];
        for (int l = 0; l < chain->n; l++) {
            if (chain->layers[l].place != w->batch.place)
                continue;
            for (int k = 0; k < chain->n; k++)
                ret_positions[k] = w->positions[chain->layers[k].place];
            *ret_chain = c;
            *ret_layer = l;
            return chain;
        }
    }
    fail_msg("the batch stands nowhere");
    return NULL;
}

static void note_first(Watch *watch, WatchFirst what, int day, bool happened)
{
    if (happened && watch->first[what] < 0)
        watch->first[what] = day;
}

/* One half-hour of the batch as it is about to pass: how open, and how cold for the leaf itself. */
static void watch_step(const World *w, int step, Watch *watch)
{
    int c = 0, layer = 0, positions[CHAIN_LAYERS_MAX];
    const Chain *chain = find_batch(w, &c, &layer, positions);
    int64_t utc = w->now_utc + (int64_t)step * STEP_S;
    int64_t local_s = utc - hindcast_solar_day(w->at, w->today).midnight_utc;
    int day = w->today - w->start + (int)(local_s / DAY_S);
    PlaceStep met[CHAIN_LAYERS_MAX];
    ChainState state = w->states[c];
    ChainForcing forcing = {.now = &w->steps[step],
                            .next = &w->steps[step + 1],
                            .deep_c = w->outlook.deep_c,
                            .solar_hour = marks_solar_hour(utc + STEP_S, w->at->longitude)};

    chain_step(chain, positions, &forcing, &state, met);
    double damage_c = ramp_damage_c(&w->garden->crops[w->batch.crop], &w->batch.ramp);
    if (met[layer].leaf_c - damage_c < watch->margin_k) {
        watch->margin_k = met[layer].leaf_c - damage_c;
        watch->leaf_c = met[layer].leaf_c;
        watch->damage_c = damage_c;
        watch->margin_day = day;
    }
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

/* Half-hours `from` to `to` of today pass. */
static void pass(World *w, int from, int to, Watch *watch)
{
    for (int i = from; i < to; i++) {
        SiteOutlook here = w->outlook;
        here.steps = &w->steps[i];
        PlanPast past = {.garden = w->garden,
                         .site = 0,
                         .start_utc = w->now_utc + (int64_t)i * STEP_S,
                         .n = 1,
                         .outlook = &here,
                         .chains = w->chains,
                         .n_chains = w->n_chains,
                         .positions = w->positions,
                         .n_batches = 1};
        bool checked = false;

        watch_step(w, i, watch);
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
    case JOB_PLANT_OUT:
        assert_int_equal(job->from_place, w->batch.place);
        w->batch.place = job->place;
        if (job->kind == JOB_PLANT_OUT)
            w->batch.stage = STAGE_PLANTED_OUT;
        else if (w->batch.stage == STAGE_GROWING_ON && !w->garden->places[job->place].indoors)
            w->batch.stage = STAGE_HARDENING;
        break;
    case JOB_TRANSFER:
        fail_msg("there is no other site");
        break;
    case JOB_LEAVE_SHUT:
    case JOB_RESCUE:
    case JOB_CHOOSE:
    case JOB_WATER:
        break;
    }
}

void world_live(World *w, const Plan *plan, Watch *watch)
{
    int at = 0;

    look_ahead(w, 0);
    for (int v = 0; v < plan->n_visits && plan->visits[v].start_utc < w->now_utc + DAY_S; v++) {
        const Visit *visit = &plan->visits[v];
        int step = (int)((visit->start_utc - w->now_utc) / STEP_S);
        pass(w, at, step, watch);
        at = step;
        for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++)
            do_job(w, &plan->jobs[j]);
        watch->visits++;
    }
    pass(w, at, DAY_STEPS, watch);
    next_morning(w);
}

void world_plant_out(World *w, int days, Watch *watch)
{
    w->batch.place = w->batch.destination;
    w->batch.stage = STAGE_PLANTED_OUT;
    w->positions[w->batch.destination] = 0;
    for (int i = 0; i < days; i++) {
        look_ahead(w, 0);
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

    assert_true(crop >= 0 && garden->n_places == WORLD_PLACES);
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
        look_ahead(w, 0);
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
