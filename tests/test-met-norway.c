/* SPDX-License-Identifier: MIT */
/* From a reply of MET Norway to hours. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "climate/air.h"
#include "climate/sun.h"
#include "met-norway-reply.h"
#include "weather/csv.h"
#include "weather/met-norway-parse.h"
#include "weather/open-meteo.h"
#include "weather/series.h"

#define HOUR_S 3600
#define FETCHED_UTC (REPLY_UPDATED_UTC + 600)

static Forecast *parse(const char *text, const Site *site, GError **error)
{
    return met_norway_parse("met-norway", text, strlen(text), site, FETCHED_UTC, error);
}

/* The forecast of one time series; there must be no error. */
static Forecast *forecast_of(const GString *series, const Site *site)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *text = reply_whole(site, series->str);
    Forecast *forecast = parse(text, site, &error);
    assert_null(error);
    assert_non_null(forecast);
    return forecast;
}

static const WeatherHour *hour_at(const Forecast *forecast, guint i)
{
    assert_true(i < forecast->hours->len);
    const WeatherHour *hour = &g_array_index(forecast->hours, WeatherHour, i);
    assert_int_equal(hour->time_utc,
                     g_array_index(forecast->hours, WeatherHour, 0).time_utc + (int64_t)i * HOUR_S);
    return hour;
}

static void assert_near(double value, double expected, double apart)
{
    if (!(fabs(value - expected) <= apart))
        fail_msg("%g is not within %g of %g", value, apart, expected);
}

static void test_all_members(void **state)
{
    (void)state;
    const Site site = reply_site(60.1, 10.0);
    g_autoptr(GString) series = g_string_new(NULL);
    reply_row(series, REPLY_UTC,
              "'air_pressure_at_sea_level':1023.1,'air_temperature':3.5,"
              "'air_temperature_percentile_10':2.4,'air_temperature_percentile_90':4.6,"
              "'cloud_area_fraction':12.5,'dew_point_temperature':-1.2,'relative_humidity':71.0,"
              "'wind_from_direction':349.3,'wind_speed':2.3,'wind_speed_of_gust':5.1",
              "'precipitation_amount':0.4", "'air_temperature_max':6.1,'precipitation_amount':9");
    reply_row(series, REPLY_UTC + HOUR_S, "'air_temperature':-0,'wind_speed_of_gust':4", NULL,
              NULL);
    g_autoptr(Forecast) forecast = forecast_of(series, &site);
    assert_string_equal(forecast->site, "plot");
    assert_string_equal(forecast->source, "met-norway");
    assert_int_equal(forecast->issued_utc, REPLY_UPDATED_UTC);
    assert_int_equal(forecast->fetched_utc, FETCHED_UTC);
    assert_int_equal(forecast->hours->len, 2);
    const WeatherHour *first = hour_at(forecast, 0), *second = hour_at(forecast, 1);
    assert_int_equal(first->time_utc, REPLY_UTC);
    assert_true(first->temperature_c == 3.5 && first->dew_point_c == -1.2);
    assert_true(first->cloud_pct == 12.5 && first->wind_ms == 2.3 && first->gust_ms == 5.1);
    assert_near(first->spread_k, 2.2 / 2.5631, 1e-9);
    assert_int_equal(first->estimated, 0);
    /* Rain of [00:00, 01:00) is that of the hour ending at 01:00; what fell before is not known. */
    assert_true(isnan(first->precipitation_mm));
    assert_true(second->precipitation_mm == 0.4);
    /* A gust may belong to either side of its instant: the larger one counts. */
    assert_true(second->gust_ms == 5.1);
    assert_true(second->temperature_c == 0 && isnan(second->dew_point_c));
    assert_true(isnan(second->cloud_pct) && isnan(second->wind_ms) && isnan(second->spread_k));
    assert_true(isnan(first->radiation_wm2) && isnan(second->radiation_wm2));
    assert_int_equal(second->estimated, 0);
}

