/* SPDX-License-Identifier: MIT */
/* What a plan does for several batches, several days and those who carry them. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "plan-garden.h"
#include "plan/outlook.h"
#include "plan/search.h"

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

/* ---- absences ---- */

#define ARENA_SIZE ((size_t)32 << 20)
#define SEEDS 24
#define SEED_FIRST 20260417u

static double chance(uint64_t *random)
{
    *random = *random * 6364136223846793005u + 1442695040888963407u;
    return (double)(*random >> 11) / 9007199254740992.0;
}

/* The best of leaving the frame alone and of each position of its light, for the whole absence. */
static PlanValue best_left(Board *b, const Window *w)
{
    PlanValue best = {.broken = INFINITY};
    for (int position = -1; position < world.places[FRAME].cover.n_positions; position++) {
        BatchResult results[WORLD_BATCHES];
        PlanValue value;
        Schedule *s = schedule_new(b, &b->stand);
        assert_non_null(s);
        int at = position < 0 ? -1 : schedule_visit(b, s, 0, w->slots[0].step);
        for (int k = at + 1; at >= 0 && k <= s->n_visits; k++)
            s->positions[k][FRAME] = position;
        assert_true(evaluate_exact(b, w, s, results, NULL, &value));
        if (plan_value_compare(&value, &best) < 0)
            best = value;
    }
    return best;
}

/* The last visit before days without anybody is judged over all of them, and leaves what is best
 * for all of them. */
static void test_left_for_days(void **state)
{
    unsigned char *memory = malloc(ARENA_SIZE);
    uint64_t random = SEED_FIRST;
    (void)state;
    assert_non_null(memory);
    print_message("seed %u\n", SEED_FIRST);
    for (int seed = 0; seed < SEEDS; seed++) {
        int days = 2 + seed % 4;
        world_open(&world, 5.0 + 10.0 * chance(&random), 2.0 + 5.0 * chance(&random),
                   chance(&random));
        world_absent(&world, 1, days);
        world.places[TUNNEL].trays = world.places[BOX].trays = 0;
        world_batch(&world, 0, CABBAGE, FRAME, BED, STAGE_HARDENING);
        world.batches[0].ramp.exposure_days = (int)(chance(&random) * 7.0);
        world.batches[0].ramp.hardened_to_c -= 5.0 * chance(&random);
        world.positions[FRAME] = (int)(chance(&random) * 4.0);
        Arena arena = {.base = memory, .size = ARENA_SIZE};
        Plan plan = {0};
        Board b;
        assert_true(board_open(&b, &world.snapshot, &arena, &plan));
        int i = 0;
        while (b.windows[i].site != PLOT || b.windows[i].n_slots == 0)
            i++;
        const Window *w = &b.windows[i];
        const int days_left = (w->end - w->first) / 48;
        assert_int_equal(days_left, days + 1);
        b.budget = 100000;
        b.exact_evaluations = 3000;
        board_group(&b);
        assert_true(tracks_open(&b));
        PlanValue best = best_left(&b, w), found;
        BatchResult results[WORLD_BATCHES];
        Schedule *schedule = schedule_new(&b, &b.stand);
        assert_true(search_window(&b, w, schedule) &&
                    evaluate_exact(&b, w, schedule, results, NULL, &found));
        if (plan_value_compare(&found, &best) > 0 &&
            found.broken + found.number > best.broken + best.number + 0.02)
            fail_msg("round %d: %g and %g, left best %g and %g", seed, found.broken, found.number,
                     best.broken, best.number);
    }
    free(memory);
}

/* A helper at the plot in the grower's days away: nothing is carried there or planted by them. */
static void test_helper_carries_nothing(void **state)
{
    (void)state;
    cabbages_at_home();
    for (int i = 0; i < world.snapshot.n_windows; i++)
        world.windows[i].helped = world.windows[i].site == PLOT;
    Plan p = world_made(&world);
    assert_null(visit_of(&p, JOB_TRANSFER, -1, -1));
    assert_null(visit_of(&p, JOB_PLANT_OUT, -1, BED));
    for (int v = 0; v < p.n_visits; v++)
        assert_int_equal(p.visits[v].helped, p.visits[v].site == PLOT);
}

