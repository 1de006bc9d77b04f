/* SPDX-License-Identifier: MIT */
/*
 * Policy: a connection carries one request. Who asks too often is looked at first; then what is
 * asked. A token is compared with every one there is, each in the same time. Paths hold secrets:
 * none is ever logged.
 */
#include "feed/feed.h"

#include <libsoup/soup.h>
#include <string.h>

#include "base/error.h"
#include "base/log.h"
#include "base/secret.h"
#include "feed/arrival.h"
#include "feed/served.h"
#include "feed/visitors.h"

#define TOPIC "feed"
#define CALENDARS "/calendar/"
#define CALENDAR_END ".ics"
#define PAGES "/done/"
#define DRAIN_MAX (64 * 1024) /* bytes of a body that is too long; then it is cut off; chosen */
#define COUNT_KEY "thole-body-bytes" /* on a message */

struct Feed {
    Clock *clk; /* (unowned) */
    SoupServer *server;
    Arrivals *arrivals;
    Visitors *visitors;
    GPtrArray *served; /* (owned) (element-type Served) */
    FeedPageFunc page;
    gpointer data;
    gboolean proxied; /* somebody else stands in front, and says who asks */
    int port;
};

/* ---- what is asked ---- */

/* Of RFC 6585 §4 and §5, which libsoup has no words for. */
#define TOO_MANY_REQUESTS 429
#define HEADERS_TOO_LARGE 431

static void refuse(SoupServerMessage *message, guint status)
{
    soup_server_message_set_status(message, status,
                                   status == TOO_MANY_REQUESTS   ? "Too Many Requests"
                                   : status == HEADERS_TOO_LARGE ? "Headers Too Large"
                                                                 : NULL);
    soup_server_message_set_response(message, NULL, SOUP_MEMORY_STATIC, NULL, 0);
}

static void refuse_method(SoupServerMessage *message, const char *allowed)
{
    soup_message_headers_replace(soup_server_message_get_response_headers(message), "Allow",
                                 allowed);
    refuse(message, SOUP_STATUS_METHOD_NOT_ALLOWED);
}

/* The calendar at PATH; all are looked at, whichever it is. */
static const Served *find(const Feed *feed, const char *path)
{
    const Served *found = NULL;

    if (!g_str_has_prefix(path, CALENDARS) || !g_str_has_suffix(path, CALENDAR_END) ||
        strlen(path) < strlen(CALENDARS CALENDAR_END))
        return NULL;
    const char *token = path + strlen(CALENDARS);
    const gsize length = strlen(token) - strlen(CALENDAR_END);
    for (guint i = 0; i < feed->served->len; i++) {
        const Served *served = g_ptr_array_index(feed->served, i);
        if (feed_token_equal(token, length, served->token))
            found = served;
    }
    return found;
}

static gboolean is_read(const char *method)
{
    return strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
}

static void answer_page(Feed *feed, SoupServerMessage *message, const char *token,
                        const char *method)
{
    SoupMessageHeaders *reply = soup_server_message_get_response_headers(message);
    const gboolean post = strcmp(method, "POST") == 0;
    g_autoptr(FeedPage) page = NULL;

    if (strlen(token) == FEED_TOKEN_LENGTH && feed->page != NULL)
        page = feed->page(token, post, feed->data);
    if (page == NULL) {
        refuse(message, SOUP_STATUS_NOT_FOUND);
        return;
    }
    if (!post && !is_read(method)) {
        refuse_method(message, "GET, HEAD, POST");
        return;
    }
    g_autofree char *policy = feed_page_policy();
    char *html = feed_page_html(page);
    soup_message_headers_replace(reply, "Content-Security-Policy", policy);
    soup_message_headers_replace(reply, "Cache-Control", "no-store");
    soup_server_message_set_status(
        message, page->failed ? SOUP_STATUS_INTERNAL_SERVER_ERROR : SOUP_STATUS_OK, NULL);
    soup_server_message_set_response(message, "text/html; charset=utf-8", SOUP_MEMORY_TAKE, html,
                                     strlen(html));
}

