/* SPDX-License-Identifier: MIT */
/*
 * A whole service and a forecast service, on the virtual clock: when it is asked, what happens when
 * it fails, and which source is used.
 */
#include "open-meteo-reply.h"
#include "raw-server.h"
#include "service-world.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "service/api-sources.h"
#include "store/store-private.h"
#include "weather/memory.h"

#define START "2026-04-08T07:10Z"
#define PLOT 1 /* the site that has a forecast */
#define N_HOURS (14 * 24)

typedef struct Fixture {
    World *w;
    RawServer *server;
    GArray *asked_utc;  /* (element-type int64_t) when the server was asked */
    const char *status; /* what it answers; NULL: a forecast */
    double low_c;
    double step_k;    /* each forecast is so much colder than the one before */
    int64_t rows_utc; /* its first row; 0: three days ago */
    char *bytes;
} Fixture;

static char *whole_reply(const char *status, const char *body)
{
    return g_strdup_printf("HTTP/1.1 %s\r\nContent-Length: %" G_GSIZE_FORMAT "\r\n\r\n%s", status,
                           strlen(body), body);
}

static void answer(RawServer *server, gpointer data)
{
    Fixture *f = data;
    int64_t now_utc = world_now(f->w);
    g_array_append_val(f->asked_utc, now_utc);
    g_free(f->bytes);
    if (f->status != NULL) {
        f->bytes = whole_reply(f->status, "{\"error\":true,\"reason\":\"The service is "
                                          "overloaded\"}");
    } else {
        WeatherHour hours[N_HOURS];
        int64_t from_utc = now_utc / DAY_S * DAY_S - 3 * DAY_S;
        open_meteo_days(hours, N_HOURS, f->rows_utc != 0 ? f->rows_utc : from_utc, f->low_c);
        f->low_c -= f->step_k;
        g_autofree char *body = open_meteo_reply(hours, N_HOURS);
        f->bytes = whole_reply("200 OK", body);
    }
    server->bytes = f->bytes;
}

/* The garden of the other tests, with WEATHER at the plot. */
static char *garden_with(const Fixture *f, const char *weather)
{
    g_auto(GStrv) parts = g_strsplit(world_garden, "weather=none", 3);
    return g_strdup_printf("%sweather=none%sweather=%s%s[weather open-meteo]\nurl=%s\n", parts[0],
                           parts[1], weather, parts[2], f->server->url);
}

static Fixture *fixture_new(const char *weather)
{
    Fixture *f = g_new0(Fixture, 1);
    f->asked_utc = g_array_new(FALSE, FALSE, sizeof(int64_t));
    f->server = raw_server_new(NULL);
    f->server->before = answer;
    f->server->data = f;
    f->low_c = 4;
    g_autofree char *garden = garden_with(f, weather);
    f->w = world_new(garden, START);
    g_clear_pointer(&f->w->weather, g_free);
    return f;
}

static void fixture_free(Fixture *f)
{
    world_stop(f->w);
    raw_server_free(f->server);
    world_free(f->w);
    g_array_unref(f->asked_utc);
    g_free(f->bytes);
    g_free(f);
}

static int64_t asked_utc(const Fixture *f, guint i)
{
    assert_true(i < f->asked_utc->len);
    return g_array_index(f->asked_utc, int64_t, i);
}

