/* SPDX-License-Identifier: MIT */
/* The control interface, spoken to by raw bytes from the same thread. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <gio/gunixsocketaddress.h>
#include <glib/gstdio.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/error.h"
#include "control/control.h"
#include "control/json-check.h"

#define STRANGER_UID 65534
#define GROUP_GID 4242

/* What the wrapped functions give instead. */
static uid_t own_uid_played = (uid_t)-1;
static bool group_played;
static guint idle_s_played;

uid_t __real_geteuid(void);
uid_t __wrap_geteuid(void);
uid_t __wrap_geteuid(void)
{
    return own_uid_played == (uid_t)-1 ? __real_geteuid() : own_uid_played;
}

struct group *__wrap_getgrnam(const char *name);
struct group *__wrap_getgrnam(const char *name)
{
    static struct group group = {.gr_gid = GROUP_GID};

    assert_string_equal(name, "thole");
    return group_played ? &group : NULL;
}

void __real_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout)
{
    assert_int_equal(timeout, WIRE_IDLE_S);
    __real_g_socket_set_timeout(socket, idle_s_played ? idle_s_played : timeout);
}

typedef struct Fixture {
    char *folder, *path;
    Control *control;
} Fixture;

/* ---- handlers ---- */

static JsonNode *object_node(JsonObject *object)
{
    JsonNode *node = json_node_new(JSON_NODE_OBJECT);

    json_node_take_object(node, object);
    return node;
}

/* Everything a handler may read, told back. */
static JsonNode *on_batch(const ControlRequest *request, gpointer data, GError **error)
{
    const char *place = "none";
    int64_t number = -1, at = -1;
    double low = NAN;
    int day = -1;
    gboolean bought = FALSE, ended = FALSE;
    g_autoptr(GArray) jobs = NULL;
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    const int64_t now = 1775995200; /* 2026-04-12 12:00 UTC */

    (void)data;
    if (!control_body_string(request, "place", FALSE, &place, error) ||
        !control_body_int(request, "number", FALSE, 1, 5000, &number, error) ||
        !control_body_double(request, "low", FALSE, -60, 60, &low, error) ||
        !control_body_bool(request, "bought", FALSE, &bought, error) ||
        !control_body_time(request, "at", FALSE, zone, now, &at, error) ||
        !control_body_day(request, "night", FALSE, zone, now, &day, error) ||
        !control_body_handles(request, "jobs", FALSE, 4, &jobs, error) ||
        !control_query_flag(request, "ended", &ended, error) ||
        !control_body_reject_rest(request, error))
        return NULL;
    JsonObject *reply = json_object_new();
    json_object_set_string_member(reply, "name", control_param(request, "name"));
    json_object_set_string_member(reply, "place", place);
    json_object_set_int_member(reply, "number", number);
    json_object_set_double_member(reply, "low", low);
    json_object_set_boolean_member(reply, "bought", bought);
    json_object_set_int_member(reply, "at", at);
    json_object_set_int_member(reply, "night", day);
    json_object_set_int_member(reply, "jobs", jobs ? (gint64)jobs->len : -1);
    json_object_set_boolean_member(reply, "ended", ended);
    return object_node(reply);
}

static JsonNode *on_required(const ControlRequest *request, gpointer data, GError **error)
{
    const char *place;

    (void)data;
    if (!control_body_string(request, "place", TRUE, &place, error))
        return NULL;
    JsonObject *reply = json_object_new();
    json_object_set_string_member(reply, "place", place);
    return object_node(reply);
}

static JsonNode *on_fail(const ControlRequest *request, gpointer data, GError **error)
{
    static const struct {
        const char *word;
        TholeError code;
    } words[] = {{"invalid", THOLE_ERROR_INVALID}, {"missing", THOLE_ERROR_NOT_FOUND},
                 {"conflict", THOLE_ERROR_CONFLICT}, {"limit", THOLE_ERROR_LIMIT},
                 {"io", THOLE_ERROR_IO}, {"stale", THOLE_ERROR_STALE}, {"failed", THOLE_ERROR_FAILED}};
    const char *how = control_param(request, "how");

    (void)data;
    for (guint i = 0; i < G_N_ELEMENTS(words); i++)
        if (g_str_equal(how, words[i].word))
            g_set_error(error, THOLE_ERROR, words[i].code, "it is %s", how);
    if (!*error)
        g_set_error(error, G_FILE_ERROR, G_FILE_ERROR_NOENT, "it is %s", how);
    return NULL;
}

static JsonNode *on_hello(const ControlRequest *request, gpointer data, GError **error)
{
    const ControlHello hello = {.garden = "/g/thole.conf", .is_virtual = TRUE, .now_utc = 1775995200};

    (void)data;
    return control_reject_rest(request, error) ? control_hello_node(&hello) : NULL;
}

/* ---- the client ---- */

static int open_client(const char *path)
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
static char *finish_exchange(int fd, const char *bytes, gsize length, gsize step)
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

