/* SPDX-License-Identifier: MIT */
/* Replies of MET Norway that must be refused, and replies that are no replies at all. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "met-norway-reply.h"
#include "weather/met-norway-parse.h"

#define HOUR_S 3600
#define FETCHED_UTC (REPLY_UPDATED_UTC + 600)

static Forecast *parse(const char *text, gsize length, GError **error)
{
    const Site site = reply_site(52.52, 13.41);
    return met_norway_parse("MET Norway", text, length, &site, FETCHED_UTC, error);
}

/* A good reply of three rows. */
static char *good_reply(void)
{
    const Site site = reply_site(52.52, 13.41);
    g_autoptr(GString) series = g_string_new(NULL);
    reply_row(series, REPLY_UTC, "'air_temperature':3.5,'wind_speed':2.3", NULL, NULL);
    reply_row(series, REPLY_UTC + HOUR_S,
              "'air_temperature':3.1,'cloud_area_fraction':12.5,"
              "'air_temperature_percentile_10':2.5,'air_temperature_percentile_90':3.5",
              "'precipitation_amount':0.4",
              "'air_temperature_min':-1.5,'air_temperature_max':4.5,'precipitation_amount':1.5");
    reply_row(series, REPLY_UTC + 2 * HOUR_S, "'air_temperature':2.9", NULL, NULL);
    return reply_whole(&site, series->str);
}

#define ROW "properties.timeseries[1].data."
#define DETAILS ROW "instant.details."
#define ON_HOUR "accepted a full hour in UTC like 2026-05-04T18:00:00Z"

