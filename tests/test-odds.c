/* SPDX-License-Identifier: MIT */
/* The odds where the answer is known: closed forms, limits, and what a verdict says. */
#include "odds-dense.h"

#include "odds/cover-error.h"
#include "odds/cover-filter.h"
#include "odds/forecast-error.h"
#include "odds/tonight.h"
#include "odds/verdict.h"

#define HOUR 3600
#define NIGHT_UTC 1745524800 /* 2025-04-24 20:00 UTC */

static void test_below(void **state)
{
    (void)state; /* Abramowitz and Stegun, table 26.1: Φ(-1) = 0.15865525, Φ(-2) = 0.02275013 */
    double value[] = {4.0, 2.0, NAN, 1.0}, spread[] = {2.0, 2.0, 1.0, 0.5};
    assert_true(fabs(odds_below(value, spread, 4, 0.0) - 0.1586552539) < 1e-9);
    assert_true(fabs(odds_below(value, spread, 1, 0.0) - 0.0227501319) < 1e-9);
    assert_true(odds_below(value, spread, 0, 0.0) == 0.0);
    double sure[] = {1.0, -1.0}, none[] = {0.0, 0.0};
    assert_true(odds_below(sure, none, 1, 0.0) == 0.0);
    assert_true(odds_below(sure, none, 2, 0.0) == 1.0);
}

static void test_forecast_prior(void **state)
{
    (void)state; /* no night: as assumed; many exact ones: no bias, and the least spread */
    LearnedError none = forecast_error_learn(1.34, NULL, 0);
    assert_true(none.bias_k == 0.0 && none.spread_k == 1.34 && none.n == 0);
    static ForecastNight nights[4000];
    LearnedError many = forecast_error_learn(1.34, nights, 4000);
    assert_true(many.bias_k == 0.0 && many.n == 4000);
    assert_true(fabs(many.spread_k - 0.5) < 1e-12);
    /* a night on which it was as far off as it mostly is leaves the spread where it is */
    double usual = 1.34;
    LearnedError one = forecast_error_learn(1.34, &(ForecastNight){.error_k = usual}, 1);
    assert_true(fabs(one.bias_k - usual / 5.0) < 1e-12);
    assert_true(fabs(one.spread_k - 1.34) < 0.05);
    assert_int_equal(forecast_error_lead(0.0), 1);
    assert_int_equal(forecast_error_lead(24.0), 1);
    assert_int_equal(forecast_error_lead(25.0), 2);
    assert_int_equal(forecast_error_lead(1000.0), 10);
}

/*
 * The posterior by brute force: prior times likelihood on a grid of bias and log deviation, each
 * night to the power of its weight. 1/E[1/σ²] is the variance that the closed form keeps.
 */
static void test_forecast_posterior(void **state)
{
    (void)state;
    const double prior_k = 1.6, half_life_d = 60.0, prior_nights = 4.0, prior_freedom = 10.0;
    ForecastNight nights[] = {{90, 2.0}, {60, -1.0}, {45, 1.5}, {12, 0.3}, {3, 2.4}, {1, 1.1}};
    double scale_k2 = prior_k * prior_k / (1.0 + 1.0 / prior_nights), sum = 0.0, bias = 0.0,
           inverse = 0.0, weight = prior_nights;
    for (int n = 0; n < 6; n++)
        weight += exp2(-nights[n].days_ago / half_life_d);
    for (int i = 0; i < 300; i++) {
        for (int j = 0; j < 130; j++) {
            double mean = -4.0 + 0.03 * i, log_s = -1.6 + 0.03 * j;
            double s2 = exp(2.0 * log_s);
            double log_p = -(prior_freedom + 1.0) * log_s -
                           0.5 * (prior_freedom * scale_k2 + prior_nights * mean * mean) / s2;
            for (int n = 0; n < 6; n++) {
                double off = nights[n].error_k - mean;
                log_p -= exp2(-nights[n].days_ago / half_life_d) * (log_s + 0.5 * off * off / s2);
            }
            double p = exp(log_p);
            sum += p;
            bias += p * mean;
            inverse += p / s2;
        }
    }
    LearnedError learned = forecast_error_learn(prior_k, nights, 6);
    double spread = sqrt(sum / inverse * (1.0 + 1.0 / weight));
    print_message("# bias %.6f, by brute force %.6f; spread %.6f, %.6f\n", learned.bias_k,
                  bias / sum, learned.spread_k, spread);
    assert_true(fabs(learned.bias_k - bias / sum) < 1e-4);
    assert_true(fabs(learned.spread_k - spread) < 1e-4);
}

