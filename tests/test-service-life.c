/* SPDX-License-Identifier: MIT */
/* What befalls the service itself: restarts, days down, clocks set wrong, changes of the clock,
 * full disks. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <json-glib/json-glib.h>
#include <sqlite3.h>
#include <string.h>

#include "base/local-time.h"
#include "service-world.h"
#include "store/store-batches.h"
#include "store/store-private.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */

static const WorldWeather mild = {.low_c = 6, .high_c = 14};
static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};

static World *begin(const char *garden, const char *start, const WorldWeather *weather)
{
    World *w = world_new(garden, start);
    world_start(w);
    world_forecast(w, weather);
    world_add_batch(w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
    return w;
}

/* UIDs and sequences seen so far. Each UID stands once in the file, and its SEQUENCE never falls.
 */
typedef struct Seen {
    GHashTable *sequences; /* (owned) uid -> sequence */
    gsize files;
} Seen;

static Seen seen;

static void watch(Service *s, const char *trigger, gpointer data)
{
    (void)s, (void)trigger;
    World *w = data;
    g_autoptr(GError) error = NULL;
    g_autofree char *text = world_read_calendar(w);
    g_autoptr(JsonParser) parser = json_parser_new();
    assert_true(json_parser_load_from_data(parser, text, -1, &error));
    JsonArray *events =
        json_object_get_array_member(json_node_get_object(json_parser_get_root(parser)), "events");
    g_autoptr(GHashTable) here = g_hash_table_new(g_str_hash, g_str_equal);
    g_autoptr(GHashTable) starts = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    for (guint i = 0; i < json_array_get_length(events); i++) {
        JsonObject *event = json_array_get_object_element(events, i);
        const char *uid = json_object_get_string_member(event, "uid");
        int sequence = (int)json_object_get_int_member(event, "sequence");
        gboolean stands = strcmp(json_object_get_string_member(event, "status"), "CONFIRMED") == 0;
        assert_true(g_hash_table_add(here, (gpointer)uid));
        gpointer was;
        if (g_hash_table_lookup_extended(seen.sequences, uid, NULL, &was))
            assert_true(sequence >= GPOINTER_TO_INT(was));
        g_hash_table_insert(seen.sequences, g_strdup(uid), GINT_TO_POINTER(sequence));
        /* One visit, one event. */
        char *what =
            g_strdup_printf("%s at %s: %s", json_object_get_string_member(event, "summary"),
                            json_object_get_string_member(event, "location"),
                            json_object_get_string_member(event, "start_local"));
        if (!stands)
            g_free(what);
        else if (!g_hash_table_add(starts, what))
            fail_msg("twice: %s", json_object_get_string_member(event, "start_local"));
    }
    seen.files++;
}

static int setup(void **state)
{
    (void)state;
    seen.sequences = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    seen.files = 0;
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    g_hash_table_unref(seen.sequences);
    return 0;
}

static void restart(World *w)
{
    world_stop(w);
    world_start(w);
}

static void test_a_restart_changes_nothing(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &frost);
    g_autoptr(GRand) random = g_rand_new_with_seed(2026);
    print_message("# seed 2026\n");
    for (int i = 0; i < 12; i++) {
        world_run_for(w, g_rand_int_range(random, 1, 12 * HOUR_S));
        if (i % 4 == 2)
            world_forecast(w, &mild);
        service_ask_plan(w->service, "now");
        world_run_for(w, 0);
        g_autofree char *visits = world_visits_text(w), *numbers = world_state_text(w),
                        *file = world_calendar(w);
        restart(w);
        g_autofree char *visits_after = world_visits_text(w), *numbers_after = world_state_text(w),
                        *file_after = world_calendar(w);
        assert_string_equal(visits, visits_after);
        assert_string_equal(numbers, numbers_after);
        assert_string_equal(file, file_after);
    }
    world_free(w);
}

