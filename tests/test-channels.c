/* SPDX-License-Identifier: MIT */
/* Webhooks against a server in this process, commands and sendmail as real programs. Mail to a
 * server: test-mail.c. */
#include "channel-send.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <json-glib/json-glib.h>
#include <libsoup/soup.h>
#include <signal.h>
#include <string.h>

#define ID "0b6a57c0-2f5e-4a7e-9f29-0d6a4f4c8a11"
#define T0 INT64_C(1776358800) /* 2026-04-16T17:00:00Z */

typedef struct Fixture {
    char *folder;
    Clock *clk;
    ChannelMessage *message;
    Sent sent;
    /* the server of webhooks, and what it was told */
    SoupServer *server;
    char *url;
    guint answer;
    const char *retry_after;
    gboolean silent;
    int asked;
    GBytes *body;
    GHashTable *headers; /* (element-type utf8 utf8) */
} Fixture;

static void on_post(SoupServer *server, SoupServerMessage *message, const char *path,
                    GHashTable *query, gpointer data)
{
    Fixture *f = data;
    SoupMessageHeadersIter iter;
    const char *name, *value;
    (void)server, (void)query;
    f->asked++;
    assert_string_equal(path, "/hook/a1b2");
    assert_string_equal(soup_server_message_get_method(message), "POST");
    g_clear_pointer(&f->body, g_bytes_unref);
    f->body = soup_message_body_flatten(soup_server_message_get_request_body(message));
    g_hash_table_remove_all(f->headers);
    soup_message_headers_iter_init(&iter, soup_server_message_get_request_headers(message));
    while (soup_message_headers_iter_next(&iter, &name, &value))
        g_hash_table_insert(f->headers, g_ascii_strdown(name, -1), g_strdup(value));
    if (f->silent) {
        soup_server_message_pause(message);
        return;
    }
    if (f->retry_after != NULL)
        soup_message_headers_replace(soup_server_message_get_response_headers(message),
                                     "Retry-After", f->retry_after);
    if (f->answer == 302)
        soup_server_message_set_redirect(message, 302, "http://127.0.0.1:1/elsewhere");
    else
        soup_server_message_set_status(message, f->answer, NULL);
}

static int setup(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    g_autoptr(GError) error = NULL;
    f->folder = g_dir_make_tmp("channels-XXXXXX", NULL);
    f->clk = clock_system_new(NULL, &error);
    f->message = channel_message_new(ID, CHANNEL_TOPIC_WARNING, "Frost: fleece on by 19:45 (−2)",
                                     "At 18:00, plot.\n\"Close\" the frame.");
    f->message->sent_utc = T0;
    f->message->seen_by_utc = T0 + 3600;
    f->message->urgent = TRUE;
    f->message->grower = g_strdup("one");
    f->headers = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    f->answer = 204;
    f->server = soup_server_new(NULL, NULL);
    soup_server_add_handler(f->server, NULL, on_post, f, NULL);
    assert_true(soup_server_listen_local(f->server, 0, SOUP_SERVER_LISTEN_IPV4_ONLY, NULL));
    GSList *uris = soup_server_get_uris(f->server);
    f->url = g_strdup_printf("http://127.0.0.1:%d/hook/a1b2", g_uri_get_port(uris->data));
    g_slist_free_full(uris, (GDestroyNotify)g_uri_unref);
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    Fixture *f = *state;
    g_autoptr(GDir) dir = g_dir_open(f->folder, 0, NULL);
    for (const char *name; (name = g_dir_read_name(dir)) != NULL;) {
        g_autofree char *path = g_build_filename(f->folder, name, NULL);
        g_remove(path);
    }
    g_rmdir(f->folder);
    soup_server_disconnect(f->server);
    g_object_unref(f->server);
    clock_free(f->clk);
    channel_message_free(f->message);
    sent_clear(&f->sent);
    g_clear_pointer(&f->body, g_bytes_unref);
    g_hash_table_unref(f->headers);
    g_free(f->url);
    g_free(f->folder);
    g_free(f);
    return 0;
}

/* ---- webhook ---- */

static ChannelSetup webhook(const Fixture *f)
{
    ChannelSetup hook = channel_setup(CHANNEL_WEBHOOK);
    g_strlcpy(hook.url, f->url, sizeof hook.url);
    g_strlcpy(hook.secret, TEST_SECRET, sizeof hook.secret);
    return hook;
}

