/* SPDX-License-Identifier: MIT */
#include "test-hindcast-hidden.h"

#include <math.h>
#include <string.h>

#include "weather/forecast.h"

#define FREEDOM 4                /* of Student's t */
#define HOUR_KEPT exp(-1 / 24.0) /* correlation of two neighbouring hours */
#define ISSUE_KEPT 0.6           /* of two issues a day apart, about one hour */
#define BIAS_MOST_K 1.0
#define WIDTH_LEAST 0.7
#define WIDTH_MOST 1.5

double hidden_normal(GRand *random)
{
    double u = 1 - g_rand_double(random), v = g_rand_double(random);

    return sqrt(-2 * log(u)) * cos(2 * G_PI * v);
}

static void draw_scale(HiddenErrors *e)
{
    double square = 0;

    for (int i = 0; i < FREEDOM; i++) {
        double z = hidden_normal(e->random);
        square += z * z;
    }
    e->scale = sqrt((FREEDOM - 2) / square);
}

static void draw_field(GRand *random, int n, double *ret)
{
    ret[0] = hidden_normal(random);
    for (int h = 1; h < n; h++)
        ret[h] = HOUR_KEPT * ret[h - 1] + sqrt(1 - HOUR_KEPT * HOUR_KEPT) * hidden_normal(random);
}

void hidden_errors_begin(GRand *random, HiddenErrors *ret)
{
    ret->random = random;
    ret->width = g_rand_double_range(random, WIDTH_LEAST, WIDTH_MOST);
    ret->bias_k = g_rand_double_range(random, -BIAS_MOST_K, BIAS_MOST_K);
    draw_field(random, HIDDEN_AHEAD_H, ret->field);
    draw_scale(ret);
}

void hidden_errors_after(HiddenErrors *e, int hours)
{
    double fresh[HIDDEN_AHEAD_H], days = hours / 24.0, kept = pow(ISSUE_KEPT, days);
    int last = HIDDEN_AHEAD_H - hours;

    for (int h = 0; h < last; h++)
        e->field[h] = e->field[h + hours];
    for (int h = last; h < HIDDEN_AHEAD_H; h++)
        e->field[h] = HOUR_KEPT * (h > 0 ? e->field[h - 1] : 0.0) +
                      sqrt(1 - HOUR_KEPT * HOUR_KEPT) * hidden_normal(e->random);
    draw_field(e->random, HIDDEN_AHEAD_H, fresh);
    for (int h = 0; h < HIDDEN_AHEAD_H; h++)
        e->field[h] = kept * e->field[h] + sqrt(1 - kept * kept) * fresh[h];
    if (days >= 1 || g_rand_double(e->random) < days)
        draw_scale(e);
}

void hidden_errors_next(HiddenErrors *e)
{
    hidden_errors_after(e, 24);
}

double hidden_errors_k(const HiddenErrors *e, int lead_h, double above_usual_k, double usual_sd_k)
{
    g_assert(lead_h >= 0 && lead_h < HIDDEN_AHEAD_H);
    double spread = e->width * weather_spread_k(lead_h);
    double unknown = fmin(1, spread * spread / (usual_sd_k * usual_sd_k));

    return e->bias_k + sqrt(1 - unknown) * spread * e->scale * e->field[lead_h] -
           unknown * above_usual_k;
}

void forecaster_begin(GRand *random, const Station *at, const GArray *days, int32_t first,
                      int32_t last, Forecaster *ret)
{
    int32_t to = last + HIDDEN_AHEAD_H / 24 + 1;
    g_autoptr(GArray) usual = hindcast_usual(days, first - 1, to, 0);
    g_autoptr(GArray) warm = hindcast_usual(days, first - 1, to, 1);

    hidden_errors_begin(random, &ret->errors);
    ret->usual = hindcast_hours(at, usual, first - 1, to, 0);
    ret->warm = hindcast_hours(at, warm, first - 1, to, 0);
}

