/* SPDX-License-Identifier: MIT */
/* Forecasts as they come in: the table, and the file that holds it. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <locale.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "weather/csv.h"
#include "weather/source.h"

#define HEAD "time,temperature_c\n"
#define MODIFIED_UTC G_GINT64_CONSTANT(1777906800) /* 2026-05-04T15:00:00Z, GNU date */
#define FETCHED_UTC (MODIFIED_UTC + 60)

static GPtrArray *parse(const char *text, GError **error)
{
    return weather_csv_parse("f.csv", text, strlen(text), MODIFIED_UTC, FETCHED_UTC, error);
}

static const Forecast *forecast_at(GPtrArray *forecasts, guint i)
{
    assert_true(i < forecasts->len);
    return g_ptr_array_index(forecasts, i);
}

static const WeatherHour *hour_at(const Forecast *forecast, guint i)
{
    assert_true(i < forecast->hours->len);
    return &g_array_index(forecast->hours, WeatherHour, i);
}

typedef struct Fixture {
    char *folder, *path, *address;
    Clock *clk;
    WeatherSource *source;
    Site site;
    GPtrArray *forecasts;
    GError *error;
    bool done;
    int changes;
} Fixture;

static int setup(void **state)
{
    Fixture *fixture = g_new0(Fixture, 1);
    fixture->folder = g_dir_make_tmp("weather-XXXXXX", NULL);
    assert_non_null(fixture->folder);
    fixture->path = g_build_filename(fixture->folder, "f.csv", NULL);
    fixture->address = g_strconcat("file:", fixture->path, NULL);
    fixture->clk = clock_virtual_new(NULL, MODIFIED_UTC);
    fixture->source = weather_source_new(fixture->address, NULL, fixture->clk, NULL);
    assert_non_null(fixture->source);
    g_strlcpy(fixture->site.name, "plot", sizeof(fixture->site.name));
    *state = fixture;
    return 0;
}

static int teardown(void **state)
{
    Fixture *fixture = *state;
    weather_source_free(fixture->source);
    g_remove(fixture->path);
    assert_int_equal(g_rmdir(fixture->folder), 0);
    g_clear_pointer(&fixture->forecasts, g_ptr_array_unref);
    g_clear_error(&fixture->error);
    clock_free(fixture->clk);
    g_free(fixture->folder);
    g_free(fixture->path);
    g_free(fixture->address);
    g_free(fixture);
    return 0;
}

static void test_all_columns(void **state)
{
    (void)state;
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts =
        parse("\xef\xbb\xbfsite,precipitation_mm,radiation_wm2,gust_ms,wind_ms,cloud_pct,"
              "dew_point_c,temperature_c,issued,time\r\n"
              "\r\n"
              "plot,0.25,612.5,9.1,4.0,37,3.25,1.1e1,2026-05-04T12:30:00Z,2026-05-04T16:00:00Z\r\n"
              "plot,,,,,,,-0.5,2026-05-04T12:30:00Z,2026-05-04T15:00Z\r\n",
              &error);
    assert_null(error);
    assert_int_equal(forecasts->len, 1);
    const Forecast *forecast = forecast_at(forecasts, 0);
    assert_string_equal(forecast->site, "plot");
    assert_string_equal(forecast->source, "f.csv");
    assert_int_equal(forecast->issued_utc, MODIFIED_UTC - 9000);
    assert_int_equal(forecast->fetched_utc, FETCHED_UTC);
    assert_int_equal(forecast->hours->len, 2);
    const WeatherHour *bare = hour_at(forecast, 0), *full = hour_at(forecast, 1);
    assert_int_equal(bare->time_utc, MODIFIED_UTC);
    assert_true(bare->temperature_c == -0.5);
    assert_true(isnan(bare->dew_point_c) && isnan(bare->cloud_pct) && isnan(bare->wind_ms));
    assert_true(isnan(bare->gust_ms) && isnan(bare->radiation_wm2));
    assert_true(isnan(bare->precipitation_mm) && isnan(bare->spread_k));
    assert_int_equal(full->time_utc, MODIFIED_UTC + 3600);
    assert_true(full->temperature_c == 11 && full->dew_point_c == 3.25 && full->cloud_pct == 37);
    assert_true(full->wind_ms == 4 && full->gust_ms == 9.1 && full->radiation_wm2 == 612.5);
    assert_true(full->precipitation_mm == 0.25);
    assert_int_equal(full->estimated, 0);
}

