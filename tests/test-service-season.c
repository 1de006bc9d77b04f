/* SPDX-License-Identifier: MIT */
/*
 * A season lived through with a careless grower: jobs done, late, early, missed, never reported;
 * forecasts that come and stay away; restarts at any moment. After each plan what must always hold
 * is looked at.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <sqlite3.h>
#include <string.h>

#include "base/local-time.h"
#include "calendar-check.h"
#include "service-world.h"
#include "store/store-private.h"

#define DAYS 60

typedef struct Season {
    GHashTable *sequences; /* (owned) uid -> the highest yet */
    GHashTable *gone;      /* (owned) uids that left the calendar */
    GRand *random;
    int64_t settled_utc;
    guint plans;
} Season;

static Season season;

/* "UID:…" and "SEQUENCE:…" of every event in the bytes; the alarms' UIDs stand after BEGIN:VALARM.
 */
static void check_file(const World *w)
{
    g_autofree char *bytes = world_calendar(w);
    g_autofree char *complaint = calendar_check(bytes, strlen(bytes));
    if (complaint != NULL)
        fail_msg("%s", complaint);
    g_auto(GStrv) events = g_strsplit(bytes, "BEGIN:VEVENT\r\n", -1);
    g_autoptr(GHashTable) here = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    for (int i = 1; events[0] != NULL && events[i] != NULL; i++) {
        char *alarm = strstr(events[i], "BEGIN:VALARM");
        if (alarm != NULL)
            *alarm = '\0';
        const char *uid = strstr(events[i], "UID:"), *sequence = strstr(events[i], "SEQUENCE:");
        assert_true(uid != NULL && sequence != NULL);
        char *id = g_strndup(uid + 4, strcspn(uid + 4, "\r"));
        int number = (int)g_ascii_strtoll(sequence + 9, NULL, 10);
        assert_true(number >= GPOINTER_TO_INT(g_hash_table_lookup(season.sequences, id)));
        assert_false(g_hash_table_contains(season.gone, id));
        g_hash_table_insert(season.sequences, g_strdup(id), GINT_TO_POINTER(number));
        assert_true(g_hash_table_add(here, id));
    }
    GHashTableIter all;
    gpointer id;
    g_hash_table_iter_init(&all, season.sequences);
    while (g_hash_table_iter_next(&all, &id, NULL)) {
        if (!g_hash_table_contains(here, id))
            g_hash_table_add(season.gone, g_strdup(id));
    }
}

static void check_visits(const World *w)
{
    const Service *s = w->service;
    g_autoptr(GHashTable) handles = g_hash_table_new(NULL, NULL);
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        assert_true(v->begun || v->visit.start_utc >= world_now(w));
        for (guint k = 0; k < v->jobs->len; k++) {
            const OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->state == STORE_JOB_PLANNED)
                assert_true(g_hash_table_add(handles, GINT_TO_POINTER(job->handle)));
            assert_true(job->handle > 0);
            assert_true(job->job.batch < (int)s->current.batches->len);
        }
    }
}

static void look(Service *s, const char *trigger, gpointer data)
{
    const World *w = data;
    (void)trigger;
    if (s->store_problem != NULL)
        fail_msg("%s", s->store_problem);
    assert_null(s->calendar_problem);
    assert_true(s->settled.as_of_utc >= season.settled_utc);
    season.settled_utc = s->settled.as_of_utc;
    season.plans++;
    for (guint i = 0; i < s->current.batches->len; i++) {
        const Batch *b = &g_array_index(s->current.batches, Batch, i);
        assert_true(isfinite(b->ramp.hardened_to_c));
        assert_true(b->ramp.exposure_days >= 0);
    }
    check_file(w);
    check_visits(w);
}

/* What a careless grower says of the visits under way. */
static void report(World *w)
{
    Service *s = w->service;
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            int what = g_rand_int_range(season.random, 0, 20);
            int64_t at_utc =
                what < 14 ? 0 : v->visit.start_utc + g_rand_int_range(season.random, -7200, 7200);
            gboolean says = v->begun ? what < 17 : what == 0;
            if (job->state == STORE_JOB_PLANNED && says)
                assert_true(jobs_report(s, v, job, what != 13, MIN(at_utc, world_now(w)), NULL));
        }
    }
}

static void forecast(World *w)
{
    WorldWeather weather = {.low_c = g_rand_double_range(season.random, -1, 7), .high_c = 15};
    weather.high_c = weather.low_c + g_rand_double_range(season.random, 5, 14);
    weather.cold_day = g_rand_int_range(season.random, 0, 5);
    weather.cold_c = weather.low_c - g_rand_double_range(season.random, 2, 8);
    world_forecast(w, &weather);
}

static void integrity(const World *w)
{
    sqlite3_stmt *rows;
    assert_int_equal(
        sqlite3_prepare_v2(w->service->store->db, "PRAGMA integrity_check", -1, &rows, NULL),
        SQLITE_OK);
    assert_int_equal(sqlite3_step(rows), SQLITE_ROW);
    assert_string_equal((const char *)sqlite3_column_text(rows, 0), "ok");
    sqlite3_finalize(rows);
}

static void test_a_careless_season(void **state)
{
    (void)state;
    guint32 seed = calendar_seed("season");
    season = (Season){.sequences = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL),
                      .gone = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL),
                      .random = g_rand_new_with_seed(seed)};
    World *w = world_new(world_garden, "2026-03-20T09:00:00Z");
    world_start(w);
    w->planned = look;
    forecast(w);
    world_add_batch(w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
    world_add_batch(w, "leek", 60, "sill", STAGE_GROWING_ON, 60);
    int64_t end_utc = world_now(w) + (int64_t)DAYS * DAY_S;
    while (world_now(w) < end_utc) {
        world_run_for(w, g_rand_int_range(season.random, 600, 10 * HOUR_S));
        report(w);
        world_run_for(w, 0);
        if (g_rand_int_range(season.random, 0, 3) == 0)
            forecast(w);
        if (g_rand_int_range(season.random, 0, 12) == 0) {
            world_stop(w);
            clock_virtual_step_wall(w->clk, g_rand_int_range(season.random, 0, DAY_S));
            world_start(w);
        }
        if (g_rand_int_range(season.random, 0, 20) == 0)
            clock_virtual_step_wall(w->clk, g_rand_int_range(season.random, 2, 6 * HOUR_S));
    }
    world_run_for(w, 0);
    g_autofree char *read = world_read_calendar(w);
    assert_non_null(strstr(read, "\"events\""));
    integrity(w);
    print_message("# %u plans, %u events\n", season.plans, g_hash_table_size(season.sequences));
    assert_true(g_hash_table_size(season.sequences) > 0);
    world_free(w);
    g_rand_free(season.random);
    g_hash_table_unref(season.sequences);
    g_hash_table_unref(season.gone);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_careless_season),
    };
    return cmocka_run_group_tests_name("service-season", tests, NULL, NULL);
}
