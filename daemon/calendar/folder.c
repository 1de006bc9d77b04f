/* SPDX-License-Identifier: MIT */
#include "calendar/folder.h"

#include <errno.h>
#include <glib/gstdio.h>
#include <string.h>
#include <sys/stat.h>

#include "base/atomic-file.h"
#include "base/error.h"
#include "calendar/object.h"

#define FILE_MODE 0640 /* as that of the one file, calendar/file.c */

void folder_action_free(FolderAction *action)
{
    if (action == NULL)
        return;
    g_free(action->uid);
    g_free(action->text);
    g_free(action->ours);
    g_free(action);
}

GHashTable *calendar_folder_texts(void)
{
    return g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
}

static char *file_of(const char *folder, const char *uid)
{
    g_autofree char *name = g_strconcat(uid, ".ics", NULL);
    return g_build_filename(folder, name, NULL);
}

/* ---- what is there ---- */

/* *RET_TEXT NULL: there is none. */
static gboolean read_object(const char *path, char **ret_text, GError **error)
{
    GStatBuf status;

    *ret_text = NULL;
    if (g_lstat(path, &status) != 0) {
        if (errno == ENOENT)
            return TRUE;
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "%s: cannot be looked at: %s", path,
                    g_strerror(errno));
        return FALSE;
    }
    if (!S_ISREG(status.st_mode) || status.st_size > OBJECT_BYTES_MAX) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                    "%s: is not an event of thole's; move it away", path);
        return FALSE;
    }
    return g_file_get_contents(path, ret_text, NULL, error);
}

GHashTable *calendar_folder_look(const char *path, const GPtrArray *uids, GError **error)
{
    g_autoptr(GHashTable) there = calendar_folder_texts();

    if (!g_file_test(path, G_FILE_TEST_IS_DIR)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO,
                    "%s: there is no such folder; make it, or name another one", path);
        return NULL;
    }
    for (guint i = 0; i < uids->len; i++) {
        g_autofree char *file = file_of(path, uids->pdata[i]);
        char *text = NULL;
        if (!read_object(file, &text, error))
            return NULL;
        if (text != NULL)
            g_hash_table_insert(there, g_strdup(uids->pdata[i]), text);
    }
    return g_steal_pointer(&there);
}

/* ---- deciding ---- */

static FolderAction *action_new(const char *uid, const char *text, const char *ours)
{
    FolderAction *action = g_new0(FolderAction, 1);

    action->uid = g_strdup(uid);
    action->text = g_strdup(text);
    action->ours = g_strdup(ours);
    return action;
}

static FolderAction *decide_shown(const EventMemory *event, const char *ours, const char *theirs,
                                  GTimeZone *zone, int64_t now_utc)
{
    g_autofree char *plain = calendar_object_write(event, event->uid);
    char *known[] = {(char *)(ours != NULL && *ours != '\0' ? ours : plain), NULL};

    if (g_strcmp0(theirs, plain) == 0)
        return g_strcmp0(ours, plain) == 0 ? NULL : action_new(event->uid, NULL, plain);
    if (theirs == NULL || g_strcmp0(theirs, ours) == 0)
        return action_new(event->uid, plain, plain);
    /* Others had it in hand. */
    g_autofree char *merged = calendar_object_merge(theirs, event, known, zone, now_utc);
    if (merged != NULL && calendar_object_same(merged, theirs))
        return g_strcmp0(ours, plain) == 0 ? NULL : action_new(event->uid, NULL, plain);
    return action_new(event->uid, merged != NULL ? merged : plain, plain);
}

/* What we wrote and want no more: only if it is that event still. */
static FolderAction *removal(const char *uid, const char *theirs, GTimeZone *zone)
{
    g_autoptr(CalendarObject) object =
        theirs != NULL ? calendar_object_read(theirs, -1, zone, NULL) : NULL;

    FolderAction *action = action_new(uid, NULL, NULL);
    action->remove = object != NULL && strcmp(object->uid, uid) == 0;
    return action;
}

GPtrArray *calendar_folder_decide(const GPtrArray *events, GHashTable *ours, GHashTable *there,
                                  GTimeZone *zone, int64_t now_utc)
{
    GPtrArray *actions = g_ptr_array_new_with_free_func((GDestroyNotify)folder_action_free);
    g_autoptr(GHashTable) shown = g_hash_table_new(g_str_hash, g_str_equal);
    GHashTableIter each;
    gpointer uid;

    for (guint i = 0; i < events->len; i++) {
        const EventMemory *event = events->pdata[i];
        if (!event_memory_is_shown(event))
            continue;
        g_hash_table_add(shown, event->uid);
        FolderAction *action = decide_shown(event, g_hash_table_lookup(ours, event->uid),
                                            g_hash_table_lookup(there, event->uid), zone, now_utc);
        if (action != NULL)
            g_ptr_array_add(actions, action);
    }
    g_hash_table_iter_init(&each, ours);
    while (g_hash_table_iter_next(&each, &uid, NULL)) {
        if (!g_hash_table_contains(shown, uid))
            g_ptr_array_add(actions, removal(uid, g_hash_table_lookup(there, uid), zone));
    }
    return actions;
}

/* ---- doing ---- */

static gboolean perform(const char *path, const FolderAction *action, GError **error)
{
    g_autofree char *file = file_of(path, action->uid);

    if (action->text != NULL)
        return atomic_file_write(file, action->text, strlen(action->text), FILE_MODE, error);
    if (action->remove && g_unlink(file) != 0 && errno != ENOENT) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "%s: cannot be removed: %s", file,
                    g_strerror(errno));
        return FALSE;
    }
    return TRUE;
}

gboolean calendar_folder_perform(const char *path, GPtrArray *actions, GPtrArray *done,
                                 GError **error)
{
    while (actions->len > 0) {
        if (!perform(path, actions->pdata[0], error))
            return FALSE;
        g_ptr_array_add(done, g_ptr_array_steal_index(actions, 0));
    }
    return TRUE;
}