static void on_request(SoupServer *server, SoupServerMessage *message, const char *path,
                       GHashTable *query, gpointer data)
{
    Feed *feed = data;
    const char *method = soup_server_message_get_method(message);
    const Served *served = find(feed, path);

    (void)server;
    (void)query;
    if (g_str_has_prefix(path, PAGES))
        answer_page(feed, message, path + strlen(PAGES), method);
    else if (served == NULL)
        refuse(message, SOUP_STATUS_NOT_FOUND);
    else if (is_read(method))
        served_answer(served, message);
    else
        refuse_method(message, "GET, HEAD");
    if (soup_server_message_get_status(message) == SOUP_STATUS_NOT_FOUND)
        return;
    SoupMessageHeaders *reply = soup_server_message_get_response_headers(message);
    soup_message_headers_replace(reply, "Referrer-Policy", "no-referrer");
    soup_message_headers_replace(reply, "X-Robots-Tag", "noindex, nofollow, noarchive");
    soup_message_headers_replace(reply, "X-Content-Type-Options", "nosniff");
}

/* ---- what is looked at before the body is read ---- */

/* The last name in X-Forwarded-For is the one that the proxy itself wrote. */
static GInetAddress *forwarded_for(SoupMessageHeaders *asked)
{
    const char *list = soup_message_headers_get_list(asked, "X-Forwarded-For");
    const char *comma = list != NULL ? strrchr(list, ',') : NULL;
    g_autofree char *last = g_strdup(comma != NULL ? comma + 1 : list != NULL ? list : "");

    return g_inet_address_new_from_string(g_strstrip(last));
}

static GInetAddress *peer_of(const Feed *feed, SoupServerMessage *message)
{
    GInetSocketAddress *remote =
        G_INET_SOCKET_ADDRESS(soup_server_message_get_remote_address(message));
    GInetAddress *named =
        feed->proxied ? forwarded_for(soup_server_message_get_request_headers(message)) : NULL;

    return named != NULL ? named : g_object_ref(g_inet_socket_address_get_address(remote));
}

static void count_header(const char *name, const char *value, gpointer data)
{
    *(gsize *)data += strlen(name) + strlen(value) + strlen(": \r\n");
}

static void on_chunk(SoupServerMessage *message, GBytes *chunk, gpointer data)
{
    const gsize before = GPOINTER_TO_SIZE(g_object_get_data(G_OBJECT(message), COUNT_KEY));
    const gsize count = before + g_bytes_get_size(chunk);
    SoupMessageBody *body = soup_server_message_get_request_body(message);

    (void)data;
    g_object_set_data(G_OBJECT(message), COUNT_KEY, GSIZE_TO_POINTER(count));
    soup_message_body_set_accumulate(body, FALSE); /* a form here has nothing to say */
    soup_message_body_truncate(body);
    if (count > FEED_BODY_MAX && soup_server_message_get_status(message) == 0)
        refuse(message, SOUP_STATUS_REQUEST_ENTITY_TOO_LARGE);
    if (count > DRAIN_MAX)
        arrivals_cut_off(message);
}

static void on_headers(SoupServer *server, SoupServerMessage *message, const char *path,
                       GHashTable *query, gpointer data)
{
    Feed *feed = data;
    SoupMessageHeaders *asked = soup_server_message_get_request_headers(message);
    SoupMessageHeaders *reply = soup_server_message_get_response_headers(message);
    const char *sent = g_uri_get_query(soup_server_message_get_uri(message));
    g_autoptr(GInetAddress) peer = peer_of(feed, message);
    const guint wait_s = visitors_ask(feed->visitors, peer, clock_now(feed->clk));
    gsize bytes = 0;

    (void)server;
    (void)query;
    soup_message_headers_replace(reply, "Connection", "close");
    soup_message_headers_remove(asked, "Range"); /* libsoup would cut the reply to it */
    g_signal_connect(message, "got-chunk", G_CALLBACK(on_chunk), NULL);
    soup_message_headers_foreach(asked, count_header, &bytes);
    if (wait_s > 0) {
        g_autofree char *text = g_strdup_printf("%u", wait_s);
        soup_message_headers_replace(reply, "Retry-After", text);
        refuse(message, TOO_MANY_REQUESTS);
    } else if (strlen(path) + (sent != NULL ? strlen(sent) : 0) > FEED_TARGET_MAX) {
        refuse(message, SOUP_STATUS_REQUEST_URI_TOO_LONG);
    } else if (bytes > FEED_HEADERS_MAX) {
        refuse(message, HEADERS_TOO_LARGE);
    } else if (soup_message_headers_get_encoding(asked) == SOUP_ENCODING_CONTENT_LENGTH &&
               soup_message_headers_get_content_length(asked) > FEED_BODY_MAX) {
        refuse(message, SOUP_STATUS_REQUEST_ENTITY_TOO_LARGE);
    }
}

/* ---- connections ---- */

