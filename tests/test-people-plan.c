/* SPDX-License-Identifier: MIT */
/* What a plan does for several batches, several days and those who carry them. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "plan-garden.h"

static World world;

static int trays_carried(const Plan *p, int visit)
{
    int trays = 0;
    for (int j = 0; j < p->n_jobs; j++) {
        if (p->jobs[j].visit == visit && p->jobs[j].kind == JOB_TRANSFER)
            trays += world.batches[p->jobs[j].batch].trays;
    }
    return trays;
}

static const Visit *visit_of(const Plan *p, JobKind kind, int batch, int place)
{
    for (int j = 0; j < p->n_jobs; j++) {
        const Job *job = &p->jobs[j];
        if (job->visit >= 0 && job->kind == kind && (batch < 0 || job->batch == batch) &&
            (place < 0 || job->place == place))
            return &p->visits[job->visit];
    }
    return NULL;
}

/* ---- trips ---- */

static void cabbages_at_home(void)
{
    world_open(&world, 14, 4, 0.2);
    for (int i = 0; i < 3; i++) {
        world_batch(&world, i, CABBAGE, SILL, BED, STAGE_GROWING_ON);
        world.batches[i].trays = 2;
    }
    world.places[SILL].trays = 6;
}

/* As many as there are; or as many as go at once where there is no time to go again. */
static void test_trays_of_a_trip(void **state)
{
    (void)state;
    cabbages_at_home();
    Plan all = world_made(&world);
    const Visit *first = visit_of(&all, JOB_TRANSFER, -1, -1);
    assert_non_null(first);
    assert_int_equal(trays_carried(&all, (int)(first - all.visits)), 6);

    world.growers[0].trays_per_trip = 2;
    world.growers[0].travel_min = 55;
    Plan few = world_made(&world);
    int carried = 0, visits = 0;
    for (int v = 0; v < few.n_visits; v++) {
        int trays = trays_carried(&few, v);
        assert_in_range(trays, 0, 2);
        carried += trays;
        visits += trays > 0;
    }
    assert_int_equal(carried, 6);
    assert_int_equal(visits, 3);
}

/* Where there is time, going again counts: in the minutes of the visit, and in what it costs. */
static void test_more_trips(void **state)
{
    (void)state;
    cabbages_at_home();
    world.growers[0].travel_min = 10;
    world.growers[0].trays_per_trip = 2;
    world.growers[0].minutes_per_batch_day = 240;
    Plan p = world_made(&world);
    const Visit *first = visit_of(&p, JOB_TRANSFER, -1, -1);
    assert_non_null(first);
    int trays = trays_carried(&p, (int)(first - p.visits)), jobs = 0;
    assert_int_equal(trays, 6);
    for (int j = first->first_job; j < first->first_job + first->n_jobs; j++)
        jobs += p.jobs[j].kind == JOB_TRANSFER ? 5 : p.jobs[j].kind == JOB_SET_COVER ? 1 : 0;
    assert_float_equal(first->minutes, 15 + jobs + 2 * 2 * 10, 1e-9);
    /* A batch that fills more than one journey comes all the same, however short the evening. */
    world.growers[0].travel_min = 55;
    world.batches[0].trays = 5;
    world.places[SILL].trays = 9;
    p = world_made(&world);
    assert_non_null(visit_of(&p, JOB_TRANSFER, 0, -1));
}

/* Visits at the plot at noon only, in bright weather but for `dull_day`. The day on which it is
 * carried there. */
static int carried_on(int dull_day)
{
    const int64_t first_day = START_UTC / 86400;
    world_open(&world, 14, 4, 0.2);
    world_batch(&world, 0, CABBAGE, SILL, BED, STAGE_GROWING_ON);
    for (int i = 0; i < world.snapshot.n_windows; i++) {
        VisitWindow *v = &world.windows[i];
        if (v->site == PLOT) {
            v->from_utc = START_UTC + (v->day - first_day) * 86400 + 11 * 3600;
            v->to_utc = v->from_utc + 2 * 3600;
        }
    }
    for (int i = 0; dull_day >= 0 && i < 48; i++)
        world.steps[PLOT][48 * dull_day + i].radiation_wm2 *= 0.2;
    Plan p = world_made(&world);
    const Visit *v = visit_of(&p, JOB_TRANSFER, 0, -1);
    assert_non_null(v);
    return (int)((v->start_utc - START_UTC) / 86400);
}

/* In bright weather, and dull tomorrow: it waits. No better for days: it goes. */
static void test_dull_day(void **state)
{
    (void)state;
    int bright = carried_on(-1);
    assert_int_equal(carried_on(bright + 1), bright + 1);
    assert_int_equal(carried_on(bright + 3), bright);
    assert_int_equal(carried_on(bright), bright);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_trays_of_a_trip),
        cmocka_unit_test(test_more_trips),
        cmocka_unit_test(test_dull_day),
    };
    return cmocka_run_group_tests_name("people-plan", tests, NULL, NULL);
}
