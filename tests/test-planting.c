/* SPDX-License-Identifier: MIT */
/* Planting day: watered before, guarded after, under a fleece where the night asks for it. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "plan-garden.h"

#define HOUR_S 3600
#define DAY_S 86400

static World world;

/* Cabbages that are ready, in the frame at the plot, for the bed. */
static void open_ready(double mean_c, int n, bool mornings)
{
    world_open(&world, mean_c, 5, 0.6);
    world_windows(&world, mornings);
    strcpy(world.containers[0].name, "cells-40");
    world.containers[0].volume_ml = 50;
    world.containers[0].per_tray = 40;
    for (int i = 0; i < n; i++) {
        world_batch(&world, i, CABBAGE, FRAME, BED, STAGE_READY);
        Batch *b = &world.batches[i];
        b->ramp.exposure_days = 6;
        b->ramp.hardened_to_c = 2.0;
        b->ramp.frost_tolerance = 1.0;
        b->used_mm = 4.0;
        for (int k = 0; k < NIGHTS_KEPT; k++)
            b->ramp.nights_shelter[k] = 0.0;
    }
}

/* The index of the first job of a kind from `from` on; -1 none. */
static int find(const Plan *p, JobKind kind, int batch, int from)
{
    for (int j = from; j < p->n_jobs; j++)
        if (p->jobs[j].visit >= 0 && p->jobs[j].kind == kind && p->jobs[j].batch == batch)
            return j;
    return -1;
}

static int count(const Plan *p, JobKind kind, int visit)
{
    int n = 0;
    for (int j = 0; j < p->n_jobs; j++)
        n += p->jobs[j].kind == kind && p->jobs[j].visit == visit;
    return n;
}

static int64_t start_of(const Plan *p, int job)
{
    return p->visits[p->jobs[job].visit].start_utc;
}

/* On one visit: watered first, then planted, then guarded; what each is about. */
static void test_walking_order(void **state)
{
    (void)state;
    open_ready(11, 1, false);
    Plan p = world_made(&world);
    const int plant = find(&p, JOB_PLANT_OUT, 0, 0), water = find(&p, JOB_WATER, 0, 0),
              guard = find(&p, JOB_PROTECT, -1, 0);
    assert_true(plant >= 0 && water >= 0 && guard >= 0);
    assert_int_equal(p.jobs[plant].visit, p.jobs[guard].visit);
    assert_true(water < plant && plant < guard);
    assert_int_equal(p.jobs[plant].place, BED);
    assert_int_equal(p.jobs[guard].place, BED);
    assert_int_equal(p.jobs[water].place, FRAME);
    assert_int_equal(p.jobs[water].reason.batch, 0);
    assert_int_equal(p.jobs[water].reason.at_utc, start_of(&p, plant));
}

/* At the last visit of the day before, where there is one: never more than a day before, nor less
 * than an hour before they are lifted but for the visit itself. */
static void test_the_visit_before(void **state)
{
    int before = 0, same = 0;
    (void)state;
    for (int mean_c = 9; mean_c <= 14; mean_c++) {
        open_ready(mean_c, 1, true);
        world_batch(&world, 1, CABBAGE, FRAME, BED, STAGE_HARDENING); /* has work at any time */
        Plan p = world_made(&world);
        const int plant = find(&p, JOB_PLANT_OUT, 0, 0), water = find(&p, JOB_WATER, 0, 0);
        if (plant < 0)
            continue;
        if (water < 0) /* the whole frame was watered */
            continue;
        const int64_t lead_s = start_of(&p, plant) - start_of(&p, water);
        assert_true(lead_s == 0 || (lead_s >= HOUR_S && lead_s <= DAY_S));
        for (int v = 0; v < p.n_visits; v++) {
            const int64_t s = start_of(&p, plant) - p.visits[v].start_utc;
            assert_false(p.visits[v].site == PLOT && s >= HOUR_S && s <= DAY_S && s < lead_s);
            assert_false(p.visits[v].site == PLOT && s >= HOUR_S && s <= DAY_S && lead_s == 0);
        }
        before += lead_s > 0;
        same += lead_s == 0;
    }
    print_message("# watered at a visit before: %d, on the same: %d\n", before, same);
    assert_true(before > 0);
}

