/* SPDX-License-Identifier: MIT */
/*
 * The policy: hardened-to (H) follows the coldest ten hours, falls by at most the allowed drop a
 * ramp day and rises by a quarter; exposure (X) counts days used; frost tolerance (f) follows the
 * trailing day of air. docs/ramp.md has the laws in words, with what each figure rests on.
 * Figures below are chosen where no source stands beside them.
 */
#include "ramp/ramp.h"

#include <math.h>

#define BARE_HEAT_C 30.0 /* of seedlings without leaves yet, under cover; chosen */
#define STEP_H (1.0 / STEPS_PER_H)
#define WHOLE_DAY_H 8.0     /* a ramp day with fewer hours seen moves neither H nor X upwards */
#define RISE_SHARE 0.25     /* of the way to a warmer C, a ramp day */
#define DROP_SETTLED_DAYS 4 /* days used after which the drop is the later one */
#define HOLD_DAYS_MAX 5
#define UNUSED_DAYS_FREE 3 /* in a row; each one more costs a day of exposure */
#define ALLOWANCE_FIRST_H 2.0
#define ALLOWANCE_RISE_H 1.5 /* for each day used */
#define ALLOWANCE_FULL_H 10.0
#define HALF_OPEN_WEIGHT 0.5 /* no more than this may be had all day, however long it is */
#define OPEN_DAYS_FROM 4     /* days used from which all day in the open may be had */
#define USED_SHARE 0.5       /* of the allowance that makes a day a used one */
#define ROUNDING_KH 1e-6     /* an excess below this is rounding, no check */
#define TAIL_SD 6.0          /* beyond this a normal tail is left out: under 1e-9 of its spread */

/*
 * Frost tolerance: gained below 10 °C, fastest from 5 °C; lost above 9 °C, fastest from 20 °C.
 * Orders of size: cabbage at 5 °C and 20/15 °C (Sasaki, Ichimura and Oda 1996, Ann. Bot.
 * 78:365-369); warm breaks above 9 °C undo it (review by Stachurska et al.). Rates chosen.
 */
#define GAIN_BELOW_C 10.0
#define GAIN_SPAN_K 5.0
#define GAIN_H 72.0
#define LOSS_ABOVE_C 9.0
#define LOSS_SPAN_K 11.0
#define LOSS_H 10.0

static double clamp(double value, double low, double high)
{
    return value < low ? low : value > high ? high : value;
}

/* The coldest values of a ramp day, coldest first, and the hours that they stand for. */
typedef struct Coldest {
    int n;
    double air_c[RAMP_COLD_STEPS];
} Coldest;

static void coldest_take(const double *air_c, int n, Coldest *ret)
{
    int held = 0;
    for (int i = 0; i < n; i++) {
        double value = air_c[i];
        if (isnan(value) || (held == RAMP_COLD_STEPS && value >= ret->air_c[held - 1]))
            continue;
        int at = held < RAMP_COLD_STEPS ? held++ : held - 1;
        for (; at > 0 && ret->air_c[at - 1] > value; at--)
            ret->air_c[at] = ret->air_c[at - 1];
        ret->air_c[at] = value;
    }
    ret->n = held;
}

static double coldest_hours(const Coldest *coldest)
{
    return coldest->n * STEP_H;
}

/* Q, the kelvin-hours below `hardened_to_c`, after a shift of all values. */
static double coldest_below_kh(const Coldest *coldest, double hardened_to_c, double shift_k)
{
    double sum_k = 0;
    for (int i = 0; i < coldest->n; i++) {
        double below_k = hardened_to_c - coldest->air_c[i] - shift_k;
        if (below_k <= 0)
            break;
        sum_k += below_k;
    }
    return sum_k * STEP_H;
}

static double coldest_c(const Coldest *coldest, double hardened_to_c)
{
    if (coldest->n == 0)
        return NAN;
    double below_kh = coldest_below_kh(coldest, hardened_to_c, 0);
    if (below_kh > 0)
        return hardened_to_c - below_kh / coldest_hours(coldest);
    double sum_c = 0;
    for (int i = 0; i < coldest->n; i++)
        sum_c += coldest->air_c[i];
    return sum_c / coldest->n;
}

double ramp_cold_c(const double *air_c, int n, double hardened_to_c)
{
    Coldest coldest;
    coldest_take(air_c, n, &coldest);
    return coldest_c(&coldest, hardened_to_c);
}

