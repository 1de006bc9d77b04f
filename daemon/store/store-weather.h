/* SPDX-License-Identifier: MIT */
/* Forecasts as they were issued. */
#pragma once

#include "store/store.h"

typedef struct StoreForecast {
    char site[NAME_SIZE];
    char *source; /* (owned) */
    int64_t issued_utc, fetched_utc;
    GArray *hours; /* (owned) (element-type WeatherHour) */
} StoreForecast;

void store_forecast_free(StoreForecast *forecast);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(StoreForecast, store_forecast_free)

/*
 * Keeps a forecast; HOURS in order of time, at least one. The same site, source and time of issue
 * is the same forecast: put again, the one kept first stays.
 */
gboolean store_put_forecast(Store *store, const char *site, const char *source, int64_t issued_utc,
                            int64_t fetched_utc, const WeatherHour *hours, int n_hours,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The newest forecast of a site issued at or before AT_UTC; NULL where there is none. */
gboolean store_load_forecast(Store *store, const char *site, int64_t at_utc,
                             StoreForecast **ret_forecast,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;
