/* SPDX-License-Identifier: MIT */
/*
 * The feed server over loopback: what it serves, to whom, and what it puts up with. Status codes
 * and conditions are those of RFC 9110, 429 and 431 of RFC 6585.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <gio/gio.h>
#include <string.h>
#include <unistd.h>

#include "control-client.h"
#include "feed-client.h"
#include "feed/feed.h"
#include "feed/visitors.h"

#define START_UTC 1775000000
#define TOKEN "0123456789abcdef0123456789abcdef"
#define OTHER "fedcba9876543210fedcba9876543210"
#define PATH "/calendar/" TOKEN ".ics"
#define TEXT "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"

/* A connection's time is played by wrapping the function; 0: as it is. */
static guint lasts_s_played;
void __real_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout)
{
    __real_g_socket_set_timeout(
        socket, timeout == FEED_LASTS_S && lasts_s_played != 0 ? lasts_s_played : timeout);
}

typedef struct Fixture {
    Clock *clk;
    FeedSetup setup;
    Feed *feed;
    int port;
    int posts; /* pages that were posted to */
} Fixture;

static FeedPage *page(const char *token, gboolean post, gpointer data)
{
    Fixture *f = data;

    if (strcmp(token, TOKEN) != 0)
        return NULL;
    FeedPage *made = g_new0(FeedPage, 1);
    f->posts += post;
    made->title = g_strdup("Thu 18:30, <plot> & more");
    made->lead = g_strdup("\"All\" done?");
    made->lines = g_strsplit("Close the frame.|<b>Water</b>", "|", -1);
    made->button = post ? NULL : g_strdup("Yes");
    return made;
}

static void open_feed(Fixture *f)
{
    g_autoptr(GError) error = NULL;

    f->feed = feed_new(f->clk, &f->setup, page, f, &error);
    if (f->feed == NULL)
        fail_msg("%s", error->message);
    f->port = feed_port(f->feed);
}

static void put(Fixture *f, const char *name, const char *token, const char *text)
{
    g_autoptr(GBytes) bytes = text != NULL ? g_bytes_new(text, strlen(text)) : NULL;

    feed_put(f->feed, name, token, bytes);
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);

    lasts_s_played = 0;
    f->clk = clock_virtual_new(NULL, START_UTC);
    g_strlcpy(f->setup.host, "127.0.0.1", sizeof f->setup.host);
    open_feed(f);
    put(f, "one", TOKEN, TEXT);
    *state = f;
    return 0;
}

static int tear_down(void **state)
{
    Fixture *f = *state;

    feed_free(f->feed);
    while (g_main_context_iteration(NULL, FALSE))
        ;
    g_free(f->setup.certificate);
    g_free(f->setup.key);
    clock_free(f->clk);
    g_free(f);
    return 0;
}

/* A reply of this status; its head and body are looked at by the caller, who frees. */
static char *asked(Fixture *f, int status, const char *method, const char *target,
                   const char *headers)
{
    char *reply = feed_ask(f->port, method, target, headers);

    if (client_status(reply) != status)
        fail_msg("%s %s %s: %s", method, target, headers, reply);
    return reply;
}

/* Nothing but the status, and what HTTP must have. */
static void assert_says_nothing(const char *reply)
{
    g_auto(GStrv) lines = g_strsplit(reply, "\r\n", -1);

    assert_string_equal(feed_body(reply), "");
    for (char **line = lines + 1; **line != '\0'; line++) {
        if (!g_str_has_prefix(*line, "Date: ") && !g_str_has_prefix(*line, "Connection: close") &&
            !g_str_has_prefix(*line, "Content-Length: 0"))
            fail_msg("a stranger is told: %s", *line);
    }
}

