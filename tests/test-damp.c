/* SPDX-License-Identifier: MIT */
/* Damp: covers shut over plants night after night are aired, where that harms nothing. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>

#include "plan-garden.h"

#define H 3600

static World world;
static int64_t shut_since[N_PLACES];

/* Young cabbages in the frame, which nothing but damp asks to be opened; others harden in the
 * tunnel, so that somebody comes. */
static void open_garden(double mean_c, double half_range_k, bool others)
{
    world_open(&world, mean_c, half_range_k, 0.9);
    world_windows(&world, true);
    world.growers[0].visits_a_day_away = 2;
    world_batch(&world, 0, CABBAGE, FRAME, BED, STAGE_GROWING_ON);
    world.places[FRAME].trays = world.batches[0].trays; /* no room for the others */
    world.batches[0].sown_utc = START_UTC - 25 * 24 * H;
    if (others)
        world_batch(&world, 1, CABBAGE, TUNNEL, BED, STAGE_HARDENING);
    world.containers[0].volume_ml = 2000;
    world.containers[0].per_tray = 40;
    for (int p = 0; p < N_PLACES; p++)
        shut_since[p] = 0;
    world.snapshot.shut_since = shut_since;
}

/* The first job that airs a place; NULL none. */
static const Job *airing(const Plan *p, int place)
{
    for (int j = 0; j < p->n_jobs; j++) {
        const Job *job = &p->jobs[j];
        if (job->reason.limit == LIMIT_DAMP && job->place == place) {
            assert_int_equal(job->kind, JOB_SET_COVER);
            assert_true(job->visit >= 0 && job->position > 0 && job->reason.predicted_c >= 2);
            return job;
        }
    }
    return NULL;
}

static const Reason *said(const Plan *p, int place)
{
    for (int i = 0; i < p->n_notes; i++)
        if (p->notes[i].limit == LIMIT_DAMP && p->notes[i].place == place)
            return &p->notes[i];
    return NULL;
}

static int64_t at(const Plan *p, const Job *job)
{
    return p->visits[job->visit].start_utc - START_UTC;
}

static void test_two_nights(void **state)
{
    (void)state;
    open_garden(11, 4, true);
    shut_since[FRAME] = START_UTC - 30 * H; /* the day before yesterday at 18:00 */
    const Plan p = world_made(&world);
    const Job *job = airing(&p, FRAME);
    assert_non_null(job);
    assert_true(at(&p, job) < 24 * H);
    assert_int_equal(job->reason.batch, 0);
    assert_null(said(&p, FRAME));
    assert_true(p.within_limits);
}

/* The garden of before, with one night less. */
static void test_aired_yesterday(void **state)
{
    (void)state;
    open_garden(11, 4, true);
    shut_since[FRAME] = START_UTC - 6 * H;
    const Plan p = world_made(&world);
    for (int j = 0; j < p.n_jobs; j++)
        assert_false(p.jobs[j].reason.limit == LIMIT_DAMP && p.jobs[j].place == FRAME &&
                     at(&p, &p.jobs[j]) < 24 * H);
}

static void test_freezing(void **state)
{
    (void)state;
    open_garden(-7, 3, true);
    shut_since[FRAME] = START_UTC - 54 * H;
    const Plan p = world_made(&world);
    assert_null(airing(&p, FRAME));
    const Reason *r = said(&p, FRAME);
    assert_non_null(r);
    assert_true(r->limit == LIMIT_DAMP && r->batch == 0 && r->predicted_c >= 3);
}

static void test_gale(void **state)
{
    (void)state;
    open_garden(11, 4, true);
    for (int i = 0; i <= TEST_STEPS; i++)
        world.steps[PLOT][i].gust_ms = 18; /* the frame's light stands 14 */
    shut_since[FRAME] = START_UTC - 54 * H;
    const Plan p = world_made(&world);
    assert_null(airing(&p, FRAME));
    assert_non_null(said(&p, FRAME));
}

/* No visit for its own sake; said instead. */
static void test_nobody_comes(void **state)
{
    (void)state;
    open_garden(7, 2, false);
    const Plan calm = world_made(&world);
    shut_since[FRAME] = START_UTC - 54 * H;
    const Plan p = world_made(&world);
    const Reason *r = said(&p, FRAME);
    assert_non_null(r);
    assert_true(isnan(r->otherwise_c));
    assert_int_equal(p.n_visits, calm.n_visits);
    world_absent(&world, 0, 9);
    const Plan absent = world_made(&world);
    assert_int_equal(absent.n_visits, 0);
    assert_non_null(said(&absent, FRAME));
}

/* Nothing in the open, under porous sheets, under openers or in empty frames. */
static void test_not_asked(void **state)
{
    (void)state;
    open_garden(11, 4, true);
    for (int p = 0; p < N_PLACES; p++)
        shut_since[p] = START_UTC - 54 * H;
    world.places[FRAME].cover.opener_from_c = 18;
    world.batches[0].place = FRAME;
    const Plan opener = world_made(&world);
    assert_null(airing(&opener, FRAME));
    assert_null(said(&opener, FRAME));
    world.places[FRAME].cover.opener_from_c = NAN;
    world.batches[0].place = FLEECE;
    world.batches[0].stage = STAGE_PLANTED_OUT;
    world.batches[0].planted_utc = START_UTC - 72 * H;
    const Plan fleece = world_made(&world);
    world.batches[0].place = BED;
    const Plan bed = world_made(&world);
    const int places[] = {FRAME, FLEECE, BED};
    for (int i = 0; i < 3; i++) {
        assert_null(airing(&fleece, places[i]));
        assert_null(said(&fleece, places[i]));
        assert_null(airing(&bed, places[i]));
        assert_null(said(&bed, places[i]));
    }
}

/* Over many springs: airing breaks no limit that is kept without it; and a night that is only
 * planned counts as one that was. */
static void test_harmless(void **state)
{
    int aired = 0, later = 0;
    (void)state;
    for (int k = 0; k < 14; k++) {
        open_garden(-3 + 1.5 * k, 3 + k % 4, true);
        world.snapshot.weights.visit_min = k % 2 * 15.0;
        const Plan without = world_made(&world);
        const bool within = without.within_limits;
        const Job *early = airing(&without, FRAME);
        assert_true(early == NULL || at(&without, early) >= 24 * H);
        for (int place = 0; place < N_PLACES; place++)
            later += airing(&without, place) != NULL;
        shut_since[FRAME] = START_UTC - 54 * H;
        const Plan with = world_made(&world);
        assert_true(!within || with.within_limits);
        aired += airing(&with, FRAME) != NULL;
    }
    print_message("%d aired at once, %d later\n", aired, later);
    assert_true(aired > 0 && later > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_nights),   cmocka_unit_test(test_aired_yesterday),
        cmocka_unit_test(test_freezing),     cmocka_unit_test(test_gale),
        cmocka_unit_test(test_nobody_comes), cmocka_unit_test(test_not_asked),
        cmocka_unit_test(test_harmless),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
