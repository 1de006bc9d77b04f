/* SPDX-License-Identifier: MIT */
#include "notify/courier.h"

#include "base/log.h"

#define TOPIC "channels"
#define KEPT_S (30 * 86400)  /* rows; news is of the next days; chosen */
#define ASKED_TO_WAIT_S 3600 /* the most that the other side can ask for; chosen */
#define ID_BYTES 32          /* of a checksum, as text; chosen */
#define WAITS_MOST_S MAX(ROUTE_RETRY_MOST_S * 5 / 4, ASKED_TO_WAIT_S)

/* News on its way. */
typedef struct Carried {
    Told *told; /* (unowned) */
    gboolean urgent;
} Carried;

typedef struct Line {
    Courier *courier; /* (unowned) */
    Channel *channel;
    RouteChannel stands;
    int64_t delivered_utc, failing_utc;
    char *trouble;   /* (owned) (nullable) */
    GArray *carried; /* (element-type Carried) */
} Line;

typedef struct Test {
    Courier *courier;
    Channel *channel;
    ChannelDone done;
    gpointer data;
} Test;

struct Courier {
    Clock *clk;           /* (unowned) */
    const Garden *garden; /* (unowned) */
    CourierHooks hooks;
    gpointer data;
    GPtrArray *lines; /* (element-type Line) as the channels of the garden */
    GPtrArray *told;  /* (element-type Told) */
    GPtrArray *tests; /* (element-type Test, unowned) */
    guint alarm;      /* when to look again */
};

/* ---- rows ---- */

static void keep(Courier *c, Told *told, ToldState state)
{
    told->state = state;
    told->at_utc = clock_now(c->clk);
    c->hooks.keep(told, c->data);
}

static Told *row_of(Courier *c, const News *n, const char *channel)
{
    Told *told = told_find(c->told, n->key, channel);
    if (told == NULL) {
        told = told_new(n->key, channel);
        g_ptr_array_add(c->told, told);
    }
    g_free(told->sense);
    told->sense = g_strdup(n->sense);
    return told;
}

int64_t courier_said_since(Courier *c, const char *key, const char *sense)
{
    g_autofree char *sum = news_sense_of(sense);
    Told *told = told_find(c->told, key, ROUTE_CALENDAR);
    if (told != NULL && g_str_equal(told->sense, sum))
        return told->at_utc;
    if (told == NULL) {
        told = told_new(key, ROUTE_CALENDAR);
        g_ptr_array_add(c->told, told);
    }
    g_free(told->sense);
    told->sense = g_steal_pointer(&sum);
    keep(c, told, TOLD_PUBLISHED);
    return told->at_utc;
}

static void forget_old(Courier *c)
{
    for (guint i = c->told->len; i-- > 0;) {
        const Told *told = c->told->pdata[i];
        if (!told->this_run && told->at_utc < clock_now(c->clk) - KEPT_S)
            g_ptr_array_remove_index(c->told, i);
    }
}

/* ---- a message ---- */

/* The same for the same news in the same words on the same channel, so that whoever is given it
 * again can tell. */
static char *id_of(const Line *line, const GPtrArray *news)
{
    GChecksum *sum = g_checksum_new(G_CHECKSUM_SHA256);
    g_checksum_update(sum, (const guchar *)line->stands.setup->name, -1);
    for (guint i = 0; i < news->len; i++) {
        const News *n = news->pdata[i];
        g_autofree char *one =
            g_strdup_printf("\n%s\n%" G_GINT64_FORMAT "\n%s", n->key, n->from_utc, n->sense);
        g_checksum_update(sum, (const guchar *)one, -1);
    }
    char *id = g_strndup(g_checksum_get_string(sum), ID_BYTES);
    g_checksum_free(sum);
    return id;
}

static ChannelMessage *compose(Courier *c, const Line *line, const GPtrArray *news)
{
    const News *first = news->pdata[0];
    g_autofree char *id = id_of(line, news), *summary = NULL, *body = NULL;
    char *done_url = NULL;
    c->hooks.words(news, &summary, &body, &done_url, c->data);
    ChannelMessage *message = channel_message_new(
        id, news->len == 1 ? first->topic : CHANNEL_TOPIC_DIGEST, summary, body);
    message->done_url = done_url;
    message->sent_utc = clock_now(c->clk);
    message->seen_by_utc = first->seen_by_utc;
    if (first->grower >= 0 && first->grower < c->garden->n_growers)
        message->grower = g_strdup(c->garden->growers[first->grower].name);
    for (guint i = 0; i < news->len; i++) {
        const News *n = news->pdata[i];
        message->urgent = message->urgent || n->urgent;
        message->seen_by_utc = MIN(message->seen_by_utc, n->seen_by_utc);
        if (n->grower != first->grower)
            g_clear_pointer(&message->grower, g_free);
    }
    return message;
}

