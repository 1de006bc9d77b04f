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
#include "climate/sun.h"
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

static void test_sun_examples(void **state)
{
    (void)state;
    /* example 8, page 80: 20° south, 3 September; example 18, page 115: 50.80° north, 6 July */
    assert_float_equal(sun_extraterrestrial_mj(-20, 246), 32.2, 0.05);
    assert_float_equal(sun_extraterrestrial_mj(50.80, 187), 41.09, 0.05);
    /* example 18: clear sky 0.75 + 2e-5 z of it, at 100 m */
    assert_float_equal((0.75 + 2e-5 * 100) * sun_extraterrestrial_mj(50.80, 187), 30.90, 0.05);
    /* example 9, page 83: daylight of example 8, 11.7 h, by the sun's centre. Ours is 11.64: the
     * sun's declination of that day is 7.4°, the manual's formula gives 6.9°. */
    const int64_t noon = sun_noon_utc(1756900800, 0); /* 2025-09-03 12:00 */
    int64_t rise = 0, set = 0;
    assert_true(sun_rise_set(noon, -20, 0, 0, &rise, &set));
    print_message("example 9: 11.7 h, ours %.2f\n", (double)(set - rise) / 3600);
    assert_float_equal((double)(set - rise) / 3600, 11.7, 0.1);
    /* Examples 10 and 11, pages 84 and 87: sunshine 7.1 of 10.9 h, 19.1 to 25.1 °C, 2.1 kPa: net
     * long waves 3.5 MJ/m². Our own sky, as cloudy as the sun was away: a tenth off at most. */
    const double cloud = 1 - 7.1 / 10.9, dew = air_dew_point_c(2.1);
    const double kelvin4 = (pow(19.1 + 273.15, 4) + pow(25.1 + 273.15, 4)) / 2;
    const double lost = 5.670374e-8 * kelvin4 * (1 - air_sky_emissivity(dew, cloud)) * 0.0864;
    print_message("example 11: 3.5 MJ/m2, our sky %.2f\n", lost);
    assert_float_equal(lost, 3.5, 0.35);
}

/* Example 18, Uccle, 6 July; its steps as recalculated in public code (docs/water.md). */
static void test_daily_example(void **state)
{
    (void)state;
    const double lacking = 1.997 - 1.409;
    assert_float_equal(water_psychrometric_kpa(100.1), 0.0666, 5e-5);
    assert_float_equal(water_slope_kpa(16.9), 0.122, 5e-4);
    assert_float_equal(water_wind_2m(10 / 3.6), 2.078, 2e-3);
    assert_float_equal((air_saturation_kpa(12.3) + air_saturation_kpa(21.5)) / 2, 1.997, 1e-3);
    /* The daily equation with the hourly one's 37 for 37.5: no heat goes into the ground of a day,
     * so its tenth is given back. */
    const WaterAir mean = {.air_c = 16.9,
                           .vapour_kpa = air_saturation_kpa(16.9) - lacking,
                           .wind_ms = 2.078,
                           .net_wm2 = 13.28 * MJ_H / 24 / 0.9,
                           .pressure_kpa = 100.1,
                           .daylight = true};
    assert_float_equal(24 * water_reference_mm_h(&mean), 3.88, 0.05);
    /* The same day by half-hours: a sine of temperature, the clear sky's course scaled to 22.07
     * MJ/m² and 3.71 of long waves spread evenly. The hourly law is another one: a tenth at most.
     */
    const int64_t midnight = 1751760000; /* 2025-07-06, at the sun's time of Greenwich */
    const double clear = sun_clear_sky_mean_wm2(midnight, midnight + 86400, 50.80, 0) * 0.0864;
    double sum = 0;
    for (int i = 0; i < 48; i++) {
        const int64_t utc = midnight + (int64_t)i * STEP_S;
        const double light = sun_clear_sky_mean_wm2(utc, utc + STEP_S, 50.80, 0) * 22.07 / clear;
        const WaterAir air = {.air_c = 16.9 - 4.6 * cos((i / 2.0 - 3) * 3.14159265 / 12),
                              .vapour_kpa = 1.409,
                              .wind_ms = 2.078,
                              .net_wm2 = 0.77 * light - 3.71 * MJ_H / 24,
                              .pressure_kpa = 100.1,
                              .daylight = light > 0};
        sum += water_reference_mm_h(&air) / STEPS_PER_H;
    }
    print_message("example 18: 3.9 mm, by half-hours %.2f\n", sum);
    assert_float_equal(sum, 3.9, 0.39);
}

/* Example 19, N'Diaye, 8 m above the sea, 1 October. */
static void test_hourly_example(void **state)
{
    (void)state;
    const double pressure = 101.2;
    const WaterAir night = {.air_c = 28,
                            .vapour_kpa = 0.90 * air_saturation_kpa(28),
                            .wind_ms = 1.9,
                            .net_wm2 = -0.100 * MJ_H, /* from memory */
                            .pressure_kpa = pressure};
    const WaterAir day = {.air_c = 38,
                          .vapour_kpa = 0.52 * air_saturation_kpa(38),
                          .wind_ms = 3.3,
                          .net_wm2 = 1.749 * MJ_H,
                          .pressure_kpa = pressure,
                          .daylight = true};
    assert_float_equal(water_psychrometric_kpa(pressure), 0.0673, 5e-5);
    assert_float_equal(water_slope_kpa(38), 0.358, 5e-4);
    assert_float_equal(air_saturation_kpa(38), 6.625, 1e-3);
    assert_float_equal(day.vapour_kpa, 3.445, 1e-3);
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
    return world_made(&world);
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
        if (p.jobs[j].kind == JOB_WATER && p.jobs[j].batch < 0) {
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
    return world_made(&world);
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
    const Plan near = world_made(&world);
    assert_true(waterings(&near, false) + waterings(&near, true) > 0);
    in_the_frame(60, 0.3, 14);
    world_absent(&world, 5, 8);
    const Plan far = world_made(&world);
    int named = 0;
    for (int i = 0; i < far.n_notes; i++)
        named += far.notes[i].limit == LIMIT_WATER && far.notes[i].batch == 0 &&
                 far.notes[i].at_utc > START_UTC + 4 * 86400;
    assert_int_equal(named, 1);
    in_the_frame(2000, 0.3, 14);
    world_absent(&world, 5, 8);
    const Plan large = world_made(&world);
    assert_int_equal(large.n_notes, 0);
}

static void test_indoors(void **state)
{
    (void)state; /* watered daily as the grower passes */
    world_open(&world, 7, 4, 0.4);
    world_batch(&world, 0, TOMATO, SILL, BED, STAGE_GROWING_ON);
    world.containers[0].volume_ml = 3;
    world.containers[0].per_tray = 40;
    const Plan p = world_made(&world);
    assert_int_equal(waterings(&p, false) + waterings(&p, true), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_constants),     cmocka_unit_test(test_sun_examples),
        cmocka_unit_test(test_daily_example), cmocka_unit_test(test_hourly_example),
        cmocka_unit_test(test_properties),    cmocka_unit_test(test_dry_trays),
        cmocka_unit_test(test_morning),       cmocka_unit_test(test_indoors),
        cmocka_unit_test(test_remembered),    cmocka_unit_test(test_absence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