static char *exchange(const Fixture *f, const char *bytes, gsize length)
{
    return finish_exchange(open_client(f->path), bytes, length, 65536);
}

static int reply_status(const char *reply)
{
    return g_str_has_prefix(reply, "HTTP/1.") ? atoi(reply + 9) : 0;
}

static JsonObject *reply_object(const char *reply, JsonParser *parser)
{
    const char *body = strstr(reply, "\r\n\r\n");

    assert_non_null(body);
    assert_true(json_parser_load_from_data(parser, body + 4, -1, NULL));
    JsonObject *object = json_node_get_object(json_parser_get_root(parser));
    assert_int_equal(json_object_get_int_member(object, "v"), 1);
    return object;
}

static char *request_text(const char *method, const char *target, const char *body)
{
    return g_strdup_printf("%s %s HTTP/1.1\r\nHost: localhost\r\nContent-Length: %zu\r\n\r\n%s", method,
                           target, strlen(body), body);
}

static char *ask(const Fixture *f, const char *method, const char *target, const char *body)
{
    g_autofree char *text = request_text(method, target, body);

    return exchange(f, text, strlen(text));
}

static void assert_problem(const char *reply, int status, const char *type, const char *detail)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autofree char *full = g_strconcat("urn:thole:problem:", type, NULL);

    if (reply_status(reply) != status)
        print_message("# %s\n", reply);
    assert_int_equal(reply_status(reply), status);
    assert_non_null(strstr(reply, "Content-Type: application/problem+json\r\n"));
    JsonObject *object = reply_object(reply, parser);
    assert_string_equal(json_object_get_string_member(object, "type"), full);
    assert_int_equal(json_object_get_int_member(object, "status"), status);
    assert_non_null(json_object_get_string_member(object, "title"));
    if (!strstr(json_object_get_string_member(object, "detail"), detail))
        fail_msg("\"%s\" is not in \"%s\"", detail, json_object_get_string_member(object, "detail"));
}

/* ---- fixture ---- */

static Control *new_control(const Fixture *f, ControlMode mode)
{
    g_autoptr(GError) error = NULL;
    Control *control = control_new(f->path, mode, -1, &error);

    if (error)
        fail_msg("%s", error->message);
    control_add(control, "GET", "/v1/", on_hello, NULL);
    control_add(control, "POST", "/v1/batches/{name}", on_batch, NULL);
    control_add(control, "PUT", "/v1/batches/{name}", on_batch, NULL);
    control_add(control, "POST", "/v1/batches/special", on_required, NULL);
    control_add(control, "GET", "/v1/fail/{how}", on_fail, NULL);
    return control;
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);

    f->folder = g_dir_make_tmp("thole-control-XXXXXX", NULL);
    f->path = g_build_filename(f->folder, "control", NULL);
    f->control = new_control(f, CONTROL_USER);
    *state = f;
    return 0;
}

static int tear_down(void **state)
{
    Fixture *f = *state;

    control_free(f->control);
    assert_false(g_file_test(f->path, G_FILE_TEST_EXISTS));
    while (g_main_context_iteration(NULL, FALSE))
        ;
    own_uid_played = (uid_t)-1;
    group_played = false;
    idle_s_played = 0;
    assert_return_code(g_rmdir(f->folder), errno);
    g_free(f->folder);
    g_free(f->path);
    g_free(f);
    return 0;
}

/* ---- tests ---- */

static void says_hello(void **state)
{
    g_autofree char *reply = ask(*state, "GET", "/v1/", "");
    g_autoptr(JsonParser) parser = json_parser_new();
    JsonObject *object = reply_object(reply, parser);

    assert_int_equal(reply_status(reply), 200);
    assert_non_null(strstr(reply, "\r\nThole-Api: 1\r\n"));
    assert_non_null(strstr(reply, "\r\nContent-Type: application/json\r\n"));
    assert_string_equal(json_object_get_string_member(object, "program"), "tholed");
    assert_string_equal(json_object_get_string_member(object, "version"), PACKAGE_VERSION);
    assert_string_equal(json_object_get_string_member(object, "now"), "2026-04-12T12:00:00Z");
    assert_true(json_object_get_boolean_member(object, "virtual"));
}

