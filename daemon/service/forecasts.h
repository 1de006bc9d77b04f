/* SPDX-License-Identifier: MIT */
/*
 * The forecasts that the service holds: fetched from each site's source, kept in the store as
 * issued, shown to the plan once their time of issue has come, and turned into half-hours.
 */
#pragma once

#include "service/learned.h"
#include "service/service.h"
#include "service/sources.h"
#include "weather/forecast.h"

typedef struct Forecasts Forecasts;

/* Sources of the garden's sites; what the store remembers is loaded. Nothing is fetched yet. */
Forecasts *forecasts_new(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
void forecasts_free(Forecasts *forecasts);

/* What readings have taught, from the store as it is now; the weather is corrected by it. */
gboolean forecasts_learn(Forecasts *forecasts, GError **error) G_GNUC_WARN_UNUSED_RESULT;
const Learned *forecasts_learned(const Forecasts *forecasts);

/* Asks the sources, services only as often as they may be; a new forecast asks for a plan. */
void forecasts_fetch(Forecasts *forecasts);

/* After the garden was read again: sources that are the same as before go on with what they do. */
void forecasts_go_on(Forecasts *forecasts, Forecasts *former /* (nullable) */);

/* Takes forecasts (element-type Forecast) for `site` as if its source had given them. */
void forecasts_take(Forecasts *forecasts, int site, const GPtrArray *given);

/* Whether there are some whose time of issue has come; showing them keeps them in the store. */
gboolean forecasts_are_due(const Forecasts *forecasts);
gboolean forecasts_show_due(Forecasts *forecasts, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* When the next one is to be shown, or the one in use turns old or missing; 0 never. */
int64_t forecasts_next_utc(const Forecasts *forecasts);

/* Weather of every site from `from_utc` to the horizon after `now_utc`, both on the grid. */
gboolean forecasts_weather(Forecasts *forecasts, int64_t from_utc, int64_t now_utc,
                           SiteWeather **ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The forecast that plans rest on, or NULL; its source is that of the last hours as well. */
const Forecast *forecasts_in_use(const Forecasts *forecasts, int site);

/*
 * What the licences of all sources ask to be shown, those too that are not in use now, so that it
 * stays as it is; NULL nothing. Owned by the caller.
 */
char *forecasts_credits(const Forecasts *forecasts);

const Sources *forecasts_sources(const Forecasts *forecasts, int site);

/* Why the first source that fails does so, or NULL; when the one in use last answered well. */
const char *forecasts_problem(const Forecasts *forecasts, int site, int64_t *ret_fetched_utc);