/* FAO-56 table 2.3: 3.168 kPa at 25.0 °C, 1.705 kPa at 15.0 °C. */
static void test_dew_point_of_humidity(void **state)
{
    (void)state;
    const Site site = reply_site(52, 13);
    g_autoptr(GString) series = g_string_new(NULL);
    reply_row(series, REPLY_UTC, "'air_temperature':25.0,'relative_humidity':53.82", NULL, NULL);
    reply_row(series, REPLY_UTC + HOUR_S, "'air_temperature':25.0,'relative_humidity':101.2", NULL,
              NULL);
    reply_row(series, REPLY_UTC + 2 * HOUR_S, "'air_temperature':25.0,'relative_humidity':0", NULL,
              NULL);
    g_autoptr(Forecast) forecast = forecast_of(series, &site);
    assert_near(hour_at(forecast, 0)->dew_point_c, 15.0, 0.02);
    assert_near(hour_at(forecast, 1)->dew_point_c, 25.0, 1e-9);
    assert_true(isnan(hour_at(forecast, 2)->dew_point_c));
}

/* Completed, a reply without sun and dew point is whole, and says what is an estimate. */
static void test_completed(void **state)
{
    (void)state;
    const Site site = reply_site(52, 13);
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autofree char *text = reply_season(&site, 7, -2.5);
    g_autoptr(GError) error = NULL;
    g_autoptr(Forecast) forecast = parse(text, &site, &error);
    assert_null(error);
    assert_int_equal(forecast->hours->len, 9 * 24 + 1);
    weather_complete(forecast, &site, zone);
    assert_int_equal(forecast->notes->len, 0);
    assert_int_equal(forecast->hours->len, 9 * 24 + 1);
    const uint32_t stepwise =
        EST_RADIATION | EST_INTERPOLATED | EST_DEW_POINT | EST_CLOUD | EST_WIND | EST_PRECIPITATION;
    for (guint i = 0; i < forecast->hours->len; i++) {
        const WeatherHour *hour = hour_at(forecast, i);
        bool row = i <= 48 || i % 6 == 0;
        uint32_t rain = i > 48 ? EST_PRECIPITATION : 0;
        assert_int_equal(hour->estimated, row ? EST_RADIATION | rain : stepwise);
        assert_near(hour->cloud_pct, 40.6, 1e-9);
        assert_near(hour->wind_ms, 2.3, 1e-9);
        if (i > 0)
            assert_near(hour->precipitation_mm, i <= 48 ? 0.1 : 0.2, 1e-9);
        assert_true(hour->dew_point_c <= hour->temperature_c && hour->dew_point_c <= 1.5);
        assert_true(hour->spread_k >= 1.34);
    }
    /* One hourly series reaches as far, and a store or plan sees nothing but hours. */
    g_autoptr(GPtrArray) held = g_ptr_array_new();
    g_ptr_array_add(held, forecast);
    g_autoptr(WeatherSeries) merged =
        weather_series_new(&site, held, FETCHED_UTC, FETCHED_UTC, REPLY_UTC + 10 * 24 * HOUR_S);
    assert_int_equal(merged->quality, WEATHER_FRESH);
    assert_int_equal(merged->valid_to_utc, REPLY_UTC + 9 * 24 * HOUR_S);
}

/* Percentiles widen the spread that follows from the lead; they never narrow it. */
static void test_spread(void **state)
{
    (void)state;
    const Site site = reply_site(60.1, 10.0);
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autoptr(GString) series = g_string_new(NULL);
    reply_row(series, REPLY_UTC + HOUR_S,
              "'air_temperature':3,'air_temperature_percentile_10':2.5,"
              "'air_temperature_percentile_90':3.5",
              NULL, NULL);
    reply_row(series, REPLY_UTC + 2 * HOUR_S,
              "'air_temperature':3,'air_temperature_percentile_10':-1,"
              "'air_temperature_percentile_90':6",
              NULL, NULL);
    reply_row(series, REPLY_UTC + 3 * HOUR_S,
              "'air_temperature':3,'air_temperature_percentile_10':-1", NULL, NULL);
    g_autoptr(Forecast) forecast = forecast_of(series, &site);
    for (int twice = 0; twice < 2; twice++) {
        weather_complete(forecast, &site, zone);
        assert_near(hour_at(forecast, 0)->spread_k, weather_spread_k(1), 1e-9);
        assert_near(hour_at(forecast, 1)->spread_k, 7 / 2.5631, 1e-9);
        assert_near(hour_at(forecast, 2)->spread_k, weather_spread_k(3), 1e-9);
    }
}

/* ---- six hours at once ---- */