static void refuses_with_a_problem(void **state)
{
    static const struct {
        const char *sentence, *method, *target, *body;
        int status;
        const char *type, *detail;
    } rows[] = {
        {"a path nobody has", "GET", "/v2/", "", 404, "not-found", "/v2/"},
        {"a longer path than the route", "GET", "/v1/fail/io/x", "", 404, "not-found", "/v1/fail/io/x"},
        {"an empty name", "POST", "/v1/batches/", "", 404, "not-found", "/v1/batches/"},
        {"the wrong method", "DELETE", "/v1/", "", 405, "method", "GET"},
        {"the wrong method, two are right", "GET", "/v1/batches/x", "", 405, "method", "POST, PUT"},
        {"half a surrogate pair", "POST", "/v1/batches/x", "{\"place\":\"\\ud800\\u0041\"}", 400,
         "invalid", "surrogate"},
        {"a name that is not UTF-8", "POST", "/v1/batches/%ff", "", 400, "invalid", "UTF-8"},
        {"a slash in a name", "POST", "/v1/batches/a%2fb", "", 400, "invalid", "path"},
        {"a line break in a name", "POST", "/v1/batches/a%0ab", "", 400, "invalid", "path"},
        {"a query that is not UTF-8", "POST", "/v1/batches/x?ended=%ff", "", 400, "invalid", "query"},
        {"a query that nobody reads", "POST", "/v1/batches/x?old=1", "", 400, "invalid", "accepted: place"},
        {"a flag that is none", "POST", "/v1/batches/x?ended=maybe", "", 400, "invalid", "ended=maybe"},
        {"no JSON", "POST", "/v1/batches/x", "place", 400, "invalid", "line 1, column 1"},
        {"JSON that ends early", "POST", "/v1/batches/x", "{\n\"place\":", 400, "invalid", "line 2, column 9"},
        {"an array", "POST", "/v1/batches/x", "[1]", 400, "invalid", "not a JSON object"},
        {"a comment", "POST", "/v1/batches/x", "/* */{}", 400, "invalid", "not JSON"},
        {"something behind", "POST", "/v1/batches/x", "{} {}", 400, "invalid", "follows"},
        {"not UTF-8", "POST", "/v1/batches/x", "{\"place\":\"\xff\"}", 400, "invalid", "UTF-8"},
        {"an unknown member", "POST", "/v1/batches/x", "{\"plaec\":\"a\"}", 400, "invalid", "plaec"},
        {"a number for a text", "POST", "/v1/batches/x", "{\"place\":3}", 400, "invalid", "place: 3"},
        {"an empty text", "POST", "/v1/batches/x", "{\"place\":\"\"}", 400, "invalid", "place: \"\""},
        {"a tab in a text", "POST", "/v1/batches/x", "{\"place\":\"a\\tb\"}", 400, "invalid", "place"},
        {"a missing text", "POST", "/v1/batches/special", "{}", 400, "invalid", "place is missing"},
        {"a null for a text", "POST", "/v1/batches/special", "{\"place\":null}", 400, "invalid", "missing"},
        {"a broken number", "POST", "/v1/batches/x", "{\"number\":1.5}", 400, "invalid", "number: 1.5"},
        {"a number too large", "POST", "/v1/batches/x", "{\"number\":5001}", 400, "invalid", "1 to 5000"},
        {"a number as text", "POST", "/v1/batches/x", "{\"number\":\"3\"}", 400, "invalid", "number: \"3\""},
        {"too many digits", "POST", "/v1/batches/x", "{\"number\":9999999999999999}", 400, "invalid", "too long"},
        {"an infinite number", "POST", "/v1/batches/x", "{\"low\":1e999}", 400, "invalid", "low"},
        {"a text for a yes", "POST", "/v1/batches/x", "{\"bought\":\"yes\"}", 400, "invalid", "true or false"},
        {"a time that is none", "POST", "/v1/batches/x", "{\"at\":\"25:00\"}", 400, "invalid", "18:30"},
        {"a date that is none", "POST", "/v1/batches/x", "{\"at\":\"2026-02-30\"}", 400, "invalid", "at: "},
        {"a night that is none", "POST", "/v1/batches/x", "{\"night\":\"someday\"}", 400, "invalid", "tonight"},
        {"a job twice", "POST", "/v1/batches/x", "{\"jobs\":[7,7]}", 400, "invalid", "each once"},
        {"no job", "POST", "/v1/batches/x", "{\"jobs\":[]}", 400, "invalid", "1 to 4"},
        {"job zero", "POST", "/v1/batches/x", "{\"jobs\":[0]}", 400, "invalid", "above 0"},
        {"one job too many", "POST", "/v1/batches/x", "{\"jobs\":[1,2,3,4,5]}", 400, "invalid", "1 to 4"},
        {"invalid", "GET", "/v1/fail/invalid", "", 400, "invalid", "it is invalid"},
        {"not found", "GET", "/v1/fail/missing", "", 404, "not-found", "it is missing"},
        {"conflict", "GET", "/v1/fail/conflict", "", 409, "conflict", "it is conflict"},
        {"limit", "GET", "/v1/fail/limit", "", 413, "too-large", "it is limit"},
        {"input or output", "GET", "/v1/fail/io", "", 500, "failed", "it is io"},
        {"another domain's", "GET", "/v1/fail/other", "", 500, "failed", "it is other"},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *reply = ask(*state, rows[i].method, rows[i].target, rows[i].body);
        if (reply_status(reply) != rows[i].status)
            print_message("# %s\n", rows[i].sentence);
        assert_problem(reply, rows[i].status, rows[i].type, rows[i].detail);
        assert_int_equal(strstr(reply, "\r\nAllow: ") != NULL, rows[i].status == 405);
    }
}

