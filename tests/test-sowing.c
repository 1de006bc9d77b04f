/* SPDX-License-Identifier: MIT */
/* The course of one sowing: worked examples, each reckoned by hand beside it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "plan/plan.h"
#include "plan/sowing.h"

#define DAY_S 86400
#define MARCH_1 1772323200 /* 2026-03-01 00:00 UTC */

enum { PROPAGATOR, SILL, TUNNEL, BED };
enum { TOMATO, BEAN };

typedef struct World {
    Garden garden;
    Site site;
    Place places[4];
    Crop crops[2];
    Container container;
} World;

/* Night 8 °C, day 16 °C, all year; last frost on 12 May, spread 12 days. */
static World world(void)
{
    World w = {.site = {.last_frost_month = 5, .last_frost_day = 12, .last_frost_sd_d = 12},
               .container = {.name = "cells-40", .per_tray = 40, .hold_max_weeks = 6}};
    for (int m = 0; m < 12; m++) {
        w.site.normals.mean_c[m] = 12;
        w.site.normals.daily_range_k[m] = 8;
    }
    for (int p = 0; p < 4; p++)
        w.places[p] = (Place){.parent = -1, .set_point_c = NAN, .soil_set_point_c = NAN};
    w.places[PROPAGATOR].indoors = w.places[SILL].indoors = true;
    w.places[PROPAGATOR].indoor_night_c = w.places[PROPAGATOR].indoor_day_c = 20;
    w.places[SILL].indoor_night_c = 12;
    w.places[SILL].indoor_day_c = 20;
    w.places[TUNNEL].covered = true;
    /* as in the crop data; 6 weeks to plant, and 4 to leave the heat */
    w.crops[TOMATO] = (Crop){.name = "tomato",
                             .germinate_at_c = 29.4,
                             .germinate_from_c = 10,
                             .germinate_below_c = 40,
                             .emergence_base_c = 7.5,
                             .emergence_kd = 103,
                             .leaf_base_c = 7,
                             .leaf_kd = 33.3,
                             .prick_out_leaves = 2,
                             .growing_on_night_c = 15,
                             .floor_soft_c = 9,
                             .floor_hardened_c = 6,
                             .damage_hardened_c = -6, /* or it would wait for the last frost */
                             .drop_first_k = 3,
                             .drop_k = 3,
                             .weeks_to_harden = 4,
                             .weeks_to_plant = 6,
                             .settle_days = 5};
    w.crops[BEAN] = w.crops[TOMATO];
    w.crops[BEAN].prick_out_leaves = -1;
    w.crops[BEAN].leaf_kd = NAN;
    return w;
}

static Sowing tomato_of(World *w)
{
    w->garden = (Garden){.sites = &w->site,
                         .places = w->places,
                         .crops = w->crops,
                         .containers = &w->container,
                         .n_sites = 1,
                         .n_places = 4,
                         .n_crops = 2,
                         .n_containers = 1};
    return (Sowing){.garden = &w->garden,
                    .crop = TOMATO,
                    .container = 0,
                    .seed_place = PROPAGATOR,
                    .raised_place = SILL,
                    .destination = BED,
                    .sown_utc = MARCH_1};
}

static double day_of(int64_t utc)
{
    return (double)(utc - MARCH_1) / DAY_S;
}

#define assert_day(utc, day) assert_true(fabs(day_of(utc) - (day)) < 0.02)

static void test_forwards(void **state)
{
    World w = world();
    const Sowing s = tomato_of(&w);
    SowingCourse c;

    (void)state;
    sowing_course(&s, &c);
    assert_int_equal(c.fit, SEED_FITS);
    /* 103 / (20 − 7.5) = 8.24 days, a fifth of it either side */
    assert_day(c.emerged_utc, 8.24);
    assert_day(c.early_utc, 8.24 - 1.648);
    assert_day(c.late_utc, 8.24 + 1.648);
    /* two leaves at a mean of 16 °C: 2 · 33.3 / 9 = 7.4 days */
    assert_day(c.prick_out_utc, 8.24 + 7.4);
    /* four weeks; at 18 °C the seed would have taken 9.8 days, so nothing comes on top */
    assert_day(c.leave_utc, 28);
    assert_false(c.leave_waits);
    /* six days in the open, three nights, and from 15 to 8 °C by 3 K a day: 11.33 */
    assert_int_equal(c.harden_days, 12);
    assert_day(c.fit_utc, 42);
    assert_day(c.plant_utc, 42);
    assert_day(c.held_utc, 8.24 + 7.4 + 42);
    assert_true(fabs(c.normal_low_c - 8) < 1e-9);
    assert_false(c.never_mild);
}

