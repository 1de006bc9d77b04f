/* SPDX-License-Identifier: MIT */
/*
 * The main job on open data: batches hardened off through the springs of Seattle 2012-15, day after
 * day, by the plans as they are made, in the weather as it was. docs/hindcast.md says how the
 * weather is made from the daily data, and what the results rest on.
 *
 * Each morning at 05:00 a plan is made from the true series of the next ten days with the spread
 * that a forecast has (no noise: the plan need not be lucky, but it does not know that). Its visits
 * of the day are carried out to the letter, the true world moves on, until the plan calls the batch
 * ready.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include <glib.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "climate/air.h"
#include "garden/crops.h"
#include "garden/garden.h"
#include "plan/marks.h"
#include "plan/plan.h"
#include "ramp/ramp.h"
#include "test-hindcast-weather.h"
#include "weather/forecast.h"

#define DAY_S 86400
#define PLAN_AT_S (5 * 3600) /* of the local day */
#define DAY_STEPS 48
#define AHEAD_D 10
#define AHEAD_STEPS (AHEAD_D * DAY_STEPS)
#define DAYS_MAX 40
#define AFTER_D 3   /* nights in the destination that ready speaks for */
#define BEFORE_D 10 /* on the sill before the start, for the soil and the batch */
#define PLACES 4
#define BUDGET 20000 /* batch evaluations a plan may spend */
#define ARENA_BYTES (64u << 20)
#define SUN_DAYS (AHEAD_D + 3)

static const char garden_text[] = "[site home]\n"
                                  "latitude=47.6\n"
                                  "longitude=-122.3\n"
                                  "altitude=100\n"
                                  "zone=America/Los_Angeles\n"
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

typedef struct Hindcast {
    GArray *days; /* (element-type DailyWeather) */
    Crops *crops;
    Garden *garden;
    Arena arena;
} Hindcast;

/* What first happened on which day, counted from the start; -1 never. */
enum { FIRST_OUT, FIRST_PROPPED, FIRST_HALF_OPEN, FIRST_OPEN_DAY, FIRST_OPEN_NIGHT, FIRSTS };

typedef struct Outcome {
    int days;          /* until ready; -1 not within DAYS_MAX */
    double first_said; /* days until ready by the first plan */
    int first[FIRSTS];
    int checks, visits;
    double margin_k;         /* least of leaf temperature above the damage figure of the moment */
    double leaf_c, damage_c; /* at that moment */
    int margin_day;
    double planted_margin_k;                 /* the least after planting; INFINITY never planted */
    int bound_days[LIMIT_HELD_TOO_LONG + 1]; /* mornings on which this bound */
    BatchOutlook last;
} Outcome;

/* The garden in the weather of one spring. */
typedef struct World {
    const Hindcast *h;
    GArray *hours; /* (owned) (element-type WeatherHour) */
    double shift_k;
    Chain chains[PLACES];
    ChainState states[PLACES];
    int n_chains;
    int positions[PLACES];
    Batch batch;
    int32_t start;
    SolarDay sun[SUN_DAYS];
    OutdoorStep steps[AHEAD_STEPS + 1];
    SiteOutlook outlook;
    VisitWindow windows[2 * (AHEAD_D + 1)];
    int n_windows;
} World;

static const char *const limit_names[LIMIT_HELD_TOO_LONG + 1] = {
    [LIMIT_NONE] = "nothing",
    [LIMIT_DAMAGE] = "damage",
    [LIMIT_CHECK] = "check",
    [LIMIT_HEAT] = "heat",
    [LIMIT_GUST] = "gust",
    [LIMIT_SCORCH] = "scorch",
    [LIMIT_FROZEN] = "frozen",
    [LIMIT_CAPACITY] = "capacity",
    [LIMIT_NO_VISIT] = "no visit",
    [LIMIT_PROGRESS] = "progress",
    [LIMIT_EXPOSURE] = "exposure",
    [LIMIT_NIGHTS] = "nights",
    [LIMIT_HOLD] = "hold",
    [LIMIT_SETTLING] = "settling",
    [LIMIT_SIZE] = "size",
    [LIMIT_SOIL] = "soil",
    [LIMIT_GROUND] = "ground",
    [LIMIT_DESTINATION] = "destination nights",
    [LIMIT_HELD_TOO_LONG] = "held too long",
};

/* ---- weather and visits as one morning sees them ---- */

