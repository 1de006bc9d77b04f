/* SPDX-License-Identifier: MIT */
/*
 * Policy of the control interface: who asks is looked at as soon as the headers are there; a body
 * is counted as it arrives, and what is above the limit is read away without being kept, up to
 * DRAIN_MAX, so that the peer can read its 413; one request for each connection, at most
 * CONNECTIONS_MAX of them, each cut off WIRE_IDLE_S after it was made, so that neither silence nor
 * a trickle holds one.
 *
 * Connections are accepted by base/listener.h and not by libsoup, whose listener stops for good
 * when one accept fails, and which takes the address of an HTTP/1.0 connection for one of the
 * internet: it is given such an address, and the peer's carries the socket.
 */
#include "control/control.h"

#include <libsoup/soup.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/json-check.h"
#include "base/listener.h"
#include "base/log.h"
#include "base/local-time.h"
#include "control/control-held.h"
#include "control/control-owed.h"
#include "control/control-reply.h"
#include "control/control-socket.h"

#define TOPIC "control"
#define CONNECTIONS_MAX 64 /* chosen */
#define DRAIN_MAX                                                                                  \
    (16 * WIRE_BODY_MAX)          /* bytes of a body that is too long; then it is cut off; chosen */
#define TEXT_START 4096           /* bytes of a reply that is written; it doubles; chosen */
#define SOCKET_KEY "thole-socket" /* on the peer's address: its socket */
#define COUNT_KEY "thole-body-bytes" /* on a message */

typedef struct Route {
    char *method;
    char **parts;              /* (owned) of the pattern; "{name}" takes any */
    ControlHandler fn;         /* (nullable) then it is one of the others */
    ControlTextHandler write;  /* (nullable) */
    ControlLaterHandler later; /* (nullable) */
    gpointer data;
} Route;

/* A request while its handler is called. */
struct ControlAsking {
    SoupServerMessage *message;
    gboolean owed; /* the reply is no longer the handler's */
};

struct Control {
    SoupServer *server;
    ControlSocket listening;
    ControlMode mode;
    Listener *listener;    /* (owned) */
    GPtrArray *routes;     /* (owned) (element-type Route) */
    GSocketAddress *local; /* (owned) what libsoup takes for the address of this end */
    ControlHeld *held;     /* (owned) (nullable) changes that wait; NULL: none has to */
};

static void route_free(Route *route)
{
    g_free(route->method);
    g_strfreev(route->parts);
    g_free(route);
}

gboolean control_peer_allowed(ControlMode mode, uid_t peer_uid, uid_t own_uid, gboolean in_group)
{
    switch (mode) {
    case CONTROL_USER:
        return peer_uid == own_uid;
    case CONTROL_SYSTEM:
        return peer_uid == own_uid || peer_uid == 0 || in_group;
    }
    return FALSE;
}

/* ---- requests ---- */

static char **split_path(const char *path)
{
    return g_strsplit(path + (*path == '/'), "/", -1);
}

static gboolean part_is_param(const char *part)
{
    return part[0] == '{';
}

/* How well the parts fit: 0 not at all, more where plain parts come first. */
static guint route_fit(const Route *route, char **parts)
{
    guint fit = 1;

    for (guint i = 0; route->parts[i] || parts[i]; i++) {
        if (!route->parts[i] || !parts[i])
            return 0;
        const gboolean plain = g_str_equal(route->parts[i], parts[i]);
        if (!plain && !(part_is_param(route->parts[i]) && *parts[i]))
            return 0;
        fit = fit * 2 + plain;
    }
    return fit;
}

/* The path's parts, each decoded; NULL where they are not text. */
static char **decode_path(const char *path)
{
    g_auto(GStrv) parts = split_path(path);

    for (guint i = 0; parts[i]; i++) {
        char *decoded = g_uri_unescape_segment(parts[i], NULL, "/");
        if (!decoded || !g_utf8_validate(decoded, -1, NULL)) {
            g_free(decoded);
            return NULL;
        }
        for (const char *p = decoded; *p; p = g_utf8_next_char(p)) {
            if (g_unichar_iscntrl(g_utf8_get_char(p))) {
                g_free(decoded);
                return NULL;
            }
        }
        g_free(parts[i]);
        parts[i] = decoded;
    }
    return g_steal_pointer(&parts);
}

