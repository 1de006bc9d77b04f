/* SPDX-License-Identifier: MIT */
/*
 * What is to be done. Policy: the grower's time stands until the plan has answered it, our words
 * win where both changed, the grower's lines in the notes stay, and what the grower took away is
 * not put back.
 */
#include "caldav/sync.h"

#include <string.h>

#include "caldav/sync-private.h"
#include "calendar/object.h"

#define OURS_MAX 3 /* writes in a row whose outcome may be unknown, and are told apart; chosen */
#define GENERATION_MAX                                                                             \
    3 /* other names that are tried for an event that a server refuses; chosen                     \
       */

void caldav_listed_free(CaldavListed *listed)
{
    if (listed == NULL)
        return;
    g_free(listed->href);
    g_free(listed->etag);
    g_free(listed);
}

void caldav_action_free(CaldavAction *action)
{
    if (action == NULL)
        return;
    g_free(action->uid);
    g_free(action->href);
    g_free(action->text);
    g_free(action->if_match);
    g_free(action);
}

GPtrArray *caldav_edits_new(void)
{
    return g_ptr_array_new_with_free_func((GDestroyNotify)caldav_edit_free);
}

/* ---- shared ---- */

CaldavEdit *caldav_sync_edit(CaldavSync *sync, CaldavEditKind kind, const char *uid)
{
    CaldavEdit *edit = g_new0(CaldavEdit, 1);

    edit->kind = kind;
    edit->uid = g_strdup(uid);
    g_ptr_array_add(sync->edits, edit);
    return edit;
}

const CaldavWanted *caldav_sync_wanted(const CaldavSync *sync, const char *uid)
{
    for (guint i = 0; i < sync->wanted->len; i++) {
        const CaldavWanted *wanted = &g_array_index(sync->wanted, CaldavWanted, i);
        if (strcmp(wanted->event->uid, uid) == 0)
            return wanted;
    }
    return NULL;
}

gboolean caldav_wanted_shown(const CaldavWanted *wanted)
{
    return event_memory_is_shown(wanted->event) && !wanted->event->cancelled;
}

void caldav_forget_attempt(CaldavObject *object)
{
    caldav_set(&object->attempt, "");
    caldav_set(&object->attempt_ours, "");
    caldav_set(&object->attempt_hash, "");
}

void caldav_set_ours(CaldavObject *object, const char *ours, gboolean keep_earlier)
{
    GPtrArray *list = g_ptr_array_new();
    guint n = keep_earlier ? g_strv_length(object->ours) : 0;

    for (guint i = n >= OURS_MAX ? n - OURS_MAX + 1 : 0; i < n; i++) {
        if (strcmp(object->ours[i], ours) != 0)
            g_ptr_array_add(list, g_strdup(object->ours[i]));
    }
    g_ptr_array_add(list, g_strdup(ours));
    g_ptr_array_add(list, NULL);
    g_strfreev(object->ours);
    object->ours = (char **)g_ptr_array_free(list, FALSE);
}

/* ---- what the event should say, with the grower's parts in it ---- */

static void set_notes(EventMemory *event, char *const *notes)
{
    if (*notes == NULL)
        return;
    g_autofree char *lines = g_strjoinv("\n", (char **)notes);
    char *text = *event->description != '\0' ? g_strdup_printf("%s\n%s", event->description, lines)
                                             : g_strdup(lines);
    g_free(event->description);
    event->description = text;
}

static EventMemory *effective(CaldavSync *sync, CaldavObject *object, const CaldavWanted *wanted)
{
    EventMemory *event = event_memory_copy(wanted->event);

    if (object->pinned && wanted->edits_seen >= object->edits)
        object->pinned = FALSE;
    if (object->pinned) {
        g_autoptr(CalendarObject) there = calendar_object_read(object->text, -1, sync->zone, NULL);
        if (there != NULL) {
            event->start_utc = there->start_utc;
            event->end_utc = MAX(there->end_utc, there->start_utc + 60);
        }
    }
    if (*object->title != '\0' && strcmp(object->title_over, event->summary) != 0) {
        /* The job is another one now: its title must say so. */
        caldav_set(&object->title, "");
        caldav_set(&object->title_over, "");
    }
    if (*object->title != '\0')
        caldav_set(&event->summary, object->title);
    set_notes(event, object->notes);
    return event;
}

