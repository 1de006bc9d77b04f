/* SPDX-License-Identifier: MIT */
/* The control interface, spoken to by raw bytes from the same thread. */
#include "control-client.h"

#include <errno.h>
#include <fcntl.h>
#include <glib/gstdio.h>
#include <math.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <unistd.h>

#include "base/error.h"
#include "base/json-check.h"
#include "control/control.h"

typedef struct Fixture {
    char *folder, *path;
    Control *control;
} Fixture;

/*
 * For the leak sanitizer, as tests/valgrind.supp for valgrind: a leak of libsoup's own, which
 * random requests bring out. To know it, whole stacks are needed.
 */
const char *__asan_default_options(void);
const char *__asan_default_options(void)
{
    return "fast_unwind_on_malloc=0";
}

const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:soup_headers_parse_request\n";
}

/* What the wrapped function gives instead. */
static guint idle_s_played;

void __real_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout);
void __wrap_g_socket_set_timeout(GSocket *socket, guint timeout)
{
    assert_true(timeout == WIRE_IDLE_S || timeout == 0);
    __real_g_socket_set_timeout(socket, timeout != 0 && idle_s_played ? idle_s_played : timeout);
}

static const char *socket_of(void **state)
{
    const Fixture *f = *state;

    return f->path;
}

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
        !control_reject_rest(request, error))
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
    } words[] = {{"invalid", THOLE_ERROR_INVALID},
                 {"missing", THOLE_ERROR_NOT_FOUND},
                 {"conflict", THOLE_ERROR_CONFLICT},
                 {"limit", THOLE_ERROR_LIMIT},
                 {"io", THOLE_ERROR_IO},
                 {"stale", THOLE_ERROR_STALE},
                 {"failed", THOLE_ERROR_FAILED}};
    const char *how = control_param(request, "how");

    (void)data;
    for (guint i = 0; i < G_N_ELEMENTS(words); i++)
        if (g_str_equal(how, words[i].word))
            g_set_error(error, THOLE_ERROR, words[i].code, "it is %s", how);
    if (!*error)
        g_set_error(error, G_FILE_ERROR, G_FILE_ERROR_NOENT, "it is %s", how);
    return NULL;
}

/* Written, and refused after half of it was. */
static gboolean on_written(const ControlRequest *request, JsonText *to, gpointer data,
                           GError **error)
{
    const char *how = control_param(request, "how");

    (void)data;
    json_text_string(to, "text", "a \"leek\"");
    json_text_begin_array(to, "many");
    for (int i = 0; i < 100000; i++)
        json_text_int(to, NULL, i);
    if (g_str_equal(how, "not"))
        return g_set_error(error, THOLE_ERROR, THOLE_ERROR_CONFLICT, "it is not"), FALSE;
    json_text_end_array(to);
    return control_reject_rest(request, error);
}

