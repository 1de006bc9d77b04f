/* SPDX-License-Identifier: MIT */
#include "caldav/dav.h"

#include <libsoup/soup.h>
#include <string.h>

#include "base/error.h"
#include "base/secret.h"
#include "base/url.h"

#define CHUNK_BYTES 16384
#define RETRY_S_MAX (24 * 3600) /* no server puts us off for longer; chosen */

struct DavClient {
    SoupSession *session;
    GUri *base;
    char *user, *secret; /* (nullable) */
    char *user_agent;
    Clock *clk; /* (unowned) */
    guint total_s;
};

typedef struct Exchange {
    DavClient *client; /* (unowned) */
    SoupMessage *message;
    GInputStream *stream;
    GByteArray *body; /* of the reply */
    char *method, *depth, *if_match, *content_type;
    GBytes *sent; /* (nullable) body of the request */
    gboolean if_none_match;
    int64_t started_utc;
    gsize bytes_max;
    int redirects;
} Exchange;

DavClient *dav_client_new(const char *base, const char *user, char *secret, const char *user_agent,
                          Clock *clk)
{
    DavClient *client = g_new0(DavClient, 1);

    client->session = soup_session_new();
    /* A compressed reply has a weak tag behind many a proxy, and a weak tag never matches. */
    soup_session_remove_feature_by_type(client->session, SOUP_TYPE_CONTENT_DECODER);
    soup_session_set_timeout(client->session, DAV_IDLE_S);
    client->base = g_uri_parse(base, SOUP_HTTP_URI_FLAGS, NULL);
    client->user = g_strdup(user);
    client->secret = secret;
    client->user_agent = g_strdup(user_agent);
    client->clk = clk;
    client->total_s = DAV_TOTAL_S;
    return client;
}

void dav_client_set_limits(DavClient *client, guint idle_s, guint total_s)
{
    soup_session_set_timeout(client->session, idle_s);
    client->total_s = total_s;
}

void dav_client_free(DavClient *client)
{
    if (client == NULL)
        return;
    soup_session_abort(client->session);
    g_object_unref(client->session);
    g_clear_pointer(&client->base, g_uri_unref);
    g_free(client->user);
    secret_free(client->secret);
    g_free(client->user_agent);
    g_free(client);
}

/* ---- addresses ---- */

static int port_of(GUri *uri)
{
    if (g_uri_get_port(uri) > 0)
        return g_uri_get_port(uri);
    return strcmp(g_uri_get_scheme(uri), "https") == 0 ? 443 : 80;
}

static gboolean same_origin(GUri *a, GUri *b)
{
    return a != NULL && b != NULL && strcmp(g_uri_get_scheme(a), g_uri_get_scheme(b)) == 0 &&
           g_uri_get_host(a) != NULL && g_uri_get_host(b) != NULL &&
           g_ascii_strcasecmp(g_uri_get_host(a), g_uri_get_host(b)) == 0 &&
           port_of(a) == port_of(b);
}

char *dav_resolve(const DavClient *client, const char *to, const char *href)
{
    g_autoptr(GUri) from = g_uri_parse(to, SOUP_HTTP_URI_FLAGS, NULL);
    g_autoptr(GUri) uri =
        from != NULL ? g_uri_parse_relative(from, href, SOUP_HTTP_URI_FLAGS, NULL) : NULL;

    if (!same_origin(uri, client->base))
        return NULL;
    /* Without a user, a password, a query or a fragment. */
    return g_uri_join(SOUP_HTTP_URI_FLAGS, g_uri_get_scheme(uri), NULL, g_uri_get_host(uri),
                      g_uri_get_port(uri), g_uri_get_path(uri), NULL, NULL);
}

char *dav_path(const char *address)
{
    g_autoptr(GUri) uri = g_uri_parse(address, G_URI_FLAGS_ENCODED, NULL);
    const char *path = uri != NULL ? g_uri_get_path(uri) : address;
    g_autofree char *plain = g_uri_unescape_string(path, NULL);

    return g_uri_escape_string(plain != NULL ? plain : path, "/@:+$,!'()*;=&", FALSE);
}

/* ---- one exchange ---- */

