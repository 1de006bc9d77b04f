/* SPDX-License-Identifier: MIT */
/* The first half of a round: the calendar is found or made, and what is there is taken in. */
#include <string.h>

#include "base/error.h"
#include "caldav/outlet-private.h"
#include "calendar/object.h"

#define LISTS_MAX 100 /* parts of one listing; chosen */

/* ---- taking in ---- */

gboolean round_take(Round *round, const char *href, const DavReply *reply)
{
    CaldavSync sync = round_sync(round);
    gsize length;
    const char *text = g_bytes_get_data(reply->body, &length);

    if (reply->status == 404 || reply->status == 410) {
        caldav_sync_fetched(&sync, href, NULL, NULL, 0);
    } else if (reply->status == 200) {
        caldav_sync_fetched(&sync, href, reply->etag, text != NULL ? text : "", (gssize)length);
    } else if (reply->status >= 400 && reply->status < 500 && reply->status != 429) {
        caldav_sync_unread(&sync, href, reply->etag);
        if (caldav_state_by_href(round->outlet->state, href) != NULL && round->refused == NULL)
            round->refused =
                g_strdup_printf("the server does not give us an event of ours (%u)", reply->status);
    } else {
        round_end(round, round_status_error("an event", reply->status));
        return FALSE;
    }
    return TRUE;
}

static void fetch_next(Round *round);

static void object_came(Round *round, const DavReply *reply)
{
    if (reply->status == 404 || reply->status == 410) {
        /* It went while we looked, or all of it did: the next, full listing tells. */
        caldav_set(&round->outlet->state->token, "");
        round_end(round, g_error_new(THOLE_ERROR, THOLE_ERROR_IO,
                                     "the calendar changed while it was read"));
        return;
    }
    if (round_take(round, round->hrefs->pdata[round->at++], reply))
        fetch_next(round);
}

static void fetch_next(Round *round)
{
    if (round->at < round->hrefs->len) {
        g_autofree char *address = round_address(round, round->hrefs->pdata[round->at]);
        round_send(
            round,
            &(DavRequest){.method = "GET", .address = address, .bytes_max = OBJECT_BYTES_MAX},
            object_came);
        return;
    }
    CaldavSync sync = round_sync(round);
    caldav_sync_settle(&sync);
    caldav_set(&round->outlet->state->token, round->token);
    if (round_keep(round))
        round_write(round);
}

/* ---- what is there ---- */

static void take_listed(Round *round, const DavMultistatus *answer, const char *address)
{
    g_autofree char *own = dav_path(round->outlet->state->collection);

    for (guint i = 0; i < answer->responses->len; i++) {
        const DavResponse *response = answer->responses->pdata[i];
        g_autofree char *there =
            response->href != NULL ? dav_resolve(round->client, address, response->href) : NULL;
        if (there == NULL || response->collection)
            continue;
        g_autofree char *path = dav_path(there);
        if (strcmp(path, own) == 0)
            continue;
        CaldavListed *listed = g_new0(CaldavListed, 1);
        listed->href = g_steal_pointer(&path);
        listed->etag = g_strdup(response->etag);
        listed->gone = response->status == 404 || response->status == 410;
        g_ptr_array_add(round->listed, listed);
    }
}

/* RFC 6578 §3.6: 507 on the calendar itself says that there is more. */
static gboolean is_cut(const DavMultistatus *answer)
{
    for (guint i = 0; i < answer->responses->len; i++) {
        if (((const DavResponse *)answer->responses->pdata[i])->status == 507)
            return TRUE;
    }
    return FALSE;
}

static void listed_all(Round *round)
{
    CaldavSync sync = round_sync(round);

    round->hrefs = caldav_sync_listing(&sync, round->listed, round->full);
    round->at = 0;
    fetch_next(round);
}

static void collection_gone(Round *round)
{
    CaldavSync sync = round_sync(round);

    caldav_sync_lost(&sync);
    if (round->made)
        round_end(round, g_error_new(THOLE_ERROR, THOLE_ERROR_IO,
                                     "the calendar is gone again as soon as it was made"));
    else if (round_keep(round))
        round_ensure(round);
}

static void all_came(Round *round, const DavReply *reply)
{
    GError *error = NULL;
    g_autoptr(DavMultistatus) answer = NULL;

    if (reply->status == 404 || reply->status == 410) {
        collection_gone(round);
        return;
    }
    if (reply->status == 207)
        answer = dav_multistatus_read(reply->body, &error);
    else
        error = round_status_error("the list of events", reply->status);
    if (answer == NULL) {
        round_end(round, error);
        return;
    }
    take_listed(round, answer, reply->address);
    listed_all(round);
}

static void list_all(Round *round)
{
    g_autofree char *body = dav_xml_list();

    g_ptr_array_set_size(round->listed, 0);
    round->full = TRUE;
    caldav_set(&round->token, "");
    round_send(round,
               &(DavRequest){.method = "PROPFIND",
                             .address = round->outlet->state->collection,
                             .depth = "1",
                             .content_type = DAV_XML,
                             .body = body},
               all_came);
}

static void list_part(Round *round);

/* A token that is refused, a report that is not known, an answer that makes no sense: from scratch.
 */
static void changes_failed(Round *round)
{
    gboolean had_token = *round->outlet->state->token != '\0';

    caldav_set(&round->outlet->state->token, "");
    round->outlet->no_sync = !had_token;
    round_list(round);
}