static void test_blocks(void **state)
{
    (void)state;
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts = parse("time,temperature_c,site,issued\n"
                                           "2026-05-04T18:00:00Z,7,plot,2026-05-04T12:00:00Z\n"
                                           "2026-05-04T18:00:00Z,6,plot,2026-05-04T06:00:00Z\n"
                                           "2026-05-04T18:00:00Z,5,,\n"
                                           "2026-05-04T17:00:00Z,8,\"plot\" ,2026-05-04T12:00:00Z\n"
                                           "2026-05-04T18:00:00Z,9,home,\n",
                                           &error);
    assert_null(error);
    static const struct {
        const char *site;
        int64_t issued_utc;
        guint hours;
        double first_c;
    } expected[] = {
        {"", MODIFIED_UTC, 1, 5},
        {"home", MODIFIED_UTC, 1, 9},
        {"plot", MODIFIED_UTC - 9 * 3600, 1, 6},
        {"plot", MODIFIED_UTC - 3 * 3600, 2, 8},
    };
    assert_int_equal(forecasts->len, G_N_ELEMENTS(expected));
    for (guint i = 0; i < forecasts->len; i++) {
        const Forecast *forecast = forecast_at(forecasts, i);
        assert_string_equal(forecast->site, expected[i].site);
        assert_int_equal(forecast->issued_utc, expected[i].issued_utc);
        assert_int_equal(forecast->hours->len, expected[i].hours);
        assert_true(hour_at(forecast, 0)->temperature_c == expected[i].first_c);
    }
}

static void test_quotes(void **state)
{
    (void)state;
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts = parse("time,temperature_c,site\n"
                                           "2026-05-04T18:00:00Z, \"7\" ,\"a, \"\"b\"\"\"\n"
                                           "2026-05-04T18:00:00Z,\"\",\" c\"\n",
                                           &error);
    assert_null(error);
    assert_int_equal(forecasts->len, 2);
    assert_string_equal(forecast_at(forecasts, 0)->site, " c");
    assert_true(isnan(hour_at(forecast_at(forecasts, 0), 0)->temperature_c));
    assert_string_equal(forecast_at(forecasts, 1)->site, "a, \"b\"");
    assert_true(hour_at(forecast_at(forecasts, 1), 0)->temperature_c == 7);
}

static void test_night_offset(void **state)
{
    (void)state;
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts = parse("time,temperature_c,radiation_wm2\n"
                                           "2026-05-04T22:00:00Z,7,-5\n"
                                           "2026-05-04T23:00:00Z,7,-0.1\n"
                                           "2026-05-05T00:00:00Z,7,0\n",
                                           &error);
    assert_null(error);
    const Forecast *forecast = forecast_at(forecasts, 0);
    for (guint i = 0; i < 3; i++)
        assert_true(hour_at(forecast, i)->radiation_wm2 == 0);
    assert_int_equal(forecast->notes->len, 1);
    assert_string_equal(g_ptr_array_index(forecast->notes, 0),
                        "2 slightly negative values of radiation_wm2 are taken as 0");
}

#define KNOWN                                                                                      \
    "time, temperature_c, dew_point_c, cloud_pct, wind_ms, gust_ms, radiation_wm2, "               \
    "precipitation_mm, issued, site"
#define HOUR_LIKE "accepted a full hour in UTC like 2026-05-04T18:00:00Z"
#define ROW_2 HEAD "2026-05-04T18:00:00Z,"