static void test_strangers(void **state)
{
    static const char *const targets[] = {
        "/",
        "/calendar/",
        "/calendar/.ics",
        "/calendar",
        "/calendar/0123456789abcdef0123456789abcdee.ics", /* one digit off, at the end */
        "/calendar/1123456789abcdef0123456789abcdef.ics", /* and at the start */
        "/calendar/0123456789ABCDEF0123456789ABCDEF.ics",
        "/calendar/0123456789abcdef.ics",
        "/calendar/0123456789abcdef0123456789abcdef0.ics",
        "/calendar/0123456789abcdef0123456789abcdef",
        "/calendar/%300123456789abcdef0123456789abcdef.ics",
        "//calendar/0123456789abcdef0123456789abcdef.ics",
        "/done/",
        "/done/fedcba9876543210fedcba9876543210",
        "/done/0123456789abcdef0123456789abcdef0",
        "/favicon.ico",
        "/robots.txt",
        "/v1/",
    };
    static const char *const methods[] = {"GET", "HEAD", "POST", "PUT", "OPTIONS", "BREW"};

    for (gsize i = 0; i < G_N_ELEMENTS(targets); i++) {
        g_autofree char *reply = asked(*state, 404, "GET", targets[i], "");
        assert_says_nothing(reply);
    }
    for (gsize i = 0; i < G_N_ELEMENTS(methods); i++) {
        g_autofree char *reply =
            asked(*state, 404, methods[i], "/calendar/" OTHER ".ics", "Content-Length: 0\r\n");
        assert_says_nothing(reply);
    }
}

static char *etag_of(const char *reply)
{
    char *tag = feed_header(reply, "ETag");

    assert_non_null(tag);
    assert_true(tag[0] == '"' && g_str_has_suffix(tag, "\"")); /* strong: RFC 9110 §8.8.1 */
    return tag;
}

static void test_get(void **state)
{
    static const struct {
        const char *name, *value;
    } heads[] = {
        {"Content-Type", "text/calendar; charset=utf-8"},
        {"Cache-Control", "private, no-cache"},
        {"Vary", "Accept-Encoding"},
        {"Last-Modified", "Tue, 31 Mar 2026 23:33:20 GMT"},
        {"Referrer-Policy", "no-referrer"},
        {"X-Content-Type-Options", "nosniff"},
        {"Content-Length", "32"},
        {"Connection", "close"},
    };
    g_autofree char *reply = asked(*state, 200, "GET", PATH, "");
    g_autofree char *head = asked(*state, 200, "HEAD", PATH, "");
    g_autofree char *part = asked(*state, 200, "GET", PATH, "Range: bytes=0-3\r\n");
    g_autofree char *old =
        feed_exchange(((Fixture *)*state)->port, "GET " PATH " HTTP/1.0\r\n\r\n");

    assert_string_equal(feed_body(reply), TEXT);
    assert_string_equal(feed_body(head), "");
    assert_string_equal(feed_body(part), TEXT);
    assert_string_equal(feed_body(old), TEXT);
    for (gsize i = 0; i < G_N_ELEMENTS(heads); i++) {
        g_autofree char *got = feed_header(reply, heads[i].name);
        g_autofree char *same = feed_header(head, heads[i].name);
        assert_string_equal(got, heads[i].value);
        assert_string_equal(same, heads[i].value);
    }
    g_autofree char *server = feed_header(reply, "Server");
    assert_null(server);
    g_autofree char *tag = etag_of(reply);
    g_autofree char *head_tag = etag_of(head);
    assert_string_equal(tag, head_tag);
}

static void test_not_modified(void **state)
{
    Fixture *f = *state;
    g_autofree char *first = asked(f, 200, "GET", PATH, "");
    g_autofree char *tag = etag_of(first);
    const struct {
        const char *format; /* of the tag */
        int status;
    } rows[] = {
        {"If-None-Match: %s\r\n", 304},
        {"If-None-Match: \"x\", %s\r\n", 304},
        {"If-None-Match: \"x\"\r\nIf-None-Match: %s\r\n", 304},
        {"If-None-Match: W/%s\r\n", 304}, /* weak comparison: §13.1.2 */
        {"If-None-Match: *\r\n", 304},
        {"If-None-Match: \"x\"\r\n", 200},
        {"If-Modified-Since: Tue, 31 Mar 2026 23:33:20 GMT\r\n", 304},
        {"If-Modified-Since: Tue, 31 Mar 2026 23:33:19 GMT\r\n", 200},
        {"If-Modified-Since: soon\r\n", 200},
        /* The tag is what counts: §13.1.3. */
        {"If-None-Match: \"x\"\r\nIf-Modified-Since: Tue, 31 Mar 2026 23:33:20 GMT\r\n", 200},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_auto(GStrv) parts = g_strsplit(rows[i].format, "%s", 2);
        g_autofree char *headers = g_strjoinv(tag, parts);
        g_autofree char *reply = asked(f, rows[i].status, "GET", PATH, headers);
        assert_string_equal(feed_body(reply), rows[i].status == 200 ? TEXT : "");
        g_autofree char *same = etag_of(reply);
        assert_string_equal(same, tag);
    }
    /* The same bytes put again are the same; others are others, also within one second. */
    g_autofree char *headers = g_strconcat("If-None-Match: ", tag, "\r\n", NULL);
    put(f, "one", TOKEN, TEXT);
    g_autofree char *same = asked(f, 304, "GET", PATH, headers);
    put(f, "one", TOKEN, "BEGIN:VCALENDAR\r\n");
    g_autofree char *changed = asked(f, 200, "GET", PATH, headers);
    g_autofree char *later =
        asked(f, 200, "GET", PATH, "If-Modified-Since: Tue, 31 Mar 2026 23:33:20 GMT\r\n");
    g_autofree char *modified = feed_header(later, "Last-Modified");
    assert_string_equal(modified, "Tue, 31 Mar 2026 23:33:21 GMT");
}

