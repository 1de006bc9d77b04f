/* SPDX-License-Identifier: MIT */
#include "store/store-notices.h"

#include <string.h>

#include "store/store-private.h"

static const char *const states[] = {"waiting", "handed", "shown", "later", "answered", "missed"};

gboolean store_put_notice(Store *store, const StoreNotice *notice, GError **error)
{
    if (notice->key[0] == '\0' || memchr(notice->key, '\0', sizeof notice->key) == NULL) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "a notice needs a key of its own");
        return FALSE;
    }
    if (!store_check_index("the state of a notice", (int)notice->state, STORE_N(states), error))
        return FALSE;
    return store_run(store, error,
                     "INSERT INTO notice(key, state, due_utc, shown_utc, again_utc)"
                     " VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(key) DO UPDATE SET"
                     " state = excluded.state, due_utc = excluded.due_utc,"
                     " shown_utc = excluded.shown_utc, again_utc = excluded.again_utc",
                     V_TEXT(notice->key), V_TEXT(states[notice->state]), V_INT(notice->due_utc),
                     V_INT(notice->shown_utc), V_INT(notice->again_utc));
}

static gboolean read_notice(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreNotice *notice = item;
    const char *word = (const char *)sqlite3_column_text(rows, 1);
    const int state = store_word_index(states, STORE_N(states), word);
    (void)context;
    if (state < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED, "a notice is in the state \"%s\"",
                    word);
        return FALSE;
    }
    *notice = (StoreNotice){.state = (StoreNoticeState)state,
                            .due_utc = sqlite3_column_int64(rows, 2),
                            .shown_utc = sqlite3_column_int64(rows, 3),
                            .again_utc = sqlite3_column_int64(rows, 4)};
    store_column_text(rows, 0, notice->key, sizeof notice->key);
    return TRUE;
}

gboolean store_load_notices(Store *store, int64_t from_utc, GArray **ret_notices, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT key, state, due_utc, shown_utc, again_utc FROM notice"
                    " WHERE due_utc >= ?1 ORDER BY due_utc, n",
                    V_INT(from_utc));
    return store_collect(store, rows, read_notice, NULL, sizeof(StoreNotice), NULL, ret_notices,
                         error);
}
