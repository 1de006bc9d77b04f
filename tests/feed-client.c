/* SPDX-License-Identifier: MIT */
#include "feed-client.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/socket.h>

#include "control-client.h"

int feed_open_from(const char *from, int port)
{
    struct sockaddr_in here = {.sin_family = AF_INET}, there = {.sin_family = AF_INET};
    const int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

    while (
        g_main_context_iteration(NULL, FALSE)) /* who waits is taken first: room to wait is small */
        ;
    assert_true(fd >= 0);
    assert_int_equal(inet_pton(AF_INET, from, &here.sin_addr), 1);
    there.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    there.sin_port = htons((uint16_t)port);
    assert_return_code(bind(fd, (struct sockaddr *)&here, sizeof here), errno);
    assert_return_code(connect(fd, (struct sockaddr *)&there, sizeof there), errno);
    assert_return_code(fcntl(fd, F_SETFL, O_NONBLOCK), errno);
    return fd;
}

char *feed_finish(int fd, const char *bytes)
{
    return client_finish(fd, bytes, strlen(bytes), 65536);
}

char *feed_exchange(int port, const char *bytes)
{
    return feed_finish(feed_open_from("127.0.0.1", port), bytes);
}

char *feed_ask(int port, const char *method, const char *target, const char *headers)
{
    g_autofree char *bytes =
        g_strdup_printf("%s %s HTTP/1.1\r\nHost: plot.example\r\n%s\r\n", method, target, headers);
    return feed_exchange(port, bytes);
}

char *feed_header(const char *reply, const char *name)
{
    const char *end = strstr(reply, "\r\n\r\n");
    g_autofree char *head = g_strndup(reply, end != NULL ? (gsize)(end - reply) : strlen(reply));
    g_auto(GStrv) lines = g_strsplit(head, "\r\n", -1);

    for (char **line = lines; *line != NULL; line++) {
        if (g_ascii_strncasecmp(*line, name, strlen(name)) == 0 && (*line)[strlen(name)] == ':')
            return g_strdup(g_strstrip(*line + strlen(name) + 1));
    }
    return NULL;
}

const char *feed_body(const char *reply)
{
    const char *end = strstr(reply, "\r\n\r\n");

    assert_non_null(end);
    return end + 4;
}

void feed_make_certificate(const char *folder)
{
    g_autofree char *certificate = g_build_filename(folder, "cert.pem", NULL);
    g_autofree char *key = g_build_filename(folder, "key.pem", NULL);
    const char *const words[] = {"openssl",
                                 "req",
                                 "-x509",
                                 "-newkey",
                                 "ec",
                                 "-pkeyopt",
                                 "ec_paramgen_curve:prime256v1",
                                 "-nodes",
                                 "-days",
                                 "2",
                                 "-subj",
                                 "/CN=127.0.0.1",
                                 "-addext",
                                 "subjectAltName=IP:127.0.0.1",
                                 "-keyout",
                                 key,
                                 "-out",
                                 certificate,
                                 NULL};
    int status = -1;

    assert_true(g_spawn_sync(NULL, (char **)words, NULL,
                             G_SPAWN_SEARCH_PATH | G_SPAWN_STDERR_TO_DEV_NULL, NULL, NULL, NULL,
                             NULL, &status, NULL));
    assert_int_equal(status, 0);
}
