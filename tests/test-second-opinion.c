/* SPDX-License-Identifier: MIT */
/*
 * The second opinion on tonight's low, by a whole service: ten evenings read and the minima after,
 * those that Snyder and de Melo-Abreu 2005 (FAO, ch. 5) work as their example.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "service-world.h"
#include "service/api-nights.h"
#include "service/reading.h"
#include "service/second-opinion.h"

#define START                                                                                      \
    "2026-04-08T16:00:00Z"           /* sunset at 19:00 UTC, sunrise at 05:28; a little later on   \
                                      */
#define FIRST "2026-04-08T21:00:00Z" /* two hours after sunset */
#define PLOT 1

typedef struct Night {
    double evening_c, dew_point_c, low_c, cloud_pct;
} Night;

/* Snyder and de Melo-Abreu 2005, ch. 5, the worked example; then the night that is asked about. */
static const Night fao[] = {{3.2, -4.2, -3.1, 0}, {0.8, -8.8, -5.0, 0}, {0.2, -6.5, -6.3, 0},
                            {2.6, -6.2, -5.4, 0}, {4.4, -6.1, -4.0, 0}, {5.2, 2.6, -2.5, 0},
                            {2.7, -0.7, -4.8, 0}, {1.2, -1.7, -5.0, 0}, {4.5, -1.2, -4.4, 0},
                            {5.6, 0.1, -3.3, 0}};
static const Night asked = {10, 2, 0, 0};
#define ASKED_C (-0.7409219)
#define NIGHTS ((int)G_N_ELEMENTS(fao))

/* Falls evenly from the evening to 05:00 UTC, and is 4 K warmer than the evening by day. */
static double forecast_c(const Night *night, double after_h)
{
    if (after_h < 0 || after_h > 12)
        return night->evening_c + 4;
    return after_h < 8 ? night->evening_c + (night->low_c - night->evening_c) * after_h / 8
                       : night->low_c + (night->evening_c + 4 - night->low_c) * (after_h - 8) / 4;
}

/* A forecast issued now, whose next evening is at `evening_utc`; the same every night. */
static void forecast(World *w, const Night *night, int64_t evening_utc)
{
    Service *s = w->service;
    const int64_t now_utc = world_now(w);
    g_autoptr(GPtrArray) given = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
    Forecast *forecast = forecast_new(s->garden->sites[PLOT].name, "test", now_utc, now_utc);
    for (int64_t utc = now_utc - 2 * DAY_S; utc <= now_utc + 11 * DAY_S; utc += HOUR_S) {
        WeatherHour hour = weather_hour_missing(utc);
        int64_t after_s = utc - evening_utc;
        while (after_s < -6 * HOUR_S)
            after_s += DAY_S;
        while (after_s >= 18 * HOUR_S)
            after_s -= DAY_S;
        hour.temperature_c = forecast_c(night, (double)after_s / HOUR_S);
        hour.cloud_pct = night->cloud_pct;
        hour.wind_ms = 1;
        if (after_s == 0)
            hour.dew_point_c = night->dew_point_c;
        g_array_append_val(forecast->hours, hour);
    }
    g_ptr_array_add(given, forecast);
    forecasts_take(s->forecasts, PLOT, given);
    service_ask_plan(s, "forecast");
    world_run_for(w, 0);
}

static void take(World *w, StoreReadingKind kind, double value_c, gboolean moved)
{
    g_autoptr(GError) error = NULL;
    ReadingTaken taken;
    const ReadingAsked reading = {.place = -1,
                                  .site = PLOT,
                                  .kind = kind,
                                  .time_utc = world_now(w),
                                  .value_c = value_c,
                                  .moved = moved};
    if (!reading_take(w->service, &reading, &taken, &error))
        fail_msg("%s", error->message);
    service_ask_plan(w->service, "reading");
    world_run_for(w, 0);
}

/* Evening `i` of the world: the forecast at 17:00, the reading at 21:00, all UTC. */
static void evening(World *w, int i, const Night *night)
{
    const int64_t evening_utc = world_utc(FIRST) + i * (int64_t)DAY_S;
    world_run(w, evening_utc - 4 * HOUR_S);
    forecast(w, night, evening_utc);
    world_run(w, evening_utc);
    take(w, STORE_READING_INSTANT, night->evening_c, FALSE);
}

static void morning(World *w, const Night *night)
{
    world_run_for(w, 10 * HOUR_S);
    take(w, STORE_READING_MINIMUM, night->low_c, FALSE);
}

