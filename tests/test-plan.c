/* SPDX-License-Identifier: MIT */
/* Situations a grower knows, and what the plan must do in each. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "test-plan-walk.h"

#define ARENA_SIZE ((size_t)32 << 20)
#define BUDGET 100000
#define AT(day, hour) (START_UTC + (day)*86400 + (int64_t)((hour)*3600))

static World world;
static Walked walked;
static unsigned char *memory, *memory_again;

static Plan make_in(unsigned char *at)
{
    Plan plan = {0};
    Arena arena = {.base = at, .size = ARENA_SIZE};
    assert_true(plan_make(&world.snapshot, BUDGET, &arena, &plan));
    return plan;
}

/* Makes the plan and walks it: it must be possible as it stands. */
static Plan make(void)
{
    Plan plan = make_in(memory);
    walk_plan(&world, &plan, &walked);
    if (walked.fault != NULL)
        fail_msg("%s (job %d)", walked.fault, walked.fault_job);
    return plan;
}

/* The first job of a kind in a span, of a place or a batch (-1 any). */
static const Job *job_in(const Plan *p, JobKind kind, int batch, int place, int64_t from,
                         int64_t to)
{
    for (int j = 0; j < p->n_jobs; j++) {
        const Job *x = &p->jobs[j];
        int64_t utc = x->visit >= 0 ? p->visits[x->visit].start_utc : world.snapshot.now_utc;
        if (x->kind == kind && (batch < 0 || x->batch == batch) &&
            (place < 0 || x->place == place) && utc >= from && utc < to)
            return x;
    }
    return NULL;
}

static const Job *job_at_all(const Plan *p, JobKind kind, int batch, int place)
{
    return job_in(p, kind, batch, place, 0, INT64_MAX);
}

/* A batch that has hardened for some days. */
static void hardened(int at, int place, int days, double to_c, double frost)
{
    world_batch(&world, at, CABBAGE, place, BED, STAGE_HARDENING);
    RampState *r = &world.batches[at].ramp;
    r->exposure_days = days;
    r->hardened_to_c = to_c;
    r->frost_tolerance = frost;
}

/* It begins in the afternoon of the first day: what went before is no matter of the plan. */
static void begin_at(int step)
{
    for (int site = 0; site < 2; site++) {
        world.outlooks[site].steps = world.steps[site] + step;
    }
    world.snapshot.start_utc = world.snapshot.now_utc = START_UTC + (int64_t)step * STEP_S;
    world.snapshot.n_steps = TEST_STEPS - step;
}

static void test_cold_night(void **state)
{
    (void)state; /* a cold night is coming over an open frame: it is shut that evening, with odds
                    with and without */
    world_open(&world, 7, 4, 0.1);
    world.cold_night = 1;
    world.cold_night_k = 5;
    world_weather(&world);
    world_windows(&world, true);
    world.growers[0].visits_a_day_away = 2;
    world.places[TUNNEL].trays = world.places[BOX].trays = world.places[SILL].trays =
        0; /* full up */
    hardened(0, FRAME, 6, 4, 0.6);
    world.positions[FRAME] = 3;
    Plan p = make();
    const Job *shut = job_in(&p, JOB_SET_COVER, -1, FRAME, AT(0, 17), AT(0, 20));
    assert_non_null(shut);
    assert_int_equal(shut->position, 0);
    assert_true(shut->reason.limit == LIMIT_DAMAGE || shut->reason.limit == LIMIT_CHECK);
    assert_true(shut->reason.odds < shut->reason.otherwise_odds);
    assert_true(shut->reason.otherwise_c < shut->reason.predicted_c);
    assert_true(shut->guard == (shut->reason.limit == LIMIT_DAMAGE));
    assert_true(shut->deadline_utc > p.visits[shut->visit].start_utc);
}

