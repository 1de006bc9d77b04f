/* SPDX-License-Identifier: MIT */
/*
 * Odds of one site over one season: a hidden garden in the weather as it was, forecasts that err,
 * readings each day, and the odds that daemon/odds and daemon/climate give. docs/hindcast.md.
 */
#pragma once

#include "garden/garden.h"
#include "test-hindcast-hidden.h"

#define SEASON_PLACES 4
#define SEASON_LEADS 3
#define SEASON_NIGHTS 60

/* What may happen in a night. */
typedef enum SeasonEvent { EVENT_LEAF_FROST, EVENT_AIR_0, EVENT_AIR_5, SEASON_EVENTS } SeasonEvent;

/* How the odds were made: with what was read; as assumed beforehand; and thrice wrongly, with the
 * open air's spread whole under covers, with 0.6 of the spread, and 1.5 K too warm, to see that it
 * would be noticed. */
typedef enum SeasonOdds {
    ODDS_LEARNED,
    ODDS_ASSUMED,
    ODDS_WHOLE,
    ODDS_SHARP,
    ODDS_WARM,
    SEASON_ODDS,
} SeasonOdds;

/* One prediction and what came. */
typedef struct SeasonCase {
    int season, night, place, lead;
    SeasonEvent event;
    double odds[SEASON_ODDS];
    bool came;
} SeasonCase;

/* A place over a season: its model against the hidden garden in the same, true weather. */
typedef struct SeasonPlace {
    double bias_k[EXTREMES], scatter_k[EXTREMES];
    /* of readings less what was computed from forecasts: beside, and with, what the open air was
       off the same night */
    double reading_k[EXTREMES], reading_all_k[EXTREMES];
    LearnedError after_ten; /* of its minima */
} SeasonPlace;

typedef struct SeasonResult {
    double width, forecast_bias_k;
    SeasonPlace places[SEASON_PLACES];
} SeasonResult;

/* Runs the season of SEASON_NIGHTS nights from `first` on and appends its cases. */
void season_run(const Garden *garden, const Station *at, const GArray *days, int32_t first,
                int season, guint32 seed, GArray *cases, SeasonResult *ret);

/* Places by name, as in the garden text; the first is open. */
extern const char season_garden[];
extern const char *const season_place_names[SEASON_PLACES];
