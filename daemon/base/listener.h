/* SPDX-License-Identifier: MIT */
/*
 * Accepts connections at a listening socket: no more than so many at a time, each cut off a while
 * after it was made, so that neither silence nor a trickle holds one.
 */
#pragma once

#include <gio/gio.h>

typedef struct Listener Listener;

/*
 * A connection that just came; CONNECTION is dropped after the call unless it is kept. The socket
 * is shut down at its deadline: its streams then see their end.
 */
typedef void (*ListenerFunc)(GSocket *socket, GSocketConnection *connection, gpointer data);

/*
 * Listens at SOCKET, which already does, in the thread-default main context, and takes a reference.
 * At most CONNECTIONS_MAX at a time, each for LASTS_S seconds; TOPIC is for the log.
 */
Listener *listener_new(GSocket *socket, const char *topic, int connections_max, guint lasts_s,
                       ListenerFunc fn, gpointer data);

/* Accepts no more, and closes the socket; connections that are there last on. NULL is ignored. */
void listener_free(Listener *listener);

/* Shuts SOCKET down after LASTS_S seconds. To be destroyed and unreferenced. */
GSource *listener_deadline(GSocket *socket, guint lasts_s) G_GNUC_WARN_UNUSED_RESULT;
