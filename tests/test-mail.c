/* SPDX-License-Identifier: MIT */
/*
 * Mail, given to a real server (aiosmtpd, smtp-server.py) and read by python's email package, which
 * is told to name every defect by RFC 5322 and the MIME documents. Nothing of what comes back is
 * known to our own code.
 */
#include "channel-send.h"
#include "raw-server.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <json-glib/json-glib.h>
#include <string.h>

#define SENT_UTC INT64_C(1776358800) /* 2026-04-16T17:00:00Z */

static struct {
    char *folder, *certificate;
    GSubprocess *server;
    GDataInputStream *lines;
    JsonNode *ports;
    Clock *clk;
} world;

/* The next line of the server. */
static JsonNode *hear(void)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *line = g_data_input_stream_read_line(world.lines, NULL, NULL, &error);
    if (line == NULL)
        fail_msg("the mail server is gone: %s", error != NULL ? error->message : "it ended");
    JsonNode *node = json_from_string(line, &error);
    if (node == NULL)
        fail_msg("%s: %s", line, error->message);
    return node;
}

static int begin(void **state)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *script =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "smtp-server.py", NULL);
    (void)state;
    world.folder = g_dir_make_tmp("mail-XXXXXX", NULL);
    world.certificate = g_build_filename(world.folder, "cert.pem", NULL);
    world.server =
        g_subprocess_new(G_SUBPROCESS_FLAGS_STDIN_PIPE | G_SUBPROCESS_FLAGS_STDOUT_PIPE, &error,
                         "/usr/bin/python3", "-W", "ignore", script, world.folder, NULL);
    if (world.server == NULL)
        fail_msg("%s", error->message);
    world.lines = g_data_input_stream_new(g_subprocess_get_stdout_pipe(world.server));
    world.ports = hear();
    world.clk = clock_system_new(NULL, &error);
    return world.clk == NULL;
}

static int end(void **state)
{
    g_autofree char *key = g_build_filename(world.folder, "server.pem", NULL);
    (void)state;
    g_output_stream_close(g_subprocess_get_stdin_pipe(world.server), NULL, NULL);
    g_subprocess_wait(world.server, NULL, NULL);
    g_object_unref(world.lines);
    g_object_unref(world.server);
    json_node_unref(world.ports);
    clock_free(world.clk);
    g_remove(world.certificate);
    g_remove(key);
    g_rmdir(world.folder);
    g_free(world.certificate);
    g_free(world.folder);
    return 0;
}

/* To the server with this habit. */
static ChannelSetup setup_for(const char *habit)
{
    ChannelSetup setup = channel_setup(CHANNEL_MAIL);
    const int port = (int)json_object_get_int_member(json_node_get_object(world.ports), habit);
    g_snprintf(setup.server, sizeof setup.server, "%s://127.0.0.1:%d",
               strcmp(habit, "smtps") == 0 ? "smtps" : "smtp", port);
    return setup;
}

static void with_login(ChannelSetup *setup)
{
    g_strlcpy(setup->user, "one", sizeof setup->user);
    g_strlcpy(setup->secret, TEST_SECRET, sizeof setup->secret);
    g_strlcpy(setup->ca_file, world.certificate, sizeof setup->ca_file);
}

static ChannelMessage *message_of(const char *summary, const char *body)
{
    g_autofree char *id = channel_message_id();
    ChannelMessage *message = channel_message_new(id, CHANNEL_TOPIC_CHANGE, summary, body);
    message->sent_utc = SENT_UTC;
    return message;
}

static void assert_delivered(const Sent *sent)
{
    if (sent->outcome != CHANNEL_DELIVERED)
        fail_msg("not delivered: %s", sent->reason);
}

static void assert_text(JsonObject *mail, const char *member, const char *wanted)
{
    if (g_strcmp0(json_object_get_string_member_with_default(mail, member, NULL), wanted) != 0)
        fail_msg("%s: \"%s\"\n  wanted: \"%s\"", member,
                 json_object_get_string_member_with_default(mail, member, NULL), wanted);
}

