/* SPDX-License-Identifier: MIT */
/* From forecasts to the one hourly series: what is filled in, merged, carried on and warned of. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "climate/sun.h"
#include "weather/normals.h"
#include "weather/series.h"
#include "weather/warning.h"

#define H 3600
#define DAY 86400
#define NOON_UTC G_GINT64_CONSTANT(1777896000) /* Monday 2026-05-04T12:00:00Z, GNU date */
#define MIDNIGHT_UTC (NOON_UTC - 12 * H)

static Site plot(void)
{
    static const double mean_c[12] = {4, 4, 6, 8, 11, 14, 16, 16, 14, 10, 7, 4};
    Site site = {.name = "plot",
                 .latitude = 53.12,
                 .longitude = -2.04,
                 .last_frost_month = 5,
                 .last_frost_day = 12,
                 .last_frost_sd_d = 12};
    for (int i = 0; i < 12; i++) {
        site.normals.mean_c[i] = mean_c[i];
        site.normals.daily_range_k[i] = 8;
    }
    return site;
}

/* `n` hours of `temperature_c`, all else given too. */
static Forecast *steady(int64_t issued_utc, int64_t first_utc, int n, double temperature_c)
{
    Forecast *forecast = forecast_new("", "test", issued_utc, issued_utc);
    for (int i = 0; i < n; i++) {
        WeatherHour hour = {.time_utc = first_utc + i * H,
                            .temperature_c = temperature_c,
                            .dew_point_c = temperature_c - 3,
                            .cloud_pct = 25,
                            .wind_ms = 3,
                            .gust_ms = 5,
                            .radiation_wm2 = 10,
                            .precipitation_mm = 0};
        g_array_append_val(forecast->hours, hour);
    }
    return forecast;
}

static WeatherHour *hour_at(GArray *hours, guint i)
{
    assert_true(i < hours->len);
    return &g_array_index(hours, WeatherHour, i);
}

static WeatherHour *hour_of(const WeatherSeries *series, int64_t utc)
{
    int64_t i = (utc - hour_at(series->hours, 0)->time_utc) / H;
    WeatherHour *hour = hour_at(series->hours, (guint)i);
    assert_int_equal(hour->time_utc, utc);
    return hour;
}

static GPtrArray *list_of(Forecast *first, Forecast *second, Forecast *third)
{
    Forecast *all[] = {first, second, third};
    Site site = plot();
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    GPtrArray *list = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
    for (size_t i = 0; i < G_N_ELEMENTS(all); i++) {
        if (all[i] == NULL)
            continue;
        weather_complete(all[i], &site, zone);
        g_ptr_array_add(list, all[i]);
    }
    return list;
}

/* What every series promises. */
static void check_series(const WeatherSeries *series)
{
    for (guint i = 0; i < series->hours->len; i++) {
        const WeatherHour *hour = hour_at(series->hours, i);
        assert_true(i == 0 || hour->time_utc == hour_at(series->hours, i - 1)->time_utc + H);
        assert_true(isfinite(hour->temperature_c) && isfinite(hour->cloud_pct));
        assert_true(isfinite(hour->wind_ms) && isfinite(hour->radiation_wm2));
        assert_true(hour->dew_point_c <= hour->temperature_c);
        assert_true(hour->spread_k >= 1 && hour->spread_k <= 4);
    }
}

/* ---- completing ---- */

static void test_spread(void **state)
{
    (void)state;
    static const struct {
        double lead_h, spread_k;
    } rows[] = {
        /* 1.34: Met Office, 86.5 % within 2 K; the rest by the formula */
        {-5, 1.34}, {0, 1.34}, {24, 1.34}, {36, 1.515}, {48, 1.69}, {120, 2.74}, {240, 4}, {900, 4},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(rows); i++)
        assert_true(fabs(weather_spread_k(rows[i].lead_h) - rows[i].spread_k) < 1e-9);
    /* the share of a normal error within 2 K is what was published */
    assert_true(fabs(erf(2 / weather_spread_k(0) / sqrt(2)) - 0.865) < 0.001);
}

