/* SPDX-License-Identifier: MIT */
/* A calendar on a server: caldav/outlet.h with the service's store and log behind it. */
#include "base/error.h"
#include "base/log.h"
#include "base/names.h"
#include "caldav/outlet.h"
#include "service/outlet-private.h"

#define AGENT NAME_PROGRAM "/" PACKAGE_VERSION

typedef struct Server {
    Outlet *outlet; /* (unowned) */
    CaldavOutlet *there;
} Server;

/* What two write there each takes for the other's grower's: offers, moves. The address alone does
 * not tell before the calendar is found. */
static gboolean is_alone(Outlet *o, const CaldavState *state, GError **error)
{
    g_free(o->found);
    o->found = state->collection[0] != '\0' ? g_strdup(state->collection) : NULL;
    const Outlet *before = outlet_before(o);
    if (before == NULL)
        return TRUE;
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                "its calendar is that of [calendar %s] too; give one of its own",
                before->setup.name);
    return FALSE;
}

static gboolean keep(const CaldavState *state, const GPtrArray *edits, gpointer data,
                     GError **error)
{
    const Server *server = data;
    Outlet *o = server->outlet;
    o->row.failures = (int)state->failures;
    if (!is_alone(o, state, error))
        return FALSE;
    g_free(o->row.state);
    o->row.state = caldav_state_write(state);
    o->row.delivered_utc = state->last_ok_utc;
    if (!outlet_keep(o, edits, error))
        return FALSE;
    if (edits->len > 0)
        outlet_want(o); /* what is seen by now */
    return TRUE;
}

static void ended(const GError *error, gpointer data)
{
    const Server *server = data;
    outlet_ended(server->outlet, error);
}

static CaldavState *state_of(const Outlet *o)
{
    g_autoptr(GError) error = NULL;
    if (o->row.state[0] == '\0')
        return NULL;
    CaldavState *state = caldav_state_read(o->row.state, &error);
    if (state == NULL)
        log_warning("calendar", o->setup.name, "what was delivered is not known any more: %s",
                    error->message);
    return state;
}

static gpointer server_open(Outlet *o, GError **error)
{
    static const CaldavHooks hooks = {keep, ended};
    const OutletSetup *setup = &o->setup;
    const CaldavSettings settings = {
        .address = setup->address,
        .user = setup->user[0] != '\0' ? setup->user : NULL,
        .secret_path = setup->secret[0] != '\0' ? setup->secret : NULL,
        .name = setup->title,
        .colour = setup->colour[0] != '\0' ? setup->colour : NULL,
        .user_agent = AGENT,
        .zone = outlet_zone(o),
        .poll_s = (guint)setup->poll_min * 60,
        .seed = outlet_seed(o),
    };
    Server *server = g_new0(Server, 1);
    server->outlet = o;
    server->there =
        caldav_outlet_new(&settings, state_of(o), o->service->clk, &hooks, server, error);
    if (server->there == NULL)
        g_clear_pointer(&server, g_free);
    return server;
}

static void server_close(gpointer it)
{
    Server *server = it;
    caldav_outlet_free(server->there);
    g_free(server);
}

static void server_want(gpointer it, const GPtrArray *events, const guint *seen)
{
    const Server *server = it;
    caldav_outlet_want(server->there, events, seen);
}

static void server_now(gpointer it)
{
    const Server *server = it;
    caldav_outlet_now(server->there);
}

static guint server_pending(gpointer it)
{
    const Server *server = it;
    return caldav_outlet_pending(server->there);
}

static int64_t server_next_utc(gpointer it)
{
    const Server *server = it;
    return caldav_outlet_next_utc(server->there);
}

const OutletWay outlet_server = {
    .word = "server",
    .open = server_open,
    .close = server_close,
    .want = server_want,
    .now = server_now,
    .pending = server_pending,
    .next_utc = server_next_utc,
};