static void test_wild_night(void **state)
{
    (void)state; /* 12 K off once in twenty nights: the odds do not run away with it */
    ForecastNight nights[20];
    for (int i = 0; i < 20; i++)
        nights[i] = (ForecastNight){.days_ago = 20 - i, .error_k = i % 2 ? 1.2 : -1.2};
    LearnedError calm = forecast_error_learn(1.34, nights, 20);
    nights[10].error_k = -12.0;
    LearnedError wild = forecast_error_learn(1.34, nights, 20);
    print_message("# %.2f ± %.2f K, with a wild night %.2f ± %.2f K\n", calm.bias_k, calm.spread_k,
                  wild.bias_k, wild.spread_k);
    assert_true(fabs(wild.bias_k - calm.bias_k) < 0.3);
    assert_true(wild.spread_k > calm.spread_k && wild.spread_k < 1.3 * calm.spread_k);
}

static Cover frame_cover(void)
{
    Cover cover = {.n_positions = 3, .opener_from_c = NAN};
    cover.positions[2].open = true;
    return cover;
}

static void test_cover_prior(void **state)
{
    (void)state;
    Cover cover = frame_cover();
    CoverFilter f;
    cover_filter_begin(1.2, &cover, &f);
    LearnedError none = cover_filter_now(&f, 1);
    assert_true(none.bias_k == 0.0 && none.spread_k == 1.2 && none.n == 0);
    CoverReading missing = {.error_k = NAN, .open_error_k = NAN, .outdoor_spread_k = 1.34},
                 nowhere = {.position = 3, .open_error_k = NAN, .outdoor_spread_k = 1.34};
    assert_false(cover_filter_learn(&missing, &f));
    assert_false(cover_filter_learn(&nowhere, &f));
    assert_true(cover_filter_now(&f, 0).n == 0 && cover_filter_now(&f, 7).spread_k == 1.2);
    cover_filter_begin(0.5, NULL, &f);
    assert_int_equal(f.n_positions, 1);
}

/* One reading, by hand. */
static void test_cover_one(void **state)
{
    (void)state;
    Cover cover = frame_cover();
    CoverFilter f;
    cover_filter_begin(1.2, &cover, &f);
    CoverReading r = {
        .error_k = 1.5, .outdoor_spread_k = 1.34, .open_spread_k = 1.34, .open_error_k = NAN};
    assert_true(cover_filter_learn(&r, &f));
    double prior = 0.7 * 1.44, scatter = 0.3 * 1.44, noise = 0.16 + 1.34 * 1.34;
    double gain = prior / (prior + scatter + noise);
    LearnedError shut = cover_filter_now(&f, 0), propped = cover_filter_now(&f, 1),
                 open = cover_filter_now(&f, 2);
    assert_true(fabs(shut.bias_k - 1.5 * gain) < 1e-12);
    assert_true(fabs(propped.bias_k - 0.75 * gain) < 1e-12); /* half as much is said of it */
    assert_true(open.bias_k == 0.0 && open.n == 0 && open.spread_k == 1.2);
    assert_true(shut.n == 1 && propped.n == 1 && shut.spread_k < propped.spread_k);
    /* as warm outside: nothing to do with the cover, but for what thermometers err */
    cover_filter_begin(1.2, &cover, &f);
    r.open_error_k = 1.5;
    assert_true(cover_filter_learn(&r, &f));
    assert_true(fabs(cover_filter_now(&f, 0).bias_k) < 0.2 * shut.bias_k);
    /* long unread, it is the prior again */
    cover_filter_pass(20 * 365, &f);
    LearnedError old = cover_filter_now(&f, 0);
    assert_true(fabs(old.bias_k) < 1e-8 && fabs(old.spread_k - 1.2) < 0.1);
    cover_filter_begin(1.2, &cover, &f); /* the thermometer was moved */
    assert_true(cover_filter_now(&f, 0).n == 0);
}