static void test_complete_bare(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    g_autoptr(Forecast) forecast = forecast_new("", "test", NOON_UTC, NOON_UTC);
    /* From local midnight (23:00 UTC) two days, coldest at 05:00 UTC: 2 °C, the next day 6 °C. */
    for (int i = 0; i < 48; i++) {
        WeatherHour hour = weather_hour_missing(MIDNIGHT_UTC - H + i * H);
        hour.temperature_c = (i < 24 ? 2 : 6) + abs(i % 24 - 6) / 2.0;
        g_array_append_val(forecast->hours, hour);
    }
    weather_complete(forecast, &site, zone);
    for (guint i = 0; i < 48; i++) {
        const WeatherHour *hour = hour_at(forecast->hours, i);
        assert_true(hour->dew_point_c == (i < 24 ? 2 : 6));
        assert_true(hour->cloud_pct == 50 && hour->wind_ms == 2);
        assert_true(isnan(hour->gust_ms) && isnan(hour->precipitation_mm));
        /* Kasten and Czeplak at half cloud: 1 − 0.75·0.5^3.4 = 0.92896 */
        double clear = sun_clear_sky_mean_wm2(hour->time_utc - H, hour->time_utc, site.latitude,
                                              site.longitude);
        assert_true(fabs(hour->radiation_wm2 - 0.92896 * clear) < 0.02);
        assert_int_equal(hour->estimated, EST_DEW_POINT | EST_CLOUD | EST_WIND | EST_RADIATION);
        assert_true(fabs(hour->spread_k - weather_spread_k((double)i - 13)) < 1e-9);
    }
    assert_true(hour_at(forecast->hours, 13)->radiation_wm2 > 600);
    assert_true(hour_at(forecast->hours, 1)->radiation_wm2 == 0);

    g_autoptr(Forecast) again = forecast_copy(forecast);
    weather_complete(again, &site, zone);
    assert_int_equal(again->hours->len, 48);
    assert_int_equal(again->notes->len, 0);
    assert_memory_equal(again->hours->data, forecast->hours->data, 48 * sizeof(WeatherHour));
}

/* An afternoon alone does not know its day's minimum: the next night's is taken. */
static void test_complete_part_day(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autoptr(Forecast) forecast = steady(NOON_UTC, NOON_UTC, 36, 15);
    for (guint i = 0; i < 36; i++) {
        hour_at(forecast->hours, i)->dew_point_c = NAN;
        hour_at(forecast->hours, i)->temperature_c = i == 16 ? 4 : 15;
    }
    weather_complete(forecast, &site, zone);
    for (guint i = 0; i < 36; i++)
        assert_true(hour_at(forecast->hours, i)->dew_point_c == 4);
}