/* Visits that passed while nothing ran are begun and assumed as if it had run. */
static void test_three_days_down(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &mild);
    const OpenVisit *v = world_visit(w, FALSE);
    assert_non_null(v);
    int64_t start_utc = v->visit.start_utc;
    g_autofree char *id = g_strdup(v->visit.id),
                    *job = g_strdup(g_array_index(v->jobs, OpenJob, 0).job.id);
    assert_true(start_utc < world_now(w) + 2 * DAY_S);
    w->planned = watch;
    world_stop(w);
    clock_virtual_step_wall(w->clk, 3 * DAY_S + 12 * HOUR_S);
    world_start(w);
    StoreScope scope = {w->service->garden, NULL, 0};
    g_autofree StoreVisit *visit = NULL;
    assert_int_equal(world_stored_job(w, job), STORE_JOB_ASSUMED);
    assert_true(store_get_visit(w->service->store, &scope, id, &visit, NULL));
    assert_int_equal(visit->state, STORE_VISIT_DONE);
    /* Without a forecast for so long it is planned on normals, and every event says so. */
    assert_int_equal(w->service->weather[0].quality, WEATHER_MISSING);
    assert_true(w->service->settled.as_of_utc > world_now(w) - HOUR_S);
    assert_true(seen.files > 0);
    world_free(w);
}

static void test_asleep_over_a_visit(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &mild);
    w->planned = watch;
    const OpenVisit *v = world_visit(w, FALSE);
    assert_non_null(v);
    world_run(w, v->visit.start_utc - 2 * HOUR_S);
    v = world_visit(w, FALSE); /* it may have been planned anew meanwhile */
    assert_true(v != NULL && v->visit.start_utc < world_now(w) + 5 * HOUR_S);
    g_autofree char *id = g_strdup(v->visit.id);
    clock_virtual_step_wall(w->clk, 5 * HOUR_S);
    world_run_for(w, 0);
    StoreScope scope = {w->service->garden, NULL, 0};
    g_autofree StoreVisit *visit = NULL;
    assert_true(store_get_visit(w->service->store, &scope, id, &visit, NULL));
    assert_int_equal(visit->state, STORE_VISIT_DONE);
    assert_true(visit->visit.start_utc <
                world_now(w) - (int64_t)w->service->garden->assume_done_h * HOUR_S);
    assert_null(w->service->store_problem);
    assert_true(seen.files > 0);
    world_free(w);
}

static void test_an_hour_back(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &mild);
    world_run_for(w, 600);
    w->planned = watch;
    g_autofree char *visits = world_visits_text(w);
    guint64 plans = w->service->plans;
    clock_virtual_step_wall(w->clk, -HOUR_S);
    world_run_for(w, 60);
    /* Refused, and said; the record is as it was. */
    assert_int_equal(w->service->plans, plans);
    assert_non_null(
        strstr(w->service->store_problem, "the clock stands before what is already recorded"));
    g_autofree char *after = world_visits_text(w);
    assert_string_equal(visits, after);
    /* When the hour has passed once more, it goes on of itself. */
    world_run_for(w, HOUR_S);
    assert_true(w->service->plans > plans);
    assert_null(w->service->store_problem);
    world_free(w);
}

static void test_the_clock_was_never_set(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &mild);
    world_run_for(w, DAY_S);
    w->planned = watch;
    int64_t now_utc = world_now(w);
    g_autofree char *visits = world_visits_text(w), *file = world_calendar(w);
    clock_virtual_step_wall(w->clk, 3600 - now_utc);
    world_run_for(w, 7200);
    assert_non_null(strstr(w->service->store_problem, "the clock was never set"));
    restart(w); /* the machine came up so */
    g_autofree char *visits_then = world_visits_text(w), *file_then = world_calendar(w);
    assert_string_equal(visits, visits_then);
    assert_string_equal(file, file_then);
    clock_virtual_step_wall(w->clk, now_utc + 60 - world_now(w));
    world_run_for(w, 0);
    assert_null(w->service->store_problem);
    g_autofree char *visits_now = world_visits_text(w);
    assert_string_equal(visits, visits_now);
    world_free(w);
}

/* A board without a clock of its own, first started: nothing is stored yet, and it is 1970. */
static void test_first_started_in_1970(void **state)
{
    (void)state;
    World *w = world_new(world_garden, "1970-01-01T00:01:00Z");
    world_start(w);
    assert_int_equal(w->service->plans, 0);
    clock_virtual_step_wall(w->clk, world_utc(START) - world_now(w));
    gint64 before_us = g_get_monotonic_time();
    world_run_for(w, 0);
    assert_true(w->service->plans > 0);
    assert_true(w->service->settled.as_of_utc >= world_utc(START) - HOUR_S);
    assert_true(g_get_monotonic_time() - before_us <
                5 * G_USEC_PER_SEC); /* and not half a century is lived */
    world_free(w);
}

/* ---- changes of the clock ---- */

static guint midnights;
static int64_t last_midnight_utc;