/* ---- room ---- */

/* Three batches of two trays at home, two places of two trays each at the plot. `scarce`: the one
 * that cannot be sown again; -1 none. */
static Plan compete(int scarce)
{
    cabbages_at_home();
    world.places[STANDING].trays = world.places[BOX].trays = 0;
    world.places[FRAME].trays = world.places[TUNNEL].trays = 2;
    if (scarce >= 0)
        world.batches[scarce].resowable = false;
    return world_made(&world);
}

static const Reason *waits(const Plan *p, int batch)
{
    for (int i = 0; i < p->n_notes; i++) {
        if (p->notes[i].limit == LIMIT_CAPACITY && p->notes[i].batch == batch)
            return &p->notes[i];
    }
    return NULL;
}

/* Two find room, the third waits, and it is not the one that cannot be sown again. */
static void test_three_for_two(void **state)
{
    (void)state;
    for (int scarce = -1; scarce < 3; scarce++) {
        Plan p = compete(scarce);
        int left = 0;
        const Visit *first = visit_of(&p, JOB_TRANSFER, -1, -1);
        assert_non_null(first);
        for (int i = 0; i < 3; i++) {
            const Visit *v = visit_of(&p, JOB_TRANSFER, i, -1);
            const Reason *why = waits(&p, i);
            bool goes = v == first;
            if (i == scarce)
                assert_true(goes);
            left += !goes;
            assert_int_equal(why != NULL, !goes);
            if (why == NULL)
                continue;
            assert_true(why->place == FRAME || why->place == TUNNEL);
            assert_float_equal(why->limit_c, 2, 0);
            assert_float_equal(why->predicted_c, 0, 0);
            assert_int_equal(why->at_utc, v != NULL ? v->start_utc : 0);
        }
        assert_int_equal(left, 1);
    }
    /* With room for all nobody waits. */
    cabbages_at_home();
    Plan p = world_made(&world);
    for (int i = 0; i < 3; i++)
        assert_null(waits(&p, i));
}

/* A place that is freed goes to one of those that waited. */
static void test_freed_room(void **state)
{
    (void)state;
    cabbages_at_home();
    world.places[STANDING].trays = world.places[BOX].trays = world.places[TUNNEL].trays = 0;
    world.places[FRAME].trays = 2;
    world.batches[1].resowable = false;
    world.batches[0].place = FRAME;
    world.batches[0].stage = STAGE_READY;
    world.batches[0].ramp.exposure_days = 6;
    world.batches[0].ramp.hardened_to_c = 3.0;
    world.batches[0].ramp.frost_tolerance = 1.0;
    for (int i = 0; i < NIGHTS_KEPT; i++)
        world.batches[0].ramp.nights_shelter[i] = 0.0;
    Plan p = world_made(&world);
    const Visit *out = visit_of(&p, JOB_PLANT_OUT, 0, BED),
                *in = visit_of(&p, JOB_TRANSFER, -1, FRAME);
    assert_non_null(out);
    assert_non_null(in);
    assert_true(in->start_utc >= out->start_utc);
    assert_ptr_equal(visit_of(&p, JOB_TRANSFER, 1, FRAME), in);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_trays_of_a_trip),
        cmocka_unit_test(test_more_trips),
        cmocka_unit_test(test_dull_day),
        cmocka_unit_test(test_left_for_days),
        cmocka_unit_test(test_helper_carries_nothing),
        cmocka_unit_test(test_three_for_two),
        cmocka_unit_test(test_freed_room),
    };
    return cmocka_run_group_tests_name("people-plan", tests, NULL, NULL);
}