static void test_complete_holes(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    static const struct {
        const char *sentence;
        guint first_missing, missing;
        bool rows; /* the missing hours are rows without a temperature */
        guint hours;
        int notes;
    } rows[] = {
        {"no hole", 0, 0, false, 24, 0},
        {"one hour", 5, 1, false, 24, 0},
        {"three hours", 5, 3, false, 24, 0},
        {"three hours as rows", 5, 3, true, 24, 0},
        {"four hours end it", 5, 4, false, 5, 1},
        {"four hours as rows end it", 5, 4, true, 5, 1},
        {"rows before the first temperature", 0, 2, true, 22, 1},
        {"rows after the last temperature", 22, 2, true, 22, 1},
        {"no temperature at all", 0, 24, true, 0, 1},
    };
    for (size_t r = 0; r < G_N_ELEMENTS(rows); r++) {
        g_autoptr(Forecast) forecast = steady(NOON_UTC, NOON_UTC, 24, 0);
        for (guint i = 0; i < 24; i++)
            hour_at(forecast->hours, i)->temperature_c = 10 + i;
        for (guint i = 0; i < rows[r].missing; i++)
            hour_at(forecast->hours, rows[r].first_missing + i)->temperature_c = NAN;
        if (!rows[r].rows && rows[r].missing > 0)
            g_array_remove_range(forecast->hours, rows[r].first_missing, rows[r].missing);
        weather_complete(forecast, &site, zone);
        if (forecast->hours->len != rows[r].hours || (int)forecast->notes->len != rows[r].notes)
            fail_msg("%s: %u hours, %u notes", rows[r].sentence, forecast->hours->len,
                     forecast->notes->len);
        for (guint i = 0; i < forecast->hours->len; i++) {
            const WeatherHour *hour = hour_at(forecast->hours, i);
            double own_c = 10 + (double)(hour->time_utc - NOON_UTC) / H;
            assert_true(fabs(hour->temperature_c - own_c) < 1e-9);
            bool filled = i >= rows[r].first_missing && rows[r].hours == 24 &&
                          i < rows[r].first_missing + rows[r].missing;
            assert_int_equal((hour->estimated & EST_INTERPOLATED) != 0, filled);
            assert_int_equal((hour->estimated & EST_CLOUD) != 0, filled && !rows[r].rows);
            assert_true(hour->cloud_pct == 25);
        }
    }
}

static void test_complete_note(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GTimeZone) zone = g_time_zone_new_utc();
    g_autoptr(Forecast) forecast = steady(NOON_UTC, NOON_UTC, 24, 9);
    hour_at(forecast->hours, 0)->temperature_c = NAN;
    g_array_remove_range(forecast->hours, 6, 4);
    weather_complete(forecast, &site, zone);
    assert_string_equal(g_ptr_array_index(forecast->notes, 0),
                        "hours left out before the first temperature: 1");
    assert_string_equal(g_ptr_array_index(forecast->notes, 1),
                        "no temperature for a while after 2026-05-04T17:00:00Z: what follows is "
                        "not used");
}

/* ---- normals ---- */

static void test_normals_months(void **state)
{
    (void)state;
    Site site = plot();
    static const struct {
        const char *sentence;
        int month, day, hour;
        double mean_c;
    } rows[] = {
        {"middle of January", 1, 16, 12, 4},
        {"middle of April", 4, 16, 0, 8},
        {"end of April", 5, 1, 0, 9.5},
        {"middle of May", 5, 16, 12, 11},
        {"new year", 1, 1, 0, 4},
        {"end of November", 12, 1, 0, 5.5},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GDateTime) time =
            g_date_time_new_utc(2026, rows[i].month, rows[i].day, rows[i].hour, 0, 0);
        double mean_c = weather_normals_mean_c(&site.normals, g_date_time_to_unix(time));
        if (fabs(mean_c - rows[i].mean_c) > 1e-9)
            fail_msg("%s: %f", rows[i].sentence, mean_c);
    }
    assert_true(weather_normals_range_k(&site.normals, NOON_UTC) == 8);
}

/* Hours of a day keep the normal low and high, with no jump, at any latitude and season. */
static void test_normals_hours(void **state)
{
    (void)state;
    static const double latitudes[] = {53.12, 5, -41, 69, -69};
    for (size_t l = 0; l < G_N_ELEMENTS(latitudes); l++) {
        Site site = plot();
        site.latitude = latitudes[l];
        for (int i = 0; i < 12 && latitudes[l] < 0; i++)
            site.normals.mean_c[i] = plot().normals.mean_c[(i + 6) % 12];
        bool polar = fabs(latitudes[l]) > 66;
        for (int64_t day = 0; day < 365; day++) {
            double low_c = INFINITY, high_c = -INFINITY;
            double before = NAN;
            for (int64_t t = MIDNIGHT_UTC + day * DAY; t <= MIDNIGHT_UTC + (day + 1) * DAY;
                 t += H) {
                WeatherHour hour = weather_normals_hour(&site, t, false);
                low_c = fmin(low_c, hour.temperature_c);
                high_c = fmax(high_c, hour.temperature_c);
                assert_true(hour.dew_point_c <= hour.temperature_c);
                /* at the edge of the polar day the law changes: a jump of a part of the range */
                if (!polar)
                    assert_false(fabs(hour.temperature_c - before) > 3);
                before = hour.temperature_c;
            }
            double mean_c =
                weather_normals_mean_c(&site.normals, MIDNIGHT_UTC + day * DAY + DAY / 2);
            assert_true(fabs(low_c - (mean_c - 4)) < 0.7);
            assert_true(fabs(high_c - (mean_c + 4)) < (polar ? 1.2 : 0.7));
        }
    }
}

