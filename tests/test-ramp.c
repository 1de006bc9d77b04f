/* SPDX-License-Identifier: MIT */
/* The laws of the ramp, one by one. */
#include "ramp-crops.h"

static void test_begin(void **unused)
{
    (void)unused;
    RampState state = begun(&crops[TOMATO]);
    assert_true(state.hardened_to_c == 15);
    assert_true(state.frost_tolerance == 0);
    assert_int_equal(state.exposure_days, 0);
    assert_int_equal(state.hold_days, 0);
    assert_int_equal(state.day_start_utc, START_UTC);
    assert_int_equal(ramp_nights_had(&state, 99), 0);
    assert_true(ramp_allowed_low_c(&crops[TOMATO], &state) == 12);
}

/* ---- H: the coldest ten hours, and checks ---- */

static void test_known_points(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        int crop;
        double day_c, night_c, cold_c;
        bool check;
    } rows[] = {
        {"cabbage from 15 °C straight into a 6 °C night", CABBAGE, 15, 6, 6, true},
        {"leek from 15 °C straight into a 6 °C night", LEEK, 15, 6, 6, true},
        {"onion from 15 °C straight into a 6 °C night", ONION, 15, 6, 6, true},
        {"celery from 15 °C straight into a 6 °C night", CELERY, 15, 6, 6, true},
        {"tomato from 15 °C straight into a 6 °C night", TOMATO, 15, 6, 6, true},
        {"courgette from 15 °C straight into a 6 °C night", COURGETTE, 15, 6, 6, true},
        {"sweet corn from 15 °C straight into a 6 °C night", CORN, 15, 6, 6, true},
        {"bean from 15 °C straight into a 6 °C night", BEAN, 15, 6, 6, true},
        {"pepper from 15 °C straight into a 6 °C night", PEPPER, 15, 6, 6, true},
        {"basil from 15 °C straight into a 6 °C night", BASIL, 15, 6, 6, true},
        {"sweet pea, grown on at 8 °C, takes a 6 °C night", SWEET_PEA, 15, 6, 6, false},
        {"lettuce, grown on at 8 °C, takes a 6 °C night", LETTUCE, 15, 6, 6, false},
        {"tomato from a 16 °C house into a steady 14 °C", TOMATO, 14, 14, 14, false},
        {"cabbage in a dull 11 °C tunnel", CABBAGE, 11, 11, 11, false},
        {"a night at just the allowed low is within the drop", CABBAGE, 15, 7.5, 7.5, false},
        {"a tenth of a degree below the allowed low is not", CABBAGE, 15, 7.4, 7.4, true},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const Crop *crop = &crops[rows[i].crop];
        RampState state = begun(crop);
        RampDay day = live(crop, &state, (Day){rows[i].day_c, rows[i].night_c, 0, 1});
        if (day.check != rows[i].check || fabs(day.cold_c - rows[i].cold_c) > 1e-9)
            fail_msg("%s: check %d, C %g", rows[i].sentence, day.check, day.cold_c);
        assert_true(day.check == (day.excess_kh > 0));
        assert_true(day.check == (state.hold_days > 0));
    }
}