static void reads_what_a_body_says(void **state)
{
    static const struct {
        const char *sentence, *target, *body, *member, *value;
    } rows[] = {
        {"no body is an empty one", "/v1/batches/x", "", "place", "\"none\""},
        {"null leaves the default", "/v1/batches/x", "{\"number\":null}", "number", "-1"},
        {"a name with a space", "/v1/batches/a%20b", "", "name", "\"a b\""},
        {"letters beyond ASCII", "/v1/batches/x", "{\"place\":\"Fr\\u00fchbeet\"}", "place", "\"Frühbeet\""},
        {"a pair of surrogates", "/v1/batches/x", "{\"place\":\"\\ud83c\\udf31\"}", "place", "\"🌱\""},
        {"a whole number with a point", "/v1/batches/x", "{\"number\":12.0}", "number", "12"},
        {"an exponent", "/v1/batches/x", "{\"number\":1e2}", "number", "100"},
        {"a number below zero", "/v1/batches/x", "{\"low\":-2.5}", "low", "-2.5"},
        {"a missing number is null", "/v1/batches/x", "{}", "low", "null"},
        {"yes", "/v1/batches/x", "{\"bought\":true}", "bought", "true"},
        {"a flag", "/v1/batches/x?ended=true", "", "ended", "true"},
        {"an instant", "/v1/batches/x", "{\"at\":\"2026-04-12T17:30:00Z\"}", "at", "1776015000"},
        {"a local hour, summer time", "/v1/batches/x", "{\"at\":\"18:30\"}", "at", "1776015000"},
        {"a local date and hour", "/v1/batches/x", "{\"at\":\"2026-04-12 18:30\"}", "at", "1776015000"},
        {"the same with a T", "/v1/batches/x", "{\"at\":\"2026-04-12T18:30\"}", "at", "1776015000"},
        {"a day begins at midnight", "/v1/batches/x", "{\"at\":\"2026-04-12\"}", "at", "1775948400"},
        {"tonight", "/v1/batches/x", "{\"night\":\"tonight\"}", "night", "20555"},
        {"tomorrow", "/v1/batches/x", "{\"night\":\"tomorrow\"}", "night", "20556"},
        {"a date", "/v1/batches/x", "{\"night\":\"2026-04-12\"}", "night", "20555"},
        {"jobs", "/v1/batches/x", "{\"jobs\":[3,1]}", "jobs", "2"},
        {"the plain path first", "/v1/batches/special", "{\"place\":\"p\"}", "place", "\"p\""},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *reply = ask(*state, "POST", rows[i].target, rows[i].body);
        g_autoptr(JsonParser) parser = json_parser_new();
        if (reply_status(reply) != 200)
            fail_msg("%s: %s", rows[i].sentence, reply);
        JsonObject *object = reply_object(reply, parser);
        g_autofree char *value =
            json_to_string(json_object_get_member(object, rows[i].member), FALSE);
        if (!g_str_equal(value, rows[i].value))
            fail_msg("%s: %s", rows[i].sentence, value);
    }
}

static void checks_json_before_anyone_reads_it(void **state)
{
    static const struct {
        const char *text;
        bool valid;
    } rows[] = {
        {"{}", true}, {" [ ] ", true}, {"{\"a\":[1,-0,0.5,1E+2,true,false,null,\"\\n\\u20ac\"]}", true},
        {"", false}, {"{", false}, {"{\"a\"}", false}, {"{\"a\":1,}", false}, {"[1 2]", false},
        {"01", false}, {"1.", false}, {".5", false}, {"+1", false}, {"1e", false}, {"1e1000", false},
        {"NaN", false}, {"tru", false}, {"'a'", false}, {"\"a", false}, {"\"\\x\"", false},
        {"\"\\u12\"", false}, {"\"\\u0000\"", false}, {"\"\\udc00\"", false}, {"\"\\ud800\"", false},
        {"\"\n\"", false}, {"var a = {}", false}, {"{a:1}", false}, {"// a\n{}", false},
        {"[[[[]]]]", true}, {"[[[[[]]]]]", false},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        if (json_check(rows[i].text, strlen(rows[i].text), 4, &error) != rows[i].valid)
            fail_msg("%s", rows[i].text);
        assert_int_equal(error_is_invalid(error), !rows[i].valid);
    }
    g_autoptr(GError) error = NULL;
    assert_false(json_check("\"a\0b\"", 5, 4, &error));
}

static void refuses_deep_nesting(void **state)
{
    g_autofree char *open = g_strnfill(20000, '[');
    g_autofree char *body = g_strconcat("{\"place\":", open, NULL);
    g_autofree char *reply = ask(*state, "POST", "/v1/batches/x", body);

    assert_problem(reply, 400, "invalid", "too deeply");
}