/* What RFC 5322 §2.1.1, §2.3 and §3.6 ask of every mail, and python's parser finds wrong. */
static void assert_sound(JsonObject *mail)
{
    JsonArray *defects = json_object_get_array_member(mail, "defects");
    if (json_array_get_length(defects) > 0)
        fail_msg("%s", json_array_get_string_element(defects, 0));
    assert_true(json_object_get_boolean_member(mail, "once"));
    assert_true(json_object_get_boolean_member(mail, "ascii"));
    assert_int_equal(json_object_get_int_member(mail, "bare"), 0);
    assert_in_range(json_object_get_int_member(mail, "longest"), 1, 78);
    assert_int_equal((gint64)json_object_get_double_member(mail, "date"), SENT_UTC);
    assert_text(mail, "auto", "auto-generated"); /* RFC 3834 §5 */
    assert_text(mail, "type", "text/plain");
    if (strcmp(json_object_get_string_member(mail, "charset"), "us-ascii") != 0)
        assert_text(mail, "charset", "utf-8");
}

static void test_whole(void **state)
{
    static const struct {
        const char *sentence, *summary, *body;
    } rows[] = {
        {"plain", "Close frame by 19:45", "At 18:00, plot.\nClose the cold frame: frost."},
        {"no ASCII in it", "Rosé frame: fleece on (−2 tonight)", "−2 °C at dawn; naïve, ✿ 種"},
        {"a long subject of words that must be encoded",
         "Fensterläden schließen, Vlies über die Töpfe, Gießkannen füllen, Türen öffnen — früh — "
         "Fensterläden schließen, Vlies über die Töpfe, Gießkannen füllen, Türen öffnen, früh",
         "."},
        {"a long line", "Long",
         "Take along: fleece, string, pegs, a lamp, gloves, the key to the gate, water for the "
         "trays, a thermometer, the note with the numbers, and somebody to hold the light.    "},
        {"lines that mean something to the protocol", "Dots",
         ".\n..\n.hidden\nFrom me\n\n.\r\nQUIT\n=3D = =\ttab "},
        {"a summary that would be another header", "Frost\r\nBcc: all@plot.example", "x"},
        {"nothing", "", ""},
    };
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        const ChannelSetup setup = setup_for("plain");
        g_autoptr(ChannelMessage) message = message_of(rows[i].summary, rows[i].body);
        g_auto(Sent) sent = {0};
        g_autofree char *body = g_strconcat(message->body, "\n", NULL);
        g_autofree char *id = g_strdup_printf("<%s@home.example>", message->id);
        channel_try(&setup, world.clk, message, &sent);
        assert_delivered(&sent);
        g_autoptr(JsonNode) node = hear();
        JsonObject *mail = json_node_get_object(node);
        assert_sound(mail);
        assert_text(mail, "subject", message->summary);
        assert_text(mail, "body", body);
        assert_text(mail, "id", id);
        assert_text(mail, "from", "thole@home.example");
        assert_text(mail, "header_from", "thole@home.example");
        assert_text(mail, "importance", NULL);
        assert_false(json_object_get_boolean_member(mail, "encrypted"));
    }
}

static void test_several_and_urgent(void **state)
{
    ChannelSetup setup = setup_for("plain");
    g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
    g_auto(Sent) sent = {0};
    (void)state;
    message->urgent = TRUE;
    g_strlcpy(setup.to, "one@plot.example two@plot.example", sizeof setup.to);
    channel_try(&setup, world.clk, message, &sent);
    assert_delivered(&sent);
    g_autoptr(JsonNode) node = hear();
    JsonObject *mail = json_node_get_object(node);
    assert_sound(mail);
    assert_text(mail, "header_to", "one@plot.example, two@plot.example");
    assert_text(mail, "importance", "high");
    JsonArray *to = json_object_get_array_member(mail, "to");
    assert_int_equal(json_array_get_length(to), 2);
    assert_string_equal(json_array_get_string_element(to, 1), "two@plot.example");
}

