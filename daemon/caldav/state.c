/* SPDX-License-Identifier: MIT */
#include "caldav/state.h"

#include <string.h>

#include "base/error.h"

#define OBJECT_TYPE "(sisssasssssbibbbbussas)"
#define STATE_TYPE "(isbsa" OBJECT_TYPE "a(ssss)xuss)"
#define STATE_VERSION 2

static void object_free(gpointer data)
{
    CaldavObject *object = data;
    g_free(object->uid);
    g_free(object->href);
    g_free(object->etag);
    g_free(object->text);
    g_strfreev(object->ours);
    g_free(object->hash);
    g_free(object->attempt);
    g_free(object->attempt_ours);
    g_free(object->attempt_hash);
    g_free(object->title);
    g_free(object->title_over);
    g_strfreev(object->notes);
    g_free(object);
}

static void other_free(gpointer data)
{
    CaldavOther *other = data;
    g_free(other->href);
    g_free(other->etag);
    g_free(other->uid);
    g_free(other->hash);
    g_free(other);
}

CaldavState *caldav_state_new(void)
{
    CaldavState *state = g_new0(CaldavState, 1);
    state->origin = g_strdup("");
    state->collection = g_strdup("");
    state->token = g_strdup("");
    state->last_error = g_strdup("");
    state->objects = g_ptr_array_new_with_free_func(object_free);
    state->others = g_ptr_array_new_with_free_func(other_free);
    return state;
}

void caldav_state_free(CaldavState *state)
{
    if (state == NULL)
        return;
    g_free(state->origin);
    g_free(state->collection);
    g_free(state->token);
    g_free(state->last_error);
    g_ptr_array_unref(state->objects);
    g_ptr_array_unref(state->others);
    g_free(state);
}

CaldavObject *caldav_state_add(CaldavState *state, const char *uid)
{
    CaldavObject *object = g_new0(CaldavObject, 1);
    char **fields[] = {&object->href,  &object->etag,         &object->text,
                       &object->hash,  &object->attempt,      &object->attempt_ours,
                       &object->title, &object->attempt_hash, &object->title_over};

    object->uid = g_strdup(uid);
    for (gsize i = 0; i < G_N_ELEMENTS(fields); i++)
        *fields[i] = g_strdup("");
    object->ours = g_new0(char *, 1);
    object->notes = g_new0(char *, 1);
    g_ptr_array_add(state->objects, object);
    return object;
}

CaldavObject *caldav_state_by_href(const CaldavState *state, const char *href)
{
    for (guint i = 0; i < state->objects->len; i++) {
        CaldavObject *object = state->objects->pdata[i];
        if (strcmp(object->href, href) == 0)
            return object;
    }
    return NULL;
}

char *caldav_object_uid(const CaldavObject *object)
{
    return object->generation > 0 ? g_strdup_printf("%s-%d", object->uid, object->generation)
                                  : g_strdup(object->uid);
}

CaldavObject *caldav_state_by_uid(const CaldavState *state, const char *uid)
{
    for (guint i = 0; i < state->objects->len; i++) {
        CaldavObject *object = state->objects->pdata[i];
        g_autofree char *published = caldav_object_uid(object);
        if (strcmp(object->uid, uid) == 0 || strcmp(published, uid) == 0)
            return object;
    }
    return NULL;
}

void caldav_set(char **field, const char *text)
{
    char *copy = g_utf8_make_valid(text != NULL ? text : "", -1);
    g_free(*field);
    *field = copy;
}

/* ---- as one text ---- */

static GVariant *pack_object(const CaldavObject *o)
{
    return g_variant_new("(sisss^asssssbibbbbuss^as)", o->uid, o->generation, o->href, o->etag,
                         o->text, o->ours, o->hash, o->attempt, o->attempt_ours, o->attempt_hash,
                         o->deleting, (gint32)o->fate, o->resent, o->cancelled, o->done, o->pinned,
                         (guint32)o->edits, o->title, o->title_over, o->notes);
}

