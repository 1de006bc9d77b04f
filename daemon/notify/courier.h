/* SPDX-License-Identifier: MIT */
/*
 * Carries news to growers: asks what is to be told, decides (route.h), sends (channel.h), and
 * remembers what became of it. Everything else is its owner's: which news there is, the words, the
 * store. Nothing here waits.
 */
#pragma once

#include "garden/types.h"
#include "notify/route.h"

typedef struct CourierHooks {
    /* All that is to be told, as things stand: (element-type News), each key once, to be freed.
     * News stays in it until it is answered or withdrawn, or an hour after its last moment. */
    GPtrArray *(*wanted)(gpointer data);
    /* The words of several NEWS in one message, or of one; the strings are taken over. DONE_URL
     * (nullable) is where done can be said; the text tells of it too. */
    void (*words)(const GPtrArray *news, char **ret_summary, char **ret_body, char **ret_done_url,
                  gpointer data);
    /* A row is to be kept; before its message is handed over, and when its answer has come. */
    void (*keep)(const Told *told, gpointer data);
    ChannelShow show; /* (nullable) the desktop; is given `data` */
} CourierHooks;

typedef struct Courier Courier;

/* DATA is given to the hooks. CLK must outlive it. It has no channels yet. */
Courier *courier_new(Clock *clk, const CourierHooks *hooks, gpointer data);

/*
 * The channels of GARDEN, which must live until the next call or the end. At a second call channels
 * keep how they stand, by their names; what is on its way is given up, and may have arrived.
 */
void courier_set_up(Courier *courier, const Garden *garden);

/* A row as it was kept, which is taken over. To be called before the first look. */
void courier_remember(Courier *courier, Told *told);

/*
 * Since when the calendar says of the event KEY what the text SENSE holds: since now, where it said
 * something else before, or nothing. Kept. So figures that move do not make old news new.
 */
int64_t courier_said_since(Courier *courier, const char *key, const char *sense);

/* Looks, in the next turn of the loop, at what is to be told: something changed. */
void courier_look(Courier *courier);

/*
 * Sends a test through the channel of that number now, whatever its hours and however it stands.
 * DONE is called once, later; at the end of the courier with CHANNEL_FAILED.
 */
void courier_test(Courier *courier, int channel, const char *summary, const char *body,
                  ChannelDone done, gpointer data);

/* How a channel stands. */
typedef struct CourierState {
    gboolean busy;
    int failures;          /* in a row, */
    int64_t failing_utc;   /* the first of them then; 0 */
    int64_t delivered_utc; /* its last message that was taken; 0 none that is remembered */
    int64_t retry_utc;     /* not tried before; 0 */
    const char *trouble;   /* (unowned) (nullable) why the last message did not arrive */
} CourierState;

CourierState courier_state(const Courier *courier, int channel);

/* News of that state at or after FROM_UTC, each counted once a channel. */
guint courier_count(const Courier *courier, ToldState state, int64_t from_utc);

/* What is on its way is given up. NULL is ignored. */
void courier_free(Courier *courier);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Courier, courier_free)
