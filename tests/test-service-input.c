/* SPDX-License-Identifier: MIT */
/* What comes in from outside: forecasts that are old, missing or broken, the garden's file,
 * absences. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "base/local-time.h"
#include "calendar/event.h"
#include "service-world.h"
#include "store/store-garden-events.h"
#include "weather/normals.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */

static const WorldWeather mild = {.low_c = 6, .high_c = 14};
static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};

static void plant(World *w)
{
    world_add_batch(w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
}

static int count(const char *text, const char *part)
{
    int n = 0;
    for (const char *at = strstr(text, part); at != NULL; at = strstr(at + 1, part))
        n++;
    return n;
}

/* The file with its folded lines whole. */
static char *unfolded(const World *w)
{
    g_autofree char *bytes = world_calendar(w);
    g_auto(GStrv) parts = g_strsplit(bytes, "\r\n ", -1);
    return g_strjoinv("", parts);
}

/* Events that stand, are still to come, and do not say `words`. */
static guint silent_events(const World *w, const char *words)
{
    guint n = 0;
    for (guint i = 0; i < w->service->memory->len; i++) {
        const EventMemory *m = g_ptr_array_index(w->service->memory, i);
        n += !m->cancelled && !m->ended && m->start_utc > world_now(w) &&
             strstr(m->description, words) == NULL;
    }
    return n;
}

static guint events_ahead(const World *w)
{
    guint n = 0;
    for (guint i = 0; i < w->service->memory->len; i++) {
        const EventMemory *m = g_ptr_array_index(w->service->memory, i);
        n += !m->cancelled && !m->ended && m->start_utc > world_now(w);
    }
    return n;
}

static void test_an_old_forecast_is_said(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    world_start(w);
    world_forecast(w, &frost);
    plant(w);
    g_autofree char *fresh = unfolded(w);
    assert_int_equal(count(fresh, "forecast 24 h old"), 0);
    world_run_for(w, DAY_S);
    assert_int_equal(w->service->weather[0].quality, WEATHER_FRESH);
    world_run_for(w, 1);
    assert_int_equal(w->service->weather[0].quality, WEATHER_OLD);
    assert_true(events_ahead(w) > 0);
    assert_int_equal(silent_events(w, "forecast 24 h old"), 0);
    world_run_for(w, 2 * DAY_S);
    assert_int_equal(w->service->weather[0].quality, WEATHER_MISSING);
    assert_int_equal(silent_events(w, "no forecast since Wed 17:00"), 0);
    world_free(w);
}

static void test_no_forecast_at_all(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    world_start(w);
    plant(w);
    assert_int_equal(w->service->weather[0].quality, WEATHER_MISSING);
    assert_non_null(service_weather_note(w->service, 0));
    assert_int_equal(silent_events(w, "no forecast yet"), 0);
    /* A frost is reckoned with: the lettuces are not left to chance. */
    double lowest_c = 99;
    const GArray *steps = w->service->weather[1].steps;
    for (guint i = 0; i < steps->len; i++)
        lowest_c = MIN(lowest_c, g_array_index(steps, OutdoorStep, i).air_c);
    assert_true(lowest_c < 5.2);
    world_run_for(w, 3 * DAY_S);
    assert_null(w->service->store_problem);
    assert_int_equal(silent_events(w, "no forecast yet"), 0);
    world_free(w);
}

static void test_a_broken_table_replaces_a_good_one(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    g_free(w->weather);
    w->weather = g_strdup_printf("file:%s", w->csv);
    world_write_csv(w, &frost);
    world_start(w);
    plant(w);
    int64_t issued_utc = world_now(w), fetched_utc;
    assert_int_equal(w->service->weather[0].quality, WEATHER_FRESH);
    g_autofree char *visits = world_visits_text(w);
    world_run_for(w, 900);
    world_write(w->csv,
                "issued,time,temperature_c\n2026-04-08T16:00:00Z,2026-04-08T16:00:00Z,mild\n");
    forecasts_fetch(w->service->forecasts);
    world_run_for(w, 5);
    /* One warning for each site, with the place of the fault; the good forecast stays in use. */
    g_autofree char *place = g_strdup_printf("%s:2: temperature_c=mild", w->csv);
    assert_int_equal(world_logged(w, place), 2);
    assert_non_null(strstr(forecasts_problem(w->service->forecasts, 0, &fetched_utc), place));
    assert_int_equal(w->service->weather[0].issued_utc, issued_utc);
    assert_int_equal(w->service->weather[0].quality, WEATHER_FRESH);
    g_autofree char *after = world_visits_text(w);
    assert_string_equal(visits, after);
    world_run(w, issued_utc + DAY_S + HOUR_S);
    assert_non_null(strstr(service_weather_note(w->service, 0), "forecast 24 h old"));
    /* A good one again. */
    world_write_csv(w, &mild);
    forecasts_fetch(w->service->forecasts);
    world_run_for(w, 5);
    assert_null(forecasts_problem(w->service->forecasts, 0, &fetched_utc));
    assert_int_equal(w->service->weather[0].quality, WEATHER_FRESH);
    assert_null(service_weather_note(w->service, 0));
    world_free(w);
}

/* The weather of each hour is that hour's, also where what is known has a hole. */
static void test_a_hole_in_what_is_known(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    world_start(w);
    const WorldWeather cold = {.low_c = 1, .high_c = 3};
    world_forecast(w, &cold);
    world_stop(w);
    clock_virtual_step_wall(w->clk, 20 * DAY_S); /* what was known ends nine days before the next */
    world_start(w);
    world_forecast(w, &mild);
    world_run_for(w, 0);
    for (int i = 0; i < 6; i++) {
        world_run_for(w, HOUR_S);
        world_forecast(w, &mild); /* and it is folded */
    }
    world_stop(w);
    world_start(w);
    const SiteWeather *weather = &w->service->weather[0];
    for (guint i = 0; i + 1 < weather->steps->len && i < 2 * 24; i++)
        assert_true(g_array_index(weather->steps, OutdoorStep, i).air_c > 5.9);
    /* The deep ground remembers the cold days: 1 to 3 °C, then normals, then 6 to 14 °C. */
    double normal_c = weather_normals_mean_c(&w->service->garden->sites[0].normals, world_now(w));
    assert_true(weather->deep_c < normal_c - 1);
    world_free(w);
}

/* ---- the garden's file ---- */

static gboolean reload(World *w, const char *garden)
{
    world_write(w->config, garden);
    gboolean ok = service_reload(w->service, NULL);
    world_run_for(w, 5);
    return ok;
}

static char *with(const char *from, const char *to)
{
    g_auto(GStrv) parts = g_strsplit(world_garden, from, 2);
    assert_non_null(parts[1]);
    return g_strconcat(parts[0], to, parts[1], NULL);
}

typedef struct BadRow {
    const char *sentence, *from, *to, *says;
} BadRow;

static const BadRow bad[] = {
    {"an impossible figure", "latitude=53.12", "latitude=153.12", "latitude"},
    {"an unknown key", "kind=tunnel\n", "kind=tunnel\ncolour=blue\n", "colour"},
    {"the place that the lettuces stand in is gone",
     "[place frame]\nsite=plot\nkind=cold-frame\ntrays=6\nstands-on=slab\n", "", "frame"},
};

static void test_a_bad_file_changes_nothing(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    world_start(w);
    world_forecast(w, &frost);
    plant(w);
    g_autofree char *visits = world_visits_text(w), *file = world_calendar(w);
    for (gsize i = 0; i < G_N_ELEMENTS(bad); i++) {
        g_autofree char *text = with(bad[i].from, bad[i].to);
        print_message("# %s\n", bad[i].sentence);
        assert_false(reload(w, text));
        assert_non_null(w->service->config_problem);
        assert_non_null(strstr(w->service->config_problem, bad[i].says));
        assert_non_null(strstr(w->service->config_problem, "thole.conf"));
        assert_int_equal(w->service->garden->n_places, 5);
        service_ask_plan(w->service, "goes on");
        world_run_for(w, 0);
        g_autofree char *visits_then = world_visits_text(w), *file_then = world_calendar(w);
        assert_string_equal(visits, visits_then);
        assert_string_equal(file, file_then);
    }
    assert_true(reload(w, world_garden));
    assert_null(w->service->config_problem);
    world_free(w);
}

static void test_a_place_more(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    world_start(w);
    world_forecast(w, &frost);
    plant(w);
    world_run_for(w, 2 * HOUR_S); /* a visit may be under way */
    g_autofree char *was = world_visits_text(w);
    g_autofree char *text =
        with("[place sill]", "[place windowsill]\nsite=home\nkind=sill\ntrays=3\n[place sill]");
    assert_true(reload(w, text));
    assert_int_equal(w->service->garden->n_places, 6);
    assert_int_equal(w->service->current.n_chains, 5);
    /* The batches stand where they stood, though every place has another number now. */
    assert_string_equal(w->service->garden->places[world_batch(w, "lettuce-1")->place].name,
                        "frame");
    assert_string_equal(w->service->garden->places[world_batch(w, "cabbage-1")->place].name,
                        "sill");
    /* Visits are what they were; jobs too, by number and id, but where the new place is used. */
    int lasting = 0;
    for (guint i = 0; i < w->service->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(w->service->visits, i);
        assert_non_null(strstr(was, v->visit.id));
        for (guint k = 0; k < v->jobs->len; k++) {
            const OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            g_autofree char *line = g_strdup_printf("  %d %s ", job->handle, job->job.id);
            assert_true(job->job.place == 0 || strstr(was, line) != NULL);
            lasting += job->job.place != 0;
        }
    }
    assert_true(lasting >= 2);
    world_run_for(w, 2 * DAY_S);
    assert_null(w->service->store_problem);
    world_free(w);
}

/* The watch on the file itself, on the real clock: a change is read within seconds. */
typedef struct Wait {
    GMainLoop *loop;
    World *w;
} Wait;

static gboolean look(gpointer data)
{
    const Wait *wait = data;
    if (wait->w->service->garden->n_places == 6)
        g_main_loop_quit(wait->loop);
    return G_SOURCE_CONTINUE;
}

static gboolean give_up(gpointer loop)
{
    g_main_loop_quit(loop);
    return G_SOURCE_REMOVE;
}

static void test_a_changed_file_is_noticed(void **state)
{
    (void)state;
    World *w = world_new(world_garden, START);
    clock_free(w->clk);
    w->clk = clock_system_new(NULL, NULL);
    assert_non_null(w->clk);
    ServiceOptions options = {.config_path = g_strdup(w->config),
                              .crops_path = g_build_filename(g_getenv("THOLE_SOURCE_DIR"),
                                                             "daemon/garden/crops.conf", NULL),
                              .state_dir = g_strdup(w->folder),
                              .calendar_path = g_strdup(w->calendar),
                              .throwaway = TRUE};
    w->service = service_new(w->clk, &options, NULL);
    assert_non_null(w->service);
    g_autofree char *text =
        with("[place sill]", "[place windowsill]\nsite=home\nkind=sill\ntrays=3\n[place sill]");
    world_write(w->config, text);
    Wait wait = {w->loop, w};
    guint often = g_timeout_add(50, look, &wait), end = g_timeout_add_seconds(20, give_up, w->loop);
    g_main_loop_run(w->loop);
    g_source_remove(often);
    gboolean seen = w->service->garden->n_places == 6;
    if (seen)
        g_source_remove(end);
    assert_true(seen);
    world_free(w);
}

/* ---- who is there when ---- */

static guint windows_of(const World *w, int grower, int64_t from_utc, int64_t to_utc)
{
    guint n = 0;
    for (guint i = 0; i < w->service->windows->len; i++) {
        const VisitWindow *window = &g_array_index(w->service->windows, VisitWindow, i);
        n += window->grower == grower && window->to_utc > from_utc && window->from_utc < to_utc;
    }
    return n;
}

static void test_two_growers_and_an_absence(void **state)
{
    (void)state;
    g_autofree char *text =
        with("[site home]", "[grower two]\nvisits-plot=Mon-Sun 12:00-13:00\ntravel-minutes=10\n"
                            "[site home]");
    World *w = world_new(text, START);
    world_start(w);
    world_forecast(w, &mild);
    plant(w);
    assert_int_equal(w->service->garden->n_growers, 2);
    int64_t from_utc = world_utc("2026-04-09T06:00:00Z"),
            to_utc = world_utc("2026-04-14T22:00:00Z");
    assert_true(windows_of(w, 0, from_utc, to_utc) >= 12);
    assert_int_equal(windows_of(w, 1, from_utc, to_utc), 6);
    StoreAway away = {.grower = 0, .from_utc = from_utc, .to_utc = to_utc};
    assert_true(store_put_away(w->service->store, w->service->garden, &away, NULL));
    service_ask_plan(w->service, "away");
    world_run_for(w, 0);
    assert_int_equal(windows_of(w, 0, from_utc, to_utc), 0);
    assert_true(windows_of(w, 0, to_utc, to_utc + 2 * DAY_S) > 0);
    assert_int_equal(windows_of(w, 1, from_utc, to_utc), 6);
    for (guint i = 0; i < w->service->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(w->service->visits, i);
        assert_false(v->visit.grower == 0 && v->visit.start_utc > from_utc &&
                     v->visit.start_utc < to_utc);
    }
    /* An absence in the middle of an afternoon leaves both its ends. */
    StoreAway hour = {.grower = 1,
                      .from_utc = world_utc("2026-04-10T11:20:00Z"),
                      .to_utc = world_utc("2026-04-10T11:40:00Z")};
    assert_true(store_put_away(w->service->store, w->service->garden, &hour, NULL));
    service_ask_plan(w->service, "away");
    world_run_for(w, 0);
    assert_int_equal(
        windows_of(w, 1, world_utc("2026-04-10T10:30:00Z"), world_utc("2026-04-10T12:30:00Z")), 2);
    assert_int_equal(
        windows_of(w, 1, world_utc("2026-04-10T11:21:00Z"), world_utc("2026-04-10T11:39:00Z")), 0);
    world_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_an_old_forecast_is_said),
        cmocka_unit_test(test_no_forecast_at_all),
        cmocka_unit_test(test_a_broken_table_replaces_a_good_one),
        cmocka_unit_test(test_a_hole_in_what_is_known),
        cmocka_unit_test(test_a_bad_file_changes_nothing),
        cmocka_unit_test(test_a_place_more),
        cmocka_unit_test(test_a_changed_file_is_noticed),
        cmocka_unit_test(test_two_growers_and_an_absence),
    };
    return cmocka_run_group_tests_name("service-input", tests, NULL, NULL);
}
