/* SPDX-License-Identifier: MIT */
/*
 * Each event of the calendar as it is published, as notify/news.h wants it, and in words. News goes
 * with what it is about: reported, withdrawn or over, there is none any more.
 */
#include "service/post-wanted.h"

#include <string.h>

#include "base/local-time.h"
#include "base/log.h"
#include "garden/outlets.h"
#include "service/event-text.h"
#include "service/jobs.h"
#include "service/outlets.h"
#include "service/wishes.h"
#include "service/wording-news.h"

#define WARN_AHEAD_S                                                                               \
    (12 * 3600) /* a frost that a visit can do something about is told so long before it is time   \
                   to leave for it; chosen */

#define DOWN_LAG_S (48 * 3600) /* the most that a server that fails counts for; chosen */
#define LET_GO_S 3600          /* news stays there so long after its last moment; chosen */

typedef struct Search {
    const Service *service;
    Courier *courier;
    GPtrArray *news; /* (element-type News) */
    int64_t now_utc;
} Search;

/* What has failed for a day may well fail for another. */
int64_t post_lag_s(const Service *s, int grower)
{
    const int64_t down_s = outlets_down_s(s->outlets, grower);

    if (down_s > 0)
        return CLAMP(down_s, s->garden->feed_lag_s, DOWN_LAG_S);
    for (int i = 0; i < s->garden->n_outlets; i++) {
        const OutletSetup *outlet = &s->garden->outlets[i];
        if (outlet->kind == OUTLET_SERVER && (outlet->grower < 0 || outlet->grower == grower))
            return s->garden->server_lag_s;
    }
    return s->garden->feed_lag_s;
}

gboolean post_goes_to(const Garden *garden, int grower, int site)
{
    const Grower *one = &garden->growers[grower];
    gboolean goes = one->home_site == site;
    for (int i = 0; i < one->n_rules; i++)
        goes = goes || one->rules[i].site == site;
    return goes;
}

static gboolean is_for(const ChannelSetup *channel, int grower)
{
    return channel->grower < 0 || channel->grower == grower;
}

/* The last alarm: when to leave. */
static int64_t leave_utc(const EventMemory *event)
{
    const guint n = event->alarms->len;
    return n == 0
               ? event->start_utc
               : event->start_utc -
                     60 * (int64_t)g_array_index(event->alarms, EventAlarm, n - 1).minutes_before;
}

/* Cold that a job keeps from plants, or a shut cover in the sun: it cannot be made good. */
static gboolean kills(const Job *job)
{
    return job->guard ||
           (job->urgent && (job->reason.limit == LIMIT_DAMAGE || job->reason.limit == LIMIT_HEAT));
}

/* Nobody is woken for what can still be done in the morning. */
static gboolean cannot_wait(const Search *q, const NewsEvent *event)
{
    const Garden *garden = q->service->garden;
    int64_t quiet_utc = 0;
    for (int i = 0; i < garden->n_channels; i++) {
        const ChannelSetup *channel = &garden->channels[i];
        const int home = garden->growers[event->grower].home_site;
        if (is_for(channel, event->grower))
            quiet_utc =
                MAX(quiet_utc, route_quiet_until(channel, q->service->zones[home], q->now_utc));
    }
    return news_too_late_utc(event) - ROUTE_MARGIN_S < quiet_utc;
}

/* ---- words ---- */

static WordingNews why_told(const News *n, const Visit *visit)
{
    if (n->topic == CHANNEL_TOPIC_QUESTION)
        return WORDING_NEWS_QUESTION;
    if (g_str_has_suffix(n->key, POST_LEAVE_SUFFIX))
        return WORDING_NEWS_LEAVE;
    /* A visit that was warned of before, and is another now, says so. */
    return n->topic == CHANNEL_TOPIC_WARNING && (visit == NULL || n->once) ? WORDING_NEWS_WARNING
                                                                           : WORDING_NEWS_CHANGED;
}