static void count_midnights(Service *s, const char *trigger, gpointer data)
{
    watch(s, trigger, data);
    if (strstr(trigger, "midnight") == NULL)
        return;
    midnights++;
    last_midnight_utc = clock_now(s->clk);
}

typedef struct ChangeRow {
    const char *sentence, *zone, *start;
    double latitude, longitude;
    int utc_hour; /* of the midnight after the change */
} ChangeRow;

static const ChangeRow changes[] = {
    {"London goes to summer time", "Europe/London", "2026-03-27T12:00:00Z", 53.1, -2.0, 23},
    {"London goes back", "Europe/London", "2026-10-23T12:00:00Z", 53.1, -2.0, 0},
    {"a garden near Hobart goes to summer time on 4 October", "Australia/Hobart",
     "2026-10-02T01:00:00Z", -42.9, 147.3, 13},
};

static void test_changes_of_the_clock(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(changes); i++) {
        const ChangeRow *row = &changes[i];
        print_message("# %s\n", row->sentence);
        g_autofree char *garden = g_strdup_printf(
            "[garden]\n[grower one]\nvisits-home=07:00-08:30; 17:30-19:00\nvisits-plot=Mon-Sun "
            "09:00-18:00\n"
            "travel-minutes=20\n[site home]\nlatitude=%.1f\nlongitude=%.1f\nzone=%s\nweather=none\n"
            "[site plot]\nlatitude=%.1f\nlongitude=%.1f\nzone=%s\nweather=none\n[place "
            "sill]\nsite=home\nkind=sill\n"
            "trays=6\n[place frame]\nsite=plot\nkind=cold-frame\ntrays=6\n[place "
            "bed]\nsite=plot\nkind=bed\n",
            row->latitude, row->longitude, row->zone, row->latitude, row->longitude, row->zone);
        World *w = begin(garden, row->start, &mild);
        GTimeZone *zone = w->service->zones[0];
        int first_day = local_day(zone, world_now(w));
        midnights = 0;
        w->planned = count_midnights;
        for (int quarter = 0; quarter < 16; quarter++) {
            world_run_for(w, 6 * HOUR_S);
            for (guint k = 0; k < w->service->visits->len; k++) {
                const OpenVisit *v = g_ptr_array_index(w->service->visits, k);
                int minute = local_minute_of_day(zone, v->visit.start_utc);
                gboolean home = v->visit.site == 0;
                assert_true(home ? (minute >= 420 && minute <= 510) ||
                                       (minute >= 1050 && minute <= 1140)
                                 : minute >= 540 && minute <= 1080);
                assert_int_equal(minute % 30, 0);
            }
        }
        assert_int_equal(midnights, local_day(zone, world_now(w)) - first_day);
        assert_int_equal(last_midnight_utc % DAY_S / HOUR_S, row->utc_hour);
        const RampState *ramp = &world_batch(w, "lettuce-1")->ramp;
        assert_true(ramp->day_start_utc > w->service->current.as_of_utc - 26 * HOUR_S &&
                    ramp->day_steps <= 50);
        world_free(w);
    }
}

/* ---- what cannot be written ---- */

static void limit_pages(World *w, const char *limit)
{
    g_autofree char *sql = g_strdup_printf("PRAGMA max_page_count=%s", limit);
    assert_int_equal(sqlite3_exec(w->service->store->db, sql, NULL, NULL, NULL), SQLITE_OK);
}

static void test_a_full_disk(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &frost);
    world_run_for(w, 5 * HOUR_S);
    w->planned = watch;
    g_autofree char *file = world_calendar(w), *visits = world_visits_text(w);
    limit_pages(w, "1"); /* never below what there is */
    guint64 plans = w->service->plans;
    int tries = 0;
    while (w->service->store_problem == NULL && tries++ < 200) {
        g_free(g_steal_pointer(&file));
        g_free(g_steal_pointer(&visits));
        file = world_calendar(w);
        visits = world_visits_text(w);
        plans = w->service->plans;
        world_forecast(w, tries % 2 == 0 ? &mild : &frost);
        world_run_for(w, tries % 2 == 0 ? 0 : 1);
    }
    assert_non_null(w->service->store_problem);
    assert_non_null(strstr(w->service->store_problem, "no room on the disk"));
    assert_int_equal(w->service->plans, plans);
    g_autofree char *file_then = world_calendar(w);
    assert_string_equal(file, file_then);
    /* The last committed state stands, in memory and for the next start. */
    g_autofree char *visits_then = world_visits_text(w);
    assert_string_equal(visits, visits_then);
    world_run_for(w, 1800); /* goes on, and tries again */
    limit_pages(w, "1073741823");
    world_run_for(w, 3600);
    assert_null(w->service->store_problem);
    assert_true(w->service->plans > plans);
    g_autofree char *before = world_calendar(w);
    restart(w);
    g_autofree char *after = world_calendar(w);
    assert_string_equal(before, after); /* no event under another UID */
    world_free(w);
}

