/* SPDX-License-Identifier: MIT */
/* Water: FAO-56's worked examples (Allen et al. 1998), and what a plan makes of dry trays. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "climate/air.h"
#include "climate/water.h"
#include "plan-garden.h"

#define MJ_H (1 / 0.0036) /* W/m² per MJ/m² an hour */

static World world;

static void test_constants(void **state)
{
    (void)state;
    /* example 2: 81.8 kPa; example 17: slope at 30.2 °C; example 14: 3.2 m/s at 10 m */
    assert_float_equal(water_psychrometric_kpa(81.8), 0.054, 5e-4);
    assert_float_equal(water_slope_kpa(30.2), 0.246, 5e-4);
    assert_float_equal(water_wind_2m(3.2), 2.4, 0.05);
    /* example 3, and example 20 */
    assert_float_equal((air_saturation_kpa(15) + air_saturation_kpa(24.5)) / 2, 2.39, 5e-3);
    assert_float_equal(air_saturation_kpa(14.8), 1.68, 5e-3);
}

static void test_hourly_example(void **state)
{
    (void)state; /* example 19, N'Diaye, 8 m above the sea; from memory, its steps agree by hand */
    const double pressure = 101.2;
    const WaterAir night = {.air_c = 28,
                            .vapour_kpa = 0.90 * air_saturation_kpa(28),
                            .wind_ms = 1.9,
                            .net_wm2 = -0.100 * MJ_H,
                            .pressure_kpa = pressure};
    const WaterAir day = {.air_c = 38,
                          .vapour_kpa = 0.52 * air_saturation_kpa(38),
                          .wind_ms = 3.3,
                          .net_wm2 = 1.749 * MJ_H,
                          .pressure_kpa = pressure,
                          .daylight = true};
    assert_float_equal(water_reference_mm_h(&night), 0.00, 0.005);
    assert_float_equal(water_reference_mm_h(&day), 0.63, 0.005);
}

static void test_properties(void **state)
{
    (void)state;
    double last = -1;
    for (int light = 0; light <= 900; light += 100) { /* more light, more loss; never dew */
        const OutdoorStep out = {.air_c = 18, .sky_c = 4, .wind_ms = 3, .dew_point_c = 8};
        const PlaceStep met = {.air_c = 18, .light_wm2 = light};
        const double open = water_loss_mm(&out, &met, true);
        assert_true(open >= 0 && open >= last);
        last = open;
    }
    /* 24 cells of 90 ml hold more than 104 of 13 ml, and a litre is a litre */
    assert_true(water_held_mm(90, 24) > water_held_mm(13, 104));
    assert_float_equal(water_litres(water_held_mm(90, 24)), 0.25 * 90 * 24 / 1000, 1e-9);
}

static Plan make(void)
{
    static char *memory;
    const size_t size = (size_t)64 << 20;
    if (memory == NULL)
        memory = malloc(size);
    assert_non_null(memory);
    Arena arena = {.base = (void *)memory, .size = size};
    Plan plan;
    assert_true(plan_make(&world.snapshot, 100000, &arena, &plan));
    return plan;
}

static int waterings(const Plan *p, bool dry)
{
    int n = 0;
    for (int j = 0; j < p->n_jobs; j++) {
        const Job *job = &p->jobs[j];
        if (job->reason.limit != LIMIT_WATER)
            continue;
        assert_true(job->kind == (job->visit >= 0 ? JOB_WATER : JOB_RESCUE));
        assert_false(world.places[job->place].indoors);
        assert_true(job->visit >= 0 || job->deadline_utc >= world.snapshot.now_utc);
        assert_true(job->visit < 0 ||
                    world.garden.places[job->place].site == p->visits[job->visit].site);
        n += (job->kind == JOB_RESCUE) == dry;
    }
    return n;
}

/* Cabbages in a frame at the plot, in cells of `ml`. */
static Plan in_the_frame(double ml, double cloud, double mean_c)
{
    world_open(&world, mean_c, 6, cloud);
    for (int s = 0; s < 2; s++)
        for (int i = 0; i <= TEST_STEPS; i++)
            world.steps[s][i].dew_point_c = mean_c - 8;
    world_windows(&world, true);
    world.growers[0].visits_a_day_away = 2;
    world_batch(&world, 0, CABBAGE, FRAME, BED, STAGE_HARDENING);
    world.containers[0].volume_ml = ml;
    world.containers[0].per_tray = 40;
    return make();
}

static void test_dry_trays(void **state)
{
    (void)state;
    const Plan pots = in_the_frame(2000, 0, 14);
    assert_int_equal(waterings(&pots, false) + waterings(&pots, true), 0);
    /* three millilitres a cell are gone before noon, whoever watered in the morning */
    const Plan thimbles = in_the_frame(3, 0, 14);
    assert_true(waterings(&thimbles, true) > 0);
    /* what lasts a clear day twice over lasts a dull one longer */
    const Plan dull = in_the_frame(40, 1, 6);
    assert_int_equal(waterings(&dull, true), 0);
}