static void test_cold(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        int n, n_cold;
        double warm_c, low_c, hardened_to_c, cold_c;
    } rows[] = {
        {"an outing of three hours 5 K below H is 15 K·h, a tenth of it its fall", 48, 6, 15, 5, 10,
         8.5},
        {"ten hours 5 K below H fall by all of it", 48, 20, 15, 5, 10, 5},
        {"more than ten hours count as ten", 48, 30, 15, 5, 10, 5},
        {"nothing below H: the mean of the coldest ten hours", 48, 10, 15, 11, 10, 13},
        {"a long ramp day is no colder for its length", 60, 20, 15, 5, 10, 5},
        {"of eight hours all count, and Q is divided by eight", 16, 8, 15, 5, 10, 7.5},
        {"a single half-hour stands for itself", 1, 1, 15, 4, 10, 4},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double air_c[RAMP_DAY_STEPS_MAX];
        for (int k = 0; k < rows[i].n; k++) /* the cold ones spread; 7 divides no n here */
            air_c[k] = (k * 7 % rows[i].n) < rows[i].n_cold ? rows[i].low_c : rows[i].warm_c;
        double cold_c = ramp_cold_c(air_c, rows[i].n, rows[i].hardened_to_c);
        if (fabs(cold_c - rows[i].cold_c) > 1e-9)
            fail_msg("%s: C %g", rows[i].sentence, cold_c);
    }
    double none[2] = {NAN, NAN};
    assert_true(isnan(ramp_cold_c(none, 2, 10)));
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void test_cold_against_sorting(void **unused)
{
    (void)unused;
    random_begin("coldest ten hours");
    for (int round = 0; round < 2000; round++) {
        double air_c[RAMP_DAY_STEPS_MAX], sorted[RAMP_DAY_STEPS_MAX];
        int n = random_day(air_c, random_in(-4, 14), random_in(0, 12));
        double hardened_to_c = random_in(0, 16), below_kh = 0, sum_c = 0;
        for (int i = 0; i < n; i++)
            sorted[i] = air_c[i];
        qsort(sorted, (size_t)n, sizeof *sorted, by_value);
        for (int i = 0; i < 20; i++) {
            below_kh += fmax(0, hardened_to_c - sorted[i]) / 2;
            sum_c += sorted[i];
        }
        double cold_c = below_kh > 0 ? hardened_to_c - below_kh / 10 : sum_c / 20;
        assert_true(fabs(ramp_cold_c(air_c, n, hardened_to_c) - cold_c) < 1e-9);

        int at = (int)random_in(0, n);
        air_c[at] += random_in(0, 5);
        assert_true(ramp_cold_c(air_c, n, hardened_to_c) >= cold_c - 1e-9);
    }
}

static void test_follows_cold(void **unused)
{
    (void)unused;
    const Crop *crop = &crops[CABBAGE];
    RampState state = begun(crop);
    int days = 0;
    while (state.hardened_to_c > 6 && days < 10) {
        double before_c = state.hardened_to_c;
        RampDay day = live(crop, &state, (Day){12, 6, 0, 1});
        assert_true(before_c - state.hardened_to_c <= 2.5 + 1e-9);
        assert_true(day.cold_c == 6);
        days++;
    }
    assert_int_equal(days, 2); /* 10 to 7.5 to 6 */
    assert_true(state.hardened_to_c == 6);
    live(crop, &state, (Day){12, 6, 0, 1});
    assert_true(state.hardened_to_c == 6); /* reached exactly, and kept */
    live(crop, &state, (Day){12, 8, 0, 1});
    assert_true(fabs(state.hardened_to_c - 6.5) < 1e-9); /* a warm night softens by a quarter */
    for (int i = 0; i < 60; i++)
        live(crop, &state, (Day){20, 18, 0, 1});
    assert_true(state.hardened_to_c == 10); /* never above the growing-on night */
    for (int i = 0; i < 20; i++)
        live(crop, &state, (Day){-4, -8, 0, 1});
    assert_true(state.hardened_to_c == -2); /* nor below the hardened floor */
}

static void test_hold(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        double night_c, excess_kh;
        int hold_days;
    } rows[] = {
        {"within the drop: no hold", 8, 0, 0},
        {"5 K·h over a budget of 25: one day", 7, 5, 1},
        {"just one budget over: one day", 5, 25, 1},
        {"a little more than one budget over: two days", 4.9, 26, 2},
        {"below the floor of 3 °C too: 55 and 20 K·h, three days", 2, 65, 3},
        {"far below: never more than five days", -6, 225, 5},
    };
    const Crop *crop = &crops[CABBAGE];
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        RampState state = begun(crop);
        RampDay day = live(crop, &state, (Day){15, rows[i].night_c, 0, 1});
        if (fabs(day.excess_kh - rows[i].excess_kh) > 1e-9 || state.hold_days != rows[i].hold_days)
            fail_msg("%s: %g K·h, %d days", rows[i].sentence, day.excess_kh, state.hold_days);
    }
}

