/* SPDX-License-Identifier: MIT */
/*
 * The odds over random nights: the filters against all readings at once on dense matrices; hidden
 * gardens and forecasts, to see whether what is learned is as sure as it says.
 */
#include "odds-dense.h"

#include "odds/cover-filter.h"
#include "odds/forecast-error.h"
#include "odds/tonight.h"

#define HOUR 3600
#define NIGHT_UTC 1745524800 /* 2025-04-24 20:00 UTC */
#define THERMOMETER_K 0.4

/* What docs/odds.md says of a cover's bias beforehand. */
#define BIAS_SHARE 0.7
#define ALIKE 0.5
#define MEMORY_D 365.0

static double prior(double spread_k, int open, int i, int j)
{
    double same = BIAS_SHARE * spread_k * spread_k;
    return i == j ? same : i == open || j == open ? 0.0 : ALIKE * same;
}

/* The filter of one place and all its readings at once: outdoors read on half of the nights. None
 * is wild, since a wild one is cut short on purpose. */
static void test_cover_batch(void **state)
{
    (void)state;
    double worst = 0.0;
    for (int run = 0; run < 300; run++) {
        Cover cover = {.n_positions = 4, .opener_from_c = NAN};
        cover.positions[3].open = true;
        double spread = uniform(0.5, 3.0), at_d[12], now_d = 0.0;
        int n = 1 + rand() % 12, position[12], row_of_open[12];
        CoverFilter f;
        static Dense d;
        d.n = 0;
        cover_filter_begin(spread, &cover, &f);
        for (int k = 0; k < n; k++) {
            double gap = uniform(0, 40), open = uniform(0.6, 3.0);
            double outdoor = uniform(0.3, 1.0) * open; /* what of it comes in */
            CoverReading r = {.position = rand() % 4,
                              .days = gap,
                              .error_k = uniform(-0.7, 0.7),
                              .outdoor_spread_k = outdoor,
                              .open_spread_k = open,
                              .open_error_k = rand() % 2 ? NAN : uniform(-0.5, 0.5)};
            now_d += gap;
            at_d[k] = now_d;
            position[k] = r.position;
            int row = d.n++;
            d.seen[row] = r.error_k;
            d.covariance[row][row] = prior(spread, 3, r.position, r.position) + f.scatter_k2 +
                                     outdoor * outdoor + THERMOMETER_K * THERMOMETER_K;
            row_of_open[k] = -1;
            for (int i = 0; i < row; i++)
                d.covariance[row][i] = d.covariance[i][row] = 0.0;
            for (int i = 0, at = 0; i < k; i++) {
                d.covariance[row][at] = d.covariance[at][row] =
                    prior(spread, 3, position[i], r.position) * exp(-(now_d - at_d[i]) / MEMORY_D);
                at += row_of_open[i] >= 0 ? 2 : 1;
            }
            if (!isnan(r.open_error_k)) {
                row_of_open[k] = d.n++;
                for (int i = 0; i < row_of_open[k]; i++)
                    d.covariance[row_of_open[k]][i] = d.covariance[i][row_of_open[k]] = 0.0;
                d.seen[row_of_open[k]] = r.open_error_k;
                d.covariance[row_of_open[k]][row_of_open[k]] =
                    open * open + THERMOMETER_K * THERMOMETER_K;
                d.covariance[row_of_open[k]][row] = d.covariance[row][row_of_open[k]] =
                    outdoor * open;
            }
            assert_true(cover_filter_learn(&r, &f));
        }
        for (int p = 0; p < 4; p++) {
            double with[DENSE_MAX] = {0}, mean, variance;
            for (int i = 0, at = 0; i < n; i++) {
                with[at] = prior(spread, 3, position[i], p) * exp(-(now_d - at_d[i]) / MEMORY_D);
                at += row_of_open[i] >= 0 ? 2 : 1;
            }
            dense_condition(&d, with, prior(spread, 3, p, p), &mean, &variance);
            worst = fmax(worst, fabs(mean - f.bias_k[p]));
            worst = fmax(worst, fabs(variance - f.covariance_k2[p][p]));
        }
    }
    print_message("# farthest from all readings at once: %.1e\n", worst);
    assert_true(worst < 1e-9);
}

/*
 * The issue asks: bias within 2σ/√10 after ten readings, σ of one reading about what was computed.
 * If the bias is drawn from its prior this holds on 95.4 % of seeds at least, since what the prior
 * knows comes on top; for a bias that is large for the prior, a little less often.
 */