static guint forecasts_kept(const Fixture *f)
{
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_prepare_v2(f->w->service->store->db,
                                        "SELECT count(*) FROM forecast WHERE site = 'plot'", -1,
                                        &statement, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    guint n = (guint)sqlite3_column_int(statement, 0);
    sqlite3_finalize(statement);
    return n;
}

static guint plans(const Fixture *f, const char *trigger)
{
    guint n = 0;
    for (guint i = 0; i < f->w->triggers->len; i++)
        n += strstr(g_ptr_array_index(f->w->triggers, i), trigger) != NULL;
    return n;
}

/* What `check` says of the plot: the source in use, and what is wrong. */
static void assert_says(const Fixture *f, const char *used, const char *trouble)
{
    g_autofree char *words = api_source_words(f->w->service, PLOT);
    g_autofree char *wrong = api_source_trouble(f->w->service, PLOT);
    if (strstr(words, used) == NULL)
        fail_msg("%s\n  wanted: %s", words, used);
    if (trouble == NULL ? wrong != NULL : wrong == NULL || strstr(wrong, trouble) == NULL)
        fail_msg("%s\n  wanted: %s", wrong, trouble);
}

static void test_about_once_an_hour(void **state)
{
    (void)state;
    Fixture *f = fixture_new("open-meteo");
    f->step_k = 0.01;
    world_start(f->w);
    world_run_for(f->w, 2 * DAY_S);
    bool full_hours[60] = {false};
    int minutes = 0;
    for (guint i = 1; i < f->asked_utc->len; i++) {
        int64_t gap_s = asked_utc(f, i) - asked_utc(f, i - 1);
        assert_in_range(gap_s, WEATHER_ASK_S + 1, WEATHER_ASK_S + WEATHER_ASK_SPREAD_S);
        int minute = (int)(asked_utc(f, i) / 60 % 60);
        minutes += !full_hours[minute];
        full_hours[minute] = true;
    }
    assert_in_range(f->asked_utc->len, 41, 48);
    assert_true(minutes > 10); /* not all at the same */
    assert_says(f, "Open-Meteo, of ", NULL);
    assert_int_equal(f->w->service->weather[PLOT].quality, WEATHER_FRESH);
    assert_int_equal(forecasts_kept(f), f->asked_utc->len);
    assert_int_equal(world_logged(f->w, "no new forecast"), 0);
    fixture_free(f);
}

static void test_the_same_again_is_nothing_new(void **state)
{
    (void)state;
    Fixture *f = fixture_new("open-meteo");
    f->rows_utc = world_now(f->w) / DAY_S * DAY_S - 3 * DAY_S;
    world_start(f->w);
    world_add_batch(f->w, "cabbage", 12, "frame", STAGE_HARDENING, 40);
    world_run_for(f->w, 600);
    assert_int_equal(plans(f, "forecast"), 1);
    guint64 made = f->w->service->plans;
    g_autofree char *before = world_calendar(f->w);
    world_forget_log(f->w);
    int64_t until_utc = world_utc("2026-04-08T16:20Z"); /* before anything else is due */
    world_run(f->w, until_utc);
    assert_true(f->asked_utc->len >= 8);
    g_autofree char *after = world_calendar(f->w);
    assert_string_equal(before, after);
    assert_int_equal(f->w->service->plans, made);
    assert_int_equal(forecasts_kept(f), 1);
    assert_int_equal(world_logged(f->w, "orecast") + world_logged(f->w, "Open-Meteo"), 0);
    /* It is as young as the last answer, also after a restart. */
    int64_t last_utc = asked_utc(f, f->asked_utc->len - 1);
    assert_int_equal(forecasts_in_use(f->w->service->forecasts, PLOT)->issued_utc, last_utc);
    world_stop(f->w);
    world_start(f->w);
    assert_int_equal(forecasts_in_use(f->w->service->forecasts, PLOT)->issued_utc, last_utc);
    fixture_free(f);
}

static void test_restarts_do_not_ask_again(void **state)
{
    (void)state;
    Fixture *f = fixture_new("open-meteo");
    world_start(f->w);
    world_run_for(f->w, 60);
    assert_int_equal(f->asked_utc->len, 1);
    for (int i = 0; i < 10; i++) {
        world_stop(f->w);
        world_start(f->w);
        world_run_for(f->w, 60);
        assert_says(f, "Open-Meteo, of Wed 08:10", NULL);
    }
    assert_int_equal(f->asked_utc->len, 1);

    /* Stopped, as by a crash, while the answer is on its way: that was a request too. */
    f->server->then = RAW_HOLD;
    world_run(f->w, asked_utc(f, 0) + 3590);
    assert_int_equal(f->asked_utc->len, 1);
    clock_virtual_set_end(f->w->clk, INT64_MAX, NULL, NULL);
    f->status = "200 OK\r\nX-Later: 1";
    while (f->asked_utc->len < 2)
        g_main_context_iteration(NULL, TRUE);
    world_stop(f->w);
    f->status = NULL;
    f->server->then = RAW_CLOSE;
    for (int i = 0; i < 5; i++) {
        world_start(f->w);
        world_run_for(f->w, 300);
        world_stop(f->w);
    }
    assert_int_equal(f->asked_utc->len, 2);
    world_start(f->w);
    world_run(f->w, asked_utc(f, 1) + WEATHER_ASK_S + WEATHER_ASK_SPREAD_S);
    assert_int_equal(f->asked_utc->len, 3);
    fixture_free(f);
}

static void test_backs_off(void **state)
{
    (void)state;
    static const int64_t waits_h[] = {1, 2, 4, 6, 6};
    Fixture *f = fixture_new("open-meteo");
    f->status = "503 Service Unavailable";
    world_start(f->w);
    world_run_for(f->w, 24 * HOUR_S);
    for (guint i = 0; i < G_N_ELEMENTS(waits_h); i++)
        assert_in_range(asked_utc(f, i + 1) - asked_utc(f, i), waits_h[i] * HOUR_S + 1,
                        waits_h[i] * HOUR_S + WEATHER_ASK_SPREAD_S);
    assert_says(f, "no forecast yet",
                "Open-Meteo is in trouble (HTTP 503): The service is "
                "overloaded (6 times in a row); asked again Thu ");
    assert_int_equal(world_logged(f->w, "no new forecast: Open-Meteo is in trouble"), 1);

    /* It recovers: at once as often as ever, and said once. */
    f->status = NULL;
    world_run_for(f->w, 12 * HOUR_S);
    guint n = f->asked_utc->len;
    assert_true(n > 6);
    assert_true(asked_utc(f, n - 1) - asked_utc(f, n - 2) <= WEATHER_ASK_S + WEATHER_ASK_SPREAD_S);
    assert_says(f, "Open-Meteo, of Thu ", NULL);
    assert_int_equal(world_logged(f->w, "Open-Meteo gives forecasts again"), 1);

    /* "Later" is obeyed, but not for ever. */
    f->status = "429 Too Many Requests\r\nRetry-After: 10000";
    world_run_for(f->w, 2 * HOUR_S);
    n = f->asked_utc->len;
    f->status = "429 Too Many Requests\r\nRetry-After: 999999999";
    world_run_for(f->w, 3 * HOUR_S);
    assert_int_equal(f->asked_utc->len, n + 1);
    assert_in_range(asked_utc(f, n) - asked_utc(f, n - 1), 10001, 10000 + WEATHER_ASK_SPREAD_S);
    world_run_for(f->w, 24 * HOUR_S);
    assert_int_equal(f->asked_utc->len, n + 2);
    assert_in_range(asked_utc(f, n + 1) - asked_utc(f, n), DAY_S + 1, DAY_S + WEATHER_ASK_SPREAD_S);
    fixture_free(f);
}

static void test_the_next_in_the_chain(void **state)
{
    (void)state;
    static const WorldWeather mild = {.low_c = 8, .high_c = 15};
    Fixture *f = fixture_new("open-meteo; file:forecast.csv");
    world_write_csv(f->w, &mild);
    f->status = "503 Service Unavailable";
    world_start(f->w);
    /* Nothing is held: the next is taken at once. */
    world_run_for(f->w, 60);
    assert_says(f, "forecast.csv, of ",
                "it stands in for Open-Meteo. Open-Meteo is in trouble "
                "(HTTP 503): The service is overloaded; asked again Wed ");
    assert_true(f->w->service->weather[PLOT].quality == WEATHER_FRESH);
    g_autoptr(JsonArray) none = api_credits(f->w->service, -1);
    assert_int_equal(json_array_get_length(none), 0);

    /* The first recovers, and is taken again. */
    f->status = NULL;
    world_run_for(f->w, 2 * HOUR_S);
    assert_says(f, "Open-Meteo, of ", NULL);
    g_autoptr(JsonArray) credits = api_credits(f->w->service, PLOT);
    assert_int_equal(json_array_get_length(credits), 1);
    assert_string_equal(json_array_get_string_element(credits, 0),
                        "Weather data by Open-Meteo.com (CC BY 4.0)");

    /* A failure or two are no reason to change: its last forecast is no worse than another. */
    int64_t good_utc = forecasts_in_use(f->w->service->forecasts, PLOT)->issued_utc;
    f->status = "503 Service Unavailable";
    world_run_for(f->w, 4 * HOUR_S);
    good_utc = MAX(good_utc, forecasts_in_use(f->w->service->forecasts, PLOT)->issued_utc);
    assert_says(f, "Open-Meteo, of ", "Open-Meteo is in trouble");
    /* After six hours the file is read again, and stands in. */
    world_run(f->w, good_utc + SOURCE_FAILING_S - 60);
    world_write_csv(f->w, &mild);
    world_run(f->w, good_utc + SOURCE_FAILING_S + 60);
    assert_says(f, "forecast.csv, of ", "it stands in for Open-Meteo");

    /* Restarted, it goes on so; the first one, when it recovers, is in front again, though the
     * file was issued later. */
    world_stop(f->w);
    world_start(f->w);
    assert_says(f, "forecast.csv, of ", "it stands in for Open-Meteo");
    f->status = NULL;
    world_run_for(f->w, 7 * HOUR_S);
    assert_says(f, "Open-Meteo, of ", NULL);
    world_write_csv(f->w, &mild);
    world_run_for(f->w, 600);
    assert_says(f, "Open-Meteo, of ", NULL);
    fixture_free(f);
}

/* A better source whose forecast was issued earlier than that of the one that stood in for it. */
static void test_recovered_with_an_earlier_issue(void **state)
{
    (void)state;
    static const WorldWeather mild = {.low_c = 8, .high_c = 15};
    Fixture *f = fixture_new("file:forecast.csv; open-meteo");
    world_write_csv(f->w, &mild); /* issued now, 07:10 UTC */
    g_autofree char *table = world_read(f->w->csv);
    world_write(f->w->csv, "time,temperature_c\nno time,1\n");
    world_run_for(f->w, HOUR_S);
    world_start(f->w);
    world_run_for(f->w, 60);
    assert_says(f, "Open-Meteo, of Wed 09:10", "it stands in for ");
    f->step_k = 0.01;
    world_run_for(f->w, 4 * HOUR_S); /* some more of them */
    world_write(f->w->csv, table);
    world_run_for(f->w, 0);
    forecasts_fetch(f->w->service->forecasts);
    world_run_for(f->w, 60);
    assert_says(f, "forecast.csv, of Wed 08:10", NULL);
    const SiteWeather *weather = &f->w->service->weather[PLOT];
    guint now = (guint)((world_now(f->w) - weather->first_utc) / STEP_S);
    double frost_c = 99;
    for (guint i = now; i < weather->steps->len; i++)
        frost_c = MIN(frost_c, g_array_index(weather->steps, OutdoorStep, i).air_c);
    assert_true(frost_c > 6); /* the other one has lows of 4 °C */
    /* Also after a restart; the other one is left alone meanwhile. */
    guint n = f->asked_utc->len;
    world_stop(f->w);
    world_start(f->w);
    world_run_for(f->w, 5 * HOUR_S);
    assert_says(f, "forecast.csv, of Wed 08:10", NULL);
    assert_int_equal(f->asked_utc->len, n);
    /* A day later nobody has written a new table: it is old, and the service is asked. */
    world_run_for(f->w, DAY_S);
    assert_says(f, "Open-Meteo, of ", "it stands in for ");
    fixture_free(f);
}

static void test_read_again(void **state)
{
    (void)state;
    Fixture *f = fixture_new("open-meteo");
    world_start(f->w);
    world_run_for(f->w, 60);
    /* The garden is saved again and again: nothing is asked for that. */
    for (int i = 0; i < 5; i++) {
        assert_true(service_reload(f->w->service, NULL));
        world_run_for(f->w, 5);
    }
    assert_int_equal(f->asked_utc->len, 1);
    assert_says(f, "Open-Meteo, of ", NULL);

    /* While a request is on its way: it is not lost. */
    world_run(f->w, asked_utc(f, 0) + 3590);
    clock_virtual_set_end(f->w->clk, INT64_MAX, NULL, NULL);
    f->low_c = 2;
    while (f->asked_utc->len < 2)
        g_main_context_iteration(NULL, TRUE);
    assert_true(service_reload(f->w->service, NULL));
    world_run(f->w, asked_utc(f, 1) + 60);
    assert_int_equal(f->asked_utc->len, 2);
    assert_int_equal(forecasts_in_use(f->w->service->forecasts, PLOT)->issued_utc, asked_utc(f, 1));

    /* A place that was mended is asked for at once. */
    g_autofree char *garden = garden_with(f, "open-meteo");
    char *latitude = strstr(garden, "53.12");
    assert_non_null(latitude);
    latitude[3] = '4';
    world_write(f->w->config, garden);
    assert_true(service_reload(f->w->service, NULL));
    world_run_for(f->w, 5);
    assert_int_equal(f->asked_utc->len, 3);
    assert_non_null(strstr(f->server->request, "latitude=53.42"));
    fixture_free(f);
}

/* A rehearsal has its own weather: nobody is asked, whatever the garden says. */
static void test_rehearsals_ask_nobody(void **state)
{
    (void)state;
    Fixture *f = fixture_new("open-meteo");
    f->w->weather = g_strdup("none");
    world_start(f->w);
    world_run_for(f->w, 2 * DAY_S);
    assert_int_equal(f->asked_utc->len, 0);
    fixture_free(f);
}

/* The clock was wrong, and is set back: that must not silence a source for a year. */
static void test_a_clock_set_back(void **state)
{
    (void)state;
    Fixture *f = fixture_new("open-meteo");
    world_start(f->w);
    world_run_for(f->w, 60);
    world_stop(f->w);
    clock_virtual_step_wall(f->w->clk, 300 * DAY_S);
    world_start(f->w);
    world_run_for(f->w, 60);
    assert_int_equal(f->asked_utc->len, 2);
    clock_virtual_step_wall(f->w->clk, -300 * DAY_S);
    world_run_for(f->w, 60);
    assert_int_equal(f->asked_utc->len, 3);
    fixture_free(f);
}

static void test_memory(void **state)
{
    (void)state;
    const int64_t t = world_utc(START);
    g_autoptr(WeatherMemory) m = weather_memory_new();
    g_autoptr(GError) no_name = g_error_new(G_RESOLVER_ERROR, G_RESOLVER_ERROR_NOT_FOUND, "x");
    assert_int_equal(weather_memory_next_utc(m, "a", t), t);
    weather_memory_begin(m, "a", t);
    m->last_modified = g_strdup("then");
    m->notice = g_strdup("soon over");
    weather_memory_end(m, NULL, t + 5);
    assert_int_equal(m->good_utc, t + 5);
    assert_in_range(weather_memory_next_utc(m, "a", t + 6) - t, 3601, 4200);
    assert_int_equal(weather_memory_next_utc(m, "b", t + 6), t + 6);
    /* Without a way out nobody was asked: soon again, however often. */
    for (int i = 0; i < 20; i++) {
        weather_memory_begin(m, "a", t);
        weather_memory_end(m, no_name, t + 5);
        assert_in_range(m->next_utc - t, WEATHER_OFFLINE_S + 1,
                        WEATHER_OFFLINE_S + WEATHER_ASK_SPREAD_S);
    }
    assert_int_equal(m->failures, 20);
    assert_null(m->notice);
    assert_string_equal(m->last_modified, "then");
    /* Something else is asked: nothing of before holds. */
    weather_memory_begin(m, "b", t);
    assert_null(m->last_modified);
    assert_null(m->problem);
    assert_int_equal(m->failures, 0);
    assert_int_equal(m->good_utc, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_memory),
        cmocka_unit_test(test_about_once_an_hour),
        cmocka_unit_test(test_the_same_again_is_nothing_new),
        cmocka_unit_test(test_restarts_do_not_ask_again),
        cmocka_unit_test(test_backs_off),
        cmocka_unit_test(test_the_next_in_the_chain),
        cmocka_unit_test(test_recovered_with_an_earlier_issue),
        cmocka_unit_test(test_read_again),
        cmocka_unit_test(test_rehearsals_ask_nobody),
        cmocka_unit_test(test_a_clock_set_back),
    };
    return cmocka_run_group_tests_name("sources", tests, NULL, NULL);
}