/* Whatever the decimals of H: just within is no check, and just one budget over holds one day. */
static void test_rounding(void **unused)
{
    (void)unused;
    const Crop *crop = &crops[CABBAGE];
    for (int tenths = 81; tenths < 100; tenths++) {
        RampState state = begun(crop);
        state.hardened_to_c = tenths / 10.0;
        assert_false(live(crop, &state, (Day){15, (tenths - 25) / 10.0, 0, 1}).check);
        state = begun(crop);
        state.hardened_to_c = tenths / 10.0;
        assert_true(live(crop, &state, (Day){15, (tenths - 50) / 10.0, 0, 1}).check);
        assert_int_equal(state.hold_days, 1);
    }
}

static void test_held(void **unused)
{
    (void)unused;
    const Crop *crop = &crops[CABBAGE];
    RampState state = begun(crop);
    live(crop, &state, (Day){15, 4.9, 0, 1});
    assert_int_equal(state.hold_days, 2);
    assert_true(ramp_allowed_low_c(crop, &state) == state.hardened_to_c);

    RampDay day = live(crop, &state, (Day){5, 5, 8, 0});
    assert_false(day.used);
    assert_int_equal(state.exposure_days, 0); /* X does not rise */
    assert_true(state.frost_tolerance == 0);  /* nor f, at a steady 5 °C */
    assert_true(state.hardened_to_c == 5);    /* H still moves: 7.5, and 2.5 K allowed */
    assert_int_equal(state.hold_days, 1);     /* one day is over; within the drop, no new check */
    live(crop, &state, (Day){5, 5, 8, 0});
    assert_int_equal(state.hold_days, 0);
    day = live(crop, &state, (Day){5, 5, 8, 0});
    assert_true(day.used);
    assert_int_equal(state.exposure_days, 1);
    assert_true(state.frost_tolerance > 0.2);
    state = begun(crop);
    state.hold_days = 5;
    assert_true(live(crop, &state, (Day){15, 7, 0, 1}).check);
    assert_int_equal(state.hold_days, 4); /* the longer of the old hold and one day more */
    for (int i = 0; i < 6; i++)
        live(crop, &state, (Day){6, 6, 0, 1});
    state.hold_days = 2;
    double before = state.frost_tolerance;
    live(crop, &state, (Day){22, 18, 0, 1});
    assert_true(state.frost_tolerance < before); /* held, it is still lost to warmth */
}

/* ---- X ---- */

static void test_used_days(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        int exposure_days, unused_days;
        double open_h;
        int after, unused_after;
    } rows[] = {
        {"day 1 needs one hour", 0, 0, 1, 1, 0},
        {"and not less", 0, 0, 0.5, 0, 1},
        {"more than the allowance is still one day", 0, 0, 9, 1, 0},
        {"day 4 needs 3.25 hours", 3, 2, 3.25, 4, 0},
        {"and not less", 3, 0, 3, 3, 1},
        {"complete at six", 6, 0, 10, 6, 0},
        {"a third unused day in a row costs nothing", 4, 2, 0, 4, 3},
        {"the fourth costs a day", 4, 3, 0, 3, 4},
        {"and so does each more", 4, 7, 0, 3, 8},
        {"never below none", 0, 9, 0, 0, 10},
    };
    const Crop *crop = &crops[CABBAGE];
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        RampState state = begun(crop);
        state.exposure_days = rows[i].exposure_days;
        state.unused_days = rows[i].unused_days;
        RampDay day = live(crop, &state, (Day){12, 10, rows[i].open_h, 1});
        if (state.exposure_days != rows[i].after || state.unused_days != rows[i].unused_after)
            fail_msg("%s: X %d, unused %d", rows[i].sentence, state.exposure_days,
                     state.unused_days);
        assert_true(day.used == (rows[i].unused_after == 0));
        assert_true(fabs(day.exposed_h - rows[i].open_h) < 1e-9);
    }
    RampState state = begun(crop);
    for (int i = 0; i < 48; i++) {
        RampStep step = {.air_c = 12, .leaf_c = 12, .exposure_weight = i < 20, .night = i >= 28};
        ramp_step(crop, &step, &state);
    }
    assert_false(ramp_close_day(crop, false, START_UTC + DAY_S, &state).used);
    assert_int_equal(state.exposure_days, 0); /* X counts only in hardening */
    assert_int_equal(state.unused_days, 0);
}