static JsonNode *on_hello(const ControlRequest *request, gpointer data, GError **error)
{
    const ControlHello hello = {
        .garden = "/g/thole.conf", .is_virtual = TRUE, .now_utc = 1775995200};

    (void)data;
    return control_reject_rest(request, error) ? control_hello_node(&hello) : NULL;
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
    control_add_text(control, "GET", "/v1/written/{how}", on_written, NULL);
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
    g_autofree char *reply = client_ask(socket_of(state), "GET", "/v1/", "");
    g_autoptr(JsonParser) parser = json_parser_new();
    JsonObject *object = client_object(reply, parser);

    assert_int_equal(client_status(reply), 200);
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
        {"a longer path than the route", "GET", "/v1/fail/io/x", "", 404, "not-found",
         "/v1/fail/io/x"},
        {"an empty name", "POST", "/v1/batches/", "", 404, "not-found", "/v1/batches/"},
        {"the wrong method", "DELETE", "/v1/", "", 405, "method", "GET"},
        {"the wrong method, two are right", "GET", "/v1/batches/x", "", 405, "method", "POST, PUT"},
        {"half a surrogate pair", "POST", "/v1/batches/x", "{\"place\":\"\\ud800\\u0041\"}", 400,
         "invalid", "surrogate"},
        {"a name that is not UTF-8", "POST", "/v1/batches/%ff", "", 400, "invalid", "UTF-8"},
        {"a slash in a name", "POST", "/v1/batches/a%2fb", "", 400, "invalid", "path"},
        {"a line break in a name", "POST", "/v1/batches/a%0ab", "", 400, "invalid", "path"},
        {"a query that is not UTF-8", "POST", "/v1/batches/x?ended=%ff", "", 400, "invalid",
         "query"},
        {"a query that nobody reads", "POST", "/v1/batches/x?old=1", "", 400, "invalid",
         "accepted: place"},
        {"a flag that is none", "POST", "/v1/batches/x?ended=maybe", "", 400, "invalid",
         "ended=maybe"},
        {"no JSON", "POST", "/v1/batches/x", "place", 400, "invalid", "line 1, column 1"},
        {"JSON that ends early", "POST", "/v1/batches/x", "{\n\"place\":", 400, "invalid",
         "line 2, column 9"},
        {"an array", "POST", "/v1/batches/x", "[1]", 400, "invalid", "not a JSON object"},
        {"a comment", "POST", "/v1/batches/x", "/* */{}", 400, "invalid", "not JSON"},
        {"something behind", "POST", "/v1/batches/x", "{} {}", 400, "invalid", "follows"},
        {"not UTF-8", "POST", "/v1/batches/x", "{\"place\":\"\xff\"}", 400, "invalid", "UTF-8"},
        {"an unknown member", "POST", "/v1/batches/x", "{\"plaec\":\"a\"}", 400, "invalid",
         "plaec"},
        {"a number for a text", "POST", "/v1/batches/x", "{\"place\":3}", 400, "invalid",
         "place: 3"},
        {"an empty text", "POST", "/v1/batches/x", "{\"place\":\"\"}", 400, "invalid",
         "place: \"\""},
        {"a tab in a text", "POST", "/v1/batches/x", "{\"place\":\"a\\tb\"}", 400, "invalid",
         "place"},
        {"a missing text", "POST", "/v1/batches/special", "{}", 400, "invalid", "place is missing"},
        {"a null for a text", "POST", "/v1/batches/special", "{\"place\":null}", 400, "invalid",
         "missing"},
        {"a broken number", "POST", "/v1/batches/x", "{\"number\":1.5}", 400, "invalid",
         "number: 1.5"},
        {"a number too large", "POST", "/v1/batches/x", "{\"number\":5001}", 400, "invalid",
         "1 to 5000"},
        {"a number as text", "POST", "/v1/batches/x", "{\"number\":\"3\"}", 400, "invalid",
         "number: \"3\""},
        {"too many digits", "POST", "/v1/batches/x", "{\"number\":9999999999999999}", 400,
         "invalid", "too long"},
        {"an infinite number", "POST", "/v1/batches/x", "{\"low\":1e999}", 400, "invalid", "low"},
        {"a text for a yes", "POST", "/v1/batches/x", "{\"bought\":\"yes\"}", 400, "invalid",
         "true or false"},
        {"a time that is none", "POST", "/v1/batches/x", "{\"at\":\"25:00\"}", 400, "invalid",
         "18:30"},
        {"a date that is none", "POST", "/v1/batches/x", "{\"at\":\"2026-02-30\"}", 400, "invalid",
         "at: "},
        {"a night that is none", "POST", "/v1/batches/x", "{\"night\":\"someday\"}", 400, "invalid",
         "tonight"},
        {"a job twice", "POST", "/v1/batches/x", "{\"jobs\":[7,7]}", 400, "invalid", "each once"},
        {"no job", "POST", "/v1/batches/x", "{\"jobs\":[]}", 400, "invalid", "1 to 4"},
        {"job zero", "POST", "/v1/batches/x", "{\"jobs\":[0]}", 400, "invalid", "above 0"},
        {"one job too many", "POST", "/v1/batches/x", "{\"jobs\":[1,2,3,4,5]}", 400, "invalid",
         "1 to 4"},
        {"invalid", "GET", "/v1/fail/invalid", "", 400, "invalid", "it is invalid"},
        {"not found", "GET", "/v1/fail/missing", "", 404, "not-found", "it is missing"},
        {"conflict", "GET", "/v1/fail/conflict", "", 409, "conflict", "it is conflict"},
        {"half written", "GET", "/v1/written/not", "", 409, "conflict", "it is not"},
        {"written, and left over", "GET", "/v1/written/all?x=1", "", 400, "invalid", "x"},
        {"limit", "GET", "/v1/fail/limit", "", 413, "too-large", "it is limit"},
        {"input or output", "GET", "/v1/fail/io", "", 500, "failed", "it is io"},
        {"another domain's", "GET", "/v1/fail/other", "", 500, "failed", "it is other"},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *reply =
            client_ask(socket_of(state), rows[i].method, rows[i].target, rows[i].body);
        if (client_status(reply) != rows[i].status)
            print_message("# %s\n", rows[i].sentence);
        assert_problem(reply, rows[i].status, rows[i].type, rows[i].detail);
        assert_int_equal(strstr(reply, "\r\nAllow: ") != NULL, rows[i].status == 405);
    }
}

