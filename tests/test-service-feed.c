/* SPDX-License-Identifier: MIT */
/* The feed of a whole service, and the links that report a visit done. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "control-client.h"
#include "feed-client.h"
#include "service-world.h"
#include "service/done-link.h"
#include "service/feed-outlet.h"

#define START "2026-03-26T16:00:00Z" /* a Thursday; clocks go forward on the Sunday after */
#define FEED "[feed]\nlisten=127.0.0.1:0\nrefresh-hours=3\n"

static const WorldWeather frost = {.low_c = 4, .high_c = 14, .cold_day = 3, .cold_c = -5};

static void say_feed(World *w, const char *feed)
{
    g_autofree char *text = g_strconcat(world_garden, feed, NULL);

    world_write(w->config, text);
}

static World *begin(const char *garden)
{
    World *w = world_new(garden, START);

    w->durable = TRUE; /* a rehearsal opens no port */
    world_start(w);
    world_forecast(w, &frost);
    world_add_batch(w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
    return w;
}

static World *begin_usual(void)
{
    g_autofree char *garden = g_strconcat(world_garden, FEED, NULL);

    return begin(garden);
}

/* The virtual clock stands still meanwhile. The caller frees. */
static char *ask(World *w, const char *method, const char *url, const char *headers)
{
    const char *port = strrchr(url, ':');

    clock_hold(w->clk);
    char *reply = feed_ask(atoi(port + 1), method, strchr(port, '/'), headers);
    clock_release(w->clk);
    return reply;
}

static char *get(World *w, int status, const char *url)
{
    char *reply = ask(w, "GET", url, "");

    if (client_status(reply) != status)
        fail_msg("not %d: %s", status, reply);
    return reply;
}

static char *address(const World *w, int grower)
{
    char *url = feed_outlet_address(w->service->feed, grower);

    assert_non_null(url);
    return url;
}

/* Lines of TEXT that begin with PART, with a line break each. */
static char *lines_of(const char *text, const char *part)
{
    g_auto(GStrv) lines = g_strsplit(text, "\r\n", -1);
    GString *found = g_string_new(NULL);

    for (char **line = lines; *line != NULL; line++) {
        if (g_str_has_prefix(*line, part))
            g_string_append_printf(found, "%s\n", *line);
    }
    return g_string_free(found, FALSE);
}

/* Over a change of the clocks it reads as the file does, by an independent parser. */
static void test_same_as_file(void **state)
{
    World *w = begin_usual();
    g_autofree char *url = address(w, 0);
    g_autofree char *feed_path = g_build_filename(w->folder, "feed.ics", NULL);

    (void)state;
    for (int day = 0; day < 6; day += 3) {
        g_autofree char *reply = get(w, 200, url);
        g_autofree char *by_file = world_read_calendar(w);
        g_autofree char *refresh = lines_of(reply, "REFRESH-INTERVAL");
        g_autofree char *ttl = lines_of(reply, "X-PUBLISHED-TTL");
        assert_string_equal(refresh, "REFRESH-INTERVAL;VALUE=DURATION:PT3H\n");
        assert_string_equal(ttl, "X-PUBLISHED-TTL:PT3H\n");
        assert_non_null(strstr(by_file, "\"uid\""));
        world_write(feed_path, feed_body(reply));
        char *calendar = g_steal_pointer(&w->calendar);
        w->calendar = g_strdup(feed_path);
        g_autofree char *by_feed = world_read_calendar(w);
        g_free(w->calendar);
        w->calendar = calendar;
        assert_string_equal(by_feed, by_file);
        world_run_for(w, 3 * DAY_S);
    }
    world_free(w);
}

static void test_not_modified_until_it_is(void **state)
{
    World *w = begin_usual();
    g_autofree char *url = address(w, 0);
    g_autofree char *first = get(w, 200, url);
    g_autofree char *tag = feed_header(first, "ETag");
    g_autofree char *header = g_strconcat("If-None-Match: ", tag, "\r\n", NULL);

    (void)state;
    service_ask_plan(w->service, "nothing new");
    world_run_for(w, 0);
    g_autofree char *same = ask(w, "GET", url, header);
    assert_int_equal(client_status(same), 304);
    world_add_batch(w, "tomato", 12, "box", STAGE_HARDENING, 60);
    world_run_for(w, 3 * DAY_S);
    g_autofree char *changed = ask(w, "GET", url, header);
    assert_int_equal(client_status(changed), 200);
    world_free(w);
}

/* The first grower comes to the plot, the second is at home. */
static const char two_growers[] =
    "[garden]\n"
    "[grower one]\nhome=home\nvisits-plot=Mon-Fri 17:30-19:30; Sat-Sun 09:00-18:00\n"
    "[grower two]\nhome=home\nvisits-home=07:00-08:30; 17:30-dusk\n"
    "[site home]\nlatitude=53.10\nlongitude=-2.02\nzone=Europe/London\nweather=none\n"
    "[site plot]\nlatitude=53.12\nlongitude=-2.04\nzone=Europe/London\nweather=none\n"
    "[place sill]\nsite=home\nkind=sill\ntrays=6\n"
    "[place porch]\nsite=home\nkind=cold-frame\ntrays=6\n"
    "[place frame]\nsite=plot\nkind=cold-frame\ntrays=6\nstands-on=slab\n"
    "[place bed]\nsite=plot\nkind=bed\n" FEED;

static void test_two_growers(void **state)
{
    World *w = begin(two_growers);

    (void)state;
    world_add_batch(w, "lettuce", 24, "porch", STAGE_HARDENING, 50);
    world_run_for(w, DAY_S);
    g_autofree char *one_url = address(w, 0), *two_url = address(w, 1);
    g_autofree char *one = get(w, 200, one_url), *two = get(w, 200, two_url);
    g_autofree char *file = world_calendar(w);
    g_autofree char *one_at = lines_of(one, "LOCATION"), *two_at = lines_of(two, "LOCATION");
    g_autofree char *one_uids = lines_of(one, "UID"), *two_uids = lines_of(two, "UID");

    assert_string_not_equal(one_url, two_url);
    assert_non_null(strstr(one_at, "LOCATION:plot\n"));
    assert_null(strstr(one_at, "LOCATION:home\n"));
    assert_non_null(strstr(two_at, "LOCATION:home\n"));
    assert_null(strstr(two_at, "LOCATION:plot\n"));
    assert_non_null(strstr(one, "\r\nNAME:thole one\r\n"));
    assert_non_null(strstr(two, "\r\nNAME:thole two\r\n"));
    /* Together they are the file; no event is in both. */
    g_auto(GStrv) uids = g_strsplit(file, "\r\n", -1);
    for (char **line = uids; *line != NULL; line++) {
        if (g_str_has_prefix(*line, "UID:"))
            assert_int_equal((strstr(one_uids, *line) != NULL) + (strstr(two_uids, *line) != NULL),
                             1);
    }
    world_free(w);
}

static void test_renew(void **state)
{
    World *w = begin_usual();
    g_autofree char *old = address(w, 0);
    g_autoptr(GError) error = NULL;

    (void)state;
    assert_true(feed_outlet_renew(w->service->feed, 0, &error));
    g_autofree char *fresh = address(w, 0);
    g_autofree char *dead = get(w, 404, old);
    g_autofree char *alive = get(w, 200, fresh);
    const char *token = strstr(fresh, "/calendar/");
    world_stop(w);
    world_start(w);
    g_autofree char *again = address(w, 0); /* the port is another, the token the same */
    assert_string_equal(strstr(again, "/calendar/"), token);
    g_autofree char *still = get(w, 200, again);
    g_autofree char *secret = g_strndup(token + strlen("/calendar/"), FEED_TOKEN_LENGTH);
    assert_int_equal(world_logged(w, secret), 0);
    world_free(w);
}

static void test_reload(void **state)
{
    World *w = begin_usual();
    g_autofree char *url = address(w, 0);
    g_autoptr(GError) error = NULL;

    (void)state;
    say_feed(w, "[feed]\nlisten=0.0.0.0:0\n");
    assert_false(service_reload(w->service, &error));
    g_autofree char *stays = get(w, 200, url);
    say_feed(w, FEED);
    assert_true(service_reload(w->service, NULL));
    g_autofree char *same = get(w, 200, url); /* it was not even closed */
    say_feed(w, "");
    assert_true(service_reload(w->service, NULL));
    assert_null(feed_outlet_address(w->service->feed, 0));
    assert_null(feed_done_url(w->service, "x", world_now(w) + DAY_S));
    world_free(w);
}

/* Its port is taken: the service goes on, says so, and tries again. */
static void test_port_taken(void **state)
{
    World *w = begin_usual(), *here = w;
    g_autofree char *url = address(w, 0);
    const int port = atoi(strrchr(url, ':') + 1);
    FeedSetup setup = {.host = "127.0.0.1"};
    g_autoptr(Feed) other = feed_new(w->clk, &setup, NULL, NULL, NULL);

    (void)state;
    assert_non_null(other);
    g_autofree char *feed = g_strdup_printf("[feed]\nlisten=127.0.0.1:%d\n", feed_port(other));
    say_feed(w, feed);
    assert_true(service_reload(w->service, NULL));
    assert_non_null(strstr(feed_outlet_problem(w->service->feed), "cannot listen at 127.0.0.1"));
    assert_null(feed_outlet_address(w->service->feed, 0));
    assert_int_not_equal(port, feed_port(other));
    g_clear_pointer(&other, feed_free);
    world_run_for(here, 61);
    assert_null(feed_outlet_problem(w->service->feed));
    g_autofree char *now = address(w, 0);
    g_autofree char *served = get(w, 200, now);
    world_free(w);
}

/* A client that never ends its request holds up nobody, and no plan. */
static void test_slow_client(void **state)
{
    World *w = begin_usual();
    g_autofree char *url = address(w, 0);
    const int slow = feed_open_from("127.0.0.2", atoi(strrchr(url, ':') + 1));
    const guint64 plans = w->service->plans;

    (void)state;
    assert_int_equal(write(slow, "GET /calendar/", 14), 14);
    world_add_batch(w, "tomato", 12, "box", STAGE_HARDENING, 60);
    assert_true(w->service->plans > plans);
    g_autofree char *reply = get(w, 200, url);
    close(slow);
    world_free(w);
}

/* ---- Done links ---- */

typedef struct Linked {
    World *w;
    char *visit_id, *url;
    GPtrArray *job_ids; /* (owned) (element-type utf8) */
} Linked;

static Linked begin_linked(void)
{
    Linked l = {.w = begin_usual(), .job_ids = g_ptr_array_new_with_free_func(g_free)};
    const OpenVisit *v = NULL;

    for (int day = 0; day < 4 && (v = world_visit(l.w, TRUE)) == NULL; day++)
        world_run_for(l.w, DAY_S / 2);
    assert_non_null(v);
    for (guint i = 0; i < v->jobs->len; i++)
        g_ptr_array_add(l.job_ids, g_strdup(g_array_index(v->jobs, OpenJob, i).job.id));
    l.visit_id = g_strdup(v->visit.id);
    l.url = feed_done_url(l.w->service, l.visit_id, world_now(l.w) + 3 * DAY_S);
    assert_non_null(l.url);
    return l;
}

static void end_linked(Linked *l)
{
    world_free(l->w);
    g_ptr_array_unref(l->job_ids);
    g_free(l->visit_id);
    g_free(l->url);
}

static void assert_jobs(const Linked *l, StoreJobState state)
{
    for (guint i = 0; i < l->job_ids->len; i++)
        assert_int_equal(world_stored_job(l->w, g_ptr_array_index(l->job_ids, i)), state);
}

static void test_done(void **state)
{
    Linked l = begin_linked();
    const char *token = strstr(l.url, "/done/") + strlen("/done/");

    (void)state;
    assert_int_equal(strlen(token), FEED_TOKEN_LENGTH);
    /* Whoever only looks changes nothing: a preview, a mail program, a phone that reads ahead. */
    for (int i = 0; i < 3; i++) {
        g_autofree char *head = ask(l.w, "HEAD", l.url, "");
        g_autofree char *page = get(l.w, 200, l.url);
        g_autofree char *other = ask(l.w, "PUT", l.url, "Content-Length: 0\r\n");
        assert_int_equal(client_status(head), 200);
        assert_int_equal(client_status(other), 405);
        assert_non_null(strstr(page, "done?</p>"));
        assert_non_null(strstr(page, "<li>"));
        assert_non_null(strstr(page, "<button>Yes, done</button>"));
        assert_jobs(&l, STORE_JOB_PLANNED);
    }
    g_autofree char *kept = ask(l.w, "POST", l.url, "Content-Length: 0\r\n");
    assert_int_equal(client_status(kept), 200);
    assert_non_null(strstr(kept, "Kept as done:"));
    assert_non_null(strstr(kept, "<li>"));
    assert_null(strstr(kept, "<button>"));
    assert_jobs(&l, STORE_JOB_DONE);
    world_run_for(l.w, 0);
    /* Once more, and after a restart. */
    g_autofree char *again = ask(l.w, "POST", l.url, "Content-Length: 0\r\n");
    assert_int_equal(client_status(again), 200);
    assert_non_null(strstr(again, "It was done already"));
    g_autofree char *looked = get(l.w, 200, l.url);
    assert_non_null(strstr(looked, "It was done already"));
    assert_null(strstr(looked, "<button>"));
    assert_int_equal(world_logged(l.w, token), 0);
    end_linked(&l);
}

/* The store has no token, but its hash. */
static void test_only_hash_is_kept(void **state)
{
    Linked l = begin_linked();
    const char *token = strstr(l.url, "/done/") + strlen("/done/");
    g_autofree char *hash = g_compute_checksum_for_string(G_CHECKSUM_SHA256, token, -1);
    g_autofree char *path = g_build_filename(l.w->folder, "thole.db", NULL);
    g_autofree char *bytes = NULL;
    gsize length;
    sqlite3 *db = NULL;
    sqlite3_stmt *rows = NULL;

    (void)state;
    world_stop(l.w); /* which folds the journal into the file */
    assert_true(g_file_get_contents(path, &bytes, &length, NULL));
    assert_null(memmem(bytes, length, token, strlen(token)));
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, "SELECT hash FROM done_link", -1, &rows, NULL),
                     SQLITE_OK);
    assert_int_equal(sqlite3_step(rows), SQLITE_ROW);
    assert_string_equal((const char *)sqlite3_column_text(rows, 0), hash);
    assert_int_equal(sqlite3_step(rows), SQLITE_DONE);
    sqlite3_finalize(rows);
    sqlite3_close(db);
    /* It works after a restart: only the port of the test is another. */
    world_start(l.w);
    g_autofree char *base = feed_outlet_base(l.w->service->feed);
    g_autofree char *url = g_strconcat(base, "/done/", token, NULL);
    g_autofree char *page = get(l.w, 200, url);
    assert_non_null(strstr(page, "<button>"));
    end_linked(&l);
}

