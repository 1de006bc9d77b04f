/* SPDX-License-Identifier: MIT */
/* The feed through TLS, with a certificate made for the day, and those who begin and do not end. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <libsoup/soup.h>
#include <string.h>
#include <unistd.h>

#include "control-client.h"
#include "feed-client.h"
#include "feed/feed.h"

#define TOKEN "0123456789abcdef0123456789abcdef"
#define PATH "/calendar/" TOKEN ".ics"
#define TEXT "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"
/* A record of TLS that says that 512 bytes or more follow (RFC 8446 §5.1), and does not go on. */
#define HELLO_BEGUN "\x16\x03\x01\x02"

/* The time of a handshake is played by wrapping the function. */
static guint handshake_s_played;
void __real_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout)
{
    __real_g_socket_set_timeout(socket, timeout == FEED_HANDSHAKE_S && handshake_s_played != 0
                                            ? handshake_s_played
                                            : timeout);
}

typedef struct Fixture {
    char *folder;
    Clock *clk;
    FeedSetup setup;
    Feed *feed;
    int port;
    GTlsCertificate *certificate;
} Fixture;

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    g_autoptr(GError) error = NULL;
    g_autoptr(GBytes) bytes = g_bytes_new_static(TEXT, strlen(TEXT));

    handshake_s_played = 0;
    f->folder = g_dir_make_tmp("feed-XXXXXX", NULL);
    feed_make_certificate(f->folder);
    g_autofree char *certificate = g_build_filename(f->folder, "cert.pem", NULL);
    g_autofree char *key = g_build_filename(f->folder, "key.pem", NULL);
    assert_true(g_file_get_contents(certificate, &f->setup.certificate, NULL, NULL));
    assert_true(g_file_get_contents(key, &f->setup.key, NULL, NULL));
    f->certificate = g_tls_certificate_new_from_file(certificate, NULL);
    assert_return_code(g_remove(certificate) + g_remove(key) + g_rmdir(f->folder), 0);
    f->clk = clock_virtual_new(NULL, 1775000000);
    g_strlcpy(f->setup.host, "127.0.0.1", sizeof f->setup.host);
    f->feed = feed_new(f->clk, &f->setup, NULL, NULL, &error);
    if (f->feed == NULL)
        fail_msg("%s", error->message);
    f->port = feed_port(f->feed);
    feed_put(f->feed, "one", TOKEN, bytes);
    *state = f;
    return 0;
}

/* Turns the loop for what ends in a thread of GLib's. */
static void settle(void)
{
    const gint64 end_us = g_get_monotonic_time() + G_USEC_PER_SEC / 5;

    while (g_get_monotonic_time() < end_us)
        (void)(g_main_context_iteration(NULL, FALSE) || (g_usleep(1000), FALSE));
}

static int tear_down(void **state)
{
    Fixture *f = *state;

    feed_free(f->feed);
    settle();
    g_object_unref(f->certificate);
    g_free(f->setup.certificate);
    g_free(f->setup.key);
    g_free(f->folder);
    clock_free(f->clk);
    g_free(f);
    return 0;
}

/* Whether it is the very one that was made; who signed it is nobody that is known. */
static gboolean is_ours(SoupMessage *message, GTlsCertificate *peer, GTlsCertificateFlags errors,
                        gpointer data)
{
    (void)message;
    (void)errors;
    return g_tls_certificate_is_same(peer, data);
}

static void on_read(GObject *session, GAsyncResult *result, gpointer data)
{
    GAsyncResult **ret = data;

    (void)session;
    *ret = g_object_ref(result);
}

static guint fetch(Fixture *f, const char *path, char **ret_body)
{
    g_autoptr(SoupSession) session = soup_session_new_with_options("timeout", 20, NULL);
    g_autofree char *url = g_strdup_printf("https://127.0.0.1:%d%s", f->port, path);
    g_autoptr(SoupMessage) message = soup_message_new("GET", url);
    g_autoptr(GAsyncResult) result = NULL;
    g_autoptr(GError) error = NULL;

    g_signal_connect(message, "accept-certificate", G_CALLBACK(is_ours), f->certificate);
    soup_session_send_and_read_async(session, message, G_PRIORITY_DEFAULT, NULL, on_read, &result);
    while (result == NULL)
        g_main_context_iteration(NULL, TRUE);
    g_autoptr(GBytes) bytes = soup_session_send_and_read_finish(session, result, &error);
    if (bytes == NULL)
        fail_msg("%s", error->message);
    const char *data = g_bytes_get_data(bytes, NULL); /* NULL where there is none */
    *ret_body = g_strndup(data != NULL ? data : "", g_bytes_get_size(bytes));
    return soup_message_get_status(message);
}

static void assert_serves(Fixture *f)
{
    g_autofree char *body = NULL;

    assert_int_equal(fetch(f, PATH, &body), 200);
    assert_string_equal(body, TEXT);
}

static void test_tls(void **state)
{
    Fixture *f = *state;
    g_autofree char *nothing = NULL;

    assert_serves(f);
    assert_int_equal(fetch(f, "/", &nothing), 404);
    assert_string_equal(nothing, "");
    /* In the clear nothing is told. */
    g_autofree char *clear = feed_exchange(f->port, "GET " PATH " HTTP/1.1\r\nHost: x\r\n\r\n");
    assert_null(strstr(clear, "VCALENDAR"));
    assert_int_equal(client_status(clear), 0);
}

/* Who says nothing holds no handshake; who begins one holds it for a while only. */
static void test_slow_handshakes(void **state)
{
    Fixture *f = *state;
    int silent[FEED_HANDSHAKES_MAX], begun[FEED_HANDSHAKES_MAX];

    handshake_s_played = 1;
    for (int i = 0; i < FEED_HANDSHAKES_MAX; i++)
        silent[i] = feed_open_from("127.0.0.2", f->port);
    settle();
    assert_serves(f);
    for (int i = 0; i < FEED_HANDSHAKES_MAX; i++) {
        begun[i] = feed_open_from("127.0.0.3", f->port);
        assert_int_equal(write(begun[i], HELLO_BEGUN, 4), 4);
    }
    settle();
    g_autofree char *refused = feed_exchange(f->port, HELLO_BEGUN);
    assert_string_equal(refused, ""); /* all are taken */
    for (int i = 0; i < FEED_HANDSHAKES_MAX; i++) {
        g_autofree char *end = feed_finish(begun[i], "");
        assert_int_equal(client_status(end), 0);
    }
    settle();
    assert_serves(f);
    for (int i = 0; i < FEED_HANDSHAKES_MAX; i++)
        close(silent[i]);
}

/* The feed ends while some are under way; tear_down() waits for what is left of them. */
static void test_end_in_between(void **state)
{
    Fixture *f = *state;
    int open[4];

    for (int i = 0; i < 4; i++) {
        open[i] = feed_open_from("127.0.0.2", f->port);
        if (i % 2 != 0)
            assert_int_equal(write(open[i], HELLO_BEGUN, 4), 4);
    }
    settle();
    feed_free(f->feed);
    f->feed = NULL;
    for (int i = 0; i < 4; i++) {
        g_autofree char *end = feed_finish(open[i], "");
        assert_int_equal(client_status(end), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_tls, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_slow_handshakes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_end_in_between, set_up, tear_down),
    };
    return cmocka_run_group_tests_name("feed-tls", tests, NULL, NULL);
}
