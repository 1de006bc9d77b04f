/* SPDX-License-Identifier: MIT */
/*
 * Connections are accepted here and not by libsoup, whose listener stops for good when one accept
 * fails.
 */
#include "base/listener.h"

#include <fcntl.h>
#include <unistd.h>

#include "base/log.h"

struct Listener {
    GSocket *socket;    /* (owned) */
    GSource *accepting; /* (owned) */
    char *topic;
    int connections_max;
    guint lasts_s;
    ListenerFunc fn;
    gpointer data;
    int *connections; /* (owned) a reference-counted box; each connection holds one too */
    int spare_fd;     /* given up for a moment when there are no more descriptors */
};

/* One connection as long as it lasts. */
typedef struct Watch {
    int *connections;  /* (owned) a reference */
    GSource *deadline; /* (owned) */
} Watch;

static void on_gone(gpointer data, GObject *connection)
{
    Watch *gone = data;

    (void)connection;
    (*gone->connections)--;
    g_rc_box_release(gone->connections);
    g_source_destroy(gone->deadline);
    g_source_unref(gone->deadline);
    g_free(gone);
}

static gboolean on_deadline(GSocket *socket, GIOCondition condition, gpointer data)
{
    (void)data;
    if (!(condition & (G_IO_HUP | G_IO_ERR | G_IO_NVAL)))
        g_socket_shutdown(socket, TRUE, TRUE, NULL);
    return G_SOURCE_REMOVE;
}

/*
 * The time-out of a socket is kept by each of its sources from the moment it is made. libsoup makes
 * a new one for every step, and may run past it; ours waits for nothing else.
 */
GSource *listener_deadline(GSocket *socket, guint lasts_s)
{
    g_socket_set_timeout(socket, lasts_s);
    GSource *deadline = g_socket_create_source(socket, 0, NULL);
    g_socket_set_timeout(socket, 0);
    g_source_set_callback(deadline, G_SOURCE_FUNC(on_deadline), NULL, NULL);
    g_source_attach(deadline, g_main_context_get_thread_default());
    return deadline;
}

static void take(Listener *listener, GSocket *socket)
{
    g_autoptr(GSocketConnection) connection = g_socket_connection_factory_create_connection(socket);
    Watch *made = g_new0(Watch, 1);

    made->deadline = listener_deadline(socket, listener->lasts_s);
    made->connections = g_rc_box_acquire(listener->connections);
    ++*made->connections;
    g_object_weak_ref(G_OBJECT(connection), on_gone, made);
    listener->fn(socket, connection, listener->data);
}

/*
 * Without a descriptor left, the waiting connection is taken with the spare one and closed: else it
 * would wait, and wake us, for ever.
 */
static void refuse_one(Listener *listener)
{
    if (listener->spare_fd < 0)
        return;
    close(listener->spare_fd);
    g_autoptr(GSocket) refused = g_socket_accept(listener->socket, NULL, NULL);
    g_clear_object(&refused);
    listener->spare_fd = open("/dev/null", O_RDONLY | O_CLOEXEC);
    log_warning(listener->topic, NULL,
                "no file descriptors left: a connection was turned away, ignoring");
}

static gboolean on_connection(GSocket *listening, GIOCondition condition, gpointer data)
{
    Listener *listener = data;
    g_autoptr(GError) error = NULL;
    g_autoptr(GSocket) socket = g_socket_accept(listening, NULL, &error);

    (void)condition;
    if (!socket) {
        if (g_error_matches(error, G_IO_ERROR, G_IO_ERROR_TOO_MANY_OPEN_FILES))
            refuse_one(listener);
        else if (!g_error_matches(error, G_IO_ERROR, G_IO_ERROR_WOULD_BLOCK))
            log_warning(listener->topic, NULL, "a connection was lost: %s, ignoring",
                        error->message);
    } else if (*listener->connections >= listener->connections_max) {
        log_warning(listener->topic, NULL,
                    "more than %d connections: one was turned away, ignoring",
                    listener->connections_max);
    } else {
        take(listener, socket);
    }
    return G_SOURCE_CONTINUE;
}

Listener *listener_new(GSocket *socket, const char *topic, int connections_max, guint lasts_s,
                       ListenerFunc fn, gpointer data)
{
    Listener *listener = g_new0(Listener, 1);

    listener->socket = g_object_ref(socket);
    listener->topic = g_strdup(topic);
    listener->connections_max = connections_max;
    listener->lasts_s = lasts_s;
    listener->fn = fn;
    listener->data = data;
    listener->connections = g_rc_box_new0(int);
    listener->spare_fd = open("/dev/null", O_RDONLY | O_CLOEXEC);
    g_socket_set_blocking(socket, FALSE);
    listener->accepting = g_socket_create_source(socket, G_IO_IN, NULL);
    g_source_set_callback(listener->accepting, G_SOURCE_FUNC(on_connection), listener, NULL);
    g_source_attach(listener->accepting, g_main_context_get_thread_default());
    return listener;
}

void listener_free(Listener *listener)
{
    if (listener == NULL)
        return;
    g_source_destroy(listener->accepting);
    g_source_unref(listener->accepting);
    g_socket_close(listener->socket, NULL);
    g_object_unref(listener->socket);
    g_rc_box_release(listener->connections);
    if (listener->spare_fd >= 0)
        close(listener->spare_fd);
    g_free(listener->topic);
    g_free(listener);
}
