/* SPDX-License-Identifier: MIT */
/*
 * What a hindcast hides from the product, and what the product's learning is told day by day:
 * errors of forecasts, a garden whose laws are not those of the model, readings. docs/hindcast.md.
 */
#pragma once

#include <glib.h>

#include "odds/cover-error.h"
#include "odds/cover-filter.h"
#include "odds/forecast-error.h"
#include "reference-chain.h"
#include "test-hindcast-weather.h"

#define THERMOMETER_K 0.3 /* of the hidden grower's readings */
#define HIDDEN_VARIED 0.3 /* laws and covers are off by up to this share */
#define HIDDEN_AHEAD_H 244

/* A standard normal number. */
double hidden_normal(GRand *random);

/*
 * Errors of the forecasts of one site: over the hours an AR(1), from one day's issue to the next
 * another, Student's t with four degrees of freedom, `width` times the spread assumed for the
 * lead, and a bias.
 */
typedef struct HiddenErrors {
    GRand *random;
    double width, bias_k;
    double scale;                 /* of this issue: what makes the tails heavy */
    double field[HIDDEN_AHEAD_H]; /* standard normal, by hours from this issue on */
} HiddenErrors;

/* Draws width, 0.7 to 1.5, and bias, −1 to 1 K, and a first issue. */
void hidden_errors_begin(GRand *random, HiddenErrors *ret);
/* A day later: the next issue. */
void hidden_errors_next(HiddenErrors *errors);
/* The next issue after fewer hours: as much of the error is kept as makes a day's part of it. */
void hidden_errors_after(HiddenErrors *errors, int hours);
/*
 * What the forecast is off `lead_h` hours ahead, where the truth is `above_usual_k` above what is
 * usual, by a spread of `usual_sd_k`. A forecast does not know all, so it says less of what is
 * unusual: truth less forecast is then uncorrelated with the forecast, and its spread is `width`
 * times that assumed. With `usual_sd_k` INFINITY the error is independent of the truth instead, and
 * the forecast more extreme than the weather.
 */
double hidden_errors_k(const HiddenErrors *errors, int lead_h, double above_usual_k,
                       double usual_sd_k);

/* Errors of one forecaster, drawn towards the usual course of the year. */
typedef struct Forecaster {
    HiddenErrors errors;
    GArray *usual, *warm; /* (owned) (element-type WeatherHour) as it usually is; a spread above */
} Forecaster;

/* For issues of the local days `first` to `last`. Clear it with forecaster_clear(). */
void forecaster_begin(GRand *random, const Station *at, const GArray *days, int32_t first,
                      int32_t last, Forecaster *ret);
void forecaster_clear(Forecaster *forecaster);
/* What is forecast `lead_h` hours ahead in place of an hour of the truth. */
void forecaster_err(const Forecaster *forecaster, int lead_h, WeatherHour *hour);

/* A chain with the reference's laws and its covers varied, full radiation; at rest at `rest_c`. */
ReferenceChain *hidden_chain(GRand *random, const Chain *chain, double rest_c);

/* ---- what is learned, of one site whose places are all read in one position ---- */

#define LEARNER_PLACES 8
#define LEARNER_NIGHTS 200

typedef struct LearnerNights {
    int n;
    int32_t day[LEARNER_NIGHTS];
    double error_k[LEARNER_NIGHTS];
} LearnerNights;

/* By lead day, from 1, and by place. */
typedef struct Learner {
    LearnerNights nights[FORECAST_LEADS + 1][EXTREMES];
    CoverError site[FORECAST_LEADS + 1]; /* as learned so far; the assumption at first */
    CoverFilter places[LEARNER_PLACES][EXTREMES];
    int32_t last_day[LEARNER_PLACES][EXTREMES];
} Learner;

void learner_begin(Learner *ret);
/* Place `place` of the learner is layer `layer` of the chain. */
void learner_place(Learner *l, int place, const Chain *chain, int layer);

/* The open air was read on `day`: `error_k` less than what was issued, with nothing added. */
void learner_outdoors(Learner *l, int lead, Extreme which, int32_t day, double error_k);
/* What was learned of the site, as known on `day`. */
void learner_look(Learner *l, int32_t day);
/* A place was read: error as in CoverReading. */
void learner_read(Learner *l, int place, Extreme which, int32_t day, const CoverReading *reading);
CoverError learner_now(const Learner *l, int place, int position);

/* Adds the site's bias to an hour of a forecast that is `lead_h` old by then, and sets its spread,
 * both by the light as under covers. */
void learner_correct(const Learner *l, double lead_h, WeatherHour *hour);