static void set_back(Line *line, const ChannelResult *result, int64_t now_utc)
{
    RouteChannel *stands = &line->stands;
    if (result->outcome != CHANNEL_FAILED) {
        stands->failures = 0;
        stands->retry_utc = 0;
        return;
    }
    stands->failures++;
    stands->retry_utc = MAX(route_retry_utc(stands->failures, now_utc, g_random_double()),
                            MIN(result->retry_utc, now_utc + ASKED_TO_WAIT_S));
}

static void on_sent(const ChannelResult *result, gpointer data)
{
    Line *line = data;
    Courier *c = line->courier;
    const int64_t now_utc = clock_now(c->clk);
    line->stands.busy = FALSE;
    line->stands.told_utc = now_utc;
    g_free(line->trouble);
    line->trouble = g_strdup(result->reason);
    if (result->outcome == CHANNEL_DELIVERED)
        line->delivered_utc = now_utc;
    else
        log_warning(TOPIC, line->stands.setup->name, "a message did not go out: %s",
                    result->reason);
    set_back(line, result, now_utc);
    if (line->stands.failures < 2)
        line->failing_utc = line->stands.failures == 1 ? now_utc : 0;
    for (guint i = 0; i < line->carried->len; i++) {
        const Carried *one = &g_array_index(line->carried, Carried, i);
        one->told->this_run = FALSE;
        keep(c, one->told, told_after(result, one->urgent));
    }
    g_array_set_size(line->carried, 0);
    courier_look(c);
}

/* Kept before it is handed over: killed in between, routine news is not told twice. */
static void send(Courier *c, Line *line, const GPtrArray *news)
{
    g_autoptr(ChannelMessage) message = compose(c, line, news);
    for (guint i = 0; i < news->len; i++) {
        const News *n = news->pdata[i];
        const Carried one = {row_of(c, n, line->stands.setup->name), n->urgent};
        one.told->this_run = TRUE;
        keep(c, one.told, TOLD_HANDED);
        g_array_append_val(line->carried, one);
    }
    line->stands.busy = TRUE;
    channel_send(line->channel, message, on_sent, line);
}

static void let_go(Courier *c, const GPtrArray *news)
{
    for (guint i = 0; i < news->len; i++)
        keep(c, row_of(c, news->pdata[i], ""), TOLD_MISSED);
    log_warning(TOPIC, NULL, "%u news reached nobody while it was of use", news->len);
}

/* ---- what is to be told ---- */

/* A clock that was put back since must not keep a channel silent. */
static void follow_clock(RouteChannel *stands, int64_t now_utc)
{
    stands->told_utc = MIN(stands->told_utc, now_utc);
    if (stands->retry_utc > now_utc + WAITS_MOST_S)
        stands->retry_utc = 0;
}

static void look(gpointer data)
{
    Courier *c = data;
    const int64_t now_utc = clock_now(c->clk);
    const int n = (int)c->lines->len;
    c->alarm = 0;
    forget_old(c);
    g_autoptr(GPtrArray) wanted = c->hooks.wanted(c->data);
    g_autofree RouteChannel *channels = g_new(RouteChannel, MAX(n, 1));
    for (int i = 0; i < n; i++) {
        Line *line = c->lines->pdata[i];
        follow_clock(&line->stands, now_utc);
        channels[i] = line->stands;
    }
    g_autoptr(GArray) acts = route_decide(wanted, channels, n, c->told, now_utc);
    for (guint i = 0; i < acts->len; i++) {
        const RouteAct *act = &g_array_index(acts, RouteAct, i);
        if (act->channel < 0)
            let_go(c, act->news);
        else
            send(c, c->lines->pdata[act->channel], act->news);
    }
    const int64_t next_utc = route_next_utc(wanted, channels, n, c->told, now_utc);
    if (next_utc != 0 && c->alarm == 0)
        c->alarm = clock_add_alarm(c->clk, next_utc, look, c);
}

void courier_look(Courier *c)
{
    clock_remove_alarm(c->clk, c->alarm);
    c->alarm = clock_add_alarm(c->clk, clock_now(c->clk), look, c);
}

/* ---- tests ---- */

static void test_free(Test *test)
{
    channel_free(test->channel);
    g_free(test);
}

static void on_tested(const ChannelResult *result, gpointer data)
{
    Test *test = data;
    g_ptr_array_remove_fast(test->courier->tests, test);
    test->done(result, test->data);
    test_free(test);
}

