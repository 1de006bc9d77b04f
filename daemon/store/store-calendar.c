/* SPDX-License-Identifier: MIT */
#include "store/store-calendar.h"

#include "store/store-private.h"

void store_event_clear(StoreEvent *event)
{
    g_clear_pointer(&event->content, g_free);
}

gboolean store_put_event(Store *store, const StoreEvent *e, GError **error)
{
    if (e->uid[0] == '\0') {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "a calendar event needs a UID");
        return FALSE;
    }
    if (!store_run(store, error,
                   "INSERT INTO event(uid, visit_id, sequence, dtstamp_utc, created_utc,"
                   " last_modified_utc, content_hash, status, start_utc, end_utc, ended,"
                   " day_end_utc, content)"
                   " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)"
                   " ON CONFLICT(uid) DO UPDATE SET visit_id = excluded.visit_id,"
                   " sequence = excluded.sequence, dtstamp_utc = excluded.dtstamp_utc,"
                   " created_utc = excluded.created_utc,"
                   " last_modified_utc = excluded.last_modified_utc,"
                   " content_hash = excluded.content_hash, status = excluded.status,"
                   " start_utc = excluded.start_utc, end_utc = excluded.end_utc,"
                   " ended = excluded.ended, day_end_utc = excluded.day_end_utc,"
                   " content = excluded.content WHERE excluded.sequence >= event.sequence",
                   V_TEXT(e->uid), V_TEXT(e->visit_id[0] != '\0' ? e->visit_id : NULL),
                   V_INT(e->sequence), V_INT(e->dtstamp_utc), V_INT(e->created_utc),
                   V_INT(e->last_modified_utc), V_TEXT(e->content_hash), V_TEXT(e->status),
                   V_INT(e->start_utc), V_INT(e->end_utc), V_INT(e->ended), V_INT(e->day_end_utc),
                   V_TEXT(e->content != NULL ? e->content : "")))
        return FALSE;
    if (sqlite3_changes(store->db) > 0)
        return TRUE;
    /* RFC 5546 §2.1.4: a revision has a higher sequence; clients ignore one that fell. */
    g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                "calendar event %s: its sequence must not fall to %d", e->uid, e->sequence);
    return FALSE;
}

static gboolean read_event(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    StoreEvent *event = item;
    (void)context;
    (void)error;
    *event = (StoreEvent){
        .sequence = sqlite3_column_int(rows, 2),
        .dtstamp_utc = sqlite3_column_int64(rows, 3),
        .created_utc = sqlite3_column_int64(rows, 4),
        .last_modified_utc = sqlite3_column_int64(rows, 5),
        .start_utc = sqlite3_column_int64(rows, 8),
        .end_utc = sqlite3_column_int64(rows, 9),
        .ended = sqlite3_column_int(rows, 10) != 0,
        .day_end_utc = sqlite3_column_int64(rows, 11),
        .content = g_strdup((const char *)sqlite3_column_text(rows, 12)),
    };
    store_column_text(rows, 0, event->uid, sizeof event->uid);
    store_column_text(rows, 1, event->visit_id, sizeof event->visit_id);
    store_column_text(rows, 6, event->content_hash, sizeof event->content_hash);
    store_column_text(rows, 7, event->status, sizeof event->status);
    return TRUE;
}

gboolean store_load_events(Store *store, gboolean include_ended, GArray **ret_events,
                           GError **error)
{
    g_autoptr(StoreRows) rows = store_query(
        store, error,
        "SELECT uid, visit_id, sequence, dtstamp_utc, created_utc, last_modified_utc, content_hash,"
        " status, start_utc, end_utc, ended, day_end_utc, content FROM event"
        " WHERE ?1 OR NOT ended ORDER BY start_utc, uid",
        V_INT(include_ended));
    return store_collect(store, rows, read_event, NULL, sizeof(StoreEvent),
                         (GDestroyNotify)store_event_clear, ret_events, error);
}
