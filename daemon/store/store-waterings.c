/* SPDX-License-Identifier: MIT */
#include "store/store-waterings.h"

#include "store/store-private.h"

gboolean store_put_watering(Store *store, const StoreWatering *watering, GError **error)
{
    return store_run(store, error,
                     "INSERT INTO watering(batch_id, time_utc, known) VALUES(?1, ?2, ?3)"
                     " ON CONFLICT(batch_id, time_utc) DO UPDATE SET"
                     " known = max(known, excluded.known)",
                     V_TEXT(watering->batch_id), V_INT(watering->time_utc), V_INT(watering->known));
}

gboolean store_remove_watering(Store *store, const char *batch_id, int64_t time_utc, GError **error)
{
    return store_run(store, error, "DELETE FROM watering WHERE batch_id = ?1 AND time_utc = ?2",
                     V_TEXT(batch_id), V_INT(time_utc));
}

static gboolean read_watering(StoreRows *rows, gconstpointer data, gpointer item, GError **error)
{
    StoreWatering *watering = item;
    (void)data;
    (void)error;
    store_column_text(rows, 0, watering->batch_id, sizeof watering->batch_id);
    watering->time_utc = sqlite3_column_int64(rows, 1);
    watering->known = sqlite3_column_int(rows, 2) != 0;
    return TRUE;
}

gboolean store_load_waterings(Store *store, int64_t from_utc, GArray **ret_waterings,
                              GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT batch_id, time_utc, known FROM watering WHERE time_utc >= ?1"
                    " ORDER BY time_utc, n",
                    V_INT(from_utc));
    return store_collect(store, rows, read_watering, NULL, sizeof(StoreWatering), NULL,
                         ret_waterings, error);
}
