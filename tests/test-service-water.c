/* SPDX-License-Identifier: MIT */
/* Water over days: what trays have lost is remembered, waterings are recorded, jobs follow. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "climate/water.h"
#include "service-world.h"
#include "store/store-waterings.h"

#define START "2026-04-20T06:00:00Z"

static const WorldWeather mild = {.low_c = 8, .high_c = 16};

static World *begin(void)
{
    World *w = world_new(world_garden, START);
    world_start(w);
    world_forecast(w, &mild);
    world_add_batch(w, "cabbage", 24, "frame", STAGE_HARDENING, 50);
    return w;
}

static int of_place(const World *w)
{
    return world_batch(w, "cabbage-1")->place;
}

static double used(const World *w)
{
    return world_batch(w, "cabbage-1")->used_mm;
}

static double held(const World *w)
{
    const Batch *batch = world_batch(w, "cabbage-1");
    const Container *pot = &w->service->garden->containers[batch->container];
    return water_held_mm(pot->volume_ml, pot->per_tray);
}

static guint waterings(const World *w)
{
    g_autoptr(GArray) all = NULL;
    assert_true(store_load_waterings(w->service->store, 0, &all, NULL));
    return all->len;
}

/* The last watering job open of visits that have begun, or the first to come; NULL none. */
static OpenJob *watering(const World *w, gboolean begun, OpenVisit **ret_visit)
{
    OpenJob *found = NULL;
    for (guint i = 0; i < w->service->visits->len; i++) {
        OpenVisit *v = w->service->visits->pdata[i];
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->job.kind != JOB_WATER || job->job.batch >= 0 || job->state != STORE_JOB_PLANNED ||
                v->begun != begun || (found != NULL && !begun))
                continue;
            *ret_visit = v;
            found = job;
        }
    }
    return found;
}

static void replan(World *w)
{
    service_ask_plan(w->service, "now");
    world_run_for(w, 0);
}

static void test_remembered(void **state)
{
    (void)state;
    World *w = begin();
    assert_true(used(w) < 0.01);
    world_run_for(w, 9 * HOUR_S);
    replan(w);
    const double before = used(w);
    print_message("used after nine hours: %.2f of %.2f mm\n", before, held(w));
    assert_true(before > 0.2 && before < held(w));
    world_stop(w); /* kept over a restart */
    world_start(w);
    replan(w);
    assert_float_equal(used(w), before, 1e-6);
    assert_true(jobs_water(w->service, of_place(w), -1, world_now(w), NULL));
    replan(w);
    assert_true(used(w) < 0.01);
    assert_int_equal(waterings(w), 1);
    world_run_for(w, 6 * HOUR_S);
    world_stop(w);
    world_start(w);
    replan(w);
    assert_true(used(w) < before);
    world_free(w);
}

/* A dry spell adds up until it is asked for, once asked it stays asked, and watering ends it; one
 * that was not done is asked again. */
static void test_jobs(void **state)
{
    (void)state;
    World *w = begin();
    OpenVisit *v = NULL;
    OpenJob *job = NULL;
    int days = 0;
    world_run_for(w, 12 * HOUR_S);
    world_forecast(w, &mild);
    while ((job = watering(w, FALSE, &v)) == NULL && days++ < 9) {
        world_run_for(w, DAY_S);
        world_forecast(w, &mild);
    }
    assert_non_null(job);
    g_autofree char *id = g_strdup(job->job.id);
    print_message("asked after %d days\n", days);
    for (int i = 0; i < 4; i++) { /* forecasts a little better and worse change nothing */
        const WorldWeather other = {.low_c = 8, .high_c = i % 2 ? 15.5 : 16.5};
        world_forecast(w, &other);
        job = watering(w, FALSE, &v);
        assert_true(job != NULL && strcmp(job->job.id, id) == 0);
    }
    const guint so_far = waterings(w); /* earlier ones were taken as done as well */
    world_run(w, v->visit.start_utc + 60);
    assert_int_equal(waterings(w), so_far + 1); /* taken as done */
    job = watering(w, TRUE, &v);
    assert_true(job != NULL && strcmp(job->job.id, id) == 0 && v->begun);
    world_run_for(w, HOUR_S);
    replan(w);
    const double watered = used(w);
    assert_true(jobs_report(w->service, v, job, FALSE, 0, NULL));
    replan(w);
    assert_int_equal(waterings(w), so_far);
    print_message("watered %.2f mm used, not after all %.2f mm\n", watered, used(w));
    assert_true(used(w) > watered + 0.05);
    job = watering(w, FALSE, &v);
    for (guint i = 0; job == NULL && i < w->service->alerts->len; i++)
        if (g_array_index(w->service->alerts, Job, i).reason.limit == LIMIT_WATER)
            job = (OpenJob *)w->service->alerts->data;
    assert_non_null(job);
    world_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_remembered),
        cmocka_unit_test(test_jobs),
    };
    return cmocka_run_group_tests_name("service-water", tests, NULL, NULL);
}