/* A body of LENGTH bytes that is one JSON object. */
static char *long_body(gsize length)
{
    char *body = g_strnfill(length, ' ');

    body[0] = '{';
    body[length - 1] = '}';
    return body;
}

static char *chunked(const char *body, gsize chunk)
{
    GString *text = g_string_new("POST /v1/batches/x HTTP/1.1\r\nHost: localhost\r\n"
                                 "Transfer-Encoding: chunked\r\n\r\n");
    for (gsize at = 0, left = strlen(body); left > 0;) {
        const gsize n = MIN(chunk, left);
        g_string_append_printf(text, "%zx\r\n%.*s\r\n", n, (int)n, body + at);
        at += n;
        left -= n;
    }
    g_string_append(text, "0\r\n\r\n");
    return g_string_free(text, FALSE);
}

static void counts_bodies_as_they_arrive(void **state)
{
    g_autofree char *full = long_body(WIRE_BODY_MAX);
    g_autofree char *over = long_body(WIRE_BODY_MAX + 1);
    g_autofree char *full_reply = ask(*state, "POST", "/v1/batches/x", full);
    g_autofree char *over_reply = ask(*state, "POST", "/v1/batches/x", over);
    g_autofree char *full_chunked = chunked(full, 1000);
    g_autofree char *over_chunked = chunked(over, 1000);
    g_autofree char *full_chunked_reply = exchange(*state, full_chunked, strlen(full_chunked));
    g_autofree char *over_chunked_reply = exchange(*state, over_chunked, strlen(over_chunked));

    assert_int_equal(reply_status(full_reply), 200);
    assert_problem(over_reply, 413, "too-large", "64 KiB");
    assert_int_equal(reply_status(full_chunked_reply), 200);
    assert_problem(over_chunked_reply, 413, "too-large", "64 KiB");

    /* Who waits to be told to go on is not told. */
    const char *waiting = "POST /v1/batches/x HTTP/1.1\r\nHost: l\r\nContent-Length: 99999999\r\n"
                          "Expect: 100-continue\r\n\r\n";
    g_autofree char *waiting_reply = exchange(*state, waiting, strlen(waiting));
    assert_problem(waiting_reply, 413, "too-large", "64 KiB");
}

static void cuts_off_a_body_without_end(void **state)
{
    const Fixture *f = *state;
    g_autofree char *body = g_strnfill(4 * 1024 * 1024, ' ');
    g_autofree char *text = g_strconcat("POST /v1/batches/x HTTP/1.1\r\nHost: l\r\n"
                                        "Content-Length: 999999999999\r\n\r\n",
                                        body, NULL);
    g_autofree char *reply = exchange(f, text, strlen(text));
    g_autofree char *after = ask(f, "GET", "/v1/", "");

    assert_int_not_equal(reply_status(reply), 200);
    assert_int_equal(reply_status(after), 200);
}

static void takes_a_slow_body(void **state)
{
    const Fixture *f = *state;
    g_autofree char *text = request_text("POST", "/v1/batches/x", "{\"place\":\"slow\"}");
    g_autofree char *reply = finish_exchange(open_client(f->path), text, strlen(text), 1);

    assert_int_equal(reply_status(reply), 200);
    assert_non_null(strstr(reply, "\"slow\""));
}

static void closes_idle_connections(void **state)
{
    const Fixture *f = *state;
    const char *half = "GET /v1/ HTT";
    const gint64 start_us = g_get_monotonic_time();

    idle_s_played = 1;
    const int silent = open_client(f->path);
    g_autofree char *half_reply = finish_exchange(open_client(f->path), half, strlen(half), 100);
    g_autofree char *silent_reply = finish_exchange(silent, "", 0, 1);
    assert_int_not_equal(reply_status(half_reply), 200);
    assert_string_equal(silent_reply, "");
    assert_true(g_get_monotonic_time() - start_us >= G_USEC_PER_SEC);
}

static void speaks_old_http_and_no_ranges(void **state)
{
    const char *old = "GET /v1/ HTTP/1.0\r\n\r\n";
    const char *range = "GET /v1/ HTTP/1.1\r\nHost: l\r\nRange: bytes=0-3\r\n\r\n";
    const char *newer = "GET /v1/ HTTP/1.1\r\nHost: l\r\nThole-Api: 2\r\n\r\n";
    g_autofree char *old_reply = exchange(*state, old, strlen(old));
    g_autofree char *range_reply = exchange(*state, range, strlen(range));
    g_autofree char *newer_reply = exchange(*state, newer, strlen(newer));

    assert_int_equal(reply_status(old_reply), 200);
    assert_int_equal(reply_status(range_reply), 200);
    assert_problem(newer_reply, 400, "version", "accepted: 1");
}

