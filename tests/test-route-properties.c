/* SPDX-License-Identifier: MIT */
/*
 * Random growers, channels that come and go, news that changes its mind, a service that is killed.
 * Whatever happens: no news twice on a channel, none lost while a channel works, quiet hours, the
 * order of the channels, a burst in one message, an answer asked for by one after the other.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "notify/route.h"

#define T0 INT64_C(1776358800) /* 2026-04-16T17:00:00Z */
#define H 3600
#define LASTS_S (60 * H)
#define WORLDS 1500
#define CHANNELS_MAX 4
#define NEWS_MAX 14
#define VERSIONS_MAX 3
#define FLIPS_MAX 8
#define WORK_S                                                                                     \
    2400 /* in so much time a channel that works is tried: more than its longest wait              \
          */

typedef struct FakeChannel {
    ChannelSetup setup;
    gboolean refuses;
    int64_t flip_utc[FLIPS_MAX]; /* up until the first, then down until the second … */
    int n_flips;
    /* a message on its way */
    int64_t answer_utc; /* 0: none */
    GPtrArray *carries; /* (element-type FakeNews) */
    int version[NEWS_MAX];
    gboolean was_up;
} FakeChannel;

typedef struct FakeNews {
    News *news; /* as it is now */
    int n_versions;
    int64_t version_utc[VERSIONS_MAX]; /* since when */
    int64_t gone_utc;                  /* answered, or withdrawn; 0 never */
} FakeNews;

/* What a channel was given, as somebody at its other end would see it. */
typedef struct Delivery {
    int news, version, channel;
    int64_t utc;
    gboolean may_come_again; /* urgent, and its answer was lost */
} Delivery;

typedef struct World {
    GRand *rand;
    GTimeZone *zone;
    FakeChannel fake[CHANNELS_MAX];
    RouteChannel channels[CHANNELS_MAX];
    int n_channels;
    FakeNews news[NEWS_MAX];
    int n_news;
    GPtrArray *told;
    GArray *deliveries;
    gboolean lost[NEWS_MAX][VERSIONS_MAX];
    gboolean unsure[NEWS_MAX]; /* routine, on its way when the service was killed, not taken */
    gboolean kills_service;
    int64_t now_utc;
} World;

static int any(World *w, int below)
{
    return below > 0 ? g_rand_int_range(w->rand, 0, below) : 0;
}

static gboolean one_in(World *w, int n)
{
    return any(w, n) == 0;
}

static gboolean is_up(const FakeChannel *c, int64_t utc)
{
    gboolean up = TRUE;
    for (int i = 0; i < c->n_flips && c->flip_utc[i] <= utc; i++)
        up = !up;
    return up;
}

static int version_at(const FakeNews *f, int64_t utc)
{
    int version = -1;
    while (version + 1 < f->n_versions && f->version_utc[version + 1] <= utc)
        version++;
    return version;
}

static void build_channel(World *w, int i)
{
    FakeChannel *c = &w->fake[i];
    g_snprintf(c->setup.name, sizeof c->setup.name, "c%d", i);
    c->setup.order = 1 + any(w, 4);
    c->setup.grower = any(w, 3) - 1;
    if (one_in(w, 2)) {
        c->setup.quiet_from_min = 30 * any(w, 48);
        c->setup.quiet_to_min = 30 * any(w, 48);
    }
    c->refuses = one_in(w, 8);
    if (one_in(w, 2))
        c->n_flips = 1 + any(w, FLIPS_MAX);
    int64_t utc = T0;
    for (int k = 0; k < c->n_flips; k++)
        c->flip_utc[k] = utc += any(w, one_in(w, 2) ? 12 * H : 900);
    c->carries = g_ptr_array_new();
    w->channels[i] = (RouteChannel){.setup = &c->setup, .zone = w->zone};
}

