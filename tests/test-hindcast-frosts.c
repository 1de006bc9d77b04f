/* SPDX-License-Identifier: MIT */
/*
 * Two frosts of Chicago after mild days: Easter 2007 and April 2012. Soft plants stand in a frame
 * whose light is off. Whether the plan of the morning before has a job that guards them that night,
 * for a hundred forecasts that err. docs/hindcast.md.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "garden/crops.h"
#include "garden/garden.h"
#include "test-hindcast-hidden.h"
#include "test-hindcast-world.h"

#define SEED 20120410u
#define ERROR_SEEDS 100
#define WARNED_LEAST 95
#define MILD_K 12.0   /* as much warmer, nothing needs a guard */
#define MILD_MOST 5   /* … but for so many wild forecasts */
#define DAYS_BEFORE 4 /* issues before that of the morning, each of which leaves its trace */
#define DAY_S 86400
#define HOUR_S 3600

static int set_up(void **state)
{
    *state = ground_new(&chicago, "America/Chicago", "chicago.csv", hindcast_read_chicago);
    return *state != NULL ? 0 : -1;
}

static int tear_down(void **state)
{
    ground_free(*state);
    return 0;
}

/* The batch in the frame, its light off. */
static void open_frame(World *w)
{
    int frame = garden_find_place(w->garden, "frame");

    w->batch.place = frame;
    w->batch.stage = STAGE_HARDENING;
    w->positions[frame] = w->garden->places[frame].cover.n_positions - 1;
}

/* Errors of this morning's forecast by one forecaster. */
static void draw_errors(const World *w, const GArray *usual, const GArray *warm, guint32 seed,
                        double *ret)
{
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);
    HiddenErrors errors;
    const WeatherHour *truth = (const WeatherHour *)(void *)w->hours->data;
    size_t first = (size_t)((w->now_utc - truth[0].time_utc) / HOUR_S);
    const WeatherHour *mean = (const WeatherHour *)(void *)usual->data;
    size_t from = (size_t)((w->now_utc - mean[0].time_utc) / HOUR_S);
    const WeatherHour *above = (const WeatherHour *)(void *)warm->data;

    hidden_errors_begin(random, &errors);
    for (int day = 0; day < DAYS_BEFORE; day++)
        hidden_errors_next(&errors);
    for (size_t h = 0; h < WORLD_AHEAD_H; h++) {
        double usual_c = mean[from + h].temperature_c;
        ret[h] =
            hidden_errors_k(&errors, (int)h, truth[first + h].temperature_c - w->shift_k - usual_c,
                            above[from + h].temperature_c - usual_c);
    }
}

/* A job of today, urgent or a guard: what a grower is told of in the morning and reminded of. */
static bool warns(const World *w, const Plan *plan)
{
    for (int j = 0; j < plan->n_jobs; j++) {
        const Job *job = &plan->jobs[j];
        if (plan->visits[job->visit].start_utc < w->now_utc + DAY_S && (job->guard || job->urgent))
            return true;
    }
    return false;
}

/* Of ERROR_SEEDS forecasts on the morning of `day`, how many lead to a warning. */
static int count_warned(Ground *f, const char *crop, int32_t day, double shift_k)
{
    g_autoptr(World) w = world_new(f->garden, &chicago, f->days, crop, "bed", day, 2, shift_k);
    g_autoptr(GArray) usual_days = hindcast_usual(f->days, day - 1, day + WORLD_AHEAD_D + 2, 0);
    g_autoptr(GArray) warm_days = hindcast_usual(f->days, day - 1, day + WORLD_AHEAD_D + 2, 1);
    g_autoptr(GArray) usual =
        hindcast_hours(&chicago, usual_days, day - 1, day + WORLD_AHEAD_D + 2, 0);
    g_autoptr(GArray) warm =
        hindcast_hours(&chicago, warm_days, day - 1, day + WORLD_AHEAD_D + 2, 0);
    int warned = 0;

    open_frame(w);
    for (guint32 s = 0; s < ERROR_SEEDS; s++) {
        double errors_k[WORLD_AHEAD_H];
        Plan plan;

        draw_errors(w, usual, warm, SEED + s, errors_k);
        w->errors_k = errors_k;
        world_plan(w, 0, &f->arena, &plan);
        warned += warns(w, &plan);
    }
    w->errors_k = NULL;
    return warned;
}

static void check_frost(void **state, int year, int month, int day_of_month)
{
    static const char *const crops[] = {"lettuce", "tomato"};
    Ground *f = *state;
    int32_t day = hindcast_day(year, month, day_of_month);

    if (f->days == NULL) {
        print_message("# test-data/chicago.csv is missing; .ci/setup fetches it\n");
        skip();
    }
    for (size_t c = 0; c < G_N_ELEMENTS(crops); c++) {
        int warned = count_warned(f, crops[c], day, 0);
        int mild = count_warned(f, crops[c], day, MILD_K);
        print_message("# %s, morning of %d-%02d-%02d: warned in %d of %d, seeds %u and on; were it "
                      "%.0f K milder, %d\n",
                      crops[c], year, month, day_of_month, warned, ERROR_SEEDS, SEED, MILD_K, mild);
        assert_true(warned >= WARNED_LEAST);
        assert_true(mild <= MILD_MOST);
    }
}

/* 8.9 °C in the night before, then four nights from −1.7 down to −5.6 °C. */
static void test_easter_2007(void **state)
{
    check_frost(state, 2007, 4, 3);
}

/* After the mildest March: 0.0 °C in the night to the 11th. */
static void test_april_2012(void **state)
{
    check_frost(state, 2012, 4, 10);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_easter_2007),
        cmocka_unit_test(test_april_2012),
    };
    return cmocka_run_group_tests_name("hindcast-frosts", tests, set_up, tear_down);
}