char *caldav_state_write(const CaldavState *state)
{
    GVariantBuilder objects, others;

    g_variant_builder_init(&objects, G_VARIANT_TYPE("a" OBJECT_TYPE));
    for (guint i = 0; i < state->objects->len; i++)
        g_variant_builder_add_value(&objects, pack_object(state->objects->pdata[i]));
    g_variant_builder_init(&others, G_VARIANT_TYPE("a(ssss)"));
    for (guint i = 0; i < state->others->len; i++) {
        const CaldavOther *other = state->others->pdata[i];
        g_variant_builder_add(&others, "(ssss)", other->href, other->etag, other->uid, other->hash);
    }
    g_autoptr(GVariant) all = g_variant_ref_sink(g_variant_new(
        "(isbs@a" OBJECT_TYPE "@a(ssss)xuss)", STATE_VERSION, state->collection, state->own,
        state->token, g_variant_builder_end(&objects), g_variant_builder_end(&others),
        (gint64)state->last_ok_utc, (guint32)state->failures, state->last_error, state->origin));
    return g_variant_print(all, FALSE);
}

static void unpack_object(CaldavState *state, GVariant *packed)
{
    CaldavObject *o = caldav_state_add(state, "");
    gint32 fate;
    guint32 edits;

    g_free(o->uid);
    g_free(o->href);
    g_free(o->etag);
    g_free(o->text);
    g_strfreev(o->ours);
    g_free(o->hash);
    g_free(o->attempt);
    g_free(o->attempt_ours);
    g_free(o->attempt_hash);
    g_free(o->title);
    g_free(o->title_over);
    g_strfreev(o->notes);
    g_variant_get(packed, "(sisss^asssssbibbbbuss^as)", &o->uid, &o->generation, &o->href, &o->etag,
                  &o->text, &o->ours, &o->hash, &o->attempt, &o->attempt_ours, &o->attempt_hash,
                  &o->deleting, &fate, &o->resent, &o->cancelled, &o->done, &o->pinned, &edits,
                  &o->title, &o->title_over, &o->notes);
    o->fate = fate == CALDAV_STANDS || fate == CALDAV_DROPPED ? (CaldavFate)fate : CALDAV_UNSENT;
    o->edits = edits;
}

CaldavState *caldav_state_read(const char *text, GError **error)
{
    g_autoptr(GError) why = NULL;
    g_autoptr(GVariant) all = g_variant_parse(G_VARIANT_TYPE(STATE_TYPE), text, NULL, NULL, &why);
    g_autoptr(GVariantIter) objects = NULL, others = NULL;
    g_autoptr(CaldavState) state = caldav_state_new();
    gint32 version;
    guint32 failures;
    gint64 last_ok_utc;
    GVariant *packed;
    const char *href, *etag, *uid, *hash;

    if (all == NULL) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "what was kept of a calendar server cannot be read: %s", why->message);
        return NULL;
    }
    g_free(state->origin);
    g_free(state->collection);
    g_free(state->token);
    g_free(state->last_error);
    g_variant_get(all, STATE_TYPE, &version, &state->collection, &state->own, &state->token,
                  &objects, &others, &last_ok_utc, &failures, &state->last_error, &state->origin);
    state->last_ok_utc = last_ok_utc;
    state->failures = failures;
    if (version != STATE_VERSION) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "what was kept of a calendar server has version %d; accepted %d", version,
                    STATE_VERSION);
        return NULL;
    }
    while ((packed = g_variant_iter_next_value(objects)) != NULL) {
        unpack_object(state, packed);
        g_variant_unref(packed);
    }
    while (g_variant_iter_loop(others, "(&s&s&s&s)", &href, &etag, &uid, &hash)) {
        CaldavOther *other = g_new0(CaldavOther, 1);
        *other =
            (CaldavOther){g_strdup(href), g_strdup(etag), g_strdup(uid), g_strdup(hash), FALSE};
        g_ptr_array_add(state->others, other);
    }
    return g_steal_pointer(&state);
}