static void test_guard(void **state)
{
    (void)state; /* left open it would be lost: the job is never taken as done, and has a time */
    world_open(&world, 5, 4, 0);
    world.cold_night = 1;
    world.cold_night_k = 6;
    world_weather(&world);
    begin_at(32);
    world_batch(&world, 0, CABBAGE, FRAME, BED, STAGE_HARDENING);
    world.positions[FRAME] = 3;
    Plan p = make_in(memory);
    bool guarded = false;
    for (int j = 0; j < p.n_jobs; j++) {
        const Job *x = &p.jobs[j];
        guarded =
            guarded || (x->guard && x->visit >= 0 && p.visits[x->visit].start_utc < AT(1, 0) &&
                        x->deadline_utc > p.visits[x->visit].start_utc);
    }
    assert_true(guarded);
}

static void test_sunny_noon(void **state)
{
    (void)state; /* a sunny day in a shut frame: it is propped at a visit that exists, because of
                    the heat */
    world_open(&world, 12, 6, 0);
    hardened(0, FRAME, 1, 8, 0.2);
    Plan p = make();
    const Job *prop = job_in(&p, JOB_SET_COVER, -1, FRAME, AT(0, 17), AT(0, 20));
    assert_non_null(prop);
    assert_int_equal(prop->reason.limit, LIMIT_HEAT);
    assert_true(prop->position > 0);
    assert_true(prop->reason.otherwise_c > prop->reason.limit_c &&
                prop->reason.predicted_c <= prop->reason.limit_c);
    for (int step = 48; step < 72; step++)
        assert_int_equal(walked.positions_at[FRAME][step], prop->position);
}

static void test_order(void **state)
{
    (void)state; /* steady mild spring: half open first, fully open later, and open nights last of
                    all */
    world_open(&world, 10, 4, 0.5);
    world_windows(&world, true);
    world.growers[0].visits_a_day_away = 2;
    world.growers[0].minutes_per_batch_day = 3000; /* the grower is glad to come */
    world.places[TUNNEL].trays = world.places[BOX].trays = 0;
    hardened(0, FRAME, 0, 10, 0);
    Plan p = make();
    int half = -1, open = -1, open_night = -1;
    for (int step = 0; step < TEST_STEPS; step++) {
        int hour = step % 48 / 2, place = walked.places_at[0][step],
            position = walked.positions_at[FRAME][step];
        if (place == BED)
            break;
        if (place == FRAME && hour >= 9 && hour < 17) {
            half = half < 0 && (position == 1 || position == 2) ? step : half;
            open = open < 0 && position == 3 ? step : open;
        }
        if (place == FRAME && (hour >= 22 || hour < 3) && position == 3 && open_night < 0)
            open_night = step;
    }
    assert_true(half >= 0 && open > half + 2 * 48 && open_night > half + 3 * 48);
    assert_int_equal(p.n_breaches,
                     0); /* a night in the open before the fifth day used would be one */
    assert_int_equal(walked.ramps[0].exposure_days, RAMP_EXPOSURE_FULL);
}

static void test_third_night(void **state)
{
    (void)state; /* a frost ahead holds a batch back, and the colder it is the less early it is
                    ready */
    int64_t before = 0;
    for (int k = 0; k <= 8; k += 2) {
        world_open(&world, 10, 4, 0.3);
        world.cold_night = 3;
        world.cold_night_k = k;
        world_weather(&world);
        hardened(0, FRAME, 5, 6, 0.5);
        Plan p = make();
        assert_true(p.outlooks[0].ready_utc >= before);
        before = p.outlooks[0].ready_utc;
        if (k == 8)
            assert_true(walked.positions_at[FRAME][3 * 48 + 6] == 0 ||
                        walked.places_at[0][3 * 48 + 6] != FRAME);
    }
    world_open(&world, 10, 4, 0.3);
    hardened(0, FRAME, 5, 6, 0.5);
    assert_true(make().outlooks[0].ready_utc < before);
}

