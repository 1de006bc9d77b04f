/* SPDX-License-Identifier: MIT */
#include "caldav/outlet.h"

#include <string.h>

#include "base/backoff.h"
#include "base/error.h"
#include "base/secret.h"
#include "base/url.h"
#include "caldav/outlet-private.h"

static void begin(gpointer data);

/* ---- when ---- */

static void set_alarm(CaldavOutlet *outlet, int64_t at_utc)
{
    clock_remove_alarm(outlet->clk, outlet->alarm);
    outlet->next_utc = at_utc;
    outlet->alarm = clock_add_alarm(outlet->clk, at_utc, begin, outlet);
}

static int64_t retry_delay(CaldavOutlet *outlet, const GError *error, int64_t retry_s)
{
    int64_t delay_s = backoff_s(outlet->state->failures, CALDAV_RETRY_FIRST_S, CALDAV_RETRY_LAST_S);

    if (g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT))
        delay_s = MAX(delay_s, CALDAV_RETRY_REFUSED_S);
    return MAX(backoff_jitter_s(delay_s, outlet->rand), retry_s);
}

/* ---- a round ---- */

void round_free(Round *round)
{
    if (round->outlet != NULL)
        clock_release(round->outlet->clk);
    dav_client_free(round->client);
    g_object_unref(round->cancellable);
    g_ptr_array_unref(round->listed);
    g_clear_pointer(&round->hrefs, g_ptr_array_unref);
    g_clear_pointer(&round->actions, g_ptr_array_unref);
    caldav_action_free(round->action);
    g_free(round->token);
    g_free(round->refused);
    g_free(round);
}

CaldavSync round_sync(Round *round)
{
    CaldavOutlet *outlet = round->outlet;
    return (CaldavSync){outlet->state, outlet->wanted, outlet->zone, clock_now(outlet->clk),
                        outlet->edits};
}

gboolean round_keep(Round *round)
{
    CaldavOutlet *outlet = round->outlet;
    GError *error = NULL;

    if (!outlet->hooks.keep(outlet->state, outlet->edits, outlet->data, &error)) {
        round_end(round, error != NULL ? error
                                       : g_error_new(THOLE_ERROR, THOLE_ERROR_FAILED,
                                                     "what was done could not be kept"));
        return FALSE;
    }
    g_ptr_array_set_size(outlet->edits, 0);
    return TRUE;
}

void round_end(Round *round, GError *error)
{
    CaldavOutlet *outlet = round->outlet;
    CaldavState *state = outlet->state;
    const int64_t now_utc = clock_now(outlet->clk);
    g_autoptr(GError) why = error;
    int64_t delay_s;

    if (why != NULL) {
        state->failures++;
        caldav_set(&state->last_error, why->message);
        delay_s = retry_delay(outlet, why, round->retry_s);
    } else {
        state->failures = 0;
        state->last_ok_utc = now_utc;
        caldav_set(&state->last_error, "");
        delay_s = outlet->asked ? 1 : backoff_jitter_s(outlet->poll_s, outlet->rand);
    }
    outlet->round = NULL;
    set_alarm(outlet, now_utc + delay_s);
    /* If this fails, the edits wait for the next time. */
    if (outlet->hooks.keep(state, outlet->edits, outlet->data, NULL))
        g_ptr_array_set_size(outlet->edits, 0);
    round_free(round);
    if (outlet->hooks.ended != NULL)
        outlet->hooks.ended(why, outlet->data);
}

GError *round_status_error(const char *what, guint status)
{
    return g_error_new(THOLE_ERROR, THOLE_ERROR_IO, "%s: the server answers %u", what, status);
}