static void test_bias_after_ten(void **state)
{
    (void)state;
    enum { SEEDS = 4000 };
    const double spread = 1.2, outdoors = 1.34;
    for (int kind = 0; kind < 4; kind++) {
        bool read_outdoors = kind % 2, tails = kind >= 2;
        int within = 0, covered = 0;
        for (int s = 0; s < SEEDS; s++) {
            Cover cover = {.n_positions = 2, .opener_from_c = NAN};
            CoverFilter f;
            cover_filter_begin(spread, &cover, &f);
            double bias = sqrt(BIAS_SHARE) * spread * normal();
            double scatter = sqrt(1.0 - BIAS_SHARE) * spread;
            for (int k = 0; k < 10; k++) {
                double out = outdoors * (tails ? heavy() : normal());
                CoverReading r = {.days = 1.0,
                                  .error_k = bias + out + scatter * (tails ? heavy() : normal()) +
                                             THERMOMETER_K * normal(),
                                  .outdoor_spread_k = outdoors,
                                  .open_spread_k = outdoors,
                                  .open_error_k =
                                      read_outdoors ? out + THERMOMETER_K * normal() : NAN};
                assert_true(cover_filter_learn(&r, &f));
            }
            double left = outdoors * outdoors, thermometer = THERMOMETER_K * THERMOMETER_K;
            if (read_outdoors)
                left *= 1.0 - left / (left + thermometer);
            double sigma = sqrt(scatter * scatter + thermometer + left);
            LearnedError learned = cover_filter_now(&f, 0);
            within += fabs(learned.bias_k - bias) < 2.0 * sigma / sqrt(10.0);
            double next = bias + scatter * (tails ? heavy() : normal());
            covered += fabs(next - learned.bias_k) < 1.96 * learned.spread_k;
        }
        print_message("# %s, outdoors %s: bias within 2σ/√10 on %.1f %%, the next night within "
                      "1.96 spreads on %.1f %%\n",
                      tails ? "heavy tails" : "normal", read_outdoors ? "read" : "not read",
                      100.0 * within / SEEDS, 100.0 * covered / SEEDS);
        assert_true(within > 0.95 * SEEDS - 3.0 * sqrt(0.05 * 0.95 * SEEDS));
        assert_true(covered > 0.93 * SEEDS && covered < 0.985 * SEEDS);
    }
}

/* Covers far from what their kind is: what is learned of bias and scatter. */
static void test_other_scatter(void **state)
{
    (void)state;
    enum { SEEDS = 400 };
    const double truth[][2] = {{2.0, 0.3}, {-2.0, 1.6}, {0.0, 0.65}};
    for (int t = 0; t < 3; t++) {
        double bias = 0.0, spread = 0.0;
        int covered = 0;
        for (int s = 0; s < SEEDS; s++) {
            Cover cover = {.n_positions = 2, .opener_from_c = NAN};
            CoverFilter f;
            cover_filter_begin(1.2, &cover, &f);
            for (int k = 0; k < 60; k++) {
                double out = 1.34 * normal();
                CoverReading r = {.days = 1.0,
                                  .error_k = truth[t][0] + out + truth[t][1] * normal() +
                                             THERMOMETER_K * normal(),
                                  .outdoor_spread_k = 1.34,
                                  .open_spread_k = 1.34,
                                  .open_error_k = out + THERMOMETER_K * normal()};
                assert_true(cover_filter_learn(&r, &f));
            }
            LearnedError learned = cover_filter_now(&f, 0);
            bias += learned.bias_k / SEEDS;
            spread += learned.spread_k / SEEDS;
            double next = truth[t][0] + truth[t][1] * normal();
            covered += fabs(next - learned.bias_k) < 1.96 * learned.spread_k;
        }
        print_message(
            "# truth %+.1f ± %.2f K: after sixty nights %+.2f ± %.2f K, covered %.1f %%\n",
            truth[t][0], truth[t][1], bias, spread, 100.0 * covered / SEEDS);
        assert_true(fabs(bias - truth[t][0]) < 0.2);
        assert_true(fabs(spread - hypot(truth[t][1], 0.15)) < 0.25);
        assert_true(covered > 0.86 * SEEDS); /* 91 % expected where the scatter is the largest */
    }
}

