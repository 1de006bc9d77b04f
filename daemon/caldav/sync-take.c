/* SPDX-License-Identifier: MIT */
/*
 * What is there, taken in. Policy: whatever differs from what we last saw there, and from what we
 * may have written since, was done by the grower.
 */
#include <string.h>

#include "caldav/sync-private.h"
#include "calendar/object.h"

/* A listing's tag that proves that nothing changed (RFC 9110 §8.8.3: a weak one does not). */
static gboolean proves_same(const char *known, const char *etag)
{
    return etag != NULL && *etag == '"' && strcmp(known, etag) == 0;
}

static CaldavOther *other_by_href(const CaldavState *state, const char *href)
{
    for (guint i = 0; i < state->others->len; i++) {
        CaldavOther *other = state->others->pdata[i];
        if (strcmp(other->href, href) == 0)
            return other;
    }
    return NULL;
}

static void list_one(CaldavSync *sync, const CaldavListed *listed, GPtrArray *fetch)
{
    CaldavObject *object = caldav_state_by_href(sync->state, listed->href);
    CaldavOther *other = object == NULL ? other_by_href(sync->state, listed->href) : NULL;

    if (object != NULL)
        object->missing = listed->gone;
    /* It did arrive, and was taken away before we knew. */
    if (object != NULL && listed->gone && object->fate == CALDAV_UNSENT && *object->attempt != '\0')
        object->fate = CALDAV_STANDS;
    if (other != NULL)
        other->missing = listed->gone;
    if (listed->gone ||
        (object != NULL && object->fate == CALDAV_STANDS && *object->attempt == '\0' &&
         proves_same(object->etag, listed->etag)) ||
        (other != NULL && proves_same(other->etag, listed->etag)))
        return;
    g_ptr_array_add(fetch, g_strdup(listed->href));
}

GPtrArray *caldav_sync_listing(CaldavSync *sync, const GPtrArray *listed, gboolean full)
{
    GPtrArray *fetch = g_ptr_array_new_with_free_func(g_free);

    for (guint i = 0; i < sync->state->objects->len; i++) {
        CaldavObject *object = sync->state->objects->pdata[i];
        object->missing = full;
        object->unread = FALSE;
    }
    for (guint i = 0; i < sync->state->others->len; i++)
        ((CaldavOther *)sync->state->others->pdata[i])->missing = full;
    for (guint i = 0; i < listed->len; i++)
        list_one(sync, listed->pdata[i], fetch);
    return fetch;
}

/* ---- the notes ---- */

static void add_lines(GHashTable *lines, const char *text)
{
    g_auto(GStrv) split = g_strsplit(text, "\n", -1);
    for (char **line = split; *line != NULL; line++)
        g_hash_table_add(lines, g_strdup(g_strstrip(*line)));
}

/* Every line that we have said, or may have said: also what stood there and was not the grower's.
 */
static GHashTable *our_lines(const CaldavObject *object, GTimeZone *zone)
{
    GHashTable *lines = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    g_autoptr(CalendarObject) known = calendar_object_read(object->text, -1, zone, NULL);

    if (known != NULL)
        add_lines(lines, known->description);
    for (char **note = object->notes; *note != NULL; note++)
        g_hash_table_remove(lines, *note);

    for (guint i = 0; i <= g_strv_length(object->ours); i++) {
        const char *text = object->ours[i] != NULL ? object->ours[i] : object->attempt_ours;
        g_autoptr(CalendarObject) ours = calendar_object_read(text, -1, zone, NULL);
        if (ours != NULL)
            add_lines(lines, ours->description);
    }
    return lines;
}

static void note_line(CaldavSync *sync, const CaldavObject *object, const char *line)
{
    g_autofree char *place = NULL;
    double temperature_c;
    CaldavEditKind kind = caldav_read_line(line, &place, &temperature_c);
    CaldavEdit *edit = caldav_sync_edit(sync, kind, object->uid);

    edit->text = g_strdup(line);
    edit->place = g_steal_pointer(&place);
    edit->temperature_c = temperature_c;
}

