/* SPDX-License-Identifier: MIT */
/*
 * The writes of a round, one after the other. Policy: only 200, 201 and 204 say that something was
 * stored; what may be done is kept before it is tried; a conflict is looked at and decided anew.
 */
#include <string.h>

#include "base/error.h"
#include "caldav/outlet-private.h"

static void next(Round *round);
static void perform(Round *round);

/* The status that counts: of a multistatus the one inside, which some servers wrap a refusal in. */
static guint inner_status(const DavReply *reply)
{
    g_autoptr(DavMultistatus) answer =
        reply->status == 207 ? dav_multistatus_read(reply->body, NULL) : NULL;

    if (reply->status != 207)
        return reply->status;
    for (guint i = 0; answer != NULL && i < answer->responses->len; i++) {
        const DavResponse *response = answer->responses->pdata[i];
        if (response->status >= 400)
            return response->status;
    }
    return 403;
}

static CaldavOutcome outcome_of(const Round *round, const DavReply *reply)
{
    gboolean removes = round->action->kind == CALDAV_DELETE;
    guint status = inner_status(reply);

    if (status == 200 || status == 201 || status == 204 ||
        (removes && (status == 202 || status == 404 || status == 410)))
        return CALDAV_OUTCOME_DONE;
    if (status == 412)
        return CALDAV_OUTCOME_CONFLICT;
    if (status >= 400 && status < 500 && status != 404 && status != 408 && status != 410 &&
        status != 423 && status != 425 && status != 429)
        return CALDAV_OUTCOME_REFUSED;
    return status == 507 ? CALDAV_OUTCOME_REFUSED : CALDAV_OUTCOME_UNKNOWN;
}

/* ---- looking at one object ---- */

static void looked(Round *round, const DavReply *reply)
{
    CaldavSync sync;
    g_autofree char *href = g_strdup(round->action->href);

    if (!round_take(round, href, reply))
        return;
    round->outlet->asked |= reply->status == 404 || reply->status == 410;
    sync = round_sync(round);
    caldav_action_free(round->action);
    round->action = caldav_sync_decide(&sync, href, TRUE);
    if (!round_keep(round))
        return;
    perform(round);
}

/* A look after a write that was done: its tag, and what became of it. */
static void tag_came(Round *round, const DavReply *reply)
{
    if (round_take(round, round->action->href, reply))
        next(round);
}

static void look(Round *round, RoundReply then)
{
    g_autofree char *address = round_address(round, round->action->href);
    round_send(round, &(DavRequest){.method = "GET", .address = address}, then);
}

/* ---- one write ---- */

static void refuse(Round *round, guint status)
{
    if (round->refused == NULL)
        round->refused = g_strdup_printf("the server refuses an event (%u)", status);
}

static void written(Round *round, const DavReply *reply)
{
    CaldavSync sync = round_sync(round);
    CaldavOutcome outcome = outcome_of(round, reply);

    caldav_sync_done(&sync, round->action, outcome, reply->etag);
    switch (outcome) {
    case CALDAV_OUTCOME_DONE:
        if (round->action->kind != CALDAV_DELETE && (reply->etag == NULL || *reply->etag != '"'))
            look(round, tag_came);
        else
            next(round);
        break;
    case CALDAV_OUTCOME_CONFLICT:
        if (++round->tries < CONFLICTS_MAX) {
            look(round, looked);
        } else {
            if (round->refused == NULL)
                round->refused = g_strdup("an event is changed by others each time we write it");
            /* Perhaps its tag is no good: the next round looks at all of it. */
            caldav_set(&round->outlet->state->token, "");
            next(round);
        }
        break;
    case CALDAV_OUTCOME_REFUSED:
        refuse(round, inner_status(reply));
        next(round);
        break;
    case CALDAV_OUTCOME_UNKNOWN:
        if (inner_status(reply) == 404 || inner_status(reply) == 410)
            caldav_set(&round->outlet->state->token, "");
        round_end(round,
                  g_error_new(THOLE_ERROR, THOLE_ERROR_IO,
                              "writing an event: the server answers %u", inner_status(reply)));
        break;
    }
}

static void perform(Round *round)
{
    const CaldavAction *action = round->action;

    if (action->kind == CALDAV_NOTHING) {
        next(round);
        return;
    }
    if (action->look) {
        look(round, looked);
        return;
    }
    g_autofree char *address = round_address(round, action->href);
    gboolean removes = action->kind == CALDAV_DELETE;
    round_send(round,
               &(DavRequest){
                   .method = removes ? "DELETE" : "PUT",
                   .address = address,
                   .if_match = action->if_match,
                   .if_none_match = action->kind == CALDAV_CREATE,
                   .content_type = removes ? NULL : "text/calendar; charset=utf-8",
                   .body = action->text,
               },
               written);
}

static void next(Round *round)
{
    g_clear_pointer(&round->action, caldav_action_free);
    round->tries = 0;
    if (round->actions->len > 0) {
        round->action = g_ptr_array_steal_index(round->actions, 0);
        perform(round);
        return;
    }
    if (!round_keep(round))
        return;
    round_end(round, round->refused != NULL
                         ? g_error_new(THOLE_ERROR, THOLE_ERROR_INVALID, "%s", round->refused)
                         : NULL);
}

void round_write(Round *round)
{
    CaldavSync sync = round_sync(round);

    round->actions = caldav_sync_actions(&sync);
    if (round_keep(round))
        next(round);
}
