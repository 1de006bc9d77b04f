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

gboolean store_load_placements(Store *store, const Garden *garden, const char *batch_id,
                               int64_t from_utc, GArray **ret_placements, GError **error)
{
    g_autoptr(GArray) placements = g_array_new(FALSE, FALSE, sizeof(StorePlacement));
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT batch_id, place, from_utc FROM placement AS p WHERE (?1 IS NULL OR batch_id = ?1)"
        " AND from_utc >= coalesce((SELECT max(from_utc) FROM placement AS q"
        " WHERE q.batch_id = p.batch_id AND q.from_utc <= ?2), ?2) ORDER BY from_utc, n",
        V_TEXT(batch_id), V_INT(from_utc));
    if (rows == NULL)
        return FALSE;
    int step;
    while ((step = store_step(store, rows, error)) > 0) {
        StorePlacement placement = {
            .place = store_find_place(garden, (const char *)sqlite3_column_text(rows, 1)),
            .from_utc = sqlite3_column_int64(rows, 2),
        };
        store_column_text(rows, 0, placement.batch_id, sizeof placement.batch_id);
        g_array_append_val(placements, placement);
    }
    if (step < 0)
        return FALSE;
    *ret_placements = g_steal_pointer(&placements);
    return TRUE;
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

gboolean store_load_losses(Store *store, const char *batch_id, GArray **ret_losses, GError **error)
{
    g_autoptr(GArray) losses = g_array_new(FALSE, FALSE, sizeof(StoreLoss));
    g_array_set_clear_func(losses, clear_loss);
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT batch_id, time_utc, number, cause FROM loss"
                    " WHERE ?1 IS NULL OR batch_id = ?1 ORDER BY time_utc, n",
                    V_TEXT(batch_id));
    if (rows == NULL)
        return FALSE;
    int step;
    while ((step = store_step(store, rows, error)) > 0) {
        StoreLoss loss = {
            .time_utc = sqlite3_column_int64(rows, 1),
            .number = sqlite3_column_int(rows, 2),
            .cause = g_strdup((const char *)sqlite3_column_text(rows, 3)),
        };
        store_column_text(rows, 0, loss.batch_id, sizeof loss.batch_id);
        g_array_append_val(losses, loss);
    }
    if (step < 0)
        return FALSE;
    *ret_losses = g_steal_pointer(&losses);
    return TRUE;
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

gboolean store_load_notes(Store *store, const char *batch_id, GArray **ret_notes, GError **error)
{
    g_autoptr(GArray) notes = g_array_new(FALSE, FALSE, sizeof(StoreNote));
    g_array_set_clear_func(notes, clear_note);
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT batch_id, time_utc, text FROM note"
                    " WHERE ?1 IS NULL OR batch_id = ?1 ORDER BY time_utc, n",
                    V_TEXT(batch_id));
    if (rows == NULL)
        return FALSE;
    int step;
    while ((step = store_step(store, rows, error)) > 0) {
        StoreNote note = {
            .time_utc = sqlite3_column_int64(rows, 1),
            .text = g_strdup((const char *)sqlite3_column_text(rows, 2)),
        };
        store_column_text(rows, 0, note.batch_id, sizeof note.batch_id);
        g_array_append_val(notes, note);
    }
    if (step < 0)
        return FALSE;
    *ret_notes = g_steal_pointer(&notes);
    return TRUE;
}