/* The half-hours from `utc` on, with the spread of a forecast issued then. */
static void look_ahead(World *w, int32_t day, int64_t utc)
{
    WeatherHour ahead[AHEAD_D * 24 + 3];
    const WeatherHour *hours = (const WeatherHour *)(void *)w->hours->data;
    size_t first = (size_t)((utc - hours[0].time_utc) / 3600), n = G_N_ELEMENTS(ahead);

    assert_true(first + n <= w->hours->len);
    for (size_t i = 0; i < n; i++) {
        ahead[i] = hours[first + i];
        ahead[i].spread_k = weather_spread_k((double)(ahead[i].time_utc - utc) / 3600.0);
    }
    assert_true(air_outdoor_steps(ahead, n, utc, AHEAD_STEPS, w->steps));
    for (int d = 0; d < SUN_DAYS; d++)
        w->sun[d] = hindcast_solar_day(day - 1 + d);
    w->outlook = (SiteOutlook){.steps = w->steps,
                               .days = w->sun,
                               .n_days = SUN_DAYS,
                               .deep_c = hindcast_month_mean_c(w->h->days, day, w->shift_k)};
}

static void open_windows(World *w, int32_t day)
{
    const Grower *grower = &w->h->garden->growers[0];

    w->n_windows = 0;
    for (int32_t d = day; d < day + AHEAD_D; d++) {
        int64_t midnight = hindcast_solar_day(d).midnight_utc;
        for (int r = 0; r < grower->n_rules; r++) {
            const VisitRule *rule = &grower->rules[r];
            w->windows[w->n_windows++] = (VisitWindow){.grower = 0,
                                                       .site = rule->site,
                                                       .day = d,
                                                       .from_utc = midnight + rule->from_min * 60,
                                                       .to_utc = midnight + rule->to_min * 60};
        }
    }
}

static void make_plan(World *w, int64_t now_utc, Plan *ret)
{
    Arena arena = w->h->arena;
    Snapshot s = {.garden = w->h->garden,
                  .now_utc = now_utc,
                  .start_utc = now_utc,
                  .n_steps = AHEAD_STEPS,
                  .sites = &w->outlook,
                  .chains = w->chains,
                  .states = w->states,
                  .n_chains = w->n_chains,
                  .positions = w->positions,
                  .batches = &w->batch,
                  .n_batches = 1,
                  .windows = w->windows,
                  .n_windows = w->n_windows,
                  .weights = plan_weights_default()};

    assert_true(plan_make(&s, BUDGET, &arena, ret));
}

/* ---- the true world ---- */

/* Where the batch stands in its chain: chain and layer. */
static void find_batch(const World *w, int *ret_chain, int *ret_layer)
{
    for (int c = 0; c < w->n_chains; c++) {
        for (int l = 0; l < w->chains[c].n; l++) {
            if (w->chains[c].layers[l].place == w->batch.place) {
                *ret_chain = c;
                *ret_layer = l;
            }
        }
    }
}

/* The plants' own temperature over one half-hour, against the damage figure they have by then. */
static void watch_leaf(const World *w, int step, int64_t utc, Outcome *o)
{
    int c = 0, layer = 0, positions[CHAIN_LAYERS_MAX];
    PlaceStep met[CHAIN_LAYERS_MAX];
    find_batch(w, &c, &layer);
    const Chain *chain = &w->chains[c];
    ChainState state = w->states[c];
    ChainForcing forcing = {.now = &w->steps[step],
                            .next = &w->steps[step + 1],
                            .deep_c = w->outlook.deep_c,
                            .solar_hour = marks_solar_hour(utc + STEP_S, SEATTLE_LONGITUDE)};

    for (int l = 0; l < chain->n; l++)
        positions[l] = w->positions[chain->layers[l].place];
    chain_step(chain, positions, &forcing, &state, met);
    double damage = ramp_damage_c(&w->h->garden->crops[w->batch.crop], &w->batch.ramp);
    if (met[layer].leaf_c - damage < o->margin_k) {
        o->margin_k = met[layer].leaf_c - damage;
        o->leaf_c = met[layer].leaf_c;
        o->damage_c = damage;
        o->margin_day = (int)((utc - hindcast_solar_day(w->start).midnight_utc) / DAY_S);
    }
}

static void note_first(Outcome *o, int what, int day, bool happened)
{
    if (happened && o->first[what] < 0)
        o->first[what] = day;
}