static void test_expired_and_unknown(void **state)
{
    Linked l = begin_linked();
    g_autofree char *short_url = feed_done_url(l.w->service, l.visit_id, world_now(l.w) + 60);
    g_autofree char *other = g_strdup(l.url);
    char *last = other + strlen(other) - 1;

    (void)state;
    *last = *last == '0' ? '1' : '0';
    clock_virtual_step_wall(l.w->clk, 60);
    g_autofree char *unknown = ask(l.w, "POST", other, "Content-Length: 0\r\n");
    g_autofree char *expired = ask(l.w, "POST", short_url, "Content-Length: 0\r\n");
    assert_int_equal(client_status(unknown), 404);
    assert_int_equal(client_status(expired), 404);
    assert_string_equal(feed_body(unknown), "");
    assert_string_equal(feed_body(expired), "");
    assert_jobs(&l, STORE_JOB_PLANNED);
    end_linked(&l);
}

/* Reported by other means meanwhile. */
static void test_nothing_open(void **state)
{
    Linked l = begin_linked();
    g_autoptr(GError) error = NULL;

    (void)state;
    for (guint i = 0; i < l.w->service->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(l.w->service->visits, i);
        if (strcmp(v->visit.id, l.visit_id) != 0)
            continue;
        for (guint k = 0; k < v->jobs->len; k++)
            assert_true(jobs_report(l.w->service, v, &g_array_index(v->jobs, OpenJob, k), FALSE, 0,
                                    &error));
        break;
    }
    g_autofree char *page = get(l.w, 200, l.url);
    g_autofree char *post = ask(l.w, "POST", l.url, "Content-Length: 0\r\n");
    assert_non_null(strstr(page, "Nothing of this visit is open any more"));
    assert_non_null(strstr(post, "Nothing of this visit is open any more"));
    assert_jobs(&l, STORE_JOB_MISSED);
    end_linked(&l);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_same_as_file),
        cmocka_unit_test(test_not_modified_until_it_is),
        cmocka_unit_test(test_two_growers),
        cmocka_unit_test(test_renew),
        cmocka_unit_test(test_reload),
        cmocka_unit_test(test_port_taken),
        cmocka_unit_test(test_slow_client),
        cmocka_unit_test(test_done),
        cmocka_unit_test(test_only_hash_is_kept),
        cmocka_unit_test(test_expired_and_unknown),
        cmocka_unit_test(test_nothing_open),
    };
    return cmocka_run_group_tests_name("service-feed", tests, NULL, NULL);
}