static const struct {
    const char *sentence, *text, *message;
} faults[] = {
    {"nothing at all", "",
     "f.csv:1: no rows; accepted a line of column names, then one row for each hour"},
    {"only names", HEAD,
     "f.csv:1: no rows; accepted a line of column names, then one row for each hour"},
    {"no time", "temperature_c\n1\n", "f.csv:1: no column time; accepted " KNOWN},
    {"no temperature", "\ntime\n", "f.csv:2: no column temperature_c; accepted " KNOWN},
    {"a column in other units", "time,temperature_f\n",
     "f.csv:1: column=temperature_f: not known; accepted " KNOWN},
    {"semicolons between columns", "time;temperature_c\n",
     "f.csv:1: column=time;temperature_c: not known; accepted " KNOWN},
    {"a column twice", "time,temperature_c,time\n",
     "f.csv:1: column=time: named twice; accepted each column once"},
    {"a decimal comma", ROW_2 "3,5\n",
     "f.csv:2: 3 fields; accepted 2, as the first line names them"},
    {"a decimal comma in quotes", ROW_2 "\"3,5\"\n",
     "f.csv:2: temperature_c=3,5: not a number; accepted -60 to 60 °C"},
    {"a field too few", HEAD "2026-05-04T18:00:00Z\n",
     "f.csv:2: 1 fields; accepted 2, as the first line names them"},
    {"an open quote", ROW_2 "\"3\n",
     "f.csv:2: a quote is not closed; accepted plain fields with commas between them"},
    {"text behind a quote", ROW_2 "\"3\"x\n",
     "f.csv:2: text after a closing quote; accepted plain fields with commas between them"},
    {"no number", ROW_2 "warm\n",
     "f.csv:2: temperature_c=warm: not a number; accepted -60 to 60 °C"},
    {"not a number, in C's words", ROW_2 "nan\n",
     "f.csv:2: temperature_c=nan: not a number; accepted -60 to 60 °C"},
    {"infinity", ROW_2 "inf\n", "f.csv:2: temperature_c=inf: not a number; accepted -60 to 60 °C"},
    {"beyond any double", ROW_2 "1e999\n",
     "f.csv:2: temperature_c=1e999: not a number; accepted -60 to 60 °C"},
    {"hexadecimal", ROW_2 "0x1\n",
     "f.csv:2: temperature_c=0x1: not a number; accepted -60 to 60 °C"},
    {"two numbers", ROW_2 "1 2\n",
     "f.csv:2: temperature_c=1 2: not a number; accepted -60 to 60 °C"},
    {"only a sign", ROW_2 "-\n", "f.csv:2: temperature_c=-: not a number; accepted -60 to 60 °C"},
    {"kelvin", ROW_2 "283.15\n",
     "f.csv:2: temperature_c=283.15: not plausible; accepted -60 to 60 °C"},
    {"too cold", ROW_2 "-60.1\n",
     "f.csv:2: temperature_c=-60.1: not plausible; accepted -60 to 60 °C"},
    {"control characters are not passed on", ROW_2 "\033[1m\n",
     "f.csv:2: temperature_c=?[1m: not a number; accepted -60 to 60 °C"},
    {"a long value is cut", ROW_2 "abcdefghijabcdefghijabcdefghijabcdefghijk\n",
     "f.csv:2: temperature_c=abcdefghijabcdefghijabcdefghijabcdefghij…: not a number; "
     "accepted -60 to 60 °C"},
    {"too much cloud", "time,temperature_c,cloud_pct\n2026-05-04T18:00:00Z,1,101\n",
     "f.csv:2: cloud_pct=101: not plausible; accepted 0 to 100 %"},
    {"wind backwards", "time,temperature_c,wind_ms\n2026-05-04T18:00:00Z,1,-1\n",
     "f.csv:2: wind_ms=-1: not plausible; accepted 0 to 80 m/s"},
    {"gust", "time,temperature_c,gust_ms\n2026-05-04T18:00:00Z,1,121\n",
     "f.csv:2: gust_ms=121: not plausible; accepted 0 to 120 m/s"},
    {"sun brighter than in space",
     "time,temperature_c,radiation_wm2\n2026-05-04T18:00:00Z,1,1501\n",
     "f.csv:2: radiation_wm2=1501: not plausible; accepted 0 to 1500 W/m²"},
    {"dark beyond an instrument's offset",
     "time,temperature_c,radiation_wm2\n2026-05-04T18:00:00Z,1,-5.1\n",
     "f.csv:2: radiation_wm2=-5.1: not plausible; accepted 0 to 1500 W/m²"},
    {"rain", "time,temperature_c,precipitation_mm\n2026-05-04T18:00:00Z,1,-0.1\n",
     "f.csv:2: precipitation_mm=-0.1: not plausible; accepted 0 to 400 mm"},
    {"dew point out of range", "time,temperature_c,dew_point_c\n2026-05-04T18:00:00Z,1,41\n",
     "f.csv:2: dew_point_c=41: not plausible; accepted -80 to 40 °C"},
    {"dew point above the air", "dew_point_c,time,temperature_c\n1.6,2026-05-04T18:00:00Z,1\n",
     "f.csv:2: dew_point_c=1.6: above the temperature; accepted at most the row's temperature_c "
     "and 0.5 K"},
    {"no time given", HEAD ",1\n", "f.csv:2: time=: not a time; " HOUR_LIKE},
    {"local time", HEAD "2026-05-04T18:00:00,1\n",
     "f.csv:2: time=2026-05-04T18:00:00: not a time; " HOUR_LIKE},
    {"an offset", HEAD "2026-05-04T18:00:00+02:00,1\n",
     "f.csv:2: time=2026-05-04T18:00:00+02:00: not a time; " HOUR_LIKE},
    {"30 February", HEAD "2026-02-30T18:00:00Z,1\n",
     "f.csv:2: time=2026-02-30T18:00:00Z: not a time; " HOUR_LIKE},
    {"before 1970", HEAD "1969-12-31T23:00:00Z,1\n",
     "f.csv:2: time=1969-12-31T23:00:00Z: not a time; " HOUR_LIKE},
    {"after 2199", HEAD "2200-01-01T00:00:00Z,1\n",
     "f.csv:2: time=2200-01-01T00:00:00Z: not a time; " HOUR_LIKE},
    {"half past", HEAD "2026-05-04T18:30:00Z,1\n",
     "f.csv:2: time=2026-05-04T18:30:00Z: not on the hour; " HOUR_LIKE},
    {"issued yesterday", "time,temperature_c,issued\n2026-05-04T18:00:00Z,1,yesterday\n",
     "f.csv:2: issued=yesterday: not a time; accepted a time in UTC like 2026-05-04T18:00:00Z"},
    {"a site's name too long",
     "time,temperature_c,site\n2026-05-04T18:00:00Z,1,"
     "abcdefghijabcdefghijabcdefghijabcdefghij01234567\n",
     "f.csv:2: site=abcdefghijabcdefghijabcdefghijabcdefghij…: too long; accepted at most 47 "
     "bytes"},
    {"an hour twice, the first repeat is named",
     HEAD "2026-05-04T19:00:00Z,1\n2026-05-04T18:00:00Z,1\n2026-05-04T19:00:00Z,1\n"
          "2026-05-04T18:00:00Z,1\n",
     "f.csv:4: time=2026-05-04T19:00:00Z: the same hour as on line 2; accepted each hour once for "
     "a "
     "site and issue"},
    {"bytes that are no text", HEAD "2026-05-04T18:00:00Z,\xff\n",
     "f.csv:2: a byte that is not text; accepted UTF-8"},
};