static void sends_what_is_written(void **state)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    g_autofree char *reply = client_ask(socket_of(state), "GET", "/v1/written/all", "");

    assert_int_equal(client_status(reply), 200);
    assert_non_null(strstr(reply, "\r\nContent-Type: " WIRE_JSON "\r\n"));
    JsonObject *object = client_object(reply, parser);
    assert_int_equal(json_object_get_int_member(object, WIRE_VERSION_MEMBER), WIRE_API_VERSION);
    assert_string_equal(json_object_get_string_member(object, "text"), "a \"leek\"");
    JsonArray *many = json_object_get_array_member(object, "many");
    assert_int_equal(json_array_get_length(many), 100000);
    assert_int_equal(json_array_get_int_element(many, 99999), 99999);
}

static void reads_what_a_body_says(void **state)
{
    static const struct {
        const char *sentence, *target, *body, *member, *value;
    } rows[] = {
        {"no body is an empty one", "/v1/batches/x", "", "place", "\"none\""},
        {"null leaves the default", "/v1/batches/x", "{\"number\":null}", "number", "-1"},
        {"a name with a space", "/v1/batches/a%20b", "", "name", "\"a b\""},
        {"letters beyond ASCII", "/v1/batches/x", "{\"place\":\"Fr\\u00fchbeet\"}", "place",
         "\"Frühbeet\""},
        {"a pair of surrogates", "/v1/batches/x", "{\"place\":\"\\ud83c\\udf31\"}", "place",
         "\"🌱\""},
        {"a whole number with a point", "/v1/batches/x", "{\"number\":12.0}", "number", "12"},
        {"an exponent", "/v1/batches/x", "{\"number\":1e2}", "number", "100"},
        {"a number below zero", "/v1/batches/x", "{\"low\":-2.5}", "low", "-2.5"},
        {"a missing number is null", "/v1/batches/x", "{}", "low", "null"},
        {"yes", "/v1/batches/x", "{\"bought\":true}", "bought", "true"},
        {"a flag", "/v1/batches/x?ended=true", "", "ended", "true"},
        {"an instant", "/v1/batches/x", "{\"at\":\"2026-04-12T17:30:00Z\"}", "at", "1776015000"},
        {"a local hour, summer time", "/v1/batches/x", "{\"at\":\"18:30\"}", "at", "1776015000"},
        {"a local date and hour", "/v1/batches/x", "{\"at\":\"2026-04-12 18:30\"}", "at",
         "1776015000"},
        {"the same with a T", "/v1/batches/x", "{\"at\":\"2026-04-12T18:30\"}", "at", "1776015000"},
        {"a day begins at midnight", "/v1/batches/x", "{\"at\":\"2026-04-12\"}", "at",
         "1775948400"},
        {"tonight", "/v1/batches/x", "{\"night\":\"tonight\"}", "night", "20555"},
        {"tomorrow", "/v1/batches/x", "{\"night\":\"tomorrow\"}", "night", "20556"},
        {"a date", "/v1/batches/x", "{\"night\":\"2026-04-12\"}", "night", "20555"},
        {"jobs", "/v1/batches/x", "{\"jobs\":[3,1]}", "jobs", "2"},
        {"the plain path first", "/v1/batches/special", "{\"place\":\"p\"}", "place", "\"p\""},
    };

    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *reply = client_ask(socket_of(state), "POST", rows[i].target, rows[i].body);
        g_autoptr(JsonParser) parser = json_parser_new();
        if (client_status(reply) != 200)
            fail_msg("%s: %s", rows[i].sentence, reply);
        JsonObject *object = client_object(reply, parser);
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
        {"{}", true},
        {" [ ] ", true},
        {"{\"a\":[1,-0,0.5,1E+2,true,false,null,\"\\n\\u20ac\"]}", true},
        {"", false},
        {"{", false},
        {"{\"a\"}", false},
        {"{\"a\":1,}", false},
        {"[1 2]", false},
        {"01", false},
        {"1.", false},
        {".5", false},
        {"+1", false},
        {"1e", false},
        {"1e1000", false},
        {"NaN", false},
        {"tru", false},
        {"'a'", false},
        {"\"a", false},
        {"\"\\x\"", false},
        {"\"\\u12\"", false},
        {"\"\\u0000\"", false},
        {"\"\\udc00\"", false},
        {"\"\\ud800\"", false},
        {"\"\n\"", false},
        {"var a = {}", false},
        {"{a:1}", false},
        {"// a\n{}", false},
        {"[[[[]]]]", true},
        {"[[[[[]]]]]", false},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        if (json_check(rows[i].text, strlen(rows[i].text), 4, &error) != rows[i].valid)
            fail_msg("%s", rows[i].text);
        assert_int_equal(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID), !rows[i].valid);
    }
    g_autoptr(GError) error = NULL;
    assert_false(json_check("\"a\0b\"", 5, 4, &error));
}

