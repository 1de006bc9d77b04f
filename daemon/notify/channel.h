/* SPDX-License-Identifier: MIT */
/*
 * One way to reach a grower: mail, a webhook, a command, the desktop. A channel takes one message
 * at a time and says what came of it; when what is sent, and what then, is decided in route.h.
 * Nothing here waits: mail has a thread of its own, the rest is asynchronous. No secret is in a
 * reason, an argument or a log.
 */
#pragma once

#include "base/clock.h"
#include "garden/channels.h"
#include "notify/channel-message.h"

typedef enum ChannelOutcome {
    CHANNEL_DELIVERED, /* the other side has taken it */
    CHANNEL_FAILED,    /* worth trying again: no network, no answer, not now, no login */
    CHANNEL_REFUSED,   /* the other side will not have this message */
} ChannelOutcome;

typedef struct ChannelResult {
    ChannelOutcome outcome;
    gboolean maybe;    /* FAILED: it may have been taken all the same */
    int64_t retry_utc; /* FAILED: not before, as the other side asks; 0 nothing said */
    char *reason;      /* (owned) FAILED, REFUSED: part of a sentence, begins with who; else NULL */
} ChannelResult;

/* RESULT only lives during the call, in which the channel may be freed. */
typedef void (*ChannelDone)(const ChannelResult *result, gpointer data);

/*
 * How the desktop is reached, since its thread belongs to somebody else: shows MESSAGE for the
 * channel SETUP, and calls DONE once, later or at once.
 */
typedef void (*ChannelShow)(const ChannelSetup *setup, const ChannelMessage *message,
                            ChannelDone done, gpointer done_data, gpointer show_data);

typedef struct Channel Channel;

/*
 * SETUP is copied. SHOW (nullable) is for CHANNEL_DESKTOP alone; without it that kind refuses. CLK
 * must outlive the channel, and is held while a message is on its way.
 */
Channel *channel_new(const ChannelSetup *setup, Clock *clk, ChannelShow show, gpointer show_data);

/*
 * Sends MESSAGE, which only lives during the call. DONE is called once, later, from the main
 * context of the caller, after the channel's limit of seconds (and one or two more) at the latest.
 * Not to be called while the channel is busy.
 */
void channel_send(Channel *channel, const ChannelMessage *message, ChannelDone done, gpointer data);

/* A message is on its way. */
gboolean channel_is_busy(const Channel *channel);

/* What is on its way is given up, and nothing told. Never waits. NULL is ignored. */
void channel_free(Channel *channel);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Channel, channel_free)