/* What is replaced in the good reply (single quotes for double ones), and what is said then. */
static const struct {
    const char *sentence, *from, *to, *message;
} faults[] = {
    {"kelvin", "3.1", "276.25",
     DETAILS "air_temperature=276.25: not plausible; accepted -60 to 60 °C"},
    {"beyond any double", "3.1", "1e999",
     DETAILS "air_temperature=inf.0: not plausible; accepted -60 to 60 °C"},
    {"a text", "3.1", "'3.1'",
     DETAILS "air_temperature=\"3.1\": not a number; accepted -60 to 60 °C"},
    {"true", "3.1", "true", DETAILS "air_temperature=true: not a number; accepted -60 to 60 °C"},
    {"a list", "3.1", "[3.1]", DETAILS "air_temperature=[…]: not a number; accepted -60 to 60 °C"},
    {"too much cloud", "12.5", "101",
     DETAILS "cloud_area_fraction=101: not plausible; accepted 0 to 100 %"},
    {"rain upwards", "0.4", "-0.5",
     ROW "next_1_hours.details.precipitation_amount=-0.5: not plausible; accepted 0 to 400 mm"},
    {"a low above the high", "-1.5", "5",
     ROW "next_6_hours.details.air_temperature_min=5: above air_temperature_max=4.5; accepted a "
         "lowest temperature that is at most the highest"},
    {"percentiles turned round", "percentile_10':2.5", "percentile_10':4",
     DETAILS "air_temperature_percentile_10=4: above air_temperature_percentile_90=3.5; accepted a "
             "10th percentile that is at most the 90th"},
    {"other units", "'air_temperature':'celsius'", "'air_temperature':'K'",
     "properties.meta.units.air_temperature=\"K\": not the unit that is read; accepted celsius"},
    {"no unit of the temperature", "'air_temperature':'celsius',", "",
     "properties.meta.units.air_temperature=nothing: not the unit that is read; accepted celsius"},
    {"a unit that is a number", "'wind_speed':'m/s'", "'wind_speed':1",
     "properties.meta.units.wind_speed=1: not the unit that is read; accepted m/s"},
    {"no issue", "'updated_at'", "'updated'",
     "properties.meta.updated_at=nothing: not a time; accepted a time in UTC like "
     "2026-05-04T18:00:00Z"},
    {"issued in local time", "57Z", "57+02:00",
     "properties.meta.updated_at=\"2026-04-02T00:30:57+02:00\": not a time; accepted a time in UTC "
     "like 2026-05-04T18:00:00Z"},
    {"issued next year", "'" REPLY_UPDATED, "'2027-04-02T00:30:57Z",
     "properties.meta.updated_at=\"2027-04-02T00:30:57Z\": more than a day ahead; accepted a time "
     "that has come; is this machine's clock right?"},
    {"latitude first", "[13.41,52.52", "[52.52,13.41",
     "geometry.coordinates=[…]: another place; accepted longitude and latitude of the site"},
    {"no coordinates", "[13.41,52.52,38]", "[]",
     "geometry.coordinates=[…]: another place; accepted longitude and latitude of the site"},
    {"a row twice", "2026-04-02T01:00:00Z", "2026-04-02T00:00:00Z",
     "properties.timeseries[1].time=\"2026-04-02T00:00:00Z\": not after the row before; accepted "
     "rows in the order of time, each hour once"},
    {"out of order", "2026-04-02T01:00:00Z", "2026-04-02T03:00:00Z",
     "properties.timeseries[2].time=\"2026-04-02T02:00:00Z\": not after the row before; accepted "
     "rows in the order of time, each hour once"},
    {"a half-hour", "01:00:00Z", "01:30:00Z",
     "properties.timeseries[1].time=\"2026-04-02T01:30:00Z\": not on the hour; " ON_HOUR},
    {"no time", "'time':'2026-04-02T01", "'times':'2026-04-02T01",
     "properties.timeseries[1].time=nothing: not a time; " ON_HOUR},
    {"centuries", "2026-04-02T02", "2126-04-02T02",
     "properties.timeseries[2].time=\"2126-04-02T02:00:00Z\": far beyond the first row; accepted "
     "at most 30 days"},
    {"no data in a row", "'2026-04-02T01:00:00Z','data'", "'2026-04-02T01:00:00Z','dat'",
     "properties.timeseries[1]={…}: not a row; accepted an object with time and data"},
    {"no series", "'timeseries'", "'time series'",
     "properties.timeseries: not a list of rows; accepted 1 to 1000 rows"},
    {"no properties", "'properties'", "'property'",
     "properties.meta.units.air_temperature=nothing: not the unit that is read; accepted celsius"},
    {"a comment", "'type'", "/* */'type'",
     "not JSON: line 1, column 2: a text in double quotes is expected; accepted a forecast in "
     "GeoJSON"},
    {"half a surrogate pair", "'Feature'", "'\\ud800'",
     "not JSON: line 1, column 16: half a surrogate pair; accepted a forecast in GeoJSON"},
};

/* `text` with every occurrence of `from` made `to`. */
static char *with(const char *text, const char *from, const char *to)
{
    g_autofree char *old = g_strdelimit(g_strdup(from), "'", '"');
    g_autofree char *new = g_strdelimit(g_strdup(to), "'", '"');
    g_auto(GStrv) parts = g_strsplit(text, old, -1);
    assert_true(g_strv_length(parts) >= 2);
    return g_strjoinv(new, parts);
}

static void assert_refused(const char *sentence, const char *text, gsize length,
                           const char *message)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(Forecast) forecast = parse(text, length, &error);
    if (forecast != NULL || error == NULL)
        fail_msg("%s: taken", sentence);
    if (strcmp(error->message, message) != 0)
        fail_msg("%s:\n%s\n%s", sentence, error->message, message);
}

static void test_faults(void **state)
{
    (void)state;
    g_autofree char *good = good_reply();
    for (guint i = 0; i < G_N_ELEMENTS(faults); i++) {
        g_autofree char *text = with(good, faults[i].from, faults[i].to);
        g_autofree char *message = g_strconcat("MET Norway: ", faults[i].message, NULL);
        assert_refused(faults[i].sentence, text, strlen(text), message);
    }
}