static gboolean on_arrival(GInetAddress *peer, GObject *connection, gpointer data)
{
    Feed *feed = data;

    if (feed->proxied)
        return TRUE; /* all of them come from the one proxy */
    return !visitors_is_flood(feed->visitors, peer, clock_now(feed->clk)) &&
           visitors_connect(feed->visitors, peer, connection);
}

static void on_ready(GIOStream *stream, GSocketAddress *local, GSocketAddress *peer, gpointer data)
{
    Feed *feed = data;
    g_autoptr(GError) error = NULL;

    if (!soup_server_accept_iostream(feed->server, stream, local, peer, &error))
        log_warning(TOPIC, NULL, "a connection could not be served: %s, ignoring", error->message);
}

static GSocket *listen_at(const FeedSetup *setup, int *ret_port, GError **error)
{
    g_autoptr(GSocketAddress) address =
        g_inet_socket_address_new_from_string(setup->host, (guint)setup->port);
    g_autoptr(GError) cause = NULL;
    g_autoptr(GSocketAddress) bound = NULL;
    g_autoptr(GSocket) socket = g_socket_new(g_socket_address_get_family(address),
                                             G_SOCKET_TYPE_STREAM, G_SOCKET_PROTOCOL_TCP, &cause);

    if (socket != NULL)
        g_socket_set_listen_backlog(socket, FEED_CONNECTIONS_MAX);
    if (socket == NULL || !g_socket_bind(socket, address, TRUE, &cause) ||
        !g_socket_listen(socket, &cause) ||
        (bound = g_socket_get_local_address(socket, &cause)) == NULL) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "cannot listen at %s port %d: %s",
                    setup->host, setup->port, cause->message);
        return NULL;
    }
    *ret_port = g_inet_socket_address_get_port(G_INET_SOCKET_ADDRESS(bound));
    return g_steal_pointer(&socket);
}

/* ---- the whole ---- */

static GTlsCertificate *certificate_of(const FeedSetup *setup, GError **error)
{
    char *both = g_strconcat(setup->certificate, "\n", setup->key, NULL);
    GTlsCertificate *certificate = g_tls_certificate_new_from_pem(both, -1, error);

    secret_free(both);
    return certificate;
}

Feed *feed_new(Clock *clk, const FeedSetup *setup, FeedPageFunc page, gpointer data, GError **error)
{
    g_autoptr(GTlsCertificate) certificate = NULL;
    int port = 0;

    if (setup->certificate != NULL && (certificate = certificate_of(setup, error)) == NULL)
        return NULL;
    g_autoptr(GSocket) socket = listen_at(setup, &port, error);
    if (socket == NULL)
        return NULL;
    Feed *feed = g_new0(Feed, 1);
    feed->clk = clk;
    feed->page = page;
    feed->data = data;
    feed->port = port;
    feed->proxied = setup->outside[0] != '\0' && certificate == NULL;
    feed->visitors = visitors_new();
    feed->served = g_ptr_array_new_with_free_func((GDestroyNotify)served_free);
    feed->server = soup_server_new("raw-paths", TRUE, NULL);
    soup_server_add_early_handler(feed->server, NULL, on_headers, feed, NULL);
    soup_server_add_handler(feed->server, NULL, on_request, feed, NULL);
    feed->arrivals = arrivals_new(socket, certificate, on_arrival, on_ready, feed);
    return feed;
}

int feed_port(const Feed *feed)
{
    return feed->port;
}

void feed_put(Feed *feed, const char *name, const char *token, GBytes *bytes)
{
    Served *served = NULL;

    for (guint i = 0; i < feed->served->len && served == NULL; i++) {
        Served *one = g_ptr_array_index(feed->served, i);
        served = strcmp(one->name, name) == 0 ? one : NULL;
    }
    if (served == NULL) {
        served = served_new(name);
        g_ptr_array_add(feed->served, served);
    }
    g_strlcpy(served->token, token, sizeof served->token);
    if (bytes != NULL)
        (void)served_put(served, bytes, clock_now(feed->clk));
}

void feed_keep(Feed *feed, const char *const *names)
{
    for (guint i = feed->served->len; i-- > 0;) {
        const Served *served = g_ptr_array_index(feed->served, i);
        if (!g_strv_contains(names, served->name))
            g_ptr_array_remove_index(feed->served, i);
    }
}

void feed_free(Feed *feed)
{
    if (feed == NULL)
        return;
    arrivals_free(feed->arrivals);
    soup_server_disconnect(feed->server);
    g_object_unref(feed->server);
    visitors_free(feed->visitors);
    g_ptr_array_unref(feed->served);
    g_free(feed);
}
