/* SPDX-License-Identifier: MIT */
#include "control-client.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

int client_open(const char *path)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);

    assert_true(fd >= 0);
    g_strlcpy(address.sun_path, path, sizeof(address.sun_path));
    assert_return_code(connect(fd, (struct sockaddr *)&address, sizeof(address)), errno);
    assert_return_code(fcntl(fd, F_SETFL, O_NONBLOCK), errno);
    return fd;
}

/* Sends as the server takes it, STEP bytes at a time, then reads to the end. The caller frees. */
char *client_finish(int fd, const char *bytes, gsize length, gsize step)
{
    g_autoptr(GString) reply = g_string_new(NULL);
    const gint64 end_us = g_get_monotonic_time() + 20 * G_USEC_PER_SEC;
    gsize sent = 0;

    for (;;) {
        char part[4096];
        assert_true(g_get_monotonic_time() < end_us);
        if (sent < length) {
            const ssize_t n = send(fd, bytes + sent, MIN(step, length - sent), MSG_NOSIGNAL);
            if (n > 0)
                sent += (gsize)n;
            else if (errno != EAGAIN)
                sent = length;
        }
        g_main_context_iteration(NULL, FALSE);
        const ssize_t n = recv(fd, part, sizeof(part), 0);
        if (n > 0)
            g_string_append_len(reply, part, n);
        else if (n == 0 || errno != EAGAIN)
            break;
    }
    close(fd);
    return g_string_free(g_steal_pointer(&reply), FALSE);
}

char *client_exchange(const char *path, const char *bytes, gsize length)
{
    return client_finish(client_open(path), bytes, length, 65536);
}

int client_status(const char *reply)
{
    return g_str_has_prefix(reply, "HTTP/1.") ? atoi(reply + 9) : 0;
}

JsonObject *client_object(const char *reply, JsonParser *parser)
{
    const char *body = strstr(reply, "\r\n\r\n");

    assert_non_null(body);
    assert_true(json_parser_load_from_data(parser, body + 4, -1, NULL));
    JsonObject *object = json_node_get_object(json_parser_get_root(parser));
    assert_int_equal(json_object_get_int_member(object, "v"), 1);
    return object;
}

char *client_text(const char *method, const char *target, const char *body)
{
    return g_strdup_printf("%s %s HTTP/1.1\r\nHost: localhost\r\nContent-Length: %zu\r\n\r\n%s",
                           method, target, strlen(body), body);
}

char *client_ask(const char *path, const char *method, const char *target, const char *body)
{
    g_autofree char *text = client_text(method, target, body);

    return client_exchange(path, text, strlen(text));
}

void assert_problem(const char *reply, int status, const char *type, const char *detail)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autofree char *full = g_strconcat("urn:thole:problem:", type, NULL);

    if (client_status(reply) != status)
        print_message("# %s\n", reply);
    assert_int_equal(client_status(reply), status);
    assert_non_null(strstr(reply, "Content-Type: application/problem+json\r\n"));
    JsonObject *object = client_object(reply, parser);
    assert_string_equal(json_object_get_string_member(object, "type"), full);
    assert_int_equal(json_object_get_int_member(object, "status"), status);
    assert_non_null(json_object_get_string_member(object, "title"));
    if (!strstr(json_object_get_string_member(object, "detail"), detail))
        fail_msg("\"%s\" is not in \"%s\"", detail,
                 json_object_get_string_member(object, "detail"));
}
