/* SPDX-License-Identifier: MIT */
/*
 * A web server of two things: calendars, each at /calendar/TOKEN.ics for who knows its token, and
 * pages at /done/TOKEN, whose tokens the caller knows. Whoever knows none is told nothing: 404,
 * without a word. What goes beyond a limit (FEED_…, visitors.h) is refused, or cut off.
 *
 * Serves in the thread-default main context. Nothing here waits.
 */
#pragma once

#include <gio/gio.h>

#include "base/clock.h"
#include "feed/page.h"
#include "feed/token.h"
#include "garden/feed-setup.h"

#define FEED_CONNECTIONS_MAX 32 /* chosen */
#define FEED_LASTS_S 30         /* a connection, with its one request; chosen */
#define FEED_TARGET_MAX 256     /* bytes of path and query; chosen */
#define FEED_HEADERS_MAX 8192   /* bytes of all of a request's headers; chosen */
#define FEED_BODY_MAX 1024      /* bytes of a form; chosen */
#define FEED_HANDSHAKES_MAX 4   /* of TLS at a time: each holds a thread of GLib's; chosen */
#define FEED_HANDSHAKE_S 5      /* and no longer than that; chosen */

typedef struct Feed Feed;

/* What is at /done/TOKEN, for a GET or HEAD, or after a POST; NULL: nothing, as for a stranger. */
typedef FeedPage *(*FeedPageFunc)(const char *token, gboolean post, gpointer data);

/* Listens as SETUP says, which is looked at during the call only. Nothing but 404 yet. */
Feed *feed_new(Clock *clk, const FeedSetup *setup, FeedPageFunc page, gpointer data,
               GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The port that it listens at. */
int feed_port(const Feed *feed);

/*
 * The calendar of NAME is BYTES from now on, or as it was where they are NULL; one that was never
 * given is answered 503. It is at TOKEN, FEED_TOKEN_LENGTH bytes, and nowhere else.
 */
void feed_put(Feed *feed, const char *name, const char *token, GBytes *bytes);

/* Calendars of other names than NAMES are gone. */
void feed_keep(Feed *feed, const char *const *names);

/* Closes all. NULL is ignored. */
void feed_free(Feed *feed);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Feed, feed_free)
