/* SPDX-License-Identifier: MIT */
/* Forecasts as they were issued. */
#pragma once

#include "store/store.h"

typedef struct StoreForecast {
    char site[NAME_SIZE];
    char *source; /* (owned) */
    int64_t issued_utc, fetched_utc;
    int64_t confirmed_utc; /* the source gave the same once more; 0 never */
    GArray *hours;         /* (owned) (element-type WeatherHour) */
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

/* The source issued its newest forecast of SITE once more, the same, at CONFIRMED_UTC. */
gboolean store_confirm_forecast(Store *store, const char *site, const char *source,
                                int64_t confirmed_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The newest forecast of a site issued at or before AT_UTC; NULL where there is none. */
gboolean store_load_forecast(Store *store, const char *site, int64_t at_utc,
                             StoreForecast **ret_forecast,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* What is remembered of a service on the network that was asked for a site; texts may be NULL. */
typedef struct StoreService {
    char *what; /* (owned) what was asked */
    int64_t asked_utc, next_utc, good_utc;
    int failures;
    char *problem, *notice, *last_modified; /* (owned) */
} StoreService;

void store_service_free(StoreService *service);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(StoreService, store_service_free)

/* Replaces what was kept of service NAME for SITE. */
gboolean store_put_service(Store *store, const char *site, const char *name,
                           const StoreService *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* NULL where nothing was kept. */
gboolean store_load_service(Store *store, const char *site, const char *name,
                            StoreService **ret_service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
