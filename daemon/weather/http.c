/* SPDX-License-Identifier: MIT */
#include "weather/http.h"

#include <libsoup/soup.h>

#include "base/error.h"
#include "base/url.h"

#define CHUNK_BYTES 16384

typedef struct Exchange {
    SoupSession *session;    /* (owned) of this exchange alone: one an hour needs no pool */
    SoupMessage *message;    /* (owned) */
    GInputStream *stream;    /* (owned) (nullable) */
    GByteArray *body;        /* (owned) */
    char *user_agent;        /* (owned) */
    char *if_modified_since; /* (owned) (nullable) */
    char *host;              /* (owned) for errors */
    Clock *clk;              /* (unowned) */
    int64_t started_utc;
    gsize bytes_max;
    guint total_s;
    int redirects;
} Exchange;

static void exchange_free(gpointer data)
{
    Exchange *self = data;
    g_clear_object(&self->stream);
    g_clear_object(&self->message);
    g_clear_object(&self->session);
    g_byte_array_unref(self->body);
    g_free(self->user_agent);
    g_free(self->if_modified_since);
    g_free(self->host);
    g_free(self);
}

void http_reply_free(HttpReply *reply)
{
    if (reply == NULL)
        return;
    g_clear_pointer(&reply->body, g_bytes_unref);
    g_free(reply->last_modified);
    g_free(reply);
}

static void fail(GTask *task, GError *error)
{
    const Exchange *self = g_task_get_task_data(task);
    g_prefix_error(&error, "%s: ", self->host);
    g_task_return_error(task, error);
}

/* ---- what the headers say ---- */

/* A time in a header; 0 where there is none. */
static int64_t header_utc(SoupMessageHeaders *headers, const char *name)
{
    const char *text = soup_message_headers_get_one(headers, name);
    g_autoptr(GDateTime) time = text != NULL ? soup_date_time_new_from_http_string(text) : NULL;
    return time != NULL ? g_date_time_to_unix(time) : 0;
}

/* A time that the server tells, by our clock: its own may be off. */
static int64_t by_our_clock(SoupMessageHeaders *headers, int64_t utc, int64_t now_utc)
{
    int64_t server_utc = header_utc(headers, "Date");
    return utc == 0 || server_utc == 0 ? utc : now_utc + (utc - server_utc);
}

/* RFC 9110 §10.2.3: seconds, or a time. */
static int64_t retry_utc(SoupMessageHeaders *headers, int64_t now_utc)
{
    const char *text = soup_message_headers_get_one(headers, "Retry-After");
    guint64 seconds;
    if (text == NULL)
        return 0;
    if (g_ascii_string_to_unsigned(text, 10, 0, G_MAXINT32, &seconds, NULL))
        return now_utc + (int64_t)seconds;
    return by_our_clock(headers, header_utc(headers, "Retry-After"), now_utc);
}

static HttpReply *reply_new(Exchange *self)
{
    SoupMessageHeaders *headers = soup_message_get_response_headers(self->message);
    const int64_t now_utc = clock_now(self->clk);
    HttpReply *reply = g_new0(HttpReply, 1);
    reply->status = soup_message_get_status(self->message);
    reply->last_modified = g_strdup(soup_message_headers_get_one(headers, "Last-Modified"));
    reply->expires_utc = by_our_clock(headers, header_utc(headers, "Expires"), now_utc);
    reply->retry_utc = retry_utc(headers, now_utc);
    g_byte_array_append(self->body, (const guint8 *)"", 1);
    g_autoptr(GBytes) all = g_byte_array_free_to_bytes(g_steal_pointer(&self->body));
    reply->body = g_bytes_new_from_bytes(all, 0, g_bytes_get_size(all) - 1);
    self->body = g_byte_array_new();
    return reply;
}

