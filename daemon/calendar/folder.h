/* SPDX-License-Identifier: MIT */
/*
 * A folder with one object for each event, UID.ics, as programs that sync folders want it. Deciding
 * is apart from reading and writing: those two touch no library and may be done in a thread.
 *
 *   calendar_folder_look()     names → what is there
 *   calendar_folder_decide()   → what to do
 *   calendar_folder_perform()
 */
#pragma once

#include "calendar/event.h"

/* What is to be done to UID.ics, and to be remembered of it afterwards. */
typedef struct FolderAction {
    char *uid;       /* (owned) */
    char *text;      /* (owned) (nullable) what it is to hold; NULL: it stays as it is, or goes: */
    gboolean remove; /* with `text` NULL */
    char *ours;      /* (owned) (nullable) what we say in it; NULL: it is forgotten */
} FolderAction;

void folder_action_free(FolderAction *action);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(FolderAction, folder_action_free)

/* An empty table from a UID to a text; both owned by it. */
GHashTable *calendar_folder_texts(void);

/*
 * The files of UIDS (element-type utf8) that are in the folder at PATH, by UID; others are not
 * looked at. NULL with THOLE_ERROR_IO where there is no such folder, or one cannot be read; with
 * THOLE_ERROR_CONFLICT where a link, a folder or a device has such a name. g_hash_table_unref().
 */
GHashTable *calendar_folder_look(const char *path, const GPtrArray *uids,
                                 GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * From EVENTS (element-type EventMemory), OURS (what we wrote last, by UID; "" not known) and THERE
 * to what must be done (element-type FolderAction); g_ptr_array_unref(). What stands in OURS and is
 * shown no more, goes; what others wrote is left, unless it has the UID of an event: that event is
 * put into it, and alarms, acknowledgements and properties of theirs stay (calendar/object.h). ZONE
 * is of times without one.
 */
GPtrArray *calendar_folder_decide(const GPtrArray *events, GHashTable *ours, GHashTable *there,
                                  GTimeZone *zone, int64_t now_utc);

/*
 * Does ACTIONS in the folder at PATH, each file replaced in one step; takes those that are done out
 * of ACTIONS and puts them into DONE. FALSE at the first that fails; what is done stays done.
 */
gboolean calendar_folder_perform(const char *path, GPtrArray *actions, GPtrArray *done,
                                 GError **error) G_GNUC_WARN_UNUSED_RESULT;