/* A day of 12 hours, shut until one hour after sunrise: 11 hours of light to the sunset. */
static void test_scorch_limit(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        int exposure_days;
        double daylight_h, weight;
        bool within;
    } rows[] = {
        {"half open all day is possible on the first day", 0, 11, 0.5, true},
        {"in May too", 0, 15, 0.5, true},
        {"open all day is not", 0, 11, 1, false},
        {"nor more than half", 0, 11, 0.6, false},
        {"nor with three days used", 3, 11, 1, false},
        {"open all day is possible from the fourth used one on", 4, 11, 1, true},
        {"in June too", 4, 17, 1, true},
        {"and when complete", 6, 11, 1, true},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        RampState state = begun(&crops[CABBAGE]);
        state.exposure_days = rows[i].exposure_days;
        state.exposed_h = rows[i].daylight_h * rows[i].weight;
        if (ramp_scorches(&state, rows[i].weight) == rows[i].within)
            fail_msg("%s", rows[i].sentence);
    }
}

static void test_limits(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        int crop, exposure_days;
        double hardened_to_c, drop_k, floor_c, allowance_h, gust_ms;
    } rows[] = {
        {"cabbage off the heat: first drop, soft floor", CABBAGE, 0, 10, 2.5, 3, 2, 8},
        {"half of the four days: half way to the later drop", CABBAGE, 2, 10, 3.75, 3 - 5 / 3.0, 5,
         8},
        {"four days used: the later drop", CABBAGE, 4, 10, 5, 3 - 10 / 3.0, 8, 11},
        {"hardened by cold alone: the hardened floor", CABBAGE, 0, -2, 2.5, -2, 2, 8},
        {"hardened by exposure alone: the hardened floor", CABBAGE, 6, 10, 5, -2, 10, 15},
        {"the larger of the two shares counts", CABBAGE, 3, 1, 4.375, -0.75, 6.5, 11},
        {"celery: one floor, soft or hard", CELERY, 3, 11, 2, 10, 6.5, 11},
        {"tomato half way by cold", TOMATO, 0, 10.5, 3, 7.5, 2, 8},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const Crop *crop = &crops[rows[i].crop];
        RampState state = begun(crop);
        state.exposure_days = rows[i].exposure_days;
        state.hardened_to_c = rows[i].hardened_to_c;
        double low_c = fmax(rows[i].hardened_to_c - rows[i].drop_k, rows[i].floor_c);
        if (fabs(ramp_drop_k(crop, &state) - rows[i].drop_k) > 1e-9 ||
            fabs(ramp_floor_c(crop, &state) - rows[i].floor_c) > 1e-9 ||
            fabs(ramp_allowed_low_c(crop, &state) - low_c) > 1e-9 ||
            fabs(ramp_allowance_h(&state) - rows[i].allowance_h) > 1e-9 ||
            fabs(ramp_gust_limit_ms(&state) - rows[i].gust_ms) > 1e-9)
            fail_msg("%s: drop %g, floor %g", rows[i].sentence, ramp_drop_k(crop, &state),
                     ramp_floor_c(crop, &state));
    }
    RampState state = begun(&crops[TOMATO]);
    assert_true(ramp_damage_c(&crops[TOMATO], &state) == 1);
    state.frost_tolerance = 0.5;
    assert_true(fabs(ramp_damage_c(&crops[TOMATO], &state) - 0.25) < 1e-9);
    state.frost_tolerance = 1;
    assert_true(ramp_damage_c(&crops[TOMATO], &state) == -0.5);
}