/* Two rows `n` hours apart from `start_utc` on, with the low and high told for six hours. */
static Forecast *step_of(const Site *site, int64_t start_utc, int n, double first_c, double last_c,
                         const char *next_6)
{
    g_autoptr(GString) series = g_string_new(NULL);
    g_autofree char *first = g_strdup_printf("'air_temperature':%.2f", first_c);
    g_autofree char *last = g_strdup_printf("'air_temperature':%.2f", last_c);
    reply_row(series, start_utc, first, NULL, next_6);
    reply_row(series, start_utc + (int64_t)n * HOUR_S, last, NULL, NULL);
    return forecast_of(series, site);
}

static guint extreme(const Forecast *forecast, double sign)
{
    guint at = 0;
    for (guint i = 1; i < forecast->hours->len; i++)
        if (sign * hour_at(forecast, i)->temperature_c >
            sign * hour_at(forecast, at)->temperature_c)
            at = i;
    return at;
}

static void test_where_the_low_is(void **state)
{
    (void)state;
    static const struct {
        const char *where;
        double latitude, longitude;
        int start_h, n; /* after REPLY_UTC */
        double first_c, last_c;
        guint low_at;
    } rows[] = {
        /* Sunrise by hand, from a declination of 4.9° on 2 April: 04:38 UTC. */
        {"Berlin, sunrise between the rows", 52.52, 13.41, 0, 6, 3, 4, 5},
        /* 20:08, the morning of the 3rd there. */
        {"Sydney, sunrise between the rows", -33.87, 151.21, 18, 6, 12, 14, 2},
        /* 03:45 */
        {"north of 60°", 69.65, 18.96, 0, 6, -3, -2, 4},
        {"no sunrise, it grows colder", 52.52, 13.41, 18, 6, 6, 3, 5},
        {"no sunrise, it grows warmer", 52.52, 13.41, 12, 6, 6, 8, 1},
        {"no sunrise, as warm as before", 52.52, 13.41, 12, 6, 6, 6, 3},
        {"a step of two hours", 52.52, 13.41, 12, 2, 6, 8, 1},
    };
    for (guint i = 0; i < G_N_ELEMENTS(rows); i++) {
        const Site site = reply_site(rows[i].latitude, rows[i].longitude);
        g_autoptr(Forecast) forecast =
            step_of(&site, REPLY_UTC + (int64_t)rows[i].start_h * HOUR_S, rows[i].n,
                    rows[i].first_c, rows[i].last_c, "'air_temperature_min':-4.2");
        guint at = extreme(forecast, -1);
        if (at != rows[i].low_at || hour_at(forecast, at)->temperature_c != -4.2)
            fail_msg("%s: %g at %u", rows[i].where, hour_at(forecast, at)->temperature_c, at);
        assert_true(hour_at(forecast, at)->estimated & EST_INTERPOLATED);
        assert_false(hour_at(forecast, 0)->estimated & EST_INTERPOLATED);
        assert_false(hour_at(forecast, (guint)rows[i].n)->estimated & EST_INTERPOLATED);
    }
}

/* At the pole the sun neither rises nor sets; the low is kept all the same. */
static void test_polar(void **state)
{
    (void)state;
    const Site site = reply_site(78.22, 15.65);
    const int64_t june_utc = REPLY_UTC + 80 * 24 * HOUR_S;
    int64_t rise, set;
    assert_false(sun_rise_set(sun_noon_utc(june_utc, site.longitude), site.latitude, site.longitude,
                              SUN_HORIZON_DEG, &rise, &set));
    g_autoptr(Forecast) forecast =
        step_of(&site, june_utc, 6, 4, 3, "'air_temperature_min':1.5,'air_temperature_max':5.5");
    assert_int_equal(extreme(forecast, -1), 5);
    assert_true(hour_at(forecast, 5)->temperature_c == 1.5);
    assert_int_equal(extreme(forecast, 1), 1);
    assert_true(hour_at(forecast, 1)->temperature_c == 5.5);
}