static char *unpacked(const char *reply)
{
    g_autofree char *length = feed_header(reply, "Content-Length");
    g_autoptr(GConverter) gzip =
        G_CONVERTER(g_zlib_decompressor_new(G_ZLIB_COMPRESSOR_FORMAT_GZIP));
    char *text = g_malloc0(4096);
    gsize read, written;

    assert_int_equal(g_converter_convert(gzip, feed_body(reply),
                                         (gsize)g_ascii_strtoull(length, NULL, 10), text, 4095,
                                         G_CONVERTER_INPUT_AT_END, &read, &written, NULL),
                     G_CONVERTER_FINISHED);
    return text;
}

static void test_gzip(void **state)
{
    static const struct {
        const char *accept;
        gboolean packed;
    } rows[] = {
        {"gzip", TRUE},         {"gzip, deflate, br", TRUE}, {"deflate;q=0.5, GZIP;q=1.0", TRUE},
        {"gzip;q=0", FALSE},    {"identity", FALSE},         {"br", FALSE},
        {"identity, *", FALSE}, /* it may, and need not */
    };
    g_autofree char *plain = asked(*state, 200, "GET", PATH, "");
    g_autofree char *plain_tag = etag_of(plain);

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *headers = g_strdup_printf("Accept-Encoding: %s\r\n", rows[i].accept);
        g_autofree char *reply = asked(*state, 200, "GET", PATH, headers);
        g_autofree char *coding = feed_header(reply, "Content-Encoding");
        g_autofree char *vary = feed_header(reply, "Vary");
        g_autofree char *tag = etag_of(reply);
        assert_string_equal(vary, "Accept-Encoding");
        if (!rows[i].packed) {
            assert_null(coding);
            assert_string_equal(tag, plain_tag);
            continue;
        }
        g_autofree char *text = unpacked(reply);
        assert_string_equal(coding, "gzip");
        assert_string_equal(text, TEXT);
        assert_string_not_equal(tag, plain_tag); /* another form, another tag: RFC 9110 §8.8.3.3 */
        g_autofree char *both = g_strconcat(headers, "If-None-Match: ", tag, "\r\n", NULL);
        g_autofree char *known = asked(*state, 304, "GET", PATH, both);
    }
}

static void test_methods(void **state)
{
    static const char *const methods[] = {"POST", "PUT", "DELETE", "OPTIONS", "PROPFIND", "PATCH"};

    for (gsize i = 0; i < G_N_ELEMENTS(methods); i++) {
        g_autofree char *reply = asked(*state, 405, methods[i], PATH, "Content-Length: 0\r\n");
        g_autofree char *allow = feed_header(reply, "Allow");
        assert_string_equal(allow, "GET, HEAD");
        assert_string_equal(feed_body(reply), "");
    }
}

static void test_before_the_first_plan(void **state)
{
    Fixture *f = *state;

    put(f, "two", OTHER, NULL);
    g_autofree char *early = asked(f, 503, "GET", "/calendar/" OTHER ".ics", "");
    g_autofree char *retry = feed_header(early, "Retry-After");
    assert_string_equal(retry, "60");
    put(f, "two", OTHER, TEXT);
    g_autofree char *ready = asked(f, 200, "GET", "/calendar/" OTHER ".ics", "");
    put(f, "two", OTHER, NULL); /* what was published last stands */
    g_autofree char *still = asked(f, 200, "GET", "/calendar/" OTHER ".ics", "");
}