static void test_southern_winter(void **state)
{
    (void)state;
    Site site = plot();
    site.latitude = -41;
    site.longitude = 175;
    for (int i = 0; i < 12; i++)
        site.normals.mean_c[i] = plot().normals.mean_c[(i + 6) % 12];
    int64_t july = NOON_UTC + 75 * DAY, january = NOON_UTC + 257 * DAY;
    assert_true(weather_normals_mean_c(&site.normals, july) < 5);
    assert_true(weather_normals_mean_c(&site.normals, january) > 15);
    double july_sum = 0, january_sum = 0;
    for (int i = 0; i < 24; i++) {
        july_sum += weather_normals_hour(&site, july + i * H, false).radiation_wm2;
        january_sum += weather_normals_hour(&site, january + i * H, false).radiation_wm2;
    }
    assert_true(january_sum > 2.5 * july_sum);
}

static void test_frost_season(void **state)
{
    (void)state;
    static const struct {
        const char *sentence;
        int month, day; /* of the last frost */
        int64_t utc;
        bool expected;
    } rows[] = {
        {"a week before", 5, 12, NOON_UTC, true},
        {"two deviations after", 5, 12, NOON_UTC + 32 * DAY, true},
        {"later", 5, 12, NOON_UTC + 33 * DAY, false},
        {"autumn, more than half a year before the next", 5, 12, NOON_UTC + 180 * DAY, false},
        {"winter", 5, 12, NOON_UTC + 230 * DAY, true},
        {"southern autumn: the last frost is in October", 10, 20, NOON_UTC, true},
        {"southern summer", 10, 20, NOON_UTC + 230 * DAY, false},
        {"29 February", 2, 29, NOON_UTC - 80 * DAY, true},
        {"not known", 0, 0, NOON_UTC + 90 * DAY, true},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(rows); i++) {
        Site site = plot();
        site.last_frost_month = rows[i].month;
        site.last_frost_day = rows[i].day;
        if (weather_frost_season(&site, rows[i].utc) != rows[i].expected)
            fail_msg("%s", rows[i].sentence);
    }
}

/* ---- the series ---- */

static void test_merge(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GPtrArray) list = list_of(steady(NOON_UTC - 6 * H, NOON_UTC - 12 * H, 96, 8),
                                        steady(NOON_UTC - 30 * H, NOON_UTC - 30 * H, 120, 5),
                                        steady(NOON_UTC + H, NOON_UTC - 3 * H, 96, 20));
    g_autoptr(Forecast) elsewhere = steady(NOON_UTC, NOON_UTC - 12 * H, 96, 30);
    g_free(elsewhere->site);
    elsewhere->site = g_strdup("home");
    g_ptr_array_add(list, g_steal_pointer(&elsewhere));
    g_autoptr(WeatherSeries) series =
        weather_series_new(&site, list, NOON_UTC, NOON_UTC - DAY + 1, NOON_UTC + DAY + 1);
    check_series(series);
    assert_int_equal(series->hours->len, 24 + 24 + 2);
    assert_int_equal(hour_at(series->hours, 0)->time_utc, NOON_UTC - DAY);
    assert_int_equal(series->quality, WEATHER_FRESH);
    assert_int_equal(series->issued_utc, NOON_UTC - 6 * H);
    assert_int_equal(series->valid_to_utc, NOON_UTC + 89 * H); /* by the older, longer one */
    assert_string_equal(series->site, "plot");
    for (int h = -24; h <= 25; h++)
        assert_true(hour_of(series, NOON_UTC + h * H)->temperature_c == (h < -12 ? 5 : 8));
    /* one hour later the newer one is there */
    g_autoptr(WeatherSeries) later =
        weather_series_new(&site, list, NOON_UTC + H, NOON_UTC - DAY, NOON_UTC + DAY);
    assert_true(hour_of(later, NOON_UTC)->temperature_c == 20);
    assert_true(hour_of(later, NOON_UTC + 2 * H)->temperature_c == 20);
}