static void build_news(World *w, int i)
{
    FakeNews *f = &w->news[i];
    g_autofree char *key = g_strdup_printf("n%d", i);
    News *n = news_new(key, any(w, 2), CHANNEL_TOPIC_CHANGE);
    int64_t utc = T0 + any(w, 36 * H);
    f->news = n;
    f->n_versions = 1 + (one_in(w, 3) ? any(w, VERSIONS_MAX) : 0);
    if (i > 0 && one_in(w, 3)) /* a burst */
        utc = w->news[i - 1].version_utc[0] + any(w, 60);
    for (int k = 0; k < f->n_versions; k++) {
        f->version_utc[k] = utc;
        utc += 1 + any(w, 2 * H);
    }
    n->seen_by_utc = utc + any(w, 14 * H);
    n->last_utc = n->seen_by_utc + any(w, 3 * H);
    n->urgent = one_in(w, 3);
    n->kills = n->urgent && one_in(w, 2);
    n->once = one_in(w, 4);
    if (n->urgent && one_in(w, 2))
        n->answer_by_utc = f->version_utc[0] + any(w, 4 * H);
    if (one_in(w, 4))
        f->gone_utc = f->version_utc[0] + any(w, 10 * H);
}

/* The news as it is told of now: (element-type News). */
static GPtrArray *wanted_now(World *w)
{
    GPtrArray *wanted = g_ptr_array_new();
    for (int i = 0; i < w->n_news; i++) {
        FakeNews *f = &w->news[i];
        const int version = version_at(f, w->now_utc);
        if (version < 0 || (f->gone_utc != 0 && w->now_utc >= f->gone_utc))
            continue;
        g_free(f->news->sense);
        f->news->sense = g_strdup_printf("v%d", version);
        f->news->from_utc = f->version_utc[version];
        g_ptr_array_add(wanted, f->news);
    }
    return wanted;
}

static int index_of(const World *w, const News *n)
{
    for (int i = 0; i < w->n_news; i++)
        if (w->news[i].news == n)
            return i;
    fail_msg("news of nobody");
    return -1;
}

static Told *row_of(World *w, const News *n, const char *channel)
{
    Told *told = told_find(w->told, n->key, channel);
    if (told != NULL)
        return told;
    told = told_new(n->key, channel);
    g_ptr_array_add(w->told, told);
    return told;
}

/* ---- what must hold when a message is sent ---- */

static gboolean is_mine(const FakeChannel *c, const News *n)
{
    return c->setup.grower < 0 || c->setup.grower == n->grower;
}

static gboolean is_before(const World *w, int a, int b)
{
    const int order_a = w->fake[a].setup.order, order_b = w->fake[b].setup.order;
    return order_a != order_b ? order_a < order_b : a < b;
}

static void assert_sent_rightly(World *w, int channel, const News *n)
{
    const gboolean quiet = route_quiet_until(&w->fake[channel].setup, w->zone, w->now_utc) != 0;
    assert_true(is_mine(&w->fake[channel], n));
    assert_true(n->kills || !quiet);
    assert_in_range(w->now_utc, n->from_utc, n->last_utc);
    assert_true(w->channels[channel].retry_utc <= w->now_utc);
    /* Each channel before it cannot take it now, or has told it. */
    for (int i = 0; i < w->n_channels; i++) {
        const Told *told = told_find(w->told, n->key, w->fake[i].setup.name);
        if (i == channel || !is_before(w, i, channel) || !is_mine(&w->fake[i], n))
            continue;
        const gboolean can =
            (n->kills || route_quiet_until(&w->fake[i].setup, w->zone, w->now_utc) == 0) &&
            w->channels[i].retry_utc <= w->now_utc;
        const gboolean had =
            told != NULL && (told->state != TOLD_FAILED || told->at_utc >= n->from_utc);
        gboolean later_told = FALSE; /* it goes round: one after this one told it */
        for (int k = 0; k < w->n_channels; k++) {
            const Told *other = told_find(w->told, n->key, w->fake[k].setup.name);
            later_told = later_told || (other != NULL && other->state == TOLD_DELIVERED);
        }
        if (can && !had && !later_told)
            fail_msg("c%d could have taken %s before c%d", i, n->key, channel);
    }
}

