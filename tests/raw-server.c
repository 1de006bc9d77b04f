/* SPDX-License-Identifier: MIT */
#include "raw-server.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

typedef struct Connection {
    RawServer *server;
    GIOStream *stream; /* (owned) */
    char request[4096];
    guint drip;
    gboolean closed;
} Connection;

static void connection_free(gpointer data)
{
    Connection *self = data;
    if (self->drip != 0)
        g_source_remove(self->drip);
    g_io_stream_close(self->stream, NULL, NULL);
    g_object_unref(self->stream);
    g_free(self);
}

static void send_more(Connection *self);

static void written(GObject *object, GAsyncResult *result, gpointer data)
{
    Connection *self = data;
    if (!g_output_stream_write_all_finish(G_OUTPUT_STREAM(object), result, NULL, NULL))
        return; /* gone, and with the server `self` may be */
    if (self->server->then == RAW_REPEAT)
        send_more(self);
    else if (self->server->then == RAW_CLOSE)
        g_io_stream_close(self->stream, NULL, NULL);
}

static void send_more(Connection *self)
{
    g_output_stream_write_all_async(g_io_stream_get_output_stream(self->stream), self->server->more,
                                    strlen(self->server->more), G_PRIORITY_LOW, self->server->end,
                                    written, self);
}

static gboolean drip(gpointer data)
{
    Connection *self = data;
    GOutputStream *out = g_io_stream_get_output_stream(self->stream);
    if (g_output_stream_write_all(out, self->server->more, strlen(self->server->more), NULL, NULL,
                                  NULL))
        return G_SOURCE_CONTINUE;
    self->drip = 0;
    return G_SOURCE_REMOVE;
}

static void was_read(GObject *object, GAsyncResult *result, gpointer data)
{
    Connection *self = data;
    gssize length = g_input_stream_read_finish(G_INPUT_STREAM(object), result, NULL);
    if (length <= 0)
        return;
    RawServer *server = self->server;
    server->asked++;
    g_free(server->request);
    server->request = g_strndup(self->request, (gsize)length);
    if (server->before != NULL)
        server->before(server, server->data);
    if (server->then == RAW_DRIP)
        self->drip = g_timeout_add(200, drip, self);
    g_output_stream_write_all_async(g_io_stream_get_output_stream(self->stream), server->bytes,
                                    server->length > 0 ? server->length : strlen(server->bytes),
                                    G_PRIORITY_DEFAULT, server->end, written, self);
}

static gboolean incoming(GSocketService *service, GSocketConnection *connection, GObject *source,
                         gpointer data)
{
    (void)service;
    (void)source;
    RawServer *server = data;
    Connection *self = g_new0(Connection, 1);
    GTlsCertificate *certificate = g_object_get_data(G_OBJECT(service), "certificate");
    self->server = server;
    self->stream = certificate != NULL
                       ? g_tls_server_connection_new(G_IO_STREAM(connection), certificate, NULL)
                       : g_object_ref(G_IO_STREAM(connection));
    assert_non_null(self->stream);
    g_ptr_array_add(server->connections, self);
    g_input_stream_read_async(g_io_stream_get_input_stream(self->stream), self->request,
                              sizeof self->request, G_PRIORITY_DEFAULT, server->end, was_read,
                              self);
    return TRUE;
}

RawServer *raw_server_new(GTlsCertificate *certificate)
{
    RawServer *self = g_new0(RawServer, 1);
    g_autoptr(GInetAddress) loopback = g_inet_address_new_loopback(G_SOCKET_FAMILY_IPV4);
    g_autoptr(GSocketAddress) any = g_inet_socket_address_new(loopback, 0), got = NULL;
    self->service = g_socket_service_new();
    self->end = g_cancellable_new();
    self->connections = g_ptr_array_new_with_free_func(connection_free);
    if (certificate != NULL)
        g_object_set_data_full(G_OBJECT(self->service), "certificate", g_object_ref(certificate),
                               g_object_unref);
    assert_true(g_socket_listener_add_address(G_SOCKET_LISTENER(self->service), any,
                                              G_SOCKET_TYPE_STREAM, G_SOCKET_PROTOCOL_TCP, NULL,
                                              &got, NULL));
    g_signal_connect(self->service, "incoming", G_CALLBACK(incoming), self);
    self->url = g_strdup_printf("http%s://127.0.0.1:%d/v1/forecast", certificate != NULL ? "s" : "",
                                g_inet_socket_address_get_port(G_INET_SOCKET_ADDRESS(got)));
    return self;
}

void raw_server_free(RawServer *self)
{
    g_socket_service_stop(self->service);
    g_socket_listener_close(G_SOCKET_LISTENER(self->service));
    g_cancellable_cancel(self->end);
    while (g_main_context_iteration(NULL, FALSE))
        continue; /* what was being read or written ends */
    g_ptr_array_unref(self->connections);
    g_object_unref(self->service);
    g_object_unref(self->end);
    g_free(self->url);
    g_free(self->request);
    g_free(self);
}