/* The route that answers; NULL where none does, with the methods of the path in RET_ALLOWED. */
static const Route *find_route(const Control *control, const char *method, char **parts,
                               GString *ret_allowed)
{
    const Route *best = NULL;
    guint best_fit = 0, path_fit = 0;

    for (guint i = 0; i < control->routes->len; i++)
        path_fit = MAX(path_fit, route_fit(control->routes->pdata[i], parts));
    for (guint i = 0; i < control->routes->len; i++) {
        const Route *route = control->routes->pdata[i];
        const guint fit = route_fit(route, parts);
        if (fit == 0)
            continue;
        if (fit > best_fit && g_str_equal(route->method, method)) {
            best = route;
            best_fit = fit;
        }
        if (fit == path_fit)
            g_string_append_printf(ret_allowed, "%s%s", ret_allowed->len > 0 ? ", " : "",
                                   route->method);
    }
    return best;
}

static gboolean parse_body(SoupServerMessage *message, ControlRequest *request, GError **error)
{
    g_autoptr(JsonParser) parser = json_parser_new_immutable();
    g_autoptr(GError) refused = NULL;
    g_autoptr(GBytes) body =
        soup_message_body_flatten(soup_server_message_get_request_body(message));
    gsize length;
    const char *text = g_bytes_get_data(body, &length);

    if (length == 0)
        return TRUE;
    if (!json_check(text, length, WIRE_DEPTH_MAX, &refused)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "the body is %s; accepted is one object, like {\"place\": \"frame\"}",
                    refused->message);
        return FALSE;
    }
    if (!json_parser_load_from_data(parser, text, (gssize)length, &refused)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "the body is not JSON: %s",
                    refused->message);
        return FALSE;
    }
    JsonNode *root = json_parser_get_root(parser);
    if (!root || !JSON_NODE_HOLDS_OBJECT(root)) {
        g_set_error_literal(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                            "the body is not a JSON object; give one, like {\"place\": \"frame\"}");
        return FALSE;
    }
    request->body = json_object_ref(json_node_get_object(root));
    return TRUE;
}

static gboolean parse_query(const char *query, ControlRequest *request, GError **error)
{
    g_autoptr(GHashTable) parsed = NULL;

    if (query && *query) {
        parsed = g_uri_parse_params(query, -1, "&", G_URI_PARAMS_WWW_FORM, NULL);
        if (!parsed || g_hash_table_size(parsed) > WIRE_QUERY_MAX) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                        "the query makes no sense; accepted are up to %d of name=value, joined by "
                        "&, with %%XX for other than letters and digits, in UTF-8",
                        WIRE_QUERY_MAX);
            return FALSE;
        }
    }
    request->query = parsed ? g_steal_pointer(&parsed)
                            : g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    return TRUE;
}

ControlOwed *control_owe(const ControlRequest *request)
{
    request->asking->owed = TRUE;
    return control_owed_new(request->asking->message);
}

/* FALSE and an error: nothing is sent. */
static gboolean call_text(SoupServerMessage *message, const Route *route,
                          const ControlRequest *request, GError **error)
{
    g_autoptr(GString) text = g_string_sized_new(TEXT_START);
    JsonText to = {.text = text};

    json_text_begin_object(&to, NULL);
    json_text_int(&to, WIRE_VERSION_MEMBER, WIRE_API_VERSION);
    if (!route->write(request, &to, route->data, error))
        return FALSE;
    json_text_end_object(&to);
    control_reply_text(message, g_steal_pointer(&text));
    return TRUE;
}

static void call_route(SoupServerMessage *message, const Route *route, const char *path,
                       char **parts)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(JsonNode) reply = NULL;
    g_autoptr(ControlRequest) request = g_new0(ControlRequest, 1);
    struct ControlAsking asking = {.message = message};

    request->asking = &asking;
    request->method = route->method;
    request->path = path;
    request->params = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    request->asked = g_ptr_array_new_with_free_func(g_free);
    for (guint i = 0; parts[i]; i++)
        if (part_is_param(route->parts[i]))
            g_hash_table_insert(request->params,
                                g_strndup(route->parts[i] + 1, strlen(route->parts[i]) - 2),
                                g_strdup(parts[i]));
    if (parse_query(g_uri_get_query(soup_server_message_get_uri(message)), request, &error) &&
        parse_body(message, request, &error)) {
        if (route->later) {
            route->later(request, control_owed_new(message), route->data);
            return;
        }
        if (!route->write)
            reply = route->fn(request, route->data, &error);
        else if (call_text(message, route, request, &error))
            return;
        if (asking.owed)
            return;
    }
    if (reply) {
        control_reply(message, reply);
        return;
    }
    const WireProblem problem = control_problem_of(error);
    if (problem == WIRE_PROBLEM_FAILED)
        log_warning(TOPIC, path, "%s %s failed: %s", route->method, path, error->message);
    control_reply_problem(message, problem, error->message);
}