static void test_faults(void **state)
{
    (void)state;
    for (size_t i = 0; i < G_N_ELEMENTS(faults); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(GPtrArray) forecasts = parse(faults[i].text, &error);
        if (forecasts != NULL || error == NULL)
            fail_msg("%s: accepted", faults[i].sentence);
        if (strcmp(error->message, faults[i].message) != 0)
            fail_msg("%s:\n  got  %s\n  want %s", faults[i].sentence, error->message,
                     faults[i].message);
        assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
    }
}

static void test_limits(void **state)
{
    (void)state;
    g_autoptr(GError) error = NULL;
    g_autofree char *large = g_malloc(WEATHER_CSV_BYTES_MAX + 1);
    memset(large, '\n', WEATHER_CSV_BYTES_MAX + 1);
    assert_null(weather_csv_parse("f.csv", large, WEATHER_CSV_BYTES_MAX + 1, 0, 0, &error));
    assert_string_equal(error->message, "f.csv: 8388609 bytes; accepted at most 8388608");
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_LIMIT));
    g_clear_error(&error);
    assert_null(weather_csv_parse("f.csv", large, WEATHER_CSV_BYTES_MAX, 0, 0, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
    g_clear_error(&error);

    g_autoptr(GString) many = g_string_new("time,temperature_c,cloud_pct\n");
    for (int i = 0; i < WEATHER_CSV_ROWS_MAX; i++) {
        int day = i / 24;
        g_string_append_printf(many, "%04d-%02d-%02dT%02d:00Z,1,\n", 1970 + day / 336,
                               1 + day / 28 % 12, 1 + day % 28, i % 24);
    }
    g_autoptr(GPtrArray) forecasts = parse(many->str, &error);
    assert_null(error);
    assert_int_equal(forecast_at(forecasts, 0)->hours->len, WEATHER_CSV_ROWS_MAX);
    g_string_append(many, "2100-01-01T00:00Z,1,\n");
    assert_null(parse(many->str, &error));
    assert_string_equal(error->message,
                        "f.csv:200002: more than 200000 rows; accepted at most 200000");
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_LIMIT));
}

