/* SPDX-License-Identifier: MIT */
/*
 * Open-Meteo's replies, good and bad, and what is asked. The shapes are those of its documentation
 * (open-meteo.com/en/docs) and of the writer in its server; the values are invented.
 */
#include "open-meteo-reply.h"
#include "raw-server.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "weather/csv.h"
#include "weather/fields.h"
#include "weather/open-meteo.h"
#include "weather/source.h"

#define DAY_UTC G_GINT64_CONSTANT(1775088000) /* 2026-04-02T00:00:00Z, GNU date */
#define NOW_UTC (DAY_UTC + 1800)
#define MUTATIONS 3000

/* A small reply by hand. Single quotes stand for double ones. */
static const char small[] =
    "{'latitude':52.52,'longitude':13.419998,'generationtime_ms':0.21,'utc_offset_seconds':0,"
    "'timezone':'GMT','timezone_abbreviation':'GMT','elevation':38.0,"
    "'hourly_units':{'time':'unixtime','temperature_2m':'°C','dew_point_2m':'°C',"
    "'cloud_cover':'%','wind_speed_10m':'m/s','wind_gusts_10m':'m/s',"
    "'shortwave_radiation':'W/m²','precipitation':'mm'},"
    "'hourly':{'time':[1775088000,1775091600,1775095200],'temperature_2m':[0.4,-0,-1.25],"
    "'dew_point_2m':[-1.1,null,-2],'cloud_cover':[7,0,100],'wind_speed_10m':[1.5,2,null],"
    "'wind_gusts_10m':[3.1,2.8,null],'shortwave_radiation':[0.0,-0.2,12.5],"
    "'precipitation':[0.00,0.30,null]}}";

static char *quoted(const char *text)
{
    char *copy = g_strdup(text);
    return g_strdelimit(copy, "'", '"');
}

/* `small` with the first FROM in it replaced by TO. */
static char *changed(const char *from, const char *to)
{
    const char *at = strstr(small, from);
    assert_non_null(at);
    g_autofree char *text =
        g_strdup_printf("%.*s%s%s", (int)(at - small), small, to, at + strlen(from));
    return quoted(text);
}

static Forecast *parse(const char *text, GError **error)
{
    return open_meteo_parse(text, strlen(text), 0, "plot", NOW_UTC, error);
}

static const WeatherHour *hour_at(const Forecast *forecast, guint i)
{
    assert_true(i < forecast->hours->len);
    return &g_array_index(forecast->hours, WeatherHour, i);
}

static void test_a_good_reply(void **state)
{
    (void)state;
    g_autoptr(GError) error = NULL;
    g_autofree char *text = quoted(small);
    g_autoptr(Forecast) forecast = parse(text, &error);
    assert_null(error);
    assert_string_equal(forecast->site, "plot");
    assert_string_equal(forecast->source, "Open-Meteo");
    assert_non_null(strstr(weather_credit(forecast->source), "Weather data by Open-Meteo.com"));
    assert_non_null(strstr(weather_credit(forecast->source), "CC BY 4.0"));
    assert_int_equal(forecast->issued_utc, NOW_UTC); /* the service tells none */
    assert_int_equal(forecast->fetched_utc, NOW_UTC);
    assert_int_equal(forecast->hours->len, 3);
    const WeatherHour *first = hour_at(forecast, 0), *night = hour_at(forecast, 1),
                      *last = hour_at(forecast, 2);
    assert_int_equal(first->time_utc, DAY_UTC);
    assert_true(first->temperature_c == 0.4 && first->dew_point_c == -1.1 &&
                first->cloud_pct == 7 && first->wind_ms == 1.5 && first->gust_ms == 3.1 &&
                first->radiation_wm2 == 0 && first->precipitation_mm == 0);
    assert_true(night->temperature_c == 0 && !signbit(night->temperature_c));
    assert_true(isnan(night->dew_point_c)); /* null is missing, never 0 */
    assert_true(night->radiation_wm2 == 0 && !signbit(night->radiation_wm2));
    assert_true(night->precipitation_mm == 0.3);
    assert_true(last->temperature_c == -1.25 && isnan(last->wind_ms) && isnan(last->gust_ms) &&
                isnan(last->precipitation_mm));
    assert_int_equal(last->estimated, 0);
    assert_int_equal(forecast->notes->len, 1);
    assert_string_equal(g_ptr_array_index(forecast->notes, 0),
                        "1 slightly negative values of shortwave_radiation are taken as 0");
}

