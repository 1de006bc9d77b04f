/* SPDX-License-Identifier: MIT */
/*
 * From a connection that comes in to a stream that HTTP can be spoken on: as it is, or through
 * TLS. A handshake holds a thread of GLib's, which others need too: it begins only when the peer
 * has said something, few are under way at a time, and none for long. Internal to feed/.
 */
#pragma once

#include <libsoup/soup.h>

typedef struct Arrivals Arrivals;

/* Whether PEER may come in at all; CONNECTION lasts as long as what comes of it. */
typedef gboolean (*ArrivalFunc)(GInetAddress *peer, GObject *connection, gpointer data);

/* A stream is ready. */
typedef void (*ReadyFunc)(GIOStream *stream, GSocketAddress *local, GSocketAddress *peer,
                          gpointer data);

/* SOCKET listens; CERTIFICATE (nullable): with its key. */
Arrivals *arrivals_new(GSocket *socket, GTlsCertificate *certificate, ArrivalFunc arrival,
                       ReadyFunc ready, gpointer data);
void arrivals_free(Arrivals *arrivals);

/* Shuts the socket down that MESSAGE came through. */
void arrivals_cut_off(SoupServerMessage *message);
