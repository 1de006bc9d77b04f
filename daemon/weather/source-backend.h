/* SPDX-License-Identifier: MIT */
/* What a kind of source must do. A new kind is one such table, listed in source.c. */
#pragma once

#include "weather/source.h"

typedef struct WeatherBackend {
    const char *scheme;   /* before the colon of an address */
    const char *accepted; /* how such an address is written, for errors */
    /*
     * Takes the part of the address after the colon ("" without one) and gives the backend's own
     * data, handed to all other functions. False with a plain sentence, static, in `ret_wrong`.
     */
    bool (*open)(const char *rest, gpointer *ret_data, const char **ret_wrong);
    void (*close)(gpointer data);
    /*
     * Returns a GPtrArray of Forecast, or an error, through `task`, whose cancellable it obeys,
     * later or at once. `clk` lives as long as the task; `site` only during the call, and `data`
     * may be closed while the task is on its way.
     */
    void (*fetch)(gpointer data, const Site *site, Clock *clk, GTask *task);
    /*
     * Begins to call weather_source_touched() on `source` when there may be something new. NULL
     * where the kind has no way to know.
     */
    bool (*watch)(gpointer data, WeatherSource *source, GError **error);
    void (*unwatch)(gpointer data);
} WeatherBackend;

extern const WeatherBackend weather_backend_file;

/* There may be something new. Calls are gathered before the source's owner is told. */
void weather_source_touched(WeatherSource *source);