static void route_request(const Control *control, SoupServerMessage *message, const char *path)
{
    const char *method = soup_server_message_get_method(message);
    g_autoptr(GString) allowed = g_string_new(NULL);
    g_auto(GStrv) parts = decode_path(path);

    if (!parts) {
        control_reply_problem(message, WIRE_PROBLEM_INVALID, "the path is not text in UTF-8");
        return;
    }
    const Route *route = find_route(control, method, parts, allowed);
    g_autofree char *shown = g_strjoinv("/", parts);
    g_autofree char *decoded = g_strconcat("/", shown, NULL);
    if (route) {
        call_route(message, route, decoded, parts);
    } else if (allowed->len > 0) {
        g_autofree char *detail =
            g_strdup_printf("%s does not go with %s; accepted: %s", method, decoded, allowed->str);
        soup_message_headers_replace(soup_server_message_get_response_headers(message), "Allow",
                                     allowed->str);
        control_reply_problem(message, WIRE_PROBLEM_METHOD, detail);
    } else {
        g_autofree char *detail = g_strdup_printf("there is no %s here", decoded);
        control_reply_problem(message, WIRE_PROBLEM_NOT_FOUND, detail);
    }
}

static void on_request(SoupServer *server, SoupServerMessage *message, const char *path,
                       GHashTable *query, gpointer data)
{
    Control *control = data;

    (void)server;
    (void)query;
    if (control->held && !g_str_equal(soup_server_message_get_method(message), "GET"))
        control_held_add(control->held, message);
    else
        route_request(control, message, path);
}

static void route_held(SoupServerMessage *message, gpointer data)
{
    route_request(data, message, g_uri_get_path(soup_server_message_get_uri(message)));
}

void control_hold_changes(Control *control, gboolean hold)
{
    if (hold && !control->held)
        control->held = control_held_new();
    else if (!hold && control->held)
        control_held_release(g_steal_pointer(&control->held), route_held, control);
}

/* ---- what is looked at before the body is read ---- */

static void send_too_large(SoupServerMessage *message)
{
    control_reply_problem(message, WIRE_PROBLEM_TOO_LARGE,
                          "the body is too long; up to 64 KiB are accepted");
}

static GSocket *message_socket(SoupServerMessage *message)
{
    GSocketAddress *peer = soup_server_message_get_remote_address(message);

    return peer ? g_object_get_data(G_OBJECT(peer), SOCKET_KEY) : NULL;
}

static void on_chunk(SoupServerMessage *message, GBytes *chunk, gpointer data)
{
    const gsize before = GPOINTER_TO_SIZE(g_object_get_data(G_OBJECT(message), COUNT_KEY));
    const gsize count = before + g_bytes_get_size(chunk);
    SoupMessageBody *body = soup_server_message_get_request_body(message);

    (void)data;
    G_STATIC_ASSERT(WIRE_BODY_MAX == 64 * 1024);
    g_object_set_data(G_OBJECT(message), COUNT_KEY, GSIZE_TO_POINTER(count));
    if (soup_server_message_get_status(message) != 0 || count > WIRE_BODY_MAX) {
        soup_message_body_set_accumulate(body, FALSE);
        soup_message_body_truncate(body);
    }
    if (count > WIRE_BODY_MAX && soup_server_message_get_status(message) == 0)
        send_too_large(message);
    if (count > DRAIN_MAX && message_socket(message))
        g_socket_shutdown(message_socket(message), TRUE, TRUE, NULL);
}

static void check_version(SoupServerMessage *message, const char *version)
{
    g_autofree char *own = g_strdup_printf("%d", WIRE_API_VERSION);

    if (version && !g_str_equal(version, own)) {
        g_autofree char *detail = g_strdup_printf(
            WIRE_API_HEADER " is not %s here; accepted: %s. Use a tholectl and a tholed of the "
                            "same release",
            version, own);
        control_reply_problem(message, WIRE_PROBLEM_VERSION, detail);
    }
}