static void send_message(World *w, const RouteAct *act)
{
    FakeChannel *c = &w->fake[act->channel];
    assert_int_equal(c->answer_utc, 0);
    assert_in_range(act->news->len, 1, ROUTE_TOGETHER_MAX);
    gboolean hurry = c->setup.quiet_from_min != c->setup.quiet_to_min;
    for (guint i = 0; i < act->news->len; i++) {
        const News *n = act->news->pdata[i];
        assert_sent_rightly(w, act->channel, n);
        hurry = hurry || n->urgent || n->seen_by_utc - ROUTE_MARGIN_S <= w->now_utc;
    }
    if (!hurry && w->channels[act->channel].told_utc != 0)
        assert_true(w->now_utc - w->channels[act->channel].told_utc >= ROUTE_GAP_S);
    for (guint i = 0; i < act->news->len; i++) {
        const News *n = act->news->pdata[i];
        const int k = index_of(w, n);
        Told *told = row_of(w, n, c->setup.name);
        told->state = TOLD_HANDED;
        told->this_run = TRUE;
        told->at_utc = w->now_utc;
        g_free(told->sense);
        told->sense = g_strdup(n->sense);
        c->version[k] = version_at(&w->news[k], w->now_utc);
        g_ptr_array_add(c->carries, &w->news[k]);
    }
    c->was_up = is_up(c, w->now_utc);
    c->answer_utc = w->now_utc + 1 + any(w, 40);
    w->channels[act->channel].busy = TRUE;
}

static void deliver(World *w, int channel, const FakeNews *f, gboolean may_come_again)
{
    const int news = (int)(f - w->news);
    const Delivery delivery = {news, w->fake[channel].version[news], channel, w->now_utc,
                               may_come_again && f->news->urgent};
    g_array_append_val(w->deliveries, delivery);
}

/* The channel's answer; or, where the service was killed, what became of it without. */
static void answer(World *w, int i, gboolean heard)
{
    FakeChannel *c = &w->fake[i];
    RouteChannel *channel = &w->channels[i];
    ChannelResult result = {.outcome = c->refuses  ? CHANNEL_REFUSED
                                       : c->was_up ? CHANNEL_DELIVERED
                                                   : CHANNEL_FAILED};
    result.maybe = result.outcome == CHANNEL_FAILED && one_in(w, 4);
    const gboolean arrives = result.outcome == CHANNEL_DELIVERED || result.maybe;
    for (guint k = 0; k < c->carries->len; k++) {
        const FakeNews *f = c->carries->pdata[k];
        Told *told = row_of(w, f->news, c->setup.name);
        if (arrives)
            deliver(w, i, f, !heard || result.maybe);
        told->this_run = FALSE;
        if (!heard && !arrives && !f->news->urgent)
            w->unsure[f - w->news] = TRUE;
        if (!heard)
            continue;
        told->state = told_after(&result, f->news->urgent);
        told->at_utc = w->now_utc;
    }
    g_ptr_array_set_size(c->carries, 0);
    c->answer_utc = 0;
    channel->busy = FALSE;
    if (!heard)
        return;
    channel->told_utc = w->now_utc;
    channel->failures = result.outcome == CHANNEL_FAILED ? channel->failures + 1 : 0;
    channel->retry_utc = channel->failures > 0
                             ? route_retry_utc(channel->failures, w->now_utc, any(w, 100) / 100.0)
                             : 0;
}

/* Killed and started again: only the rows are left. */
static void kill_service(World *w)
{
    for (int i = 0; i < w->n_channels; i++) {
        if (w->fake[i].answer_utc != 0)
            answer(w, i, FALSE);
        w->channels[i].retry_utc = w->channels[i].told_utc = w->channels[i].failures = 0;
    }
}

/* ---- time goes on ---- */

static void sooner(int64_t utc, int64_t now_utc, int64_t *next_utc)
{
    if (utc > now_utc && utc < *next_utc)
        *next_utc = utc;
}

static int64_t next_of_world(const World *w)
{
    int64_t next_utc = T0 + LASTS_S;
    for (int i = 0; i < w->n_channels; i++)
        if (w->fake[i].answer_utc != 0)
            sooner(w->fake[i].answer_utc, w->now_utc, &next_utc);
    for (int i = 0; i < w->n_news; i++) {
        for (int k = 0; k < w->news[i].n_versions; k++)
            sooner(w->news[i].version_utc[k], w->now_utc, &next_utc);
        if (w->news[i].gone_utc != 0)
            sooner(w->news[i].gone_utc, w->now_utc, &next_utc);
    }
    return next_utc;
}