double ramp_drop_k(const Crop *crop, const RampState *state)
{
    double share = clamp((double)state->exposure_days / DROP_SETTLED_DAYS, 0, 1);
    return crop->drop_first_k + (crop->drop_k - crop->drop_first_k) * share;
}

double ramp_floor_c(const Crop *crop, const RampState *state)
{
    double span_k = crop->growing_on_night_c - crop->floor_hardened_c;
    double by_cold = 1;
    if (span_k > 0)
        by_cold = clamp((crop->growing_on_night_c - state->hardened_to_c) / span_k, 0, 1);
    double by_exposure = clamp((double)state->exposure_days / RAMP_EXPOSURE_FULL, 0, 1);
    double share = by_cold > by_exposure ? by_cold : by_exposure;
    return crop->floor_soft_c + (crop->floor_hardened_c - crop->floor_soft_c) * share;
}

double ramp_heat_limit_c(const Crop *crop, Stage stage)
{
    return stage <= STAGE_EMERGED ? fmin(BARE_HEAT_C, crop->heat_limit_c) : crop->heat_limit_c;
}

double ramp_allowed_low_c(const Crop *crop, const RampState *state)
{
    if (state->hold_days > 0)
        return state->hardened_to_c;
    return fmax(state->hardened_to_c - ramp_drop_k(crop, state), ramp_floor_c(crop, state));
}

double ramp_damage_c(const Crop *crop, const RampState *state)
{
    return crop->damage_soft_c +
           (crop->damage_hardened_c - crop->damage_soft_c) * state->frost_tolerance;
}

double ramp_allowance_h(const RampState *state)
{
    return clamp(ALLOWANCE_FIRST_H + ALLOWANCE_RISE_H * state->exposure_days, 0, ALLOWANCE_FULL_H);
}

bool ramp_scorches(const RampState *state, double exposure_weight)
{
    return exposure_weight > HALF_OPEN_WEIGHT && state->exposure_days < OPEN_DAYS_FROM &&
           state->exposed_h > ramp_allowance_h(state) + RAMP_SCORCH_OVER_H;
}

double ramp_gust_limit_ms(const RampState *state)
{
    if (state->exposure_days < 3)
        return 8;
    return state->exposure_days < RAMP_EXPOSURE_FULL ? 11 : 15;
}

/* The part of the excess that comes from falling faster than the allowed drop. */
static double fall_excess_kh(const Coldest *coldest, const Crop *crop, const RampState *state,
                             double shift_k)
{
    double over_kh = coldest_below_kh(coldest, state->hardened_to_c, shift_k) -
                     coldest_hours(coldest) * ramp_drop_k(crop, state);
    return over_kh > 0 ? over_kh : 0;
}

double ramp_excess_kh(const Crop *crop, const RampState *state, const double *air_c, int n,
                      double shift_k)
{
    Coldest coldest;
    coldest_take(air_c, n, &coldest);
    double floor_c = ramp_floor_c(crop, state);
    double below_k = 0;
    for (int i = 0; i < n; i++) {
        double below = floor_c - air_c[i] - shift_k;
        below_k += below > 0 ? below : 0;
    }
    return fall_excess_kh(&coldest, crop, state, shift_k) + below_k * STEP_H;
}

/* Probability that a standard normal is below x. */
static double normal_below(double x)
{
    return 0.5 * erfc(-x * 0.70710678118654752440);
}

static double normal_density(double x)
{
    return 0.39894228040143267794 * exp(-0.5 * x * x);
}

/* Expected max(0, margin - shift) where the shift is normal with mean 0 and this spread. */
static double expected_positive_k(double margin_k, double spread_k)
{
    double z = margin_k / spread_k;
    if (z < -TAIL_SD)
        return 0;
    if (z > TAIL_SD)
        return margin_k;
    return margin_k * normal_below(z) + spread_k * normal_density(z);
}

/*
 * Expected max(0, Q - hours·D). Q falls as the shift rises, so there is one shift at which Q is
 * just the budget: below it the excess counts, above it there is none. Each half-hour then
 * contributes its margin below H up to the smaller of that shift and the shift at which it reaches
 * H.
 */
