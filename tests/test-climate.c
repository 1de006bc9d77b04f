/* SPDX-License-Identifier: MIT */
/* Sun, humidity, sky and hourly weather, against published figures. */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <time.h>

#include "climate/air.h"
#include "climate/sun.h"

static int64_t utc(int year, int month, int day, int hour, int minute, int second)
{
    struct tm tm = {
        .tm_year = year - 1900,
        .tm_mon = month - 1,
        .tm_mday = day,
        .tm_hour = hour,
        .tm_min = minute,
        .tm_sec = second,
    };
    return timegm(&tm);
}

/* The worked example of Reda and Andreas 2003 (NREL/TP-560-34302); equation of time as pvlib tests
 * it. */
static void test_sun_position(void **state)
{
    (void)state;
    const SunPosition sun = sun_position(utc(2003, 10, 17, 19, 30, 30), 39.742476, -105.1786);

    assert_float_equal(90 - sun.elevation_deg, 50.111622 + 0.016332, 0.02); /* without refraction */
    assert_float_equal(sun.azimuth_deg, 194.340241, 0.02);
    assert_float_equal(sun.declination_deg, -9.31434, 0.01);
    assert_float_equal(sun.equation_of_time_min, 14.64, 0.02);
    assert_float_equal(sun.distance_au, 0.996542, 1e-4);

    /* Meeus, example 25.a, from memory: 1992-10-13 0 h */
    assert_float_equal(sun_position(utc(1992, 10, 13, 0, 0, 0), 0, 0).declination_deg, -7.78507,
                       0.01);
}

typedef struct Event {
    const char *sentence;
    double latitude, longitude;
    int year, month, day, zone_h;
    int rise_s, set_s; /* of the local day; -1 not published */
    int within_s;
} Event;

#define AT(hour, minute, second) ((hour)*3600 + (minute)*60 + (second))

static const Event events[] = {
    /*
     * The NREL example prints 06:12:43 and 17:20:19. It works on the day of universal time, so its
     * sunset is that of the evening before by the local calendar; a day later the sun sets 87 s
     * earlier.
     */
    {"NREL example, Golden, rise", 39.742476, -105.1786, 2003, 10, 17, -7, AT(6, 12, 43), -1, 20},
    {"NREL example, Golden, set", 39.742476, -105.1786, 2003, 10, 16, -7, -1, AT(17, 20, 19), 20},
    {"SPA report, south, winter", -35, 0, 1996, 7, 5, 0, AT(7, 8, 15), AT(17, 1, 4), 20},
    {"SPA report, south, summer", -35, 0, 2004, 12, 4, 0, AT(4, 38, 57), AT(19, 2, 2), 20},
    {"SPA report, north, winter", 35, 0, 1994, 1, 2, 0, AT(7, 8, 12), AT(16, 59, 55), 20},
    {"USNO, Colorado, January", 39, -105, 2015, 1, 2, -7, AT(7, 19, 0), AT(16, 49, 0), 60},
    {"USNO, Colorado, April", 39, -105, 2015, 4, 2, -7, AT(5, 43, 0), AT(18, 24, 0), 60},
    {"USNO, Colorado, August", 39, -105, 2015, 8, 2, -7, AT(5, 1, 0), AT(19, 10, 0), 60},
    {"USNO, Colorado, December", 39, -105, 2015, 12, 2, -7, AT(7, 1, 0), AT(16, 38, 0), 60},
    {"USNO, Beijing, January", 39.917, 116.383, 2015, 1, 2, 8, AT(7, 36, 0), AT(17, 0, 0), 60},
    {"USNO, Beijing, April", 39.917, 116.383, 2015, 4, 2, 8, AT(5, 58, 0), AT(18, 39, 0), 60},
    {"USNO, Beijing, August", 39.917, 116.383, 2015, 8, 2, 8, AT(5, 13, 0), AT(19, 28, 0), 60},
    {"USNO, Beijing, December", 39.917, 116.383, 2015, 12, 2, 8, AT(7, 17, 0), AT(16, 50, 0), 60},
    /* published almanac, which rounds to the minute; Philadelphia, 39.95 N 75.17 W */
    {"almanac, June", 39.95, -75.17, 2025, 6, 21, -4, -1, AT(20, 32, 0), 120},
    {"almanac, December", 39.95, -75.17, 2025, 12, 21, -5, -1, AT(16, 38, 0), 120},
    {"almanac, March", 39.95, -75.17, 2025, 3, 20, -4, -1, AT(19, 12, 0), 120},
    {"almanac, November", 39.95, -75.17, 2025, 11, 2, -5, -1, AT(16, 57, 0), 120},
};

