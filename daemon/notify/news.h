/* SPDX-License-Identifier: MIT */
/*
 * What a grower must be told besides the calendar, and by when. The calendar is fetched, and may
 * be late by a lag that its outlet has; what would be seen too late that way is news. Decides only;
 * reads no clock.
 */
#pragma once

#include <glib.h>
#include <stdint.h>

#include "notify/channel-message.h"

#define NEWS_ASK_AHEAD_S 1800 /* a guarding job is asked for before it is too late; chosen */
#define NEWS_APART_S                                                                               \
    3600 /* told so shortly before it is time to leave, it is not repeated; chosen */

typedef struct News {
    char *key; /* (owned) stays the same as long as it is the same news */
    int grower;
    ChannelTopic topic;
    char *only;            /* (owned) (nullable) the one channel that it is for */
    int64_t from_utc;      /* told from here on */
    int64_t seen_by_utc;   /* must have been seen by then */
    int64_t last_utc;      /* of no more use later */
    int64_t answer_by_utc; /* not answered by then, it goes to the next channel; 0 needs none */
    gboolean urgent;       /* a miss does harm: nothing is waited for */
    gboolean kills;        /* it goes out in quiet hours too */
    gboolean once;         /* told once however its words change */
    char *sense;           /* (owned) changes when what was told is no longer true; short */
    char *summary, *body;  /* (owned) (nullable) until they are worded */
    char *visit_id;        /* (owned) (nullable) whose jobs can be reported */
} News;

News *news_new(const char *key, int grower, ChannelTopic topic);
void news_free(News *news);

/* The sense of a text of any length: a checksum, 32 letters. The caller owns it. */
char *news_sense_of(const char *text);
void news_set_sense(News *news, const char *text);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(News, news_free)

/* An event as published, as far as it matters when it is seen. */
typedef struct NewsEvent {
    const char *key; /* the same as long as it is the same event */
    int grower;
    int64_t changed_utc; /* since when it says what it says: courier_said_since() */
    int64_t leave_utc;   /* when to leave for it: its alarm */
    int64_t start_utc, end_utc;
    int64_t deadline_utc; /* the first of its jobs' deadlines that are still open; 0 none */
    int64_t way_s;        /* to the site */
    gboolean withdrawn;   /* it was published, and is no more */
    gboolean warning;     /* frost, or "bring in today": not left to the calendar */
    gboolean guards;      /* a miss does harm, so done is asked for */
    gboolean kills;
    const char *sense; /* what must change for it to be news again; any length */
} NewsEvent;

/* The last moment to leave so that all of it helps; when to leave where it has no deadline. */
int64_t news_too_late_utc(const NewsEvent *event);

/* When it must have been seen: to leave in time, and before it is too late. */
int64_t news_seen_by_utc(const NewsEvent *event);

/* Whether the calendar, seen LAG_S seconds late, would tell it too late. */
gboolean news_is_needed(const NewsEvent *event, int64_t lag_s);

/*
 * When a guarding job that was not reported is asked for: half an hour before it is too late, and
 * not before the visit begins.
 */
int64_t news_ask_utc(const NewsEvent *event);

/*
 * Adds the news of EVENT to NEWS (element-type News): KEY, that it is there, changed or withdrawn;
 * KEY/leave, that it is time to leave; ask-KEY, whether it was done. Without words.
 */
void news_add_event(GPtrArray *news, const NewsEvent *event, int64_t lag_s, int64_t now_utc);

/*
 * The news of tomorrow for the channel SETUP, at its digest's time of the local day of NOW_UTC; of
 * use until midnight. The key holds the day. NULL where it wants none.
 */
News *news_digest(const ChannelSetup *setup, int grower, GTimeZone *zone, int64_t now_utc);
