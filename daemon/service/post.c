/* SPDX-License-Identifier: MIT */
#include "service/post.h"

#include "base/log.h"
#include "service/desktop.h"
#include "service/done-link.h"
#include "service/post-wanted.h"
#include "service/wording-news.h"
#include "store/store-told.h"

#define TOPIC "channels"
#define KEPT_S (30 * 86400) /* rows read at the start; news is of the next days; chosen */
#define RECENT_S 86400      /* what was missed so lately is told by check; chosen */

struct Post {
    Service *service; /* (unowned) */
    Courier *courier; /* (owned) (nullable) this run sends nothing */
    GPtrArray *keys;  /* (owned) (element-type utf8) of the news worded last */
};

/* ---- what is kept ---- */

/* Where it cannot be kept it is told all the same: it may then come twice. */
static void keep(const Told *told, gpointer data)
{
    G_STATIC_ASSERT((int)TOLD_PUBLISHED == (int)STORE_TOLD_PUBLISHED);
    const Post *p = data;
    g_autoptr(GError) error = NULL;
    StoreTold row = {.state = (StoreToldState)told->state, .at_utc = told->at_utc};
    g_strlcpy(row.key, told->key, sizeof row.key);
    g_strlcpy(row.channel, told->channel, sizeof row.channel);
    g_strlcpy(row.sense, told->sense, sizeof row.sense);
    if (!store_put_told(p->service->store, &row, &error))
        log_warning(TOPIC, NULL, "what became of a message is not kept: %s, ignoring",
                    error->message);
}

static gboolean remember(Post *p, GError **error)
{
    g_autoptr(GArray) rows = NULL;
    if (!store_load_told(p->service->store, clock_now(p->service->clk) - KEPT_S, &rows, error))
        return FALSE;
    for (guint i = 0; i < rows->len; i++) {
        const StoreTold *row = &g_array_index(rows, StoreTold, i);
        Told *told = told_new(row->key, row->channel);
        told->state = (ToldState)row->state;
        told->at_utc = row->at_utc;
        g_free(told->sense);
        told->sense = g_strdup(row->sense);
        courier_remember(p->courier, told);
    }
    return TRUE;
}

/* ---- what is told ---- */

/* What the calendar says since now is kept in one commit. */
static GPtrArray *wanted(gpointer data)
{
    const Post *p = data;
    g_autoptr(GError) error = NULL;
    if (!store_begin(p->service->store, &error)) {
        log_warning(TOPIC, NULL, "what there is to tell cannot be kept: %s, ignoring",
                    error->message);
        return post_wanted(p->service, p->courier);
    }
    GPtrArray *news = post_wanted(p->service, p->courier);
    if (!store_commit(p->service->store, &error)) {
        store_rollback(p->service->store);
        log_warning(TOPIC, NULL, "what there is to tell is not kept: %s, ignoring", error->message);
    }
    return news;
}

static gboolean is_told_before(const GPtrArray *news, guint at)
{
    const News *n = news->pdata[at];
    for (guint i = 0; i < at; i++) {
        const News *other = news->pdata[i];
        if (g_strcmp0(other->summary, n->summary) == 0 && g_strcmp0(other->body, n->body) == 0)
            return TRUE;
    }
    return FALSE;
}

/* The visit that all of it is about; NULL there are several, or none. */
static const char *visit_of(const GPtrArray *news)
{
    const char *id = ((const News *)news->pdata[0])->visit_id;
    for (guint i = 1; id != NULL && i < news->len; i++)
        if (g_strcmp0(((const News *)news->pdata[i])->visit_id, id) != 0)
            return NULL;
    return id;
}

static char *link_of(const Post *p, const GPtrArray *news)
{
    const char *visit_id = visit_of(news);
    return visit_id != NULL
               ? feed_done_url(p->service, visit_id, ((const News *)news->pdata[0])->last_utc)
               : NULL;
}