/* ---- f ---- */

/*
 * Cabbage at 5 °C gains up to day 10 and lost it again within a day at 20/15 °C (Sasaki, Ichimura
 * and Oda 1996, Ann. Bot. 78:365-369). Spinach at 5/2 °C gained 2 to 4 K on the first day, most
 * within three, little after 14 (published with J. Amer. Soc. Hort. Sci.; abstract seen). The law
 * must not promise more than that; it loses later than measured, since it follows a trailing day.
 */
static void test_frost_tolerance(void **unused)
{
    (void)unused;
    const Crop *crop = &crops[CABBAGE];
    const Day cool = {5, 5, 0, 1}, warm = {20, 15, 0, 1};
    RampState state = begun(crop);
    double f[18];
    for (int i = 0; i < 3; i++)
        live(crop, &state, warm);
    assert_true(state.frost_tolerance == 0);
    f[0] = 0;
    state.hold_days = 0; /* the step from warm to cool is a check of H, which is not asked here */
    for (int i = 1; i < 18; i++) {
        live(crop, &state, cool);
        state.hold_days = 0;
        f[i] = state.frost_tolerance;
        assert_true(f[i] > f[i - 1]);
    }
    double range_k = crop->damage_soft_c - crop->damage_hardened_c;
    assert_true((f[2] - f[1]) * range_k > 0.5 && (f[2] - f[1]) * range_k < 4);
    assert_true(f[3] > f[10] / 2); /* most in three days */
    assert_true(f[3] - f[0] > f[6] - f[3]);
    assert_true(f[10] - f[6] > 0.05);  /* still rising up to day 10 */
    assert_true(f[10] > 0.9);          /* nearly all in ten */
    assert_true(f[17] - f[14] < 0.02); /* little after fourteen */

    live(crop, &state, warm);
    assert_true(state.frost_tolerance < 0.5 * f[17]);
    live(crop, &state, warm);
    assert_true(state.frost_tolerance < 0.1 * f[17]); /* a warm day or two loses it */
    live(crop, &state, warm);
    assert_true(state.frost_tolerance < 0.05 * f[17]); /* spinach: complete by day three */
}

/* ---- nights, and what was not seen ---- */

static void test_nights(void **unused)
{
    (void)unused;
    const Crop *crop = &crops[LEEK];
    RampState state = begun(crop);
    const double shelters[] = {1, 0, 0.4, 0, 1, 0.4};
    for (int i = 0; i < 6; i++)
        live(crop, &state, (Day){12, 10, 0, shelters[i]});
    assert_true(state.nights_shelter[0] == 0.4); /* newest first; the oldest has gone */
    assert_true(state.nights_shelter[4] == 0);
    assert_int_equal(ramp_nights_had(&state, 0), 2);
    assert_int_equal(ramp_nights_had(&state, 0.4), 4);
    assert_int_equal(ramp_nights_had(&state, 1), 5);

    RampStep step = {.air_c = 10, .leaf_c = 10, .shelter = 0, .night = false};
    for (int i = 0; i < 48; i++) { /* the cover goes on for one half-hour of the night */
        step.night = i >= 28;
        step.shelter = i == 40 ? 1 : i < 28 ? 2 : 0;
        ramp_step(crop, &step, &state);
    }
    ramp_close_day(crop, true, state.day_start_utc + DAY_S, &state);
    assert_true(state.nights_shelter[0] == 1); /* the most of the night, and not of the day */
}