static const char *header(const Fixture *f, const char *name)
{
    return g_hash_table_lookup(f->headers, name);
}

/* What a receiver in another language makes of it: its status, and what it printed. */
static gboolean receiver(const char *time, const char *signature, int64_t now_utc, GBytes *body,
                         char **ret_said)
{
    g_autofree char *script =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "webhook-check.py", NULL);
    g_autofree char *now = g_strdup_printf("%" G_GINT64_FORMAT, now_utc);
    g_autoptr(GError) error = NULL;
    g_autoptr(GBytes) out = NULL;
    g_autoptr(GSubprocess) python = g_subprocess_new(
        G_SUBPROCESS_FLAGS_STDIN_PIPE | G_SUBPROCESS_FLAGS_STDOUT_PIPE |
            G_SUBPROCESS_FLAGS_STDERR_MERGE,
        &error, "/usr/bin/python3", script, TEST_SECRET, time, signature, now, NULL);
    if (python == NULL || !g_subprocess_communicate(python, body, NULL, &out, NULL, &error))
        fail_msg("%s", error->message);
    *ret_said = g_strndup(g_bytes_get_data(out, NULL), g_bytes_get_size(out));
    g_strchomp(*ret_said);
    return g_subprocess_get_successful(python);
}

static void test_webhook(void **state)
{
    Fixture *f = *state;
    const ChannelSetup hook = webhook(f);
    g_autoptr(GError) error = NULL;
    const int64_t before_utc = clock_now(f->clk);
    channel_try(&hook, f->clk, f->message, &f->sent);
    if (f->sent.outcome != CHANNEL_DELIVERED)
        fail_msg("%s", f->sent.reason);
    assert_int_equal(f->asked, 1);
    assert_string_equal(header(f, "content-type"), "application/json");
    assert_string_equal(header(f, "thole-id"), ID);
    assert_true(g_str_has_prefix(header(f, "user-agent"), "thole/"));
    const char *time = header(f, "thole-time");
    assert_in_range(g_ascii_strtoll(time, NULL, 10), before_utc, clock_now(f->clk));

    gsize length;
    const char *text = g_bytes_get_data(f->body, &length);
    g_autofree char *body = g_strndup(text, length);
    g_autoptr(JsonNode) root = json_from_string(body, &error);
    JsonObject *json = json_node_get_object(root);
    assert_int_equal(json_object_get_int_member(json, "version"), 1);
    assert_string_equal(json_object_get_string_member(json, "id"), ID);
    assert_string_equal(json_object_get_string_member(json, "topic"), "warning");
    assert_true(json_object_get_boolean_member(json, "urgent"));
    assert_string_equal(json_object_get_string_member(json, "grower"), "one");
    assert_string_equal(json_object_get_string_member(json, "body"), f->message->body);
    assert_string_equal(json_object_get_string_member(json, "seen_by"), "2026-04-16T18:00:00Z");
    assert_string_equal(json_object_get_string_member(json, "sent"), "2026-04-16T17:00:00Z");
    assert_true(json_object_get_null_member(json, "done_url"));
    assert_null(strstr(body, TEST_SECRET));

    /* Python's hmac takes it, and takes none that was changed, nor a replay. */
    const char *signature = header(f, "thole-signature");
    g_autofree char *said = NULL, *changed = NULL, *later = NULL, *redated = NULL;
    const int64_t sent_utc = g_ascii_strtoll(time, NULL, 10);
    if (!receiver(time, signature, sent_utc + 5, f->body, &said))
        fail_msg("%s", said);
    assert_string_equal(said, f->message->summary);
    GString *other = g_string_new(body);
    g_string_replace(other, "19:45", "20:45", 1);
    g_autoptr(GBytes) forged = g_string_free_to_bytes(other);
    assert_false(receiver(time, signature, sent_utc + 5, forged, &changed));
    assert_string_equal(changed, "the signature is not that of the body");
    assert_false(receiver(time, signature, sent_utc + 3600, f->body, &later));
    g_autofree char *new_time = g_strdup_printf("%" G_GINT64_FORMAT, sent_utc + 3600);
    assert_false(receiver(new_time, signature, sent_utc + 3600, f->body, &redated));
    assert_string_equal(redated, "the signature is not that of the body");
}

