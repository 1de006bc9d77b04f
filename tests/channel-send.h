/* SPDX-License-Identifier: MIT */
/* Sends one message through a channel and waits for what came of it. */
#pragma once

#include "notify/channel.h"

typedef struct Sent {
    gboolean told;
    ChannelOutcome outcome;
    gboolean maybe;
    int64_t retry_utc;
    char *reason; /* (owned) (nullable) */
} Sent;

void sent_clear(Sent *sent);
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(Sent, sent_clear)

/* Every use of a secret is followed up: it must not be in a reason. */
#define TEST_SECRET "s3cret word"

/* A setup that is whole but for its kind. */
ChannelSetup channel_setup(ChannelKind kind);

void channel_sent(const ChannelResult *result, gpointer data); /* a ChannelDone: fills a Sent */

/* SENT must be empty. */
void channel_try(const ChannelSetup *setup, Clock *clk, const ChannelMessage *message, Sent *sent);
