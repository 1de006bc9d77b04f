/* SPDX-License-Identifier: MIT */
#include "store/store-minutes.h"

#include "store/store-private.h"

gboolean store_put_minutes(Store *store, const Garden *garden, const StoreMinutes *minutes,
                           GError **error)
{
    return store_check_index("site", minutes->site, garden->n_sites, error) &&
           store_run(store, error,
                     "INSERT INTO visit_minutes(visit_id, site, time_utc, minutes, jobs_minutes)"
                     " VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(visit_id) DO UPDATE SET"
                     " time_utc = excluded.time_utc, minutes = excluded.minutes,"
                     " jobs_minutes = excluded.jobs_minutes",
                     V_TEXT(minutes->visit_id), V_TEXT(garden->sites[minutes->site].name),
                     V_INT(minutes->time_utc), V_REAL(minutes->minutes),
                     V_REAL(minutes->jobs_minutes));
}

static gboolean read_minutes(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    StoreMinutes *minutes = item;
    (void)error;
    store_column_text(rows, 0, minutes->visit_id, sizeof minutes->visit_id);
    minutes->site = store_find_site(garden, (const char *)sqlite3_column_text(rows, 1));
    minutes->time_utc = sqlite3_column_int64(rows, 2);
    minutes->minutes = sqlite3_column_double(rows, 3);
    minutes->jobs_minutes = sqlite3_column_double(rows, 4);
    return TRUE;
}

gboolean store_load_minutes(Store *store, const Garden *garden, int site, int most,
                            GArray **ret_minutes, GError **error)
{
    if (!store_check_index("site", site, garden->n_sites, error))
        return FALSE;
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT visit_id, site, time_utc, minutes, jobs_minutes FROM visit_minutes"
                    " WHERE site = ?1 ORDER BY time_utc DESC, n DESC LIMIT ?2",
                    V_TEXT(garden->sites[site].name), V_INT(most));
    return store_collect(store, rows, read_minutes, garden, sizeof(StoreMinutes), NULL, ret_minutes,
                         error);
}