/* After a forecast's end its distance from the normals fades over a day. */
static void test_join(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GPtrArray) list = list_of(steady(NOON_UTC, NOON_UTC, 25, 2), NULL, NULL);
    g_autoptr(WeatherSeries) series =
        weather_series_new(&site, list, NOON_UTC, NOON_UTC, NOON_UTC + 4 * DAY);
    check_series(series);
    int64_t end = NOON_UTC + DAY;
    WeatherHour normal_end = weather_normals_hour(&site, end, false);
    for (int h = 1; h <= 72; h++) {
        const WeatherHour *hour = hour_of(series, end + h * H);
        WeatherHour normal = weather_normals_hour(&site, end + h * H, false);
        double weight = fmax(0, 1 - h / 24.0);
        double expected_c = normal.temperature_c + weight * (2 - normal_end.temperature_c);
        assert_true(fabs(hour->temperature_c - expected_c) < 1e-9);
        assert_true(fabs(hour->spread_k - (4 + weight * (1.34 - 4))) < 1e-9);
        assert_int_equal(hour->estimated, normal.estimated);
        assert_true(hour->estimated & EST_TEMPERATURE);
    }
    assert_true(fabs(hour_of(series, end + H)->temperature_c - 2) < 2);
}

/* The same instant has the same weather, wherever the series is cut. */
static void test_cut(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GPtrArray) list = list_of(steady(NOON_UTC - 60 * H, NOON_UTC - 60 * H, 20, 1),
                                        steady(NOON_UTC - 20 * H, NOON_UTC - 20 * H, 50, 15), NULL);
    g_autoptr(WeatherSeries) whole =
        weather_series_new(&site, list, NOON_UTC, NOON_UTC - 5 * DAY, NOON_UTC + 5 * DAY);
    check_series(whole);
    for (guint i = 1; i < whole->hours->len; i++) /* gaps leave no jump */
        assert_true(fabs(hour_at(whole->hours, i)->temperature_c -
                         hour_at(whole->hours, i - 1)->temperature_c) < 3);
    for (int h = -5 * 24; h < 5 * 24; h++) {
        g_autoptr(WeatherSeries) part =
            weather_series_new(&site, list, NOON_UTC, NOON_UTC + h * H, NOON_UTC + (h + 1) * H);
        assert_int_equal(part->hours->len, 2);
        assert_memory_equal(hour_of(part, NOON_UTC + h * H), hour_of(whole, NOON_UTC + h * H),
                            sizeof(WeatherHour));
    }
}