static void test_encrypted(void **state)
{
    static const char *const habits[] = {"starttls", "smtps"};
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(habits); i++) {
        ChannelSetup setup = setup_for(habits[i]);
        g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
        g_auto(Sent) sent = {0};
        with_login(&setup);
        channel_try(&setup, world.clk, message, &sent);
        assert_delivered(&sent);
        g_autoptr(JsonNode) node = hear();
        assert_sound(json_node_get_object(node));
        assert_true(json_object_get_boolean_member(json_node_get_object(node), "encrypted"));
        assert_text(json_node_get_object(node), "user", "one");

        /* Nobody vouches for it. */
        setup.ca_file[0] = '\0';
        channel_try(&setup, world.clk, message, &sent);
        assert_int_equal(sent.outcome, CHANNEL_FAILED);
        assert_false(sent.maybe);
        if (strstr(sent.reason, "127.0.0.1: ") == NULL ||
            strstr(sent.reason, "certificate") == NULL)
            fail_msg("%s", sent.reason);
    }
}

/* What goes wrong is told apart: try again, or not this message. */
static void test_faults(void **state)
{
    static const struct {
        const char *sentence, *habit, *to, *secret;
        int limit_s;
        ChannelOutcome outcome;
        gboolean maybe;
        const char *reason;
    } rows[] = {
        {"not now", "busy", "one@plot.example", NULL, 20, CHANNEL_FAILED, FALSE,
         "127.0.0.1: 451 4.3.0 come back later"},
        {"no such person", "plain", "nobody@plot.example", NULL, 20, CHANNEL_REFUSED, FALSE,
         "127.0.0.1: 550 5.1.1 nobody of that name"},
        {"one of two is no such person", "plain", "one@plot.example nobody@plot.example", NULL, 20,
         CHANNEL_REFUSED, FALSE, "127.0.0.1: 550 5.1.1 nobody of that name"},
        {"a wrong password", "smtps", "one@plot.example", "s3cret worse", 20, CHANNEL_FAILED, FALSE,
         "127.0.0.1 does not accept the login: 535 5.7.8 Authentication credentials invalid"},
        {"no login where one is asked for", "smtps", "one@plot.example", NULL, 20, CHANNEL_REFUSED,
         FALSE, "127.0.0.1: 530 5.7.0 Authentication required"},
        {"taken, perhaps: no word after the last line", "silent", "one@plot.example", NULL, 1,
         CHANNEL_FAILED, TRUE, "127.0.0.1 does not answer in time"},
    };
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        ChannelSetup setup = setup_for(rows[i].habit);
        g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
        g_auto(Sent) sent = {0};
        with_login(&setup);
        if (rows[i].secret == NULL)
            setup.user[0] = '\0';
        else
            g_strlcpy(setup.secret, rows[i].secret, sizeof setup.secret);
        g_strlcpy(setup.to, rows[i].to, sizeof setup.to);
        setup.limit_s = rows[i].limit_s;
        channel_try(&setup, world.clk, message, &sent);
        /* On a slow machine the time was up before the whole mail was out. */
        for (; rows[i].maybe && !sent.maybe && setup.limit_s < 60; setup.limit_s *= 2)
            channel_try(&setup, world.clk, message, &sent);
        if (sent.outcome != rows[i].outcome || sent.maybe != rows[i].maybe ||
            g_strcmp0(sent.reason, rows[i].reason) != 0)
            fail_msg("%s: %d %d %s", rows[i].sentence, sent.outcome, sent.maybe, sent.reason);
        assert_true(sent.reason == NULL || strstr(sent.reason, "worse") == NULL);
    }
}

