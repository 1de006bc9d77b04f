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

/* What one forecaster says this morning, where it is so much milder. */
typedef struct Milder {
    Forecaster forecaster;
    double shift_k;
} Milder;

static void foresee(void *data, int h, double lead_h, WeatherHour *hour)
{
    const Milder *m = data;

    (void)lead_h;
    hour->temperature_c -= m->shift_k;
    forecaster_err(&m->forecaster, h, hour);
    hour->temperature_c += m->shift_k;
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
    Milder milder = {.shift_k = shift_k};
    g_autoptr(GRand) random = g_rand_new_with_seed(SEED);
    int warned = 0;

    open_frame(w);
    forecaster_begin(random, &chicago, f->days, day, day, &milder.forecaster);
    w->hooks = (WorldHooks){.data = &milder, .foresee = foresee};
    for (guint32 s = 0; s < ERROR_SEEDS; s++) {
        Plan plan;

        g_rand_set_seed(random, SEED + s);
        hidden_errors_begin(random, &milder.forecaster.errors);
        for (int before = 0; before < DAYS_BEFORE; before++)
            hidden_errors_next(&milder.forecaster.errors);
        world_plan(w, 0, &f->arena, &plan);
        warned += warns(w, &plan);
    }
    forecaster_clear(&milder.forecaster);
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