static void exchange_free(gpointer data)
{
    Exchange *self = data;
    g_clear_object(&self->stream);
    if (self->message != NULL)
        g_signal_handlers_disconnect_by_data(self->message, self);
    g_clear_object(&self->message);
    g_byte_array_unref(self->body);
    g_free(self->method);
    g_free(self->depth);
    g_free(self->if_match);
    g_free(self->content_type);
    g_clear_pointer(&self->sent, g_bytes_unref);
    g_free(self);
}

void dav_reply_free(DavReply *reply)
{
    if (reply == NULL)
        return;
    g_free(reply->address);
    g_free(reply->etag);
    g_clear_pointer(&reply->body, g_bytes_unref);
    g_free(reply);
}

static void fail(GTask *task, GError *error)
{
    const Exchange *self = g_task_get_task_data(task);
    g_prefix_error(&error, "%s: ", g_uri_get_host(self->client->base));
    g_task_return_error(task, error);
}

static int64_t retry_s(SoupMessageHeaders *headers, int64_t now_utc)
{
    const char *text = soup_message_headers_get_one(headers, "Retry-After");
    const char *date = soup_message_headers_get_one(headers, "Date");
    guint64 seconds;

    if (text == NULL)
        return 0;
    if (g_ascii_string_to_unsigned(text, 10, 0, G_MAXINT32, &seconds, NULL))
        return MIN((int64_t)seconds, RETRY_S_MAX);
    g_autoptr(GDateTime) at = soup_date_time_new_from_http_string(text);
    g_autoptr(GDateTime) said = date != NULL ? soup_date_time_new_from_http_string(date) : NULL;
    if (at == NULL)
        return 0;
    return CLAMP(g_date_time_to_unix(at) - (said != NULL ? g_date_time_to_unix(said) : now_utc), 0,
                 RETRY_S_MAX);
}

static DavReply *reply_new(Exchange *self)
{
    SoupMessageHeaders *headers = soup_message_get_response_headers(self->message);
    DavReply *reply = g_new0(DavReply, 1);
    const char *etag = soup_message_headers_get_one(headers, "ETag");

    reply->status = soup_message_get_status(self->message);
    reply->address = g_uri_to_string(soup_message_get_uri(self->message));
    reply->etag = etag != NULL ? g_strstrip(g_strdup(etag)) : NULL;
    reply->retry_s = retry_s(headers, clock_now(self->client->clk));
    reply->body = g_byte_array_free_to_bytes(self->body);
    self->body = g_byte_array_new();
    return reply;
}

static void read_on(GTask *task);

static void chunk_came(GObject *object, GAsyncResult *result, gpointer data)
{
    g_autoptr(GTask) task = data;
    Exchange *self = g_task_get_task_data(task);
    GError *error = NULL;
    g_autoptr(GBytes) chunk =
        g_input_stream_read_bytes_finish(G_INPUT_STREAM(object), result, &error);

    if (chunk == NULL) {
        fail(task, error);
        return;
    }
    gsize length = g_bytes_get_size(chunk);
    if (length == 0)
        g_task_return_pointer(task, reply_new(self), (GDestroyNotify)dav_reply_free);
    else if (length > self->bytes_max - self->body->len)
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_LIMIT,
                               "the reply is too long; accepted at most %" G_GSIZE_FORMAT " bytes",
                               self->bytes_max));
    else if (clock_now(self->client->clk) - self->started_utc > self->client->total_s)
        fail(task, g_error_new(G_IO_ERROR, G_IO_ERROR_TIMED_OUT,
                               "the reply has no end; waited %u s for it", self->client->total_s));
    else {
        g_byte_array_append(self->body, g_bytes_get_data(chunk, NULL), (guint)length);
        read_on(task);
    }
}

static void read_on(GTask *task)
{
    Exchange *self = g_task_get_task_data(task);
    g_input_stream_read_bytes_async(self->stream, CHUNK_BYTES, G_PRIORITY_DEFAULT,
                                    g_task_get_cancellable(task), chunk_came, g_object_ref(task));
}

static void send_to(GTask *task, GUri *uri);

static gboolean is_redirect(guint status)
{
    return status == 301 || status == 302 || status == 307 || status == 308;
}