/* ---- the body ---- */

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
    if (length == 0) {
        g_task_return_pointer(task, reply_new(self), (GDestroyNotify)http_reply_free);
        return;
    }
    if (length > self->bytes_max - self->body->len)
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_LIMIT,
                               "the reply is too long; accepted at most %" G_GSIZE_FORMAT " bytes",
                               self->bytes_max));
    else if (clock_now(self->clk) - self->started_utc > self->total_s)
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_LIMIT,
                               "the reply has no end; waited %u s for it", self->total_s));
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

/* ---- the request, and where it is sent on to ---- */

static void send_to(GTask *task, GUri *uri);

static gboolean is_redirect(guint status)
{
    return status == 301 || status == 302 || status == 303 || status == 307 || status == 308;
}

/* Checks each step itself: libsoup would follow to any address. */
static void follow(GTask *task)
{
    Exchange *self = g_task_get_task_data(task);
    const char *to =
        soup_message_headers_get_one(soup_message_get_response_headers(self->message), "Location");
    g_autoptr(GUri) uri = to != NULL ? g_uri_parse_relative(soup_message_get_uri(self->message), to,
                                                            SOUP_HTTP_URI_FLAGS, NULL)
                                     : NULL;
    g_autofree char *address = uri != NULL ? g_uri_to_string(uri) : NULL;
    g_clear_object(&self->stream);
    if (address == NULL || !url_is_safe(address))
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_INVALID,
                               "redirects to an address that is not safe; accepted https"));
    else if (++self->redirects > HTTP_REDIRECTS_MAX)
        fail(task, g_error_new(THOLE_ERROR, THOLE_ERROR_LIMIT,
                               "redirects without an end; accepted at most %d in a row",
                               HTTP_REDIRECTS_MAX));
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

static void send_to(GTask *task, GUri *uri)
{
    Exchange *self = g_task_get_task_data(task);
    g_clear_object(&self->message);
    self->message = soup_message_new_from_uri(SOUP_METHOD_GET, uri);
    soup_message_add_flags(self->message, SOUP_MESSAGE_NO_REDIRECT);
    SoupMessageHeaders *headers = soup_message_get_request_headers(self->message);
    soup_message_headers_replace(headers, "User-Agent", self->user_agent);
    if (self->if_modified_since != NULL)
        soup_message_headers_replace(headers, "If-Modified-Since", self->if_modified_since);
    soup_session_send_async(self->session, self->message, G_PRIORITY_DEFAULT,
                            g_task_get_cancellable(task), sent, g_object_ref(task));
}

void http_get(const HttpRequest *request, Clock *clk, GCancellable *cancellable,
              GAsyncReadyCallback done, gpointer data)
{
    g_autoptr(GTask) task = g_task_new(NULL, cancellable, done, data);
    g_task_set_source_tag(task, http_get);
    g_autoptr(GUri) uri = g_uri_parse(request->url, SOUP_HTTP_URI_FLAGS, NULL);
    if (uri == NULL || !url_is_safe(request->url)) {
        g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_INVALID,
                                "the address is not safe; accepted https");
        return;
    }
    Exchange *self = g_new0(Exchange, 1);
    self->session = soup_session_new();
    soup_session_set_timeout(self->session, request->idle_s > 0 ? request->idle_s : HTTP_IDLE_S);
    self->body = g_byte_array_new();
    self->user_agent = g_strdup(request->user_agent);
    self->if_modified_since = g_strdup(request->if_modified_since);
    self->host = g_strdup(g_uri_get_host(uri));
    self->clk = clk;
    self->started_utc = clock_now(clk);
    self->bytes_max = request->bytes_max > 0 ? request->bytes_max : HTTP_BYTES_MAX;
    self->total_s = request->total_s > 0 ? request->total_s : HTTP_TOTAL_S;
    g_task_set_task_data(task, self, exchange_free);
    send_to(task, uri);
}

HttpReply *http_get_finish(GAsyncResult *result, GError **error)
{
    g_return_val_if_fail(g_async_result_is_tagged(result, http_get), NULL);
    return g_task_propagate_pointer(G_TASK(result), error);
}