/* Takes a locale with a decimal comma: an installed one, else one compiled into `folder`. */
static const char *use_comma(const char *folder)
{
    static const char *const names[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "nl_NL.UTF-8"};
    for (size_t i = 0; i < G_N_ELEMENTS(names); i++)
        if (setlocale(LC_NUMERIC, names[i]) != NULL)
            return names[i];
    g_autofree char *path = g_build_filename(folder, names[0], NULL);
    g_autofree char *program = g_find_program_in_path("localedef");
    const char *const command[] = {program, "-i", "de_DE", "-f", "UTF-8", path, NULL};
    if (program != NULL)
        g_spawn_sync(NULL, (char **)command, NULL,
                     G_SPAWN_STDOUT_TO_DEV_NULL | G_SPAWN_STDERR_TO_DEV_NULL, NULL, NULL, NULL,
                     NULL, NULL, NULL);
    g_setenv("LOCPATH", folder, TRUE);
    return setlocale(LC_NUMERIC, names[0]) != NULL ? names[0] : "C";
}

/* Numbers are written with a point, whatever the language of the machine. */
static void test_locale(void **state)
{
    const Fixture *fixture = *state;
    const char *name = use_comma(fixture->folder);
    assert_string_not_equal(name, "C"); /* else nothing is shown: are the locales installed? */
    g_autofree char *half = g_strdup_printf("%.1f", 0.5);
    print_message("# numbers read under the locale %s, where a half is %s\n", name, half);
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts = parse(ROW_2 "3.5\n", &error);
    g_autoptr(GPtrArray) comma = parse(ROW_2 "\"3,5\"\n", NULL);
    setlocale(LC_NUMERIC, "C");
    g_unsetenv("LOCPATH");
    assert_null(error);
    assert_true(hour_at(forecast_at(forecasts, 0), 0)->temperature_c == 3.5);
    assert_null(comma);
    g_autofree char *made = g_build_filename(fixture->folder, name, NULL);
    const char *const clean[] = {"rm", "-rf", made, NULL};
    assert_true(g_spawn_sync(NULL, (char **)clean, NULL, G_SPAWN_SEARCH_PATH, NULL, NULL, NULL,
                             NULL, NULL, NULL));
}

/* What is written with all its digits is read back to the bit, in any order of rows. */
static void test_round_trip(void **state)
{
    (void)state;
    guint32 seed = g_random_int();
    print_message("# seed %u\n", seed);
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    double temperature_c[24], gust_ms[24];
    int order[24];
    for (int i = 0; i < 24; i++) {
        temperature_c[i] = g_rand_double_range(rand, -60, 60);
        gust_ms[i] = g_rand_double_range(rand, 0, 120);
        order[i] = i;
    }
    for (int i = 23; i > 0; i--) {
        int other = g_rand_int_range(rand, 0, i + 1), kept = order[i];
        order[i] = order[other];
        order[other] = kept;
    }
    g_autoptr(GString) text = g_string_new("gust_ms,time,temperature_c\n");
    for (int i = 0; i < 24; i++) {
        char gust[G_ASCII_DTOSTR_BUF_SIZE], temperature[G_ASCII_DTOSTR_BUF_SIZE];
        g_ascii_dtostr(gust, sizeof(gust), gust_ms[order[i]]);
        g_ascii_dtostr(temperature, sizeof(temperature), temperature_c[order[i]]);
        g_string_append_printf(text, "%s,2026-05-04T%02d:00:00Z,%s\n", gust, order[i], temperature);
    }
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts = parse(text->str, &error);
    assert_null(error);
    for (int i = 0; i < 24; i++) {
        const WeatherHour *hour = hour_at(forecast_at(forecasts, 0), (guint)i);
        assert_int_equal(hour->time_utc, MODIFIED_UTC + (i - 15) * 3600);
        assert_true(hour->temperature_c == temperature_c[i] && hour->gust_ms == gust_ms[i]);
    }
}