/* How open it stands, at 13:00 and at 02:00. */
static void watch_openness(const World *w, int64_t utc, int day, Outcome *o)
{
    int c = 0, layer = 0, positions[CHAIN_LAYERS_MAX];
    find_batch(w, &c, &layer);
    const Chain *chain = &w->chains[c];
    int64_t local_s = (utc + SEATTLE_DAYLIGHT_SAVING_S) % DAY_S;

    for (int l = 0; l < chain->n; l++)
        positions[l] = w->positions[chain->layers[l].place];
    note_first(o, FIRST_OUT, day, !chain->indoors);
    if (local_s == 13 * 3600) {
        double weight = chain_exposure_weight(chain, positions, layer, 0);
        note_first(o, FIRST_PROPPED, day, weight > 0 && weight < 0.5);
        note_first(o, FIRST_HALF_OPEN, day, weight >= 0.5 && weight < 1);
        note_first(o, FIRST_OPEN_DAY, day, weight >= 1);
    }
    if (local_s == 2 * 3600)
        note_first(o, FIRST_OPEN_NIGHT, day - 1, chain_shelter(chain, positions, layer) == 0);
}

/* Half-hours `from` to `to` of what lies ahead of `start_utc` pass. */
static void pass(World *w, int64_t start_utc, int from, int to, Outcome *o)
{
    for (int i = from; i < to; i++) {
        int64_t utc = start_utc + (int64_t)i * STEP_S;
        SiteOutlook here = w->outlook;
        bool checked = false;
        here.steps = &w->steps[i];
        PlanPast past = {.garden = w->h->garden,
                         .site = 0,
                         .start_utc = utc,
                         .n = 1,
                         .outlook = &here,
                         .chains = w->chains,
                         .n_chains = w->n_chains,
                         .positions = w->positions,
                         .n_batches = 1};

        if (o != NULL) {
            watch_leaf(w, i, utc, o);
            watch_openness(w, utc, (int)((utc - hindcast_solar_day(w->start).midnight_utc) / DAY_S),
                           o);
        }
        plan_advance(&past, w->states, &w->batch, &checked);
        if (o != NULL)
            o->checks += checked;
    }
}

static void do_job(World *w, const Job *job)
{
    const Place *places = w->h->garden->places;

    if (job->kind == JOB_SET_COVER) {
        w->positions[job->place] = job->position;
    } else if (job->kind == JOB_MOVE || job->kind == JOB_PLANT_OUT) {
        assert_int_equal(job->from_place, w->batch.place);
        w->batch.place = job->place;
        if (job->kind == JOB_PLANT_OUT)
            w->batch.stage = STAGE_PLANTED_OUT;
        else if (w->batch.stage == STAGE_GROWING_ON && !places[job->place].indoors)
            w->batch.stage = STAGE_HARDENING;
    }
}

/* The day's visits as planned, and the world up to the next morning. */
static void live_day(World *w, int64_t now_utc, const Plan *plan, Outcome *o)
{
    int at = 0;

    for (int v = 0; v < plan->n_visits && plan->visits[v].start_utc < now_utc + DAY_S; v++) {
        const Visit *visit = &plan->visits[v];
        int step = (int)((visit->start_utc - now_utc) / STEP_S);
        pass(w, now_utc, at, step, o);
        at = step;
        for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++)
            do_job(w, &plan->jobs[j]);
        o->visits++;
    }
    pass(w, now_utc, at, DAY_STEPS, o);
}

/* ---- one spring ---- */

static void world_open(World *w, const Hindcast *h, int crop, int32_t start,
                       const char *destination, double shift_k)
{
    const Garden *g = h->garden;

    *w = (World){.h = h, .shift_k = shift_k, .start = start};
    w->hours = hindcast_hours(h->days, start - BEFORE_D - 1,
                              start + DAYS_MAX + AFTER_D + AHEAD_D + 1, shift_k);
    for (int p = 0; p < g->n_places; p++) {
        if (g->places[p].parent >= 0)
            continue;
        assert_true(chain_build(g, p, &w->chains[w->n_chains]));
        double mean_c = hindcast_month_mean_c(h->days, start - BEFORE_D, shift_k);
        chain_rest(&w->chains[w->n_chains], mean_c, mean_c, &w->states[w->n_chains]);
        w->n_chains++;
    }
    int64_t begin = hindcast_solar_day(start - BEFORE_D).midnight_utc + PLAN_AT_S;
    w->batch = (Batch){.crop = crop,
                       .number = 40,
                       .trays = 1,
                       .resowable = true,
                       .stage = STAGE_GROWING_ON,
                       .place = garden_find_place(g, "sill"),
                       .destination = garden_find_place(g, destination)};
    /* Large enough to be planted on the first day: size is never what is waited for. */
    w->batch.sown_utc = begin - (int64_t)(g->crops[crop].weeks_to_plant * 7 * DAY_S);
    ramp_begin(&g->crops[crop], begin, &w->batch.ramp);
    for (int32_t day = start - BEFORE_D; day < start; day++) {
        int64_t utc = hindcast_solar_day(day).midnight_utc + PLAN_AT_S;
        look_ahead(w, day, utc);
        pass(w, utc, 0, DAY_STEPS, NULL);
    }
}