static void test_slow_seed_comes_on_top(void **state)
{
    World w = world();
    Sowing s = tomato_of(&w);
    SowingCourse c;

    (void)state;
    /* on the sill: 103 / (16 − 7.5) = 12.12 days, 2.31 more than at 18 °C */
    s.seed_place = SILL;
    sowing_course(&s, &c);
    assert_day(c.emerged_utc, 12.118);
    assert_day(c.leave_utc, 28 + 12.118 - 9.810);
    assert_day(c.fit_utc, 42 + 12.118 - 9.810);
    /* seen to be up on day 20: no spread, and later by what it was late */
    s.emerged_utc = MARCH_1 + INT64_C(20) * DAY_S;
    sowing_course(&s, &c);
    assert_day(c.early_utc, 20);
    assert_day(c.late_utc, 20);
    assert_day(c.fit_utc, 42 + 20 - 9.810);
}

/* A crop that stays where it was sown waits for no pricking out. */
static void test_sown_where_it_stays(void **state)
{
    World w = world();
    Sowing s = tomato_of(&w);
    SowingCourse c;

    (void)state;
    s.crop = BEAN;
    sowing_course(&s, &c);
    assert_true(c.prick_out_utc == 0);
    assert_day(c.held_utc, 42);
    s.container = -1;
    sowing_course(&s, &c);
    assert_true(c.held_utc == 0);
}

/* Months that get warmer: nights of 2, 4, 6 °C in mid-March, April, May, to 10 in July. */
static void test_waits_for_the_season(void **state)
{
    World w = world();
    const double lows_c[12] = {-2, 0, 2, 4, 6, 8, 10, 8, 6, 4, 2, 0};
    Sowing s = tomato_of(&w);
    SowingCourse c;

    (void)state;
    for (int m = 0; m < 12; m++)
        w.site.normals.mean_c[m] = lows_c[m] + 4;
    sowing_course(&s, &c);
    /* fit by its size on day 42, 12 April; nights of 6 °C from the middle of the fifth twelfth of
     * the year, day 137 of it: 78 from 1 March */
    assert_day(c.fit_utc, 42);
    assert_true(c.normal_low_c < 4 && c.normal_low_c > 3.5);
    assert_true(c.leave_waits);
    assert_true(fabs(day_of(c.plant_utc) - 78) < 1);
    /* it leaves the heat at most a fortnight before nights there are so */
    assert_true(fabs(day_of(c.plant_utc) - day_of(c.leave_utc) - 14) < 2);
    assert_true(c.plant_utc > c.held_utc);
    /* 9.9 °C: a twentieth of a month before the middle of July, day 139; 11: never */
    w.crops[TOMATO].floor_hardened_c = 9.9;
    w.crops[TOMATO].floor_soft_c = 12;
    sowing_course(&s, &c);
    assert_true(fabs(day_of(c.plant_utc) - 137.3) < 1.5);
    assert_false(c.never_mild);
    w.crops[TOMATO].floor_hardened_c = 11;
    sowing_course(&s, &c);
    assert_true(c.never_mild);
}

