/* SPDX-License-Identifier: MIT */
/*
 * Where forecasts come from. An address is "open-meteo" (a service on the network), "file:PATH" (a
 * table, see csv.h) or "none". A source keeps no forecast and never retries: who asks decides when
 * (memory.h has the rules for services), and keeps what it had when a fetch fails.
 */
#pragma once

#include <gio/gio.h>

#include "base/clock.h"
#include "weather/forecast.h"
#include "weather/memory.h"

#define WEATHER_SOURCE_SETTLE_S 2 /* from the first sign of a change to the call; chosen */

typedef struct WeatherSource WeatherSource;

typedef void (*WeatherSourceFunc)(WeatherSource *source, gpointer data);

/*
 * The source at `address`, which is one part of a site's chain; `garden` (nullable) has the
 * services' settings. NULL and an error (invalid) where there is none such; whether it can be
 * reached is seen when it is fetched. `clk` must outlive it and every fetch in flight.
 */
WeatherSource *weather_source_new(const char *address, const Garden *garden, Clock *clk,
                                  GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Its name as Forecast.source has it, if it is a service on the network; else NULL. */
const char *weather_source_title(const WeatherSource *source);

/* What a request for `site` asks, for its memory; NULL if it is no service. Owned by the caller. */
char *weather_source_what(const WeatherSource *source, const Site *site);

/* What must be shown beside data whose Forecast.source is `title`; NULL nothing. */
const char *weather_credit(const char *title);

/*
 * Frees it; `changed` is not called any more. A fetch in flight still ends, with its callback. NULL
 * is ignored.
 */
void weather_source_free(WeatherSource *source);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(WeatherSource, weather_source_free)

/*
 * Asks for the forecasts of `site`; `done` (its GObject argument is NULL) takes them with
 * weather_source_fetch_finish(). `memory` (nullable) is copied. Holds the clock while in flight.
 * Never calls `done` before it returns.
 */
void weather_source_fetch(WeatherSource *source, const Site *site, const WeatherMemory *memory,
                          GCancellable *cancellable, GAsyncReadyCallback done, gpointer data);

/*
 * (element-type Forecast), owned by the caller, each under the site's name, by issue, not
 * completed; empty where there is nothing new. NULL and an error where the fetch failed. Either way
 * `ret_memory` (nullable) is given the copy, in which the service wrote what it said; the caller
 * owns it and tells it the end (weather_memory_end()).
 */
GPtrArray *weather_source_fetch_finish(GAsyncResult *result, WeatherMemory **ret_memory,
                                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * `changed` is called from the main loop when there may be something new to fetch, at most once in
 * WEATHER_SOURCE_SETTLE_S; NULL for none. Only files tell. False with an error where it cannot be
 * watched; fetching works all the same.
 */
bool weather_source_set_changed(WeatherSource *source, WeatherSourceFunc changed, gpointer data,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;