/* Against the rule said plainly: the latest issue that holds the hour, and is not too old. */
static void test_any_forecasts(void **state)
{
    (void)state;
    Site site = plot();
    guint32 seed = g_random_int();
    print_message("# seed %u\n", seed);
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    for (int round = 0; round < 100; round++) {
        Forecast *all[3];
        for (int i = 0; i < 3; i++) {
            int64_t issued = NOON_UTC + g_rand_int_range(rand, -100, 10) * H + i;
            all[i] = steady(issued, issued - issued % H + g_rand_int_range(rand, -10, 30) * H,
                            g_rand_int_range(rand, 1, 120), g_rand_double_range(rand, -5, 25));
        }
        g_autoptr(GPtrArray) list = list_of(all[0], all[1], all[2]);
        g_autoptr(WeatherSeries) series =
            weather_series_new(&site, list, NOON_UTC, NOON_UTC - 4 * DAY, NOON_UTC + 4 * DAY);
        check_series(series);
        for (int64_t t = NOON_UTC - 4 * DAY; t < NOON_UTC + 4 * DAY; t += H) {
            const Forecast *best = NULL;
            for (int i = 0; i < 3; i++) {
                int64_t first = hour_at(all[i]->hours, 0)->time_utc;
                int64_t age_s = NOON_UTC - all[i]->issued_utc;
                if (age_s >= 0 && (t <= NOON_UTC || age_s <= 72 * H) && t >= first &&
                    t < first + (int64_t)all[i]->hours->len * H &&
                    (best == NULL || all[i]->issued_utc > best->issued_utc))
                    best = all[i];
            }
            const WeatherHour *hour = hour_of(series, t);
            assert_int_equal((hour->estimated & EST_TEMPERATURE) != 0, best == NULL);
            if (best != NULL)
                assert_true(hour->temperature_c == hour_at(best->hours, 0)->temperature_c);
        }
    }
}

static const struct {
    const char *sentence;
    int age_min, first_h, hours; /* of the one forecast; 0 hours: none */
    WeatherQuality quality;
    bool used;
    const char *text;
} ages[] = {
    {"just issued", 0, 0, 96, WEATHER_FRESH, true, "forecast 0 h old"},
    {"a day", 24 * 60, 0, 96, WEATHER_FRESH, true, "forecast 24 h old"},
    {"old", 31 * 60 + 40, 0, 96, WEATHER_OLD, true, "forecast 31 h old"},
    {"three days", 72 * 60, 0, 96, WEATHER_OLD, true, "forecast 72 h old"},
    {"missing", 72 * 60 + 1, 0, 96, WEATHER_MISSING, false,
     "no forecast since Fri 12:59: planned on normals and the last frost date"},
    {"missing for long", 10 * 1440, 0, 400, WEATHER_MISSING, false,
     "no forecast since Fri 24 April 13:00: planned on normals and the last frost date"},
    {"fresh, but over already", 5 * 60, -20, 15, WEATHER_MISSING, false,
     "no forecast since Mon 08:00: planned on normals and the last frost date"},
    {"never one", 0, 0, 0, WEATHER_MISSING, false,
     "no forecast yet: planned on normals and the last frost date"},
};

static void test_quality(void **state)
{
    (void)state;
    Site site = plot();
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    for (size_t i = 0; i < G_N_ELEMENTS(ages); i++) {
        int64_t issued = NOON_UTC - (int64_t)ages[i].age_min * 60;
        int64_t first = issued - issued % H + ages[i].first_h * H;
        g_autoptr(GPtrArray) list = list_of(steady(issued, first, ages[i].hours, 3), NULL, NULL);
        g_autoptr(WeatherSeries) series =
            weather_series_new(&site, list, NOON_UTC, NOON_UTC, NOON_UTC + 3 * DAY);
        check_series(series);
        g_autofree char *text = weather_quality_text(series, NOON_UTC, zone);
        if (series->quality != ages[i].quality || strcmp(text, ages[i].text) != 0)
            fail_msg("%s: %d \"%s\"", ages[i].sentence, series->quality, text);
        assert_int_equal(series->valid_to_utc != 0, ages[i].used);
        assert_int_equal(series->issued_utc, ages[i].hours > 0 ? issued : 0);
        const WeatherHour *soon = hour_of(series, NOON_UTC + 3 * H);
        assert_int_equal((soon->estimated & EST_TEMPERATURE) == 0, ages[i].used);
        if (!ages[i].used)
            assert_true(soon->spread_k == 4);
    }
}