/* A request that is nearly right, with some bytes changed. */
static GByteArray *random_request(GRand *random)
{
    static const char *const starts[] = {
        "GET /v1/ HTTP/1.1\r\nHost: l\r\n\r\n", "POST /v1/batches/x HTTP/1.1\r\nHost: l\r\nContent-Length: 40\r\n\r\n{\"place\":\"frame\",\"number\":12,\"jobs\":[1]}",
        "POST /v1/batches/%41?ended=1 HTTP/1.1\r\nHost: l\r\nTransfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n",
        "OPTIONS * HTTP/1.1\r\nHost: l\r\n\r\n", "CONNECT l:1 HTTP/1.1\r\nHost: l\r\n\r\n", "HEAD /v1/ HTTP/1.0\r\n\r\n"};
    const char *start = starts[g_rand_int_range(random, 0, G_N_ELEMENTS(starts))];
    GByteArray *bytes = g_byte_array_new();

    g_byte_array_append(bytes, (const guint8 *)start, strlen(start));
    for (int n = g_rand_int_range(random, 0, 12); n > 0 && bytes->len > 0; n--) {
        const guint at = (guint)g_rand_int_range(random, 0, (gint32)bytes->len);
        const guint8 byte = (guint8)g_rand_int_range(random, 0, 256);
        switch (g_rand_int_range(random, 0, 3)) {
        case 0:
            bytes->data[at] = byte;
            break;
        case 1:
            g_byte_array_remove_index(bytes, at);
            break;
        case 2:
            g_byte_array_append(bytes, bytes->data + at, MIN(bytes->len - at, 40));
            break;
        }
    }
    return bytes;
}

static void survives_random_requests(void **state)
{
    const Fixture *f = *state;
    const guint32 seed = g_random_int();
    GRand *random = g_rand_new_with_seed(seed);

    print_message("# seed %u\n", seed);
    for (int i = 0; i < 1000; i++) {
        g_autoptr(GByteArray) bytes = random_request(random);
        const int fd = open_client(f->path);
        assert_true(send(fd, bytes->data, bytes->len, MSG_NOSIGNAL) >= 0);
        assert_return_code(shutdown(fd, SHUT_WR), errno);
        g_free(finish_exchange(fd, "", 0, 1));
    }
    g_rand_free(random);
    g_autofree char *reply = ask(f, "GET", "/v1/", "");
    assert_int_equal(reply_status(reply), 200);
}

static void turns_away_too_many(void **state)
{
    const Fixture *f = *state;
    int fds[64];

    for (int i = 0; i < 64; i++) {
        fds[i] = open_client(f->path);
        while (g_main_context_iteration(NULL, FALSE))
            ;
    }
    g_autofree char *away = ask(f, "GET", "/v1/", "");
    assert_string_equal(away, "");
    for (int i = 0; i < 64; i++)
        g_free(finish_exchange(fds[i], "GET /v1/ HTTP/1.1\r\nHost: l\r\n\r\n", 30, 100));
    g_autofree char *reply = ask(f, "GET", "/v1/", "");
    assert_int_equal(reply_status(reply), 200);
}

static void lives_without_descriptors(void **state)
{
    const Fixture *f = *state;
    struct rlimit usual, low;
    const int client = open_client(f->path);
    g_autoptr(GArray) taken = g_array_new(FALSE, FALSE, sizeof(int));
    int fd;

    assert_return_code(getrlimit(RLIMIT_NOFILE, &usual), errno);
    low = (struct rlimit){.rlim_cur = 64, .rlim_max = usual.rlim_max};
    assert_return_code(setrlimit(RLIMIT_NOFILE, &low), errno);
    while ((fd = dup(client)) >= 0)
        g_array_append_val(taken, fd);
    for (int i = 0; i < 50; i++)
        g_main_context_iteration(NULL, FALSE);
    char byte;
    const ssize_t n = recv(client, &byte, 1, 0);
    for (guint i = 0; i < taken->len; i++)
        close(g_array_index(taken, int, i));
    assert_return_code(setrlimit(RLIMIT_NOFILE, &usual), errno);
    close(client);
    assert_int_equal(n, 0);
    g_autofree char *reply = ask(f, "GET", "/v1/", "");
    assert_int_equal(reply_status(reply), 200);
}

/* ---- who may ask ---- */

static void knows_who_may_ask(void **state)
{
    static const struct {
        const char *sentence;
        ControlMode mode;
        uid_t peer, own;
        bool in_group, allowed;
    } rows[] = {
        {"user: the same user", CONTROL_USER, 1000, 1000, false, true},
        {"user: another one", CONTROL_USER, 1001, 1000, false, false},
        {"user: root is another one", CONTROL_USER, 0, 1000, false, false},
        {"user: the group does not count", CONTROL_USER, 1001, 1000, true, false},
        {"system: the daemon's user", CONTROL_SYSTEM, 300, 300, false, true},
        {"system: root", CONTROL_SYSTEM, 0, 300, false, true},
        {"system: a member", CONTROL_SYSTEM, 1000, 300, true, true},
        {"system: anybody else", CONTROL_SYSTEM, 1000, 300, false, false},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++)
        if (control_peer_allowed(rows[i].mode, rows[i].peer, rows[i].own, rows[i].in_group) != rows[i].allowed)
            fail_msg("%s", rows[i].sentence);
}