static void turn(World *w)
{
    for (int i = 0; i < w->n_channels; i++)
        if (w->fake[i].answer_utc != 0 && w->fake[i].answer_utc <= w->now_utc)
            answer(w, i, TRUE);
    if (w->kills_service && one_in(w, 15))
        kill_service(w);
    g_autoptr(GPtrArray) wanted = wanted_now(w);
    g_autoptr(GArray) acts = route_decide(wanted, w->channels, w->n_channels, w->told, w->now_utc);
    for (guint i = 0; i < acts->len; i++) {
        const RouteAct *act = &g_array_index(acts, RouteAct, i);
        if (act->channel >= 0) {
            send_message(w, act);
            continue;
        }
        for (guint k = 0; k < act->news->len; k++) {
            const News *n = act->news->pdata[k];
            const int news = index_of(w, n);
            Told *told = row_of(w, n, "");
            assert_false(w->lost[news][version_at(&w->news[news], w->now_utc)]);
            w->lost[news][version_at(&w->news[news], w->now_utc)] = TRUE;
            told->state = TOLD_MISSED;
            g_free(told->sense);
            told->sense = g_strdup(n->sense);
        }
    }
    /* Decided once, all is said: no act is left for this moment but where a channel is free. */
    int64_t next_utc = next_of_world(w);
    const int64_t own_utc = route_next_utc(wanted, w->channels, w->n_channels, w->told, w->now_utc);
    if (own_utc != 0)
        sooner(own_utc, w->now_utc, &next_utc);
    w->now_utc = next_utc;
}

/* ---- what must hold afterwards ---- */

/* Twice: the same words on the same channel, one after the other; or any words, if once. */
static void assert_never_twice(const World *w)
{
    for (guint i = 0; i < w->deliveries->len; i++) {
        const Delivery *d = &g_array_index(w->deliveries, Delivery, i);
        const News *n = w->news[d->news].news;
        for (guint k = i + 1; k < w->deliveries->len; k++) {
            const Delivery *e = &g_array_index(w->deliveries, Delivery, k);
            if (e->news != d->news || (e->version != d->version && !n->once) || d->may_come_again)
                continue;
            if (e->channel == d->channel)
                fail_msg("%s twice on c%d", n->key, d->channel);
            if (n->answer_by_utc == 0)
                fail_msg("%s on c%d and on c%d, and no answer was due", n->key, d->channel,
                         e->channel);
        }
    }
}

/* Up, taking it and not quiet, all that time. */
static gboolean works(const World *w, const FakeChannel *c, const News *n, int64_t from_utc,
                      int64_t to_utc)
{
    if (c->refuses || !is_mine(c, n))
        return FALSE;
    for (int64_t utc = from_utc; utc <= to_utc; utc += 60)
        if (!is_up(c, utc) || (!n->kills && route_quiet_until(&c->setup, w->zone, utc) != 0))
            return FALSE;
    return TRUE;
}

/* Words that hold long enough, with a channel that works for long enough before they are of no more
 * use, are told. What is urgent uses any such time; routine may have waited for another channel, so
 * the time is that at the end. */
static int assert_none_lost(const World *w)
{
    int looked_at = 0;
    for (int i = 0; i < w->n_news; i++) {
        const FakeNews *f = &w->news[i];
        const News *n = f->news;
        for (int v = 0; v < f->n_versions; v++) {
            const int64_t from_utc = f->version_utc[v];
            int64_t to_utc = v + 1 < f->n_versions ? f->version_utc[v + 1] : n->last_utc;
            gboolean told = FALSE, known = FALSE, could = FALSE;
            to_utc = MIN(to_utc, f->gone_utc != 0 ? f->gone_utc : to_utc) - 60;
            for (guint k = 0; k < w->deliveries->len; k++) {
                const Delivery *d = &g_array_index(w->deliveries, Delivery, k);
                const gboolean this_one = d->news == i && (d->version == v || n->once);
                told = told || this_one;
                known = known || (this_one && !d->may_come_again);
            }
            /* Words that were replaced, or not wanted any more, may have been waiting rightly. */
            const gboolean whole = to_utc == n->last_utc - 60;
            for (int c = 0; c < w->n_channels && !could && (n->urgent || whole); c++)
                for (int64_t utc = n->urgent ? from_utc : to_utc - WORK_S;
                     utc >= from_utc && utc + WORK_S <= to_utc && !could; utc += WORK_S / 2)
                    could = works(w, &w->fake[c], n, utc, utc + WORK_S);
            could = could && !w->unsure[i];
            looked_at += could;
            if (could && !told)
                fail_msg("%s, words %d, was lost between %+d and %+d min", n->key, v,
                         (int)(from_utc - T0) / 60, (int)(to_utc - T0) / 60);
            if (w->lost[i][v] && known)
                fail_msg("%s was told, and counted as lost", n->key);
        }
    }
    return looked_at;
}

