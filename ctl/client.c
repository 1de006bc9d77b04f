/* SPDX-License-Identifier: MIT */
#include "ctl/client.h"

#include <gio/gunixsocketaddress.h>
#include <libsoup/soup.h>
#include <string.h>

#include "ctl/print.h"
#include "ctl/read.h"

/* Given, else the user's own daemon, else the system's. The caller owns it. */
static char *socket_path(const Call *call)
{
    const char *given = call_option(call, "socket");

    if (given)
        return g_strdup(given);
    g_autofree char *own = wire_default_socket();
    if (!g_file_test(own, G_FILE_TEST_EXISTS) &&
        g_file_test(WIRE_SYSTEM_SOCKET, G_FILE_TEST_EXISTS))
        return g_strdup(WIRE_SYSTEM_SOCKET);
    return g_steal_pointer(&own);
}

static Reply *fail(WireExit *ret_exit, char **ret_why, WireExit exit_status, char *why)
{
    *ret_exit = exit_status;
    *ret_why = why;
    return NULL;
}

static gboolean is_no_daemon(const GError *error)
{
    return g_error_matches(error, G_IO_ERROR, G_IO_ERROR_NOT_FOUND) ||
           g_error_matches(error, G_IO_ERROR, G_IO_ERROR_CONNECTION_REFUSED);
}

static char *explain(const GError *error, const char *path)
{
    const gboolean system = g_str_equal(path, WIRE_SYSTEM_SOCKET);

    if (is_no_daemon(error))
        return g_strdup_printf("no tholed answers at %s\n"
                               "Start it with: systemctl %sstart tholed\n"
                               "First use? Write a thole.conf with: tholectl init",
                               path, system ? "" : "--user ");
    if (system && g_error_matches(error, G_IO_ERROR, G_IO_ERROR_PERMISSION_DENIED))
        return g_strdup_printf("%s: only root and members of the group thole may ask\n"
                               "Become one with: sudo usermod -aG thole NAME, and log in again",
                               path);
    if (g_error_matches(error, G_IO_ERROR, G_IO_ERROR_TIMED_OUT))
        return g_strdup_printf("tholed at %s did not answer within %d s", path, WIRE_CLIENT_S);
    return g_strdup_printf("%s: %s", path, error->message);
}

/* All of a stream, up to WIRE_REPLY_MAX bytes. */
static char *read_all(GInputStream *stream, GError **error)
{
    g_autoptr(GOutputStream) memory = g_memory_output_stream_new_resizable();
    char part[16384];
    gssize n;

    while ((n = g_input_stream_read(stream, part, sizeof(part), NULL, error)) > 0) {
        if (!g_output_stream_write_all(memory, part, (gsize)n, NULL, NULL, error))
            return NULL;
        if (g_memory_output_stream_get_data_size(G_MEMORY_OUTPUT_STREAM(memory)) > WIRE_REPLY_MAX) {
            g_set_error(error, G_IO_ERROR, G_IO_ERROR_MESSAGE_TOO_LARGE,
                        "the reply is longer than %d bytes", WIRE_REPLY_MAX);
            return NULL;
        }
    }
    if (n < 0 || !g_output_stream_write_all(memory, "", 1, NULL, NULL, error) ||
        !g_output_stream_close(memory, NULL, error))
        return NULL;
    return g_memory_output_stream_steal_data(G_MEMORY_OUTPUT_STREAM(memory));
}

static SoupMessage *make_message(const char *method, const char *path, JsonObject *body)
{
    g_autofree char *url = g_strconcat("http://localhost", path, NULL);
    g_autofree char *version = g_strdup_printf("%d", WIRE_API_VERSION);
    SoupMessage *message = soup_message_new(method, url);

    soup_message_headers_replace(soup_message_get_request_headers(message), WIRE_API_HEADER,
                                 version);
    if (body) {
        g_autoptr(JsonNode) node = json_node_init_object(json_node_alloc(), body);
        char *text = json_to_string(node, FALSE);
        g_autoptr(GBytes) bytes = g_bytes_new_take(text, strlen(text));
        soup_message_set_request_body_from_bytes(message, WIRE_JSON, bytes);
    }
    return message;
}

