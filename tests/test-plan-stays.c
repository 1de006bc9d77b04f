/* SPDX-License-Identifier: MIT */
/* What a plan says of batches that are fit to go on and stay where they are. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "plan-garden.h"

#define SOON_S (36 * 3600)
#define SEED_FIRST 20260418u
#define SEEDS 40

static World world;

/* When a batch leaves the building; 0 it does not. */
static int64_t goes_utc(const Plan *p, int batch)
{
    for (int j = 0; j < p->n_jobs; j++) {
        const Job *job = &p->jobs[j];
        bool carries =
            job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT;
        if (job->visit >= 0 && carries && job->batch == batch && !world.places[job->place].indoors)
            return p->visits[job->visit].start_utc;
    }
    return 0;
}

/* Cabbages on the sill for the bed, and no yard at home. */
static void open_cabbages(double mean_c, int n)
{
    world_open(&world, mean_c, 4, 0.2);
    for (int i = 0; i < n; i++)
        world_batch(&world, i, CABBAGE, SILL, BED, STAGE_GROWING_ON);
    world.places[STANDING].trays = 0;
}

static const Reason *stays(const Plan *p, int batch)
{
    const Reason *reason = &p->outlooks[batch].stays;
    if (reason->limit == LIMIT_NONE)
        return NULL;
    assert_int_equal(reason->batch, batch);
    return reason;
}

/* Nights colder than it bears: which, where, how cold, and what it may be given, by the ramp. */
static void test_cold_nights(void **state)
{
    (void)state;
    open_cabbages(9, 1);
    Plan p = world_made(&world);
    const Reason *why = stays(&p, 0);
    assert_true(goes_utc(&p, 0) == 0 || goes_utc(&p, 0) > START_UTC + SOON_S);
    assert_non_null(why);
    assert_int_equal(why->limit, LIMIT_CHECK);
    assert_float_equal(why->limit_c,
                       ramp_allowed_low_c(&world.crops[CABBAGE], &world.batches[0].ramp), 1e-9);
    assert_true(why->odds > 0.1);
    assert_true(why->predicted_c > 2 && why->predicted_c < 9);
    assert_int_equal(world.places[why->place].site, PLOT);
    const int64_t hour = why->at_utc % 86400 / 3600;
    assert_true(hour < 8 || hour > 18);
    assert_in_range(why->at_utc, START_UTC, START_UTC + 3 * 86400);
}

/* Colder still they would be harmed, under every cover shut. */
static void test_frost(void **state)
{
    (void)state;
    open_cabbages(1, 1);
    Plan p = world_made(&world);
    const Reason *why = stays(&p, 0);
    assert_non_null(why);
    assert_int_equal(why->limit, LIMIT_DAMAGE);
    assert_true(why->odds > world.garden.risk.damage);
    assert_float_equal(why->limit_c, ramp_damage_c(&world.crops[CABBAGE], &world.batches[0].ramp),
                       0.5);
}

/* From cold to mild: there is a reason as long as it stays, and none when it goes. */
static void test_goes_or_stays(void **state)
{
    int went = 0, stayed = 0;
    (void)state;
    for (int mean_c = 2; mean_c <= 15; mean_c++) {
        open_cabbages(mean_c, 1);
        Plan p = world_made(&world);
        const int64_t utc = goes_utc(&p, 0);
        const bool soon = utc != 0 && utc <= START_UTC + SOON_S;
        assert_int_equal(stays(&p, 0) != NULL, !soon);
        went += soon;
        stayed += !soon;
    }
    assert_true(went > 2);
    assert_true(stayed > 2);
}

/* Equal ones have the same reason, each its own. */
static void test_equal_ones(void **state)
{
    (void)state;
    open_cabbages(8, 3);
    Plan p = world_made(&world);
    const Reason *first = stays(&p, 0);
    assert_non_null(first);
    for (int i = 1; i < 3; i++) {
        const Reason *why = stays(&p, i);
        assert_non_null(why);
        assert_int_equal(why->limit, first->limit);
        assert_int_equal(why->place, first->place);
        assert_int_equal(why->at_utc, first->at_utc);
        assert_float_equal(why->predicted_c, first->predicted_c, 1e-9);
    }
}

/* Two find room; of the third it is told how much there is, and how much it needs. */
static void test_no_room(void **state)
{
    (void)state;
    open_cabbages(14, 3);
    for (int i = 0; i < 3; i++)
        world.batches[i].trays = 2;
    world.places[BOX].trays = 0;
    world.places[FRAME].trays = 2;
    world.places[TUNNEL].trays = 3;
    Plan p = world_made(&world);
    int left = 0;
    for (int i = 0; i < 3; i++) {
        const Reason *why = stays(&p, i);
        if (why == NULL)
            continue;
        left++;
        assert_int_equal(why->limit, LIMIT_CAPACITY);
        assert_int_equal(why->place, TUNNEL);
        assert_float_equal(why->predicted_c, 1, 0);
        assert_float_equal(why->limit_c, 2, 0);
    }
    assert_int_equal(left, 1);
}