static void test_sun_rise_set(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof events / sizeof events[0]; i++) {
        const Event *e = &events[i];
        const int64_t midnight = utc(e->year, e->month, e->day, 0, 0, 0) - e->zone_h * 3600;
        const int64_t noon = sun_noon_utc(midnight + 43200, e->longitude);
        int64_t rise = 0, set = 0;

        print_message("# %s\n", e->sentence);
        assert_true(sun_rise_set(noon, e->latitude, e->longitude, SUN_HORIZON_DEG, &rise, &set));
        if (e->rise_s >= 0)
            assert_in_range(llabs(rise - midnight - e->rise_s), 0, e->within_s);
        if (e->set_s >= 0)
            assert_in_range(llabs(set - midnight - e->set_s), 0, e->within_s);
        /* the event is where the sun's centre is at that elevation */
        assert_float_equal(sun_position(set, e->latitude, e->longitude).elevation_deg,
                           SUN_HORIZON_DEG, 0.01);
        assert_true(rise < noon && noon < set);
    }
}

static void test_polar(void **state)
{
    (void)state;
    int64_t rise = 7, set = 8;
    const int64_t june = sun_noon_utc(utc(2026, 6, 21, 12, 0, 0), 20);
    const int64_t december = sun_noon_utc(utc(2026, 12, 21, 12, 0, 0), 20);

    assert_false(sun_rise_set(june, 70, 20, SUN_HORIZON_DEG, &rise, &set));
    assert_false(sun_rise_set(december, 70, 20, SUN_HORIZON_DEG, &rise, &set));
    assert_int_equal(rise, 7);
    assert_int_equal(set, 8);
    /* the polar night has its twilight */
    assert_true(sun_rise_set(december, 70, 20, SUN_CIVIL_DEG, &rise, &set));
    assert_true(sun_extraterrestrial_mj(70, 355) == 0);
    assert_true(sun_extraterrestrial_mj(70, 172) > 40);
}

static void test_noon(void **state)
{
    (void)state;
    const unsigned seed = (unsigned)time(NULL);

    print_message("# seed %u\n", seed);
    srand(seed);
    for (int i = 0; i < 2000; i++) {
        const double longitude = -180 + 360.0 * rand() / RAND_MAX;
        const int64_t t = utc(2020, 1, 1, 0, 0, 0) + (int64_t)(3e8 * rand() / RAND_MAX);
        const int64_t noon = sun_noon_utc(t, longitude);

        /* nearest: equation of time changes by less than a minute in half a day */
        assert_in_range(llabs(noon - t), 0, 43260);
        assert_in_range(llabs(sun_noon_utc(noon, longitude) - noon), 0, 1);
        /* in the south at 60 N, to a second of the earth's turn */
        assert_float_equal(sun_position(noon, 60, longitude).azimuth_deg, 180, 0.02);
    }
}

static void test_clear_sky(void **state)
{
    (void)state;
    /* Haurwitz 1945: 1098 cos z exp(−0.059 / cos z) */
    static const double rows[][2] = {
        {0, 1035.092}, {20, 968.992}, {30, 888.271},        {45, 714.250},
        {60, 487.894}, {75, 226.255}, {50.111622, 642.250}, {85, 48.630},
    };
    const double pi = 3.14159265358979323846;

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_float_equal(sun_haurwitz_wm2(cos(rows[i][0] * pi / 180)), rows[i][1], 6e-4);

    const int64_t t = utc(2003, 10, 17, 19, 30, 30);
    assert_float_equal(sun_clear_sky_wm2(t, 39.742476, -105.1786), 642.25, 0.4);
    assert_true(sun_clear_sky_wm2(t + 43200, 39.742476, -105.1786) == 0);

    /* the mean over a day is that of its seconds, and close to Rso = 0.75 Ra (FAO-56 eq. 37 at sea
     * level) */
    const int64_t midnight = utc(2026, 4, 15, 0, 0, 0);
    double sum = 0;
    for (int s = 0; s < 86400; s += 60)
        sum += sun_clear_sky_wm2(midnight + s, 53, 0) / 1440;
    const double mean = sun_clear_sky_mean_wm2(midnight, midnight + 86400, 53, 0);
    assert_float_equal(mean, sum, 0.2);
    assert_float_equal(mean * 0.0864 / (0.75 * sun_extraterrestrial_mj(53, 105)), 1, 0.1);
}