static void test_topics(void **state)
{
    const Fixture *f = *state;
    static const char *const topics[] = {"change", "warning", "question", "digest", "test"};
    f->message->done_url = g_strdup("https://plot.example/done/x");
    for (int i = 0; i < (int)G_N_ELEMENTS(topics); i++) {
        f->message->topic = (ChannelTopic)i;
        g_autoptr(GBytes) body = channel_message_json(f->message);
        g_autofree char *text = g_strndup(g_bytes_get_data(body, NULL), g_bytes_get_size(body));
        g_autoptr(JsonNode) root = json_from_string(text, NULL);
        JsonObject *json = json_node_get_object(root);
        assert_string_equal(json_object_get_string_member(json, "topic"), topics[i]);
        assert_string_equal(json_object_get_string_member(json, "done_url"),
                            "https://plot.example/done/x");
    }
}

static void test_webhook_without_secret(void **state)
{
    Fixture *f = *state;
    ChannelSetup hook = webhook(f);
    hook.secret[0] = '\0';
    channel_try(&hook, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_DELIVERED);
    assert_null(header(f, "thole-signature"));
    assert_non_null(header(f, "thole-id"));
}

static void test_webhook_answers(void **state)
{
    Fixture *f = *state;
    static const struct {
        guint answer;
        const char *retry_after;
        ChannelOutcome outcome;
        int retry_s;
    } rows[] = {
        {200, NULL, CHANNEL_DELIVERED, 0}, {202, NULL, CHANNEL_DELIVERED, 0},
        {302, NULL, CHANNEL_REFUSED, 0},   {400, NULL, CHANNEL_REFUSED, 0},
        {404, NULL, CHANNEL_REFUSED, 0},   {410, NULL, CHANNEL_REFUSED, 0},
        {408, NULL, CHANNEL_FAILED, 0},    {425, NULL, CHANNEL_FAILED, 0},
        {429, "120", CHANNEL_FAILED, 120}, {500, NULL, CHANNEL_FAILED, 0},
        {503, "7", CHANNEL_FAILED, 7},     {503, "soon", CHANNEL_FAILED, 0},
    };
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        const ChannelSetup hook = webhook(f);
        f->answer = rows[i].answer;
        f->retry_after = rows[i].retry_after;
        const int64_t before_utc = clock_now(f->clk);
        channel_try(&hook, f->clk, f->message, &f->sent);
        if (f->sent.outcome != rows[i].outcome)
            fail_msg("%u: %d, %s", rows[i].answer, f->sent.outcome, f->sent.reason);
        assert_int_equal(f->asked, (int)i + 1); /* a redirect is not followed */
        if (rows[i].retry_s > 0)
            assert_in_range(f->sent.retry_utc, before_utc + rows[i].retry_s,
                            clock_now(f->clk) + rows[i].retry_s);
        else
            assert_int_equal(f->sent.retry_utc, 0);
        if (f->sent.reason != NULL) /* the host; the rest of the address may be a secret */
            assert_null(strstr(f->sent.reason, "hook"));
    }
}