/* From another site: where they stand, on that site's visit, else before the grower leaves. */
static void test_from_home(void **state)
{
    (void)state;
    open_ready(11, 1, false);
    world.batches[0].place = STANDING;
    world.batches[0].container = -1; /* nothing is known of its water */
    Plan p = world_made(&world);
    const int plant = find(&p, JOB_PLANT_OUT, 0, 0), water = find(&p, JOB_WATER, 0, 0);
    assert_true(plant >= 0 && water >= 0);
    assert_int_equal(p.visits[p.jobs[plant].visit].site, PLOT);
    assert_int_equal(p.jobs[water].place, p.jobs[plant].from_place);
    if (p.jobs[water].visit == p.jobs[plant].visit)
        assert_true(water < plant);
    else
        assert_int_equal(p.visits[p.jobs[water].visit].site, HOME);
}

/* Full trays are lifted as they are, and those of a place that is watered anyway. */
static void test_full(void **state)
{
    (void)state;
    open_ready(11, 1, false);
    world.batches[0].used_mm = 0.0;
    Plan p = world_made(&world);
    assert_true(find(&p, JOB_PLANT_OUT, 0, 0) >= 0);
    assert_int_equal(find(&p, JOB_WATER, 0, 0), -1);
}

/* Each batch is watered, the bed is guarded once. */
static void test_two_in_one_bed(void **state)
{
    (void)state;
    open_ready(11, 2, false);
    Plan p = world_made(&world);
    const int first = find(&p, JOB_PLANT_OUT, 0, 0), second = find(&p, JOB_PLANT_OUT, 1, 0);
    assert_true(first >= 0 && second >= 0);
    assert_int_equal(p.jobs[first].visit, p.jobs[second].visit);
    assert_int_equal(count(&p, JOB_PROTECT, p.jobs[first].visit), 1);
    assert_true(find(&p, JOB_WATER, 0, 0) >= 0 && find(&p, JOB_WATER, 1, 0) >= 0);
}

/* A colder night after planting: the fleece goes on at the same visit, by a job of its own after
 * the planting and the guard, and comes off on a later day, unless the days ahead are too few. */
static void test_fleece(void **state)
{
    int laid = 0, bare = 0, taken_off = 0;
    (void)state;
    for (int k = 0; k < 40; k++) {
        open_ready(10, 1, false);
        /* By default it would wait for milder nights: this grower accepts more. */
        world.garden.risk.damage = 0.2;
        world.garden.risk.check = 100.0;
        world.cloud = 1.0; /* nor does it get hot under it next day */
        world.cold_night = 1;
        world.cold_night_k = 0.5 * k;
        world_weather(&world);
        Plan p = world_made(&world);
        const int plant = find(&p, JOB_PLANT_OUT, 0, 0);
        if (plant < 0)
            continue;
        assert_int_equal(p.jobs[plant].place, BED);
        const int on = find(&p, JOB_MOVE, 0, plant);
        if (on < 0 || p.jobs[on].visit != p.jobs[plant].visit) {
            bare++;
            continue;
        }
        laid++;
        assert_int_equal(p.jobs[on].from_place, BED);
        assert_int_equal(p.jobs[on].place, FLEECE);
        assert_true(on > find(&p, JOB_PROTECT, -1, plant));
        const int off = find(&p, JOB_MOVE, 0, on + 1);
        if (off < 0)
            continue;
        taken_off++;
        assert_int_equal(p.jobs[off].from_place, FLEECE);
        assert_int_equal(p.jobs[off].place, BED);
        assert_true(start_of(&p, off) > start_of(&p, on));
    }
    print_message("# planted bare %d times, under the fleece %d, off again %d\n", bare, laid,
                  taken_off);
    assert_true(bare > 0);
    assert_true(laid > 0);
    assert_true(taken_off > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_walking_order),  cmocka_unit_test(test_the_visit_before),
        cmocka_unit_test(test_from_home),      cmocka_unit_test(test_full),
        cmocka_unit_test(test_two_in_one_bed), cmocka_unit_test(test_fleece),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