static SecondOpinion opinion_now(const World *w)
{
    g_autoptr(GError) error = NULL;
    SecondOpinion opinion;
    const int day = (int)((world_now(w) - 12 * HOUR_S) / DAY_S);
    if (!second_opinion(w->service, forecasts_learned(w->service->forecasts), PLOT, day, &opinion,
                        &error))
        fail_msg("%s", error->message);
    return opinion;
}

/* What GET /v1/weather/plot says; NULL nothing. The caller's. */
static char *told(const World *w)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(JsonObject) reply = json_object_new();
    if (!api_set_second_opinion(w->service, PLOT, reply, &error))
        fail_msg("%s", error->message);
    if (json_object_get_null_member(reply, "second_opinion"))
        return NULL;
    return g_strdup(json_object_get_string_member(
        json_object_get_object_member(reply, "second_opinion"), "text"));
}

static World *begin(int nights)
{
    World *w = world_new(world_garden, START);
    world_start(w);
    for (int i = 0; i < nights; i++) {
        evening(w, i, &fao[i]);
        morning(w, &fao[i]);
    }
    return w;
}

static void test_the_published_night(void **state)
{
    (void)state;
    World *w = begin(NIGHTS);
    assert_null(told(w)); /* this evening was not read yet */
    evening(w, NIGHTS, &asked);
    SecondOpinion opinion = opinion_now(w);
    assert_int_equal(opinion.nights, NIGHTS);
    assert_float_equal(opinion.regression_c, ASKED_C, 5e-8);
    /* 0.6311 K over the ten, of which the fit took three */
    assert_float_equal(opinion.regression_spread_k, 0.6311 * sqrt(10.0 / 7.0), 1e-4);
    assert_int_equal(opinion.from_utc, 0);
    g_autofree char *text = told(w);
    print_message("%s\n", text);
    assert_non_null(
        strstr(text, "outdoors: −0.7 °C ± 0.8 by your own 10 clear, calm evenings; the "));
    assert_non_null(strstr(text, "; the forecast says "));

    /* Half an hour is too short a fall; two hours of 3 K lead to −3 √(h/2), h to sunrise. */
    const int64_t evening_utc = world_now(w);
    world_run_for(w, HOUR_S / 2);
    take(w, STORE_READING_INSTANT, 9.6, FALSE);
    assert_int_equal(opinion_now(w).from_utc, 0);
    world_run(w, evening_utc + 2 * HOUR_S);
    take(w, STORE_READING_INSTANT, 7.0, FALSE);
    opinion = opinion_now(w);
    assert_true(opinion.from_utc == evening_utc && opinion.to_utc == world_now(w));
    const double to_sunrise_h = 8.08; /* 05:05 UTC on 19 April at 53° N 2° W, from memory */
    assert_float_equal(opinion.fall_c, 10 - 3 * sqrt(to_sunrise_h / 2), 0.05);
    g_autofree char *both = told(w);
    print_message("%s\n", both);
    assert_non_null(strstr(both, " evenings; 4.0 °C by its fall from 22:00 to 00:00; the "));

    /* The store is what it rests on. */
    world_stop(w);
    world_start(w);
    assert_float_equal(opinion_now(w).regression_c, ASKED_C, 5e-8);
    world_free(w);
}

static void test_no_basis(void **state)
{
    (void)state;
    static const Night cloudy = {10, 2, 0, 60};
    World *w = begin(7);
    /* A night under cloud, read like the others, is not one of them. */
    evening(w, 7, &cloudy);
    assert_null(told(w));
    morning(w, &cloudy);
    evening(w, 8, &asked);
    assert_int_equal(opinion_now(w).nights, 0); /* seven are too few */
    assert_null(told(w));
    morning(w, &fao[8]);
    evening(w, 9, &asked);
    assert_int_equal(opinion_now(w).nights, 8);
    morning(w, &asked);
    /* Warmer later on: it does not fall. */
    evening(w, 10, &cloudy);
    world_run_for(w, 2 * HOUR_S);
    take(w, STORE_READING_INSTANT, 8.0, FALSE);
    assert_null(told(w));
    world_run_for(w, 8 * HOUR_S);
    evening(w, 11, &asked);
    assert_int_equal(opinion_now(w).nights, 9);
    world_run_for(w, 2 * HOUR_S);
    take(w, STORE_READING_INSTANT, 10.4, FALSE);
    assert_int_equal(opinion_now(w).from_utc, 0);
    /* The thermometer hangs elsewhere: what was read before is of another corner. */
    world_run_for(w, HOUR_S);
    take(w, STORE_READING_INSTANT, 7.0, TRUE);
    assert_null(told(w));
    world_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_published_night),
        cmocka_unit_test(test_no_basis),
    };
    return cmocka_run_group_tests_name("second-opinion", tests, NULL, NULL);
}