/* Takes one out of several equal ones, so that a second "ok" is a second word. */
static gboolean take_line(GPtrArray *lines, const char *line)
{
    for (guint i = 0; i < lines->len; i++) {
        if (strcmp(lines->pdata[i], line) == 0) {
            g_ptr_array_remove_index(lines, i);
            return TRUE;
        }
    }
    return FALSE;
}

static void take_notes(CaldavSync *sync, CaldavObject *object, const CalendarObject *now)
{
    g_autoptr(GHashTable) ours = our_lines(object, sync->zone);
    g_autoptr(GPtrArray) known = g_ptr_array_new();
    GPtrArray *notes = g_ptr_array_new();
    g_auto(GStrv) lines = g_strsplit(now->description, "\n", -1);

    for (char **note = object->notes; *note != NULL; note++)
        g_ptr_array_add(known, *note);
    for (char **line = lines; *line != NULL && notes->len < CALDAV_NOTES_MAX; line++) {
        g_strstrip(*line);
        if (**line == '\0' || g_hash_table_contains(ours, *line))
            continue;
        if (!take_line(known, *line))
            note_line(sync, object, *line);
        g_ptr_array_add(notes, g_strdup(*line));
    }
    g_ptr_array_add(notes, NULL);
    g_strfreev(object->notes);
    object->notes = (char **)g_ptr_array_free(notes, FALSE);
}

/* ---- one of ours ---- */

static gboolean same_times(const CalendarObject *a, const CalendarObject *b)
{
    return b != NULL && a->start_utc == b->start_utc && a->end_utc == b->end_utc &&
           a->all_day == b->all_day && a->repeats == b->repeats;
}

static void take_times(CaldavSync *sync, CaldavObject *object, const CalendarObject *now,
                       const CalendarObject *known, const CalendarObject *attempt)
{
    if (known == NULL || same_times(now, known) || same_times(now, attempt))
        return;
    object->pinned = TRUE;
    object->edits++;
    CaldavEdit *edit = caldav_sync_edit(sync, CALDAV_MOVED, object->uid);
    edit->edits = object->edits;
    edit->start_utc = now->start_utc;
    edit->end_utc = now->end_utc;
    edit->all_day = now->all_day;
    edit->repeats = now->repeats;
}

static void take_title(CaldavSync *sync, CaldavObject *object, const CalendarObject *now,
                       const CalendarObject *known, const CalendarObject *attempt)
{
    guint n = g_strv_length(object->ours);
    const char *latest = n > 0 ? object->ours[n - 1] : object->attempt_ours;
    g_autoptr(CalendarObject) ours = calendar_object_read(latest, -1, sync->zone, NULL);

    if (known == NULL || strcmp(now->summary, known->summary) == 0 ||
        (attempt != NULL && strcmp(now->summary, attempt->summary) == 0))
        return;
    gboolean is_ours = ours == NULL || strcmp(now->summary, ours->summary) == 0;
    caldav_set(&object->title, is_ours ? "" : now->summary);
    caldav_set(&object->title_over, is_ours ? "" : ours->summary);
    CaldavEdit *edit = caldav_sync_edit(sync, CALDAV_RENAMED, object->uid);
    edit->text = g_strdup(object->title);
}

static void take_marks(CaldavSync *sync, CaldavObject *object, const CalendarObject *now)
{
    gboolean was_off = object->cancelled || object->done || object->fate == CALDAV_DROPPED;
    gboolean is_off = now->cancelled || now->done;

    if (was_off == is_off && object->fate != CALDAV_DROPPED &&
        object->cancelled == (now->cancelled && !now->done) && object->done == now->done)
        return;
    object->cancelled = now->cancelled && !now->done;
    object->done = now->done;
    object->edits++;
    CaldavEdit *edit = caldav_sync_edit(sync,
                                        now->done        ? CALDAV_DONE
                                        : now->cancelled ? CALDAV_CANCELLED
                                                         : CALDAV_RESTORED,
                                        object->uid);
    edit->edits = object->edits;
}

