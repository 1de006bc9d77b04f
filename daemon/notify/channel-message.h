/* SPDX-License-Identifier: MIT */
/* What is sent through a channel, and the forms that it takes there. Plain data. */
#pragma once

#include <glib.h>
#include <stdint.h>

#include "garden/channels.h"

typedef enum ChannelTopic {
    CHANNEL_TOPIC_CHANGE,   /* the calendar says something else, and may be late */
    CHANNEL_TOPIC_WARNING,  /* frost; bring in today */
    CHANNEL_TOPIC_QUESTION, /* a job that guards plants was not reported */
    CHANNEL_TOPIC_DIGEST,   /* several in one; what comes tomorrow */
    CHANNEL_TOPIC_TEST,
} ChannelTopic;

typedef struct ChannelMessage {
    char *id; /* (owned) letters, digits, "-"; the same each time this message is tried again */
    ChannelTopic topic;
    gboolean urgent;     /* a miss does harm */
    int64_t sent_utc;    /* now */
    int64_t seen_by_utc; /* must have been seen by then; 0 unknown */
    char *grower;        /* (owned) (nullable) whom it is for */
    char *summary;       /* (owned) one line */
    char *body;          /* (owned) plain text; lines end in \n */
    char *done_url;      /* (owned) (nullable) where done can be said, once; in the body as well */
} ChannelMessage;

/* The texts are copied. */
ChannelMessage *channel_message_new(const char *id, ChannelTopic topic, const char *summary,
                                    const char *body);
void channel_message_free(ChannelMessage *message);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(ChannelMessage, channel_message_free)

/* An id for a message: 128 random bits. The caller owns it. */
char *channel_message_id(void);

/*
 * As a mail (RFC 5322, MIME; UTF-8, quoted-printable), lines with \r\n or, for a local program, \n.
 * From and to as in SETUP. The caller owns it.
 */
GBytes *channel_message_mail(const ChannelMessage *message, const ChannelSetup *setup,
                             gboolean crlf);

/* As the body of a webhook: one JSON object, docs/notify.md. The caller owns it. */
GBytes *channel_message_json(const ChannelMessage *message);

/* For a command: the summary, an empty line, the text. The caller owns it. */
GBytes *channel_message_text(const ChannelMessage *message);