static void words(const GPtrArray *news, char **ret_summary, char **ret_body, char **ret_done_url,
                  gpointer data)
{
    Post *p = data;
    g_autoptr(GPtrArray) told = g_ptr_array_new(); /* each text once */
    const News *pressing = NULL;
    g_ptr_array_set_size(p->keys, 0);
    for (guint i = 0; i < news->len; i++) {
        News *n = news->pdata[i];
        g_ptr_array_add(p->keys, g_strdup(n->key));
        if (is_told_before(news, i))
            continue;
        g_ptr_array_add(told, n);
        if (n->urgent && pressing == NULL)
            pressing = n;
    }
    const gboolean one = told->len == 1;
    GString *body = g_string_new(NULL);
    for (guint i = 0; i < told->len; i++) {
        const News *n = told->pdata[i];
        g_string_append_printf(body, "%s%s%s%s\n", i > 0 ? "\n" : "", one ? "" : n->summary,
                               one ? "" : "\n", n->body);
    }
    *ret_done_url = link_of(p, news);
    if (*ret_done_url != NULL) {
        g_autofree char *link = wording_done_link(*ret_done_url);
        g_string_append(body, link);
    }
    *ret_summary =
        one ? g_strdup(((const News *)told->pdata[0])->summary)
            : wording_together(pressing != NULL ? pressing->summary : NULL, (int)told->len);
    *ret_body = g_string_free(body, FALSE);
}

/* ---- the desktop as a channel ---- */

typedef struct Showing {
    ChannelDone done;
    gpointer data;
} Showing;

static void shown(const char *server, const char *why_not, gpointer data)
{
    g_autofree Showing *showing = data;
    g_autofree char *reason =
        server == NULL ? g_strdup(why_not != NULL ? why_not : "tholed ends") : NULL;
    const ChannelResult result = {.outcome = server != NULL ? CHANNEL_DELIVERED : CHANNEL_FAILED,
                                  .reason = reason};
    showing->done(&result, showing->data);
}

/* What the desktop shows as an alarm of its own is not shown beside it. */
static gboolean shows_all(const Post *p)
{
    for (guint i = 0; i < p->keys->len; i++)
        if (!desktop_shows(p->service->desktop, p->keys->pdata[i]))
            return FALSE;
    return p->keys->len > 0;
}

static void show(const ChannelSetup *setup, const ChannelMessage *message, ChannelDone done,
                 gpointer done_data, gpointer data)
{
    const Post *p = data;
    (void)setup;
    if (message->topic != CHANNEL_TOPIC_TEST && shows_all(p)) {
        done(&(const ChannelResult){.outcome = CHANNEL_DELIVERED}, done_data);
        return;
    }
    Showing *showing = g_new(Showing, 1);
    *showing = (Showing){done, done_data};
    desktop_tell(p->service->desktop, message->id, message->summary, message->body, message->urgent,
                 shown, showing);
}

/* ---- what others call ---- */

gboolean post_sends(const Post *p)
{
    return p != NULL && p->courier != NULL;
}

void post_set_up(Post *p)
{
    if (post_sends(p))
        courier_set_up(p->courier, p->service->garden);
}

void post_look(Post *p)
{
    if (post_sends(p))
        courier_look(p->courier);
}

void post_test(Post *p, int channel, ChannelDone done, gpointer data)
{
    g_autofree char *summary = wording_channel_test_summary();
    g_autofree char *body = wording_channel_test_body(p->service->garden->channels[channel].name);
    courier_test(p->courier, channel, summary, body, done, data);
}

CourierState post_state(const Post *p, int channel)
{
    return courier_state(p->courier, channel);
}

guint post_missed(const Post *p)
{
    return courier_count(p->courier, TOLD_MISSED, clock_now(p->service->clk) - RECENT_S);
}

/* ---- life ---- */

Post *post_new(Service *service, GError **error)
{
    static const CourierHooks hooks = {wanted, words, keep, show};
    Post *p = g_new0(Post, 1);
    p->service = service;
    p->keys = g_ptr_array_new_with_free_func(g_free);
    if (!service->options.channels)
        return p;
    p->courier = courier_new(service->clk, &hooks, p);
    if (!remember(p, error)) {
        post_free(p);
        return NULL;
    }
    courier_set_up(p->courier, service->garden);
    return p;
}

void post_free(Post *p)
{
    if (p == NULL)
        return;
    courier_free(p->courier);
    g_ptr_array_unref(p->keys);
    g_free(p);
}
