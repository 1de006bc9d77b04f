/* SPDX-License-Identifier: MIT */
/* What a kind of source must do. A new kind is one such table, listed in source.c. */
#pragma once

#include "weather/memory.h"
#include "weather/source.h"

typedef struct WeatherBackend {
    const char *scheme;   /* before the colon of an address */
    const char *accepted; /* how such an address is written, for errors */
    /*
     * Of a service on the network; NULL for the others. `title` is Forecast.source of all that it
     * gives; `credit` is what its licence asks to be shown beside its data. Such a source is asked
     * only when its memory allows (memory.h).
     */
    const char *title, *credit;
    /*
     * Takes the part of the address after the colon ("" without one) and gives the backend's own
     * data, handed to all other functions. `service` is its section of the garden's file, all ""
     * where there is none, and only lives during the call. False with a plain sentence, static, in
     * `ret_wrong`.
     */
    bool (*open)(const char *rest, const WeatherService *service, gpointer *ret_data,
                 const char **ret_wrong);
    void (*close)(gpointer data);
    /*
     * What a request for `site` asks: its address and the coordinates as they are sent, without a
     * key. When it changes, nothing of the memory holds any more. Owned by the caller. NULL where
     * there is no `title`.
     */
    char *(*what)(gpointer data, const Site *site);
    /*
     * Returns a GPtrArray of Forecast (empty: nothing new), or an error, through `task`, whose
     * cancellable it obeys, later or at once. `clk` and `memory` live as long as the task; `site`
     * only during the call, and `data` may be closed while the task is on its way. Of `memory` a
     * service reads `last_modified`, and writes, before it returns: `last_modified` (good replies),
     * `told_utc` (Expires, Retry-After; also with an error) and `notice`; nothing else. The rest
     * follows from how the task ended.
     */
    void (*fetch)(gpointer data, const Site *site, Clock *clk, WeatherMemory *memory, GTask *task);
    /*
     * Begins to call weather_source_touched() on `source` when there may be something new. NULL
     * where the kind has no way to know.
     */
    bool (*watch)(gpointer data, WeatherSource *source, GError **error);
    void (*unwatch)(gpointer data);
} WeatherBackend;

extern const WeatherBackend weather_backend_file;
extern const WeatherBackend weather_backend_open_meteo;
extern const WeatherBackend weather_backend_met_norway;

/* There may be something new. Calls are gathered before the source's owner is told. */
void weather_source_touched(WeatherSource *source);
