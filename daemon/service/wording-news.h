/* SPDX-License-Identifier: MIT */
/* What goes out by channels. The sentences are those of wording.h; see there for what is given
 * back. Summaries have at most WORDING_SUMMARY_MAX characters. */
#pragma once

#include <stdbool.h>

#include "garden/channels.h"
#include "service/wording.h"

/* Why a visit, or what no visit can do, is told. */
typedef enum WordingNews {
    WORDING_NEWS_CHANGED,  /* the calendar may tell it too late */
    WORDING_NEWS_WARNING,  /* frost, "bring in today" */
    WORDING_NEWS_LEAVE,    /* it is time to leave */
    WORDING_NEWS_QUESTION, /* was it done? */
} WordingNews;

/* VISIT is nullable, as in wording.h. The body has lines: why it is told, then as on the desktop.
 */
char *wording_news_summary(const WordingContext *context, WordingNews why, const Visit *visit,
                           const Job *jobs, int n_jobs);
char *wording_news_body(const WordingContext *context, WordingNews why, const Visit *visit,
                        const Job *jobs, int n_jobs);

/* A visit that was published, and is no more. */
char *wording_withdrawn_summary(const WordingContext *context, const Visit *visit);
char *wording_withdrawn_body(const WordingContext *context, const Visit *visit);

/* The evening before: so many visits, the first of them; then each as wording_news_visit(). */
char *wording_tomorrow_summary(const WordingContext *context, int n_visits, const Visit *first);
char *wording_news_visit(const WordingContext *context, const Visit *visit, const Job *jobs,
                         int n_jobs);

/* Several in one message: FIRST is the summary of the most pressing one, or NULL for none. */
char *wording_together(const char *first, int n);

/* The lines below it where done can be said by a link. */
char *wording_done_link(const char *url);

/* A test of a channel; what came of it for so many, where so many took it. */
char *wording_channel_test_summary(void);
char *wording_channel_test_body(const char *channel);
char *wording_channels_tested(int n, int n_delivered);

/* "mail", as in thole.conf. */
const char *wording_channel_kind(ChannelKind kind);

/* How a channel stands; times are 0 where there is none. */
typedef struct WordingChannel {
    ChannelKind kind;
    bool sends;            /* this tholed does */
    int64_t delivered_utc; /* its last message that was taken */
    int64_t failing_utc;   /* the first of those that failed since */
    int64_t next_utc;      /* when it is tried again */
    const char *trouble;   /* (nullable) why the last message did not arrive */
} WordingChannel;
char *wording_channel(const WordingContext *context, const WordingChannel *channel);

/* By which ways a grower is told besides the calendar, by their names. */
char *wording_delivery(const char *const *ways, int n_ways);

/* So many messages of the last day came to nobody in time. */
char *wording_missed(guint n);