static void test_capacity(void **state)
{
    (void)state; /* one tray fits into the frame: of three batches at home only so many are brought
                    as find room */
    world_open(&world, 12, 4, 0.6);
    world.places[FRAME].trays = 1;
    world.places[TUNNEL].trays = 1;
    world.places[BOX].trays = 0;
    for (int b = 0; b < 3; b++)
        world_batch(&world, b, CABBAGE, SILL, BED, STAGE_GROWING_ON);
    make();
    int in_frame = 0, moved = 0;
    for (int b = 0; b < 3; b++) {
        in_frame += walked.places_at[b][60] == FRAME;
        moved += walked.places_at[b][60] != SILL;
    }
    assert_true(in_frame <= 1 && moved >= 1 && moved <= 2 + 1);
}

static void test_two_sites(void **state)
{
    (void)state; /* from the heat at home to the frame on the plot: brought on a visit there, and
                    kept from noon heat */
    world_open(&world, 11, 5, 0.2);
    world_batch(&world, 0, CABBAGE, SILL, BED, STAGE_GROWING_ON);
    Plan p = make();
    const Job *bring = job_at_all(&p, JOB_TRANSFER, 0, -1);
    assert_non_null(bring);
    assert_int_equal(bring->from_place, SILL);
    assert_int_equal(p.visits[bring->visit].site, PLOT);
    assert_true(walked.batches[0].heat_kh < 0.1);
}

static void test_three_days_away(void **state)
{
    (void)state; /* nobody comes for three days: what is set before is good for all of them */
    world_open(&world, 9, 4, 0.6);
    world_absent(&world, 1, 3);
    hardened(0, FRAME, 2, 7, 0.3);
    begin_at(32);
    Plan p = make_in(memory);
    for (int v = 0; v < p.n_visits; v++)
        assert_true(p.visits[v].start_utc < AT(1, 0) || p.visits[v].start_utc >= AT(4, 0));
    for (int i = 0; i < p.n_breaches; i++)
        assert_true(p.breaches[i].at_utc >= AT(4, 12));
}

static void test_rescue(void **state)
{
    (void)state; /* a hard frost, and nobody can come before it: it is said at once, with when it
                    begins */
    world_open(&world, -4, 3, 0);
    world_absent(&world, 0, 2);
    hardened(0, FRAME, 2, 6, 0);
    Plan p = make();
    const Job *cry = job_at_all(&p, JOB_RESCUE, 0, -1);
    assert_non_null(cry);
    assert_true(cry->urgent && cry->guard);
    assert_int_equal(cry->reason.limit, LIMIT_DAMAGE);
    assert_true(cry->reason.odds > world.garden.risk.damage);
    assert_true(cry->deadline_utc >= START_UTC && cry->deadline_utc < AT(1, 12));
    assert_false(p.within_limits);
}

static void test_rescue_days_ahead(void **state)
{
    (void)state; /* planted out, one fleece on, and a killing night three days off: told now, while
                    more fleece can still be found */
    world_open(&world, 9, 5, 0.1);
    world.cold_night = 3;
    world.cold_night_k = 14;
    world_weather(&world);
    hardened(0, FLEECE, 6, 1, 0.3);
    world.batches[0].stage = STAGE_PLANTED_OUT;
    Plan p = make();
    const Job *cry = job_at_all(&p, JOB_RESCUE, 0, -1);
    assert_non_null(cry);
    assert_true(cry->urgent && cry->guard);
    assert_true(cry->deadline_utc > AT(3, 0) && cry->deadline_utc < AT(4, 12));
    assert_true(cry->visit < 0 || p.visits[cry->visit].start_utc < cry->deadline_utc);
    assert_true(cry->reason.odds > 0.25);
}

static void test_rescue_from_heat(void **state)
{
    (void)state; /* nobody comes before noon, and the shut frame will be too hot */
    world_open(&world, 14, 6, 0);
    hardened(0, FRAME, 2, 8, 0.2);
    Plan p = make();
    const Job *cry = job_at_all(&p, JOB_RESCUE, 0, -1);
    assert_non_null(cry);
    assert_int_equal(cry->reason.limit, LIMIT_HEAT);
    assert_true(cry->urgent);
    assert_true(cry->deadline_utc > AT(0, 6) && cry->deadline_utc < AT(0, 14));
}