/* A webhook's server too is believed by its certificate alone. */
static void test_webhook_encrypted(void **state)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *pem = g_build_filename(world.folder, "server.pem", NULL);
    g_autoptr(GTlsCertificate) certificate = g_tls_certificate_new_from_file(pem, &error);
    g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
    ChannelSetup setup = channel_setup(CHANNEL_WEBHOOK);
    g_auto(Sent) sent = {0};
    (void)state;
    if (certificate == NULL)
        fail_msg("%s", error->message);
    RawServer *server = raw_server_new(certificate);
    server->bytes = "HTTP/1.1 204 No Content\r\n\r\n";
    g_strlcpy(setup.url, server->url, sizeof setup.url);
    channel_try(&setup, world.clk, message, &sent);
    assert_int_equal(sent.outcome, CHANNEL_FAILED);
    assert_int_equal(server->asked, 0);
    g_strlcpy(setup.ca_file, world.certificate, sizeof setup.ca_file);
    channel_try(&setup, world.clk, message, &sent);
    assert_delivered(&sent);
    assert_int_equal(server->asked, 1);
    assert_true(g_str_has_prefix(server->request, "POST /v1/forecast HTTP/1.1\r\n"));
    raw_server_free(server);
}

/* To a machine that is not known to be this one nothing goes in the clear: the same server, by an
 * address that could be anybody's as far as url_is_safe() knows. */
static void test_insists_on_encryption(void **state)
{
    ChannelSetup setup = setup_for("plain");
    g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
    g_auto(Sent) sent = {0};
    const char *port = strrchr(setup.server, ':');
    g_autoptr(GSocket) six =
        g_socket_new(G_SOCKET_FAMILY_IPV6, G_SOCKET_TYPE_STREAM, G_SOCKET_PROTOCOL_TCP, NULL);
    g_autofree char *server = g_strdup_printf("smtp://[::ffff:127.0.0.1]%s", port);
    (void)state;
    g_strlcpy(setup.server, server, sizeof setup.server);
    channel_try(&setup, world.clk, message, &sent);
    assert_int_equal(sent.outcome, CHANNEL_FAILED);
    if (six != NULL) /* this machine speaks IPv6 */
        assert_string_equal(sent.reason, "::ffff:127.0.0.1 offers no encryption");
}

static void test_nobody_there(void **state)
{
    ChannelSetup setup = setup_for("plain");
    g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
    g_auto(Sent) sent = {0};
    (void)state;
    g_strlcpy(setup.server, "smtp://127.0.0.1:1", sizeof setup.server);
    channel_try(&setup, world.clk, message, &sent);
    assert_int_equal(sent.outcome, CHANNEL_FAILED);
    assert_false(sent.maybe);
    assert_true(g_str_has_prefix(sent.reason, "127.0.0.1: "));
}

/* The mail on its way when the program ends: nothing is told, and nothing waits for it. */
static void test_freed(void **state)
{
    ChannelSetup setup = setup_for("silent");
    g_autoptr(ChannelMessage) message = message_of("Frost", "Bring them in today.");
    g_auto(Sent) sent = {0};
    (void)state;
    Channel *channel = channel_new(&setup, world.clk, NULL, NULL);
    channel_send(channel, message, channel_sent, &sent);
    channel_free(channel);
    /* The thread's last word comes, and finds nobody. */
    setup = setup_for("plain");
    g_auto(Sent) other = {0};
    channel_try(&setup, world.clk, message, &other);
    g_autoptr(JsonNode) node = hear();
    assert_delivered(&other);
    assert_false(sent.told);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_whole),
        cmocka_unit_test(test_several_and_urgent),
        cmocka_unit_test(test_encrypted),
        cmocka_unit_test(test_faults),
        cmocka_unit_test(test_nobody_there),
        cmocka_unit_test(test_freed),
        cmocka_unit_test(test_webhook_encrypted),
        cmocka_unit_test(test_insists_on_encryption),
    };
    return cmocka_run_group_tests_name("mail", tests, begin, end);
}
