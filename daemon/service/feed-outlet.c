/* SPDX-License-Identifier: MIT */
#include "service/feed-outlet.h"

#include <string.h>

#include "base/log.h"
#include "calendar/event.h"
#include "calendar/write.h"
#include "feed/feed.h"
#include "service/done-link.h"
#include "service/event-text.h"
#include "service/forecasts.h"
#include "service/publish.h"

#define TOPIC "feed"
#define RETRY_S 60              /* where it could not listen; chosen */
#define TOKEN_KEY "feed-token/" /* and the grower's name: a setting of the store */

struct FeedOutlet {
    Service *service;   /* (unowned) */
    Feed *feed;         /* (owned) (nullable) */
    FeedSetup *setup;   /* (owned) (nullable) that it follows */
    char *problem;      /* (owned) (nullable) */
    GHashTable *tokens; /* (owned) (element-type utf8 utf8) by name of the grower */
    guint retry;
};

FeedOutlet *feed_outlet_new(Service *service)
{
    FeedOutlet *outlet = g_new0(FeedOutlet, 1);

    outlet->service = service;
    outlet->tokens = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    return outlet;
}

static void shut(FeedOutlet *outlet)
{
    clock_remove_alarm(outlet->service->clk, outlet->retry);
    outlet->retry = 0;
    g_clear_pointer(&outlet->feed, feed_free);
    g_clear_pointer(&outlet->setup, feed_setup_free);
    g_clear_pointer(&outlet->problem, g_free);
}

void feed_outlet_free(FeedOutlet *outlet)
{
    if (outlet == NULL)
        return;
    shut(outlet);
    g_hash_table_unref(outlet->tokens);
    g_free(outlet);
}

/* ---- tokens ---- */

static gboolean new_token(FeedOutlet *outlet, const char *grower, GError **error)
{
    g_autofree char *key = g_strconcat(TOKEN_KEY, grower, NULL);
    char token[ID_SIZE];

    G_STATIC_ASSERT(ID_SIZE > FEED_TOKEN_LENGTH);
    store_new_id(token);
    if (!store_put_setting(outlet->service->store, key, token, error))
        return FALSE;
    g_hash_table_replace(outlet->tokens, g_strdup(grower), g_strdup(token));
    return TRUE;
}

static gboolean load_token(FeedOutlet *outlet, const char *grower, GError **error)
{
    g_autofree char *key = g_strconcat(TOKEN_KEY, grower, NULL);
    g_autofree char *stored = NULL;

    if (!store_get_setting(outlet->service->store, key, &stored, error))
        return FALSE;
    if (stored == NULL || strlen(stored) != FEED_TOKEN_LENGTH)
        return new_token(outlet, grower, error);
    g_hash_table_replace(outlet->tokens, g_strdup(grower), g_steal_pointer(&stored));
    return TRUE;
}

/* There is one in `tokens` then; made where there is none yet. */
static gboolean need_token(FeedOutlet *outlet, const char *grower, GError **error)
{
    return g_hash_table_contains(outlet->tokens, grower) || load_token(outlet, grower, error);
}

/* ---- what each grower is served ---- */

static GBytes *calendar_of(const Service *service, int grower)
{
    const Grower *whose = &service->garden->growers[grower];
    const int whom = service->garden->n_growers == 1 ? -1 : grower;
    g_autofree char *credits = forecasts_credits(service->forecasts);
    g_autofree char *name = service->garden->n_growers == 1
                                ? g_strdup(PUBLISH_CALENDAR_NAME)
                                : g_strconcat(PUBLISH_CALENDAR_NAME " ", whose->name, NULL);
    g_autoptr(GPtrArray) events = g_ptr_array_new();

    for (guint i = 0; i < service->memory->len; i++) {
        if (event_text_is_for(service, g_ptr_array_index(service->memory, i), whom))
            g_ptr_array_add(events, g_ptr_array_index(service->memory, i));
    }
    return calendar_write_every(events, name, credits, service->garden->feed->refresh_h);
}