static gboolean stands_at(CaldavSync *sync, const CaldavObject *object, const EventMemory *event)
{
    g_autoptr(CalendarObject) there = calendar_object_read(object->text, -1, sync->zone, NULL);

    return there != NULL && there->start_utc == event->start_utc &&
           there->end_utc == event->end_utc && !there->repeats;
}

/* ---- one object ---- */

static CaldavAction *action_new(CaldavActionKind kind, const CaldavObject *object)
{
    CaldavAction *action = g_new0(CaldavAction, 1);

    action->kind = kind;
    if (object != NULL) {
        action->uid = g_strdup(object->uid);
        action->href = g_strdup(object->href);
    }
    return action;
}

/* A weak tag never matches (RFC 9110 §13.1.1), so none is sent: the object is looked at instead. */
static void guard(CaldavAction *action, const CaldavObject *object, gboolean looked)
{
    if (*object->etag == '"')
        action->if_match = g_strdup(object->etag);
    else
        action->look = !looked;
}

static CaldavAction *removal(CaldavObject *object, gboolean looked)
{
    CaldavAction *action = action_new(CALDAV_DELETE, object);

    guard(action, object, looked);
    object->deleting = TRUE;
    return action;
}

/* A body, which may arrive without our ever knowing: it is kept before it is sent. */
static CaldavAction *writing(CaldavObject *object, CaldavActionKind kind, char *text,
                             const CaldavWanted *wanted)
{
    g_autofree char *uid = caldav_object_uid(object);
    g_autofree char *ours = calendar_object_write(wanted->event, uid);
    CaldavAction *action = action_new(kind, object);

    caldav_set(&object->attempt, text);
    caldav_set(&object->attempt_ours, ours);
    caldav_set(&object->attempt_hash, wanted->event->hash);
    action->text = text;
    return action;
}

static CaldavAction *decide_standing(CaldavSync *sync, CaldavObject *object,
                                     const CaldavWanted *wanted, gboolean looked)
{
    g_autofree char *uid = caldav_object_uid(object);
    g_autoptr(EventMemory) event = effective(sync, object, wanted);
    char *text;

    if (object->cancelled || object->done)
        return action_new(CALDAV_NOTHING, object);
    if (*object->text != '\0') {
        if (strcmp(object->hash, wanted->event->hash) == 0 &&
            (object->pinned || stands_at(sync, object, event)))
            return action_new(CALDAV_NOTHING, object);
        text = calendar_object_merge(object->text, event, object->ours, sync->zone, sync->now_utc);
        if (text != NULL && calendar_object_same(text, object->text)) {
            g_autofree char *ours = calendar_object_write(wanted->event, uid);
            g_free(text);
            caldav_set(&object->hash, wanted->event->hash);
            caldav_set_ours(object, ours, FALSE);
            return action_new(CALDAV_NOTHING, object);
        }
    } else {
        text = calendar_object_write(event, uid);
    }
    CaldavAction *action = writing(object, CALDAV_UPDATE,
                                   text != NULL ? text : calendar_object_write(event, uid), wanted);
    guard(action, object, looked);
    return action;
}

static CaldavAction *decide(CaldavSync *sync, CaldavObject *object, gboolean looked)
{
    const CaldavWanted *wanted = caldav_sync_wanted(sync, object->uid);
    gboolean shown = wanted != NULL && caldav_wanted_shown(wanted);

    if (object->missing || object->unread || object->fate == CALDAV_DROPPED)
        return action_new(CALDAV_NOTHING, object);
    if (object->fate == CALDAV_UNSENT) {
        if (!shown || wanted->event->end_utc <= sync->now_utc)
            return action_new(CALDAV_NOTHING, object);
        g_autofree char *uid = caldav_object_uid(object);
        g_autoptr(EventMemory) event = effective(sync, object, wanted);
        return writing(object, CALDAV_CREATE, calendar_object_write(event, uid), wanted);
    }
    if (shown)
        return decide_standing(sync, object, wanted, looked);
    /* Withdrawn by the plan, but moved by the grower meanwhile: the plan must see that first. */
    if (wanted != NULL && event_memory_is_shown(wanted->event) && object->pinned &&
        wanted->edits_seen < object->edits)
        return action_new(CALDAV_NOTHING, object);
    return removal(object, looked);
}

CaldavAction *caldav_sync_decide(CaldavSync *sync, const char *href, gboolean looked)
{
    CaldavObject *object = caldav_state_by_href(sync->state, href);
    return object != NULL ? decide(sync, object, looked) : action_new(CALDAV_NOTHING, NULL);
}