/* Where all channels work, an answer that never comes is asked for by each, ten minutes apart. */
static void assert_escalates(const World *w)
{
    for (int i = 0; i < w->n_news; i++) {
        const News *n = w->news[i].news;
        int mine = 0, told = 0;
        int64_t ends_utc = n->last_utc;
        if (n->answer_by_utc == 0 || w->news[i].gone_utc != 0 || w->news[i].n_versions > 1)
            continue;
        for (int c = 0; c < w->n_channels; c++)
            mine += is_mine(&w->fake[c], n);
        for (guint k = 0; k < w->deliveries->len; k++)
            told += g_array_index(w->deliveries, Delivery, k).news == i;
        if (MAX(n->answer_by_utc, n->from_utc) + mine * (ROUTE_ANSWER_S + 120) < ends_utc)
            assert_int_equal(told, mine);
    }
}

static void live(guint32 seed, gboolean all_well, int *ret_looked_at, guint *ret_deliveries)
{
    World w = {.rand = g_rand_new_with_seed(seed), .now_utc = T0};
    w.zone = g_time_zone_new_identifier("Europe/London");
    w.told = g_ptr_array_new_with_free_func((GDestroyNotify)told_free);
    w.deliveries = g_array_new(FALSE, FALSE, sizeof(Delivery));
    w.n_channels = 1 + any(&w, CHANNELS_MAX);
    w.n_news = 1 + any(&w, NEWS_MAX);
    w.kills_service = !all_well && one_in(&w, 3);
    for (int i = 0; i < w.n_channels; i++) {
        build_channel(&w, i);
        if (all_well) {
            w.fake[i].refuses = FALSE;
            w.fake[i].n_flips = w.fake[i].setup.quiet_from_min = w.fake[i].setup.quiet_to_min = 0;
        }
    }
    for (int i = 0; i < w.n_news; i++)
        build_news(&w, i);
    int turns = 0;
    while (w.now_utc < T0 + LASTS_S) {
        turn(&w);
        assert_true(++turns < 20000);
    }
    assert_never_twice(&w);
    *ret_looked_at += assert_none_lost(&w);
    *ret_deliveries += w.deliveries->len;
    if (all_well)
        assert_escalates(&w);
    for (int i = 0; i < w.n_channels; i++)
        g_ptr_array_unref(w.fake[i].carries);
    for (int i = 0; i < w.n_news; i++)
        news_free(w.news[i].news);
    g_ptr_array_unref(w.told);
    g_array_unref(w.deliveries);
    g_time_zone_unref(w.zone);
    g_rand_free(w.rand);
}

static void test_worlds(void **state)
{
    const char *given = g_getenv("THOLE_TEST_SEED");
    const guint32 seed =
        given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();
    int looked_at = 0;
    guint deliveries = 0;
    (void)state;
    print_message("# worlds: seed %u (THOLE_TEST_SEED repeats it)\n", seed);
    for (guint32 i = 0; i < WORLDS; i++)
        live(seed + i, i % 4 == 0, &looked_at, &deliveries);
    print_message("# %u messages told; %d news had a channel that worked\n", deliveries, looked_at);
    assert_true(looked_at > WORLDS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_worlds)};
    return cmocka_run_group_tests_name("route properties", tests, NULL, NULL);
}