static void test_tokens(void **state)
{
    Fixture *f = *state;
    static const char *const one[] = {"one", NULL};

    put(f, "two", OTHER, "BEGIN:VCALENDAR\r\n");
    g_autofree char *two = asked(f, 200, "GET", "/calendar/" OTHER ".ics", "");
    assert_string_equal(feed_body(two), "BEGIN:VCALENDAR\r\n");
    feed_keep(f->feed, one);
    g_autofree char *gone = asked(f, 404, "GET", "/calendar/" OTHER ".ics", "");
    put(f, "one", OTHER, NULL); /* renewed */
    g_autofree char *dead = asked(f, 404, "GET", PATH, "");
    assert_says_nothing(dead);
    g_autofree char *fresh = asked(f, 200, "GET", "/calendar/" OTHER ".ics", "");
    assert_string_equal(feed_body(fresh), TEXT);
}

static void test_compare(void **state)
{
    (void)state;
    assert_true(feed_token_equal(TOKEN ".ics", FEED_TOKEN_LENGTH, TOKEN));
    assert_false(feed_token_equal(TOKEN, FEED_TOKEN_LENGTH - 1, TOKEN));
    assert_false(feed_token_equal(TOKEN "0", FEED_TOKEN_LENGTH + 1, TOKEN));
    assert_false(feed_token_equal("", 0, TOKEN));
    for (int i = 0; i < FEED_TOKEN_LENGTH; i++) {
        for (int bit = 0; bit < 8; bit++) {
            char other[] = TOKEN;
            other[i] = (char)(other[i] ^ (1 << bit));
            assert_false(feed_token_equal(other, FEED_TOKEN_LENGTH, TOKEN));
        }
    }
}

static void test_limits(void **state)
{
    Fixture *f = *state;
    g_autofree char *many = g_strnfill(9000, 'a');
    g_autofree char *far_too_many = g_strnfill(300 * 1024, 'a');
    g_autofree char *header = g_strdup_printf("X: %s\r\n", many);
    g_autofree char *long_target = g_strdup_printf(PATH "?%.400s", many);
    g_autofree char *body = g_strdup_printf("Content-Length: 9000\r\n\r\n%s", many);
    g_autofree char *chunks =
        g_strdup_printf("Transfer-Encoding: chunked\r\n\r\n2328\r\n%s\r\n0\r\n", many);
    g_autofree char *drowning = g_strdup_printf("Transfer-Encoding: chunked\r\n\r\n4B000\r\n%s"
                                                "\r\n4B000\r\n%s",
                                                far_too_many, far_too_many);
    g_autofree char *long_header = g_strdup_printf("X: %s\r\n", far_too_many);
    const struct {
        int status; /* 0: cut off, whatever came */
        const char *method, *target, *rest;
    } rows[] = {
        {431, "GET", PATH, header},
        {414, "GET", long_target, ""},
        {413, "GET", PATH, body},
        {413, "POST", "/done/" TOKEN, body},
        {413, "POST", "/done/" TOKEN, chunks},
        {413, "POST", "/done/" OTHER, chunks},
        {0, "POST", "/done/" TOKEN, drowning},
        {0, "GET", PATH, long_header},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *reply = feed_ask(f->port, rows[i].method, rows[i].target, rows[i].rest);
        if (rows[i].status == 0) {
            assert_int_not_equal(client_status(reply), 200);
            continue;
        }
        assert_int_equal(client_status(reply), rows[i].status);
        assert_says_nothing(reply);
    }
    assert_int_equal(f->posts, 0);
    g_autofree char *well = asked(f, 200, "GET", PATH, "");
}

static void test_flood(void **state)
{
    Fixture *f = *state;
    int fd;

    for (int i = 0; i < VISITORS_REQUESTS_MAX; i++) {
        g_autofree char *reply =
            asked(f, i % 2 != 0 ? 200 : 404, "GET", i % 2 != 0 ? PATH : "/", "");
    }
    clock_virtual_step_wall(f->clk, VISITORS_SPAN_S / 2);
    g_autofree char *refused = asked(f, 429, "GET", PATH, "");
    g_autofree char *retry = feed_header(refused, "Retry-After");
    assert_string_equal(retry, "30");
    assert_string_equal(feed_body(refused), "");
    /* Somebody else is not held up. */
    fd = feed_open_from("127.0.0.2", f->port);
    g_autofree char *other = feed_finish(fd, "GET " PATH " HTTP/1.1\r\nHost: x\r\n\r\n");
    assert_int_equal(client_status(other), 200);
    /* Who goes on all the same is not answered any more. */
    for (int i = 0; i < VISITORS_REQUESTS_MAX; i++) {
        g_autofree char *reply = feed_ask(f->port, "GET", "/", "");
    }
    g_autofree char *silence = feed_ask(f->port, "GET", PATH, "");
    assert_string_equal(silence, "");
    clock_virtual_step_wall(f->clk, VISITORS_SPAN_S);
    g_autofree char *again = asked(f, 200, "GET", PATH, "");
}