static void test_unseen(void **unused)
{
    (void)unused;
    static const struct {
        const char *sentence;
        int from, skip_from, skip_to; /* half-hours of the ramp day; the night is from 28 */
        bool night_known, moved, used;
    } rows[] = {
        {"the whole day", 0, 0, 0, true, true, true},
        {"begun at noon: the night is known, and enough hours", 12, 0, 0, true, true, true},
        {"begun in the night", 30, 0, 0, false, true, false},
        {"begun with less than eight hours left: H stays", 33, 0, 0, false, false, false},
        {"one half-hour across the end is missing", 0, 47, 48, true, true, true},
        {"two hours of the night are missing", 0, 36, 40, false, true, true},
        {"air unknown for most of it: neither H nor X", 0, 10, 43, false, false, false},
    };
    const Crop *crop = &crops[ONION];
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        RampState state;
        ramp_begin(crop, START_UTC + rows[i].from * STEP_S, &state);
        for (int k = rows[i].from; k < 48; k++) {
            bool skip = k >= rows[i].skip_from && k < rows[i].skip_to;
            RampStep step = {.air_c = skip ? NAN : 8,
                             .leaf_c = 8,
                             .exposure_weight = k < 28,
                             .shelter = 0,
                             .night = k >= 28};
            ramp_step(crop, &step, &state);
        }
        RampDay day = ramp_close_day(crop, true, START_UTC + DAY_S, &state);
        if (isnan(state.nights_shelter[0]) == rows[i].night_known ||
            (state.hardened_to_c < 10) != rows[i].moved || day.used != rows[i].used)
            fail_msg("%s: night %g, H %g, used %d", rows[i].sentence, state.nights_shelter[0],
                     state.hardened_to_c, day.used);
    }
    RampState no_night = begun(crop);
    for (int k = 0; k < 48; k++) {
        RampStep step = {.air_c = 12, .leaf_c = 12, .exposure_weight = 1};
        ramp_step(crop, &step, &no_night);
    }
    ramp_close_day(crop, true, START_UTC + DAY_S, &no_night);
    assert_int_equal(ramp_nights_had(&no_night, 99), 0);
    RampState straddled = begun(crop);
    for (int k = 0; k < 48; k++) { /* the first half-hour reaches back before its ramp day */
        bool night = k == 0 || k >= 28;
        RampStep step = {.air_c = 8, .leaf_c = 8, .shelter = k == 0 ? 1 : 0, .night = night};
        ramp_step(crop, &step, &straddled);
    }
    ramp_close_day(crop, true, START_UTC + DAY_S, &straddled);
    assert_true(straddled.nights_shelter[0] == 0);

    RampState state = begun(crop);
    RampDay day = ramp_close_day(crop, true, START_UTC + DAY_S, &state);
    assert_true(isnan(day.cold_c) && day.excess_kh == 0 && !day.check && !day.used);
    assert_true(state.hardened_to_c == 10);
}

static void test_never_closed(void **unused)
{
    (void)unused;
    const Crop *crop = &crops[ONION];
    RampState state = begun(crop);
    for (int i = 0; i < 200; i++) { /* twenty cold half-hours after the arrays are full */
        RampStep step = {.air_c = i >= 150 && i < 170 ? 8 : 14, .leaf_c = 8, .night = i >= 28};
        ramp_step(crop, &step, &state);
        assert_true(state.day_steps <= RAMP_DAY_STEPS_MAX);
    }
    RampDay day = ramp_close_day(crop, true, START_UTC + 200 * STEP_S, &state);
    assert_true(fabs(day.cold_c - 8) < 1e-9); /* the coldest ten hours are never lost */
    assert_true(isnan(state.nights_shelter[0]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_begin),        cmocka_unit_test(test_known_points),
        cmocka_unit_test(test_cold),         cmocka_unit_test(test_cold_against_sorting),
        cmocka_unit_test(test_follows_cold), cmocka_unit_test(test_hold),
        cmocka_unit_test(test_rounding),     cmocka_unit_test(test_held),
        cmocka_unit_test(test_used_days),    cmocka_unit_test(test_scorch_limit),
        cmocka_unit_test(test_limits),       cmocka_unit_test(test_frost_tolerance),
        cmocka_unit_test(test_nights),       cmocka_unit_test(test_unseen),
        cmocka_unit_test(test_never_closed),
    };
    return cmocka_run_group_tests_name("ramp", tests, NULL, NULL);
}