static void test_no_reply(void **state)
{
    (void)state;
    static const struct {
        const char *text, *message;
    } rows[] = {
        {"", "an empty reply; accepted a forecast in GeoJSON"},
        {"[]", "the reply is […]; accepted a forecast in GeoJSON"},
        {"null", "the reply is null; accepted a forecast in GeoJSON"},
        {"<html>\n<body>", "not JSON: line 1, column 1: a value is expected; accepted a forecast "
                           "in GeoJSON"},
        {"{}", "properties.meta.units.air_temperature=nothing: not the unit that is read; accepted "
               "celsius"},
    };
    for (guint i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *message = g_strconcat("MET Norway: ", rows[i].message, NULL);
        assert_refused(rows[i].text, rows[i].text, strlen(rows[i].text), message);
    }
    assert_refused("not text", "{\"a\":\"\xff\"}", 9,
                   "MET Norway: not JSON: line 1, column 7: it is not UTF-8; accepted a forecast "
                   "in GeoJSON");
}

/* Every reply that stops early is refused. */
static void test_truncated(void **state)
{
    (void)state;
    g_autofree char *good = good_reply();
    gsize whole = strlen(good) - 1; /* without its last line feed */
    g_autoptr(Forecast) taken = parse(good, whole, NULL);
    assert_non_null(taken);
    for (gsize length = 0; length < whole; length++) {
        /* A copy of just that length, so that a read beyond it is seen. */
        g_autofree char *text = g_memdup2(good, MAX(length, 1));
        g_autoptr(GError) error = NULL;
        assert_null(parse(text, length, &error));
        assert_non_null(error);
    }
}

static void test_too_much(void **state)
{
    (void)state;
    g_autofree char *good = good_reply();
    const Site site = reply_site(52.52, 13.41);
    g_autofree char *long_text = g_malloc(MET_NORWAY_BYTES_MAX + 1);
    memset(long_text, ' ', MET_NORWAY_BYTES_MAX + 1);
    g_autoptr(GError) error = NULL;
    assert_null(parse(long_text, MET_NORWAY_BYTES_MAX + 1, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_LIMIT));
    assert_string_equal(error->message, "MET Norway: 2097153 bytes; accepted at most 2097152");

    g_autoptr(GString) series = g_string_new(NULL);
    for (int i = 0; i <= MET_NORWAY_ROWS_MAX; i++)
        reply_row(series, REPLY_UTC + (int64_t)i * HOUR_S, "'air_temperature':1", NULL, NULL);
    g_autofree char *many = reply_whole(&site, series->str);
    assert_refused("too many rows", many, strlen(many),
                   "MET Norway: properties.timeseries: 1001 rows; accepted 1 to 1000 rows");

    g_autofree char *opening = g_strnfill(100000, '[');
    g_autofree char *deep = with(good, "3.1", opening);
    g_autoptr(GError) too_deep = NULL;
    assert_null(parse(deep, strlen(deep), &too_deep));
    assert_non_null(strstr(too_deep->message, "it is nested too deeply"));
}

/* What is not there is missing, and no fault. */
static void test_absent(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to;
    } rows[] = {
        {"'details'", "'detail'"},      {"'instant'", "'instants'"}, {"12.5", "null"},
        {"'geometry'", "'geometries'"}, {"'wind_speed':'m/s',", ""}, {"'next_1_hours'", "'next'"},
    };
    g_autofree char *good = good_reply();
    for (guint i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *text = with(good, rows[i].from, rows[i].to);
        g_autoptr(GError) error = NULL;
        g_autoptr(Forecast) forecast = parse(text, strlen(text), &error);
        if (i < 2) { /* then no row has a temperature */
            assert_string_equal(error->message,
                                "MET Norway: properties.timeseries: no row has a temperature; "
                                "accepted rows with data.instant.details.air_temperature");
            continue;
        }
        assert_null(error);
        assert_int_equal(forecast->hours->len, 3);
    }
}

