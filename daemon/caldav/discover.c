/* SPDX-License-Identifier: MIT */
#include "caldav/discover.h"

#include <string.h>

#include "base/error.h"
#include "caldav/xml.h"

#define STEPS_MAX 8 /* addresses that are looked at; chosen */

typedef struct Search {
    DavClient *client; /* (unowned) */
    GQueue *ahead;     /* of char *: addresses to look at */
    int steps;
    gboolean followed; /* a principal was named, and comes next */
} Search;

static void search_free(gpointer data)
{
    Search *self = data;
    g_queue_free_full(self->ahead, g_free);
    g_free(self);
}

void caldav_place_free(CaldavPlace *place)
{
    if (place == NULL)
        return;
    g_free(place->calendar);
    g_free(place->home);
    g_free(place);
}

static void look(GTask *task);

static void finish(GTask *task, const char *calendar, const char *home)
{
    CaldavPlace *place = g_new0(CaldavPlace, 1);
    place->calendar = g_strdup(calendar);
    place->home = g_strdup(home);
    g_task_return_pointer(task, place, (GDestroyNotify)caldav_place_free);
}

/* What is at one address: the end, a way on, or nothing. */
static void judge(GTask *task, const DavReply *reply)
{
    Search *self = g_task_get_task_data(task);
    g_autoptr(DavMultistatus) answer =
        reply->status == 207 ? dav_multistatus_read(reply->body, NULL) : NULL;
    const DavResponse *first =
        answer != NULL && answer->responses->len > 0 ? answer->responses->pdata[0] : NULL;

    if (first != NULL && first->calendar) {
        finish(task, reply->address, NULL);
        return;
    }
    if (first != NULL && (first->home != NULL || first->principal != NULL)) {
        const char *href = first->home != NULL ? first->home : first->principal;
        g_autofree char *address = dav_resolve(self->client, reply->address, href);
        if (address == NULL) {
            g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_INVALID,
                                    "the server sends us to another one for calendars; give that "
                                    "one's address if it is right");
            return;
        }
        if (first->home != NULL) {
            finish(task, NULL, address);
            return;
        }
        if (!self->followed)
            g_queue_push_head(self->ahead, g_steal_pointer(&address));
        self->followed = TRUE;
    }
    look(task);
}

static void looked(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    g_autoptr(GTask) task = data;
    GError *error = NULL;
    g_autoptr(DavReply) reply = dav_send_finish(result, &error);

    if (reply == NULL && g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID)) {
        /* This address leads elsewhere; another one may not. */
        g_clear_error(&error);
        look(task);
    } else if (reply == NULL) {
        g_task_return_error(task, error);
    } else if (reply->status == 401) {
        g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                                "the server refuses the user or the password");
    } else if (reply->status >= 500 || reply->status == 429) {
        g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_IO, "the server answers %u",
                                reply->status);
    } else {
        judge(task, reply);
    }
}

static void look(GTask *task)
{
    Search *self = g_task_get_task_data(task);
    g_autofree char *address = g_queue_pop_head(self->ahead);
    g_autofree char *body = dav_xml_look();

    if (address == NULL || self->steps++ >= STEPS_MAX) {
        g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_NOT_FOUND,
                                "no calendars of this user are found there; give the whole address "
                                "of a calendar");
        return;
    }
    dav_send(self->client,
             &(DavRequest){.method = "PROPFIND",
                           .address = address,
                           .depth = "0",
                           .content_type = "application/xml; charset=utf-8",
                           .body = body},
             g_task_get_cancellable(task), looked, g_object_ref(task));
}

void caldav_discover(DavClient *client, const char *address, GCancellable *cancellable,
                     GAsyncReadyCallback done, gpointer data)
{
    g_autoptr(GTask) task = g_task_new(NULL, cancellable, done, data);
    Search *self = g_new0(Search, 1);
    g_autoptr(GUri) uri = g_uri_parse(address, G_URI_FLAGS_ENCODED, NULL);
    char *root = dav_resolve(client, address, "/");

    g_task_set_source_tag(task, caldav_discover);
    self->client = client;
    self->ahead = g_queue_new();
    g_task_set_task_data(task, self, search_free);
    if (uri != NULL && strcmp(g_uri_get_path(uri), "/") != 0)
        g_queue_push_tail(self->ahead, g_strdup(address));
    if (root != NULL) {
        g_queue_push_tail(self->ahead, dav_resolve(client, address, "/.well-known/caldav"));
        g_queue_push_tail(self->ahead, root);
    }
    look(task);
}

CaldavPlace *caldav_discover_finish(GAsyncResult *result, GError **error)
{
    g_return_val_if_fail(g_async_result_is_tagged(result, caldav_discover), NULL);
    return g_task_propagate_pointer(G_TASK(result), error);
}