static void test_shapes_that_occur(void **state)
{
    (void)state;
    static const char *const pairs[][2] = {
        {",'elevation':38.0", ""}, /* left out where it is not finite */
        {"'latitude':52.52", "'location_id':1,'latitude':52.52"},
        {"'latitude':52.52", "'later':{'deep':[[1]]},'latitude':52.52"},
        {"'dew_point_2m':[-1.1,null,-2]", "'dew_point_2m':[null,null,null]"},
        {"'precipitation':[0.00,0.30,null]", "'precipitation':[null,null,null]"},
        {"'temperature_2m':[0.4,-0,-1.25]", "'temperature_2m':[0.4,null,null]"},
        {"1775095200", "1775998800"}, /* a gap: what follows is judged later */
    };
    for (gsize i = 0; i < G_N_ELEMENTS(pairs); i++) {
        g_autoptr(GError) error = NULL;
        g_autofree char *text = changed(pairs[i][0], pairs[i][1]);
        g_autoptr(Forecast) forecast = parse(text, &error);
        if (forecast == NULL)
            fail_msg("%s: %s", pairs[i][1], error->message);
        assert_int_equal(forecast->hours->len, 3);
    }
    /* Several places: an array, in the order in which they were asked for. */
    g_autofree char *one = quoted(small), *other = changed("0.4,-0", "7.5,-0");
    g_autofree char *both = g_strdup_printf("[%s,%s]", one, other);
    g_autoptr(Forecast) first = open_meteo_parse(both, strlen(both), 0, "home", NOW_UTC, NULL);
    g_autoptr(Forecast) second = open_meteo_parse(both, strlen(both), 1, "plot", NOW_UTC, NULL);
    assert_true(hour_at(first, 0)->temperature_c == 0.4);
    assert_true(hour_at(second, 0)->temperature_c == 7.5);
    assert_string_equal(second->site, "plot");
    g_autoptr(GError) error = NULL;
    assert_null(open_meteo_parse(both, strlen(both), 2, "plot", NOW_UTC, &error));
    assert_string_equal(error->message, "no forecast for place 3; accepted an object, or an array "
                                        "of them");
    assert_null(open_meteo_parse(one, strlen(one), 1, "plot", NOW_UTC, NULL));
}