static double expected_fall_kh(const Coldest *coldest, double hardened_to_c, double drop_k,
                               double spread_k)
{
    double budget_k = coldest->n * drop_k; /* in half-hour kelvins, as the sums below */
    double sum_k = 0, shift_k = 0;
    int counting = 0;
    while (counting < coldest->n) {
        double margin_k = hardened_to_c - coldest->air_c[counting];
        if (counting > 0 && margin_k <= shift_k)
            break;
        sum_k += margin_k;
        counting++;
        shift_k = (sum_k - budget_k) / counting;
    }
    double z = shift_k / spread_k;
    if (z < -TAIL_SD)
        return 0;
    double below = normal_below(z);
    double expected_k = (sum_k - budget_k) * below + counting * spread_k * normal_density(z);
    for (int i = counting; i < coldest->n; i++) {
        double margin_k = hardened_to_c - coldest->air_c[i];
        if (margin_k < -TAIL_SD * spread_k)
            break;
        expected_k += expected_positive_k(margin_k, spread_k);
    }
    return expected_k > 0 ? expected_k * STEP_H : 0;
}

double ramp_expected_excess_kh(const Crop *crop, const RampState *state, const double *air_c, int n,
                               double spread_k)
{
    if (spread_k <= 0)
        return ramp_excess_kh(crop, state, air_c, n, 0);
    Coldest coldest;
    coldest_take(air_c, n, &coldest);
    double floor_c = ramp_floor_c(crop, state);
    double below_k = 0;
    for (int i = 0; i < n; i++) {
        if (!isnan(air_c[i]))
            below_k += expected_positive_k(floor_c - air_c[i], spread_k);
    }
    return expected_fall_kh(&coldest, state->hardened_to_c, ramp_drop_k(crop, state), spread_k) +
           below_k * STEP_H;
}

static void day_clear(int64_t start_utc, RampState *state)
{
    state->day_start_utc = start_utc;
    state->day_steps = 0;
    state->exposed_h = 0;
    state->below_floor_kh = 0;
    state->night_shelter = -1;
}

void ramp_begin(const Crop *crop, int64_t start_utc, RampState *ret)
{
    *ret = (RampState){.hardened_to_c = crop->growing_on_night_c};
    for (int i = 0; i < NIGHTS_KEPT; i++)
        ret->nights_shelter[i] = NAN;
    day_clear(start_utc, ret);
}

/* Keeps a value of the ramp day; the law needs only the coldest, so a full day drops its warmest.
 */
static void day_collect(double air_c, RampState *state)
{
    if (state->day_steps < RAMP_DAY_STEPS_MAX) {
        state->day_air_c[state->day_steps++] = air_c;
        return;
    }
    int warmest = 0;
    for (int i = 1; i < RAMP_DAY_STEPS_MAX; i++) {
        if (state->day_air_c[i] > state->day_air_c[warmest])
            warmest = i;
    }
    if (air_c < state->day_air_c[warmest])
        state->day_air_c[warmest] = air_c;
}

/* The most shelter of the night so far; NAN once a half-hour of it went by unseen. */
static void night_collect(double shelter, RampState *state)
{
    bool begun_in_the_night = state->day_steps == 0;
    if (begun_in_the_night || isnan(shelter))
        state->night_shelter = NAN;
    else if (shelter > state->night_shelter)
        state->night_shelter = shelter;
}

/* A running sum, made anew once a day so that rounding never gathers. */
static double trailing_mean_c(double air_c, RampState *state)
{
    if (state->mean_n == MEAN_STEPS)
        state->mean_sum_c -= state->mean_air_c[state->mean_next];
    else
        state->mean_n++;
    state->mean_sum_c += air_c;
    state->mean_air_c[state->mean_next++] = air_c;
    if (state->mean_next == MEAN_STEPS) {
        state->mean_next = 0;
        state->mean_sum_c = 0;
        for (int i = 0; i < state->mean_n; i++)
            state->mean_sum_c += state->mean_air_c[i];
    }
    return state->mean_sum_c / state->mean_n;
}

/* df/dt = (1 - f)·gain - f·loss over the half-hour with the mean held, by the trapezoidal rule. */
static void follow_air(double mean_c, RampState *state)
{
    double gain = clamp((GAIN_BELOW_C - mean_c) / GAIN_SPAN_K, 0, 1) / GAIN_H;
    double loss = clamp((mean_c - LOSS_ABOVE_C) / LOSS_SPAN_K, 0, 1) / LOSS_H;
    double rate = gain + loss;
    if (rate <= 0)
        return;
    double before = state->frost_tolerance, half = rate * STEP_H / 2;
    double after = (before * (1 - half) + gain * STEP_H) / (1 + half);
    if (state->hold_days > 0 && after > before)
        return;
    state->frost_tolerance = clamp(after, 0, 1);
}