/* The news of EVENT, in the words of these jobs. VISIT is nullable. */
static void add_event(const Search *q, const NewsEvent *event, const Visit *visit,
                      const GArray *jobs)
{
    const WordingContext context = service_wording(q->service);
    const Job *first = (const Job *)(gconstpointer)jobs->data;
    const guint before = q->news->len;
    news_add_event(q->news, event, post_lag_s(q->service, event->grower), q->now_utc);
    for (guint i = before; i < q->news->len; i++) {
        News *n = q->news->pdata[i];
        const WordingNews why = why_told(n, visit);
        n->summary = wording_news_summary(&context, why, visit, first, (int)jobs->len);
        n->body = wording_news_body(&context, why, visit, first, (int)jobs->len);
        n->visit_id = visit != NULL ? g_strdup(visit->id) : NULL;
    }
}

/* ---- visits ---- */

static void take_jobs(NewsEvent *event, const GArray *jobs)
{
    for (guint i = 0; i < jobs->len; i++) {
        const Job *job = &g_array_index(jobs, Job, i);
        if (job->deadline_utc != 0)
            event->deadline_utc = event->deadline_utc == 0
                                      ? job->deadline_utc
                                      : MIN(event->deadline_utc, job->deadline_utc);
        event->guards = event->guards || job->guard;
        event->warning = event->warning || job->guard || job->urgent;
        event->kills = event->kills || kills(job);
    }
}

/* Days ahead it is a visit like others, that the calendar tells; its warning comes in its time. */
static void warn_in_time(const Search *q, NewsEvent *event)
{
    const int64_t warn_utc = event->leave_utc - WARN_AHEAD_S;
    NewsEvent plain = *event;
    plain.warning = FALSE;
    if (q->now_utc < warn_utc && news_is_needed(&plain, post_lag_s(q->service, event->grower)))
        event->warning = FALSE;
    else
        event->changed_utc = MAX(event->changed_utc, warn_utc);
}

static void add_visit(const Search *q, const EventMemory *memory, const OpenVisit *v)
{
    g_autoptr(GArray) jobs = jobs_open(v, FALSE);
    if (v->closed || jobs->len == 0)
        return;
    g_autofree char *sense =
        g_strdup_printf("%" G_GINT64_FORMAT "\n%s", memory->start_utc, memory->substance);
    NewsEvent event = {.key = v->visit.id,
                       .grower = v->visit.grower,
                       .changed_utc = courier_said_since(q->courier, v->visit.id, sense),
                       .leave_utc = leave_utc(memory),
                       .start_utc = memory->start_utc,
                       .end_utc = memory->end_utc,
                       .way_s = jobs_way_s(q->service, &v->visit),
                       .sense = sense};
    take_jobs(&event, jobs);
    /* A question must come before it is planned as not known, too. */
    if (v->begun && event.deadline_utc != 0)
        event.deadline_utc = MIN(event.deadline_utc, jobs_close_utc(q->service, v) + event.way_s);
    event.kills = event.kills && cannot_wait(q, &event);
    if (v->visit.fixed) /* the grower's own word is no news */
        event.changed_utc =
            MIN(event.changed_utc, news_seen_by_utc(&event) - post_lag_s(q->service, event.grower));
    if (event.warning)
        warn_in_time(q, &event);
    add_event(q, &event, &v->visit, jobs);
}

static const OpenVisit *find_visit(const Service *s, const char *id)
{
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = s->visits->pdata[i];
        if (g_str_equal(v->visit.id, id))
            return v;
    }
    return NULL;
}

/* Whether the grower said that it is not made. */
static gboolean is_dropped(const Service *s, const Visit *visit, gboolean *ret, GError **error)
{
    g_autoptr(GArray) wishes = NULL;
    if (!wishes_load(s, &wishes, error))
        return FALSE;
    const StoreWish *wish = wishes_about(wishes, visit, "");
    *ret = wish != NULL && wish->kind == STORE_WISH_DROPPED;
    return TRUE;
}

