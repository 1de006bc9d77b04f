/* SPDX-License-Identifier: MIT */
#include "feed/arrival.h"

#include "base/listener.h"
#include "base/log.h"
#include "feed/feed.h"

#define TOPIC "feed"
#define SOCKET_KEY "thole-socket" /* on the peer's address: its socket */

struct Arrivals {
    Listener *listener;
    GTlsCertificate *certificate; /* (owned) (nullable) */
    ArrivalFunc arrival;
    ReadyFunc ready;
    gpointer data;
    GPtrArray *waiting; /* (owned) (element-type Arrival) */
    int handshakes;
};

/* A connection that is not ready yet. */
typedef struct Arrival {
    Arrivals *arrivals; /* (unowned) NULL: gone while the handshake was under way */
    GSocket *socket;
    GSocketConnection *connection;
    GSocketAddress *local, *peer;
    GCancellable *end;
    GSource *hearing;  /* (owned) (nullable) waits for the peer's first word */
    GSource *deadline; /* (owned) (nullable) of the handshake */
} Arrival;

static void source_clear(GSource **source)
{
    if (*source == NULL)
        return;
    g_source_destroy(*source);
    g_clear_pointer(source, g_source_unref);
}

static void arrival_free(Arrival *arrival)
{
    source_clear(&arrival->hearing);
    source_clear(&arrival->deadline);
    g_object_unref(arrival->end);
    g_object_unref(arrival->local);
    g_object_unref(arrival->peer);
    g_object_unref(arrival->connection);
    g_object_unref(arrival->socket);
    g_free(arrival);
}

static void on_shaken(GObject *source, GAsyncResult *result, gpointer data)
{
    Arrival *arrival = data;
    Arrivals *arrivals = arrival->arrivals;
    g_autoptr(GError) error = NULL;
    const gboolean good =
        g_tls_connection_handshake_finish(G_TLS_CONNECTION(source), result, &error);

    if (arrivals != NULL) {
        arrivals->handshakes--;
        if (good)
            arrivals->ready(G_IO_STREAM(source), arrival->local, arrival->peer, arrivals->data);
        g_ptr_array_remove_fast(arrivals->waiting, arrival);
    } else {
        arrival_free(arrival);
    }
}

static gboolean on_word(GSocket *socket, GIOCondition condition, gpointer data)
{
    Arrival *arrival = data;
    Arrivals *arrivals = arrival->arrivals;

    (void)condition;
    source_clear(&arrival->hearing);
    g_autoptr(GIOStream) tls = NULL;
    if (arrivals->handshakes < FEED_HANDSHAKES_MAX)
        tls = g_tls_server_connection_new(G_IO_STREAM(arrival->connection), arrivals->certificate,
                                          NULL);
    if (tls == NULL) {
        log_warning(TOPIC, NULL,
                    "more than %d connections began at once: one was turned away, "
                    "ignoring",
                    FEED_HANDSHAKES_MAX);
        g_ptr_array_remove_fast(arrivals->waiting, arrival);
        return G_SOURCE_REMOVE;
    }
    arrivals->handshakes++;
    arrival->deadline = listener_deadline(socket, FEED_HANDSHAKE_S);
    g_tls_connection_handshake_async(G_TLS_CONNECTION(tls), G_PRIORITY_DEFAULT, arrival->end,
                                     on_shaken, arrival);
    return G_SOURCE_REMOVE;
}

static void on_connection(GSocket *socket, GSocketConnection *connection, gpointer data)
{
    Arrivals *arrivals = data;
    g_autoptr(GSocketAddress) local = g_socket_get_local_address(socket, NULL);
    g_autoptr(GSocketAddress) remote = g_socket_get_remote_address(socket, NULL);

    if (local == NULL || remote == NULL)
        return; /* it went at once */
    GInetAddress *address = g_inet_socket_address_get_address(G_INET_SOCKET_ADDRESS(remote));
    /* Another than the socket's own, which would keep the socket by its key for ever. */
    g_autoptr(GSocketAddress) peer = g_inet_socket_address_new(
        address, g_inet_socket_address_get_port(G_INET_SOCKET_ADDRESS(remote)));
    if (!arrivals->arrival(address, G_OBJECT(connection), arrivals->data))
        return;
    g_object_set_data_full(G_OBJECT(peer), SOCKET_KEY, g_object_ref(socket), g_object_unref);
    if (arrivals->certificate == NULL) {
        arrivals->ready(G_IO_STREAM(connection), local, peer, arrivals->data);
        return;
    }
    Arrival *arrival = g_new0(Arrival, 1);
    arrival->arrivals = arrivals;
    arrival->socket = g_object_ref(socket);
    arrival->connection = g_object_ref(connection);
    arrival->local = g_steal_pointer(&local);
    arrival->peer = g_steal_pointer(&peer);
    arrival->end = g_cancellable_new();
    arrival->hearing = g_socket_create_source(socket, G_IO_IN, NULL);
    g_source_set_callback(arrival->hearing, G_SOURCE_FUNC(on_word), arrival, NULL);
    g_source_attach(arrival->hearing, g_main_context_get_thread_default());
    g_ptr_array_add(arrivals->waiting, arrival);
}

Arrivals *arrivals_new(GSocket *socket, GTlsCertificate *certificate, ArrivalFunc arrival,
                       ReadyFunc ready, gpointer data)
{
    Arrivals *arrivals = g_new0(Arrivals, 1);

    g_set_object(&arrivals->certificate, certificate);
    arrivals->arrival = arrival;
    arrivals->ready = ready;
    arrivals->data = data;
    arrivals->waiting = g_ptr_array_new_with_free_func((GDestroyNotify)arrival_free);
    arrivals->listener =
        listener_new(socket, TOPIC, FEED_CONNECTIONS_MAX, FEED_LASTS_S, on_connection, arrivals);
    return arrivals;
}

void arrivals_free(Arrivals *arrivals)
{
    listener_free(arrivals->listener);
    for (guint i = arrivals->waiting->len; i-- > 0;) {
        Arrival *arrival = g_ptr_array_index(arrivals->waiting, i);
        if (arrival->deadline == NULL)
            continue;
        /* Its handshake is under way, and ends by itself: on_shaken() has it then. */
        arrival->arrivals = NULL;
        g_ptr_array_steal_index_fast(arrivals->waiting, i);
        g_socket_shutdown(arrival->socket, TRUE, TRUE, NULL);
        g_cancellable_cancel(arrival->end);
    }
    g_ptr_array_unref(arrivals->waiting);
    g_clear_object(&arrivals->certificate);
    g_free(arrivals);
}

void arrivals_cut_off(SoupServerMessage *message)
{
    GSocketAddress *peer = soup_server_message_get_remote_address(message);
    GSocket *socket = peer != NULL ? g_object_get_data(G_OBJECT(peer), SOCKET_KEY) : NULL;

    if (socket != NULL)
        g_socket_shutdown(socket, TRUE, TRUE, NULL);
}