static void reply_came(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    Round *round = data;
    GError *error = NULL;
    g_autoptr(DavReply) reply = dav_send_finish(result, &error);

    if (round->outlet == NULL) {
        g_clear_error(&error);
        round_free(round);
        return;
    }
    if (reply == NULL && round->too_long_is_empty &&
        g_error_matches(error, THOLE_ERROR, THOLE_ERROR_LIMIT)) {
        g_clear_error(&error);
        reply = g_new0(DavReply, 1);
        reply->status = 200;
        reply->address = g_strdup("");
        reply->body = g_bytes_new(NULL, 0);
    }
    if (reply == NULL) {
        round_end(round, error);
    } else if (reply->status == 401) {
        round_end(round, g_error_new(THOLE_ERROR, THOLE_ERROR_CONFLICT,
                                     "the server refuses the user or the password"));
    } else {
        round->retry_s = MAX(round->retry_s, reply->retry_s);
        round->then(round, reply);
    }
}

void round_send(Round *round, const DavRequest *request, RoundReply then)
{
    round->then = then;
    round->too_long_is_empty = strcmp(request->method, "GET") == 0;
    dav_send(round->client, request, round->cancellable, reply_came, round);
}

char *round_address(const Round *round, const char *href)
{
    char *address = dav_resolve(round->client, round->outlet->state->collection, href);
    return address != NULL ? address : g_strdup(href);
}

/* ---- the outlet ---- */

static void begin(gpointer data)
{
    CaldavOutlet *outlet = data;
    g_autoptr(GError) error = NULL;
    char *secret = NULL;
    Round *round;

    outlet->alarm = 0;
    outlet->next_utc = 0;
    if (outlet->round != NULL)
        return;
    outlet->asked = FALSE;
    if (outlet->secret_path != NULL)
        secret = secret_read(outlet->secret_path, &error);
    outlet->round = round = g_new0(Round, 1);
    clock_hold(outlet->clk);
    round->outlet = outlet;
    round->client =
        dav_client_new(outlet->address, outlet->user, secret, outlet->user_agent, outlet->clk);
    if (outlet->idle_s > 0)
        dav_client_set_limits(round->client, outlet->idle_s, 4 * outlet->idle_s);
    round->cancellable = g_cancellable_new();
    round->listed = g_ptr_array_new_with_free_func((GDestroyNotify)caldav_listed_free);
    round->token = g_strdup("");
    if (error != NULL)
        round_end(round, g_steal_pointer(&error));
    else if (*outlet->state->collection == '\0')
        round_discover(round);
    else if (outlet->state->last_ok_utc == 0 || outlet->state->failures > 0)
        round_ensure(round);
    else
        round_list(round);
}

CaldavOutlet *caldav_outlet_new(const CaldavSettings *settings, CaldavState *state, Clock *clk,
                                const CaldavHooks *hooks, gpointer data, GError **error)
{
    char *address = url_of_server(settings->address);

    if (address == NULL) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "%s: not a calendar server's address; accepted a host, an address with "
                    "https:// and without a password, or a user's name at a host",
                    settings->address);
        caldav_state_free(state);
        return NULL;
    }
    /* Given another address or user, what was found by the former ones is not meant any more. */
    g_autofree char *origin =
        g_strjoin("\n", address, settings->user != NULL ? settings->user : "", NULL);
    if (state != NULL && *state->collection != '\0' && strcmp(state->origin, origin) != 0)
        g_clear_pointer(&state, caldav_state_free);
    CaldavOutlet *outlet = g_new0(CaldavOutlet, 1);
    outlet->address = address;
    outlet->user = g_strdup(settings->user);
    outlet->secret_path = g_strdup(settings->secret_path);
    outlet->name = g_strdup(settings->name);
    outlet->colour = g_strdup(settings->colour);
    outlet->user_agent = g_strdup(settings->user_agent);
    outlet->zone = g_time_zone_ref(settings->zone);
    outlet->poll_s = settings->poll_s > 0 ? settings->poll_s : CALDAV_POLL_S;
    outlet->idle_s = settings->idle_s;
    outlet->rand = g_rand_new_with_seed(settings->seed);
    outlet->clk = clk;
    outlet->hooks = *hooks;
    outlet->data = data;
    outlet->state = state != NULL ? state : caldav_state_new();
    caldav_set(&outlet->state->origin, origin);
    outlet->events = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);
    outlet->edits = caldav_edits_new();
    outlet->wanted = g_array_new(FALSE, TRUE, sizeof(CaldavWanted));
    return outlet;
}

