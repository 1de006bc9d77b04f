/* SPDX-License-Identifier: MIT */
/*
 * The forecasts that the service holds: fetched from each site's source, kept in the store as
 * issued, shown to the plan once their time of issue has come, and turned into half-hours.
 */
#pragma once

#include "service/service.h"
#include "weather/forecast.h"

typedef struct Forecasts Forecasts;

/* Sources of the garden's sites; what the store remembers is loaded. Nothing is fetched yet. */
Forecasts *forecasts_new(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
void forecasts_free(Forecasts *forecasts);

/* Asks every source; a new forecast asks for a plan. */
void forecasts_fetch(Forecasts *forecasts);

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

/* Why the last fetch for a site failed, or NULL; when it last succeeded. */
const char *forecasts_problem(const Forecasts *forecasts, int site, int64_t *ret_fetched_utc);
