/* SPDX-License-Identifier: MIT */
/*
 * MET Norway asked over HTTP: what is sent to the letter, and what each answer means. The service
 * is a server on loopback; its rules are those of the terms of service and the status codes that it
 * publishes (api.met.no/doc/TermsOfService, /doc/StatusCodes).
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <libsoup/soup.h>
#include <string.h>

#include "base/error.h"
#include "met-norway-reply.h"
#include "weather/memory.h"
#include "weather/met-norway-parse.h"
#include "weather/source.h"

#define CONTACT "gardener@plot.example"
#define NOW_UTC (REPLY_UPDATED_UTC + 600)
#define PATH "/weatherapi/locationforecast/2.0/complete"
/* As the service wrote it, which is not how we would: it must come back byte for byte. */
#define LAST_MODIFIED "Thu,  2 Apr 2026 00:31:02 GMT"

typedef struct Fixture {
    SoupServer *server;
    Clock *clk;
    Garden garden;
    Site site;
    WeatherSource *source;
    WeatherMemory *memory;
    /* what the server answers */
    guint status;
    char *body;
    const char *last_modified, *expires, *retry_after, *location;
    bool gzip;
    /* what it was asked */
    int asked;
    char *method, *path, *query, *user_agent, *if_modified_since, *accept_encoding;
    /* what came of it */
    GPtrArray *forecasts;
    GError *error;
    bool done;
} Fixture;

static void note(char **to, const char *text)
{
    g_free(*to);
    *to = g_strdup(text);
}

static GBytes *compressed(const char *text)
{
    g_autoptr(GZlibCompressor) gzip = g_zlib_compressor_new(G_ZLIB_COMPRESSOR_FORMAT_GZIP, -1);
    g_autoptr(GOutputStream) memory = g_memory_output_stream_new_resizable();
    g_autoptr(GOutputStream) stream = g_converter_output_stream_new(memory, G_CONVERTER(gzip));
    assert_true(g_output_stream_write_all(stream, text, strlen(text), NULL, NULL, NULL));
    assert_true(g_output_stream_close(stream, NULL, NULL));
    return g_memory_output_stream_steal_as_bytes(G_MEMORY_OUTPUT_STREAM(memory));
}

static void asked(SoupServer *server, SoupServerMessage *message, const char *path,
                  GHashTable *query, gpointer data)
{
    (void)server;
    (void)query;
    Fixture *f = data;
    SoupMessageHeaders *given = soup_server_message_get_request_headers(message);
    SoupMessageHeaders *headers = soup_server_message_get_response_headers(message);
    f->asked++;
    note(&f->method, soup_server_message_get_method(message));
    note(&f->path, path);
    note(&f->query, g_uri_get_query(soup_server_message_get_uri(message)));
    note(&f->user_agent, soup_message_headers_get_one(given, "User-Agent"));
    note(&f->if_modified_since, soup_message_headers_get_one(given, "If-Modified-Since"));
    note(&f->accept_encoding, soup_message_headers_get_list(given, "Accept-Encoding"));
    soup_message_headers_replace(headers, "Date", "Thu, 02 Apr 2026 00:40:57 GMT"); /* NOW_UTC */
    if (f->location != NULL) {
        soup_message_headers_replace(headers, "Location", f->location);
        f->location = NULL; /* the next one is answered */
        soup_server_message_set_status(message, 302, NULL);
        return;
    }
    if (f->last_modified != NULL)
        soup_message_headers_replace(headers, "Last-Modified", f->last_modified);
    if (f->expires != NULL)
        soup_message_headers_replace(headers, "Expires", f->expires);
    if (f->retry_after != NULL)
        soup_message_headers_replace(headers, "Retry-After", f->retry_after);
    soup_server_message_set_status(message, f->status, NULL);
    if (f->status == 304)
        return;
    g_autoptr(GBytes) body = f->gzip ? compressed(f->body) : g_bytes_new(f->body, strlen(f->body));
    if (f->gzip)
        soup_message_headers_replace(headers, "Content-Encoding", "gzip");
    soup_message_headers_set_content_type(headers, "application/json", NULL);
    soup_message_body_append_bytes(soup_server_message_get_response_body(message), body);
}

