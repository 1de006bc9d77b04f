/* SPDX-License-Identifier: MIT */
#include "api-garden.h"

#include <glib/gstdio.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define HOUR_S 3600
#define FORECAST_FROM_UTC (API_NOW_UTC - 144 * HOUR_S)
#define FORECAST_H (144 + 240)
#define FROST_FROM_H (144 + 50) /* the night of 18 April */
#define FROST_TO_H (144 + 64)

static const char config[] = "[grower me]\n"
                             "visits-home=07:00-08:30; 17:30-dusk\n"
                             "visits-plot=17:30-19:30\n"
                             "travel-minutes=20\n"
                             "[site home]\n"
                             "latitude=53.10\n"
                             "longitude=-2.02\n"
                             "zone=Europe/London\n"
                             "weather=file:forecast.csv\n"
                             "[site plot]\n"
                             "latitude=53.12\n"
                             "longitude=-2.04\n"
                             "zone=Europe/London\n"
                             "weather=file:forecast.csv\n"
                             "[place sill]\n"
                             "site=home\n"
                             "kind=sill\n"
                             "trays=6\n"
                             "[place frame]\n"
                             "site=plot\n"
                             "kind=cold-frame\n"
                             "trays=3\n"
                             "[place tunnel]\n"
                             "site=plot\n"
                             "kind=tunnel\n"
                             "trays=20\n"
                             "[place box]\n"
                             "inside=tunnel\n"
                             "kind=box\n"
                             "trays=4\n"
                             "[place bed]\n"
                             "site=plot\n"
                             "kind=bed\n"
                             "[calendar mine]\n"
                             "kind=file\n"
                             "grower=me\n"
                             "path=mine.ics\n";

static void write_file(const char *folder, const char *name, const char *text)
{
    g_autofree char *path = g_build_filename(folder, name, NULL);

    assert_true(g_file_set_contents(path, text, -1, NULL));
}

/* Nights of 4 °C and days of 14 °C, one night at -4 °C. */
static void write_forecast(const char *folder)
{
    g_autoptr(GString) text =
        g_string_new("issued,time,temperature_c,dew_point_c,cloud_pct,wind_ms,gust_ms,"
                     "radiation_wm2,precipitation_mm\n");

    for (int h = 0; h <= FORECAST_H; h++) {
        g_autoptr(GDateTime) time =
            g_date_time_new_from_unix_utc(FORECAST_FROM_UTC + (int64_t)h * HOUR_S);
        g_autofree char *stamp = g_date_time_format(time, "%Y-%m-%dT%H:%M:%SZ");
        const double hour = g_date_time_get_hour(time);
        const double warm = cos((hour - 15.0) * G_PI / 12.0),
                     sun = fmax(0.0, cos((hour - 12.0) * G_PI / 12.0));
        const double frost = h >= FROST_FROM_H && h <= FROST_TO_H ? 8.0 : 0.0;
        g_string_append_printf(text, "2026-04-16T12:00:00Z,%s,%.1f,%.1f,40,2.0,4.0,%.0f,0\n", stamp,
                               9.0 + 5.0 * warm - frost, 2.0 - frost, 500.0 * sun);
    }
    write_file(folder, "forecast.csv", text->str);
}

static void turn_until(ApiGarden *garden, gboolean (*done)(const ApiGarden *garden, int64_t utc),
                       int64_t utc)
{
    const gint64 end_us = g_get_monotonic_time() + 30 * G_USEC_PER_SEC;

    while (!done(garden, utc)) {
        assert_true(g_get_monotonic_time() < end_us);
        g_main_context_iteration(NULL, FALSE);
    }
}

/* With the forecasts of both sites, and no plan in the making. */
static gboolean is_planned(const ApiGarden *garden, int64_t utc)
{
    const SiteWeather *weather = garden->service->weather;
    (void)utc;
    return weather != NULL && weather[0].issued_utc != 0 && weather[1].issued_utc != 0 &&
           garden->service->plans > 0 && garden->service->plan_trigger == NULL;
}

static gboolean stands_at(const ApiGarden *garden, int64_t utc)
{
    return clock_now(garden->clk) >= utc && garden->service->plan_trigger == NULL;
}

static void nothing(gpointer data)
{
    (void)data;
}

void api_garden_run_to(ApiGarden *garden, int64_t utc)
{
    clock_add_alarm(garden->clk, utc, nothing,
                    NULL); /* without one the clock stays at the last that was due */
    clock_virtual_set_end(garden->clk, utc, NULL, NULL);
    turn_until(garden, stands_at, utc);
}