/* Whether an unfinished write of ours is what stands there; then it is finished. */
static void take_attempt(CaldavObject *object, const char *text)
{
    if (*object->attempt == '\0')
        return;
    gboolean delivered = calendar_object_same(text, object->attempt);
    caldav_set_ours(object, object->attempt_ours, TRUE);
    /* Edited since, or not delivered: we cannot know, and say ours again. */
    caldav_set(&object->hash, delivered ? object->attempt_hash : "");
    caldav_forget_attempt(object);
}

static void take_ours(CaldavSync *sync, CaldavObject *object, const char *etag, const char *text,
                      const CalendarObject *now)
{
    g_autoptr(CalendarObject) known = calendar_object_read(object->text, -1, sync->zone, NULL);
    g_autoptr(CalendarObject) attempt = calendar_object_read(object->attempt, -1, sync->zone, NULL);

    /* Created by a write whose answer was lost: what it says is what we said. */
    if (known == NULL && attempt != NULL)
        known = g_steal_pointer(&attempt);
    /* Found again after we forgot all: what it says may all have been said by us. */
    if (object->ours[0] == NULL && *object->attempt_ours == '\0')
        caldav_set_ours(object, text, FALSE);
    take_times(sync, object, now, known, attempt);
    take_title(sync, object, now, known, attempt);
    take_notes(sync, object, now);
    take_marks(sync, object, now);
    take_attempt(object, text);
    caldav_set(&object->text, text);
    caldav_set(&object->etag, etag);
    object->fate = CALDAV_STANDS;
    object->resent = FALSE;
    object->deleting = FALSE;
    object->missing = FALSE;
}

/* ---- one that is not ---- */

static void take_other(CaldavSync *sync, const char *href, const char *etag, const char *text,
                       const CalendarObject *now)
{
    g_autofree char *hash = g_compute_checksum_for_string(G_CHECKSUM_SHA256, text, -1);
    CaldavOther *other = other_by_href(sync->state, href);
    gboolean ours = now != NULL && caldav_state_by_uid(sync->state, now->uid) != NULL;

    if (other == NULL) {
        other = g_new0(CaldavOther, 1);
        other->href = g_strdup(href);
        other->etag = g_strdup("");
        other->uid = g_strdup("");
        other->hash = g_strdup("");
        g_ptr_array_add(sync->state->others, other);
    }
    other->missing = FALSE;
    caldav_set(&other->etag, etag);
    /* A second copy of one of ours, which no server should have, is nobody's. */
    caldav_set(&other->uid, now != NULL && !ours ? now->uid : "");
    gboolean is_told = strcmp(other->hash, hash) == 0;
    caldav_set(&other->hash, hash);
    if (now == NULL || ours || is_told)
        return;
    CaldavEdit *edit = caldav_sync_edit(sync, CALDAV_OTHER_SEEN, now->uid);
    edit->start_utc = now->start_utc;
    edit->end_utc = now->end_utc;
    edit->all_day = now->all_day;
    edit->repeats = now->repeats;
    edit->text = g_strdup(now->summary);
    edit->location = g_strdup(now->location);
    edit->notes = g_strdup(now->description);
}

/* The object that TEXT belongs to: by its path, or by its UID where a client gave it another. */
static CaldavObject *owner_of(CaldavSync *sync, const char *href, const CalendarObject *now)
{
    CaldavObject *object = caldav_state_by_href(sync->state, href);

    if (object != NULL || now == NULL)
        return object;
    object = caldav_state_by_uid(sync->state, now->uid);
    if (object != NULL)
        return object->fate != CALDAV_STANDS || object->missing ? object : NULL;
    /* We forgot: what we want under that UID is ours, whatever it says. */
    if (caldav_sync_wanted(sync, now->uid) == NULL)
        return NULL;
    return caldav_state_add(sync->state, now->uid);
}