static void test_what_is_refused(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to, *message;
    } rows[] = {
        {"'temperature_2m':'°C'", "'temperature_2m':'°F'",
         "hourly_units.temperature_2m=°F: another unit than was asked for; accepted °C"},
        {"'wind_speed_10m':'m/s'", "'wind_speed_10m':'km/h'",
         "hourly_units.wind_speed_10m=km/h: another unit than was asked for; accepted m/s"},
        {"'time':'unixtime'", "'time':'iso8601'",
         "hourly_units.time=iso8601: another unit than was asked for; accepted unixtime"},
        {"'precipitation':'mm'", "'precipitation':1",
         "hourly_units.precipitation=(none): another unit than was asked for; accepted mm"},
        {"'hourly_units'", "'daily_units'",
         "no hourly and hourly_units; accepted a forecast by the hour"},
        {"-1.1,null,-2", "-1.1,null",
         "hourly.dew_point_2m: 2 values; accepted 3, one for each hour"},
        {"'cloud_cover':[7,0,100]", "'cloud_cover':7",
         "hourly.cloud_cover: 0 values; accepted 3, one for each hour"},
        {"1775091600", "1775088000",
         "hourly.time[1]=1775088000: not a later hour; accepted full hours in seconds since 1970, "
         "rising"},
        {"1775091600", "1775091601",
         "hourly.time[1]=1775091601: not a later hour; accepted full hours in seconds since 1970, "
         "rising"},
        {"1775091600", "'2026-04-02T01:00'",
         "hourly.time[1]=\"2026-04-02T01:00\": not a later hour; accepted full hours in seconds "
         "since 1970, rising"},
        {"1775088000", "-3600",
         "hourly.time[0]=-3600: not a later hour; accepted full hours in seconds since 1970, "
         "rising"},
        {"1775095200", "7258118400",
         "hourly.time[2]=7258118400: not a later hour; accepted full hours in seconds since 1970, "
         "rising"},
        {"'time':[1775088000,1775091600,1775095200]", "'time':[]",
         "hourly.time: 0 hours; accepted 1 to 5000"},
        {"0.4,-0,-1.25", "0.4,-0,61",
         "hourly.temperature_2m[2]=61: not plausible; accepted -60 to 60 °C"},
        {"0.4,-0,-1.25", "273.15,-0,1",
         "hourly.temperature_2m[0]=273.14999999999998: not plausible; accepted -60 to 60 °C"},
        {"7,0,100", "7,0,101", "hourly.cloud_cover[2]=101: not plausible; accepted 0 to 100 %"},
        {"1.5,2,null", "1.5,-2,null",
         "hourly.wind_speed_10m[1]=-2: not plausible; accepted 0 to 80 m/s"},
        {"0.0,-0.2,12.5", "0.0,-5.1,12.5",
         "hourly.shortwave_radiation[1]=-5.0999999999999996: not plausible; accepted 0 to 1500 "
         "W/m²"},
        {"0.4,-0,-1.25", "'warm',-0,1",
         "hourly.temperature_2m[0]=\"warm\": not a number; accepted -60 to 60 °C"},
        {"0.4,-0,-1.25", "true,-0,1",
         "hourly.temperature_2m[0]=true: not a number; accepted -60 to 60 °C"},
        {"0.4,-0,-1.25", "[0.4],-0,1",
         "hourly.temperature_2m[0]=[…]: not a number; accepted -60 to 60 °C"},
        {"0.4,-0,-1.25", "null,null,null",
         "hourly.temperature_2m: all null; accepted at least one number"},
        {"0.4,-0,-1.25", "1e999,0,1",
         "hourly.temperature_2m[0]=inf.0: not plausible; accepted -60 to 60 °C"},
        {"0.4,-0", "0.4,-0Unexpected error while streaming data: the disk",
         "not JSON: line 1, column 423: a comma or ] is expected"},
        {"0.4,-0", "NaN,-0", "not JSON: line 1, column 417: a value is expected"},
    };
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        g_autofree char *text = changed(rows[i].from, rows[i].to);
        g_autoptr(Forecast) forecast = parse(text, &error);
        assert_null(forecast);
        if (strcmp(error->message, rows[i].message) != 0)
            fail_msg("said   %s\n  wanted %s", error->message, rows[i].message);
        assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
    }
    static const char *const roots[] = {"", "[]", "{}", "1", "null", "\"x\"", "[[]]", "[null]"};
    for (gsize i = 0; i < G_N_ELEMENTS(roots); i++)
        assert_null(parse(roots[i], NULL));
    /* Nested deeper than the library could bear. */
    g_autofree char *deep = g_strnfill(4000000, '[');
    g_autoptr(GError) error = NULL;
    assert_null(parse(deep, &error));
    assert_non_null(strstr(error->message, "nested too deeply"));
}

/* Every place where a reply may be cut off. */
static void test_cut_short(void **state)
{
    (void)state;
    g_autofree char *text = quoted(small);
    for (gsize length = 0; length < strlen(text); length++)
        assert_null(open_meteo_parse(text, length, 0, "plot", NOW_UTC, NULL));
}

