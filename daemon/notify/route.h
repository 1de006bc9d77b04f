/* SPDX-License-Identifier: MIT */
/*
 * Which news goes by which channel, and when. Decides only; sends nothing, reads no clock.
 *
 *  - News goes to the first channel of its grower; to the next where one fails, refuses or is quiet
 *    and the news cannot wait for it. What is urgent waits for nothing.
 *  - A channel is given the same news once, unless its words changed: never again otherwise.
 *  - Not answered in its time, news goes on to the next channel that has not told it.
 *  - In the quiet hours of a channel it gets only what kills.
 *  - What falls due together, or shortly after another message, is one message.
 */
#pragma once

#include "notify/channel.h"
#include "notify/news.h"

#define ROUTE_BURST_S 120    /* what is not urgent waits so long for more; chosen */
#define ROUTE_GAP_S 600      /* between two messages of a channel that are not urgent; chosen */
#define ROUTE_PATIENCE_S 600 /* as long it waits for a channel that failed; chosen */
#define ROUTE_MARGIN_S                                                                             \
    1800                   /* so long before it must have been seen nothing is waited for; chosen */
#define ROUTE_ANSWER_S 600 /* from one channel to the next, where an answer is due; chosen */
#define ROUTE_REFUSED_S 3600   /* a channel that refused news is not given it before; chosen */
#define ROUTE_TOGETHER_MAX 20  /* news in one message; chosen */
#define ROUTE_RETRY_S 60       /* after the first failure, then twice as long; chosen */
#define ROUTE_RETRY_MOST_S 900 /* chosen */

#define ROUTE_CALENDAR "@calendar" /* no channel can be called so */

/* A channel and how it stands. */
typedef struct RouteChannel {
    const ChannelSetup *setup; /* (unowned) */
    GTimeZone *zone;           /* (unowned) of its hours */
    gboolean busy;             /* a message is on its way */
    int failures;              /* in a row */
    int64_t retry_utc;         /* not tried before; 0 */
    int64_t told_utc;          /* its last message; 0 */
} RouteChannel;

/* Never change the order: the words are an array. */
typedef enum ToldState {
    TOLD_HANDED, /* to the channel, which has not answered */
    TOLD_DELIVERED,
    TOLD_FAILED,
    TOLD_REFUSED,
    TOLD_MISSED,    /* no channel took it while it was of use; `channel` is "" */
    TOLD_PUBLISHED, /* by the calendar, since `at_utc`; `channel` is ROUTE_CALENDAR */
} ToldState;

/* What became of one news on one channel. */
typedef struct Told {
    char *key, *channel; /* (owned) */
    ToldState state;
    char *sense; /* (owned) of what it was given */
    int64_t at_utc;
    gboolean this_run; /* HANDED by it, so that an answer may still come; not kept */
} Told;

Told *told_new(const char *key, const char *channel);
void told_free(Told *told);

/* (element-type Told); the row of KEY and CHANNEL, or NULL. */
Told *told_find(const GPtrArray *told, const char *key, const char *channel);

/*
 * What an answer means for the news: a routine one that may have been taken counts as told, an
 * urgent one as failed, since harm is worse than hearing it twice.
 */
ToldState told_after(const ChannelResult *result, gboolean urgent);

typedef struct RouteAct {
    int channel;     /* -1: let go, of no more use, no channel took it */
    GPtrArray *news; /* (owned) (element-type News, unowned) together in one message; never empty */
} RouteAct;

/*
 * NEWS: (element-type News), each key once. TOLD: (element-type Told). Gives (element-type
 * RouteAct) with at most one act for a channel, owned by the caller.
 */
GArray *route_decide(const GPtrArray *news, const RouteChannel *channels, int n_channels,
                     const GPtrArray *told, int64_t now_utc);

/* When to decide again, where nothing else happens; 0 never. */
int64_t route_next_utc(const GPtrArray *news, const RouteChannel *channels, int n_channels,
                       const GPtrArray *told, int64_t now_utc);

/* When the quiet hours end that UTC falls in; 0: it falls in none. */
int64_t route_quiet_until(const ChannelSetup *setup, GTimeZone *zone, int64_t utc);

/* When a channel is tried again after so many failures; JITTER from 0 to 1 spreads it. */
int64_t route_retry_utc(int failures, int64_t now_utc, double jitter);
