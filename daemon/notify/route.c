/* SPDX-License-Identifier: MIT */
#include "notify/route.h"

#include "base/local-time.h"

/* What is decided upon. */
typedef struct Table {
    const RouteChannel *channels;
    int n_channels;
    const GPtrArray *told;
    int64_t now_utc;
} Table;

/* Where one news goes next. */
typedef struct Choice {
    int channel;       /* -1: to none yet */
    int64_t ready_utc; /* when; or when to look again; 0 never */
    gboolean told;     /* some channel has told it */
    gboolean on_way;
} Choice;

Told *told_new(const char *key, const char *channel)
{
    Told *told = g_new0(Told, 1);
    told->key = g_strdup(key);
    told->channel = g_strdup(channel);
    told->sense = g_strdup("");
    return told;
}

void told_free(Told *told)
{
    if (told == NULL)
        return;
    g_free(told->key);
    g_free(told->channel);
    g_free(told->sense);
    g_free(told);
}

Told *told_find(const GPtrArray *told, const char *key, const char *channel)
{
    for (guint i = 0; i < told->len; i++) {
        Told *one = told->pdata[i];
        if (g_str_equal(one->key, key) && g_str_equal(one->channel, channel))
            return one;
    }
    return NULL;
}

ToldState told_after(const ChannelResult *result, gboolean urgent)
{
    switch (result->outcome) {
    case CHANNEL_DELIVERED:
        return TOLD_DELIVERED;
    case CHANNEL_REFUSED:
        return TOLD_REFUSED;
    case CHANNEL_FAILED:
        break;
    }
    return result->maybe && !urgent ? TOLD_DELIVERED : TOLD_FAILED;
}

int64_t route_retry_utc(int failures, int64_t now_utc, double jitter)
{
    int64_t wait_s = ROUTE_RETRY_S;
    for (int i = 1; i < failures && wait_s < ROUTE_RETRY_MOST_S; i++)
        wait_s *= 2;
    wait_s = MIN(wait_s, ROUTE_RETRY_MOST_S);
    return now_utc + wait_s + (int64_t)((double)wait_s / 4 * jitter);
}

/* The span of the local day before is looked at too: it may last past midnight. */
int64_t route_quiet_until(const ChannelSetup *setup, GTimeZone *zone, int64_t utc)
{
    const int from_min = setup->quiet_from_min, to_min = setup->quiet_to_min;
    const int today = local_day(zone, utc);
    if (from_min == to_min)
        return 0;
    for (int day = today - 1; day <= today; day++) {
        const int64_t from_utc = local_time_on_day(zone, day, from_min);
        const int64_t to_utc = local_time_on_day(zone, from_min < to_min ? day : day + 1, to_min);
        if (from_utc <= utc && utc < to_utc)
            return to_utc;
    }
    return 0;
}

/* ---- one news ---- */

static gboolean is_for(const RouteChannel *channel, const News *n)
{
    if (n->only != NULL)
        return g_str_equal(channel->setup->name, n->only);
    return channel->setup->grower < 0 || channel->setup->grower == n->grower;
}

/* The channels of a news in order, as indices; gives how many. */
static int ladder_of(const Table *t, const News *n, int *ladder)
{
    int count = 0;
    for (int i = 0; i < t->n_channels; i++) {
        int at = count;
        if (!is_for(&t->channels[i], n))
            continue;
        for (; at > 0 && t->channels[ladder[at - 1]].setup->order > t->channels[i].setup->order;
             at--)
            ladder[at] = ladder[at - 1];
        ladder[at] = i;
        count++;
    }
    return count;
}

static gboolean is_on_way(const Told *told)
{
    return told != NULL && told->state == TOLD_HANDED && told->this_run;
}

/* Whether the channel has told it as it is. One that an earlier run handed over, and never heard
 * of, counts as told unless a miss does harm. */
static gboolean has_told(const Told *told, const News *n)
{
    if (told == NULL || (!n->once && !g_str_equal(told->sense, n->sense)))
        return FALSE;
    return told->state == TOLD_DELIVERED ||
           (told->state == TOLD_HANDED && (told->this_run || !n->urgent));
}

/* The earliest that a channel can take a news; now, if it is free to. */
static int64_t can_take_utc(const Table *t, const RouteChannel *channel, const News *n,
                            const Told *told, gboolean *ret_quiet)
{
    const int64_t quiet_utc =
        n->kills ? 0 : route_quiet_until(channel->setup, channel->zone, t->now_utc);
    int64_t at_utc = MAX(t->now_utc, channel->retry_utc);
    if (told != NULL && told->state == TOLD_REFUSED && g_str_equal(told->sense, n->sense))
        at_utc = MAX(at_utc, told->at_utc + ROUTE_REFUSED_S);
    *ret_quiet = quiet_utc >= at_utc;
    return MAX(at_utc, quiet_utc);
}

/* Whether news that was never told waits for a channel, or goes on to the next. */
static gboolean waits_for(const News *n, int64_t at_utc, gboolean quiet)
{
    if (n->urgent || at_utc > n->seen_by_utc - ROUTE_MARGIN_S)
        return FALSE;
    return quiet || at_utc <= n->from_utc + ROUTE_PATIENCE_S;
}

/* What is not urgent waits for more of its kind, unless there is no time, or it would get into the
 * quiet hours. */
static int64_t gather_utc(const RouteChannel *channel, const News *n, int64_t now_utc)
{
    int64_t ready_utc = n->from_utc + ROUTE_BURST_S;
    if (n->urgent)
        return now_utc;
    if (channel->told_utc != 0)
        ready_utc = MAX(ready_utc, channel->told_utc + ROUTE_GAP_S);
    ready_utc = MIN(ready_utc, n->seen_by_utc - ROUTE_MARGIN_S);
    if (ready_utc > now_utc && route_quiet_until(channel->setup, channel->zone, ready_utc) != 0)
        return now_utc;
    return MAX(ready_utc, now_utc);
}