static double lowest_c(const WeatherSeries *series, int64_t from, int64_t to)
{
    double low_c = INFINITY;
    for (int64_t t = from; t <= to; t += H)
        low_c = fmin(low_c, hour_of(series, t)->temperature_c);
    return low_c;
}

/* Without a forecast every night before the last frost may freeze, at odds of about one in ten. */
static void test_cautious(void **state)
{
    (void)state;
    Site site = plot();
    for (int i = 0; i < 12; i++)
        site.normals.mean_c[i] = 14; /* a normal low of 10 °C */
    g_autoptr(GPtrArray) none = g_ptr_array_new();
    for (int day = 0; day < 120; day++) {
        int64_t noon = NOON_UTC + day * DAY;
        g_autoptr(WeatherSeries) series = weather_series_new(&site, none, noon, noon, noon + DAY);
        check_series(series);
        double low_c = lowest_c(series, noon, noon + DAY);
        double odds = 0.5 * erfc(low_c / 4 / sqrt(2));
        /* 12 May + 24 days is 5 June, 32 days after the first evening: its morning is the last */
        /* full hours miss the lowest instant by some tenths of a degree */
        assert_int_equal(odds > 0.085, day < 32);
        if (day >= 32)
            assert_true(low_c > 9.9);
    }
    /* a warm forecast that is missing now does not lift the night; a cold one may lower it */
    int64_t issued = NOON_UTC - 80 * H;
    g_autoptr(GPtrArray) warm = list_of(steady(issued, issued, 81, 25), NULL, NULL);
    g_autoptr(GPtrArray) cold = list_of(steady(issued, issued, 81, 0), NULL, NULL);
    g_autoptr(WeatherSeries) plain =
        weather_series_new(&site, none, NOON_UTC, NOON_UTC, NOON_UTC + DAY);
    g_autoptr(WeatherSeries) after_warm =
        weather_series_new(&site, warm, NOON_UTC, NOON_UTC, NOON_UTC + DAY);
    g_autoptr(WeatherSeries) after_cold =
        weather_series_new(&site, cold, NOON_UTC, NOON_UTC, NOON_UTC + DAY);
    for (int64_t t = NOON_UTC + H; t < NOON_UTC + DAY; t += H) {
        double plain_c = hour_of(plain, t)->temperature_c;
        assert_true(hour_of(after_warm, t)->temperature_c == plain_c);
        assert_true(hour_of(after_cold, t)->temperature_c < plain_c);
    }
}

/* ---- warnings ---- */