/* The store still knows the visit. */
static void add_withdrawn(const Search *q, const EventMemory *memory)
{
    const Service *s = q->service;
    const StoreScope scope = {.garden = s->garden,
                              .batches = (const Batch *)(gconstpointer)s->current.batches->data,
                              .n_batches = (int)s->current.batches->len};
    const WordingContext context = service_wording(s);
    g_autoptr(GError) error = NULL;
    g_autofree StoreVisit *stored = NULL;
    if (q->now_utc >= memory->end_utc)
        return;
    gboolean dropped = FALSE;
    if (!store_get_visit(s->store, &scope, memory->visit_id, &stored, &error) ||
        (stored != NULL && !is_dropped(s, &stored->visit, &dropped, &error))) {
        log_warning("channels", NULL, "a visit that was withdrawn is not told: %s, ignoring",
                    error->message);
        return;
    }
    if (stored == NULL || dropped || stored->visit.site < 0 || stored->visit.grower < 0 ||
        stored->state != STORE_VISIT_WITHDRAWN)
        return;
    const Visit *visit = &stored->visit;
    const int64_t way = jobs_way_s(s, visit);
    const NewsEvent event = {.key = visit->id,
                             .grower = visit->grower,
                             .changed_utc = courier_said_since(q->courier, visit->id, "withdrawn"),
                             .leave_utc = memory->start_utc - way,
                             .start_utc = memory->start_utc,
                             .end_utc = memory->end_utc,
                             .way_s = way,
                             .withdrawn = TRUE,
                             .sense = "withdrawn"};
    const guint before = q->news->len;
    news_add_event(q->news, &event, post_lag_s(s, visit->grower), q->now_utc);
    for (guint i = before; i < q->news->len; i++) {
        News *n = q->news->pdata[i];
        n->summary = wording_withdrawn_summary(&context, visit);
        n->body = wording_withdrawn_body(&context, visit);
    }
}

static gboolean is_special(const EventMemory *memory)
{
    return g_str_has_prefix(memory->visit_id, EVENT_ASK_PREFIX) ||
           g_str_has_prefix(memory->visit_id, EVENT_ALERT_PREFIX) ||
           g_str_has_prefix(memory->visit_id, EVENT_TEST_PREFIX);
}

static void add_visits(const Search *q)
{
    const Service *s = q->service;
    for (guint i = 0; i < s->memory->len; i++) {
        const EventMemory *memory = s->memory->pdata[i];
        if (memory->ended || is_special(memory))
            continue;
        const OpenVisit *v = find_visit(s, memory->visit_id);
        if (memory->cancelled)
            add_withdrawn(q, memory);
        else if (v != NULL)
            add_visit(q, memory, v);
    }
}

/* ---- what no visit can do ---- */

/* The event of an alert as it stands in the calendar; NULL none. */
static const EventMemory *event_of(const Service *s, const char *id)
{
    const EventMemory *found = NULL;
    for (guint i = 0; i < s->memory->len; i++) {
        const EventMemory *memory = s->memory->pdata[i];
        if (g_str_has_prefix(memory->visit_id, id) && !memory->cancelled && !memory->ended)
            found = memory;
    }
    return found;
}

static gboolean is_used(const Search *q, const char *key)
{
    for (guint i = 0; i < q->news->len; i++)
        if (g_str_equal(((const News *)q->news->pdata[i])->key, key))
            return TRUE;
    return FALSE;
}

/* Two alerts of one batch and day are two, as on the desktop. */
static char *unused_key(const Search *q, const char *id)
{
    char *key = g_strdup(id);
    for (int n = 2; is_used(q, key); n++) {
        g_free(key);
        key = g_strdup_printf("%s+%d", id, n);
    }
    return key;
}

static void add_alert_for(const Search *q, const EventMemory *memory, const Job *job,
                          const char *key, int grower)
{
    g_autoptr(GArray) jobs = g_array_new(FALSE, FALSE, sizeof(Job));
    g_array_append_vals(jobs, job, 1);
    const Visit going = {.grower = grower, .site = q->service->garden->places[job->place].site};
    NewsEvent event = {.key = key,
                       .grower = grower,
                       .changed_utc = courier_said_since(q->courier, key, "alert"),
                       .leave_utc = leave_utc(memory),
                       .start_utc = memory->start_utc,
                       .end_utc = memory->end_utc,
                       .deadline_utc = job->deadline_utc,
                       .way_s = jobs_way_s(q->service, &going),
                       .warning = TRUE,
                       .kills = kills(job),
                       .sense = "alert"};
    event.kills = event.kills && cannot_wait(q, &event);
    add_event(q, &event, NULL, jobs);
}