static void changes_came(Round *round, const DavReply *reply)
{
    g_autoptr(DavMultistatus) answer =
        reply->status == 207 ? dav_multistatus_read(reply->body, NULL) : NULL;

    if (answer == NULL && (reply->status == 429 || reply->status == 503)) {
        round_end(round, round_status_error("the list of changes", reply->status));
        return;
    }
    if (answer == NULL || answer->token == NULL) {
        changes_failed(round);
        return;
    }
    gboolean more = is_cut(answer), stuck = strcmp(answer->token, round->token) == 0;
    take_listed(round, answer, reply->address);
    caldav_set(&round->token, answer->token);
    if (!more)
        listed_all(round);
    else if (stuck || ++round->lists > LISTS_MAX)
        changes_failed(round);
    else
        list_part(round);
}

static void list_part(Round *round)
{
    g_autofree char *body = dav_xml_changes(round->token);

    round_send(round,
               &(DavRequest){.method = "REPORT",
                             .address = round->outlet->state->collection,
                             .depth = "0",
                             .content_type = DAV_XML,
                             .body = body},
               changes_came);
}

/* The changes since the token; without one, all there is. */
void round_list(Round *round)
{
    const CaldavOutlet *outlet = round->outlet;

    if (outlet->no_sync) {
        list_all(round);
        return;
    }
    g_ptr_array_set_size(round->listed, 0);
    caldav_set(&round->token, outlet->state->token);
    round->full = *round->token == '\0';
    round->lists = 0;
    list_part(round);
}

/* ---- the calendar itself ---- */

static void make(Round *round, gboolean extended);

static void made(Round *round, const DavReply *reply, gboolean extended)
{
    /* 207 says why it was not made (RFC 4791 §5.3.1). */
    if (reply->status == 201 || reply->status == 200) {
        round->made = TRUE;
        round_ensure(round);
    } else if (reply->status >= 500 && reply->status != 501 && reply->status != 507) {
        round_end(round, round_status_error("making a calendar", reply->status));
    } else if (!extended) {
        make(round, TRUE);
    } else {
        /* Perhaps the name is burnt; the next round finds another. */
        if (reply->status != 401 && reply->status != 429)
            caldav_set(&round->outlet->state->collection, "");
        round_end(round, g_error_new(THOLE_ERROR, THOLE_ERROR_NOT_FOUND,
                                     "the server makes no calendar (%u); make one there, and give "
                                     "its whole address",
                                     reply->status));
    }
}

static void made_calendar(Round *round, const DavReply *reply)
{
    made(round, reply, FALSE);
}

static void made_collection(Round *round, const DavReply *reply)
{
    made(round, reply, TRUE);
}

static void make(Round *round, gboolean extended)
{
    CaldavOutlet *outlet = round->outlet;
    g_autofree char *body = dav_xml_calendar(extended, outlet->name, outlet->colour);

    round_send(round,
               &(DavRequest){.method = extended ? "MKCOL" : "MKCALENDAR",
                             .address = outlet->state->collection,
                             .content_type = DAV_XML,
                             .body = body},
               extended ? made_collection : made_calendar);
}

static void collection_came(Round *round, const DavReply *reply)
{
    CaldavState *state = round->outlet->state;
    g_autoptr(DavMultistatus) answer =
        reply->status == 207 ? dav_multistatus_read(reply->body, NULL) : NULL;
    const DavResponse *first =
        answer != NULL && answer->responses->len > 0 ? answer->responses->pdata[0] : NULL;

    if (first != NULL && first->calendar) {
        round_list(round);
    } else if (!round->made && state->own &&
               (reply->status == 404 || reply->status == 410 ||
                (first != NULL && (first->status == 404 || !first->collection)))) {
        make(round, FALSE);
    } else {
        round_end(round, reply->status != 207
                             ? round_status_error("the calendar", reply->status)
                             : g_error_new(THOLE_ERROR, THOLE_ERROR_NOT_FOUND,
                                           "there is no calendar at that address"));
    }
}

void round_ensure(Round *round)
{
    g_autofree char *body = dav_xml_look();

    round_send(round,
               &(DavRequest){.method = "PROPFIND",
                             .address = round->outlet->state->collection,
                             .depth = "0",
                             .content_type = DAV_XML,
                             .body = body},
               collection_came);
}

static void discovered(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    Round *round = data;
    GError *error = NULL;
    g_autoptr(CaldavPlace) place = caldav_discover_finish(result, &error);

    if (round->outlet == NULL) {
        g_clear_error(&error);
        round_free(round);
        return;
    }
    if (place == NULL) {
        round_end(round, error);
        return;
    }
    CaldavState *state = round->outlet->state; /* which outlives the round */
    state->own = place->calendar == NULL;
    if (state->own) {
        /* Chosen and kept before it is made, so that a lost answer does not make two. */
        g_autofree char *id = g_uuid_string_random();
        gboolean slash = g_str_has_suffix(place->home, "/");
        char *address = g_strdup_printf("%s%sthole-%.8s/", place->home, slash ? "" : "/", id);
        g_free(state->collection);
        state->collection = address;
    } else {
        caldav_set(&state->collection, place->calendar);
    }
    if (round_keep(round))
        round_ensure(round);
    else
        caldav_set(&state->collection, ""); /* nothing was made: looked for again */
}

void round_discover(Round *round)
{
    caldav_discover(round->client, round->outlet->address, round->cancellable, discovered, round);
}
