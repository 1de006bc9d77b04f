/* SPDX-License-Identifier: MIT */
#include "store/store-told.h"

#include <string.h>

#include "store/store-private.h"

static const char *const states[] = {"handed",  "delivered", "failed",
                                     "refused", "missed",    "published"};

gboolean store_put_told(Store *store, const StoreTold *told, GError **error)
{
    if (told->key[0] == '\0' || memchr(told->key, '\0', sizeof told->key) == NULL) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "news needs a key of its own");
        return FALSE;
    }
    if (!store_check_index("the state of news", (int)told->state, STORE_N(states), error))
        return FALSE;
    return store_run(store, error,
                     "INSERT INTO told(key, channel, state, sense, at_utc)"
                     " VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(key, channel) DO UPDATE SET"
                     " state = excluded.state, sense = excluded.sense, at_utc = excluded.at_utc",
                     V_TEXT(told->key), V_TEXT(told->channel), V_TEXT(states[told->state]),
                     V_TEXT(told->sense), V_INT(told->at_utc));
}

static gboolean read_told(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreTold *told = item;
    const char *word = (const char *)sqlite3_column_text(rows, 2);
    const int state = store_word_index(states, STORE_N(states), word);
    (void)context;
    if (state < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_FAILED, "news is in the state \"%s\"", word);
        return FALSE;
    }
    *told = (StoreTold){.state = (StoreToldState)state, .at_utc = sqlite3_column_int64(rows, 4)};
    store_column_text(rows, 0, told->key, sizeof told->key);
    store_column_text(rows, 1, told->channel, sizeof told->channel);
    store_column_text(rows, 3, told->sense, sizeof told->sense);
    return TRUE;
}

gboolean store_load_told(Store *store, int64_t from_utc, GArray **ret_told, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(store, error,
                                            "SELECT key, channel, state, sense, at_utc FROM told"
                                            " WHERE at_utc >= ?1 ORDER BY at_utc, n",
                                            V_INT(from_utc));
    return store_collect(store, rows, read_told, NULL, sizeof(StoreTold), NULL, ret_told, error);
}