static void test_low_and_high(void **state)
{
    (void)state;
    const Site site = reply_site(52.52, 13.41);
    /* Noon in Berlin is at 11:10 UTC, so the high is put at 13:00. */
    g_autoptr(Forecast) day = step_of(&site, REPLY_UTC + 12 * HOUR_S, 6, 9, 7,
                                      "'air_temperature_min':6.5,'air_temperature_max':11");
    static const double expected_c[] = {9, 11, 9.875, 8.75, 7.625, 6.5, 7};
    for (guint i = 0; i < G_N_ELEMENTS(expected_c); i++)
        assert_near(hour_at(day, i)->temperature_c, expected_c[i], 1e-9);
    /* What the rows reach by themselves bends nothing. */
    g_autoptr(Forecast) evening = step_of(&site, REPLY_UTC + 18 * HOUR_S, 6, 9, 3,
                                          "'air_temperature_min':4,'air_temperature_max':9");
    for (guint i = 0; i <= 6; i++)
        assert_near(hour_at(evening, i)->temperature_c, 9 - i, 1e-9);
}

/* A low of six hours that reach beyond the next row may lie there. */
static void test_low_beyond_next_row(void **state)
{
    (void)state;
    const Site site = reply_site(52.52, 13.41);
    g_autoptr(GString) series = g_string_new(NULL);
    reply_row(series, REPLY_UTC, "'air_temperature':3", NULL, "'air_temperature_min':-1");
    reply_row(series, REPLY_UTC + 2 * HOUR_S, "'air_temperature':2", NULL,
              "'air_temperature_min':-1");
    reply_row(series, REPLY_UTC + 8 * HOUR_S, "'air_temperature':5", NULL, NULL);
    g_autoptr(Forecast) forecast = forecast_of(series, &site);
    assert_near(hour_at(forecast, 1)->temperature_c, 2.5, 1e-9);
    assert_int_equal(extreme(forecast, -1), 5); /* sunrise */
    assert_true(hour_at(forecast, 5)->temperature_c == -1);
}

/* Without the low between them, rows six hours apart tell nothing of a night: it ends there. */
static void test_low_not_told(void **state)
{
    (void)state;
    const Site site = reply_site(52.52, 13.41);
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autoptr(Forecast) forecast =
        step_of(&site, REPLY_UTC, 6, 3, 4, "'air_temperature_max':9,'precipitation_amount':1");
    weather_complete(forecast, &site, zone);
    assert_int_equal(forecast->hours->len, 1);
    assert_int_equal(forecast->notes->len, 1);
    assert_string_equal(g_ptr_array_index(forecast->notes, 0),
                        "no temperature for a while after 2026-04-02T00:00:00Z: what follows is "
                        "not used");
}

/* Whatever the figures: the hours reach the low and the high, and go beyond neither. */
static void test_steps_keep_extremes(void **state)
{
    (void)state;
    const char *given = g_getenv("THOLE_TEST_SEED");
    guint32 seed = given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();
    print_message("# steps: THOLE_TEST_SEED=%u\n", seed);
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);
    for (int i = 0; i < 500; i++) {
        const Site site = reply_site(g_rand_double_range(random, -80, 80),
                                     g_rand_double_range(random, -180, 180));
        double first_c = g_rand_int_range(random, -80, 300) / 10.0;
        double last_c = first_c + g_rand_int_range(random, -80, 80) / 10.0;
        double low_c = fmin(first_c, last_c) - g_rand_int_range(random, -10, 60) / 10.0;
        double high_c = fmax(first_c, last_c) + g_rand_int_range(random, -10, 60) / 10.0;
        int n = g_rand_int_range(random, 2, 7);
        int64_t start_utc = REPLY_UTC + (int64_t)g_rand_int_range(random, 0, 8760) * HOUR_S;
        if (low_c > high_c)
            continue;
        g_autofree char *next_6 =
            g_strdup_printf("'air_temperature_min':%.1f,'air_temperature_max':%.1f", low_c, high_c);
        g_autoptr(Forecast) forecast = step_of(&site, start_utc, n, first_c, last_c, next_6);
        double least_c = INFINITY, most_c = -INFINITY;
        for (int h = 0; h <= n; h++) {
            least_c = fmin(least_c, hour_at(forecast, (guint)h)->temperature_c);
            most_c = fmax(most_c, hour_at(forecast, (guint)h)->temperature_c);
            assert_false(isnan(hour_at(forecast, (guint)h)->temperature_c));
        }
        assert_near(least_c, fmin(low_c, fmin(first_c, last_c)), 0.051);
        if (n > 2)
            assert_near(most_c, fmax(high_c, fmax(first_c, last_c)), 0.051);
    }
}

/* ---- the same days through all sources ---- */

