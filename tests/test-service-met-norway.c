/* SPDX-License-Identifier: MIT */
/*
 * Days of a whole service with MET Norway, on the virtual clock. The service on loopback is as
 * strict as the real one says that it is: it notes whoever comes before Expires, without a contact,
 * or with an If-Modified-Since that is not, to the letter, the Last-Modified of its reply.
 */
#include "service-world.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <libsoup/soup.h>
#include <string.h>

#include "base/local-time.h"
#include "met-norway-reply.h"
#include "service/api-sources.h"

#define ISSUE_S (6 * HOUR_S) /* outside the north: four times a day */
#define EXPIRES_S (100 * 60) /* longer than our own hour, so that it counts */
#define START "2026-04-02T01:10Z"
#define PLACES 2

/* What the service knows of one place. */
typedef struct Spot {
    char *query;    /* (owned) */
    char *modified; /* (owned) of its last whole reply */
    int64_t not_before_utc;
    int whole, unchanged; /* replies */
} Spot;

typedef struct Fixture {
    World *world;
    SoupServer *server;
    Spot places[PLACES];
    int refused; /* while `status` was another than 200 */
    guint status;
    GPtrArray *faults;    /* (owned) (element-type utf8) broken rules */
    gboolean minutes[60]; /* at which it was asked */
} Fixture;

static void G_GNUC_PRINTF(2, 3) fault(Fixture *f, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    g_ptr_array_add(f->faults, g_strdup_vprintf(format, args));
    va_end(args);
}

static Spot *spot_of(Fixture *f, const char *query)
{
    for (int i = 0; i < PLACES; i++) {
        if (f->places[i].query == NULL)
            f->places[i].query = g_strdup(query);
        if (strcmp(f->places[i].query, query) == 0)
            return &f->places[i];
    }
    fail_msg("a third place: %s", query);
    return NULL;
}

/* The season of met-norway-reply.h, issued at the last of the times of issue. */
static char *body_for(GHashTable *query, int64_t issued_utc)
{
    const char *north = g_hash_table_lookup(query, "lat"),
               *east = g_hash_table_lookup(query, "lon");
    assert_non_null(north);
    assert_non_null(east);
    const double low_c = -2.5 - (double)(issued_utc / ISSUE_S % 10) / 10; /* each says another */
    const Site site = reply_site(g_ascii_strtod(north, NULL), g_ascii_strtod(east, NULL));
    g_autofree char *season = reply_season(&site, 7, low_c), *issued = utc_format(issued_utc);
    g_auto(GStrv) parts = g_strsplit(season, REPLY_UPDATED, 2);
    return g_strjoinv(issued, parts);
}

static void set_time(SoupMessageHeaders *headers, const char *name, int64_t utc)
{
    g_autoptr(GDateTime) time = g_date_time_new_from_unix_utc(utc);
    g_autofree char *text = soup_date_time_to_string(time, SOUP_DATE_HTTP);
    soup_message_headers_replace(headers, name, text);
}

static void asked(SoupServer *server, SoupServerMessage *message, const char *path,
                  GHashTable *query, gpointer data)
{
    (void)server;
    Fixture *f = data;
    const int64_t now_utc = world_now(f->world);
    SoupMessageHeaders *given = soup_server_message_get_request_headers(message);
    SoupMessageHeaders *headers = soup_server_message_get_response_headers(message);
    Spot *spot = spot_of(f, g_uri_get_query(soup_server_message_get_uri(message)));
    const char *agent = soup_message_headers_get_one(given, "User-Agent");
    const char *since = soup_message_headers_get_one(given, "If-Modified-Since");
    if (strcmp(soup_server_message_get_method(message), "GET") != 0)
        fault(f, "%s", soup_server_message_get_method(message));
    if (strcmp(path, "/complete") != 0)
        fault(f, "path %s", path);
    if (agent == NULL || strstr(agent, "gardener@plot.example") == NULL)
        fault(f, "who is %s?", agent);
    if (now_utc < spot->not_before_utc)
        fault(f, "%" G_GINT64_FORMAT " s too early", spot->not_before_utc - now_utc);
    if (g_strcmp0(since, spot->modified) != 0)
        fault(f, "If-Modified-Since: %s; it was %s", since, spot->modified);
    f->minutes[now_utc / 60 % 60] = TRUE;
    set_time(headers, "Date", now_utc);
    if (f->status != 200) {
        f->refused++;
        soup_server_message_set_status(message, f->status, NULL);
        return;
    }
    spot->not_before_utc = now_utc + EXPIRES_S;
    set_time(headers, "Expires", spot->not_before_utc);
    const int64_t issued_utc = now_utc - now_utc % ISSUE_S;
    g_autofree char *modified =
        g_strdup_printf("as of  %" G_GINT64_FORMAT ", to the letter", issued_utc);
    if (g_strcmp0(since, modified) == 0) {
        spot->unchanged++;
        soup_server_message_set_status(message, 304, NULL);
        return;
    }
    spot->whole++;
    g_free(spot->modified);
    spot->modified = g_strdup(modified);
    soup_message_headers_replace(headers, "Last-Modified", modified);
    soup_server_message_set_status(message, 200, NULL);
    g_autofree char *body = body_for(query, issued_utc);
    soup_server_message_set_response(message, "application/json", SOUP_MEMORY_COPY, body,
                                     strlen(body));
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    f->status = 200;
    f->faults = g_ptr_array_new_with_free_func(g_free);
    f->server = soup_server_new(NULL, NULL);
    soup_server_add_handler(f->server, NULL, asked, f, NULL);
    assert_true(soup_server_listen_local(f->server, 0, SOUP_SERVER_LISTEN_IPV4_ONLY, NULL));
    GSList *uris = soup_server_get_uris(f->server);
    g_autofree char *garden = g_strdup_printf(
        "%s[weather met-norway]\nurl=http://127.0.0.1:%d/complete\ncontact=gardener@plot.example\n",
        world_garden, g_uri_get_port(uris->data));
    g_slist_free_full(uris, (GDestroyNotify)g_uri_unref);
    f->world = world_new(garden, START);
    g_free(f->world->weather);
    f->world->weather = g_strdup("met-norway");
    *state = f;
    return 0;
}

