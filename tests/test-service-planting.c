/* SPDX-License-Identifier: MIT */
/* Planting day in a whole service: jobs of their own, that last and can be reported. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "service-world.h"
#include "store/store-batches.h"

#define START "2026-04-20T06:00:00Z"
#define DAYS_MOST 40

static const WorldWeather mild = {.low_c = 9, .high_c = 15};

/* The bed of the garden with a fleece over it. */
static World *begin(void)
{
    g_autofree char *garden =
        g_strconcat(world_garden, "\n[place sheet]\ninside=bed\nkind=fleece\n", NULL);
    World *w = world_new(garden, START);
    world_start(w);
    world_forecast(w, &mild);
    world_add_batch(w, "cabbage", 24, "frame", STAGE_HARDENING, 60);
    return w;
}

/* The open job of a kind about `batch`, of a visit that has begun or is to come. */
static OpenJob *job_of(const World *w, JobKind kind, int batch, OpenVisit **ret_visit)
{
    for (guint i = 0; i < w->service->visits->len; i++) {
        OpenVisit *v = w->service->visits->pdata[i];
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->job.kind == kind && job->job.batch == batch &&
                job->state == STORE_JOB_PLANNED) {
                *ret_visit = v;
                return job;
            }
        }
    }
    return NULL;
}

/* A day at a time until planting is planned; each day's visits are taken as made. */
static OpenJob *await_planting(World *w, OpenVisit **ret_visit)
{
    OpenJob *job = NULL;
    for (int day = 0; day < DAYS_MOST && job == NULL; day++) {
        world_run_for(w, DAY_S);
        world_forecast(w, &mild);
        job = job_of(w, JOB_PLANT_OUT, 0, ret_visit);
    }
    assert_non_null(job);
    return job;
}

/* Lives on to a minute before the visit that plants; a forecast every half day, as it may move. */
static OpenJob *run_to_planting(World *w, OpenVisit **ret_visit)
{
    OpenJob *job = await_planting(w, ret_visit);
    for (int i = 0; i < 2 * DAYS_MOST; i++) {
        const int64_t left_s = job == NULL ? DAY_S : (*ret_visit)->visit.start_utc - world_now(w);
        if (left_s <= 60)
            break;
        world_run_for(w, MIN(left_s - 60, DAY_S / 2));
        if (left_s > DAY_S / 2)
            world_forecast(w, &mild);
        job = job_of(w, JOB_PLANT_OUT, 0, ret_visit);
    }
    assert_non_null(job);
    return job;
}

/* Guarding and watering have a number and an id, which last as the forecast changes, and are
 * reported as others are; planting told of in the store brings its place. */
static void test_jobs(void **state)
{
    OpenVisit *planting = NULL, *watering = NULL, *guarding = NULL;
    (void)state;
    World *w = begin();
    (void)await_planting(w, &planting);
    const OpenJob *guard = job_of(w, JOB_PROTECT, -1, &guarding);
    const OpenJob *water = job_of(w, JOB_WATER, 0, &watering);
    assert_non_null(guard);
    assert_ptr_equal(guarding, planting);
    g_autofree char *guard_id = g_strdup(guard->job.id);
    g_autofree char *water_id = g_strdup(water != NULL ? water->job.id : "");
    for (int i = 0; i < 3; i++) {
        const WorldWeather other = {.low_c = 9, .high_c = i % 2 ? 14.5 : 15.5};
        world_forecast(w, &other);
        guard = job_of(w, JOB_PROTECT, -1, &guarding);
        water = job_of(w, JOB_WATER, 0, &watering);
        assert_true(guard != NULL && strcmp(guard->job.id, guard_id) == 0);
        assert_string_equal(water != NULL ? water->job.id : "", water_id);
    }
    (void)run_to_planting(w, &planting);
    guard = job_of(w, JOB_PROTECT, -1, &guarding);
    assert_true(guard != NULL && guarding == planting);
    g_autofree char *last_id = g_strdup(guard->job.id);
    world_run(w, guarding->visit.start_utc + 600);
    OpenJob *done = job_of(w, JOB_PROTECT, -1, &guarding);
    assert_true(done != NULL && guarding->begun && done->handle > 0);
    assert_true(jobs_report(w->service, guarding, done, TRUE, 0, NULL));
    assert_int_equal(world_stored_job(w, last_id), STORE_JOB_DONE);
    assert_int_equal(world_batch(w, "cabbage-1")->stage, STAGE_PLANTED_OUT);
    world_free(w);
}

static void add_job(const World *w, OpenVisit *v, const Job *job)
{
    Service *s = w->service;
    const StoreScope scope = {.garden = s->garden,
                              .batches = &g_array_index(s->current.batches, Batch, 0),
                              .n_batches = (int)s->current.batches->len};
    OpenJob open = {.handle = 900 + (int)v->jobs->len, .state = STORE_JOB_PLANNED, .job = *job};
    assert_true(store_put_job(s->store, &scope, &open.job, v->visit.id, (int)v->jobs->len, NULL));
    g_array_append_val(v->jobs, open);
}

static void replan(World *w)
{
    service_ask_plan(w->service, "now");
    world_run_for(w, 0);
}

/* A fleece laid over them on the same visit: still over them when the planting is reported; not
 * laid after all, they stand in the bed, and are planted. */
static void test_fleece_over_them(void **state)
{
    OpenVisit *v = NULL;
    (void)state;
    World *w = begin();
    OpenJob *planting = run_to_planting(w, &v);
    const int bed = planting->job.place, sheet = garden_find_place(w->service->garden, "sheet");
    const Job over = {.kind = JOB_MOVE,
                      .batch = 0,
                      .from_place = bed,
                      .place = sheet,
                      .position = -1,
                      .reason = {.limit = LIMIT_DAMAGE, .batch = 0, .place = bed}};
    add_job(w, v, &over);
    world_run(w, v->visit.start_utc + 60);
    replan(w);
    assert_int_equal(world_batch(w, "cabbage-1")->place, sheet);
    planting = job_of(w, JOB_PLANT_OUT, 0, &v);
    assert_true(jobs_report(w->service, v, planting, TRUE, 0, NULL));
    replan(w);
    assert_int_equal(world_batch(w, "cabbage-1")->place, sheet);
    OpenJob *laid = job_of(w, JOB_MOVE, 0, &v);
    assert_non_null(laid);
    assert_int_equal(laid->job.place, sheet);
    assert_true(jobs_report(w->service, v, laid, FALSE, 0, NULL));
    replan(w);
    assert_int_equal(world_batch(w, "cabbage-1")->place, bed);
    assert_int_equal(world_batch(w, "cabbage-1")->stage, STAGE_PLANTED_OUT);
    world_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_jobs),
        cmocka_unit_test(test_fleece_over_them),
    };
    return cmocka_run_group_tests_name("service-planting", tests, NULL, NULL);
}
