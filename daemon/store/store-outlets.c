/* SPDX-License-Identifier: MIT */
#include "store/store-outlets.h"

#include "store/store-private.h"

void store_outlet_clear(StoreOutlet *outlet)
{
    g_clear_pointer(&outlet->state, g_free);
    g_clear_pointer(&outlet->problem, g_free);
}

gboolean store_put_outlet(Store *store, const StoreOutlet *o, GError **error)
{
    if (o->name[0] == '\0') {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "a calendar that is kept needs a name");
        return FALSE;
    }
    return store_run(store, error,
                     "INSERT INTO outlet(name, kind, state, problem, refused, failures, pending,"
                     " delivered_utc, tried_utc) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)"
                     " ON CONFLICT(name) DO UPDATE SET kind = excluded.kind,"
                     " state = excluded.state, problem = excluded.problem,"
                     " refused = excluded.refused, failures = excluded.failures,"
                     " pending = excluded.pending, delivered_utc = excluded.delivered_utc,"
                     " tried_utc = excluded.tried_utc",
                     V_TEXT(o->name), V_TEXT(o->kind), V_TEXT(o->state != NULL ? o->state : ""),
                     V_TEXT(o->problem != NULL ? o->problem : ""), V_INT(o->refused),
                     V_INT(o->failures), V_INT(o->pending), V_INT(o->delivered_utc),
                     V_INT(o->tried_utc));
}

static gboolean read_outlet(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreOutlet *outlet = item;
    (void)context;
    (void)error;
    *outlet = (StoreOutlet){
        .state = g_strdup((const char *)sqlite3_column_text(rows, 2)),
        .problem = g_strdup((const char *)sqlite3_column_text(rows, 3)),
        .refused = sqlite3_column_int(rows, 4) != 0,
        .failures = sqlite3_column_int(rows, 5),
        .pending = sqlite3_column_int(rows, 6),
        .delivered_utc = sqlite3_column_int64(rows, 7),
        .tried_utc = sqlite3_column_int64(rows, 8),
    };
    store_column_text(rows, 0, outlet->name, sizeof outlet->name);
    store_column_text(rows, 1, outlet->kind, sizeof outlet->kind);
    return TRUE;
}

gboolean store_get_outlet(Store *store, const char *name, StoreOutlet *ret_outlet, GError **error)
{
    g_autoptr(GArray) found = NULL;
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT name, kind, state, problem, refused, failures, pending, delivered_utc,"
                    " tried_utc FROM outlet WHERE name = ?1",
                    V_TEXT(name));
    if (!store_collect(store, rows, read_outlet, NULL, sizeof(StoreOutlet),
                       (GDestroyNotify)store_outlet_clear, &found, error))
        return FALSE;
    *ret_outlet = (StoreOutlet){0};
    if (found->len > 0) {
        StoreOutlet *row = &g_array_index(found, StoreOutlet, 0);
        *ret_outlet = *row;
        *row = (StoreOutlet){0};
        return TRUE;
    }
    g_strlcpy(ret_outlet->name, name, sizeof ret_outlet->name);
    ret_outlet->state = g_strdup("");
    ret_outlet->problem = g_strdup("");
    return TRUE;
}

void store_outlet_edit_clear(StoreOutletEdit *edit)
{
    g_clear_pointer(&edit->uid, g_free);
    g_clear_pointer(&edit->text, g_free);
}

gboolean store_put_outlet_edit(Store *store, const StoreOutletEdit *e, GError **error)
{
    if (e->outlet[0] == '\0' || e->uid == NULL) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "what was done in a calendar needs its name and an event");
        return FALSE;
    }
    return store_run(store, error,
                     "INSERT INTO outlet_edit(outlet, uid, kind, start_utc, text, edits, number,"
                     " answer, at_utc) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)"
                     " ON CONFLICT(outlet, uid) DO UPDATE SET kind = excluded.kind,"
                     " start_utc = excluded.start_utc, text = excluded.text,"
                     " edits = excluded.edits, number = excluded.number,"
                     " answer = excluded.answer, at_utc = excluded.at_utc",
                     V_TEXT(e->outlet), V_TEXT(e->uid), V_TEXT(e->kind), V_INT(e->start_utc),
                     V_TEXT(e->text != NULL ? e->text : ""), V_INT(e->edits), V_INT(e->number),
                     V_INT(e->answer), V_INT(e->at_utc));
}

static gboolean read_edit(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreOutletEdit *edit = item;
    (void)context;
    (void)error;
    *edit = (StoreOutletEdit){
        .uid = g_strdup((const char *)sqlite3_column_text(rows, 1)),
        .start_utc = sqlite3_column_int64(rows, 3),
        .text = g_strdup((const char *)sqlite3_column_text(rows, 4)),
        .edits = sqlite3_column_int(rows, 5),
        .number = sqlite3_column_int(rows, 6),
        .answer = sqlite3_column_int(rows, 7),
        .at_utc = sqlite3_column_int64(rows, 8),
    };
    store_column_text(rows, 0, edit->outlet, sizeof edit->outlet);
    store_column_text(rows, 2, edit->kind, sizeof edit->kind);
    return TRUE;
}

gboolean store_load_outlet_edits(Store *store, const char *outlet, GArray **ret_edits,
                                 GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT outlet, uid, kind, start_utc, text, edits, number, answer, at_utc"
                    " FROM outlet_edit WHERE outlet = ?1 ORDER BY at_utc, n",
                    V_TEXT(outlet));
    return store_collect(store, rows, read_edit, NULL, sizeof(StoreOutletEdit),
                         (GDestroyNotify)store_outlet_edit_clear, ret_edits, error);
}

static gboolean read_number(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    (void)context;
    (void)error;
    *(int *)item = sqlite3_column_int(rows, 0);
    return TRUE;
}

gboolean store_last_outlet_edit(Store *store, const char *uid, int *ret_number, GError **error)
{
    g_autoptr(GArray) numbers = NULL;
    g_autoptr(StoreRows) rows =
        store_query(store, error, "SELECT coalesce(max(number), 0) FROM outlet_edit WHERE uid = ?1",
                    V_TEXT(uid));
    if (!store_collect(store, rows, read_number, NULL, sizeof(int), NULL, &numbers, error))
        return FALSE;
    *ret_number = numbers->len > 0 ? g_array_index(numbers, int, 0) : 0;
    return TRUE;
}
