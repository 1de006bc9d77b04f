/* SPDX-License-Identifier: MIT */
/*
 * The main job on open data: batches hardened off through the springs of Seattle 2012-15, day after
 * day, by the plans as they are made, in the weather as it was. docs/hindcast.md says how the
 * weather is made from the daily data, and what the results rest on.
 *
 * Each morning at 05:00 a plan is made from the next ten days with the spread that a forecast has.
 * Its visits of the day are carried out to the letter and the true world moves on, until the plan
 * calls the batch ready. Then it is planted and left alone over the nights that "ready" speaks for.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "garden/crops.h"
#include "garden/garden.h"
#include "test-hindcast-world.h"

#define DAY_S 86400
#define DAYS_MAX 40
#define PLANTED_D 3 /* the nights that ready speaks for */
#define STARTS_MAX 8
#define ERROR_SEED 2012
/*
 * What accepted odds of 1 % a night leave above damage when the forecast comes true: 2.33 standard
 * deviations of no less than a first night's 1.34 K.
 */
#define MARGIN_K 3.1

typedef struct Outcome {
    int days;                           /* until ready; -1 not within DAYS_MAX */
    double first_said;                  /* days until ready by the first plan */
    Watch watch;                        /* until ready */
    double planted_margin_k;            /* the least after it; INFINITY never planted */
    int bound_days[LIMIT_DAYLIGHT + 1]; /* mornings on which this bound */
    BatchOutlook last;
} Outcome;

typedef struct Case {
    const char *crop, *destination;
    int n_dates;
    struct {
        int month, day;
    } dates[2];
} Case;

/* clang-format off */
static const Case cases[] = {
    {"cabbage", "bed",    2, {{4, 5}, {4, 20}}},
    {"leek",    "bed",    2, {{4, 5}, {4, 20}}},
    {"lettuce", "bed",    2, {{4, 5}, {4, 20}}},
    {"tomato",  "fleece", 1, {{5, 10}}},
};
/* clang-format on */

static const char *const limit_names[LIMIT_DAYLIGHT + 1] = {
    [LIMIT_NONE] = "nothing",
    [LIMIT_DAMAGE] = "damage",
    [LIMIT_CHECK] = "check",
    [LIMIT_CHILL] = "chill",
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
    [LIMIT_WATER] = "water",
    [LIMIT_DAMP] = "damp",
    [LIMIT_DAYLIGHT] = "daylight",
};

/* ---- one spring ---- */

/* A standard normal number, near enough: the sum of twelve even ones. */
static double random_normal(GRand *random)
{
    double sum = -6;

    for (int i = 0; i < 12; i++)
        sum += g_rand_double(random);
    return sum;
}

/* `errors` (nullable) gives each morning's forecast its error; without it the forecast comes true.
 */
static Outcome harden(Ground *h, const Case *c, int32_t start, double shift_k, GRand *errors)
{
    g_autoptr(World) w = world_new(h->garden, &seattle, h->days, c->crop, c->destination, start,
                                   DAYS_MAX + PLANTED_D, shift_k);
    Watch planted = watch_new();
    Outcome o = {.days = -1, .watch = watch_new()};

    for (int day = 0; day < DAYS_MAX && w->batch.stage != STAGE_PLANTED_OUT; day++) {
        Plan plan;
        world_plan(w, errors ? random_normal(errors) : 0, &h->arena, &plan);
        o.last = plan.outlooks[0];
        if (day == 0)
            o.first_said = (double)(o.last.ready_utc - w->now_utc) / DAY_S;
        if (o.last.ready_utc != 0 && o.last.ready_utc <= w->now_utc) {
            o.days = day;
            break;
        }
        o.bound_days[o.last.bound.limit]++;
        world_live(w, &plan, &o.watch);
        if (w->batch.stage == STAGE_PLANTED_OUT)
            o.days = day + 1;
    }
    if (o.days >= 0)
        world_plant_out(w, PLANTED_D, &planted);
    o.planted_margin_k = planted.margin_k;
    return o;
}

/* ---- the tables ---- */

static void append_first(GString *line, const Watch *watch)
{
    static const char *const words[FIRSTS] = {"out", "propped", "half open", "open by day",
                                              "open at night"};

    for (int i = 0; i < FIRSTS; i++) {
        if (watch->first[i] >= 0)
            g_string_append_printf(line, " %s %d,", words[i], watch->first[i]);
    }
}

static void print_outcome(const Case *c, int year, int date, double shift_k, const Outcome *o)
{
    g_autoptr(GString) line = g_string_new(NULL);
    const Watch *watch = &o->watch;

    g_string_printf(line, "%s %+.0f K %d-%02d-%02d: ", c->crop, shift_k, year, c->dates[date].month,
                    c->dates[date].day);
    if (o->days >= 0)
        g_string_append_printf(line, "ready after %d days", o->days);
    else
        g_string_append_printf(line, "not ready in %d days, %.1f missing", DAYS_MAX,
                               o->last.missing_days);
    g_string_append_printf(line, " (first said %.0f);", o->first_said);
    append_first(line, watch);
    g_string_append_printf(line, " checks %d, visits a day %.1f,", watch->checks,
                           watch->visits / (double)(o->days > 0 ? o->days : DAYS_MAX));
    g_string_append_printf(line, " least above damage %.1f K (leaf %.1f, damage %.1f, day %d),",
                           watch->margin_k, watch->leaf_c, watch->damage_c, watch->margin_day);
    if (o->days >= 0)
        g_string_append_printf(line, " once planted %.1f K,", o->planted_margin_k);
    g_string_append(line, " mornings bound by:");
    for (size_t i = 0; i < G_N_ELEMENTS(limit_names); i++) {
        if (o->bound_days[i] > 0)
            g_string_append_printf(line, " %s %d", limit_names[i], o->bound_days[i]);
    }
    print_message("# %s\n", line->str);
}