static void refuses_deep_nesting(void **state)
{
    g_autofree char *open = g_strnfill(20000, '[');
    g_autofree char *body = g_strconcat("{\"place\":", open, NULL);
    g_autofree char *reply = client_ask(socket_of(state), "POST", "/v1/batches/x", body);

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
    g_autofree char *full_reply = client_ask(socket_of(state), "POST", "/v1/batches/x", full);
    g_autofree char *over_reply = client_ask(socket_of(state), "POST", "/v1/batches/x", over);
    g_autofree char *full_chunked = chunked(full, 1000);
    g_autofree char *over_chunked = chunked(over, 1000);
    g_autofree char *full_chunked_reply =
        client_exchange(socket_of(state), full_chunked, strlen(full_chunked));
    g_autofree char *over_chunked_reply =
        client_exchange(socket_of(state), over_chunked, strlen(over_chunked));

    assert_int_equal(client_status(full_reply), 200);
    assert_problem(over_reply, 413, "too-large", "64 KiB");
    assert_int_equal(client_status(full_chunked_reply), 200);
    assert_problem(over_chunked_reply, 413, "too-large", "64 KiB");

    /* Who waits to be told to go on is not told. */
    const char *waiting = "POST /v1/batches/x HTTP/1.1\r\nHost: l\r\nContent-Length: 99999999\r\n"
                          "Expect: 100-continue\r\n\r\n";
    g_autofree char *waiting_reply = client_exchange(socket_of(state), waiting, strlen(waiting));
    assert_problem(waiting_reply, 413, "too-large", "64 KiB");
}

static void cuts_off_a_body_without_end(void **state)
{
    const Fixture *f = *state;
    g_autofree char *body = g_strnfill(4 * 1024 * 1024, ' ');
    g_autofree char *text = g_strconcat("POST /v1/batches/x HTTP/1.1\r\nHost: l\r\n"
                                        "Content-Length: 999999999999\r\n\r\n",
                                        body, NULL);
    g_autofree char *reply = client_exchange(f->path, text, strlen(text));
    g_autofree char *after = client_ask(f->path, "GET", "/v1/", "");

    assert_int_not_equal(client_status(reply), 200);
    assert_int_equal(client_status(after), 200);
}

static void takes_a_slow_body(void **state)
{
    const Fixture *f = *state;
    g_autofree char *text = client_text("POST", "/v1/batches/x", "{\"place\":\"slow\"}");
    g_autofree char *reply = client_finish(client_open(f->path), text, strlen(text), 1);

    assert_int_equal(client_status(reply), 200);
    assert_non_null(strstr(reply, "\"slow\""));
}