static int tear_down(void **state)
{
    Fixture *f = *state;
    world_free(f->world);
    soup_server_disconnect(f->server);
    g_object_unref(f->server);
    for (int i = 0; i < PLACES; i++) {
        g_free(f->places[i].query);
        g_free(f->places[i].modified);
    }
    g_ptr_array_unref(f->faults);
    g_free(f);
    return 0;
}

static void assert_polite(const Fixture *f)
{
    if (f->faults->len > 0)
        fail_msg("%u rules broken, first: %s", f->faults->len,
                 (const char *)g_ptr_array_index(f->faults, 0));
}

static void test_two_days(void **state)
{
    Fixture *f = *state;
    World *w = f->world;
    world_start(w);
    world_run_for(w, 2 * DAY_S + 2 * HOUR_S);
    assert_polite(f);
    for (int i = 0; i < PLACES; i++) {
        assert_non_null(f->places[i].query); /* both sites */
        /* Issued at 00, 06, 12 and 18: nine in two days; asked at most once an hour. */
        assert_int_equal(f->places[i].whole, 9);
        assert_in_range(f->places[i].unchanged, 12, 24);
        const Forecast *forecast = forecasts_in_use(w->service->forecasts, i);
        assert_string_equal(forecast->source, "MET Norway");
        assert_int_equal(forecast->issued_utc, world_utc("2026-04-04T00:00Z"));
    }
    int minutes = 0;
    for (int i = 0; i < 60; i++)
        minutes += f->minutes[i];
    assert_true(minutes > 15); /* spread over the hour */
    /* Nothing new asked for no plan. */
    int planned = 0;
    for (guint i = 0; i < w->triggers->len; i++)
        planned += strstr(g_ptr_array_index(w->triggers, i), "forecast") != NULL;
    assert_in_range(planned, 9, 18); /* at most one for each site and issue */
}

/* What it is to remember is remembered over a restart: no second request, the same header. */
static void test_restarts(void **state)
{
    Fixture *f = *state;
    World *w = f->world;
    world_start(w);
    world_run_for(w, 60);
    assert_int_equal(f->places[0].whole, 1);
    for (int i = 0; i < 6; i++) {
        world_stop(w);
        world_start(w);
        world_run_for(w, 60);
    }
    assert_polite(f);
    assert_int_equal(f->places[0].whole + f->places[0].unchanged, 1);
    assert_int_equal(f->places[1].whole + f->places[1].unchanged, 1);
    world_run_for(w, 2 * HOUR_S);
    assert_polite(f);
    assert_true(f->places[0].unchanged >= 1);
    assert_int_equal(f->places[0].whole, 1);
}

/* It refuses us for a day: asked ever less often, the forecast held stays, and it is said. */
static void test_refused(void **state)
{
    Fixture *f = *state;
    World *w = f->world;
    world_start(w);
    world_run_for(w, 60);
    f->status = 403;
    world_run_for(w, DAY_S);
    assert_polite(f);
    assert_in_range(f->refused, 2 * 4, 2 * 8);
    assert_string_equal(forecasts_in_use(w->service->forecasts, 1)->source, "MET Norway");
    g_autofree char *trouble = api_source_trouble(w->service, 1);
    assert_non_null(strstr(trouble, "MET Norway refuses who asks"));
    assert_non_null(strstr(trouble, "contact="));
    assert_int_equal(world_logged(w, "MET Norway refuses who asks"), 2); /* once a site */
    f->status = 200;
    world_run_for(w, 7 * HOUR_S);
    assert_polite(f);
    g_autofree char *none = api_source_trouble(w->service, 1);
    assert_null(none);
    assert_true(forecasts_in_use(w->service->forecasts, 1)->issued_utc >
                world_utc("2026-04-03T00:00Z"));
}

#define STRICT(test) cmocka_unit_test_setup_teardown(test, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        STRICT(test_two_days),
        STRICT(test_restarts),
        STRICT(test_refused),
    };
    return cmocka_run_group_tests_name("service-met-norway", tests, NULL, NULL);
}