#define DAYS_H 72

/* Weather that each source tells in its own way, in tenths: they must come back as one. */
static double day_c(int h)
{
    return round(10 * (6 - 5 * cos((h - 3) * G_PI / 12))) / 10;
}

static double day_cloud(int h)
{
    return (h * 7) % 101;
}

/* Of the hour that ends at `h`. */
static double day_rain(int h)
{
    return h % 5 == 0 ? h % 24 / 10.0 : 0;
}

static Forecast *days_as_csv(void)
{
    g_autoptr(GString) text =
        g_string_new("time,issued,temperature_c,dew_point_c,cloud_pct,wind_ms,precipitation_mm\n");
    for (int h = 0; h <= DAYS_H; h++) {
        g_autofree char *time = utc_format(REPLY_UTC + (int64_t)h * HOUR_S);
        g_string_append_printf(text, "%s," REPLY_UPDATED ",%.1f,%.1f,%.0f,2.5,%.1f\n", time,
                               day_c(h), day_c(h) - 2, day_cloud(h), day_rain(h));
    }
    g_autoptr(GPtrArray) forecasts =
        weather_csv_parse("f.csv", text->str, text->len, REPLY_UPDATED_UTC, FETCHED_UTC, NULL);
    assert_non_null(forecasts);
    return forecast_copy(g_ptr_array_index(forecasts, 0));
}

static Forecast *days_as_columns(void)
{
    static const char *const names[] = {"temperature_2m", "dew_point_2m",   "cloud_cover",
                                        "wind_speed_10m", "wind_gusts_10m", "shortwave_radiation",
                                        "precipitation"};
    g_autoptr(GString) times = g_string_new(NULL);
    GString *columns[G_N_ELEMENTS(names)];
    for (guint i = 0; i < G_N_ELEMENTS(names); i++)
        columns[i] = g_string_new(NULL);
    for (int h = 0; h <= DAYS_H; h++) {
        const char *comma = h > 0 ? "," : "";
        const double values[] = {day_c(h), day_c(h) - 2, day_cloud(h), 2.5, NAN, NAN, day_rain(h)};
        g_string_append_printf(times, "%s%" G_GINT64_FORMAT, comma,
                               REPLY_UTC + (int64_t)h * HOUR_S);
        for (guint i = 0; i < G_N_ELEMENTS(names); i++) {
            if (isnan(values[i]))
                g_string_append_printf(columns[i], "%snull", comma);
            else
                g_string_append_printf(columns[i], "%s%.1f", comma, values[i]);
        }
    }
    g_autoptr(GString) text = g_string_new("{\"hourly_units\":{\"time\":\"unixtime\","
                                           "\"temperature_2m\":\"°C\",\"dew_point_2m\":\"°C\","
                                           "\"cloud_cover\":\"%\",\"wind_speed_10m\":\"m/s\","
                                           "\"wind_gusts_10m\":\"m/s\","
                                           "\"shortwave_radiation\":\"W/m²\","
                                           "\"precipitation\":\"mm\"},\"hourly\":{\"time\":[");
    g_string_append_printf(text, "%s]", times->str);
    for (guint i = 0; i < G_N_ELEMENTS(names); i++) {
        g_string_append_printf(text, ",\"%s\":[%s]", names[i], columns[i]->str);
        g_string_free(columns[i], TRUE);
    }
    g_string_append(text, "}}");
    g_autoptr(GError) error = NULL;
    Forecast *forecast =
        open_meteo_parse(text->str, text->len, 0, "plot", REPLY_UPDATED_UTC, &error);
    assert_null(error);
    return forecast;
}