/* ---- anything ---- */

static const char *const pieces[] = {
    "null", "-0",    "1e308", "-1e308",  "1e-320", "{}", "[]",   "\"\"", "true",    "\"NaN\"",
    "{",    "}",     "[",     "]",       ",",      ":",  "\"",   "\\",   "\\u0000", "\n",
    "9999", "-9999", "0.1",   "celsius", "time",   "Z",  "2026", "data", "details", "\xc3",
};

static GString *mutated(GRand *random, const char *good)
{
    GString *text = g_string_new(good);
    int n = g_rand_int_range(random, 1, 5);
    for (int i = 0; i < n && text->len > 1; i++) {
        gssize at = g_rand_int_range(random, 0, (gint32)text->len);
        gssize length = g_rand_int_range(random, 0, (gint32)MIN(text->len - (gsize)at, 40) + 1);
        switch (g_rand_int_range(random, 0, 4)) {
        case 0:
            g_string_erase(text, at, length);
            break;
        case 1:
            g_string_insert(text, at, pieces[g_rand_int_range(random, 0, G_N_ELEMENTS(pieces))]);
            break;
        case 2:
            text->str[at] = (char)g_rand_int_range(random, 1, 256);
            break;
        default: {
            g_autofree char *again = g_strndup(text->str + at, (gsize)length);
            g_string_insert(text, g_rand_int_range(random, 0, (gint32)text->len), again);
        }
        }
    }
    return text;
}

static void assert_within(double value, double low, double high)
{
    if (!isnan(value) && !(value >= low && value <= high))
        fail_msg("%g is not within %g and %g", value, low, high);
}

/* A mutated reply gives one error, or a forecast in which nothing is beyond belief. */
static void test_mutations(void **state)
{
    (void)state;
    const char *given = g_getenv("THOLE_TEST_SEED");
    guint32 seed = given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();
    print_message("# mutations: THOLE_TEST_SEED=%u\n", seed);
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    const Site site = reply_site(52.52, 13.41);
    g_autofree char *whole = reply_season(&site, 3, -2.5);
    g_autofree char *small = good_reply();
    int taken = 0;
    for (int i = 0; i < 2000; i++) {
        g_autoptr(GString) text = mutated(random, i % 10 == 0 ? whole : small);
        g_autofree char *exact = g_memdup2(text->str, MAX(text->len, 1));
        g_autoptr(GError) error = NULL;
        g_autoptr(Forecast) forecast = parse(exact, text->len, &error);
        assert_true((forecast == NULL) == (error != NULL));
        if (forecast == NULL) {
            assert_true(g_utf8_validate(error->message, -1, NULL));
            assert_true(strlen(error->message) < 400);
            continue;
        }
        taken++;
        weather_complete(forecast, &site, zone);
        for (guint h = 0; h < forecast->hours->len; h++) {
            const WeatherHour *hour = &g_array_index(forecast->hours, WeatherHour, h);
            assert_within(hour->temperature_c, -60, 60);
            assert_within(hour->dew_point_c, -80, 60);
            assert_within(hour->cloud_pct, 0, 100);
            assert_within(hour->wind_ms, 0, 80);
            assert_within(hour->gust_ms, 0, 120);
            assert_within(hour->precipitation_mm, 0, 400);
            assert_within(hour->spread_k, 1, 60);
            assert_int_equal(hour->time_utc % HOUR_S, 0);
        }
    }
    print_message("# %d of 2000 were taken all the same\n", taken);
    assert_true(taken > 20); /* else nothing but the outermost check was tried */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_faults),    cmocka_unit_test(test_no_reply),
        cmocka_unit_test(test_truncated), cmocka_unit_test(test_too_much),
        cmocka_unit_test(test_absent),    cmocka_unit_test(test_mutations),
    };
    return cmocka_run_group_tests_name("met-norway-faults", tests, NULL, NULL);
}