void caldav_sync_fetched(CaldavSync *sync, const char *href, const char *etag, const char *text,
                         gssize length)
{
    g_autofree char *valid =
        text != NULL ? g_utf8_make_valid(text, length < 0 ? (gssize)strlen(text) : length) : NULL;
    g_autoptr(CalendarObject) now =
        valid != NULL ? calendar_object_read(valid, -1, sync->zone, NULL) : NULL;
    CaldavObject *object = owner_of(sync, href, now);
    g_autofree char *uid = object != NULL ? caldav_object_uid(object) : NULL;

    if (text == NULL) {
        /* Whether it alone is gone only a listing can tell. */
        if (object != NULL)
            object->missing = TRUE;
        caldav_set(&sync->state->token, "");
    } else if (object == NULL) {
        take_other(sync, href, etag, valid, now);
    } else if (now == NULL || strcmp(now->uid, uid) != 0) {
        /* No event, or another one, in our place: ours is put over it. */
        object->fate = CALDAV_STANDS;
        object->missing = FALSE;
        caldav_forget_attempt(object);
        caldav_set(&object->text, "");
        caldav_set(&object->hash, "");
        caldav_set(&object->etag, etag);
    } else {
        caldav_set(&object->href, href);
        take_ours(sync, object, etag, valid, now);
    }
}

void caldav_sync_unread(CaldavSync *sync, const char *href, const char *etag)
{
    CaldavObject *object = caldav_state_by_href(sync->state, href);

    if (object != NULL)
        object->unread = TRUE;
    else
        take_other(sync, href, etag, "", NULL);
}

/* ---- what is missing ---- */

static void drop(CaldavSync *sync, CaldavObject *object)
{
    const CaldavWanted *wanted = caldav_sync_wanted(sync, object->uid);

    object->fate = CALDAV_DROPPED;
    if (object->deleting || wanted == NULL || !caldav_wanted_shown(wanted))
        return; /* it was to go anyway */
    object->edits++;
    caldav_sync_edit(sync, CALDAV_DELETED, object->uid)->edits = object->edits;
}

void caldav_sync_lost(CaldavSync *sync)
{
    gboolean any = FALSE;

    caldav_set(&sync->state->token, "");
    for (guint i = 0; i < sync->state->objects->len; i++) {
        CaldavObject *object = sync->state->objects->pdata[i];
        object->missing = FALSE;
        object->deleting = FALSE;
        caldav_forget_attempt(object);
        if (object->fate != CALDAV_STANDS || object->cancelled || object->done)
            continue;
        object->fate = CALDAV_UNSENT;
        object->resent = any = TRUE;
        caldav_set(&object->etag, "");
    }
    g_ptr_array_set_size(sync->state->others, 0);
    if (any)
        caldav_sync_edit(sync, CALDAV_LOST, "");
}

/* Whether all are gone at once, as a server loses them and a grower does not delete them. */
static gboolean all_lost(const CaldavState *state)
{
    guint missing = 0;

    for (guint i = 0; i < state->objects->len; i++) {
        const CaldavObject *object = state->objects->pdata[i];
        if (object->fate != CALDAV_STANDS || object->deleting)
            continue;
        if (!object->missing || object->resent)
            return FALSE;
        missing++;
    }
    return missing >= CALDAV_LOST_MIN;
}

void caldav_sync_settle(CaldavSync *sync)
{
    CaldavState *state = sync->state;

    if (all_lost(state)) {
        caldav_sync_lost(sync);
        return;
    }
    for (guint i = 0; i < state->objects->len; i++) {
        CaldavObject *object = state->objects->pdata[i];
        if (object->missing && object->fate == CALDAV_STANDS)
            drop(sync, object);
        object->missing = FALSE;
        object->deleting = FALSE;
        /* The listing shows no trace of it: it never arrived. */
        if (!object->unread)
            caldav_forget_attempt(object);
    }
    for (guint i = 0; i < state->others->len;) {
        CaldavOther *other = state->others->pdata[i];
        if (!other->missing) {
            i++;
            continue;
        }
        if (*other->uid != '\0')
            caldav_sync_edit(sync, CALDAV_OTHER_GONE, other->uid);
        g_ptr_array_remove_index(state->others, i);
    }
}