/* Rows `step_h` hours apart. */
static Forecast *days_as_rows(const Site *site, int step_h)
{
    g_autoptr(GString) series = g_string_new(NULL);
    for (int h = 0; h <= DAYS_H; h += step_h) {
        double low_c = day_c(h), high_c = day_c(h), rain_mm = 0;
        for (int k = h; k < h + 6; k++) { /* as the service has it: without the end */
            low_c = fmin(low_c, day_c(k));
            high_c = fmax(high_c, day_c(k));
            rain_mm += day_rain(k + 1);
        }
        g_autofree char *instant = g_strdup_printf(
            "'air_temperature':%.1f,'cloud_area_fraction':%.0f,'dew_point_temperature':%.1f,"
            "'wind_speed':2.5",
            day_c(h), day_cloud(h), day_c(h) - 2);
        g_autofree char *next_1 = g_strdup_printf("'precipitation_amount':%.1f", day_rain(h + 1));
        g_autofree char *next_6 = g_strdup_printf("'air_temperature_min':%.1f,"
                                                  "'air_temperature_max':%.1f,"
                                                  "'precipitation_amount':%.1f",
                                                  low_c, high_c, rain_mm);
        reply_row(series, REPLY_UTC + (int64_t)h * HOUR_S, instant, step_h == 1 ? next_1 : NULL,
                  h < DAYS_H ? next_6 : NULL);
    }
    return forecast_of(series, site);
}

static void assert_same(const WeatherHour *one, const WeatherHour *other)
{
    assert_int_equal(one->time_utc, other->time_utc);
    assert_int_equal(one->estimated, other->estimated);
    assert_true(one->temperature_c == other->temperature_c);
    assert_true(one->dew_point_c == other->dew_point_c);
    assert_true(one->cloud_pct == other->cloud_pct && one->wind_ms == other->wind_ms);
    assert_true(isnan(one->gust_ms) && isnan(other->gust_ms));
    assert_true(one->radiation_wm2 == other->radiation_wm2);
    assert_true(one->precipitation_mm == other->precipitation_mm);
    assert_true(one->spread_k == other->spread_k);
}

static void test_same_hours(void **state)
{
    (void)state;
    const Site site = reply_site(52.52, 13.41);
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/Berlin");
    g_autoptr(Forecast) csv = days_as_csv();
    g_autoptr(Forecast) columns = days_as_columns();
    g_autoptr(Forecast) rows = days_as_rows(&site, 1);
    Forecast *const all[] = {csv, columns, rows};
    for (guint i = 0; i < G_N_ELEMENTS(all); i++) {
        weather_complete(all[i], &site, zone);
        assert_int_equal(all[i]->hours->len, DAYS_H + 1);
    }
    for (guint h = 1; h <= DAYS_H; h++) { /* rain before its first row no row tells */
        const WeatherHour *hour = hour_at(csv, h);
        assert_near(hour->temperature_c, day_c((int)h), 1e-9);
        assert_near(hour->precipitation_mm, day_rain((int)h), 1e-9);
        for (guint i = 1; i < G_N_ELEMENTS(all); i++)
            assert_same(hour_at(all[i], h), hour);
    }
}

/* Told six hours at once, each six hours are as cold and as wet; within them it is our shape. */
static void test_same_intervals(void **state)
{
    (void)state;
    const Site site = reply_site(52.52, 13.41);
    g_autoptr(Forecast) rows = days_as_rows(&site, 6);
    for (int h = 0; h < DAYS_H; h += 6) {
        double low_c = INFINITY, told_low_c = INFINITY, high_c = -INFINITY, told_high_c = -INFINITY;
        double rain_mm = 0, told_rain_mm = 0;
        for (int k = h; k <= h + 6; k++) {
            const WeatherHour *hour = hour_at(rows, (guint)k);
            low_c = fmin(low_c, hour->temperature_c);
            high_c = fmax(high_c, hour->temperature_c);
            told_low_c = fmin(told_low_c, day_c(k));
            told_high_c = fmax(told_high_c, day_c(k));
            rain_mm += k > h ? hour->precipitation_mm : 0;
            told_rain_mm += k > h ? day_rain(k) : 0;
        }
        assert_near(low_c, told_low_c, 1e-9);
        assert_near(high_c, told_high_c, 1e-9);
        assert_near(rain_mm, told_rain_mm, 1e-6);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_all_members),      cmocka_unit_test(test_dew_point_of_humidity),
        cmocka_unit_test(test_completed),        cmocka_unit_test(test_spread),
        cmocka_unit_test(test_where_the_low_is), cmocka_unit_test(test_polar),
        cmocka_unit_test(test_low_and_high),     cmocka_unit_test(test_low_beyond_next_row),
        cmocka_unit_test(test_low_not_told),     cmocka_unit_test(test_same_hours),
        cmocka_unit_test(test_same_intervals),   cmocka_unit_test(test_steps_keep_extremes),
    };
    return cmocka_run_group_tests_name("met-norway", tests, NULL, NULL);
}
