/* SPDX-License-Identifier: MIT */
/*
 * One row per forecast. `hours` holds each WeatherHour as 10 little-endian numbers of 8 bytes:
 * time_utc (integer); temperature_c, dew_point_c, cloud_pct, wind_ms, gust_ms, radiation_wm2,
 * precipitation_mm, spread_k (IEEE 754 binary64, NAN missing); estimated (integer).
 */
#include "store/store-weather.h"

#include "store/store-pack.h"
#include "store/store-private.h"

#include <string.h>

#define HOUR_BYTES 80

void store_forecast_free(StoreForecast *forecast)
{
    if (forecast == NULL)
        return;
    g_free(forecast->source);
    g_clear_pointer(&forecast->hours, g_array_unref);
    g_free(forecast);
}

static void pack_hour(GByteArray *to, const WeatherHour *h)
{
    const double numbers[] = {h->temperature_c, h->dew_point_c,   h->cloud_pct,        h->wind_ms,
                              h->gust_ms,       h->radiation_wm2, h->precipitation_mm, h->spread_k};
    pack_int(to, h->time_utc);
    pack_doubles(to, numbers, G_N_ELEMENTS(numbers));
    pack_int(to, h->estimated);
}

static WeatherHour unpack_hour(Unpacker *from)
{
    double numbers[8];
    WeatherHour h = {.time_utc = unpack_int(from)};
    unpack_doubles(from, numbers, G_N_ELEMENTS(numbers));
    h.temperature_c = numbers[0];
    h.dew_point_c = numbers[1];
    h.cloud_pct = numbers[2];
    h.wind_ms = numbers[3];
    h.gust_ms = numbers[4];
    h.radiation_wm2 = numbers[5];
    h.precipitation_mm = numbers[6];
    h.spread_k = numbers[7];
    h.estimated = (uint32_t)unpack_int(from);
    return h;
}

static gboolean check_hours(const char *site, const WeatherHour *hours, int n_hours, GError **error)
{
    gboolean right = n_hours > 0 && site[0] != '\0' && strlen(site) < NAME_SIZE;
    for (int i = 1; right && i < n_hours; i++)
        right = hours[i].time_utc > hours[i - 1].time_utc;
    if (!right)
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "forecast for '%s': it needs a site and hours in order of time", site);
    return right;
}

gboolean store_put_forecast(Store *store, const char *site, const char *source, int64_t issued_utc,
                            int64_t fetched_utc, const WeatherHour *hours, int n_hours,
                            GError **error)
{
    if (!check_hours(site, hours, n_hours, error))
        return FALSE;
    g_autoptr(GByteArray) bytes = g_byte_array_sized_new((guint)n_hours * HOUR_BYTES);
    for (int i = 0; i < n_hours; i++)
        pack_hour(bytes, &hours[i]);
    return store_run(store, error,
                     "INSERT INTO forecast(site, source, issued_utc, fetched_utc, first_utc,"
                     " last_utc, hours) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7)"
                     " ON CONFLICT(site, source, issued_utc) DO NOTHING",
                     V_TEXT(site), V_TEXT(source), V_INT(issued_utc), V_INT(fetched_utc),
                     V_INT(hours[0].time_utc), V_INT(hours[n_hours - 1].time_utc), V_BLOB(bytes));
}

gboolean store_confirm_forecast(Store *store, const char *site, const char *source,
                                int64_t confirmed_utc, GError **error)
{
    return store_run(store, error,
                     "UPDATE forecast SET confirmed_utc = ?3 WHERE n = (SELECT n FROM forecast"
                     " WHERE site = ?1 AND source = ?2 ORDER BY issued_utc DESC LIMIT 1)",
                     V_TEXT(site), V_TEXT(source), V_INT(confirmed_utc));
}

gboolean store_load_forecast(Store *store, const char *site, int64_t at_utc,
                             StoreForecast **ret_forecast, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT source, issued_utc, fetched_utc, hours, confirmed_utc FROM forecast"
        " WHERE site = ?1 AND issued_utc <= ?2 ORDER BY issued_utc DESC, fetched_utc DESC, n DESC"
        " LIMIT 1",
        V_TEXT(site), V_INT(at_utc));
    if (rows == NULL)
        return FALSE;
    int step = store_step(store, rows, error);
    if (step < 0)
        return FALSE;
    if (step == 0) {
        *ret_forecast = NULL;
        return TRUE;
    }
    g_autoptr(StoreForecast) forecast = g_new0(StoreForecast, 1);
    g_strlcpy(forecast->site, site, sizeof forecast->site);
    forecast->source = g_strdup((const char *)sqlite3_column_text(rows, 0));
    forecast->issued_utc = sqlite3_column_int64(rows, 1);
    forecast->fetched_utc = sqlite3_column_int64(rows, 2);
    forecast->confirmed_utc = sqlite3_column_int64(rows, 4);
    forecast->hours = g_array_new(FALSE, FALSE, sizeof(WeatherHour));
    Unpacker from = {.data = sqlite3_column_blob(rows, 3),
                     .left = (size_t)sqlite3_column_bytes(rows, 3)};
    while (from.left >= HOUR_BYTES) {
        WeatherHour hour = unpack_hour(&from);
        g_array_append_val(forecast->hours, hour);
    }
    *ret_forecast = g_steal_pointer(&forecast);
    return TRUE;
}

/* ---- services ---- */

void store_service_free(StoreService *service)
{
    if (service == NULL)
        return;
    g_free(service->what);
    g_free(service->problem);
    g_free(service->notice);
    g_free(service->last_modified);
    g_free(service);
}

gboolean store_put_service(Store *store, const char *site, const char *name,
                           const StoreService *service, GError **error)
{
    return store_run(store, error,
                     "INSERT INTO weather_service(site, name, what, asked_utc, next_utc, good_utc,"
                     " failures, problem, notice, last_modified)"
                     " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)"
                     " ON CONFLICT(site, name) DO UPDATE SET what = ?3, asked_utc = ?4,"
                     " next_utc = ?5, good_utc = ?6, failures = ?7, problem = ?8, notice = ?9,"
                     " last_modified = ?10",
                     V_TEXT(site), V_TEXT(name), V_TEXT(service->what), V_INT(service->asked_utc),
                     V_INT(service->next_utc), V_INT(service->good_utc), V_INT(service->failures),
                     V_TEXT(service->problem), V_TEXT(service->notice),
                     V_TEXT(service->last_modified));
}

gboolean store_load_service(Store *store, const char *site, const char *name,
                            StoreService **ret_service, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT what, asked_utc, next_utc, good_utc, failures, problem, notice,"
                    " last_modified FROM weather_service WHERE site = ?1 AND name = ?2",
                    V_TEXT(site), V_TEXT(name));
    int step = rows != NULL ? store_step(store, rows, error) : -1;
    if (step < 0)
        return FALSE;
    StoreService *service = step > 0 ? g_new0(StoreService, 1) : NULL;
    if (service != NULL) {
        service->what = g_strdup((const char *)sqlite3_column_text(rows, 0));
        service->asked_utc = sqlite3_column_int64(rows, 1);
        service->next_utc = sqlite3_column_int64(rows, 2);
        service->good_utc = sqlite3_column_int64(rows, 3);
        service->failures = sqlite3_column_int(rows, 4);
        service->problem = g_strdup((const char *)sqlite3_column_text(rows, 5));
        service->notice = g_strdup((const char *)sqlite3_column_text(rows, 6));
        service->last_modified = g_strdup((const char *)sqlite3_column_text(rows, 7));
    }
    *ret_service = service;
    return TRUE;
}