ApiGarden *api_garden_new(void)
{
    ApiGarden *garden = g_new0(ApiGarden, 1);
    g_autoptr(GError) error = NULL;

    garden->folder = g_dir_make_tmp("thole-api-XXXXXX", &error);
    assert_string_equal(error != NULL ? error->message : "", "");
    garden->socket = g_build_filename(garden->folder, "control", NULL);
    garden->replies = g_build_filename(garden->folder, "replies", NULL);
    assert_int_equal(g_mkdir(garden->replies, 0700), 0);
    garden->good = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    garden->refused = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    write_file(garden->folder, "thole.conf", config);
    write_forecast(garden->folder);
    garden->clk = clock_virtual_new(NULL, API_NOW_UTC);
    clock_virtual_set_end(garden->clk, API_NOW_UTC, NULL, NULL);
    ServiceOptions options = {.config_path = g_build_filename(garden->folder, "thole.conf", NULL),
                              .crops_path = g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "daemon",
                                                             "garden", "crops.conf", NULL),
                              .state_dir = g_build_filename(garden->folder, "state", NULL),
                              .calendar_path = g_build_filename(garden->folder, "thole.ics", NULL),
                              .socket_path = g_strdup(garden->socket),
                              .outlets = TRUE,
                              .channels = TRUE,
                              .virtual_clock = TRUE};
    garden->service = service_new(garden->clk, &options, &error);
    assert_string_equal(error != NULL ? error->message : "", "");
    turn_until(garden, is_planned, 0);
    return garden;
}

static void remove_folder(const char *path)
{
    g_autoptr(GDir) folder = g_dir_open(path, 0, NULL);
    const char *name;

    while (folder != NULL && (name = g_dir_read_name(folder)) != NULL) {
        g_autofree char *child = g_build_filename(path, name, NULL);
        if (g_file_test(child, G_FILE_TEST_IS_DIR))
            remove_folder(child);
        else
            g_unlink(child);
    }
    g_rmdir(path);
}

void api_garden_free(ApiGarden *garden)
{
    service_free(garden->service);
    clock_free(garden->clk);
    remove_folder(garden->folder);
    g_hash_table_unref(garden->good);
    g_hash_table_unref(garden->refused);
    g_free(garden->folder);
    g_free(garden->socket);
    g_free(garden->replies);
    g_free(garden);
}

int api_garden_tear_down(void **state)
{
    api_garden_free(*state);
    return 0;
}

/* Whether the path is one of the pattern's; a plain part goes before {…}, as in the table. */
static gboolean matches(const char *pattern, const char *path)
{
    g_auto(GStrv) a = g_strsplit(pattern, "/", -1), b = g_strsplit(path, "/", -1);

    if (g_strv_length(a) != g_strv_length(b))
        return FALSE;
    for (guint i = 0; a[i] != NULL; i++)
        if (a[i][0] != '{' && !g_str_equal(a[i], b[i]))
            return FALSE;
    return TRUE;
}

static const WireRoute *find_route(const char *method, const char *target)
{
    g_auto(GStrv) parts = g_strsplit(target, "?", 2);

    for (gsize i = 0; i < wire_n_routes; i++)
        if (g_str_equal(wire_routes[i].method, method) && matches(wire_routes[i].path, parts[0]))
            return &wire_routes[i];
    return NULL;
}

JsonObject *api_ask(ApiGarden *garden, JsonParser *parser, const char *method, const char *target,
                    const char *body, int *ret_status)
{
    g_autofree char *reply = client_ask(garden->socket, method, target, body != NULL ? body : "");
    const WireRoute *route = find_route(method, target);
    JsonObject *object = client_object(reply, parser);
    const char *text = strstr(reply, "\r\n\r\n") + 4;

    assert_non_null(route);
    *ret_status = client_status(reply);
    g_autofree char *name = g_strdup_printf("%04u-%s.json", garden->asked++,
                                            *ret_status == 200 ? route->schema : "problem");
    write_file(garden->replies, name, text);
    g_hash_table_add(*ret_status == 200 ? garden->good : garden->refused,
                     g_strdup_printf("%s %s", method, route->path));
    return object;
}

/* "…" at the end of what is expected: only the beginning counts. */
static gboolean says(const char *seen, const char *expected)
{
    return g_str_has_suffix(expected, "…")
               ? strncmp(seen, expected, strlen(expected) - strlen("…")) == 0
               : g_str_equal(seen, expected);
}

void api_rows(ApiGarden *garden, const ApiRow *rows, gsize n)
{
    guint wrong = 0;

    for (gsize i = 0; i < n; i++) {
        g_autoptr(JsonParser) parser = json_parser_new();
        int status = 0;
        JsonObject *object =
            api_ask(garden, parser, rows[i].method, rows[i].target, rows[i].body, &status);
        const char *member = status == 200 ? "text" : "detail";
        const char *said = json_object_has_member(object, member)
                               ? json_object_get_string_member(object, member)
                               : "";
        g_auto(GStrv) lines = g_strsplit(said, "\n", 2);
        const char *first = lines[0] != NULL ? lines[0] : "";
        const gboolean planned = strstr(said, "no new plan could be made") == NULL;
        if (status == rows[i].status && planned &&
            (rows[i].says == NULL || says(first, rows[i].says)))
            continue;
        print_message("# %s: %d (expected %d)\n#   %s\n#   expected: %s\n", rows[i].sentence,
                      status, rows[i].status, said,
                      rows[i].says != NULL ? rows[i].says : "anything");
        wrong++;
    }
    assert_int_equal(wrong, 0);
}