static int setup(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    f->server = soup_server_new(NULL, NULL);
    soup_server_add_handler(f->server, NULL, asked, f, NULL);
    assert_true(soup_server_listen_local(f->server, 0, SOUP_SERVER_LISTEN_IPV4_ONLY, NULL));
    GSList *uris = soup_server_get_uris(f->server);
    WeatherService *service = &f->garden.services[1];
    g_strlcpy(service->name, "met-norway", sizeof service->name);
    g_strlcpy(service->contact, CONTACT, sizeof service->contact);
    g_snprintf(service->url, sizeof service->url, "http://127.0.0.1:%d" PATH,
               g_uri_get_port(uris->data));
    g_slist_free_full(uris, (GDestroyNotify)g_uri_unref);
    f->clk = clock_virtual_new(NULL, NOW_UTC);
    f->site = reply_site(52.523456, 13.414999);
    f->source = weather_source_new("met-norway", &f->garden, f->clk, NULL);
    assert_non_null(f->source);
    f->memory = weather_memory_new();
    f->status = 200;
    f->body = reply_season(&f->site, 7, -2.5);
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    Fixture *f = *state;
    weather_source_free(f->source);
    weather_memory_free(f->memory);
    soup_server_disconnect(f->server);
    while (g_main_context_iteration(NULL, FALSE))
        continue; /* connections that are being closed */
    g_object_unref(f->server);
    clock_free(f->clk);
    g_clear_pointer(&f->forecasts, g_ptr_array_unref);
    g_clear_error(&f->error);
    g_free(f->body);
    g_free(f->method);
    g_free(f->path);
    g_free(f->query);
    g_free(f->user_agent);
    g_free(f->if_modified_since);
    g_free(f->accept_encoding);
    g_free(f);
    return 0;
}

static void fetched(GObject *object, GAsyncResult *result, gpointer data)
{
    Fixture *f = data;
    (void)object;
    weather_memory_free(f->memory);
    f->forecasts = weather_source_fetch_finish(result, &f->memory, &f->error);
    f->done = true;
}

/* One whole request, with what its memory is told before and after. */
static void fetch(Fixture *f)
{
    f->done = false;
    g_clear_pointer(&f->forecasts, g_ptr_array_unref);
    g_clear_error(&f->error);
    g_autofree char *what = weather_source_what(f->source, &f->site);
    weather_memory_begin(f->memory, what, clock_now(f->clk));
    weather_source_fetch(f->source, &f->site, f->memory, NULL, fetched, f);
    while (!f->done)
        g_main_context_iteration(NULL, TRUE);
    assert_true((f->forecasts == NULL) == (f->error != NULL));
    weather_memory_end(f->memory, f->error, clock_now(f->clk));
}

static int64_t next_utc(const Fixture *f)
{
    return weather_memory_next_utc(f->memory, f->memory->what, clock_now(f->clk));
}

static void test_request(void **state)
{
    Fixture *f = *state;
    fetch(f);
    assert_null(f->error);
    assert_int_equal(f->asked, 1); /* no HEAD before */
    assert_string_equal(f->method, "GET");
    assert_string_equal(f->path, PATH);
    /* Two decimals of the four that are allowed. */
    assert_string_equal(f->query, "lat=52.52&lon=13.41&altitude=38");
    assert_string_equal(f->user_agent, "thole/" PACKAGE_VERSION " " CONTACT);
    assert_null(f->if_modified_since);
    assert_non_null(strstr(f->accept_encoding, "gzip"));
    assert_int_equal(f->forecasts->len, 1);
    const Forecast *forecast = g_ptr_array_index(f->forecasts, 0);
    assert_string_equal(forecast->site, "plot");
    assert_string_equal(forecast->source, "MET Norway");
    assert_string_equal(forecast->source, weather_source_title(f->source));
    assert_non_null(strstr(weather_credit(forecast->source), "MET Norway"));
    assert_non_null(strstr(weather_credit(forecast->source), "CC BY 4.0"));
    assert_int_equal(forecast->issued_utc, REPLY_UPDATED_UTC);
    assert_int_equal(forecast->fetched_utc, NOW_UTC);
    assert_int_equal(forecast->hours->len, 9 * 24 + 1);
}