static void test_morning(void **state)
{
    (void)state;
    const Plan p = in_the_frame(25, 0, 14);
    assert_true(waterings(&p, false) > 0);
    for (int j = 0; j < p.n_jobs; j++)
        if (p.jobs[j].kind == JOB_WATER) {
            print_message("watering at %d h, %.2f of %.2f l\n",
                          (int)(p.visits[p.jobs[j].visit].start_utc % 86400 / 3600),
                          p.jobs[j].reason.predicted_c, p.jobs[j].reason.limit_c);
            assert_true(p.jobs[j].reason.predicted_c > 0.3 * p.jobs[j].reason.limit_c);
        }
}

/* Cabbages that have used a share of what their tray holds, in a dull cool garden; watering of a
 * place is published for the first morning, -1 none. */
static Plan with_used(double share, int published)
{
    static Job asked;
    (void)in_the_frame(60, 1, 8);
    world.batches[0].used_mm = share * water_held_mm(60, 40);
    if (published >= 0) {
        world.former[0] =
            (Visit){.site = PLOT, .start_utc = START_UTC + 7 * 3600, .minutes = 15, .n_jobs = 1};
        asked = (Job){.kind = JOB_WATER, .place = published, .batch = -1, .position = -1};
        world.snapshot.n_former = 1;
        world.snapshot.former_jobs = &asked;
        world.snapshot.n_former_jobs = 1;
    }
    return make();
}

static int first_day(const Plan *p)
{
    int n = 0;
    for (int j = 0; j < p->n_jobs; j++)
        n += p->jobs[j].reason.limit == LIMIT_WATER &&
             (p->jobs[j].visit < 0 ? p->jobs[j].deadline_utc
                                   : p->visits[p->jobs[j].visit].start_utc) < START_UTC + 86400;
    return n;
}

/* What was lost before counts, and more of it asks no less. */
static void test_remembered(void **state)
{
    (void)state;
    int last = 0, asked_from = -1, place = -1;
    for (int k = 0; k <= 19; k++) {
        const Plan p = with_used(0.05 * k, -1);
        const int n = first_day(&p) > 0;
        assert_true(n >= last);
        if (n && asked_from < 0)
            asked_from = k;
        for (int j = 0; place < 0 && j < p.n_jobs; j++)
            place = p.jobs[j].kind == JOB_WATER ? p.jobs[j].place : -1;
        last = n;
        if (asked_from < 0)
            place = -1;
    }
    print_message("asked on the first day from %d/20 used on\n", asked_from);
    assert_true(asked_from > 0 && asked_from < 19);
    /* Asked for once, it stays until a quarter less: no coming and going with each forecast. */
    const Plan fresh = with_used(0.05 * (asked_from - 1), -1);
    assert_int_equal(first_day(&fresh), 0);
    const Plan published = with_used(0.05 * (asked_from - 1), place);
    assert_true(first_day(&published) > 0);
}

/* A cell that outlasts a day, not an absence: it is named, near as an alarm, far as a note. */
static void test_absence(void **state)
{
    (void)state;
    in_the_frame(60, 0.3, 14);
    world_absent(&world, 1, 4);
    const Plan near = make();
    assert_true(waterings(&near, false) + waterings(&near, true) > 0);
    in_the_frame(60, 0.3, 14);
    world_absent(&world, 5, 8);
    const Plan far = make();
    int named = 0;
    for (int i = 0; i < far.n_notes; i++)
        named += far.notes[i].limit == LIMIT_WATER && far.notes[i].batch == 0 &&
                 far.notes[i].at_utc > START_UTC + 4 * 86400;
    assert_int_equal(named, 1);
    in_the_frame(2000, 0.3, 14);
    world_absent(&world, 5, 8);
    const Plan large = make();
    assert_int_equal(large.n_notes, 0);
}

static void test_indoors(void **state)
{
    (void)state; /* watered daily as the grower passes */
    world_open(&world, 7, 4, 0.4);
    world_batch(&world, 0, TOMATO, SILL, BED, STAGE_GROWING_ON);
    world.containers[0].volume_ml = 3;
    world.containers[0].per_tray = 40;
    const Plan p = make();
    assert_int_equal(waterings(&p, false) + waterings(&p, true), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_constants),  cmocka_unit_test(test_hourly_example),
        cmocka_unit_test(test_properties), cmocka_unit_test(test_dry_trays),
        cmocka_unit_test(test_morning),    cmocka_unit_test(test_indoors),
        cmocka_unit_test(test_remembered), cmocka_unit_test(test_absence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