static void test_visitors(void **state)
{
    g_autoptr(GInetAddress) one = g_inet_address_new_from_string("2001:db8:1:2::1");
    g_autoptr(GInetAddress) same = g_inet_address_new_from_string("2001:db8:1:2:ffff::7");
    g_autoptr(GInetAddress) other = g_inet_address_new_from_string("2001:db8:1:3::1");
    Visitors *visitors = visitors_new();

    (void)state;
    for (int i = 0; i < VISITORS_REQUESTS_MAX; i++)
        assert_int_equal(visitors_ask(visitors, i % 2 != 0 ? one : same, 1000), 0);
    assert_int_equal(visitors_ask(visitors, one, 1000), VISITORS_SPAN_S);
    assert_int_equal(visitors_ask(visitors, other, 1000), 0);
    assert_int_equal(visitors_ask(visitors, one, 900), 0); /* the clock was put back */
    /* More peers than are remembered: new ones wait, those known do not. */
    for (guint8 i = 0; i < 8; i++) {
        for (guint8 k = 0; k < 128; k++) {
            const guint8 bytes[] = {10, 0, i, k};
            g_autoptr(GInetAddress) peer =
                g_inet_address_new_from_bytes(bytes, G_SOCKET_FAMILY_IPV4);
            (void)visitors_ask(visitors, peer, 2000);
        }
    }
    g_autoptr(GInetAddress) late = g_inet_address_new_from_string("10.1.1.1");
    g_autoptr(GInetAddress) known = g_inet_address_new_from_string("10.0.3.3");
    assert_int_equal(visitors_ask(visitors, late, 2000), VISITORS_SPAN_S);
    assert_int_equal(visitors_ask(visitors, known, 2000), 0);
    assert_int_equal(visitors_ask(visitors, late, 2000 + VISITORS_SPAN_S), 0);
    visitors_free(visitors);
}

/* Until the server has ended the connection. */
static void wait_for_end(int fd)
{
    g_autofree char *rest = feed_finish(fd, "");

    assert_string_equal(rest, "");
}

static void test_slow(void **state)
{
    Fixture *f = *state;
    int slow[VISITORS_CONNECTIONS_MAX];

    lasts_s_played = 1;
    for (int i = 0; i < VISITORS_CONNECTIONS_MAX; i++) {
        slow[i] = feed_open_from("127.0.0.1", f->port);
        if (i % 2 != 0)
            assert_int_equal(write(slow[i], "GET ", 4), 4);
    }
    g_autofree char *refused = feed_exchange(f->port, "");
    assert_string_equal(refused, ""); /* closed at once: it has its share */
    const int fd = feed_open_from("127.0.0.2", f->port);
    g_autofree char *other = feed_finish(fd, "GET " PATH " HTTP/1.1\r\nHost: x\r\n\r\n");
    assert_int_equal(client_status(other), 200);
    for (int i = 0; i < VISITORS_CONNECTIONS_MAX; i++)
        wait_for_end(slow[i]);
    g_autofree char *again = asked(f, 200, "GET", PATH, "");
}

/* Many peers: all connections are taken, and free again. */
static void test_full(void **state)
{
    Fixture *f = *state;
    int slow[FEED_CONNECTIONS_MAX];

    lasts_s_played = 1;
    for (int i = 0; i < FEED_CONNECTIONS_MAX; i++) {
        g_autofree char *from = g_strdup_printf("127.0.1.%d", 1 + i / 4);
        slow[i] = feed_open_from(from, f->port);
    }
    g_autofree char *refused = feed_exchange(f->port, "");
    assert_string_equal(refused, "");
    for (int i = 0; i < FEED_CONNECTIONS_MAX; i++)
        wait_for_end(slow[i]);
    g_autofree char *again = asked(f, 200, "GET", PATH, "");
}