static void refuses_a_stranger_each_time(void **state)
{
    const Fixture *f = *state;
    g_autofree char *before = ask(f, "GET", "/v1/", "");

    own_uid_played = __real_geteuid() + 1;
    g_autofree char *refused = ask(f, "GET", "/v1/", "");
    g_autofree char *nowhere = ask(f, "GET", "/nowhere", "");
    own_uid_played = (uid_t)-1;
    assert_int_equal(reply_status(before), 200);
    assert_problem(refused, 403, "forbidden", "only the user");
    assert_problem(nowhere, 403, "forbidden", "only the user");
}

/* Status of the reply that a child of another user gets; 0 where it cannot even connect. */
static int status_for_stranger(const char *path, bool member)
{
    int pipe_fds[2], status = 0;

    assert_return_code(pipe(pipe_fds), errno);
    const pid_t child = fork();
    assert_return_code(child, errno);
    if (child == 0) {
        const gid_t group = GROUP_GID;
        struct sockaddr_un address = {.sun_family = AF_UNIX};
        char reply[64] = "HTTP/1.1 0";
        const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
        g_strlcpy(address.sun_path, path, sizeof(address.sun_path));
        if (setgroups(member ? 1 : 0, &group) != 0 || setgid(STRANGER_UID) != 0 || setuid(STRANGER_UID) != 0)
            _exit(2);
        if (connect(fd, (struct sockaddr *)&address, sizeof(address)) == 0) {
            static const char text[] = "GET /v1/ HTTP/1.1\r\nHost: l\r\n\r\n";
            if (send(fd, text, sizeof(text) - 1, MSG_NOSIGNAL) < 0 || recv(fd, reply, sizeof(reply) - 1, 0) < 12)
                _exit(2);
        }
        status = reply_status(reply);
        _exit(write(pipe_fds[1], &status, sizeof(status)) == sizeof(status) ? 0 : 2);
    }
    close(pipe_fds[1]);
    assert_return_code(fcntl(pipe_fds[0], F_SETFL, O_NONBLOCK), errno);
    ssize_t n;
    while ((n = read(pipe_fds[0], &status, sizeof(status))) < 0)
        g_main_context_iteration(NULL, FALSE);
    assert_int_equal(n, sizeof(status));
    close(pipe_fds[0]);
    int ended;
    assert_int_equal(waitpid(child, &ended, 0), child);
    assert_int_equal(ended, 0);
    return status;
}

static void is_as_open_as_its_mode_says(void **state)
{
    Fixture *f = *state;
    struct stat status;

    assert_return_code(stat(f->path, &status), errno);
    assert_int_equal(status.st_mode & 07777, 0600);
    control_free(f->control);
    f->control = new_control(f, CONTROL_SYSTEM); /* no such group: root and its own user only */
    assert_return_code(stat(f->path, &status), errno);
    assert_int_equal(status.st_mode & 07777, 0600);
    if (__real_geteuid() != 0)
        return; /* only root can give the socket away, and play a stranger */
    group_played = true;
    control_free(f->control);
    f->control = new_control(f, CONTROL_SYSTEM);
    assert_return_code(stat(f->path, &status), errno);
    assert_int_equal(status.st_mode & 07777, 0660);
    assert_int_equal(status.st_gid, GROUP_GID);
    assert_return_code(g_chmod(f->folder, 0711), errno);
    assert_int_equal(status_for_stranger(f->path, true), 200);
    assert_int_equal(status_for_stranger(f->path, false), 0);
    /* Also where the file would let them in. */
    assert_return_code(g_chmod(f->path, 0666), errno);
    assert_int_equal(status_for_stranger(f->path, false), 403);
}

/* ---- the socket ---- */

static void assert_refused(const char *path, gboolean (*predicate)(const GError *), const char *part)
{
    g_autoptr(GError) error = NULL;

    assert_null(control_new(path, CONTROL_USER, -1, &error));
    assert_true(predicate(error));
    assert_non_null(strstr(error->message, part));
    assert_non_null(strstr(error->message, path));
}