/* Backwards is forwards turned round: a day later would be too late, whatever the season. */
static void test_backwards(void **state)
{
    World w = world();
    const Sowing s = tomato_of(&w);
    SowingCourse c, later;

    (void)state;
    for (int place = PROPAGATOR; place <= TUNNEL; place++) {
        for (int crop = TOMATO; crop <= BEAN; crop++) {
            for (int day = 60; day < 420; day += 45) {
                const int64_t out_utc = MARCH_1 + (int64_t)day * DAY_S;
                Sowing one = s;
                int64_t sown_utc = 0;
                one.crop = crop;
                one.seed_place = place;
                assert_true(sowing_for(&one, out_utc, &sown_utc, &c));
                assert_true(c.fit_utc <= out_utc);
                assert_true((out_utc - sown_utc) % DAY_S == 0);
                one.sown_utc = sown_utc + DAY_S;
                sowing_course(&one, &later);
                assert_true(later.fit_utc > out_utc);
            }
        }
    }
    /* six weeks in the propagator; 2.31 days more on the sill */
    int64_t sown_utc = 0;
    assert_true(sowing_for(&s, MARCH_1, &sown_utc, &c));
    assert_day(sown_utc, -42);
    Sowing sill = s;
    sill.seed_place = SILL;
    assert_true(sowing_for(&sill, MARCH_1, &sown_utc, &c));
    assert_day(sown_utc, -45);
}

static void test_too_cold(void **state)
{
    World w = world();
    Sowing s = tomato_of(&w);
    SowingCourse c;
    int64_t sown_utc = 0;

    (void)state;
    w.places[SILL].indoor_night_c = 4;
    w.places[SILL].indoor_day_c = 10;
    s.seed_place = SILL;
    sowing_course(&s, &c);
    assert_int_equal(c.fit, SEED_TOO_COLD);
    w.places[SILL].indoor_day_c = 7;
    sowing_course(&s, &c);
    assert_int_equal(c.fit, SEED_TOO_COLD);
    assert_false(isfinite(c.days_to_emerge));
    assert_true(c.emerged_utc == 0 && c.plant_utc == 0);
    assert_false(sowing_for(&s, MARCH_1, &sown_utc, &c));
}

static void test_warmth_of_places(void **state)
{
    World w = world();
    double low_c, high_c;

    (void)state;
    tomato_of(&w);
    sowing_warmth(&w.garden, BED, MARCH_1, &low_c, &high_c);
    assert_true(fabs(low_c - 8) < 1e-9 && fabs(high_c - 16) < 1e-9);
    sowing_warmth(&w.garden, TUNNEL, MARCH_1, &low_c, &high_c); /* Savage 1980 */
    assert_true(fabs(low_c - 9.3) < 1e-9 && fabs(high_c - 20.2) < 1e-9);
    /* a heater that lifts a room of 12 to 20 °C by 5 K at most, to 18 */
    w.places[SILL].set_point_c = 18;
    w.places[SILL].lift_k = 5;
    sowing_warmth(&w.garden, SILL, MARCH_1, &low_c, &high_c);
    assert_true(fabs(low_c - 17) < 1e-9 && fabs(high_c - 20) < 1e-9);
    /* a cable in the bed */
    w.places[BED].cable_w = 100;
    w.places[BED].soil_set_point_c = 14;
    sowing_warmth(&w.garden, BED, MARCH_1, &low_c, &high_c);
    assert_true(fabs(low_c - 14) < 1e-9 && fabs(high_c - 16) < 1e-9);
}

/* The plan counts the weeks of a batch by when it was told to be up. */
static void test_weeks_by_evidence(void **state)
{
    World w = world();
    Batch batch = {.crop = TOMATO,
                   .place = SILL,
                   .destination = BED,
                   .stage = STAGE_GROWING_ON,
                   .sown_utc = MARCH_1};
    const int64_t weeks_4 = MARCH_1 + INT64_C(28) * DAY_S;

    (void)state;
    tomato_of(&w);
    assert_true(plan_weeks_from(&w.garden, &batch) == MARCH_1);
    assert_true(plan_may_harden(&w.garden, &batch, weeks_4));
    /* up on day 20, where 18 °C brings it up in 103 / 10.5 = 9.810 days: 10.19 days later */
    batch.emerged_utc = MARCH_1 + INT64_C(20) * DAY_S;
    assert_day(plan_weeks_from(&w.garden, &batch), 10.190);
    assert_false(plan_may_harden(&w.garden, &batch, weeks_4 + INT64_C(10) * DAY_S));
    assert_true(plan_may_harden(&w.garden, &batch, weeks_4 + INT64_C(11) * DAY_S));
    /* sooner gains nothing; bought plants have no seed */
    batch.emerged_utc = MARCH_1 + INT64_C(5) * DAY_S;
    assert_true(plan_weeks_from(&w.garden, &batch) == MARCH_1);
    batch.emerged_utc = MARCH_1 + INT64_C(20) * DAY_S;
    batch.bought = true;
    assert_true(plan_weeks_from(&w.garden, &batch) == MARCH_1);
}