static void test_cover_at(void **state)
{
    (void)state;
    CoverError e = {.of = {[EXTREME_LOW] = {1.0, 0.8, 9}, [EXTREME_HIGH] = {-3.0, 2.0, 4}}};
    const struct {
        double light, bias, spread;
    } rows[] = {{0, 1, 0.8}, {125, 0, 1.1}, {250, -1, 1.4}, {500, -3, 2.0}, {900, -3, 2.0}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        CoverErrorAt at = cover_error_at(&e, rows[i].light);
        assert_true(fabs(at.bias_k - rows[i].bias) < 1e-12);
        assert_true(fabs(at.spread_k - rows[i].spread) < 1e-12);
    }
    assert_true(cover_error_teaches(EXTREME_LOW, 0) && !cover_error_teaches(EXTREME_LOW, 200));
    assert_true(cover_error_teaches(EXTREME_HIGH, 300) && !cover_error_teaches(EXTREME_HIGH, 200));
}

static void test_cover_nearest(void **state)
{
    (void)state; /* a bare tray in a box in a tunnel, and a frame that opens itself */
    Chain chain = {.n = 3};
    for (int l = 0; l < 3; l++)
        chain.layers[l] = (ChainLayer){
            .place = 5 - l, .parent = l - 1, .depth = 1, .covered = l < 2, .cover = frame_cover()};
    int at[] = {1, 2, 0};
    assert_int_equal(cover_error_position(&chain, at, 0), 1);
    assert_int_equal(cover_error_position(&chain, at, 1), 2);
    assert_int_equal(cover_error_position(&chain, at, 2), 2);
    at[1] = 9;
    assert_int_equal(cover_error_position(&chain, at, 2), 0);
    chain.layers[0].cover.opener_from_c = 20;
    assert_int_equal(cover_error_position(&chain, at, 0), 0);
    at[0] = 2;
    assert_int_equal(cover_error_position(&chain, at, 0), 2);
    static CoverError errors[6 * POSITIONS_MAX];
    errors[5 * POSITIONS_MAX + 2].of[EXTREME_LOW] = (LearnedError){1.4, 0.7, 8};
    PlaceStep met = {.air_c = -2.0, .leaf_c = -3.0, .surface_c = 4.0};
    CoverErrorAt none = cover_error_apply(NULL, &chain, at, 0, &met);
    assert_true(met.air_c == -2.0 && none.bias_k == 0.0);
    assert_true(none.spread_k == chain_spread_k(&chain, 0, EXTREME_LOW));
    CoverErrorAt known = cover_error_apply(errors, &chain, at, 0, &met);
    assert_true(fabs(met.air_c + 0.6) < 1e-12 && fabs(met.leaf_c + 1.6) < 1e-12);
    assert_true(met.surface_c == 4.0 && known.spread_k == 0.7);
    chain.layers[0].covered = false;
    assert_int_equal(cover_error_position(&chain, at, 0), 0);
}