static void takes_the_place_of_the_dead_only(void **state)
{
    Fixture *f = *state;
    g_autofree char *file = g_build_filename(f->folder, "file", NULL);
    g_autofree char *absent = g_build_filename(f->folder, "no", "control", NULL);
    g_autofree char *name = g_strnfill(WIRE_SOCKET_PATH_MAX - strlen(f->folder), 'x');
    g_autofree char *too_long = g_build_filename(f->folder, name, NULL);
    g_autofree char *content = NULL;

    assert_refused(f->path, error_is_conflict, "answers there already");
    g_autofree char *still = ask(f, "GET", "/v1/", "");
    assert_int_equal(reply_status(still), 200);

    assert_true(g_file_set_contents(file, "mine", -1, NULL));
    assert_refused(file, error_is_conflict, "no socket");
    assert_true(g_file_get_contents(file, &content, NULL, NULL));
    assert_string_equal(content, "mine");
    assert_return_code(g_unlink(file), errno);

    assert_refused(absent, error_is_io, "");
    assert_refused(too_long, error_is_limit, "107");
    too_long[strlen(too_long) - 1] = '\0'; /* 107 bytes are accepted */
    g_autoptr(Control) longest = control_new(too_long, CONTROL_USER, -1, NULL);
    assert_non_null(longest);

    /* One that died leaves its socket; the next takes its place. */
    g_autofree char *dead = g_build_filename(f->folder, "dead", NULL);
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    g_strlcpy(address.sun_path, dead, sizeof(address.sun_path));
    assert_return_code(bind(fd, (struct sockaddr *)&address, sizeof(address)), errno);
    close(fd);
    g_autoptr(Control) next = control_new(dead, CONTROL_USER, -1, NULL);
    assert_non_null(next);
}

static void leaves_the_sockets_of_others(void **state)
{
    Fixture *f = *state;

    /* Its own file was replaced behind its back: that one is not its to take away. */
    assert_return_code(g_unlink(f->path), errno);
    assert_true(g_file_set_contents(f->path, "", 0, NULL));
    g_clear_pointer(&f->control, control_free);
    assert_true(g_file_test(f->path, G_FILE_TEST_EXISTS));
    assert_return_code(g_unlink(f->path), errno);

    /* An inherited one stays where it is, and answers. */
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    const int fd = socket(AF_UNIX, SOCK_STREAM, 0);
    g_strlcpy(address.sun_path, f->path, sizeof(address.sun_path));
    assert_return_code(bind(fd, (struct sockaddr *)&address, sizeof(address)), errno);
    assert_return_code(listen(fd, 5), errno);
    Control *control = control_new(NULL, CONTROL_USER, fd, NULL);
    control_add(control, "GET", "/v1/", on_hello, NULL);
    g_autofree char *reply = ask(f, "GET", "/v1/", "");
    assert_int_equal(reply_status(reply), 200);
    control_free(control);
    assert_true(g_file_test(f->path, G_FILE_TEST_EXISTS));
    assert_return_code(g_unlink(f->path), errno);

    g_autoptr(GError) error = NULL;
    assert_null(control_new(NULL, CONTROL_USER, open("/dev/null", O_RDONLY), &error));
    assert_non_null(error);
}

static void ends_with_connections_open(void **state)
{
    Fixture *f = *state;
    const int fd = open_client(f->path);
    char byte;

    assert_true(send(fd, "GET", 3, MSG_NOSIGNAL) == 3);
    for (int i = 0; i < 20; i++)
        g_main_context_iteration(NULL, FALSE);
    g_clear_pointer(&f->control, control_free);
    while (g_main_context_iteration(NULL, FALSE))
        ;
    assert_true(recv(fd, &byte, 1, 0) == 0 || errno == ECONNRESET);
    close(fd);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(says_hello, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refuses_with_a_problem, set_up, tear_down),
        cmocka_unit_test_setup_teardown(reads_what_a_body_says, set_up, tear_down),
        cmocka_unit_test(checks_json_before_anyone_reads_it),
        cmocka_unit_test_setup_teardown(refuses_deep_nesting, set_up, tear_down),
        cmocka_unit_test_setup_teardown(counts_bodies_as_they_arrive, set_up, tear_down),
        cmocka_unit_test_setup_teardown(cuts_off_a_body_without_end, set_up, tear_down),
        cmocka_unit_test_setup_teardown(takes_a_slow_body, set_up, tear_down),
        cmocka_unit_test_setup_teardown(closes_idle_connections, set_up, tear_down),
        cmocka_unit_test_setup_teardown(speaks_old_http_and_no_ranges, set_up, tear_down),
        cmocka_unit_test_setup_teardown(survives_random_requests, set_up, tear_down),
        cmocka_unit_test_setup_teardown(turns_away_too_many, set_up, tear_down),
        cmocka_unit_test_setup_teardown(lives_without_descriptors, set_up, tear_down),
        cmocka_unit_test(knows_who_may_ask),
        cmocka_unit_test_setup_teardown(refuses_a_stranger_each_time, set_up, tear_down),
        cmocka_unit_test_setup_teardown(is_as_open_as_its_mode_says, set_up, tear_down),
        cmocka_unit_test_setup_teardown(takes_the_place_of_the_dead_only, set_up, tear_down),
        cmocka_unit_test_setup_teardown(leaves_the_sockets_of_others, set_up, tear_down),
        cmocka_unit_test_setup_teardown(ends_with_connections_open, set_up, tear_down),
    };

    return cmocka_run_group_tests_name("control", tests, NULL, NULL);
}
