/* SPDX-License-Identifier: MIT */
/*
 * What growers do in their calendars. Each outlet counts the changes of an event for itself
 * (CaldavEdit.edits); the service knows an event, not an outlet. So each change gets a number that
 * rises over all outlets, and what is seen is asked for by that number:
 *
 *   edits    of the outlet, of the last change that needs an answer
 *   number   of the service, given to that change
 *   answer   the `edits` of the latest change before it that was seen
 */
#include <string.h>

#include "service/edits.h"
#include "service/outlet-private.h"

static const char *word_of(CaldavEditKind kind)
{
    switch (kind) {
    case CALDAV_MOVED:
        return "moved";
    case CALDAV_DELETED:
        return "deleted";
    case CALDAV_CANCELLED:
        return "cancelled";
    case CALDAV_DONE:
        return "done";
    case CALDAV_RESTORED:
        return "restored";
    case CALDAV_RENAMED:
        return "renamed";
    case CALDAV_SAID_OK:
        return "ok";
    case CALDAV_SAID_MISSED:
        return "missed";
    case CALDAV_SAID_WATERED:
        return "watered";
    case CALDAV_SAID_READING:
        return "reading";
    case CALDAV_SAID_OTHER:
        return "line";
    case CALDAV_OTHER_SEEN:
        return "other";
    case CALDAV_OTHER_GONE:
        return "other-gone";
    case CALDAV_LOST:
        return "lost";
    }
    g_assert_not_reached();
}

static StoreOutletEdit *row_of(Outlet *o, const char *uid)
{
    for (guint i = 0; i < o->edits->len; i++) {
        StoreOutletEdit *row = &g_array_index(o->edits, StoreOutletEdit, i);
        if (strcmp(row->uid, uid) == 0)
            return row;
    }
    return NULL;
}

gboolean outlet_edits_load(Outlet *o, GError **error)
{
    GArray *rows = NULL;
    if (!store_load_outlet_edits(o->service->store, o->setup.name, &rows, error))
        return FALSE;
    g_array_unref(o->edits);
    o->edits = rows;
    return TRUE;
}

guint outlet_edits_seen(Outlet *o, const char *uid)
{
    const StoreOutletEdit *row = row_of(o, uid);
    if (row == NULL)
        return 0;
    const gboolean answered = edits_seen(o->service, uid) >= (guint)row->number;
    return (guint)(answered ? row->edits : row->answer);
}

static gboolean note(Outlet *o, const CaldavEdit *edit, GError **error)
{
    const char *uid = edit->uid != NULL ? edit->uid : "";
    const guint seen = outlet_edits_seen(o, uid);
    int number = 0;
    StoreOutletEdit *row = row_of(o, uid);
    if (edit->edits > 0 && !store_last_outlet_edit(o->service->store, uid, &number, error))
        return FALSE;
    if (row == NULL) {
        StoreOutletEdit fresh = {.uid = g_strdup(uid), .text = g_strdup("")};
        g_strlcpy(fresh.outlet, o->setup.name, sizeof fresh.outlet);
        g_array_append_val(o->edits, fresh);
        row = &g_array_index(o->edits, StoreOutletEdit, o->edits->len - 1);
    }
    if (edit->edits > 0) {
        row->answer = (int)seen;
        row->edits = (int)edit->edits;
        row->number = number + 1;
    }
    g_strlcpy(row->kind, word_of(edit->kind), sizeof row->kind);
    row->start_utc = edit->kind == CALDAV_MOVED ? edit->start_utc : 0;
    row->at_utc = clock_now(o->service->clk);
    g_free(row->text);
    row->text = g_strdup(edit->text != NULL ? edit->text : "");
    return store_put_outlet_edit(o->service->store, row, error);
}

gboolean outlet_edits_take(Outlet *o, const GPtrArray *edits, GError **error)
{
    g_autofree CaldavEdit *numbered = g_new0(CaldavEdit, edits->len);
    g_autoptr(GPtrArray) told = g_ptr_array_new();
    for (guint i = 0; i < edits->len; i++) {
        numbered[i] = *(const CaldavEdit *)g_ptr_array_index(edits, i);
        if (!note(o, &numbered[i], error))
            return FALSE;
        if (numbered[i].edits > 0)
            numbered[i].edits = (guint)row_of(o, numbered[i].uid)->number;
        g_ptr_array_add(told, &numbered[i]);
    }
    return edits_take(o->service, o->setup.grower, told, error);
}
