/* SPDX-License-Identifier: MIT */
/* The second opinion on a night's minimum, and the shape of a day, against published digits. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>

#include "climate/air.h"
#include "climate/chain-internal.h"
#include "climate/night.h"

/* Ten nights of Snyder and de Melo-Abreu 2005 (FAO), as the CRAN package "frost" prints them. */
static const NightRecord fao[] = {
    {3.2, -4.2, -3.1}, {0.8, -8.8, -5.0}, {0.2, -6.5, -6.3}, {2.6, -6.2, -5.4}, {4.4, -6.1, -4.0},
    {5.2, 2.6, -2.5},  {2.7, -0.7, -4.8}, {1.2, -1.7, -5.0}, {4.5, -1.2, -4.4}, {5.6, 0.1, -3.3},
};

static void test_regression(void **state)
{
    NightRegression r, kept;

    (void)state;
    assert_true(night_fit(fao, 10, &r));
    /* published by the package's reference page for 10 °C and a dew point of 2 °C */
    assert_float_equal(night_predict_c(&r, 10, 2), -0.7409219, 5e-8);
    /* derived from the same data by an implementation apart */
    assert_float_equal(r.on_evening, 0.5028121485, 1e-9);
    assert_float_equal(r.on_dew_point, 0.0264716445, 1e-9);
    assert_float_equal(r.constant_c, -5.821986654, 1e-8);
    assert_float_equal(r.rmse_k, 0.6311, 5e-5);
    assert_int_equal(r.n, 10);

    static const double predicted_c[] = {-4.324, -5.653, -5.893, -4.679, -3.771,
                                         -3.139, -4.483, -5.264, -3.591, -3.004};
    for (int i = 0; i < 10; i++)
        assert_float_equal(night_predict_c(&r, fao[i].evening_c, fao[i].dew_point_c),
                           predicted_c[i], 6e-4);

    /* too few, or no line through them: refused, and nothing written */
    kept = r;
    assert_false(night_fit(fao, NIGHT_RECORDS_MIN - 1, &r));
    NightRecord alike[NIGHT_RECORDS_MIN];
    for (int i = 0; i < NIGHT_RECORDS_MIN; i++)
        alike[i] = (NightRecord){2, 1, -i};
    assert_false(night_fit(alike, NIGHT_RECORDS_MIN, &r));
    assert_true(r.on_evening == kept.on_evening && r.on_dew_point == kept.on_dew_point &&
                r.constant_c == kept.constant_c && r.rmse_k == kept.rmse_k && r.n == kept.n);
}

/* Of very many nights the last hundred count. */
static void test_regression_of_many(void **state)
{
    NightRecord many[NIGHT_RECORDS_MAX + 50];
    NightRegression r;

    (void)state;
    for (int i = 0; i < NIGHT_RECORDS_MAX + 50; i++) {
        const double evening_c = i % 7, dew_point_c = -(i % 5);
        many[i] = (NightRecord){evening_c, dew_point_c, 0.5 * evening_c - 4 + (i < 50 ? 9 : 0)};
    }
    assert_true(night_fit(many, NIGHT_RECORDS_MAX + 50, &r));
    assert_int_equal(r.n, NIGHT_RECORDS_MAX);
    assert_float_equal(r.on_evening, 0.5, 1e-9);
    assert_float_equal(r.constant_c, -4, 1e-9);
    assert_float_equal(r.rmse_k, 0, 1e-9);
}

/*
 * UC Davis FP002 and FAO ch. 5, as the CRAN package "frost" prints getTrend(): hours 3 to 15 after
 * sunset, from 0.95 °C two hours after it to −5.45 °C at sunrise, and the same in Fahrenheit.
 */
static void test_trend(void **state)
{
    static const double celsius[] = {-0.8250406, -1.5602865, -2.1244606, -2.6000813, -3.0191115,
                                     -3.3979438, -3.7463161, -4.0705731, -4.3751219, -4.6631713,
                                     -4.9371438, -5.1989211, -5.4500000};
    static const double fahrenheit[] = {30.51047, 29.18933, 28.17558, 27.32095, 26.56800,
                                        25.88729, 25.26131, 24.67866, 24.13142, 23.61383,
                                        23.12154, 22.65116, 22.20000};

    (void)state;
    for (int i = 0; i < 13; i++) {
        const double since_h = i + 3 - NIGHT_EVENING_H, length_h = 15 - NIGHT_EVENING_H;
        assert_float_equal(night_trend_c(0.95, -5.45, since_h, length_h), celsius[i], 5e-8);
        assert_float_equal(night_trend_c(33.7, 22.2, since_h, length_h), fahrenheit[i], 5e-6);
        /* and back: any hour read leads to the same minimum */
        assert_float_equal(night_trend_low_c(0.95, celsius[i], since_h, length_h), -5.45, 3e-7);
    }
}