/* Planted where it was to go, covers on, and left alone over the nights that were promised. */
static void plant_out(World *w, int32_t day, Outcome *o)
{
    Outcome after = {.margin_k = INFINITY};

    w->batch.place = w->batch.destination;
    w->batch.stage = STAGE_PLANTED_OUT;
    w->positions[w->batch.destination] = 0;
    for (int32_t d = day; d < day + AFTER_D; d++) {
        int64_t now_utc = hindcast_solar_day(d).midnight_utc + PLAN_AT_S;
        look_ahead(w, d, now_utc);
        pass(w, now_utc, 0, DAY_STEPS, &after);
    }
    o->planted_margin_k = after.margin_k;
}

static Outcome harden(const Hindcast *h, const char *crop, int32_t start, const char *destination,
                      double shift_k)
{
    g_autofree World *w = g_new0(World, 1);
    Outcome o = {.days = -1, .margin_k = INFINITY, .planted_margin_k = INFINITY};

    for (int i = 0; i < FIRSTS; i++)
        o.first[i] = -1;
    world_open(w, h, garden_find_crop(h->garden, crop), start, destination, shift_k);
    for (int32_t day = start; day <= start + DAYS_MAX && w->batch.stage != STAGE_PLANTED_OUT;
         day++) {
        int64_t now_utc = hindcast_solar_day(day).midnight_utc + PLAN_AT_S;
        Plan plan;
        look_ahead(w, day, now_utc);
        open_windows(w, day);
        make_plan(w, now_utc, &plan);
        o.last = plan.outlooks[0];
        if (day == start)
            o.first_said = (double)(o.last.ready_utc - now_utc) / DAY_S;
        o.days = day - start;
        if (o.last.ready_utc != 0 && o.last.ready_utc <= now_utc)
            break;
        o.days = -1;
        o.bound_days[o.last.bound.limit]++;
        if (day == start + DAYS_MAX)
            break;
        live_day(w, now_utc, &plan, &o);
        if (w->batch.stage == STAGE_PLANTED_OUT)
            o.days = day + 1 - start;
    }
    if (o.days >= 0)
        plant_out(w, start + o.days, &o);
    g_array_unref(w->hours);
    return o;
}

/* ---- the tables ---- */

#define STARTS_MAX 8

typedef struct Case {
    const char *crop, *destination;
    int month[2], day_of_month[2], n_dates;
} Case;

static const Case cases[] = {
    {"cabbage", "bed", {4, 4}, {5, 20}, 2},
    {"leek", "bed", {4, 4}, {5, 20}, 2},
    {"lettuce", "bed", {4, 4}, {5, 20}, 2},
    {"tomato", "fleece", {5}, {10}, 1},
};

static void print_first(GString *line, const Outcome *o)
{
    static const char *const words[FIRSTS] = {"out", "propped", "half open", "open by day",
                                              "open at night"};

    for (int i = 0; i < FIRSTS; i++) {
        if (o->first[i] >= 0)
            g_string_append_printf(line, " %s %d,", words[i], o->first[i]);
    }
}

static void print_outcome(const Case *c, int year, int date, double shift_k, const Outcome *o)
{
    g_autoptr(GString) line = g_string_new(NULL);
    int lived = o->days > 0 ? o->days : DAYS_MAX;

    g_string_printf(line, "%s %+.0f K %d-%02d-%02d: ", c->crop, shift_k, year, c->month[date],
                    c->day_of_month[date]);
    if (o->days >= 0)
        g_string_append_printf(line, "ready after %d days", o->days);
    else
        g_string_append_printf(line, "not ready in %d days, %.1f missing", DAYS_MAX,
                               o->last.missing_days);
    g_string_append_printf(line, " (first said %.0f);", o->first_said);
    print_first(line, o);
    g_string_append_printf(line, " checks %d, visits a day %.1f,", o->checks,
                           o->visits / (double)lived);
    g_string_append_printf(line, " least above damage %.1f K (leaf %.1f, damage %.1f, day %d),",
                           o->margin_k, o->leaf_c, o->damage_c, o->margin_day);
    if (o->days >= 0)
        g_string_append_printf(line, " once planted %.1f K,", o->planted_margin_k);
    g_string_append(line, " mornings bound by:");
    for (size_t i = 0; i < G_N_ELEMENTS(limit_names); i++) {
        if (o->bound_days[i] > 0)
            g_string_append_printf(line, " %s %d", limit_names[i], o->bound_days[i]);
    }
    print_message("# %s\n", line->str);
}