static void test_frosty_morning(void **state)
{
    (void)state; /* plants are frozen when the grower comes: nothing is opened or moved, and until
                    when is said */
    world_open(&world, 3, 5, 0);
    world_windows(&world, true);
    world.growers[0].visits_a_day_away = 2;
    for (int i = 0; i < 18; i++) { /* freezing fog until nine */
        world.steps[PLOT][i].air_c = -1.5;
        world.steps[PLOT][i].radiation_wm2 = 0.0;
    }
    hardened(0, FRAME, 6, 2, 1);
    Plan p = make();
    const Job *leave = job_at_all(&p, JOB_LEAVE_SHUT, 0, FRAME);
    assert_non_null(leave);
    assert_true(leave->reason.at_utc > AT(0, 7) && leave->reason.at_utc < AT(0, 12));
    assert_true(leave->reason.predicted_c <= 1.0);
    assert_int_equal(walked.batches[0].frozen_touched, 0);
}

static void test_tender_waits(void **state)
{
    (void)state; /* a cool spring: tomatoes stay on the sill, and the date says "not before" */
    world_open(&world, 7, 4, 0.4);
    world_batch(&world, 0, TOMATO, SILL, BED, STAGE_GROWING_ON);
    Plan p = make();
    assert_int_equal(p.n_visits, 0);
    assert_true(p.outlooks[0].not_before && p.outlooks[0].ready_utc >= AT(10, 0));
    assert_int_not_equal(p.outlooks[0].bound.limit, LIMIT_NONE);
}

static void test_plant_out(void **state)
{
    (void)state; /* ready: planted out, with the sun low in the hours after */
    world_open(&world, 11, 4, 0.2);
    hardened(0, FRAME, 6, 5, 1);
    for (int n = 0; n < NIGHTS_KEPT; n++)
        world.batches[0].ramp.nights_shelter[n] = 0.0;
    Plan p = make();
    const Job *plant = job_at_all(&p, JOB_PLANT_OUT, 0, BED);
    assert_non_null(plant);
    int step = (int)((p.visits[plant->visit].start_utc - START_UTC) / STEP_S);
    double sun = 0.0;
    for (int i = step; i < step + 6; i++)
        sun += world.steps[PLOT][i].radiation_wm2 / 6.0;
    assert_true(sun < 350.0);
    assert_int_equal(walked.places_at[0][TEST_STEPS - 1], BED);
}

static void test_fleece_over_planted(void **state)
{
    (void)
        state; /* planted out, and a frost comes: the fleece goes over them, and off again later */
    world_open(&world, 9, 5, 0.1);
    world.cold_night = 1;
    world.cold_night_k = 5;
    world_weather(&world);
    hardened(0, BED, 6, 2, 0.3);
    world.batches[0].stage = STAGE_PLANTED_OUT;
    Plan p = make();
    const Job *lay = job_in(&p, JOB_MOVE, 0, FLEECE, AT(0, 17), AT(0, 20));
    assert_non_null(lay);
    assert_int_equal(lay->reason.limit, LIMIT_DAMAGE);
    assert_true(lay->guard && lay->reason.odds < lay->reason.otherwise_odds);
    int end = TEST_STEPS - 1;
    assert_true(walked.places_at[0][end] == BED || walked.positions_at[FLEECE][end] == 1);
}

static void test_settling(void **state)
{
    (void)state; /* potted on yesterday: it is left alone, and no day counts */
    world_open(&world, 11, 4, 0.5);
    world_batch(&world, 0, CABBAGE, SILL, BED, STAGE_SETTLING);
    world.batches[0].settled_utc = AT(5, 0);
    make();
    for (int step = 0; step < 5 * 48; step++)
        assert_int_equal(walked.places_at[0][step], SILL);
}

static void test_unknown_position(void **state)
{
    (void)state; /* a cover that nobody reported on: the same night is less sure */
    double odds[2];
    for (int unknown = 0; unknown < 2; unknown++) {
        world_open(&world, 6, 4, 0.2);
        hardened(0, FRAME, 4, 5, 0.4);
        world_absent(&world, 0, 1);
        world.batches[0].position_unknown = unknown;
        odds[unknown] = make_in(memory).outlooks[0].damage_odds;
    }
    assert_true(odds[1] > odds[0]);
}