static void test_verdicts(void **state)
{
    (void)state;
    const ReadingCase usual = {.value_c = 2.0,
                               .covered = true,
                               .computed_c = 1.0,
                               .spread_k = 1.8,
                               .computed_range_k = NAN,
                               .time_utc = NIGHT_UTC,
                               .now_utc = NIGHT_UTC + HOUR};
    Judgement j = verdict_reading(&usual);
    assert_true(j.verdict == VERDICT_FINE && j.keep && j.learn && j.tonight && j.off_k == 1.0);
    ReadingCase r = usual;
    r.value_c = 28.0; /* °F typed as °C */
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_FAR && !j.keep && !j.learn && !j.tonight);
    assert_true(fabs(j.spreads - 15.0) < 1e-12 && fabs(j.high_c - 11.8) < 1e-12);
    r.value_c = 9.0;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_DOUBTFUL && j.keep && !j.learn && !j.tonight);
    r.value_c = -7.0;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_DOUBTFUL && !j.learn && j.tonight);
    r.value_c = 80.0;
    r.computed_c = NAN;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_RANGE && !j.keep && j.high_c == 75.0 && isnan(j.off_k));
    r.value_c = 60.0;
    assert_int_equal(verdict_reading(&r).verdict, VERDICT_FINE);
    r.covered = false;
    assert_int_equal(verdict_reading(&r).verdict, VERDICT_RANGE);
    r.value_c = NAN;
    assert_int_equal(verdict_reading(&r).verdict, VERDICT_RANGE);
    r = usual;
    r.same_before = 4;
    assert_int_equal(verdict_reading(&r).verdict, VERDICT_FINE); /* nights may be alike */
    r.computed_range_k = 3.0;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_STUCK && j.keep && !j.learn);
    r = usual;
    r.extreme = true;
    r.reset_utc = NIGHT_UTC - 30 * HOUR;
    r.night_from_utc = NIGHT_UTC - 2 * HOUR;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_RESET && j.keep && !j.learn);
    r.reset_utc = NIGHT_UTC - HOUR;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_FINE && !j.tonight); /* an extreme is over */
    r = usual;
    r.now_utc = NIGHT_UTC + 7 * HOUR;
    j = verdict_reading(&r);
    assert_true(j.verdict == VERDICT_FINE && j.learn && !j.tonight);
    r.now_utc = NIGHT_UTC - HOUR;
    assert_false(verdict_reading(&r).tonight);
}

static void test_tonight_one(void **state)
{
    (void)state; /* a reading in the open: e·exp(-t/decay), but for the thermometer's own error */
    Tonight t;
    tonight_begin(12.0, &t);
    TonightError none = tonight_outdoors(&t, NIGHT_UTC, 1.34);
    assert_true(none.shift_k == 0.0 && none.variance_k2 == 1.34 * 1.34);
    TonightReading r = {.time_utc = NIGHT_UTC,
                        .place = TONIGHT_OUTDOORS,
                        .error_k = -2.0,
                        .outdoor_spread_k = 1.34,
                        .place_spread_k = NAN};
    assert_true(tonight_read(&r, &t));
    double gain = 1.34 * 1.34 / (1.34 * 1.34 + 0.16);
    for (int h = 0; h < 12; h++) {
        TonightError e = tonight_outdoors(&t, NIGHT_UTC + h * HOUR, 1.34);
        double kept = exp(-h / 12.0);
        assert_true(fabs(e.shift_k + 2.0 * gain * kept) < 1e-12);
        assert_true(fabs(e.variance_k2 - 1.34 * 1.34 * (1.0 - gain * kept * kept)) < 1e-12);
    }
    assert_true(tonight_outdoors(&t, NIGHT_UTC - HOUR, 1.34).shift_k == 0.0);
    TonightError place = tonight_place(&t, 3, NIGHT_UTC, 1.34, 1.2);
    assert_true(place.shift_k == 0.0 && place.variance_k2 == 1.2 * 1.2);
    r.time_utc -= 1;
    assert_false(tonight_read(&r, &t)); /* older than the last */
    r.time_utc = NIGHT_UTC;
    r.place = 3;
    assert_false(tonight_read(&r, &t)); /* its spread is missing */
    r.place_spread_k = 1.2;
    for (int place_read = 1; place_read < TONIGHT_ERRORS_MAX; place_read++) {
        r.place = place_read;
        assert_true(tonight_read(&r, &t));
    }
    r.place = TONIGHT_ERRORS_MAX;
    assert_false(tonight_read(&r, &t)); /* no room */
}