static void test_radiative(void **state)
{
    const OutdoorStep calm = {.wind_ms = 1, .cloud = 0.1, .precipitation_mm = 0};
    OutdoorStep windy = calm, cloudy = calm, wet = calm, unknown = calm;

    (void)state;
    windy.wind_ms = 2;
    cloudy.cloud = 0.25;
    wet.precipitation_mm = 0.2;
    unknown.precipitation_mm = NAN;
    assert_true(night_is_radiative(&calm) && night_is_radiative(&unknown));
    assert_false(night_is_radiative(&windy) || night_is_radiative(&cloudy) ||
                 night_is_radiative(&wet));
}

#define HOUR 3600
typedef double Shape(int64_t, int64_t, int64_t, int64_t, double, double, double);

/* Both shapes of a day: the low and the high are met, and nothing jumps, over a year of days. */
static void test_shapes(void **state)
{
    static Shape *const shapes[] = {air_linvill_c, air_parton_logan_c};
    static const double low_after_h[] = {0, -0.17};

    (void)state;
    for (int s = 0; s < 2; s++) {
        for (int length_h = 7; length_h <= 17; length_h++) {
            const int64_t rise = 6 * HOUR, set = rise + length_h * HOUR, next = rise + 24 * HOUR;
            const int64_t low_at = (int64_t)(low_after_h[s] * HOUR);
            double least = INFINITY, most = -INFINITY, before_c = NAN;
            for (int64_t t = rise + low_at; t <= next + low_at; t += 60) {
                const double c = shapes[s](t, rise, set, next, 2, 14, -1);
                assert_true(isnan(before_c) || fabs(c - before_c) < 0.3);
                before_c = c;
                least = fmin(least, c);
                most = fmax(most, c);
            }
            assert_float_equal(most, 14, 1e-3);
            assert_float_equal(least, -1, 0.02);
            assert_float_equal(shapes[s](rise + low_at, rise, set, next, 2, 14, -1), 2, 0.02);
        }
    }
}

/* Parton and Logan worked by hand: a day of 12 h, 0 to 10 °C; the sine has 15.72 h. */
static void test_parton_logan(void **state)
{
    const int64_t rise = 6 * HOUR, set = 18 * HOUR, next = 30 * HOUR;
    const double pi = 3.14159265358979323846;
    const double at_set_c = 10 * sin(pi * 12.17 / 15.72);

    (void)state;
    /* the high at 6 + 7.86 − 0.17 = 13.69 h */
    assert_float_equal(air_parton_logan_c((int64_t)(13.69 * HOUR), rise, set, next, 0, 10, 0), 10,
                       1e-6);
    assert_float_equal(air_parton_logan_c(9 * HOUR, rise, set, next, 0, 10, 0),
                       10 * sin(pi * 3.17 / 15.72), 1e-9);
    assert_float_equal(air_parton_logan_c(set, rise, set, next, 0, 10, 0), at_set_c, 1e-9);
    /* half the night of 11.83 h: (e^−1.1 − e^−2.2) / (1 − e^−2.2) of the fall is left */
    assert_float_equal(
        air_parton_logan_c(set + (int64_t)(11.83 / 2 * HOUR), rise, set, next, 0, 10, 0),
        at_set_c * (0.33287108 - 0.11080316) / (1 - 0.11080316), 1e-3);
}

/* A leaf in the open at night: colder than the air by 0.5 to 4 K under a clear sky (from memory of
 * ground frosts), as the air under thick cloud, and the nearer the more wind. */
static void test_leaf_at_night(void **state)
{
    (void)state;
    for (int air_c = -5; air_c <= 15; air_c += 5) {
        for (int spread_k = 1; spread_k <= 9; spread_k += 4) {
            const double dew_c = air_c - spread_k;
            const double clear_c = air_sky_c(air_c, dew_c, 0), dull_c = air_sky_c(air_c, dew_c, 1);
            const double floor_c = air_c + 1;
            double before_k = INFINITY;
            for (int wind = 0; wind <= 8; wind++) {
                const double below_k = air_c - leaf_c(air_c, clear_c, floor_c, 0, 0.5 * wind);
                assert_true(wind > 2 || (below_k > 0.5 && below_k < 4));
                assert_true(below_k > 0 && below_k <= before_k);
                before_k = below_k;
                assert_float_equal(leaf_c(air_c, dull_c, floor_c, 0, 0.5 * wind), air_c, 0.2);
            }
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_regression),    cmocka_unit_test(test_regression_of_many),
        cmocka_unit_test(test_trend),         cmocka_unit_test(test_radiative),
        cmocka_unit_test(test_shapes),        cmocka_unit_test(test_parton_logan),
        cmocka_unit_test(test_leaf_at_night),
    };
    return cmocka_run_group_tests_name("night", tests, NULL, NULL);
}
