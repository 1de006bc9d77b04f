/* SPDX-License-Identifier: MIT */
#include "notify/news.h"

#include "base/local-time.h"

#define ANSWER_AFTER_ASKING_S 600 /* a question goes on after as long; chosen */

News *news_new(const char *key, int grower, ChannelTopic topic)
{
    News *news = g_new0(News, 1);
    news->key = g_strdup(key);
    news->grower = grower;
    news->topic = topic;
    news->sense = g_strdup("");
    return news;
}

void news_free(News *news)
{
    if (news == NULL)
        return;
    g_free(news->key);
    g_free(news->only);
    g_free(news->sense);
    g_free(news->summary);
    g_free(news->body);
    g_free(news->visit_id);
    g_free(news);
}

char *news_sense_of(const char *text)
{
    g_autofree char *sum = g_compute_checksum_for_string(G_CHECKSUM_SHA256, text, -1);
    return g_strndup(sum, 32);
}

void news_set_sense(News *news, const char *text)
{
    g_free(news->sense);
    news->sense = news_sense_of(text);
}

int64_t news_too_late_utc(const NewsEvent *event)
{
    return event->deadline_utc != 0 ? event->deadline_utc - event->way_s : event->leave_utc;
}

int64_t news_seen_by_utc(const NewsEvent *event)
{
    return MIN(event->leave_utc, news_too_late_utc(event));
}

/* By the calendar alone. */
static gboolean is_told_too_late(const NewsEvent *event, int64_t lag_s)
{
    return news_seen_by_utc(event) - event->changed_utc < lag_s;
}

gboolean news_is_needed(const NewsEvent *event, int64_t lag_s)
{
    return event->warning || is_told_too_late(event, lag_s);
}

int64_t news_ask_utc(const NewsEvent *event)
{
    return MAX(event->start_utc, news_too_late_utc(event) - NEWS_ASK_AHEAD_S);
}

/* The same event, told from another time on, for another end. */
static News *one_of(const NewsEvent *event, const char *prefix, const char *suffix,
                    ChannelTopic topic, int64_t from_utc)
{
    g_autofree char *key = g_strconcat(prefix, event->key, suffix, NULL);
    News *news = news_new(key, event->grower, topic);
    news->from_utc = from_utc;
    news->seen_by_utc = MAX(from_utc, news_seen_by_utc(event));
    news->last_utc = MAX(event->end_utc, event->deadline_utc);
    news->kills = event->kills;
    news_set_sense(news, event->sense != NULL ? event->sense : "");
    return news;
}

static void add_told(GPtrArray *list, const NewsEvent *event, int64_t lag_s)
{
    News *news =
        one_of(event, "", "", event->warning ? CHANNEL_TOPIC_WARNING : CHANNEL_TOPIC_CHANGE,
               event->changed_utc);
    news->urgent = event->guards || event->warning;
    /* Who was warned reads a change of it in the calendar, while there is time for that. */
    news->once = event->warning && !is_told_too_late(event, lag_s);
    if (event->guards)
        news->answer_by_utc = event->end_utc;
    if (event->withdrawn) { /* nobody goes for nothing; afterwards it is all one */
        news->urgent = news->kills = FALSE;
        news->answer_by_utc = 0;
        news->last_utc = event->end_utc;
    }
    g_ptr_array_add(list, news);
}

static void add_leave(GPtrArray *list, const NewsEvent *event)
{
    News *news =
        one_of(event, "", "/leave", event->warning ? CHANNEL_TOPIC_WARNING : CHANNEL_TOPIC_CHANGE,
               event->leave_utc);
    news->urgent = TRUE; /* an alarm that comes later is none */
    news->once = event->warning;
    g_ptr_array_add(list, news);
}

static void add_question(GPtrArray *list, const NewsEvent *event)
{
    const int64_t ask_utc = news_ask_utc(event);
    News *news = one_of(event, "ask-", "", CHANNEL_TOPIC_QUESTION, ask_utc);
    news->urgent = news->once = TRUE;
    news->answer_by_utc = ask_utc + ANSWER_AFTER_ASKING_S;
    g_ptr_array_add(list, news);
}

void news_add_event(GPtrArray *news, const NewsEvent *event, int64_t lag_s, int64_t now_utc)
{
    const gboolean asks = event->guards && !event->withdrawn && event->deadline_utc != 0;
    /* The question takes the place of all that was said before. */
    if (asks && now_utc >= news_ask_utc(event)) {
        add_question(news, event);
        return;
    }
    if (asks)
        add_question(news, event);
    if (!news_is_needed(event, lag_s))
        return;
    add_told(news, event, lag_s);
    if (!event->withdrawn && event->leave_utc - event->changed_utc > NEWS_APART_S)
        add_leave(news, event);
}

News *news_digest(const ChannelSetup *setup, int grower, GTimeZone *zone, int64_t now_utc)
{
    if (setup->digest_min < 0)
        return NULL;
    const int day = local_day(zone, now_utc);
    g_autofree char *date = local_day_format(day);
    g_autofree char *key = g_strdup_printf("digest-%s-%d/%s", date, grower, setup->name);
    News *news = news_new(key, grower, CHANNEL_TOPIC_DIGEST);
    news->only = g_strdup(setup->name);
    news->once = TRUE;
    news->from_utc = local_time_on_day(zone, day, setup->digest_min);
    news->last_utc = local_midnight(zone, day + 1) - 1;
    news->seen_by_utc = news->last_utc;
    return news;
}
