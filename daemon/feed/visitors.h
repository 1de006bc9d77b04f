/* SPDX-License-Identifier: MIT */
/*
 * How often each peer asks, and how many connections it has. A peer is an address of IPv4, or the
 * network of one of IPv6 (its first 64 bits), since a host there has as many addresses as it likes.
 */
#pragma once

#include <gio/gio.h>
#include <stdint.h>

#define VISITORS_REQUESTS_MAX 60   /* of one peer in VISITORS_SPAN_S; chosen */
#define VISITORS_SPAN_S 60         /* chosen */
#define VISITORS_CONNECTIONS_MAX 8 /* of one peer at a time; chosen */
#define VISITORS_PEERS_MAX 1024    /* that are remembered; chosen */

typedef struct Visitors Visitors;

Visitors *visitors_new(void);
/* The connections that are open may outlive it. NULL is ignored. */
void visitors_free(Visitors *visitors);

/*
 * Counts a request. Gives the seconds after which the peer may ask again, 0: it may now. Where too
 * many peers ask at once to remember, new ones must wait.
 */
guint visitors_ask(Visitors *visitors, GInetAddress *peer, int64_t now_utc);

/* Whether it has asked twice as often as it may: nothing more is worth an answer. */
gboolean visitors_is_flood(const Visitors *visitors, GInetAddress *peer, int64_t now_utc);

/* Counts CONNECTION as long as it lasts; FALSE: the peer has too many, and it was not counted. */
gboolean visitors_connect(Visitors *visitors, GInetAddress *peer, GObject *connection);