/* One synthetic day, with holes, is the same through the table and through a reply. */
static void test_same_hours_as_the_table(void **state)
{
    (void)state;
    WeatherHour hours[72];
    open_meteo_days(hours, 72, DAY_UTC - 86400, -3);
    hours[30].dew_point_c = hours[40].gust_ms = hours[41].radiation_wm2 = NAN;
    hours[50].temperature_c = hours[51].cloud_pct = NAN;
    g_autofree char *reply = open_meteo_reply(hours, 72), *table = open_meteo_table(hours, 72);
    g_autoptr(GError) error = NULL;
    g_autoptr(Forecast) one = parse(reply, &error);
    assert_null(error);
    g_autoptr(GPtrArray) read =
        weather_csv_parse("f.csv", table, strlen(table), NOW_UTC, NOW_UTC, &error);
    assert_null(error);
    Forecast *other = g_ptr_array_index(read, 0);
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/Berlin");
    Site site = {.name = "plot", .latitude = 52.52, .longitude = 13.41};
    for (int completed = 0; completed < 2; completed++) {
        assert_int_equal(one->hours->len, 72);
        assert_int_equal(other->hours->len, 72);
        for (guint i = 0; i < 72; i++) {
            WeatherHour a = *hour_at(one, i), b = *hour_at(other, i);
            assert_int_equal(a.time_utc, b.time_utc);
            assert_int_equal(a.estimated, b.estimated);
            for (int k = 0; k < WEATHER_FIELDS; k++) {
                double x = *weather_field(&a, (WeatherFieldKind)k);
                double y = *weather_field(&b, (WeatherFieldKind)k);
                if (x != y && !(isnan(x) && isnan(y)))
                    fail_msg("hour %u, %s: %g and %g", i, weather_fields[k].name, x, y);
            }
        }
        weather_complete(one, &site, zone);
        weather_complete(other, &site, zone);
    }
    /* Noon's sun is that of the hour before noon: row 12 is less than its hour's maximum. */
    assert_true(hour_at(one, 12)->radiation_wm2 == hour_at(one, 13)->radiation_wm2);
    assert_true(hour_at(one, 7)->radiation_wm2 > 0 && hour_at(one, 6)->radiation_wm2 == 0);
    assert_true(hour_at(one, 18)->radiation_wm2 > 0 && hour_at(one, 19)->radiation_wm2 == 0);
}

/* Bytes changed, lost and doubled at random: refused or read, never more than that. */
static void test_mutations(void **state)
{
    (void)state;
    const char *given = g_getenv("THOLE_TEST_SEED");
    guint seed = given != NULL ? (guint)strtoul(given, NULL, 10) : g_random_int();
    print_message("# THOLE_TEST_SEED=%u\n", seed);
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    g_autofree char *good = quoted(small);
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    const Site site = {.name = "plot", .latitude = 52.52, .longitude = 13.41};
    int read = 0;
    for (int i = 0; i < MUTATIONS; i++) {
        static const char spice[] = "0123456789-+.eE,:[]{}\"\\un \0\xc2\xff";
        GString *text = g_string_new(good);
        for (int n = g_rand_int_range(rand, 1, 5); n > 0; n--) {
            gssize at = g_rand_int_range(rand, 0, (gint32)text->len);
            gssize length = g_rand_int_range(rand, 1, 9);
            length = MIN(length, (gssize)text->len - at);
            char c = spice[g_rand_int_range(rand, 0, sizeof spice - 1)];
            switch (g_rand_int_range(rand, 0, 4)) {
            case 0:
                text->str[at] = c;
                break;
            case 1:
                g_string_erase(text, at, length);
                break;
            case 2:
                g_string_insert_c(text, at, c);
                break;
            default: {
                g_autofree char *piece = g_strndup(text->str + at, (gsize)length);
                g_string_insert(text, g_rand_int_range(rand, 0, (gint32)text->len), piece);
            }
            }
            if (text->len == 0)
                g_string_append_c(text, c);
        }
        g_autoptr(GError) error = NULL;
        g_autoptr(Forecast) forecast =
            open_meteo_parse(text->str, text->len, 0, "plot", NOW_UTC, &error);
        assert_true((forecast == NULL) == (error != NULL));
        assert_true(error == NULL || g_utf8_validate(error->message, -1, NULL));
        if (forecast != NULL) {
            read++;
            weather_complete(forecast, &site, zone);
        }
        g_autofree char *reason = open_meteo_reason(text->str, text->len);
        g_string_free(text, TRUE);
    }
    assert_in_range(read, 1, MUTATIONS - 1); /* else the mutations show nothing */
}

/* ---- asked over a network ---- */

typedef struct Fixture {
    RawServer *server;
    Clock *clk;
    Garden garden;
    Site site;
    WeatherSource *source;
    WeatherMemory *memory;
    GPtrArray *forecasts;
    GError *error;
    bool done;
} Fixture;

static void open_source(Fixture *f)
{
    g_clear_pointer(&f->source, weather_source_free);
    f->source = weather_source_new("open-meteo", &f->garden, f->clk, NULL);
    assert_non_null(f->source);
}