void forecaster_clear(Forecaster *f)
{
    g_array_unref(f->usual);
    g_array_unref(f->warm);
}

static double temperature_at(const GArray *hours, int64_t utc)
{
    gint64 first_utc = g_array_index(hours, WeatherHour, 0).time_utc;

    return g_array_index(hours, WeatherHour, (utc - first_utc) / 3600).temperature_c;
}

void forecaster_err(const Forecaster *f, int lead_h, WeatherHour *hour)
{
    double usual_c = temperature_at(f->usual, hour->time_utc);

    hour->temperature_c += hidden_errors_k(&f->errors, lead_h, hour->temperature_c - usual_c,
                                           temperature_at(f->warm, hour->time_utc) - usual_c);
}

static double draw_factor(void *random)
{
    return g_rand_double_range(random, 1 - HIDDEN_VARIED, 1 + HIDDEN_VARIED);
}

ReferenceChain *hidden_chain(GRand *random, const Chain *chain, double rest_c)
{
    ReferenceSetup setup = reference_setup();
    Chain varied = *chain;
    ChainState rest;

    setup.relative = 1e-4; /* a hundredth of a kelvin is enough here */
    setup.absolute_k = 1e-3;
    reference_vary(&setup.laws, &varied, draw_factor, random);
    chain_rest(&varied, rest_c, rest_c, &rest);
    return reference_new(&varied, &setup, &rest);
}

/* ---- learning ---- */

void learner_begin(Learner *ret)
{
    memset(ret, 0, sizeof(*ret));
    for (int lead = 1; lead <= FORECAST_LEADS; lead++) {
        for (int which = 0; which < EXTREMES; which++)
            ret->site[lead].of[which].spread_k = weather_spread_k(24.0 * lead);
    }
}

void learner_place(Learner *l, int place, const Chain *chain, int layer)
{
    const ChainLayer *it = &chain->layers[layer];

    for (int which = 0; which < EXTREMES; which++)
        cover_filter_begin(chain_spread_k(chain, layer, (Extreme)which),
                           it->covered ? &it->cover : NULL, &l->places[place][which]);
}

void learner_outdoors(Learner *l, int lead, Extreme which, int32_t day, double error_k)
{
    LearnerNights *nights = &l->nights[lead][which];

    g_assert(nights->n < LEARNER_NIGHTS);
    nights->day[nights->n] = day;
    nights->error_k[nights->n++] = error_k;
}

void learner_look(Learner *l, int32_t day)
{
    ForecastNight nights[LEARNER_NIGHTS];

    for (int lead = 1; lead <= FORECAST_LEADS; lead++) {
        for (int which = 0; which < EXTREMES; which++) {
            const LearnerNights *from = &l->nights[lead][which];
            for (int i = 0; i < from->n; i++)
                nights[i] = (ForecastNight){day - from->day[i], from->error_k[i]};
            l->site[lead].of[which] =
                forecast_error_learn(weather_spread_k(24.0 * lead), nights, from->n);
        }
    }
}

void learner_read(Learner *l, int place, Extreme which, int32_t day, const CoverReading *reading)
{
    CoverReading r = *reading;
    int32_t *last = &l->last_day[place][which];

    r.days = *last == 0 ? 0 : day - *last;
    *last = day;
    bool taken = cover_filter_learn(&r, &l->places[place][which]);
    g_assert(taken);
}

CoverError learner_now(const Learner *l, int place, int position)
{
    CoverError ret;

    for (int which = 0; which < EXTREMES; which++)
        ret.of[which] = cover_filter_now(&l->places[place][which], position);
    return ret;
}

void learner_correct(const Learner *l, double lead_h, WeatherHour *hour)
{
    CoverErrorAt at = cover_error_at(&l->site[forecast_error_lead(lead_h)], hour->radiation_wm2);

    hour->temperature_c += at.bias_k;
    hour->dew_point_c = fmin(hour->dew_point_c, hour->temperature_c);
    hour->spread_k = at.spread_k;
}