static gboolean has_own_channel(const Garden *garden, int grower)
{
    for (int i = 0; i < garden->n_channels; i++)
        if (garden->channels[i].grower == grower)
            return TRUE;
    return FALSE;
}

/* It is nobody's visit: everyone who goes there is told, by channels of their own; the first of
 * them also stands for those who only have everybody's. */
static void add_alert(const Search *q, const EventMemory *memory, const Job *job, const char *id)
{
    const Garden *garden = q->service->garden;
    const int site = garden->places[job->place].site;
    g_autofree char *key = unused_key(q, id);
    gboolean first = TRUE;
    for (int g = 0; g < garden->n_growers; g++) {
        if (!post_goes_to(garden, g, site) || (!first && !has_own_channel(garden, g)))
            continue;
        g_autofree char *own =
            first ? g_strdup(key) : g_strdup_printf("%s@%s", key, garden->growers[g].name);
        add_alert_for(q, memory, job, own, g);
        first = FALSE;
    }
}

static void add_alerts(const Search *q)
{
    const Service *s = q->service;
    for (guint i = 0; i < s->alerts->len; i++) {
        const Job *job = &g_array_index(s->alerts, Job, i);
        if (job->place < 0)
            continue;
        g_autofree char *id = event_text_alert_id(s, job);
        const EventMemory *memory = event_of(s, id);
        if (memory != NULL)
            add_alert(q, memory, job, id);
    }
}

/* ---- what comes tomorrow ---- */

/* Visits of the local day after, of one grower, or of all (-1), in order of time. */
static GPtrArray *visits_of(const Service *s, int grower, int day)
{
    GPtrArray *visits = g_ptr_array_new();
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = s->visits->pdata[i];
        if ((grower < 0 || v->visit.grower == grower) && v->jobs->len > 0 && !v->begun &&
            local_day(s->zones[v->visit.site], v->visit.start_utc) == day)
            g_ptr_array_add(visits, v);
    }
    return visits;
}

/* At AT_UTC. */
static void add_digest(const Search *q, const ChannelSetup *channel, int64_t at_utc)
{
    const Service *s = q->service;
    const WordingContext context = service_wording(s);
    const int home = channel->grower >= 0 ? s->garden->growers[channel->grower].home_site : 0;
    g_autoptr(GPtrArray) visits =
        visits_of(s, channel->grower, local_day(s->zones[home], at_utc) + 1);
    if (visits->len == 0)
        return;
    News *n = news_digest(channel, channel->grower, s->zones[home], at_utc);
    if (n == NULL)
        return;
    if (is_used(q, n->key)) {
        news_free(n);
        return;
    }
    GString *body = g_string_new(NULL);
    for (guint i = 0; i < visits->len; i++) {
        const OpenVisit *v = visits->pdata[i];
        g_autoptr(GArray) jobs = jobs_open(v, FALSE);
        g_autofree char *one = wording_news_visit(
            &context, &v->visit, (const Job *)(gconstpointer)jobs->data, (int)jobs->len);
        g_string_append_printf(body, "%s%s", i > 0 ? "\n\n" : "", one);
    }
    n->summary = wording_tomorrow_summary(&context, (int)visits->len,
                                          &((const OpenVisit *)visits->pdata[0])->visit);
    n->body = g_string_free(body, FALSE);
    g_ptr_array_add(q->news, n);
}

GPtrArray *post_wanted(const Service *s, Courier *courier)
{
    const Search q = {.service = s,
                      .courier = courier,
                      .news = g_ptr_array_new_with_free_func((GDestroyNotify)news_free),
                      .now_utc = clock_now(s->clk)};
    if (s->garden->n_channels == 0)
        return q.news;
    add_alerts(&q);
    add_visits(&q);
    for (int i = 0; i < s->garden->n_channels; i++)
        for (int k = 0; k < 2; k++) /* one that nobody took is let go after midnight */
            add_digest(&q, &s->garden->channels[i], q.now_utc - (k == 0 ? LET_GO_S : 0));
    return q.news;
}
