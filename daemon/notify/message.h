/* SPDX-License-Identifier: MIT */
/* What is to be shown, and how text is made fit for a notification server. Plain data. */
#pragma once

#include <glib.h>

typedef struct NotifyMessage {
    char *key;          /* (owned) the caller's; on the screen there is one message of a key */
    char *summary;      /* (owned) one line of plain text */
    char *body;         /* (owned) plain text; lines end in \n */
    gboolean critical;  /* a miss does harm: it stays until somebody takes it away */
    gboolean anew;      /* one of this key that is on the screen is taken away first */
    GPtrArray *actions; /* (owned) (element-type utf8) id, label, id, label … */
} NotifyMessage;

/* A message without actions; the texts are copied. */
NotifyMessage *notify_message_new(const char *key, const char *summary, const char *body,
                                  gboolean critical);
void notify_message_add_action(NotifyMessage *message, const char *id, const char *label);
void notify_message_free(NotifyMessage *message);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(NotifyMessage, notify_message_free)

#define NOTIFY_SUMMARY_MAX 200 /* characters; chosen, a server cuts far earlier */
#define NOTIFY_BODY_MAX 2000   /* characters before they are escaped; chosen */

/* Valid UTF-8 in one line, without control characters, never empty. The caller owns it. */
char *notify_summary_text(const char *text);

#define NOTIFY_LONG_MAX 20000 /* characters, where a message is read at leisure; chosen */

/* Valid UTF-8 without control characters but for \n. The caller owns it. */
char *notify_long_text(const char *text);

/*
 * Valid UTF-8 without control characters but for \n. A server that knows `markup` is given it
 * escaped, so that "&" and "<" are shown as they are; another one is given it plain, since the
 * text has no markup of its own (Desktop Notifications Specification 1.2, "Markup"). The caller
 * owns it.
 */
char *notify_body_text(const char *text, gboolean markup);