/* As many as can be carried in the evening; who goes two days later is told that nobody has time.
 */
static void test_no_time(void **state)
{
    (void)state;
    open_cabbages(14, 3);
    for (int i = 0; i < 3; i++)
        world.batches[i].trays = 2;
    world.growers[0].trays_per_trip = 2;
    world.growers[0].travel_min = 55;
    Plan p = world_made(&world);
    int told = 0;
    for (int i = 0; i < 3; i++) {
        const Reason *why = stays(&p, i);
        assert_int_equal(why != NULL, goes_utc(&p, i) > START_UTC + SOON_S);
        told += why != NULL && why->limit == LIMIT_NO_VISIT;
    }
    assert_int_equal(told, 2); /* one each evening */
}

/* Not fit yet, settling, or planted out: nothing is said. */
static void test_not_fit(void **state)
{
    (void)state;
    open_cabbages(6, 3);
    world.batches[0].sown_utc = START_UTC - 14 * 86400;
    world.batches[1].settled_utc = START_UTC + 2 * 86400;
    world.batches[2].stage = STAGE_PLANTED_OUT;
    world.batches[2].place = BED;
    Plan p = world_made(&world);
    for (int i = 0; i < 3; i++)
        assert_null(stays(&p, i));
}

/* Within a site: the yard is too cold in the evenings, when alone there is somebody to carry it. */
static void test_within_a_site(void **state)
{
    (void)state;
    for (int mean_c = 0; mean_c <= 14; mean_c += 14) {
        world_open(&world, mean_c, 4, 0.2);
        world_batch(&world, 0, CABBAGE, SILL, STANDING, STAGE_GROWING_ON);
        int n = 0;
        for (int i = 0; i < world.snapshot.n_windows; i++) {
            const VisitWindow w = world.windows[i];
            if (w.site == HOME && (w.from_utc - START_UTC) % 86400 > 43200)
                world.windows[n++] = w;
        }
        world.snapshot.n_windows = n;
        Plan p = world_made(&world);
        const Reason *why = stays(&p, 0);
        if (mean_c > 0) {
            assert_null(why);
            continue;
        }
        assert_int_equal(goes_utc(&p, 0), 0);
        assert_non_null(why);
        assert_int_equal(why->limit, LIMIT_DAMAGE);
        assert_int_equal(why->place, STANDING);
        assert_true(why->predicted_c < 0);
    }
}

static double chance(uint64_t *random)
{
    *random = *random * 6364136223846793005u + 1442695040888963407u;
    return (double)(*random >> 11) / 9007199254740992.0;
}

/* In random gardens: only what stays has a reason, its place could take it, and its figures are of
 * the days ahead. */
static void test_any_garden(void **state)
{
    int told = 0;
    (void)state;
    for (uint64_t seed = SEED_FIRST; seed < SEED_FIRST + SEEDS; seed++) {
        uint64_t random = seed;
        world_open(&world, 2 + 12 * chance(&random), 2 + 5 * chance(&random), chance(&random));
        const int n = 1 + (int)(4 * chance(&random));
        for (int i = 0; i < n; i++) {
            const bool in = chance(&random) < 0.7;
            world_batch(&world, i, chance(&random) < 0.6 ? CABBAGE : TOMATO, in ? SILL : FRAME,
                        chance(&random) < 0.7 ? BED : TUNNEL,
                        in ? STAGE_GROWING_ON : STAGE_HARDENING);
            world.batches[i].trays = 1 + (int)(2 * chance(&random));
        }
        world.places[STANDING].trays = chance(&random) < 0.5 ? 0 : -1;
        world.places[TUNNEL].trays = (int)(5 * chance(&random));
        Plan p = world_made(&world);
        for (int i = 0; i < n; i++) {
            const Reason *why = stays(&p, i);
            const int64_t utc = goes_utc(&p, i);
            if (why == NULL)
                continue;
            told++;
            bool ok = (utc == 0 || utc > START_UTC + SOON_S) && !world.places[why->place].indoors &&
                      why->place != BED && why->place != world.batches[i].place &&
                      why->at_utc >= START_UTC && why->at_utc <= START_UTC + 10 * 86400;
            const bool cold = why->limit == LIMIT_DAMAGE || why->limit == LIMIT_CHECK;
            if (!ok || (cold && !(isfinite(why->predicted_c) && isfinite(why->limit_c))))
                fail_msg("seed %lu, batch %d: limit %d, place %d", (unsigned long)seed, i,
                         (int)why->limit, why->place);
        }
    }
    print_message("# seeds %u and %d more: %d batches stay\n", SEED_FIRST, SEEDS - 1, told);
    assert_true(told > SEEDS / 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cold_nights),   cmocka_unit_test(test_frost),
        cmocka_unit_test(test_goes_or_stays), cmocka_unit_test(test_equal_ones),
        cmocka_unit_test(test_no_room),       cmocka_unit_test(test_no_time),
        cmocka_unit_test(test_not_fit),       cmocka_unit_test(test_within_a_site),
        cmocka_unit_test(test_any_garden),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