static int setup(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    f->server = raw_server_new(NULL);
    f->clk = clock_virtual_new(NULL, NOW_UTC);
    f->memory = weather_memory_new();
    g_strlcpy(f->garden.services[0].name, "open-meteo", NAME_SIZE);
    g_strlcpy(f->garden.services[0].url, f->server->url, sizeof f->garden.services[0].url);
    f->site = (Site){.name = "plot",
                     .latitude = 53.123456,
                     .longitude = -0.004999,
                     .altitude_m = 137.4,
                     .altitude_estimated = true};
    open_source(f);
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    Fixture *f = *state;
    weather_source_free(f->source);
    weather_memory_free(f->memory);
    raw_server_free(f->server);
    clock_free(f->clk);
    g_clear_pointer(&f->forecasts, g_ptr_array_unref);
    g_clear_error(&f->error);
    g_free(f);
    return 0;
}

static void fetched(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    Fixture *f = data;
    g_clear_pointer(&f->memory, weather_memory_free);
    f->forecasts = weather_source_fetch_finish(result, &f->memory, &f->error);
    f->done = true;
}

/* One request, answered with STATUS and BODY and lines of HEADERS. */
static void fetch(Fixture *f, const char *status, const char *headers, const char *body)
{
    g_autofree char *bytes =
        g_strdup_printf("HTTP/1.1 %s\r\n%sContent-Length: %" G_GSIZE_FORMAT "\r\n\r\n%s", status,
                        headers, strlen(body), body);
    f->server->bytes = bytes;
    g_clear_pointer(&f->forecasts, g_ptr_array_unref);
    g_clear_error(&f->error);
    f->done = false;
    weather_source_fetch(f->source, &f->site, f->memory, NULL, fetched, f);
    while (!f->done)
        g_main_context_iteration(NULL, TRUE);
}

static void test_what_is_asked(void **state)
{
    Fixture *f = *state;
    g_autofree char *body = quoted(small);
    const char *columns = "temperature_2m,dew_point_2m,cloud_cover,wind_speed_10m,wind_gusts_10m,"
                          "shortwave_radiation,precipitation";
    fetch(f, "200 OK", "Content-Type: application/json; charset=utf-8\r\n", body);
    assert_null(f->error);
    assert_int_equal(f->forecasts->len, 1);
    const Forecast *forecast = g_ptr_array_index(f->forecasts, 0);
    assert_string_equal(forecast->site, "plot");
    assert_int_equal(forecast->issued_utc, NOW_UTC);
    /* Rounded to a hundredth; "-0.00" is no number to send. */
    g_autofree char *wanted = g_strdup_printf(
        "GET /v1/forecast?latitude=53.12&longitude=0.00&hourly=%s&timeformat=unixtime&"
        "wind_speed_unit=ms&past_days=3&forecast_days=11 HTTP/1.1\r\n",
        columns);
    g_autofree char *got = g_strndup(f->server->request, strcspn(f->server->request, "\n") + 1);
    assert_string_equal(got, wanted);
    assert_non_null(strstr(f->server->request, "\r\nUser-Agent: thole/" PACKAGE_VERSION "\r\n"));
    g_autofree char *what = weather_source_what(f->source, &f->site);
    assert_true(g_str_has_suffix(what, "/v1/forecast?latitude=53.12&longitude=0.00"));

    f->site.altitude_estimated = false;
    f->site.latitude = -33.875;
    f->site.longitude = 179.996;
    g_strlcpy(f->garden.services[0].key, "a+key/&c=", sizeof f->garden.services[0].key);
    open_source(f);
    fetch(f, "200 OK", "", body);
    assert_null(f->error);
    assert_non_null(
        strstr(f->server->request, "?latitude=-33.88&longitude=180.00&elevation=137&hourly="));
    assert_non_null(strstr(f->server->request, "&apikey=a%2Bkey%2F%26c%3D HTTP/1.1"));
    g_autofree char *again = weather_source_what(f->source, &f->site);
    assert_null(strstr(again, "key")); /* it is kept, and shown */
    fetch(f, "401 Unauthorized", "", "{\"error\":true,\"reason\":\"The supplied key\"}");
    assert_string_equal(f->error->message, "Open-Meteo answered, but not with a forecast (HTTP "
                                           "401): The supplied key");
}