static void test_the_calendar_cannot_be_written(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &mild);
    g_autofree char *aside = g_strconcat(w->calendar, ".aside", NULL);
    assert_int_equal(g_rename(w->calendar, aside), 0);
    assert_int_equal(g_mkdir(w->calendar, 0700), 0); /* a folder in its place stops root too */
    world_forecast(w, &frost);
    assert_non_null(w->service->calendar_problem);
    assert_null(w->service->store_problem);
    assert_true(world_logged(w, "the file was not written") > 0);
    assert_int_equal(g_rmdir(w->calendar), 0);
    world_run_for(w, DAY_S); /* a midnight */
    assert_null(w->service->calendar_problem);
    g_autofree char *now = world_calendar(w);
    assert_non_null(strstr(now, "BEGIN:VEVENT"));
    world_free(w);
}

/* A damaged store is kept aside and named, for as long as the service runs. */
static void test_a_damaged_store(void **state)
{
    (void)state;
    World *w = begin(world_garden, START, &mild);
    g_autofree char *path = g_strdup(w->service->store->path);
    world_stop(w);
    g_autofree char *noise = g_strnfill(8192, 'x');
    world_write(path, noise);
    world_start(w);
    assert_non_null(w->service->store_problem);
    assert_non_null(strstr(w->service->store_problem, ".broken-"));
    world_run_for(w, DAY_S);
    assert_non_null(w->service->store_problem);
    assert_true(w->service->plans > 0);
    world_free(w);
}

/* Planted out, it is watched for a fortnight, and a tender one until no frost is likely any more.
 */
static void test_established(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    const WorldWeather warm = {.low_c = 9, .high_c = 18};

    world_start(w);
    world_forecast(w, &warm);
    world_add_batch(w, "lettuce", 24, "bed", STAGE_PLANTED_OUT, 60);
    world_add_batch(w, "tomato", 12, "bed", STAGE_PLANTED_OUT, 60);
    for (guint i = 0; i < w->service->settled.batches->len; i++)
        g_array_index(w->service->settled.batches, Batch, i).planted_utc = world_now(w);
    for (int day = 0; day < 13; day++) {
        world_run_for(w, DAY_S);
        world_forecast(w, &warm);
    }
    assert_non_null(world_batch(w, "lettuce-1"));
    for (int day = 13; day < 16; day++) {
        world_run_for(w, DAY_S);
        world_forecast(w, &warm);
    }
    assert_null(state_find_batch(&w->service->current, "lettuce-1", NULL));
    g_autoptr(GArray) notes = NULL;
    assert_true(store_load_notes(w->service->store, NULL, &notes, NULL));
    assert_int_equal(notes->len, 1);
    assert_true(g_str_has_prefix(g_array_index(notes, StoreNote, 0).text,
                                 "Established: planted out 14 days ago"));
    assert_non_null(world_batch(w, "tomato-1")); /* in April a frost is still to come */
    world_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_a_restart_changes_nothing, setup, teardown),
        cmocka_unit_test_setup_teardown(test_three_days_down, setup, teardown),
        cmocka_unit_test_setup_teardown(test_asleep_over_a_visit, setup, teardown),
        cmocka_unit_test_setup_teardown(test_an_hour_back, setup, teardown),
        cmocka_unit_test_setup_teardown(test_the_clock_was_never_set, setup, teardown),
        cmocka_unit_test_setup_teardown(test_first_started_in_1970, setup, teardown),
        cmocka_unit_test_setup_teardown(test_changes_of_the_clock, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_full_disk, setup, teardown),
        cmocka_unit_test_setup_teardown(test_the_calendar_cannot_be_written, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_damaged_store, setup, teardown),
        cmocka_unit_test_setup_teardown(test_established, setup, teardown),
    };
    return cmocka_run_group_tests_name("service-life", tests, NULL, NULL);
}