/* Goes down the ladder, from the step after the last one that told it. */
static void choose_step(const Table *t, const News *n, const int *ladder, int count, int last,
                        Choice *choice)
{
    int64_t earliest_utc = 0;
    for (int k = 1; k <= count; k++) {
        const int i = ladder[(last + k) % count];
        const RouteChannel *channel = &t->channels[i];
        const Told *told = told_find(t->told, n->key, channel->setup->name);
        gboolean quiet;
        if (has_told(told, n))
            continue;
        const int64_t at_utc = can_take_utc(t, channel, n, told, &quiet);
        if (at_utc <= t->now_utc) {
            choice->channel = i;
            choice->ready_utc = gather_utc(channel, n, t->now_utc);
            return;
        }
        if (earliest_utc == 0 || at_utc < earliest_utc)
            earliest_utc = at_utc;
        if (!choice->told && waits_for(n, at_utc, quiet))
            break;
    }
    choice->ready_utc = earliest_utc;
}

static Choice choose(const Table *t, const News *n)
{
    Choice choice = {.channel = -1};
    g_autofree int *ladder = g_new(int, MAX(t->n_channels, 1));
    const int count = ladder_of(t, n, ladder);
    int last = -1;
    int64_t told_utc = 0;
    for (guint i = 0; i < t->told->len; i++) {
        const Told *told = t->told->pdata[i];
        if (!g_str_equal(told->key, n->key))
            continue;
        choice.on_way = choice.on_way || is_on_way(told);
        if (!has_told(told, n))
            continue;
        choice.told = TRUE; /* by a channel that may be gone by now */
        told_utc = MAX(told_utc, told->at_utc);
        for (int k = last + 1; k < count; k++)
            if (g_str_equal(t->channels[ladder[k]].setup->name, told->channel))
                last = k;
    }
    const int64_t from_utc =
        choice.told ? MAX(n->answer_by_utc, told_utc + ROUTE_ANSWER_S) : n->from_utc;
    if (choice.on_way || count == 0 || t->now_utc > n->last_utc ||
        (choice.told && n->answer_by_utc == 0))
        return choice;
    if (t->now_utc < from_utc)
        choice.ready_utc = from_utc;
    else
        choose_step(t, n, ladder, count, last, &choice);
    return choice;
}

/* ---- all of it ---- */

static gboolean is_lost(const Table *t, const News *n, const Choice *choice)
{
    const Told *missed = told_find(t->told, n->key, "");
    return t->now_utc > n->last_utc && !choice->told && !choice->on_way &&
           (missed == NULL || !g_str_equal(missed->sense, n->sense));
}

static void act_clear(gpointer act)
{
    g_ptr_array_unref(((RouteAct *)act)->news);
}

static void add(GArray *acts, int channel, News *n)
{
    RouteAct *act = NULL;
    for (guint i = 0; i < acts->len && act == NULL; i++)
        if (g_array_index(acts, RouteAct, i).channel == channel)
            act = &g_array_index(acts, RouteAct, i);
    if (act == NULL) {
        const RouteAct fresh = {channel, g_ptr_array_new()};
        g_array_append_val(acts, fresh);
        act = &g_array_index(acts, RouteAct, acts->len - 1);
    }
    if (channel < 0 || act->news->len < ROUTE_TOGETHER_MAX)
        g_ptr_array_add(act->news, n);
}

GArray *route_decide(const GPtrArray *news, const RouteChannel *channels, int n_channels,
                     const GPtrArray *told, int64_t now_utc)
{
    const Table t = {channels, n_channels, told, now_utc};
    GArray *acts = g_array_new(FALSE, FALSE, sizeof(RouteAct));
    g_autofree Choice *choices = g_new(Choice, MAX(news->len, 1));
    g_autofree gboolean *ready = g_new0(gboolean, MAX(n_channels, 1));
    g_array_set_clear_func(acts, act_clear);
    for (guint i = 0; i < news->len; i++) {
        choices[i] = choose(&t, news->pdata[i]);
        const int channel = choices[i].channel;
        if (channel >= 0 && choices[i].ready_utc <= now_utc)
            ready[channel] = !channels[channel].busy;
        if (is_lost(&t, news->pdata[i], &choices[i]))
            add(acts, -1, news->pdata[i]);
    }
    /* The ready ones first; what waits for more goes along. */
    for (int pass = 0; pass < 2; pass++)
        for (guint i = 0; i < news->len; i++) {
            const int channel = choices[i].channel;
            if (channel >= 0 && ready[channel] && (choices[i].ready_utc <= now_utc) == (pass == 0))
                add(acts, channel, news->pdata[i]);
        }
    return acts;
}

int64_t route_next_utc(const GPtrArray *news, const RouteChannel *channels, int n_channels,
                       const GPtrArray *told, int64_t now_utc)
{
    const Table t = {channels, n_channels, told, now_utc};
    int64_t next_utc = 0;
    for (guint i = 0; i < news->len; i++) {
        const News *n = news->pdata[i];
        const Choice choice = choose(&t, n);
        const int64_t times[] = {choice.ready_utc,
                                 !choice.told && !choice.on_way ? n->last_utc + 1 : 0};
        for (gsize k = 0; k < G_N_ELEMENTS(times); k++)
            if (times[k] > now_utc && (next_utc == 0 || times[k] < next_utc))
                next_utc = times[k];
    }
    return next_utc;
}