static void closes_idle_connections(void **state)
{
    const Fixture *f = *state;
    const char *half = "GET /v1/ HTT";
    const gint64 start_us = g_get_monotonic_time();

    idle_s_played = 1;
    const int silent = client_open(f->path);
    g_autofree char *text = client_text("POST", "/v1/batches/x", "{\"place\":\"dripping\"}");
    const int dripping = client_open(f->path);
    assert_int_equal(send(dripping, text, 60, MSG_NOSIGNAL), 60);
    g_autofree char *half_reply = client_finish(client_open(f->path), half, strlen(half), 100);
    g_autofree char *silent_reply = client_finish(silent, "", 0, 1);
    g_autofree char *dripping_reply = client_finish(dripping, "", 0, 1);
    assert_int_not_equal(client_status(half_reply), 200);
    assert_int_not_equal(client_status(dripping_reply), 200);
    assert_string_equal(silent_reply, "");
    assert_true(g_get_monotonic_time() - start_us >= G_USEC_PER_SEC);
}

static void speaks_old_http_and_no_ranges(void **state)
{
    const char *old = "GET /v1/ HTTP/1.0\r\n\r\n";
    const char *range = "GET /v1/ HTTP/1.1\r\nHost: l\r\nRange: bytes=0-3\r\n\r\n";
    const char *newer = "GET /v1/ HTTP/1.1\r\nHost: l\r\nThole-Api: 2\r\n\r\n";
    g_autofree char *old_reply = client_exchange(socket_of(state), old, strlen(old));
    g_autofree char *range_reply = client_exchange(socket_of(state), range, strlen(range));
    g_autofree char *newer_reply = client_exchange(socket_of(state), newer, strlen(newer));

    assert_int_equal(client_status(old_reply), 200);
    assert_int_equal(client_status(range_reply), 200);
    assert_problem(newer_reply, 400, "version", "accepted: 1");
}

/* A request that is nearly right, with some bytes changed. */
static GByteArray *random_request(GRand *random)
{
    static const char *const starts[] = {
        "GET /v1/ HTTP/1.1\r\nHost: l\r\n\r\n",
        "POST /v1/batches/x HTTP/1.1\r\nHost: l\r\nContent-Length: "
        "40\r\n\r\n{\"place\":\"frame\",\"number\":12,\"jobs\":[1]}",
        "POST /v1/batches/%41?ended=1 HTTP/1.1\r\nHost: l\r\nTransfer-Encoding: "
        "chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n",
        "OPTIONS * HTTP/1.1\r\nHost: l\r\n\r\n",
        "CONNECT l:1 HTTP/1.1\r\nHost: l\r\n\r\n",
        "HEAD /v1/ HTTP/1.0\r\n\r\n"};
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
        case 2: {
            const guint n_again = MIN(bytes->len - at, 40);
            g_autofree guint8 *again = g_memdup2(bytes->data + at, n_again);
            g_byte_array_append(bytes, again, n_again);
            break;
        }
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
        const int fd = client_open(f->path);
        assert_true(send(fd, bytes->data, bytes->len, MSG_NOSIGNAL) >= 0);
        assert_return_code(shutdown(fd, SHUT_WR), errno);
        g_free(client_finish(fd, "", 0, 1));
    }
    g_rand_free(random);
    g_autofree char *reply = client_ask(f->path, "GET", "/v1/", "");
    assert_int_equal(client_status(reply), 200);
}

static void turns_away_too_many(void **state)
{
    const Fixture *f = *state;
    int fds[64];

    for (int i = 0; i < 64; i++) {
        fds[i] = client_open(f->path);
        while (g_main_context_iteration(NULL, FALSE))
            ;
    }
    g_autofree char *away = client_ask(f->path, "GET", "/v1/", "");
    assert_string_equal(away, "");
    for (int i = 0; i < 64; i++)
        g_free(client_finish(fds[i], "GET /v1/ HTTP/1.1\r\nHost: l\r\n\r\n", 30, 100));
    g_autofree char *reply = client_ask(f->path, "GET", "/v1/", "");
    assert_int_equal(client_status(reply), 200);
}

static void lives_without_descriptors(void **state)
{
    const Fixture *f = *state;
    struct rlimit usual, low;
    const int client = client_open(f->path);
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
    g_autofree char *reply = client_ask(f->path, "GET", "/v1/", "");
    assert_int_equal(client_status(reply), 200);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(says_hello, set_up, tear_down),
        cmocka_unit_test_setup_teardown(refuses_with_a_problem, set_up, tear_down),
        cmocka_unit_test_setup_teardown(sends_what_is_written, set_up, tear_down),
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
    };

    return cmocka_run_group_tests_name("control", tests, NULL, NULL);
}