/* Forecasts with a hidden bias, spread and shape: after some nights the next one is covered. */
static void test_forecast_coverage(void **state)
{
    (void)state;
    enum { SEEDS = 4000 };
    const double prior_k = 1.34;
    for (int shape = 0; shape < 2; shape++) {
        for (int count = 0; count <= 40; count += 20) {
            int covered = 0, low = 0;
            double spread = 0.0;
            for (int s = 0; s < SEEDS; s++) {
                ForecastNight nights[40];
                double factor = uniform(0.7, 1.5), bias = 0.5 * normal();
                for (int i = 0; i < count; i++)
                    nights[i] = (ForecastNight){.days_ago = count - i,
                                                .error_k = bias + prior_k * factor *
                                                                      (shape ? heavy() : normal())};
                LearnedError e = forecast_error_learn(prior_k, nights, count);
                double next = bias + prior_k * factor * (shape ? heavy() : normal());
                covered += fabs(next - e.bias_k) < 1.96 * e.spread_k;
                low += next - e.bias_k < -1.2816 * e.spread_k;
                spread += e.spread_k / SEEDS;
            }
            print_message("# %s, %d nights: %.1f %% within 1.96 spreads, %.1f %% below the tenth; "
                          "mean spread %.2f K\n",
                          shape ? "heavy tails" : "normal", count, 100.0 * covered / SEEDS,
                          100.0 * low / SEEDS, spread);
            assert_true(covered > (count > 0 ? 0.905 : 0.85) * SEEDS);
            assert_true(count == 0 || covered < 0.985 * SEEDS);
            assert_true(count == 0 || (low > 0.065 * SEEDS && low < 0.135 * SEEDS));
        }
    }
}

/* Readings of one night in the open and under two covers, against all of them at once. */
static void test_tonight_batch(void **state)
{
    (void)state;
    double worst = 0.0;
    for (int run = 0; run < 300; run++) {
        double decay = uniform(3, 30), outdoor[8], own[8], hour[8];
        int n = 1 + rand() % 8, place[8];
        Tonight t;
        static Dense d;
        d.n = n;
        tonight_begin(decay, &t);
        for (int k = 0; k < n; k++) {
            place[k] = rand() % 3 - 1;
            hour[k] = (k ? hour[k - 1] : 0.0) + (rand() % 4) * 0.5;
            outdoor[k] = uniform(0.8, 3.0);
            own[k] = place[k] < 0 ? 0.0 : uniform(0.5, 2.5);
            TonightReading r = {.time_utc = NIGHT_UTC + (int64_t)(hour[k] * HOUR),
                                .place = place[k],
                                .error_k = uniform(-3, 3),
                                .outdoor_spread_k = outdoor[k],
                                .place_spread_k = own[k]};
            assert_true(tonight_read(&r, &t));
            d.seen[k] = r.error_k;
            for (int i = 0; i <= k; i++) {
                double alike = exp(-(hour[k] - hour[i]) / decay);
                d.covariance[i][k] = d.covariance[k][i] =
                    alike *
                        (outdoor[i] * outdoor[k] + (place[i] == place[k] ? own[i] * own[k] : 0.0)) +
                    (i == k ? THERMOMETER_K * THERMOMETER_K : 0.0);
            }
        }
        for (int ahead = 0; ahead < 24; ahead += 3) {
            double then = hour[n - 1] + 0.5 * ahead, out = uniform(0.8, 3.0),
                   of = uniform(0.5, 2.5);
            int64_t utc = NIGHT_UTC + (int64_t)(then * HOUR);
            TonightError outdoors = tonight_outdoors(&t, utc, out);
            for (int p = -1; p < 3; p++) { /* the last was never read */
                double with[DENSE_MAX] = {0}, mean, variance, o = p < 0 ? 0.0 : of;
                for (int i = 0; i < n; i++)
                    with[i] = exp(-(then - hour[i]) / decay) *
                              (out * outdoor[i] + (place[i] == p ? o * own[i] : 0.0));
                dense_condition(&d, with, out * out + o * o, &mean, &variance);
                TonightError part = {0};
                if (p >= 0)
                    part = tonight_place(&t, p, utc, out, o);
                worst = fmax(worst, fabs(outdoors.shift_k + part.shift_k - mean));
                worst = fmax(worst, fabs(outdoors.variance_k2 + part.variance_k2 - variance));
            }
        }
    }
    print_message("# farthest from all readings at once: %.1e\n", worst);
    assert_true(worst < 1e-9);
}