static void test_coordinates(void **state)
{
    Fixture *f = *state;
    static const struct {
        double latitude, longitude;
        bool altitude_estimated;
        double altitude_m;
        const char *query;
    } rows[] = {
        {-33.868, 151.209, true, 100, "lat=-33.87&lon=151.21"},
        {-0.001, 0.004, true, 0, "lat=0.00&lon=0.00"},
        {69.6492, -18.9551, false, -3.4, "lat=69.65&lon=-18.96&altitude=-3"},
        {52.5, 13.4, false, 99.6, "lat=52.50&lon=13.40&altitude=100"},
    };
    for (guint i = 0; i < G_N_ELEMENTS(rows); i++) {
        f->site = reply_site(rows[i].latitude, rows[i].longitude);
        f->site.altitude_estimated = rows[i].altitude_estimated;
        f->site.altitude_m = rows[i].altitude_m;
        fetch(f);
        assert_string_equal(f->query, rows[i].query);
    }
}

/* Expires is waited for; then the reply's own Last-Modified goes back, and 304 is good. */
static void test_nothing_new(void **state)
{
    Fixture *f = *state;
    f->last_modified = LAST_MODIFIED;
    f->expires = "Thu, 02 Apr 2026 02:10:57 GMT"; /* NOW_UTC + 90 min */
    fetch(f);
    assert_null(f->error);
    assert_string_equal(f->memory->last_modified, LAST_MODIFIED);
    assert_true(next_utc(f) > NOW_UTC + 90 * 60);
    assert_true(next_utc(f) <= NOW_UTC + 90 * 60 + WEATHER_ASK_SPREAD_S);

    f->status = 304;
    f->last_modified = NULL;
    f->expires = "Thu, 02 Apr 2026 03:40:57 GMT"; /* NOW_UTC + 3 h */
    fetch(f);
    assert_string_equal(f->if_modified_since, LAST_MODIFIED);
    assert_null(f->error);
    assert_int_equal(f->forecasts->len, 0); /* no new forecast */
    assert_int_equal(f->memory->good_utc, NOW_UTC);
    assert_null(f->memory->problem);
    assert_string_equal(f->memory->last_modified, LAST_MODIFIED);
    assert_true(next_utc(f) > NOW_UTC + 3 * 3600);

    f->status = 200;
    f->last_modified = "Thu, 02 Apr 2026 06:00:00 GMT";
    fetch(f);
    assert_string_equal(f->if_modified_since, LAST_MODIFIED);
    assert_int_equal(f->forecasts->len, 1);
    assert_string_equal(f->memory->last_modified, "Thu, 02 Apr 2026 06:00:00 GMT");
}

/* What is refused is not held, so it is not said to be. */
static void test_bad_reply(void **state)
{
    Fixture *f = *state;
    f->last_modified = LAST_MODIFIED;
    f->body[strlen(f->body) / 2] = '\0';
    fetch(f);
    assert_non_null(strstr(f->error->message, "MET Norway: not JSON"));
    assert_null(f->memory->last_modified);
    fetch(f);
    assert_null(f->if_modified_since);
    assert_int_equal(f->memory->failures, 2);
}

static void test_compressed(void **state)
{
    Fixture *f = *state;
    f->gzip = true;
    fetch(f);
    assert_null(f->error);
    assert_int_equal(f->forecasts->len, 1);
}

static void test_redirected(void **state)
{
    Fixture *f = *state;
    f->location = "/elsewhere?lat=52.52&lon=13.41";
    fetch(f);
    assert_null(f->error);
    assert_int_equal(f->asked, 2);
    assert_string_equal(f->path, "/elsewhere");
    assert_string_equal(f->user_agent, "thole/" PACKAGE_VERSION " " CONTACT);
    assert_int_equal(f->forecasts->len, 1);

    f->location = "http://api.met.no/weatherapi"; /* not encrypted, and not this machine */
    fetch(f);
    assert_non_null(f->error);
    assert_int_equal(f->asked, 3);
}

/* 203: it works, and will not for long. */
static void test_deprecated(void **state)
{
    Fixture *f = *state;
    f->status = 203;
    f->last_modified = LAST_MODIFIED;
    fetch(f);
    assert_null(f->error);
    assert_int_equal(f->forecasts->len, 1);
    assert_string_equal(f->memory->last_modified, LAST_MODIFIED);
    assert_string_equal(f->memory->notice, "MET Norway will end this version of its forecast soon "
                                           "(HTTP 203); look for a newer thole");
    f->status = 304; /* says nothing of it */
    fetch(f);
    assert_non_null(f->memory->notice);
    f->status = 200;
    fetch(f);
    assert_null(f->memory->notice);
}