static void test_fao56(void **state)
{
    (void)state;
    /* Allen et al. 1998: example 3, page 69 */
    assert_float_equal((air_saturation_kpa(15) + air_saturation_kpa(24.5)) / 2, 2.39, 0.005);
    /* example 20, page 121 */
    assert_float_equal(air_saturation_kpa(14.8), 1.68, 0.005);
    /* example 4 (page 70): saturation at the wet bulb, then the psychrometer */
    assert_float_equal(air_saturation_kpa(19.5) - 0.000662 * 87.9 * (25.6 - 19.5), 1.91, 0.005);
    /* the equation's own digits */
    static const double rows[][2] = {{0, 0.6108},  {5, 0.8723},  {10, 1.2280},
                                     {15, 1.7053}, {20, 2.3383}, {30.2, 4.2920}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_float_equal(air_saturation_kpa(rows[i][0]), rows[i][1], 5e-5);
    for (int half = -60; half <= 90; half++)
        assert_float_equal(air_dew_point_c(air_saturation_kpa(half / 2.0)), half / 2.0, 1e-9);
    /* the manual's own dew point formula has rounded coefficients: 16.765 and 14.760 */
    assert_float_equal(air_dew_point_c(1.91), 16.765, 0.06);
    assert_float_equal(air_dew_point_c(1.68), 14.760, 0.06);
    /* examples 8 (page 80) and the clear-sky radiation page of NCL */
    assert_float_equal(sun_extraterrestrial_mj(-20, 246), 32.2, 0.05);
    assert_float_equal(sun_extraterrestrial_mj(-22.9, 135), 25.111, 0.05);
    /* example 15, page 98 */
    assert_float_equal(air_hargreaves_mj(40.6, 14.8, 26.6, 0.16), 22.3, 0.05);
    assert_true(air_hargreaves_mj(40.6, 5, 4, 0.16) == 0);
}

static void test_sky(void **state)
{
    (void)state;
    /* calibrated Berdahl-Martin (Li, Jiang and Coimbra 2017), its digits: air, dew point,
     * emissivity, sky */
    static const double rows[][4] = {{15, 10, .8164, 0.75},
                                     {10, 5, .7856, -6.58},
                                     {5, 0, .7580, -13.61},
                                     {0, -5, .7335, -20.36}};

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        assert_float_equal(air_sky_emissivity(rows[i][1], 0), rows[i][2], 5.1e-5);
        assert_float_equal(air_sky_c(rows[i][0], rows[i][1], 0), rows[i][3], 0.01);
    }
    /* EnergyPlus's worked example of another model (Clark and Allen) bounds it: 20 °C, dew point 10
     * °C, 0.815 */
    assert_float_equal(air_sky_emissivity(10, 0), 0.815, 0.05);
    /* cloud closes nine tenths of the gap (Eicker and Dalibard 2011) */
    assert_float_equal(air_sky_emissivity(0, 1), 0.758 + 0.9 * 0.242, 1e-12);
    for (int tenth = 0; tenth < 10; tenth++)
        assert_true(air_sky_c(5, 2, (tenth + 1) / 10.0) > air_sky_c(5, 2, tenth / 10.0) &&
                    air_sky_c(5, 2, tenth / 10.0) < 5);
}

static void test_linvill(void **state)
{
    (void)state;
    const int64_t rise = utc(2026, 4, 15, 5, 10, 0), set = rise + 14 * 3600, next = rise + 86280;

    assert_float_equal(air_linvill_c(rise, rise, set, next, 2, 14, 5), 2, 1e-12);
    /* the high comes two hours after the middle of the day */
    assert_float_equal(air_linvill_c(rise + 9 * 3600, rise, set, next, 2, 14, 5), 14, 1e-12);
    /* continuous at sunset and at the next sunrise */
    assert_float_equal(air_linvill_c(set, rise, set, next, 2, 14, 5),
                       air_linvill_c(set + 1, rise, set, next, 2, 14, 5), 0.01);
    assert_float_equal(air_linvill_c(next, rise, set, next, 2, 14, 5), 5, 1e-9);
    for (int64_t t = rise; t <= next; t += 600) {
        const double c = air_linvill_c(t, rise, set, next, 2, 14, 5);
        assert_true(c >= 2 - 1e-9 && c <= 14 + 1e-9);
    }
}