/* The same readings but for the last, which is colder: nothing becomes warmer of it. */
static void test_colder(void **state)
{
    (void)state;
    for (int run = 0; run < 500; run++) {
        int n = 1 + rand() % 20;
        ForecastNight nights[20];
        for (int i = 0; i < n; i++)
            nights[i] = (ForecastNight){.days_ago = n - i, .error_k = 6.0 * heavy()};
        LearnedError as_it_was = forecast_error_learn(1.34, nights, n);
        nights[n - 1].error_k -= uniform(0, 5);
        assert_true(forecast_error_learn(1.34, nights, n).bias_k <= as_it_was.bias_k + 1e-12);

        Cover cover = {.n_positions = 3, .opener_from_c = NAN};
        CoverFilter f;
        cover_filter_begin(uniform(0.5, 2), &cover, &f);
        CoverReading r = {.outdoor_spread_k = uniform(0.5, 3), .open_spread_k = uniform(0.5, 3)};
        for (int i = 0; i < n; i++) {
            r.position = rand() % 3;
            r.days = uniform(0, 10);
            r.error_k = 4.0 * heavy();
            r.open_error_k = rand() % 2 ? NAN : normal();
            CoverFilter colder = f;
            assert_true(cover_filter_learn(&r, &f));
            r.error_k -= uniform(0, 5);
            assert_true(cover_filter_learn(&r, &colder));
            for (int p = 0; p < 3; p++)
                assert_true(colder.bias_k[p] <= f.bias_k[p] + 1e-12);
            assert_true(f.scatter_k2 > 0.0 && cover_filter_now(&f, r.position).spread_k >= 0.3);
        }

        Tonight t;
        tonight_begin(uniform(3, 30), &t);
        double outdoor = uniform(0.8, 3), own = uniform(0.5, 2.5);
        for (int k = 0; k < 6; k++) {
            TonightReading read = {.time_utc = NIGHT_UTC + k * HOUR,
                                   .place = rand() % 3 - 1,
                                   .error_k = 2.0 * normal(),
                                   .outdoor_spread_k = outdoor,
                                   .place_spread_k = own};
            Tonight colder = t;
            assert_true(tonight_read(&read, &t));
            read.error_k -= uniform(0, 4);
            assert_true(tonight_read(&read, &colder));
            for (int64_t utc = read.time_utc; utc < NIGHT_UTC + 12 * HOUR; utc += HOUR) {
                TonightError out = tonight_outdoors(&t, utc, outdoor),
                             out_colder = tonight_outdoors(&colder, utc, outdoor);
                assert_true(out_colder.shift_k <= out.shift_k + 1e-12);
                assert_true(fabs(out_colder.variance_k2 - out.variance_k2) < 1e-12);
                for (int p = 0; p < 2; p++) {
                    double all = out.shift_k + tonight_place(&t, p, utc, outdoor, own).shift_k;
                    double all_colder =
                        out_colder.shift_k + tonight_place(&colder, p, utc, outdoor, own).shift_k;
                    assert_true(all_colder <= all + 1e-12);
                }
            }
        }
    }
}

/*
 * Evenings of a hidden decay, and tonight as sure as it says. A minimum eight hours on hardly tells
 * five hours from eight, so what is learned lies between the truth and what was assumed.
 */
static void test_decay_learned(void **state)
{
    (void)state;
    const double spread = 1.34;
    for (int doubled = 0; doubled < 3; doubled++) {
        double truth = 5.0 * exp2(doubled);
        int covered = 0, n = 0;
        double mean_log = 0.0;
        for (int s = 0; s < 60; s++) {
            EveningPair pairs[40];
            for (int i = 0; i < 40; i++) {
                double hours = uniform(6, 11), kept = exp(-hours / truth), e = spread * normal();
                pairs[i] = (EveningPair){.evening_k = e + THERMOMETER_K * normal(),
                                         .minimum_k = kept * e +
                                                      spread * sqrt(1.0 - kept * kept) * normal() +
                                                      THERMOMETER_K * normal(),
                                         .hours = hours};
            }
            double decay = tonight_decay_h(pairs, 40, spread);
            mean_log += log(decay / truth) / 60;
            for (int i = 0; i < 40; i++, n++) {
                double hours = uniform(0, 11), kept = exp(-hours / truth), e = spread * normal();
                double then = kept * e + spread * sqrt(1.0 - kept * kept) * normal();
                Tonight t;
                tonight_begin(decay, &t);
                TonightReading r = {.time_utc = NIGHT_UTC,
                                    .place = TONIGHT_OUTDOORS,
                                    .error_k = e + THERMOMETER_K * normal(),
                                    .outdoor_spread_k = spread};
                assert_true(tonight_read(&r, &t));
                TonightError left =
                    tonight_outdoors(&t, NIGHT_UTC + (int64_t)(hours * HOUR), spread);
                covered += fabs(then - left.shift_k) < 1.96 * sqrt(left.variance_k2);
            }
        }
        print_message("# decay %.0f h: learned %.1f h on the mean; %.1f %% within 1.96 spreads\n",
                      truth, truth * exp(mean_log), 100.0 * covered / n);
        assert_true(fabs(mean_log) < 0.75 * fabs(log(truth / TONIGHT_DECAY_H)) + 0.1);
        assert_true(covered > 0.90 * n && covered < 0.98 * n);
    }
}

static int set_up(void **state)
{
    (void)state;
    dense_seed();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cover_batch),   cmocka_unit_test(test_bias_after_ten),
        cmocka_unit_test(test_other_scatter), cmocka_unit_test(test_forecast_coverage),
        cmocka_unit_test(test_tonight_batch), cmocka_unit_test(test_colder),
        cmocka_unit_test(test_decay_learned),
    };
    return cmocka_run_group_tests_name("odds-properties", tests, set_up, NULL);
}