/* Runs and prints all starts of a case; gives their number. */
static int run_case(Ground *h, const Case *c, double shift_k, GRand *errors, Outcome *ret)
{
    int n = 0;

    for (int year = 2012; year <= 2015; year++) {
        for (int d = 0; d < c->n_dates; d++) {
            int32_t start = hindcast_day(year, c->dates[d].month, c->dates[d].day);
            ret[n] = harden(h, c, start, shift_k, errors);
            print_outcome(c, year, d, shift_k, &ret[n++]);
        }
    }
    return n;
}

/* How many were ready after `least` to `most` days. */
static int count_ready(const Outcome *outcomes, int n, int least, int most)
{
    int ready = 0;

    for (int i = 0; i < n; i++)
        ready += outcomes[i].days >= least && outcomes[i].days <= most;
    return ready;
}

/* The leaf was never, in training or planted, nearer than `margin_k` to what would damage it. */
static void assert_unharmed(const Outcome *outcomes, int n, double margin_k)
{
    for (int i = 0; i < n; i++) {
        assert_true(outcomes[i].watch.margin_k > margin_k);
        assert_true(outcomes[i].planted_margin_k > margin_k);
    }
}

/* An accepted expected check leaves over 1 K of room, so with a true forecast there is none. */
static void assert_unchecked(const Outcome *outcomes, int n)
{
    for (int i = 0; i < n; i++)
        assert_int_equal(outcomes[i].watch.checks, 0);
}

/* ---- tests ---- */

static int set_up(void **state)
{
    *state = ground_new(&seattle, "America/Los_Angeles", "seattle-weather.csv", hindcast_read_days);
    return *state != NULL ? 0 : -1;
}

static int tear_down(void **state)
{
    ground_free(*state);
    return 0;
}

static Ground *need_data(void **state)
{
    Ground *h = *state;

    if (h->days == NULL) {
        print_message("# test-data/seattle-weather.csv is missing; .ci/setup fetches it\n");
        skip();
    }
    return h;
}

/* Seven to eighteen days: common practice, no source (growers' guides say seven to ten for
 * brassicas, a frame opened in three steps of six days is the slowest that they describe). */
static void test_cabbage(void **state)
{
    Ground *h = need_data(state);
    Outcome outcomes[STARTS_MAX];
    int n = run_case(h, &cases[0], 0, NULL, outcomes);

    assert_unharmed(outcomes, n, MARGIN_K);
    assert_unchecked(outcomes, n);
    assert_in_range(count_ready(outcomes, n, 7, 18), 6, n);
}

/* From the three days that commercial transplants may need (New England guide); most get there. */
static void test_others(void **state)
{
    Ground *h = need_data(state);
    Outcome outcomes[STARTS_MAX];

    for (size_t c = 1; c < G_N_ELEMENTS(cases); c++) {
        int n = run_case(h, &cases[c], 0, NULL, outcomes);
        assert_unharmed(outcomes, n, MARGIN_K);
        assert_unchecked(outcomes, n);
        assert_in_range(count_ready(outcomes, n, 3, DAYS_MAX), (n + 1) / 2, n);
    }
}

/* Springs as cold as these are not: it may take long, but nothing is harmed. */
static void test_colder(void **state)
{
    Ground *h = need_data(state);
    Outcome outcomes[STARTS_MAX];

    for (size_t c = 0; c < G_N_ELEMENTS(cases); c++) {
        int n = run_case(h, &cases[c], -3, NULL, outcomes);
        assert_unharmed(outcomes, n, MARGIN_K);
        assert_unchecked(outcomes, n);
    }
}

/* Each morning's forecast errs as much as it says it may, all of it the same way. */
static void test_erring_forecast(void **state)
{
    Ground *h = need_data(state);
    g_autoptr(GRand) errors = g_rand_new_with_seed(ERROR_SEED);
    Outcome outcomes[STARTS_MAX];

    print_message("# forecasts err, seed %d\n", ERROR_SEED);
    for (size_t c = 0; c < G_N_ELEMENTS(cases); c++) {
        int n = run_case(h, &cases[c], 0, errors, outcomes);
        assert_unharmed(outcomes, n, 0);
        assert_in_range(count_ready(outcomes, n, 3, DAYS_MAX), (n + 1) / 2, n);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cabbage),
        cmocka_unit_test(test_others),
        cmocka_unit_test(test_colder),
        cmocka_unit_test(test_erring_forecast),
    };
    return cmocka_run_group_tests_name("hindcast-seattle", tests, set_up, tear_down);
}