void ramp_step(const Crop *crop, const RampStep *step, RampState *state)
{
    if (isnan(step->air_c))
        return;
    if (step->night)
        night_collect(step->shelter, state);
    else if (state->day_steps <= 2)
        state->night_shelter = -1; /* a half-hour across the morning was the night before's */
    day_collect(step->air_c, state);
    double below_k = ramp_floor_c(crop, state) - step->air_c;
    if (below_k > 0)
        state->below_floor_kh += below_k * STEP_H;
    if (step->exposure_weight > 0)
        state->exposed_h += step->exposure_weight * STEP_H;
    follow_air(trailing_mean_c(step->air_c, state), state);
}

static void follow_cold(const Crop *crop, double cold_c, double drop_k, RampState *state)
{
    double before_c = state->hardened_to_c;
    double after_c = cold_c < before_c ? fmax(cold_c, before_c - drop_k)
                                       : before_c + RISE_SHARE * (cold_c - before_c);
    state->hardened_to_c = clamp(after_c, crop->floor_hardened_c, crop->growing_on_night_c);
}

/* Days used after a ramp day on which enough of the allowance was had, or not. */
static void count_exposure(bool had, bool held, RampState *state)
{
    if (had) {
        state->unused_days = 0;
        if (!held && state->exposure_days < RAMP_EXPOSURE_FULL)
            state->exposure_days++;
        return;
    }
    state->unused_days++;
    if (state->unused_days > UNUSED_DAYS_FREE && state->exposure_days > 0)
        state->exposure_days--;
}

static void push_night(int64_t day_end_utc, RampState *state)
{
    /* One half-hour may fall across each end of the ramp day; more are missing ones. */
    int64_t unseen_s = day_end_utc - state->day_start_utc - (int64_t)state->day_steps * STEP_S;
    bool whole = state->night_shelter >= 0 && unseen_s < 2 * STEP_S;
    for (int i = NIGHTS_KEPT - 1; i > 0; i--)
        state->nights_shelter[i] = state->nights_shelter[i - 1];
    state->nights_shelter[0] = whole ? state->night_shelter : NAN;
}

RampDay ramp_close_day(const Crop *crop, bool hardening, int64_t next_start_utc, RampState *state)
{
    Coldest coldest;
    coldest_take(state->day_air_c, state->day_steps, &coldest);
    double drop_k = ramp_drop_k(crop, state);
    bool enough = state->day_steps * STEP_H >= WHOLE_DAY_H;
    bool held = state->hold_days > 0;
    RampDay day = {
        .cold_c = coldest_c(&coldest, state->hardened_to_c),
        .excess_kh = fall_excess_kh(&coldest, crop, state, 0) + state->below_floor_kh,
        .exposed_h = state->exposed_h,
        .allowance_h = ramp_allowance_h(state),
    };
    bool had = enough && day.exposed_h >= USED_SHARE * day.allowance_h;
    day.check = day.excess_kh > ROUNDING_KH;
    day.used = hardening && had && !held;

    if (held)
        state->hold_days--;
    if (day.check) {
        double budgets = (day.excess_kh - ROUNDING_KH) / (RAMP_BUDGET_H * drop_k);
        int days = (int)clamp(ceil(budgets), 1, HOLD_DAYS_MAX);
        state->hold_days = days > state->hold_days ? days : state->hold_days;
    }
    if (enough)
        follow_cold(crop, day.cold_c, drop_k, state);
    if (hardening)
        count_exposure(had, held, state);
    push_night(next_start_utc, state);
    day_clear(next_start_utc, state);
    return day;
}

int ramp_nights_had(const RampState *state, double destination_shelter)
{
    int had = 0;
    for (int i = 0; i < NIGHTS_KEPT; i++)
        had += state->nights_shelter[i] <= destination_shelter + 1e-9; /* false where unknown */
    return had;
}

double ramp_days_missing(const Crop *crop, const RampState *state, double destination_cold_c,
                         double destination_shelter, int exposure_needed)
{
    double exposure_d = 0;
    if (state->exposure_days < exposure_needed) {
        double needed_h = USED_SHARE * ramp_allowance_h(state);
        double begun = state->hold_days > 0 ? 0 : clamp(state->exposed_h / needed_h, 0, 1);
        exposure_d = exposure_needed - state->exposure_days - begun;
    }
    int nights = RAMP_NIGHTS_NEEDED - ramp_nights_had(state, destination_shelter);
    double fall_k = state->hardened_to_c - destination_cold_c;
    if (fall_k < 0)
        fall_k = 0;
    return exposure_d + (nights > 0 ? nights : 0) + fall_k / ramp_drop_k(crop, state) +
           state->hold_days;
}
