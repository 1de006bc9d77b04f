/* SPDX-License-Identifier: MIT */
/*
 * How far forecasts of the open air are off at a site: for one lead day and one extreme, from what
 * was issued against what was read. Normal with a normal-inverse-gamma prior (docs/odds.md). Pure.
 */
#pragma once

#include "odds/odds.h"

#define FORECAST_LEADS 10 /* lead days told apart, 1 to 10; a farther one is the tenth */

/* One night (or noon) of which a forecast was issued and the open air was read. */
typedef struct ForecastNight {
    double days_ago; /* from it to now, at least 0 */
    double error_k;  /* read less issued, the forecast as it came: no bias added */
} ForecastNight;

/*
 * What `nights` say beside the prior: a bias of 0 and `prior_spread_k`, as assumed for that lead.
 * The oldest night first, each once: the forecasts of one night at neighbouring leads err together,
 * so each is evidence for its own lead alone. No night: the prior itself. The spread is never below
 * FORECAST_SPREAD_MIN_K nor below a third of the prior.
 */
LearnedError forecast_error_learn(double prior_spread_k, const ForecastNight *nights, int n);

/* The lead day, 1 to FORECAST_LEADS, of a forecast `lead_h` hours ahead. */
int forecast_error_lead(double lead_h);

#define FORECAST_SPREAD_MIN_K 0.5 /* chosen: no forecast of a site is surer */