void courier_test(Courier *c, int channel, const char *summary, const char *body, ChannelDone done,
                  gpointer data)
{
    const Line *line = c->lines->pdata[channel];
    g_autofree char *id = channel_message_id();
    g_autoptr(ChannelMessage) message = channel_message_new(id, CHANNEL_TOPIC_TEST, summary, body);
    Test *test = g_new0(Test, 1);
    message->sent_utc = clock_now(c->clk);
    test->courier = c;
    test->done = done;
    test->data = data;
    test->channel = channel_new(line->stands.setup, c->clk, c->hooks.show, c->data);
    g_ptr_array_add(c->tests, test);
    channel_send(test->channel, message, on_tested, test);
}

/* ---- how it stands ---- */

CourierState courier_state(const Courier *c, int channel)
{
    const Line *line = c->lines->pdata[channel];
    return (CourierState){.busy = line->stands.busy,
                          .failures = line->stands.failures,
                          .failing_utc = line->failing_utc,
                          .delivered_utc = line->delivered_utc,
                          .retry_utc = line->stands.retry_utc,
                          .trouble = line->trouble};
}

guint courier_count(const Courier *c, ToldState state, int64_t from_utc)
{
    guint n = 0;
    for (guint i = 0; i < c->told->len; i++) {
        const Told *told = c->told->pdata[i];
        n += told->state == state && told->at_utc >= from_utc;
    }
    return n;
}

/* ---- life ---- */

/* What it carried has no answer any more. */
static void line_free(gpointer data)
{
    Line *line = data;
    for (guint i = 0; i < line->carried->len; i++)
        g_array_index(line->carried, Carried, i).told->this_run = FALSE;
    channel_free(line->channel);
    g_time_zone_unref(line->stands.zone);
    g_array_unref(line->carried);
    g_free(line->trouble);
    g_free(line);
}

static GTimeZone *zone_of(const Garden *garden, const ChannelSetup *setup)
{
    const int site = setup->grower >= 0 ? garden->growers[setup->grower].home_site : 0;
    GTimeZone *zone = g_time_zone_new_identifier(garden->sites[site].zone);
    return zone != NULL ? zone : g_time_zone_new_utc(); /* the reader has tried it */
}

static Line *line_new(Courier *c, const ChannelSetup *setup, GPtrArray *former)
{
    Line *line = g_new0(Line, 1);
    line->courier = c;
    line->channel = channel_new(setup, c->clk, c->hooks.show, c->data);
    line->carried = g_array_new(FALSE, FALSE, sizeof(Carried));
    for (guint i = 0; i < former->len; i++) {
        Line *old = former->pdata[i];
        if (!g_str_equal(old->stands.setup->name, setup->name))
            continue;
        line->stands.told_utc = old->stands.told_utc;
        line->delivered_utc = old->delivered_utc;
        line->trouble = g_steal_pointer(&old->trouble);
    }
    for (guint i = 0; i < c->told->len; i++) {
        const Told *told = c->told->pdata[i];
        if (told->state == TOLD_DELIVERED && g_str_equal(told->channel, setup->name))
            line->delivered_utc = MAX(line->delivered_utc, told->at_utc);
    }
    line->stands.setup = setup;
    line->stands.zone = zone_of(c->garden, setup);
    return line;
}

void courier_set_up(Courier *c, const Garden *garden)
{
    g_autoptr(GPtrArray) former = g_steal_pointer(&c->lines);
    c->garden = garden;
    c->lines = g_ptr_array_new_with_free_func(line_free);
    for (int i = 0; i < garden->n_channels; i++)
        g_ptr_array_add(c->lines, line_new(c, &garden->channels[i], former));
    courier_look(c);
}

void courier_remember(Courier *c, Told *told)
{
    told->this_run = FALSE;
    g_ptr_array_add(c->told, told);
}

Courier *courier_new(Clock *clk, const CourierHooks *hooks, gpointer data)
{
    Courier *c = g_new0(Courier, 1);
    c->clk = clk;
    c->hooks = *hooks;
    c->data = data;
    c->lines = g_ptr_array_new_with_free_func(line_free);
    c->told = g_ptr_array_new_with_free_func((GDestroyNotify)told_free);
    c->tests = g_ptr_array_new();
    return c;
}

void courier_free(Courier *c)
{
    if (c == NULL)
        return;
    clock_remove_alarm(c->clk, c->alarm);
    g_ptr_array_unref(c->lines);
    g_ptr_array_unref(c->told);
    for (guint i = 0; i < c->tests->len; i++) {
        Test *test = c->tests->pdata[i];
        char *reason = g_strdup("tholed ends");
        const ChannelResult result = {.outcome = CHANNEL_FAILED, .reason = reason};
        test->done(&result, test->data);
        test_free(test);
        g_free(reason);
    }
    g_ptr_array_unref(c->tests);
    g_free(c);
}
