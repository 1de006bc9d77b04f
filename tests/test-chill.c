/* SPDX-License-Identifier: MIT */
/* Cold that spoils the harvest: counted as it passes, and no more of it planned once its days are
 * used up. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "grow/growth.h"
#include "test-plan-walk.h"

#define ARENA_SIZE ((size_t)32 << 20)
#define BUDGET 100000
#define BELOW_C 10.0
#define DAYS 10.0
#define FROM_LEAVES 6.0

static World world;
static Walked walked;
static unsigned char *memory;

/* One batch in the yard at home that hardens, with so much of that cold behind it. */
static void open_garden(double mean_c, double half_range_k, double chill_h)
{
    world_open(&world, mean_c, half_range_k, 0.4);
    world_batch(&world, 0, CABBAGE, STANDING, BED, STAGE_HARDENING);
    world.crops[CABBAGE].chill_below_c = BELOW_C;
    world.crops[CABBAGE].chill_days = DAYS;
    world.crops[CABBAGE].chill_from_leaves = FROM_LEAVES;
    world.batches[0].growth = (Growth){.known = true, .leaves = 8, .chill_h = chill_h};
    world.batches[0].ramp.hardened_to_c = 5;
    world.batches[0].ramp.exposure_days = 4;
    world.batches[0].ramp.frost_tolerance = 0.6;
}

static Plan make(void)
{
    Plan plan = {0};
    Arena arena = {.base = memory, .size = ARENA_SIZE};
    assert_true(plan_make(&world.snapshot, BUDGET, &arena, &plan));
    walk_plan(&world, &plan, &walked);
    if (walked.fault != NULL)
        fail_msg("%s (job %d)", walked.fault, walked.fault_job);
    return plan;
}

/* Hours of that cold which the plan gives it in its first days, by the plan's own air. */
static double chill_h(const Plan *plan, int days)
{
    double hours = 0;
    for (int i = 0; i < days * 48; i++) {
        const int place = walked.places_at[0][i];
        const float air_c = plan->course[place * plan->n_steps + i].air_c;
        hours += place != BED && air_c < BELOW_C ? 0.5 : 0.0;
    }
    return hours;
}

static bool has_reason(const Plan *plan, LimitKind limit)
{
    for (int j = 0; j < plan->n_jobs; j++)
        if (plan->jobs[j].reason.limit == limit)
            return true;
    return false;
}

/* With its days before it, it is hardened by cold nights; with them used up it has none. */
static void test_used_up(void **state)
{
    (void)state;
    open_garden(9, 4, 0);
    Plan plan = make();
    const double free_h = chill_h(&plan, 4);
    assert_true(free_h > 24);
    assert_false(has_reason(&plan, LIMIT_CHILL));
    assert_false(plan_names(&plan, 0, LIMIT_CHILL));

    open_garden(9, 4, 24 * DAYS);
    plan = make();
    const double kept_h = chill_h(&plan, 4);
    print_message("# below %g °C in four days: %.1f h with all its days left, %.1f h with none\n",
                  BELOW_C, free_h, kept_h);
    assert_true(kept_h < 0.4 * free_h);
    assert_true(has_reason(&plan, LIMIT_CHILL));
}

/* Part of them left: they are had, and not many more. */
static void test_nearly_used_up(void **state)
{
    const double left_h = 12;

    (void)state;
    open_garden(9, 4, 24 * DAYS - left_h);
    Plan plan = make();
    const double had_h = chill_h(&plan, 6);
    print_message("# %.1f h of the %g h left, in six days\n", had_h, left_h);
    assert_true(had_h <= left_h + 12);
}

/* Where nobody can bring it in, it is named and not passed over. */
static void test_named(void **state)
{
    (void)state;
    open_garden(6, 3, 24 * DAYS);
    world.snapshot.n_windows = 0;
    Plan plan = make();
    assert_true(plan_names(&plan, 0, LIMIT_CHILL));
}