/* Anything at all gives either forecasts that keep their promises, or one error. */
static void check_any(const char *data, gsize length)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts =
        weather_csv_parse("f.csv", data, length, MODIFIED_UTC, FETCHED_UTC, &error);
    assert_true((forecasts == NULL) == (error != NULL));
    if (error != NULL)
        assert_true(g_utf8_validate(error->message, -1, NULL));
    for (guint i = 0; forecasts != NULL && i < forecasts->len; i++) {
        const Forecast *forecast = forecast_at(forecasts, i);
        assert_true(forecast->hours->len > 0);
        for (guint k = 0; k < forecast->hours->len; k++) {
            const WeatherHour *hour = hour_at(forecast, k);
            assert_true(hour->time_utc % 3600 == 0);
            assert_true(k == 0 || hour->time_utc > hour_at(forecast, k - 1)->time_utc);
            assert_false(fabs(hour->temperature_c) > 60);
            assert_false(hour->dew_point_c > hour->temperature_c + 0.5);
        }
    }
}

static void test_any_bytes(void **state)
{
    (void)state;
    static const char good[] = "time,temperature_c,dew_point_c,radiation_wm2,site,issued\n"
                               "2026-05-04T18:00:00Z,7,3,-1,plot,2026-05-04T12:00:00Z\n"
                               "2026-05-04T19:00:00Z,6,,12.5,\"a \"\"b\"\"\",\n"
                               "2026-05-04T20:00:00Z,,,,,\n";
    static const char telling[] = "\",\n\r -.eE0129TZ:\xef\xbb\xbf\x80\xff";
    guint32 seed = g_random_int();
    print_message("# seed %u\n", seed);
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    check_any(NULL, 0);
    for (gsize cut = 0; cut <= sizeof(good); cut++) {
        g_autofree char *head = g_memdup2(good, cut); /* exact size: a read beyond is seen */
        check_any(head, cut);
    }
    for (int round = 0; round < 20000; round++) {
        g_autofree char *bytes = g_memdup2(good, sizeof(good) - 1);
        int changes = g_rand_int_range(rand, 1, 6);
        for (int i = 0; i < changes; i++) {
            gint32 at = g_rand_int_range(rand, 0, sizeof(good) - 1);
            bool any = g_rand_boolean(rand);
            bytes[at] = any ? (char)g_rand_int_range(rand, 0, 256)
                            : telling[g_rand_int_range(rand, 0, sizeof(telling))];
        }
        check_any(bytes, sizeof(good) - 1);
    }
}

/* ---- sources ---- */

static void fetched(GObject *object, GAsyncResult *result, gpointer data)
{
    Fixture *fixture = data;
    assert_null(object);
    assert_false(fixture->done);
    fixture->forecasts = weather_source_fetch_finish(result, NULL, &fixture->error);
    fixture->done = true;
}

static void fetch(Fixture *fixture, WeatherSource *source, GCancellable *cancellable)
{
    fixture->done = false;
    g_clear_pointer(&fixture->forecasts, g_ptr_array_unref);
    g_clear_error(&fixture->error);
    weather_source_fetch(source, &fixture->site, NULL, cancellable, fetched, fixture);
    assert_false(fixture->done);
    while (!fixture->done)
        g_main_context_iteration(NULL, TRUE);
    assert_true((fixture->forecasts == NULL) == (fixture->error != NULL));
}

static void write_file(const Fixture *fixture, const char *text)
{
    assert_true(g_file_set_contents(fixture->path, text, -1, NULL));
}