static void test_tonight_split(void **state)
{
    (void)
        state; /* under a cover the error is shared out by the variances, and the sum keeps them */
    Tonight t;
    tonight_begin(12.0, &t);
    TonightReading r = {.time_utc = NIGHT_UTC,
                        .place = 4,
                        .error_k = 3.0,
                        .outdoor_spread_k = 2.0,
                        .place_spread_k = 1.0};
    assert_true(tonight_read(&r, &t));
    TonightError outdoors = tonight_outdoors(&t, NIGHT_UTC, 2.0),
                 place = tonight_place(&t, 4, NIGHT_UTC, 2.0, 1.0);
    assert_true(fabs(outdoors.shift_k / place.shift_k - 4.0) < 1e-12);
    double before = 5.0, after = before - before * before / (before + 0.16);
    assert_true(fabs(outdoors.variance_k2 + place.variance_k2 - after) < 1e-12);
    assert_true(place.variance_k2 < 0.0);
    assert_true(outdoors.variance_k2 + place.variance_k2 < 0.4 * 0.4);
}

static void test_decay(void **state)
{
    (void)state;
    assert_true(tonight_decay_h(NULL, 0, 1.34) == TONIGHT_DECAY_H);
    EveningPair kept[60], lost[60];
    for (int i = 0; i < 60; i++) {
        double e = i % 2 ? 2.0 : -1.5;
        kept[i] = (EveningPair){.evening_k = e, .minimum_k = 0.8 * e, .hours = 9};
        lost[i] = (EveningPair){.evening_k = e, .minimum_k = i % 4 < 2 ? 1.2 : -1.2, .hours = 9};
    }
    double one = tonight_decay_h(kept, 1, 1.34), many = tonight_decay_h(kept, 60, 1.34),
           few = tonight_decay_h(lost, 60, 1.34);
    print_message("# decay %.1f h after one evening, %.1f after sixty; unrelated %.1f\n", one, many,
                  few);
    assert_true(one > TONIGHT_DECAY_H && one < 1.3 * TONIGHT_DECAY_H && many > 1.5 * one);
    assert_true(few < 0.6 * TONIGHT_DECAY_H);
}

/* The odds of a margin and the margin of odds, beside tables of the normal distribution. */
static void test_margin_for(void **state)
{
    (void)state;
    /* Abramowitz and Stegun 1964, table 26.1 (from memory) */
    assert_float_equal(odds_of_margin(0), 0.5, 1e-12);
    assert_float_equal(odds_of_margin(-1), 0.8413447461, 1e-9);
    assert_float_equal(odds_of_margin(1.96), 0.0249978951, 1e-9);
    assert_float_equal(odds_margin_for(0.01), 2.326348, 1e-6);
    assert_float_equal(odds_margin_for(0.1), 1.281552, 1e-6);
    assert_float_equal(odds_margin_for(0.5), 0, 1e-9);
    for (int i = -16; i <= 16; i++)
        assert_float_equal(odds_margin_for(odds_of_margin(0.25 * i)), 0.25 * i, 1e-9);
    assert_float_equal(odds_margin_for(0), 8, 1e-9);
    assert_float_equal(odds_margin_for(1), -8, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_margin_for),     cmocka_unit_test(test_below),
        cmocka_unit_test(test_forecast_prior), cmocka_unit_test(test_forecast_posterior),
        cmocka_unit_test(test_wild_night),     cmocka_unit_test(test_cover_prior),
        cmocka_unit_test(test_cover_one),      cmocka_unit_test(test_cover_at),
        cmocka_unit_test(test_cover_nearest),  cmocka_unit_test(test_verdicts),
        cmocka_unit_test(test_tonight_one),    cmocka_unit_test(test_tonight_split),
        cmocka_unit_test(test_decay),
    };
    return cmocka_run_group_tests_name("odds", tests, NULL, NULL);
}