/* Too young for it, of a crop that knows no such cold, or planted out: it is no matter. */
static void test_no_matter(void **state)
{
    (void)state;
    open_garden(6, 3, 24 * DAYS);
    world.snapshot.n_windows = 0;
    world.batches[0].growth.leaves = FROM_LEAVES - 1;
    Plan plan = make();
    assert_false(plan_names(&plan, 0, LIMIT_CHILL));

    open_garden(6, 3, 24 * DAYS);
    world.snapshot.n_windows = 0;
    world.crops[CABBAGE].chill_days = world.crops[CABBAGE].chill_below_c = NAN;
    plan = make();
    assert_false(plan_names(&plan, 0, LIMIT_CHILL));

    open_garden(6, 3, 24 * DAYS);
    world.snapshot.n_windows = 0;
    world.batches[0].stage = STAGE_PLANTED_OUT;
    world.batches[0].place = BED;
    plan = make();
    assert_false(plan_names(&plan, 0, LIMIT_CHILL));
}

static void past(int n)
{
    bool checked[WORLD_BATCHES] = {false};
    const PlanPast past = {.garden = &world.garden,
                           .site = HOME,
                           .n = n,
                           .start_utc = START_UTC,
                           .outlook = &world.outlooks[HOME],
                           .chains = world.chains,
                           .n_chains = world.snapshot.n_chains,
                           .positions = world.positions,
                           .n_batches = world.snapshot.n_batches};
    plan_advance(&past, world.states, world.batches, checked);
}

/* What passes is counted by the half-hour: two days in the open air, always below. */
static void test_counted(void **state)
{
    (void)state;
    open_garden(4, 0, 3);
    Batch *batch = &world.batches[0];
    batch->place = STANDING;
    past(96);
    assert_true(fabs(batch->growth.chill_h - (3 + 48)) < 1e-9);
    assert_true(fabs(batch->growth.hardening_h - 48) < 1e-9);
    assert_true(fabs(growth_chill_left_h(&world.crops[CABBAGE], &batch->growth, false) -
                     (24 * DAYS - 51)) < 1e-9);

    open_garden(4, 0, 3);
    batch->place = STANDING;
    batch->growth.leaves = 1; /* too young */
    batch->stage = STAGE_GROWING_ON;
    past(96);
    assert_true(batch->growth.chill_h == 3 && batch->growth.hardening_h == 0);
    assert_true(isinf(growth_chill_left_h(&world.crops[CABBAGE], &batch->growth, false)));

    open_garden(4, 0, 0);
    batch->place = STANDING;
    batch->growth = (Growth){0}; /* bought, its leaves not known: it counts */
    batch->bought = true;
    past(96);
    assert_true(fabs(batch->growth.chill_h - 48) < 1e-9 && !batch->growth.known);
}

/* What was up before the record began has the leaves of usual days, and goes on by the air. */
static void test_leaves_of_the_past(void **state)
{
    (void)state;
    open_garden(15, 0, 0);
    Batch *batch = &world.batches[0];
    Crop *crop = &world.crops[CABBAGE];
    crop->leaf_base_c = 0;
    crop->leaf_kd = 47.4;
    batch->place = STANDING;
    batch->growth = (Growth){0};
    batch->emerged_utc = START_UTC + 43200;
    past(24); /* not up yet */
    assert_false(batch->growth.known);
    past(48);
    assert_true(batch->growth.known);
    assert_true(fabs(batch->growth.leaves - 0.5 * 15 / 47.4) < 0.02);

    open_garden(15, 0, 0);
    batch->place = SILL;
    batch->growth = (Growth){0};
    batch->emerged_utc = START_UTC - 10 * 86400;
    past(1);
    const double mean_c = (world.places[SILL].indoor_night_c + world.places[SILL].indoor_day_c) / 2;
    assert_true(fabs(batch->growth.leaves - 10 * (mean_c - crop->leaf_base_c) /
                                                (crop->leaf_kd > 0 ? crop->leaf_kd : 45)) < 0.6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_used_up), cmocka_unit_test(test_nearly_used_up),
        cmocka_unit_test(test_named),   cmocka_unit_test(test_no_matter),
        cmocka_unit_test(test_counted), cmocka_unit_test(test_leaves_of_the_past),
    };
    memory = malloc(ARENA_SIZE);
    int failed = cmocka_run_group_tests_name("chill", tests, NULL, NULL);
    free(memory);
    return failed;
}