static void test_fetch(void **state)
{
    Fixture *fixture = *state;
    write_file(fixture, "time,temperature_c,site,issued\n"
                        "2026-05-04T18:00:00Z,1,,2026-05-04T06:00:00Z\n"
                        "2026-05-04T18:00:00Z,2,plot,2026-05-04T03:00:00Z\n"
                        "2026-05-04T18:00:00Z,3,home,\n"
                        "2026-05-04T18:00:00Z,4,,\n");
    GStatBuf info;
    assert_int_equal(g_stat(fixture->path, &info), 0);
    fetch(fixture, fixture->source, NULL);
    assert_int_equal(fixture->forecasts->len, 3);
    static const double expected_c[] = {2, 1, 4};
    for (guint i = 0; i < 3; i++) {
        const Forecast *forecast = forecast_at(fixture->forecasts, i);
        assert_string_equal(forecast->site, "plot");
        assert_string_equal(forecast->source, fixture->path);
        assert_int_equal(forecast->fetched_utc, MODIFIED_UTC);
        assert_true(hour_at(forecast, 0)->temperature_c == expected_c[i]);
    }
    assert_int_equal(forecast_at(fixture->forecasts, 2)->issued_utc, info.st_mtime);
}

static void test_fetch_fails(void **state)
{
    Fixture *fixture = *state;
    fetch(fixture, fixture->source, NULL);
    assert_true(g_error_matches(fixture->error, G_IO_ERROR, G_IO_ERROR_NOT_FOUND));
    assert_non_null(strstr(fixture->error->message, fixture->path));

    write_file(fixture, HEAD "2026-05-04T18:00:00Z,x\n");
    fetch(fixture, fixture->source, NULL);
    g_autofree char *fault = g_strdup_printf(
        "%s:2: temperature_c=x: not a number; accepted -60 to 60 °C", fixture->path);
    assert_string_equal(fixture->error->message, fault);

    write_file(fixture, "time,temperature_c,site\n2026-05-04T18:00:00Z,3,home\n");
    fetch(fixture, fixture->source, NULL);
    g_autofree char *other = g_strdup_printf(
        "%s: no row for site=plot; accepted rows with this site, or without one", fixture->path);
    assert_string_equal(fixture->error->message, other);
    assert_true(g_error_matches(fixture->error, THOLE_ERROR, THOLE_ERROR_NOT_FOUND));

    g_autofree char *large = g_malloc(2 * WEATHER_CSV_BYTES_MAX);
    memset(large, '\n', 2 * WEATHER_CSV_BYTES_MAX);
    assert_true(g_file_set_contents(fixture->path, large, (gssize)2 * WEATHER_CSV_BYTES_MAX, NULL));
    fetch(fixture, fixture->source, NULL);
    assert_true(g_error_matches(fixture->error, THOLE_ERROR, THOLE_ERROR_LIMIT));

    g_autofree char *folder = g_strconcat("file:", fixture->folder, NULL);
    g_autoptr(WeatherSource) source = weather_source_new(folder, NULL, fixture->clk, NULL);
    assert_non_null(source);
    fetch(fixture, source, NULL);
    g_autofree char *no_file =
        g_strdup_printf("%s: not a file; accepted a regular file", fixture->folder);
    assert_string_equal(fixture->error->message, no_file);
}

static void test_none(void **state)
{
    Fixture *fixture = *state;
    g_autoptr(WeatherSource) source = weather_source_new("none", NULL, fixture->clk, NULL);
    assert_non_null(source);
    fetch(fixture, source, NULL);
    assert_int_equal(fixture->forecasts->len, 0);
}

static void test_cancel_and_free(void **state)
{
    Fixture *fixture = *state;
    write_file(fixture, ROW_2 "3\n");
    g_autoptr(GCancellable) cancellable = g_cancellable_new();
    g_cancellable_cancel(cancellable);
    fetch(fixture, fixture->source, cancellable);
    assert_true(g_error_matches(fixture->error, G_IO_ERROR, G_IO_ERROR_CANCELLED));

    g_clear_error(&fixture->error);
    fixture->done = false;
    WeatherSource *source = weather_source_new(fixture->address, NULL, fixture->clk, NULL);
    weather_source_fetch(source, &fixture->site, NULL, NULL, fetched, fixture);
    weather_source_free(source);
    while (!fixture->done)
        g_main_context_iteration(NULL, TRUE);
    assert_int_equal(fixture->forecasts->len, 1);
}