static void follow(GTask *task)
{
    Exchange *self = g_task_get_task_data(task);
    const char *to =
        soup_message_headers_get_one(soup_message_get_response_headers(self->message), "Location");
    g_autoptr(GUri) uri = to != NULL ? g_uri_parse_relative(soup_message_get_uri(self->message), to,
                                                            SOUP_HTTP_URI_FLAGS, NULL)
                                     : NULL;

    g_clear_object(&self->stream);
    if (!same_origin(uri, self->client->base))
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_INVALID,
                               "redirects to another address; give that one (%s) if it is right",
                               uri != NULL ? g_uri_get_host(uri) : "none"));
    else if (++self->redirects > DAV_REDIRECTS_MAX)
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_LIMIT,
                               "redirects without an end; accepted at most %d in a row",
                               DAV_REDIRECTS_MAX));
    else
        send_to(task, uri);
}

static void sent(GObject *object, GAsyncResult *result, gpointer data)
{
    g_autoptr(GTask) task = data;
    Exchange *self = g_task_get_task_data(task);
    GError *error = NULL;

    self->stream = soup_session_send_finish(SOUP_SESSION(object), result, &error);
    if (self->stream == NULL)
        fail(task, error);
    else if (is_redirect(soup_message_get_status(self->message)))
        follow(task);
    else
        read_on(task);
}

/* libsoup forgets the body of a message that it sends again. */
static void set_body(SoupMessage *message, Exchange *self)
{
    if (self->sent != NULL)
        soup_message_set_request_body_from_bytes(message, self->content_type, self->sent);
}

static gboolean authenticate(SoupMessage *message, SoupAuth *auth, gboolean retrying,
                             Exchange *self)
{
    (void)message;
    if (retrying || soup_auth_is_for_proxy(auth) || self->client->secret == NULL)
        return FALSE;
    soup_auth_authenticate(auth, self->client->user, self->client->secret);
    return TRUE;
}

static void send_to(GTask *task, GUri *uri)
{
    Exchange *self = g_task_get_task_data(task);

    if (self->message != NULL)
        g_signal_handlers_disconnect_by_data(self->message, self);
    g_clear_object(&self->message);
    self->message = soup_message_new_from_uri(self->method, uri);
    soup_message_add_flags(self->message, SOUP_MESSAGE_NO_REDIRECT);
    SoupMessageHeaders *headers = soup_message_get_request_headers(self->message);
    soup_message_headers_replace(headers, "User-Agent", self->client->user_agent);
    if (self->depth != NULL)
        soup_message_headers_replace(headers, "Depth", self->depth);
    if (self->if_match != NULL)
        soup_message_headers_replace(headers, "If-Match", self->if_match);
    if (self->if_none_match)
        soup_message_headers_replace(headers, "If-None-Match", "*");
    set_body(self->message, self);
    g_signal_connect(self->message, "restarted", G_CALLBACK(set_body), self);
    g_signal_connect(self->message, "authenticate", G_CALLBACK(authenticate), self);
    soup_session_send_async(self->client->session, self->message, G_PRIORITY_DEFAULT,
                            g_task_get_cancellable(task), sent, g_object_ref(task));
}

void dav_send(DavClient *client, const DavRequest *request, GCancellable *cancellable,
              GAsyncReadyCallback done, gpointer data)
{
    g_autoptr(GTask) task = g_task_new(NULL, cancellable, done, data);
    g_autoptr(GUri) uri = g_uri_parse(request->address, SOUP_HTTP_URI_FLAGS, NULL);
    Exchange *self = g_new0(Exchange, 1);

    g_task_set_source_tag(task, dav_send);
    self->client = client;
    self->body = g_byte_array_new();
    self->method = g_strdup(request->method);
    self->depth = g_strdup(request->depth);
    self->if_match = g_strdup(request->if_match);
    self->if_none_match = request->if_none_match;
    self->content_type = g_strdup(request->content_type);
    self->sent = request->body != NULL ? g_bytes_new(request->body, strlen(request->body)) : NULL;
    self->bytes_max = request->bytes_max > 0 ? request->bytes_max : DAV_BYTES_MAX;
    self->started_utc = clock_now(client->clk);
    g_task_set_task_data(task, self, exchange_free);
    if (!same_origin(uri, client->base) || !url_is_safe(request->address))
        fail(task,
             g_error_new(THOLE_ERROR, THOLE_ERROR_INVALID, "not an https address of this server"));
    else
        send_to(task, uri);
}

DavReply *dav_send_finish(GAsyncResult *result, GError **error)
{
    g_return_val_if_fail(g_async_result_is_tagged(result, dav_send), NULL);
    return g_task_propagate_pointer(G_TASK(result), error);
}