/* The reply's text as an object of this version. */
static gboolean parse_reply(Reply *reply, char **ret_why)
{
    reply->parser = json_parser_new();
    JsonNode *root = json_parser_load_from_data(reply->parser, reply->text, -1, NULL)
                         ? json_parser_get_root(reply->parser)
                         : NULL;
    if (!root || !JSON_NODE_HOLDS_OBJECT(root)) {
        *ret_why = g_strdup_printf("what answers is not tholed: HTTP status %u, no JSON object",
                                   reply->status);
        return FALSE;
    }
    reply->object = json_node_get_object(root);
    const double version = read_number(reply->object, WIRE_VERSION_MEMBER);
    if (!(version == WIRE_API_VERSION)) {
        *ret_why = g_strdup_printf("tholed speaks version %g of the interface, this tholectl %d; "
                                   "use both from the same release",
                                   version, WIRE_API_VERSION);
        return FALSE;
    }
    return TRUE;
}

Reply *client_ask(const Call *call, const char *method, const char *path, JsonObject *body,
                  WireExit *ret_exit, char **ret_why)
{
    g_autofree char *socket = socket_path(call);
    g_autoptr(GError) error = NULL;
    g_autoptr(Reply) reply = g_new0(Reply, 1);
    char *why;

    if (strlen(socket) > WIRE_SOCKET_PATH_MAX)
        return fail(ret_exit, ret_why, WIRE_EXIT_USAGE,
                    g_strdup_printf("the socket's path has %zu bytes; it may have %d",
                                    strlen(socket), WIRE_SOCKET_PATH_MAX));
    g_autoptr(GSocketAddress) address = g_unix_socket_address_new(socket);
    g_autoptr(SoupSession) session = soup_session_new_with_options(
        "remote-connectable", address, "timeout", (guint)WIRE_CLIENT_S, NULL);
    soup_session_set_proxy_resolver(session, NULL);
    g_autoptr(SoupMessage) message = make_message(method, path, body);
    g_autoptr(GInputStream) stream = soup_session_send(session, message, NULL, &error);
    if (stream)
        reply->text = read_all(stream, &error);
    if (!reply->text)
        return fail(ret_exit, ret_why,
                    is_no_daemon(error) ? WIRE_EXIT_NO_DAEMON : WIRE_EXIT_REFUSED,
                    explain(error, socket));
    reply->status = soup_message_get_status(message);
    if (!parse_reply(reply, &why))
        return fail(ret_exit, ret_why, WIRE_EXIT_REFUSED, why);
    return g_steal_pointer(&reply);
}

WireExit client_print(const Reply *reply, const Call *call, ReplyFunc show)
{
    if (call_option(call, "json"))
        print_raw(reply->text);
    else if (reply->status == SOUP_STATUS_OK)
        show(reply, call);
    else
        print_error("%s", read_text(reply->object, "detail"));
    return reply->status == SOUP_STATUS_OK ? WIRE_EXIT_DONE : WIRE_EXIT_REFUSED;
}

WireExit client_run(const Call *call, const char *method, const char *path, JsonObject *body,
                    ReplyFunc show)
{
    g_autofree char *why = NULL;
    WireExit exit_status = WIRE_EXIT_DONE;
    g_autoptr(Reply) reply = client_ask(call, method, path, body, &exit_status, &why);

    if (reply)
        return client_print(reply, call, show);
    print_error("%s", why);
    return exit_status;
}

char *client_path(const char *pattern, const char *part)
{
    const char *open = strchr(pattern, '{'), *close = strchr(pattern, '}');
    g_autofree char *escaped = g_uri_escape_string(part, NULL, FALSE);

    return g_strdup_printf("%.*s%s%s", (int)(open - pattern), pattern, escaped, close + 1);
}

WireExit client_usage(const Call *call, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    g_autofree char *what = g_strdup_vprintf(format, args);
    va_end(args);
    print_error("%s\nUsage: tholectl %s%s%s", what, call->command->name,
                *call->command->args ? " " : "", call->command->args);
    return WIRE_EXIT_USAGE;
}

void show_done(const Reply *reply, const Call *call)
{
    (void)call;
    print_wrapped(0, read_text(reply->object, "text"));
}

void reply_free(Reply *reply)
{
    if (!reply)
        return;
    g_free(reply->text);
    g_clear_object(&reply->parser);
    g_free(reply);
}