/* A normal last frost, 12 May and 12 days: one, two spreads on, 15.87 and 2.28 % (any table). */
static void test_frost_odds(void **state)
{
    const World w = world();
    const int64_t may_12 = MARCH_1 + INT64_C(72) * DAY_S;

    (void)state;
    assert_true(fabs(sowing_frost_odds(&w.site, may_12) - 0.5) < 0.03);
    assert_true(fabs(sowing_frost_odds(&w.site, may_12 + INT64_C(12) * DAY_S) - 0.1587) < 0.03);
    assert_true(fabs(sowing_frost_odds(&w.site, may_12 + INT64_C(24) * DAY_S) - 0.0228) < 0.01);
    assert_true(sowing_frost_odds(&w.site, MARCH_1) > 0.999);
    assert_true(isnan(sowing_frost_odds(&w.site, may_12 + INT64_C(100) * DAY_S)));
    /* the year before, and a spring in the south: November */
    assert_true(fabs(sowing_frost_odds(&w.site, may_12 - INT64_C(365) * DAY_S) - 0.5) < 0.04);
    Site south = w.site;
    south.last_frost_month = 11;
    assert_true(isnan(sowing_frost_odds(&south, may_12)));
    assert_true(sowing_frost_odds(&south, MARCH_1 + INT64_C(200) * DAY_S) > 0.9);
}

/*
 * Last frost 12 May, spread 12 days: of what a frost harms, the list begins where one is left to
 * come in one spring of ten, 12 · 1.2816 = 15.4 days on, on 28 May. What bears one does not wait.
 */
static void test_waits_for_the_last_frost(void **state)
{
    World w = world();
    const Sowing s = tomato_of(&w);
    const int64_t may_1 = MARCH_1 + INT64_C(61) * DAY_S;
    Batch batch = {.crop = TOMATO, .place = SILL, .destination = BED};
    SowingCourse c;

    (void)state;
    assert_day(plan_season_from(s.garden, &batch, may_1), 61);
    assert_true(plan_late_frost_odds(s.garden, &batch, may_1) == 0.0);
    w.crops[TOMATO].damage_hardened_c = 0;
    assert_true(plan_late_frost_odds(s.garden, &batch, may_1) > 0.5);
    assert_true(fabs(day_of(plan_season_from(s.garden, &batch, may_1)) - 88) < 1.02);
    sowing_course(&s, &c);
    assert_true(fabs(day_of(c.plant_utc) - 88) < 1.02 && c.plant_utc > c.fit_utc);
    /* under film, where nights rise by 2.4 K in a month, 1.3 K are sixteen days; and by fleece,
       that may be laid over the bed, 1 K is twelve and a half */
    for (int m = 0; m < 12; m++)
        w.site.normals.mean_c[m] = 12 + 2.4 * (m < 6 ? m : 11 - m);
    w.places[TUNNEL].covered = true;
    batch.destination = TUNNEL;
    const double film_d = day_of(plan_season_from(s.garden, &batch, MARCH_1));
    assert_true(fabs(film_d - (88 - 16.2)) < 1.6);
    batch.destination = BED;
    w.places[TUNNEL].kind = PLACE_FLEECE;
    w.places[TUNNEL].parent = BED;
    const double fleece_d = day_of(plan_season_from(s.garden, &batch, MARCH_1));
    assert_true(fabs(fleece_d - (88 - 12.5)) < 1.6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_forwards),
        cmocka_unit_test(test_slow_seed_comes_on_top),
        cmocka_unit_test(test_sown_where_it_stays),
        cmocka_unit_test(test_waits_for_the_season),
        cmocka_unit_test(test_backwards),
        cmocka_unit_test(test_too_cold),
        cmocka_unit_test(test_warmth_of_places),
        cmocka_unit_test(test_weeks_by_evidence),
        cmocka_unit_test(test_frost_odds),
        cmocka_unit_test(test_waits_for_the_last_frost),
    };
    return cmocka_run_group_tests_name("sowing", tests, NULL, NULL);
}