static void on_headers(SoupServer *server, SoupServerMessage *message, const char *path,
                       GHashTable *query, gpointer data)
{
    const Control *control = data;
    SoupMessageHeaders *asked = soup_server_message_get_request_headers(message);
    SoupMessageHeaders *reply = soup_server_message_get_response_headers(message);
    GSocket *socket = message_socket(message);
    g_autofree char *version = g_strdup_printf("%d", WIRE_API_VERSION);
    uid_t uid = (uid_t)-1;

    (void)server;
    (void)query;
    soup_message_headers_replace(reply, WIRE_API_HEADER, version);
    soup_message_headers_replace(reply, "Connection", "close");
    soup_message_headers_replace(reply, "Cache-Control", "no-store");
    soup_message_headers_remove(asked, "Range"); /* libsoup would cut the reply to it */
    g_signal_connect(message, "got-chunk", G_CALLBACK(on_chunk), NULL);

    if (!socket ||
        !control_socket_peer_allowed(socket, control->mode, control->listening.group, &uid)) {
        log_warning(TOPIC, NULL, "user %ld asked and is not allowed, ignoring", (long)(int32_t)uid);
        control_reply_problem(
            message, WIRE_PROBLEM_FORBIDDEN,
            control->mode == CONTROL_USER
                ? "only the user whose daemon this is may ask"
                : "only root, the daemon's user and members of the group thole may ask");
        return;
    }
    if (soup_message_headers_get_encoding(asked) == SOUP_ENCODING_CONTENT_LENGTH &&
        soup_message_headers_get_content_length(asked) > WIRE_BODY_MAX) {
        send_too_large(message);
        return;
    }
    const char *sent = g_uri_get_query(soup_server_message_get_uri(message));
    if (strlen(path) + (sent ? strlen(sent) : 0) > WIRE_TARGET_MAX) {
        control_reply_problem(message, WIRE_PROBLEM_INVALID,
                              "the path is too long; up to 2048 bytes are accepted");
        return;
    }
    check_version(message, soup_message_headers_get_one(asked, WIRE_API_HEADER));
}

/* ---- connections ---- */

static void serve(GSocket *socket, GSocketConnection *connection, gpointer data)
{
    Control *control = data;
    g_autoptr(GError) error = NULL;
    g_autoptr(GSocketAddress) peer = g_inet_socket_address_new_from_string("127.0.0.1", 0);

    g_object_set_data_full(G_OBJECT(peer), SOCKET_KEY, g_object_ref(socket), g_object_unref);
    if (!soup_server_accept_iostream(control->server, G_IO_STREAM(connection), control->local, peer,
                                     &error))
        log_warning(TOPIC, NULL, "a connection could not be served: %s, ignoring", error->message);
}

/* ---- the whole ---- */

Control *control_new(const char *socket_path, ControlMode mode, int inherited_fd, GError **error)
{
    ControlSocket listening;

    if (!control_socket_open(socket_path, mode, inherited_fd, &listening, error))
        return NULL;
    Control *control = g_new0(Control, 1);
    control->listening = listening;
    control->mode = mode;
    control->routes = g_ptr_array_new_with_free_func((GDestroyNotify)route_free);
    control->local = g_inet_socket_address_new_from_string("127.0.0.1", 0);
    control->server = soup_server_new("raw-paths", TRUE, NULL);
    soup_server_add_early_handler(control->server, NULL, on_headers, control, NULL);
    soup_server_add_handler(control->server, NULL, on_request, control, NULL);
    control->listener =
        listener_new(listening.socket, TOPIC, CONNECTIONS_MAX, WIRE_IDLE_S, serve, control);
    return control;
}

static Route *add_route(Control *control, const char *method, const char *path_pattern,
                        gpointer data)
{
    Route *route = g_new0(Route, 1);

    route->method = g_strdup(method);
    route->parts = split_path(path_pattern);
    route->data = data;
    g_ptr_array_add(control->routes, route);
    return route;
}

void control_add(Control *control, const char *method, const char *path_pattern, ControlHandler fn,
                 gpointer data)
{
    add_route(control, method, path_pattern, data)->fn = fn;
}

void control_add_text(Control *control, const char *method, const char *path_pattern,
                      ControlTextHandler fn, gpointer data)
{
    add_route(control, method, path_pattern, data)->write = fn;
}

void control_add_later(Control *control, const char *method, const char *path_pattern,
                       ControlLaterHandler fn, gpointer data)
{
    add_route(control, method, path_pattern, data)->later = fn;
}

void control_free(Control *control)
{
    if (!control)
        return;
    listener_free(control->listener);
    soup_server_disconnect(control->server);
    g_object_unref(control->server);
    control_socket_close(&control->listening);
    g_ptr_array_unref(control->routes);
    control_held_free(control->held);
    g_object_unref(control->local);
    g_free(control);
}

JsonNode *control_hello_node(const ControlHello *hello)
{
    g_autofree char *now = utc_format(hello->now_utc);
    JsonNode *node = json_node_new(JSON_NODE_OBJECT);
    JsonObject *object = json_object_new();

    json_object_set_string_member(object, "program", "tholed");
    json_object_set_string_member(object, "version", PACKAGE_VERSION);
    json_object_set_string_member(object, "now", now);
    json_object_set_boolean_member(object, "virtual", hello->is_virtual);
    json_object_set_string_member(object, "garden", hello->garden);
    json_node_take_object(node, object);
    return node;
}