static void test_answers_that_are_no_forecast(void **state)
{
    Fixture *f = *state;
    static const struct {
        const char *status, *headers, *body, *message;
        int64_t told_s;
    } rows[] = {
        {"400 Bad Request", "",
         "{\"error\":true,\"reason\":\"Latitude must be in range of -90 to 90°.\"}",
         "Open-Meteo refused the request (HTTP 400): Latitude must be in range of -90 to 90°.", 0},
        {"429 Too Many Requests", "Retry-After: 5400\r\n",
         "{\"error\":true,\"reason\":\"Too many concurrent requests\"}",
         "Open-Meteo asks us to wait (HTTP 429): Too many concurrent requests", 5400},
        {"429 Too Many Requests", "", "{\"reason\":\"too\\u001b[31mmany\",\"error\":true}",
         "Open-Meteo asks us to wait (HTTP 429): too?[31mmany", 0},
        {"503 Service Unavailable", "", "{\"reason\":\"The service is overloaded\",\"error\":true}",
         "Open-Meteo is in trouble (HTTP 503): The service is overloaded", 0},
        {"502 Bad Gateway", "", "<html><h1>Bad Gateway</h1>", "Open-Meteo is in trouble (HTTP 502)",
         0},
        {"404 Not Found", "", "", "Open-Meteo answered, but not with a forecast (HTTP 404)", 0},
        {"204 No Content", "", "", "Open-Meteo answered, but not with a forecast (HTTP 204)", 0},
        {"200 OK", "Content-Type: text/html\r\n", "<html>sign in to this network</html>",
         "Open-Meteo: not JSON: line 1, column 1: a value is expected", 0},
        {"200 OK", "", "", "Open-Meteo: not JSON: line 1, column 1: a value is expected", 0},
        {"200 OK", "", "{\"latitude\":52.5}Unexpected error while streaming data: timeout",
         "Open-Meteo: not JSON: line 1, column 18: something follows the value", 0},
    };
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        fetch(f, rows[i].status, rows[i].headers, rows[i].body);
        assert_null(f->forecasts);
        assert_string_equal(f->error->message, rows[i].message);
        assert_int_equal(f->memory->told_utc, rows[i].told_s > 0 ? NOW_UTC + rows[i].told_s : 0);
    }
}

/* The service is named, its host, and nothing else of the address. */
static void test_nobody_there(void **state)
{
    Fixture *f = *state;
    g_strlcpy(f->garden.services[0].url, "http://127.0.0.1:1/path",
              sizeof f->garden.services[0].url);
    open_source(f);
    fetch(f, "200 OK", "", "");
    assert_true(g_str_has_prefix(f->error->message, "Open-Meteo: 127.0.0.1: "));
    assert_null(strstr(f->error->message, "path"));
    assert_null(strstr(f->error->message, "53.1"));
}

/* The source is gone before its answer comes. */
static void test_closed_meanwhile(void **state)
{
    Fixture *f = *state;
    g_autofree char *body = quoted(small);
    g_autofree char *bytes = g_strconcat("HTTP/1.1 200 OK\r\n\r\n", body, NULL);
    f->server->bytes = bytes;
    weather_source_fetch(f->source, &f->site, NULL, NULL, fetched, f);
    g_clear_pointer(&f->source, weather_source_free);
    while (!f->done)
        g_main_context_iteration(NULL, TRUE);
    assert_null(f->error);
    assert_int_equal(f->forecasts->len, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_good_reply),
        cmocka_unit_test(test_shapes_that_occur),
        cmocka_unit_test(test_what_is_refused),
        cmocka_unit_test(test_cut_short),
        cmocka_unit_test(test_same_hours_as_the_table),
        cmocka_unit_test(test_mutations),
        cmocka_unit_test_setup_teardown(test_what_is_asked, setup, teardown),
        cmocka_unit_test_setup_teardown(test_answers_that_are_no_forecast, setup, teardown),
        cmocka_unit_test_setup_teardown(test_nobody_there, setup, teardown),
        cmocka_unit_test_setup_teardown(test_closed_meanwhile, setup, teardown),
    };
    /* The machine's language, which german.sh makes German. */
    setlocale(LC_ALL, "");
    print_message("# a half is %.1f\n", 0.5);
    return cmocka_run_group_tests_name("open-meteo", tests, NULL, NULL);
}
