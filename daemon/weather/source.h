/* SPDX-License-Identifier: MIT */
/*
 * Where forecasts come from. An address is "file:PATH" (a table, see csv.h) or "none". A source
 * keeps no forecast and never retries: who asks decides when, and keeps what it had when a fetch
 * fails.
 */
#pragma once

#include <gio/gio.h>

#include "base/clock.h"
#include "weather/forecast.h"

#define WEATHER_SOURCE_SETTLE_S 2 /* from the first sign of a change to the call; chosen */

typedef struct WeatherSource WeatherSource;

typedef void (*WeatherSourceFunc)(WeatherSource *source, gpointer data);

/*
 * The source at `address`. NULL and an error (invalid) where there is none such; whether it can be
 * reached is seen when it is fetched. `clk` must outlive it and every fetch in flight.
 */
WeatherSource *weather_source_new(const char *address, Clock *clk,
                                  GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Frees it; `changed` is not called any more. A fetch in flight still ends, with its callback. NULL
 * is ignored.
 */
void weather_source_free(WeatherSource *source);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(WeatherSource, weather_source_free)

/*
 * Asks for the forecasts of `site`; `done` (its GObject argument is NULL) takes them with
 * weather_source_fetch_finish(). Holds the clock while in flight. Never calls `done` before it
 * returns.
 */
void weather_source_fetch(WeatherSource *source, const Site *site, GCancellable *cancellable,
                          GAsyncReadyCallback done, gpointer data);

/*
 * (element-type Forecast), owned by the caller, each under the site's name, by issue, not
 * completed; empty only from the source "none". NULL and an error where the fetch failed.
 */
GPtrArray *weather_source_fetch_finish(GAsyncResult *result,
                                       GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * `changed` is called from the main loop when there may be something new to fetch, at most once in
 * WEATHER_SOURCE_SETTLE_S; NULL for none. Only files tell. False with an error where it cannot be
 * watched; fetching works all the same.
 */
bool weather_source_set_changed(WeatherSource *source, WeatherSourceFunc changed, gpointer data,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;