static void make_hours(WeatherHour *hours, size_t n, int64_t start)
{
    for (size_t i = 0; i < n; i++)
        hours[i] = (WeatherHour){
            .time_utc = start + (int64_t)i * 3600,
            .temperature_c = (double)i,
            .dew_point_c = -1,
            .cloud_pct = 50,
            .wind_ms = 2.0 * (double)i,
            .gust_ms = 30 + (double)i,
            .radiation_wm2 = 100.0 * (double)i,
            .precipitation_mm = 1.0 + (double)i,
            .spread_k = 1.5,
            .estimated = i == 2 ? EST_CLOUD : 0,
        };
}

static void test_outdoor_steps(void **state)
{
    (void)state;
    WeatherHour hours[4];
    OutdoorStep steps[7];
    const int64_t start = utc(2026, 4, 15, 0, 0, 0);

    make_hours(hours, 4, start);
    assert_true(air_outdoor_steps(hours, 4, start, 6, steps));
    for (int k = 0; k <= 6; k++) {
        assert_float_equal(steps[k].air_c, 0.5 * k, 1e-12);
        assert_float_equal(steps[k].wind_ms, 1.0 * k, 1e-12);
        assert_float_equal(steps[k].cloud, 0.5, 1e-12);
        assert_float_equal(steps[k].sky_c, air_sky_c(0.5 * k, -1, 0.5), 1e-12);
        assert_float_equal(steps[k].spread_k, 1.5, 1e-12);
        if (k == 6)
            break;
        /* period values are those of the hour that ends after the step */
        assert_float_equal(steps[k].radiation_wm2, 100.0 * (k / 2 + 1), 1e-12);
        assert_float_equal(steps[k].gust_ms, 30 + k / 2 + 1, 1e-12);
        assert_float_equal(steps[k].precipitation_mm, (2 + k / 2) / 2.0, 1e-12);
    }
    assert_true(isnan(steps[6].radiation_wm2));
    assert_int_equal(steps[0].estimated, 0);
    assert_int_equal(steps[2].estimated, EST_CLOUD);

    hours[3].gust_ms = hours[3].precipitation_mm = NAN;
    assert_true(air_outdoor_steps(hours, 4, start, 6, steps));
    assert_float_equal(steps[5].gust_ms, 1.6 * steps[5].wind_ms, 1e-12);
    assert_true(steps[5].precipitation_mm == 0);
    /* a series may begin inside a step's hour */
    assert_true(air_outdoor_steps(hours, 4, start + 1800, 5, steps));
    assert_float_equal(steps[0].air_c, 0.5, 1e-12);
    assert_true(air_outdoor_steps(hours, 1, start, 0, steps));
}

static void refuse(const WeatherHour *hours, size_t n_hours, int64_t start, size_t n,
                   const char *why)
{
    OutdoorStep steps[9] = {{.air_c = -77}};

    print_message("# refused: %s\n", why);
    assert_false(air_outdoor_steps(hours, n_hours, start, n, steps));
    assert_true(steps[0].air_c == -77);
}

static void test_outdoor_steps_refused(void **state)
{
    (void)state;
    const int64_t start = utc(2026, 4, 15, 0, 0, 0);
    static const size_t fields[] = {
        offsetof(WeatherHour, temperature_c), offsetof(WeatherHour, dew_point_c),
        offsetof(WeatherHour, cloud_pct),     offsetof(WeatherHour, wind_ms),
        offsetof(WeatherHour, radiation_wm2),
    };
    WeatherHour hours[4];

    make_hours(hours, 4, start);
    refuse(hours, 4, start, 7, "one step too long");
    refuse(hours, 4, start - 1800, 2, "begins too early");
    refuse(hours, 0, start, 0, "empty");
    for (size_t f = 0; f < sizeof fields / sizeof fields[0]; f++) {
        make_hours(hours, 4, start);
        *(double *)((char *)&hours[3] + fields[f]) = NAN;
        refuse(hours, 4, start, 6, "a field is missing");
    }
    make_hours(hours, 4, start);
    hours[2] = hours[3];
    refuse(hours, 3, start, 6, "an hour is missing");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sun_position),  cmocka_unit_test(test_sun_rise_set),
        cmocka_unit_test(test_polar),         cmocka_unit_test(test_noon),
        cmocka_unit_test(test_clear_sky),     cmocka_unit_test(test_fao56),
        cmocka_unit_test(test_sky),           cmocka_unit_test(test_linvill),
        cmocka_unit_test(test_outdoor_steps), cmocka_unit_test(test_outdoor_steps_refused),
    };
    return cmocka_run_group_tests_name("climate", tests, NULL, NULL);
}