static void test_webhook_faults(void **state)
{
    Fixture *f = *state;
    ChannelSetup hook = webhook(f);
    f->silent = TRUE;
    hook.limit_s = 1;
    channel_try(&hook, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
    assert_false(f->sent.maybe); /* it has an id: sent twice, it is known */
    assert_true(g_str_has_prefix(f->sent.reason, "127.0.0.1"));
    g_strlcpy(hook.url, "http://127.0.0.1:1/hook/a1b2", sizeof hook.url);
    channel_try(&hook, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
    assert_true(g_str_has_prefix(f->sent.reason, "127.0.0.1: "));
    assert_null(strstr(f->sent.reason, "hook"));
    g_strlcpy(hook.ca_file, "/no/such/file.pem", sizeof hook.ca_file);
    channel_try(&hook, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
    assert_non_null(strstr(f->sent.reason, "file.pem"));
}

/* Freed while a message is on its way. */
static void test_webhook_freed(void **state)
{
    Fixture *f = *state;
    const ChannelSetup hook = webhook(f);
    f->silent = TRUE;
    Channel *channel = channel_new(&hook, f->clk, NULL, NULL);
    channel_send(channel, f->message, channel_sent, &f->sent);
    while (f->asked == 0)
        g_main_context_iteration(NULL, TRUE);
    channel_free(channel);
    f->silent = FALSE;
    Sent other = {0};
    channel_try(&hook, f->clk, f->message, &other);
    assert_int_equal(other.outcome, CHANNEL_DELIVERED);
    assert_false(f->sent.told);
    sent_clear(&other);
}

/* ---- programs ---- */

/* A script in the folder, and the path of what it writes. */
static char *script(const Fixture *f, const char *lines)
{
    g_autofree char *text = g_strdup_printf("#!/bin/sh\nout=%s/out\n%s", f->folder, lines);
    char *path = g_build_filename(f->folder, "program", NULL);
    assert_true(g_file_set_contents(path, text, -1, NULL));
    assert_int_equal(g_chmod(path, 0755), 0);
    return path;
}

/* NULL: nothing yet. */
static char *written_yet(const Fixture *f)
{
    g_autofree char *path = g_build_filename(f->folder, "out", NULL);
    char *text = NULL;
    (void)g_file_get_contents(path, &text, NULL, NULL);
    return text;
}

static char *written(const Fixture *f)
{
    char *text = written_yet(f);
    assert_non_null(text);
    return text;
}

static ChannelSetup command(const char *path, const char *arguments)
{
    ChannelSetup program = channel_setup(CHANNEL_COMMAND);
    g_snprintf(program.command, sizeof program.command, "%s%s", path, arguments);
    return program;
}

/* Arguments as they are, though a shell would do something with them; the message on stdin. */
static void test_command(void **state)
{
    Fixture *f = *state;
    g_autofree char *path =
        script(f, "printf '[%s]' \"$@\" >$out; printf ' %s %s\\n' $THOLE_URGENT "
                  "$THOLE_MESSAGE_ID >>$out; cat >>$out\n"
                  "[ -z \"$NOTIFY_SOCKET\" ] || echo told >>$out\n");
    const ChannelSetup program = command(path, " 'two words' $(id) `id` a;b ~ *");
    g_setenv("NOTIFY_SOCKET", "/somewhere", TRUE);
    channel_try(&program, f->clk, f->message, &f->sent);
    g_unsetenv("NOTIFY_SOCKET");
    if (f->sent.outcome != CHANNEL_DELIVERED)
        fail_msg("%s", f->sent.reason);
    g_autofree char *text = written(f);
    assert_string_equal(text, "[two words][$(id)][`id`][a;b][~][*] yes " ID "\n"
                              "Frost: fleece on by 19:45 (−2)\n\n"
                              "At 18:00, plot.\n\"Close\" the frame.\n");
}

static void test_command_ends(void **state)
{
    Fixture *f = *state;
    static const struct {
        const char *lines;
        ChannelOutcome outcome;
        gboolean maybe;
        const char *reason;
    } rows[] = {
        {"exit 0", CHANNEL_DELIVERED, FALSE, NULL}, /* without reading a word */
        {"exit 3", CHANNEL_FAILED, FALSE, "program ended with status 3"},
        {"kill -9 $$", CHANNEL_FAILED, FALSE, "program was ended by signal 9"},
    };
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *path = script(f, rows[i].lines);
        const ChannelSetup program = command(path, "");
        channel_try(&program, f->clk, f->message, &f->sent);
        assert_int_equal(f->sent.outcome, rows[i].outcome);
        assert_int_equal(f->sent.maybe, rows[i].maybe);
        if (g_strcmp0(f->sent.reason, rows[i].reason) != 0)
            fail_msg("%s", f->sent.reason);
    }
    const ChannelSetup none = command("/no/such/program", "");
    channel_try(&none, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
    assert_true(g_str_has_prefix(f->sent.reason, "program cannot be started: "));
    const ChannelSetup broken = command("/bin/true 'open", "");
    channel_try(&broken, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
}

/* Whether a process is there that is not just waiting to be forgotten. */
static gboolean lives(const char *pid)
{
    g_autofree char *path = g_strdup_printf("/proc/%s/stat", pid);
    g_autofree char *text = NULL;
    return g_file_get_contents(path, &text, NULL, NULL) && strstr(text, ") Z ") == NULL;
}

/* It is killed with all that it began. */
static void test_command_is_killed(void **state)
{
    Fixture *f = *state;
    g_autofree char *path = script(f, "sleep 600 & echo $! >$out; wait\n");
    ChannelSetup program = command(path, "");
    g_autofree char *pid = NULL;
    /* On a slow machine the time may be up before it has written a word. */
    for (program.limit_s = 1; pid == NULL || strchr(pid, '\n') == NULL; program.limit_s *= 2) {
        assert_true(program.limit_s <= 64);
        channel_try(&program, f->clk, f->message, &f->sent);
        assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
        assert_true(f->sent.maybe);
        assert_true(g_str_has_prefix(f->sent.reason, "no answer within "));
        g_free(pid);
        pid = written_yet(f);
    }
    g_strchomp(pid);
    while (lives(pid))
        g_main_context_iteration(NULL, FALSE);
}

/* Local mail: a program that is given the whole mail and the addresses. */
static void test_sendmail(void **state)
{
    Fixture *f = *state;
    static const struct {
        int status;
        ChannelOutcome outcome;
    } rows[] = {
        {0, CHANNEL_DELIVERED},
        {67, CHANNEL_REFUSED}, /* EX_NOUSER, sysexits(3) */
        {75, CHANNEL_FAILED},  /* EX_TEMPFAIL */
        {70, CHANNEL_FAILED},  /* EX_SOFTWARE */
    };
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *lines = g_strdup_printf(
            "printf '[%%s]' \"$@\" >$out; echo >>$out; cat >>$out; exit %d\n", rows[i].status);
        g_autofree char *path = script(f, lines);
        ChannelSetup mail = channel_setup(CHANNEL_MAIL);
        g_strlcpy(mail.sendmail, path, sizeof mail.sendmail);
        g_strlcpy(mail.to, "one@plot.example two@plot.example", sizeof mail.to);
        channel_try(&mail, f->clk, f->message, &f->sent);
        if (f->sent.outcome != rows[i].outcome)
            fail_msg("%d: %d, %s", rows[i].status, f->sent.outcome, f->sent.reason);
    }
    g_autofree char *text = written(f);
    assert_true(g_str_has_prefix(
        text, "[-i][-f][thole@home.example][--][one@plot.example][two@plot.example]\n"));
    assert_non_null(strstr(text, "\nMessage-Id: <" ID "@home.example>\n"));
    assert_non_null(strstr(text, "=?UTF-8?"));
    assert_non_null(strstr(text, "\n\nAt 18:00, plot.\n\"Close\" the frame.\n"));
    assert_null(strchr(text, '\r'));
}

/* ---- the desktop, which belongs to somebody else ---- */

static void show(const ChannelSetup *setup, const ChannelMessage *message, ChannelDone done,
                 gpointer done_data, gpointer data)
{
    int *shown = data;
    const ChannelResult result = {.outcome = CHANNEL_DELIVERED};
    assert_string_equal(message->id, ID);
    assert_string_equal(setup->name, "pocket");
    ++*shown;
    done(&result, done_data);
}

static void test_desktop(void **state)
{
    Fixture *f = *state;
    const ChannelSetup desktop = channel_setup(CHANNEL_DESKTOP);
    int shown = 0;
    channel_try(&desktop, f->clk, f->message, &f->sent);
    assert_int_equal(f->sent.outcome, CHANNEL_FAILED);
    assert_string_equal(f->sent.reason, "this tholed has no desktop");
    sent_clear(&f->sent);
    g_autoptr(Channel) channel = channel_new(&desktop, f->clk, show, &shown);
    channel_send(channel, f->message, channel_sent, &f->sent);
    while (!f->sent.told)
        g_main_context_iteration(NULL, TRUE);
    assert_int_equal(f->sent.outcome, CHANNEL_DELIVERED);
    assert_int_equal(shown, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_webhook, setup, teardown),
        cmocka_unit_test_setup_teardown(test_topics, setup, teardown),
        cmocka_unit_test_setup_teardown(test_webhook_without_secret, setup, teardown),
        cmocka_unit_test_setup_teardown(test_webhook_answers, setup, teardown),
        cmocka_unit_test_setup_teardown(test_webhook_faults, setup, teardown),
        cmocka_unit_test_setup_teardown(test_webhook_freed, setup, teardown),
        cmocka_unit_test_setup_teardown(test_command, setup, teardown),
        cmocka_unit_test_setup_teardown(test_command_ends, setup, teardown),
        cmocka_unit_test_setup_teardown(test_command_is_killed, setup, teardown),
        cmocka_unit_test_setup_teardown(test_sendmail, setup, teardown),
        cmocka_unit_test_setup_teardown(test_desktop, setup, teardown),
    };
    return cmocka_run_group_tests_name("channels", tests, NULL, NULL);
}