/* ---- all of them ---- */

static char *href_of(const CaldavState *state, const CaldavObject *object)
{
    g_autofree char *uid = caldav_object_uid(object);
    g_autoptr(GUri) uri = g_uri_parse(state->collection, G_URI_FLAGS_ENCODED, NULL);
    const char *path = uri != NULL ? g_uri_get_path(uri) : state->collection;
    return g_strdup_printf("%s%s%s.ics", path, g_str_has_suffix(path, "/") ? "" : "/", uid);
}

static void add_new(CaldavSync *sync)
{
    for (guint i = 0; i < sync->wanted->len; i++) {
        const CaldavWanted *wanted = &g_array_index(sync->wanted, CaldavWanted, i);
        if (!caldav_wanted_shown(wanted) || wanted->event->end_utc <= sync->now_utc ||
            caldav_state_by_uid(sync->state, wanted->event->uid) != NULL)
            continue;
        CaldavObject *object = caldav_state_add(sync->state, wanted->event->uid);
        g_autofree char *href = href_of(sync->state, object);
        caldav_set(&object->href, href);
    }
}

/* What is neither there nor wanted any more; a deletion is remembered as long as it is wanted. */
static void forget_finished(CaldavSync *sync)
{
    for (guint i = 0; i < sync->state->objects->len;) {
        const CaldavObject *object = sync->state->objects->pdata[i];
        const CaldavWanted *wanted = caldav_sync_wanted(sync, object->uid);
        if (object->fate != CALDAV_STANDS && *object->attempt == '\0' &&
            (wanted == NULL || !caldav_wanted_shown(wanted)))
            g_ptr_array_remove_index(sync->state->objects, i);
        else
            i++;
    }
}

GPtrArray *caldav_sync_actions(CaldavSync *sync)
{
    GPtrArray *actions = g_ptr_array_new_with_free_func((GDestroyNotify)caldav_action_free);

    forget_finished(sync);
    add_new(sync);
    for (guint i = 0; i < sync->state->objects->len; i++) {
        g_autoptr(CaldavAction) action = decide(sync, sync->state->objects->pdata[i], FALSE);
        if (action->kind != CALDAV_NOTHING)
            g_ptr_array_add(actions, g_steal_pointer(&action));
    }
    return actions;
}

/* Perhaps the name is burnt: some servers keep those of deleted events. Another one is tried. */
static void try_another_name(CaldavSync *sync, CaldavObject *object)
{
    caldav_forget_attempt(object);
    /* It may also be that it is there under another path. */
    caldav_set(&sync->state->token, "");
    if (object->generation >= GENERATION_MAX)
        return;
    object->generation = object->generation == 0 ? 2 : object->generation + 1;
    g_autofree char *href = href_of(sync->state, object);
    caldav_set(&object->href, href);
}

void caldav_sync_done(CaldavSync *sync, const CaldavAction *action, CaldavOutcome outcome,
                      const char *etag)
{
    CaldavObject *object = caldav_state_by_href(sync->state, action->href);

    if (object == NULL || outcome == CALDAV_OUTCOME_CONFLICT || outcome == CALDAV_OUTCOME_UNKNOWN)
        return;
    if (outcome == CALDAV_OUTCOME_REFUSED) {
        if (action->kind == CALDAV_CREATE)
            try_another_name(sync, object);
        caldav_forget_attempt(object);
        object->deleting = FALSE;
        return;
    }
    if (action->kind == CALDAV_DELETE) {
        g_ptr_array_remove(sync->state->objects, object);
        return;
    }
    caldav_set(&object->text, action->text);
    caldav_set(&object->etag, etag);
    caldav_set_ours(object, object->attempt_ours, FALSE);
    caldav_set(&object->hash, object->attempt_hash);
    caldav_forget_attempt(object);
    object->fate = CALDAV_STANDS;
}

guint caldav_sync_pending(CaldavSync *sync)
{
    g_autoptr(CaldavState) copy = NULL;
    g_autofree char *text = caldav_state_write(sync->state);
    CaldavSync of_copy = *sync;

    copy = caldav_state_read(text, NULL);
    if (copy == NULL)
        return 0;
    of_copy.state = copy;
    g_autoptr(GPtrArray) actions = caldav_sync_actions(&of_copy);
    return actions->len;
}