void feed_outlet_publish(FeedOutlet *outlet)
{
    const Service *service = outlet->service;
    /* Of a garden that was never planned there is nothing to tell. */
    const gboolean ready = service->planned_utc != 0 || service->memory->len > 0;
    g_autoptr(GPtrArray) names = g_ptr_array_new();

    if (outlet->feed == NULL)
        return;
    for (int i = 0; i < service->garden->n_growers; i++) {
        const char *name = service->garden->growers[i].name;
        g_autoptr(GError) error = NULL;
        g_autoptr(GBytes) bytes = ready ? calendar_of(service, i) : NULL;
        g_ptr_array_add(names, (char *)name);
        if (need_token(outlet, name, &error))
            feed_put(outlet->feed, name, g_hash_table_lookup(outlet->tokens, name), bytes);
        else
            log_warning(TOPIC, name, "there is no token for this calendar: %s", error->message);
    }
    g_ptr_array_add(names, NULL);
    feed_keep(outlet->feed, (const char *const *)names->pdata);
}

gboolean feed_outlet_renew(FeedOutlet *outlet, int grower, GError **error)
{
    if (!new_token(outlet, outlet->service->garden->growers[grower].name, error))
        return FALSE;
    feed_outlet_publish(outlet);
    return TRUE;
}

/* ---- where it listens ---- */

static void open_feed(gpointer data)
{
    FeedOutlet *outlet = data;
    Service *service = outlet->service;
    g_autoptr(GError) error = NULL;

    outlet->retry = 0;
    g_clear_pointer(&outlet->problem, g_free);
    outlet->feed = feed_new(service->clk, outlet->setup, done_link_page, service, &error);
    if (outlet->feed == NULL) {
        outlet->problem = g_strdup(error->message);
        log_warning(TOPIC, NULL, "%s; tried again in a minute", error->message);
        outlet->retry =
            clock_add_alarm(service->clk, clock_now(service->clk) + RETRY_S, open_feed, outlet);
        return;
    }
    log_info(TOPIC, NULL, "the feed is served at %s port %d, %s", outlet->setup->host,
             feed_port(outlet->feed),
             outlet->setup->certificate != NULL ? "with TLS" : "without TLS");
    feed_outlet_publish(outlet);
}

void feed_outlet_follow(FeedOutlet *outlet)
{
    const Service *service = outlet->service;
    const FeedSetup *wanted = service->options.throwaway ? NULL : service->garden->feed;

    if (wanted != NULL && outlet->feed != NULL && feed_setup_equal(wanted, outlet->setup)) {
        feed_outlet_publish(outlet); /* the growers may be others */
        return;
    }
    shut(outlet);
    if (wanted == NULL)
        return;
    outlet->setup = feed_setup_copy(wanted);
    open_feed(outlet);
}

const char *feed_outlet_problem(const FeedOutlet *outlet)
{
    return outlet->problem;
}

char *feed_outlet_base(const FeedOutlet *outlet)
{
    const FeedSetup *setup = outlet->setup;

    if (outlet->feed == NULL)
        return NULL;
    if (setup->outside[0] != '\0')
        return g_strdup(setup->outside);
    const gboolean is_6 = strchr(setup->host, ':') != NULL;
    return g_strdup_printf("%s://%s%s%s:%d", setup->certificate != NULL ? "https" : "http",
                           is_6 ? "[" : "", setup->host, is_6 ? "]" : "", feed_port(outlet->feed));
}

char *feed_outlet_address(const FeedOutlet *outlet, int grower)
{
    g_autofree char *base = feed_outlet_base(outlet);
    const char *token =
        g_hash_table_lookup(outlet->tokens, outlet->service->garden->growers[grower].name);

    return base != NULL && token != NULL ? g_strconcat(base, "/calendar/", token, ".ics", NULL)
                                         : NULL;
}