static void test_warning(void **state)
{
    (void)state;
    Site site = plot();
    int64_t sunset = MIDNIGHT_UTC + 19 * H + 2400, sunrise = MIDNIGHT_UTC + 28 * H + 1500;
    static const struct {
        const char *sentence;
        double low_c;
        bool changes;
    } rows[] = {
        {"frost", -2, true},
        {"a little colder", 5.5, true},
        {"as cold", 6, false},
        {"a warning never warms", 9, false},
    };
    for (size_t i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GPtrArray) list = list_of(steady(NOON_UTC, MIDNIGHT_UTC, 60, 7), NULL, NULL);
        Forecast *forecast = g_ptr_array_index(list, 0);
        hour_at(forecast->hours, 27)->temperature_c = 6;
        hour_at(forecast->hours, 40)->temperature_c = -9; /* not of that night */
        hour_at(forecast->hours, 40)->dew_point_c = -9;
        g_autoptr(WeatherSeries) before =
            weather_series_new(&site, list, NOON_UTC, NOON_UTC, NOON_UTC + 2 * DAY);
        g_autoptr(WeatherSeries) series =
            weather_series_new(&site, list, NOON_UTC, NOON_UTC, NOON_UTC + 2 * DAY);
        WeatherWarning warning = {.site = "plot", .low_c = rows[i].low_c};
        if (weather_apply_warning(series, &warning, sunset, sunrise) != rows[i].changes)
            fail_msg("%s", rows[i].sentence);
        check_series(series);
        double low_c = lowest_c(series, MIDNIGHT_UTC + 20 * H, MIDNIGHT_UTC + 29 * H);
        assert_true(fabs(low_c - fmin(rows[i].low_c, 6)) < 1e-9);
        double shift_k = fmin(rows[i].low_c - 6, 0);
        for (int h = 12; h < 60; h++) {
            int64_t t = MIDNIGHT_UTC + h * H;
            double moved = hour_of(series, t)->temperature_c - hour_of(before, t)->temperature_c;
            bool night = h >= 20 && h <= 29, outside = h < 18 || h > 30;
            assert_true(!night || fabs(moved - shift_k) < 1e-9);
            assert_true(!outside || moved == 0);
            assert_true(moved <= 0 && moved >= shift_k - 1e-9);
            bool marked = (hour_of(series, t)->estimated & EST_WARNING) != 0;
            assert_int_equal(marked, rows[i].changes && !outside);
            assert_true(!(night && marked) || fabs(hour_of(series, t)->spread_k - 1) < 1e-9);
        }
        /* said twice it is the same */
        g_autoptr(GArray) once = g_array_copy(series->hours);
        assert_false(weather_apply_warning(series, &warning, sunset, sunrise));
        assert_memory_equal(once->data, series->hours->data, once->len * sizeof(WeatherHour));
        /* a night that the series does not hold */
        assert_false(weather_apply_warning(series, &warning, sunset + 9 * DAY, sunrise + 9 * DAY));
    }
}

static void test_deep(void **state)
{
    (void)state;
    Site site = plot();
    double normal_c = 0;
    for (int i = 0; i < 720; i++)
        normal_c += weather_normals_mean_c(&site.normals, NOON_UTC - i * H) / 720;
    assert_true(fabs(weather_deep_c(NULL, &site, NOON_UTC) - normal_c) < 1e-9);
    assert_true(normal_c > 8 && normal_c < 10);
    int64_t first = NOON_UTC - 31 * DAY;
    g_autoptr(GPtrArray) list = list_of(steady(first, first, 31 * 24 + 1, 3), NULL, NULL);
    g_autoptr(WeatherSeries) whole = weather_series_new(&site, list, NOON_UTC, first, NOON_UTC);
    assert_true(fabs(weather_deep_c(whole, &site, NOON_UTC + 1800) - 3) < 1e-9);
    g_autoptr(WeatherSeries) half =
        weather_series_new(&site, list, NOON_UTC, NOON_UTC - 15 * DAY + H, NOON_UTC);
    double expected_c = 1.5;
    for (int i = 360; i < 720; i++)
        expected_c += weather_normals_mean_c(&site.normals, NOON_UTC - i * H) / 720;
    assert_true(fabs(weather_deep_c(half, &site, NOON_UTC) - expected_c) < 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_spread),
        cmocka_unit_test(test_complete_bare),
        cmocka_unit_test(test_complete_part_day),
        cmocka_unit_test(test_complete_holes),
        cmocka_unit_test(test_complete_note),
        cmocka_unit_test(test_normals_months),
        cmocka_unit_test(test_normals_hours),
        cmocka_unit_test(test_southern_winter),
        cmocka_unit_test(test_frost_season),
        cmocka_unit_test(test_merge),
        cmocka_unit_test(test_join),
        cmocka_unit_test(test_cut),
        cmocka_unit_test(test_any_forecasts),
        cmocka_unit_test(test_quality),
        cmocka_unit_test(test_cautious),
        cmocka_unit_test(test_warning),
        cmocka_unit_test(test_deep),
    };
    return cmocka_run_group_tests_name("weather", tests, NULL, NULL);
}