static void test_refusals(void **state)
{
    Fixture *f = *state;
    static const struct {
        guint status;
        const char *hint;
    } rows[] = {
        {304, "nothing is new, though"}, /* we said nothing of what we have */
        {400, "url="},
        {401, "url="},
        {403, "contact="},
        {404, "url="},
        {418, "not with a forecast"},
        {422, "latitude= and longitude="},
        {429, "contact="},
        {499, "not with a forecast"},
        {500, "in trouble"},
        {502, "in trouble"},
        {503, "in trouble"},
    };
    for (guint i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *code = g_strdup_printf("(HTTP %u)", rows[i].status);
        f->status = rows[i].status;
        fetch(f);
        assert_non_null(f->error);
        assert_true(g_str_has_prefix(f->error->message, "MET Norway "));
        assert_non_null(strstr(f->error->message, rows[i].hint));
        assert_non_null(strstr(f->error->message, code));
        assert_null(strstr(f->error->message, "52.5")); /* where the garden is stays here */
        assert_int_equal(f->memory->failures, i + 1);
        assert_true(next_utc(f) > NOW_UTC + 3600);
    }
    assert_true(next_utc(f) > NOW_UTC + WEATHER_BACKOFF_S);
}

/* A service that says when is obeyed, also with an error, and also if what we have is kept. */
static void test_retry_after(void **state)
{
    Fixture *f = *state;
    f->last_modified = LAST_MODIFIED;
    fetch(f);
    f->status = 429;
    f->retry_after = "20000";
    fetch(f);
    assert_non_null(f->error);
    assert_true(next_utc(f) > NOW_UTC + 20000);
    assert_string_equal(f->memory->last_modified, LAST_MODIFIED);
}

static void test_too_long(void **state)
{
    Fixture *f = *state;
    g_free(f->body);
    f->body = g_strnfill(MET_NORWAY_BYTES_MAX + 1, ' ');
    fetch(f);
    assert_true(g_error_matches(f->error, THOLE_ERROR, THOLE_ERROR_LIMIT));
    assert_true(g_str_has_prefix(f->error->message, "MET Norway: "));
    f->gzip = true; /* small on the way */
    fetch(f);
    assert_true(g_error_matches(f->error, THOLE_ERROR, THOLE_ERROR_LIMIT));
}

static void test_no_contact(void **state)
{
    Fixture *f = *state;
    g_autoptr(GError) error = NULL;
    assert_null(weather_source_new("met-norway", NULL, f->clk, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
    assert_non_null(strstr(error->message, "contact="));
    g_clear_error(&error);
    assert_null(weather_source_new("met-norway:x", &f->garden, f->clk, &error));
    assert_non_null(strstr(error->message, "nothing may follow"));
}

/* The source is closed while its answer is on the way. */
static void test_freed_in_flight(void **state)
{
    Fixture *f = *state;
    weather_source_fetch(f->source, &f->site, f->memory, NULL, fetched, f);
    g_clear_pointer(&f->source, weather_source_free);
    memset(&f->site, 0, sizeof f->site);
    while (!f->done)
        g_main_context_iteration(NULL, TRUE);
    assert_null(f->error);
    assert_int_equal(f->forecasts->len, 1);
}

#define WITH_SERVER(test) cmocka_unit_test_setup_teardown(test, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_SERVER(test_request),     WITH_SERVER(test_coordinates),
        WITH_SERVER(test_nothing_new), WITH_SERVER(test_bad_reply),
        WITH_SERVER(test_compressed),  WITH_SERVER(test_redirected),
        WITH_SERVER(test_deprecated),  WITH_SERVER(test_refusals),
        WITH_SERVER(test_retry_after), WITH_SERVER(test_too_long),
        WITH_SERVER(test_no_contact),  WITH_SERVER(test_freed_in_flight),
    };
    return cmocka_run_group_tests_name("met-norway-http", tests, NULL, NULL);
}