void caldav_outlet_free(CaldavOutlet *outlet)
{
    if (outlet == NULL)
        return;
    clock_remove_alarm(outlet->clk, outlet->alarm);
    if (outlet->round != NULL) {
        /* Its request comes back once more, and frees it. */
        outlet->round->outlet = NULL;
        clock_release(outlet->clk);
        g_cancellable_cancel(outlet->round->cancellable);
    }
    g_free(outlet->address);
    g_free(outlet->user);
    g_free(outlet->secret_path);
    g_free(outlet->name);
    g_free(outlet->colour);
    g_free(outlet->user_agent);
    g_time_zone_unref(outlet->zone);
    g_rand_free(outlet->rand);
    caldav_state_free(outlet->state);
    g_ptr_array_unref(outlet->events);
    g_ptr_array_unref(outlet->edits);
    g_array_unref(outlet->wanted);
    g_free(outlet);
}

static gboolean is_wanted_already(const CaldavOutlet *outlet, const GPtrArray *events,
                                  const guint *edits_seen)
{
    if (!outlet->was_told || events->len != outlet->events->len)
        return FALSE;
    for (guint i = 0; i < events->len; i++) {
        const EventMemory *old = outlet->events->pdata[i], *new = events->pdata[i];
        if (strcmp(old->uid, new->uid) != 0 || strcmp(old->hash, new->hash) != 0 ||
            old->cancelled != new->cancelled || old->ended != new->ended ||
            g_array_index(outlet->wanted, CaldavWanted, i).edits_seen !=
                (edits_seen != NULL ? edits_seen[i] : 0))
            return FALSE;
    }
    return TRUE;
}

void caldav_outlet_want(CaldavOutlet *outlet, const GPtrArray *events, const guint *edits_seen)
{
    if (is_wanted_already(outlet, events, edits_seen))
        return;
    GPtrArray *copies = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);

    g_array_set_size(outlet->wanted, 0);
    for (guint i = 0; i < events->len; i++) {
        EventMemory *copy = event_memory_copy(events->pdata[i]);
        CaldavWanted wanted = {copy, edits_seen != NULL ? edits_seen[i] : 0};
        g_ptr_array_add(copies, copy);
        g_array_append_val(outlet->wanted, wanted);
    }
    g_ptr_array_unref(outlet->events);
    outlet->events = copies;
    outlet->was_told = TRUE;
    outlet->asked = TRUE;
    if (outlet->round == NULL && (outlet->alarm == 0 || outlet->state->failures == 0))
        set_alarm(outlet, clock_now(outlet->clk));
}

void caldav_outlet_now(CaldavOutlet *outlet)
{
    outlet->asked = TRUE;
    if (outlet->round == NULL)
        set_alarm(outlet, clock_now(outlet->clk));
}

const CaldavState *caldav_outlet_state(const CaldavOutlet *outlet)
{
    return outlet->state;
}

gboolean caldav_outlet_busy(const CaldavOutlet *outlet)
{
    return outlet->round != NULL;
}

int64_t caldav_outlet_next_utc(const CaldavOutlet *outlet)
{
    return outlet->next_utc;
}

guint caldav_outlet_pending(CaldavOutlet *outlet)
{
    g_autoptr(GPtrArray) edits = caldav_edits_new();
    CaldavSync sync = {outlet->state, outlet->wanted, outlet->zone, clock_now(outlet->clk), edits};
    return caldav_sync_pending(&sync);
}