static void on_alarm(gpointer data)
{
    *(bool *)data = true;
}

/* The virtual clock stands still while a fetch is on its way. */
static void test_holds_clock(void **state)
{
    Fixture *fixture = *state;
    write_file(fixture, ROW_2 "3\n");
    bool rung = false;
    guint alarm = clock_add_alarm(fixture->clk, MODIFIED_UTC + 3600, on_alarm, &rung);
    fetch(fixture, fixture->source, NULL);
    assert_int_equal(forecast_at(fixture->forecasts, 0)->fetched_utc, MODIFIED_UTC);
    assert_false(rung);
    while (!rung)
        g_main_context_iteration(NULL, TRUE);
    clock_remove_alarm(fixture->clk, alarm);
}

static void changed(WeatherSource *source, gpointer data)
{
    Fixture *fixture = data;
    assert_ptr_equal(source, fixture->source);
    fixture->changes++;
}

static void wait_for_change(Fixture *fixture)
{
    /* A file system tells in its own time; the test's driver ends a wait without end. */
    fixture->changes = 0;
    while (fixture->changes == 0)
        g_main_context_iteration(NULL, TRUE);
}

static void test_changed(void **state)
{
    Fixture *fixture = *state;
    g_autoptr(GError) error = NULL;
    assert_true(weather_source_set_changed(fixture->source, changed, fixture, &error));
    write_file(fixture, ROW_2 "3\n");
    wait_for_change(fixture);
    assert_true(clock_now(fixture->clk) >= MODIFIED_UTC + WEATHER_SOURCE_SETTLE_S);
    write_file(fixture, ROW_2 "4\n"); /* replaced by a rename */
    wait_for_change(fixture);
    assert_true(g_remove(fixture->path) == 0);
    wait_for_change(fixture);

    assert_true(weather_source_set_changed(fixture->source, NULL, NULL, &error));
    fixture->changes = 0;
    write_file(fixture, ROW_2 "5\n");
    g_usleep(50000);
    while (g_main_context_iteration(NULL, FALSE))
        continue;
    assert_int_equal(fixture->changes, 0);
}

#define ACCEPTED "open-meteo, met-norway, file:PATH, none"

static void test_addresses(void **state)
{
    Fixture *fixture = *state;
    static const struct {
        const char *address, *message;
    } rows[] = {
        {"", "weather=: no such source of forecasts; accepted " ACCEPTED},
        {"oracle:delphi", "weather=oracle:delphi: no such source of forecasts; accepted " ACCEPTED},
        {"fil:/a", "weather=fil:/a: no such source of forecasts; accepted " ACCEPTED},
        {"file:a.csv", "weather=file:a.csv: the path must be absolute; accepted " ACCEPTED},
        {"file:", "weather=file:: the path must be absolute; accepted " ACCEPTED},
        {"open-meteo:x", "weather=open-meteo:x: nothing may follow; its address stands in [weather "
                         "open-meteo]; accepted " ACCEPTED},
        {"none:x", "weather=none:x: nothing may follow; accepted " ACCEPTED},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        assert_null(weather_source_new(rows[i].address, NULL, fixture->clk, &error));
        assert_string_equal(error->message, rows[i].message);
        assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_all_columns),
        cmocka_unit_test(test_blocks),
        cmocka_unit_test(test_quotes),
        cmocka_unit_test(test_night_offset),
        cmocka_unit_test(test_faults),
        cmocka_unit_test(test_limits),
        cmocka_unit_test_setup_teardown(test_locale, setup, teardown),
        cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_any_bytes),
        cmocka_unit_test_setup_teardown(test_fetch, setup, teardown),
        cmocka_unit_test_setup_teardown(test_fetch_fails, setup, teardown),
        cmocka_unit_test_setup_teardown(test_none, setup, teardown),
        cmocka_unit_test_setup_teardown(test_cancel_and_free, setup, teardown),
        cmocka_unit_test_setup_teardown(test_holds_clock, setup, teardown),
        cmocka_unit_test_setup_teardown(test_changed, setup, teardown),
        cmocka_unit_test_setup_teardown(test_addresses, setup, teardown),
    };
    return cmocka_run_group_tests_name("weather-source", tests, NULL, NULL);
}