static void test_equal_batches(void **state)
{
    (void)state; /* what is equal is treated alike */
    world_open(&world, 10, 5, 0.3);
    hardened(0, FRAME, 2, 8, 0.2);
    hardened(1, FRAME, 2, 8, 0.2);
    Plan p = make();
    assert_true(p.outlooks[0].ready_utc == p.outlooks[1].ready_utc);
    for (int step = 0; step < TEST_STEPS; step++)
        assert_int_equal(walked.places_at[0][step], walked.places_at[1][step]);
}

static void test_an_hour_later(void **state)
{
    (void)
        state; /* the same forecast an hour on: every visit stands, and what was to be done at it */
    world_open(&world, 10, 5, 0.3);
    hardened(0, FRAME, 2, 8, 0.2);
    Plan p = make_in(memory);
    world.snapshot.former = p.visits;
    world.snapshot.n_former = p.n_visits;
    world.snapshot.former_jobs = p.jobs;
    world.snapshot.n_former_jobs = p.n_jobs;
    PlanPast past = {.garden = &world.garden,
                     .site = PLOT,
                     .start_utc = START_UTC,
                     .n = 2,
                     .outlook = &world.outlooks[PLOT],
                     .chains = world.chains,
                     .n_chains = world.snapshot.n_chains,
                     .positions = world.positions,
                     .n_batches = world.snapshot.n_batches};
    bool checked[WORLD_BATCHES] = {false};
    plan_advance(&past, world.states, world.batches, checked);
    begin_at(2);
    Plan later = make_in(memory_again);
    assert_int_equal(later.n_visits, p.n_visits);
    for (int v = 0; v < p.n_visits; v++)
        assert_true(later.visits[v].start_utc == p.visits[v].start_utc);
    for (int j = 0; j < p.n_jobs; j++) {
        assert_int_equal(later.jobs[j].kind, p.jobs[j].kind);
        assert_int_equal(later.jobs[j].position, p.jobs[j].position);
    }
}

static void test_settled_visit(void **state)
{
    (void)state; /* an hour before it, a visit is not moved for its own sake */
    world_open(&world, 12, 6, 0);
    hardened(0, FRAME, 1, 8, 0.2);
    world.snapshot.now_utc = AT(0, 16.5);
    begin_at(33);
    Visit published = {.grower = 0, .site = PLOT, .start_utc = AT(0, 19), .minutes = 16};
    world.former[0] = published;
    world.snapshot.n_former = 1;
    Plan p = make_in(memory);
    assert_true(p.n_visits > 0 && p.visits[0].start_utc == AT(0, 19));
}

static int set_up(void **state)
{
    (void)state;
    memory = malloc(ARENA_SIZE);
    memory_again = malloc(ARENA_SIZE);
    return memory == NULL || memory_again == NULL;
}

static int tear_down(void **state)
{
    (void)state;
    free(memory);
    free(memory_again);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cold_night),
        cmocka_unit_test(test_guard),
        cmocka_unit_test(test_sunny_noon),
        cmocka_unit_test(test_order),
        cmocka_unit_test(test_third_night),
        cmocka_unit_test(test_capacity),
        cmocka_unit_test(test_two_sites),
        cmocka_unit_test(test_three_days_away),
        cmocka_unit_test(test_rescue),
        cmocka_unit_test(test_rescue_from_heat),
        cmocka_unit_test(test_rescue_days_ahead),
        cmocka_unit_test(test_frosty_morning),
        cmocka_unit_test(test_tender_waits),
        cmocka_unit_test(test_plant_out),
        cmocka_unit_test(test_fleece_over_planted),
        cmocka_unit_test(test_settling),
        cmocka_unit_test(test_unknown_position),
        cmocka_unit_test(test_equal_batches),
        cmocka_unit_test(test_an_hour_later),
        cmocka_unit_test(test_settled_visit),
    };
    return cmocka_run_group_tests_name("plan", tests, set_up, tear_down);
}
