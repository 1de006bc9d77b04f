/* SPDX-License-Identifier: MIT */
/* What happened to batches: placements, losses, notes. Declared in store-batches.h. */
#include "store/store-batches.h"

#include "store/store-private.h"

/* ---- placements ---- */

gboolean store_put_placement(Store *store, const Garden *garden, const char *batch_id, int place,
                             int64_t from_utc, GError **error)
{
    return store_check_index("place", place, garden->n_places, error) &&
           store_run(store, error,
                     "INSERT INTO placement(batch_id, place, from_utc) VALUES(?1, ?2, ?3)"
                     " ON CONFLICT(batch_id, from_utc) DO UPDATE SET place = excluded.place",
                     V_TEXT(batch_id), V_TEXT(garden->places[place].name), V_INT(from_utc));
}

static gboolean read_placement(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    StorePlacement *placement = item;
    (void)error;
    store_column_text(rows, 0, placement->batch_id, sizeof placement->batch_id);
    placement->place = store_find_place(garden, (const char *)sqlite3_column_text(rows, 1));
    placement->from_utc = sqlite3_column_int64(rows, 2);
    return TRUE;
}

gboolean store_load_placements(Store *store, const Garden *garden, const char *batch_id,
                               int64_t from_utc, GArray **ret_placements, GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT batch_id, place, from_utc FROM placement AS p WHERE (?1 IS NULL OR batch_id = ?1)"
        " AND from_utc >= coalesce((SELECT max(from_utc) FROM placement AS q"
        " WHERE q.batch_id = p.batch_id AND q.from_utc <= ?2), ?2) ORDER BY from_utc, n",
        V_TEXT(batch_id), V_INT(from_utc));
    return store_collect(store, rows, read_placement, garden, sizeof(StorePlacement), NULL,
                         ret_placements, error);
}

/* ---- losses ---- */

gboolean store_put_loss(Store *store, const char *batch_id, int64_t time_utc, int number,
                        const char *cause, GError **error)
{
    if (number <= 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "a loss of %d plants: the number must be above 0", number);
        return FALSE;
    }
    return store_run(store, error,
                     "INSERT INTO loss(batch_id, time_utc, number, cause) VALUES(?1, ?2, ?3, ?4)",
                     V_TEXT(batch_id), V_INT(time_utc), V_INT(number), V_TEXT(cause));
}

static void clear_loss(gpointer data)
{
    g_free(((StoreLoss *)data)->cause);
}

static gboolean read_loss(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreLoss *loss = item;
    (void)context;
    (void)error;
    store_column_text(rows, 0, loss->batch_id, sizeof loss->batch_id);
    loss->time_utc = sqlite3_column_int64(rows, 1);
    loss->number = sqlite3_column_int(rows, 2);
    loss->cause = g_strdup((const char *)sqlite3_column_text(rows, 3));
    return TRUE;
}

gboolean store_load_losses(Store *store, const char *batch_id, GArray **ret_losses, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT batch_id, time_utc, number, cause FROM loss"
                    " WHERE ?1 IS NULL OR batch_id = ?1 ORDER BY time_utc, n",
                    V_TEXT(batch_id));
    return store_collect(store, rows, read_loss, NULL, sizeof(StoreLoss), clear_loss, ret_losses,
                         error);
}

/* ---- notes ---- */

gboolean store_put_note(Store *store, const char *batch_id, int64_t time_utc, const char *text,
                        GError **error)
{
    return store_run(store, error, "INSERT INTO note(batch_id, time_utc, text) VALUES(?1, ?2, ?3)",
                     V_TEXT(batch_id), V_INT(time_utc), V_TEXT(text));
}

static void clear_note(gpointer data)
{
    g_free(((StoreNote *)data)->text);
}

static gboolean read_note(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreNote *note = item;
    (void)context;
    (void)error;
    store_column_text(rows, 0, note->batch_id, sizeof note->batch_id);
    note->time_utc = sqlite3_column_int64(rows, 1);
    note->text = g_strdup((const char *)sqlite3_column_text(rows, 2));
    return TRUE;
}

gboolean store_load_notes(Store *store, const char *batch_id, GArray **ret_notes, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT batch_id, time_utc, text FROM note"
                    " WHERE ?1 IS NULL OR batch_id = ?1 ORDER BY time_utc, n",
                    V_TEXT(batch_id));
    return store_collect(store, rows, read_note, NULL, sizeof(StoreNote), clear_note, ret_notes,
                         error);
}