/* Runs all starts of a case. `ret_ready` counts those ready after `least` to `most` days. */
static int run_case(const Hindcast *h, const Case *c, double shift_k, int least, int most,
                    Outcome *ret)
{
    int n = 0, ready = 0;

    for (int year = 2012; year <= 2015; year++) {
        for (int d = 0; d < c->n_dates; d++) {
            Outcome *o = &ret[n++];
            *o = harden(h, c->crop, hindcast_day(year, c->month[d], c->day_of_month[d]),
                        c->destination, shift_k);
            print_outcome(c, year, d, shift_k, o);
            ready += o->days >= least && o->days <= most;
        }
    }
    return ready;
}

/* Never, in weather as forecast, below what the plants bear. */
static void assert_unharmed(const Outcome *outcomes, int n)
{
    for (int i = 0; i < n; i++)
        assert_true(outcomes[i].margin_k > 0 && outcomes[i].planted_margin_k > 0);
}

/* ---- tests ---- */

static int set_up(void **state)
{
    const char *source = g_getenv("THOLE_SOURCE_DIR"), *build = g_getenv("THOLE_BUILD_DIR");
    g_autoptr(GError) error = NULL;
    g_autofree char *problem = NULL;
    Hindcast *h = g_new0(Hindcast, 1);

    *state = h;
    if (source == NULL || build == NULL) {
        print_error("THOLE_SOURCE_DIR and THOLE_BUILD_DIR are not set\n");
        return -1;
    }
    g_autofree char *crops = g_build_filename(source, "daemon", "garden", "crops.conf", NULL);
    g_autofree char *data = g_build_filename(build, "test-data", "seattle-weather.csv", NULL);
    if (g_file_test(data, G_FILE_TEST_EXISTS)) {
        h->days = hindcast_read_days(data, &problem);
        if (h->days == NULL) {
            print_error("%s: %s\n", data, problem);
            return -1;
        }
    }
    if (!crops_load(crops, NULL, &h->crops, &error)) {
        print_error("%s\n", error->message);
        return -1;
    }
    h->garden = garden_parse(garden_text, strlen(garden_text), "thole.conf", h->crops->crops,
                             h->crops->n, NULL, &error);
    if (h->garden == NULL) {
        print_error("%s\n", error->message);
        return -1;
    }
    h->arena = (Arena){.base = g_malloc(ARENA_BYTES), .size = ARENA_BYTES};
    return 0;
}

static int tear_down(void **state)
{
    Hindcast *h = *state;

    g_clear_pointer(&h->days, g_array_unref);
    crops_free(h->crops);
    garden_free(h->garden);
    g_free(h->arena.base);
    g_free(h);
    return 0;
}

static const Hindcast *need_data(void **state)
{
    const Hindcast *h = *state;

    if (h->days == NULL) {
        print_message("# test-data/seattle-weather.csv is missing; .ci/setup fetches it\n");
        skip();
    }
    return h;
}

static void test_cabbage(void **state)
{
    const Hindcast *h = need_data(state);
    Outcome outcomes[STARTS_MAX];

    int ready = run_case(h, &cases[0], 0, 7, 18, outcomes);
    assert_unharmed(outcomes, STARTS_MAX);
    assert_in_range(ready, 6, STARTS_MAX);
}

static void test_others(void **state)
{
    const Hindcast *h = need_data(state);
    Outcome outcomes[STARTS_MAX];

    for (size_t c = 1; c < G_N_ELEMENTS(cases); c++) {
        int n = 4 * cases[c].n_dates, ready = run_case(h, &cases[c], 0, 3, DAYS_MAX, outcomes);
        assert_unharmed(outcomes, n);
        assert_in_range(ready, n / 2, n);
    }
}

static void test_colder(void **state)
{
    const Hindcast *h = need_data(state);
    Outcome outcomes[STARTS_MAX];

    for (size_t c = 0; c < G_N_ELEMENTS(cases); c++) {
        (void)run_case(h, &cases[c], -3, 0, DAYS_MAX, outcomes);
        assert_unharmed(outcomes, 4 * cases[c].n_dates);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cabbage),
        cmocka_unit_test(test_others),
        cmocka_unit_test(test_colder),
    };
    return cmocka_run_group_tests_name("hindcast-seattle", tests, set_up, tear_down);
}