static void test_pages(void **state)
{
    Fixture *f = *state;
    g_autofree char *get = asked(f, 200, "GET", "/done/" TOKEN, "");
    g_autofree char *head = asked(f, 200, "HEAD", "/done/" TOKEN, "");
    g_autofree char *put_reply = asked(f, 405, "PUT", "/done/" TOKEN, "Content-Length: 0\r\n");
    g_autofree char *allow = feed_header(put_reply, "Allow");
    g_autofree char *policy = feed_header(get, "Content-Security-Policy");
    g_autofree char *cache = feed_header(get, "Cache-Control");
    g_autofree char *referrer = feed_header(get, "Referrer-Policy");
    g_autofree char *robots = feed_header(get, "X-Robots-Tag");

    assert_string_equal(allow, "GET, HEAD, POST");
    assert_string_equal(feed_body(head), "");
    assert_int_equal(f->posts, 0);
    assert_non_null(strstr(get, "<h1>Thu 18:30, &lt;plot&gt; &amp; more</h1>"));
    assert_non_null(strstr(get, "<li>&lt;b&gt;Water&lt;/b&gt;</li>"));
    assert_non_null(strstr(get, "<form method=\"post\"><button>Yes</button>"));
    assert_null(strstr(get, "<script"));
    assert_null(strstr(get, "http:"));
    assert_null(strstr(get, "https:"));
    assert_true(g_str_has_prefix(policy, "default-src 'none'; style-src 'sha256-"));
    assert_string_equal(cache, "no-store");
    assert_string_equal(referrer, "no-referrer");
    assert_string_equal(robots, "noindex, nofollow, noarchive");
    /* The hash is that of what stands between the tags (CSP Level 3 §2.3.1). */
    const char *from = strstr(get, "<style>") + strlen("<style>");
    g_autofree char *style = g_strndup(from, (gsize)(strstr(from, "</style>") - from));
    g_autoptr(GChecksum) sum = g_checksum_new(G_CHECKSUM_SHA256);
    guint8 digest[32];
    gsize size = sizeof digest;
    g_checksum_update(sum, (const guchar *)style, -1);
    g_checksum_get_digest(sum, digest, &size);
    g_autofree char *hash = g_base64_encode(digest, size);
    assert_non_null(strstr(policy, hash));

    g_autofree char *post = asked(f, 200, "POST", "/done/" TOKEN,
                                  "Content-Type: application/x-www-form-urlencoded\r\n"
                                  "Content-Length: 0\r\n");
    assert_int_equal(f->posts, 1);
    assert_null(strstr(post, "<form"));
}

static void test_behind_a_proxy(void **state)
{
    Fixture *f = *state;

    feed_free(f->feed);
    g_strlcpy(f->setup.outside, "https://plot.example", sizeof f->setup.outside);
    open_feed(f);
    put(f, "one", TOKEN, TEXT);
    for (int i = 0; i < VISITORS_REQUESTS_MAX; i++) {
        g_autofree char *reply =
            asked(f, 200, "GET", PATH, "X-Forwarded-For: 192.0.2.9, 198.51.100.1\r\n");
    }
    g_autofree char *refused =
        asked(f, 429, "GET", PATH, "X-Forwarded-For: 203.0.113.1, 198.51.100.1\r\n");
    g_autofree char *other = asked(f, 200, "GET", PATH, "X-Forwarded-For: 198.51.100.2\r\n");
    g_autofree char *unsaid = asked(f, 200, "GET", PATH, "X-Forwarded-For: unknown\r\n");
}

static void test_port_taken(void **state)
{
    Fixture *f = *state;
    FeedSetup same = f->setup;
    g_autoptr(GError) error = NULL;

    same.port = f->port;
    assert_null(feed_new(f->clk, &same, page, f, &error));
    assert_non_null(strstr(error->message, "cannot listen at 127.0.0.1 port "));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_strangers, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_get, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_not_modified, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_gzip, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_methods, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_before_the_first_plan, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_tokens, set_up, tear_down),
        cmocka_unit_test(test_compare),
        cmocka_unit_test_setup_teardown(test_limits, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_flood, set_up, tear_down),
        cmocka_unit_test(test_visitors),
        cmocka_unit_test_setup_teardown(test_slow, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_full, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_pages, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_behind_a_proxy, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_port_taken, set_up, tear_down),
    };
    return cmocka_run_group_tests_name("feed", tests, NULL, NULL);
}
