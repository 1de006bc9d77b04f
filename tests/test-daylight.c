/* SPDX-License-Identifier: MIT */
/* Daylight: seedlings that are up come out of the propagator, to a place indoors with room. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <string.h>

#include "plan-garden.h"

#define PROPAGATOR STANDING /* it takes that place's number */

static World world;

/* Cabbages in a heated propagator beside the sill; nothing else asks for anybody. */
static void open_garden(Stage stage)
{
    world_open(&world, 8, 5, 0.5);
    world_windows(&world, false);
    Place *place = &world.places[PROPAGATOR];
    *place = world.places[SILL];
    strcpy(place->name, "propagator");
    place->kind = PLACE_PROPAGATOR;
    place->indoor_night_c = 20.0;
    place->indoor_day_c = 24.0;
    assert_true(chain_build(&world.garden, PROPAGATOR, &world.chains[PROPAGATOR]));
    world_batch(&world, 0, CABBAGE, PROPAGATOR, BED, stage);
    world.batches[0].sown_utc = START_UTC - (int64_t)10 * 24 * 3600;
}

/* The job that takes it out; NULL none. Nothing else moves it. */
static const Job *taken_out(const Plan *plan)
{
    const Job *found = NULL;
    for (int j = 0; j < plan->n_jobs; j++) {
        const Job *job = &plan->jobs[j];
        if (job->batch != 0 || job->kind != JOB_MOVE)
            continue;
        assert_null(found);
        assert_int_equal(job->from_place, PROPAGATOR);
        assert_int_equal(job->reason.limit, LIMIT_DAYLIGHT);
        assert_true(job->visit >= 0 && plan->visits[job->visit].site == HOME);
        found = job;
    }
    return found;
}

static int notes(const Plan *plan)
{
    int n = 0;
    for (int i = 0; i < plan->n_notes; i++)
        n += plan->notes[i].limit == LIMIT_DAYLIGHT && plan->notes[i].batch == 0;
    return n;
}

static void test_up(void **state)
{
    (void)state;
    open_garden(STAGE_EMERGED);
    const Plan plan = world_made(&world);
    const Job *job = taken_out(&plan);
    assert_non_null(job);
    assert_int_equal(job->place, SILL);
    assert_true(plan.visits[job->visit].start_utc < START_UTC + 24 * 3600);
    assert_int_equal(plan.n_visits, 1);
    assert_int_equal(notes(&plan), 0);
    assert_true(plan.within_limits);
}

static void test_not_up_yet(void **state)
{
    (void)state;
    open_garden(STAGE_SOWN);
    const Plan plan = world_made(&world);
    assert_null(taken_out(&plan));
    assert_int_equal(plan.n_visits, 0);
}

/* Nobody is asked twice: the published visit stays where it is. */
static void test_published(void **state)
{
    (void)state;
    open_garden(STAGE_EMERGED);
    world.former[0] =
        (Visit){.grower = 0, .site = HOME, .start_utc = START_UTC + 19 * 3600, .minutes = 20};
    world.snapshot.former = world.former;
    world.snapshot.n_former = 1;
    world.windows[0] = world.windows[1]; /* in the evening, that is, not in the morning too */
    const Plan plan = world_made(&world);
    const Job *job = taken_out(&plan);
    assert_non_null(job);
    assert_int_equal(plan.visits[job->visit].start_utc, START_UTC + 19 * 3600);
}

static void test_no_room(void **state)
{
    (void)state;
    open_garden(STAGE_EMERGED);
    world.places[SILL].trays = world.batches[0].trays - 1;
    const Plan plan = world_made(&world);
    assert_null(taken_out(&plan));
    assert_int_equal(notes(&plan), 1);
}

/* A sill too cold for them by night is no place to go. */
static void test_cold_sill(void **state)
{
    (void)state;
    open_garden(STAGE_EMERGED);
    world.places[SILL].indoor_night_c = 0.5;
    world.places[SILL].indoor_day_c = 4.0;
    assert_true(chain_build(&world.garden, SILL, &world.chains[SILL]));
    const Plan plan = world_made(&world);
    assert_null(taken_out(&plan));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_up),        cmocka_unit_test(test_not_up_yet),
        cmocka_unit_test(test_published), cmocka_unit_test(test_no_room),
        cmocka_unit_test(test_cold_sill),
    };
    return cmocka_run_group_tests_name("daylight", tests, NULL, NULL);
}
