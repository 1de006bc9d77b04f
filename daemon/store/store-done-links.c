/* SPDX-License-Identifier: MIT */
#include "store/store-done-links.h"

#include "store/store-private.h"

gboolean store_put_done_link(Store *store, const StoreDoneLink *link, int64_t now_utc,
                             GError **error)
{
    return store_run(store, error, "DELETE FROM done_link WHERE expires_utc < ?1",
                     V_INT(now_utc)) &&
           store_run(store, error,
                     "INSERT INTO done_link(hash, visit_id, expires_utc, used_utc)"
                     " VALUES(?1, ?2, ?3, ?4)",
                     V_TEXT(link->hash), V_TEXT(link->visit_id), V_INT(link->expires_utc),
                     V_INT(link->used_utc));
}

gboolean store_use_done_link(Store *store, const char *hash, int64_t now_utc, GError **error)
{
    return store_run(store, error,
                     "UPDATE done_link SET used_utc = ?2 WHERE hash = ?1 AND used_utc = 0",
                     V_TEXT(hash), V_INT(now_utc));
}

gboolean store_get_done_link(Store *store, const char *hash, StoreDoneLink *ret,
                             gboolean *ret_found, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(store, error,
                                            "SELECT hash, visit_id, expires_utc, used_utc"
                                            " FROM done_link WHERE hash = ?1",
                                            V_TEXT(hash));
    const int step = rows != NULL ? store_step(store, rows, error) : -1;
    if (step < 0)
        return FALSE;
    *ret_found = step > 0;
    if (step == 0)
        return TRUE;
    *ret = (StoreDoneLink){.expires_utc = sqlite3_column_int64(rows, 2),
                           .used_utc = sqlite3_column_int64(rows, 3)};
    store_column_text(rows, 0, ret->hash, sizeof ret->hash);
    store_column_text(rows, 1, ret->visit_id, sizeof ret->visit_id);
    return TRUE;
}
