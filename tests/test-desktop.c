/* SPDX-License-Identifier: MIT */
/* Alarms on the desktop and what is chosen there: a whole service, a bus, and a server that is a
 * mock. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "desktop-bus.h"
#include "notify/due.h"
#include "service-world.h"
#include "service/desktop.h"
#include "store/store-batches.h"
#include "store/store-notices.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */
#define CAPS "actions body body-markup"
#define LEAVE_S (20 * 60)
#define EARLY_S (60 * 60)

static const WorldWeather mild = {.low_c = 6, .high_c = 14};
static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};

typedef struct Desk {
    World *w;
    DesktopBus *bus;
    char *visit_id, *job_id; /* (owned) */
    int64_t start_utc;
} Desk;

static int setup(void **state)
{
    Desk *d = g_new0(Desk, 1);
    d->bus = desktop_bus_new();
    desktop_server_start(d->bus, CAPS);
    d->w = world_new(world_garden, START);
    d->w->desktop = TRUE;
    d->w->durable = TRUE;
    world_start(d->w);
    *state = d;
    return 0;
}

static int teardown(void **state)
{
    Desk *d = *state;
    world_free(d->w);
    desktop_bus_free(d->bus);
    g_free(d->visit_id);
    g_free(d->job_id);
    g_free(d);
    return 0;
}

static void plant(Desk *d, const WorldWeather *weather)
{
    world_forecast(d->w, weather);
    world_add_batch(d->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(d->w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
}

/* What the server was told before does not count. */
static void fresh_server(Desk *d)
{
    desktop_server_kill(d->bus);
    desktop_server_start(d->bus, CAPS);
}

static const OpenVisit *plot_visit(const Desk *d, gboolean guard, int64_t from_utc)
{
    for (guint i = 0; i < d->w->service->visits->len; i++) {
        const OpenVisit *v = d->w->service->visits->pdata[i];
        gboolean guards = FALSE;
        for (guint k = 0; k < v->jobs->len; k++)
            guards = guards || g_array_index(v->jobs, OpenJob, k).job.guard;
        if (!v->begun && v->visit.site == 1 && guards == guard && v->jobs->len > 0 &&
            v->visit.start_utc >= from_utc)
            return v;
    }
    return NULL;
}

/* Lives until a second before the first alarm of a visit to the plot that guards, or does not. New
 * plans on the way may move it. */
static void approach(Desk *d, gboolean guard)
{
    const int64_t before_s = LEAVE_S + (guard ? EARLY_S : 0) + 1;
    for (int i = 0; i < 40; i++) {
        const OpenVisit *v = plot_visit(d, guard, world_now(d->w) + before_s);
        if (v != NULL && v->visit.start_utc == world_now(d->w) + before_s) {
            d->visit_id = g_strdup(v->visit.id);
            d->job_id = g_strdup(g_array_index(v->jobs, OpenJob, 0).job.id);
            d->start_utc = v->visit.start_utc;
            fresh_server(d);
            return;
        }
        const int64_t next_utc = world_now(d->w) + 4 * HOUR_S;
        world_run(d->w, v != NULL ? MIN(v->visit.start_utc - before_s, next_utc) : next_utc);
    }
    fail_msg("no such visit came");
}

static guint shown(const Desk *d)
{
    g_autoptr(GPtrArray) calls = desktop_server_calls(d->bus, "Notify");
    return calls->len;
}

static char *last(const Desk *d)
{
    g_autoptr(GPtrArray) calls = desktop_server_calls(d->bus, "Notify");
    assert_true(calls->len > 0);
    return g_strdup(calls->pdata[calls->len - 1]);
}

static void has(const char *text, const char *part)
{
    if (strstr(text, part) == NULL)
        fail_msg("\"%s\" is not in: %s", part, text);
}

static void has_not(const char *text, const char *part)
{
    if (strstr(text, part) != NULL)
        fail_msg("\"%s\" is in: %s", part, text);
}

/* The state that the store has for the visit's alarm; -1 none. */
static int kept(const Desk *d)
{
    g_autoptr(GArray) notices = NULL;
    assert_true(store_load_notices(d->w->service->store, 0, &notices, NULL));
    for (guint i = 0; i < notices->len; i++) {
        const StoreNotice *notice = &g_array_index(notices, StoreNotice, i);
        if (g_str_equal(notice->key, d->visit_id))
            return (int)notice->state;
    }
    return -1;
}

static gboolean is_answered(gpointer d)
{
    return kept(d) == STORE_NOTICE_ANSWERED;
}

static gboolean is_put_off(gpointer d)
{
    return kept(d) == STORE_NOTICE_LATER;
}

typedef struct Closed {
    const Desk *desk;
    guint n;
} Closed;

static gboolean are_closed(gpointer data)
{
    const Closed *closed = data;
    g_autoptr(GPtrArray) calls = desktop_server_calls(closed->desk->bus, "CloseNotification");
    return calls->len >= closed->n;
}

static void await_closed(const Desk *d, guint n, const char *what)
{
    Closed closed = {d, n};
    desktop_until(are_closed, &closed, what);
}

static void test_once_at_leaving_time(void **state)
{
    Desk *d = *state;
    plant(d, &mild);
    approach(d, FALSE);
    assert_int_equal(shown(d), 0);
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(shown(d), 1);
    g_autofree char *call = last(d);
    has(call, "Notify \"thole\" 0 ");
    has(call, "plot, ");
    has(call, "[\"default\", \"Seen\", \"done\", \"Done\", \"later\", \"Later (15 min)\"]");
    has(call, "\"urgency\": 1");
    has(call, "\"desktop-entry\": \"thole\"");
    has(call, "\"category\": \"x-thole.alarm\"");
    has(call, " -1");
    assert_int_equal(kept(d), STORE_NOTICE_SHOWN);
    /* Other plans, time, and a restart: it stays the only one. */
    service_ask_plan(d->w->service, "again");
    world_run_for(d->w, 0);
    world_stop(d->w);
    world_start(d->w);
    world_run(d->w, d->start_utc + 60);
    g_autoptr(GPtrArray) calls = desktop_server_calls(d->bus, "Notify");
    guint anew = 0;
    for (guint i = 0; i < calls->len; i++)
        anew += strstr(calls->pdata[i], "Notify \"thole\" 0 ") != NULL;
    assert_int_equal(anew, 1);
}

static void test_done_is_the_report_of_all_jobs(void **state)
{
    Desk *d = *state;
    plant(d, &mild);
    approach(d, FALSE);
    world_run(d->w, d->start_utc - LEAVE_S);
    g_autoptr(GPtrArray) jobs = g_ptr_array_new_with_free_func(g_free);
    for (guint i = 0; i < d->w->service->visits->len; i++) {
        const OpenVisit *v = d->w->service->visits->pdata[i];
        for (guint k = 0; g_str_equal(v->visit.id, d->visit_id) && k < v->jobs->len; k++)
            g_ptr_array_add(jobs, g_strdup(g_array_index(v->jobs, OpenJob, k).job.id));
    }
    assert_true(jobs->len > 0);
    const guint64 plans = d->w->service->plans;
    desktop_choose(d->bus, 1, "done");
    desktop_until(is_answered, d, "Done reaches the store");
    for (guint i = 0; i < jobs->len; i++)
        assert_int_equal(world_stored_job(d->w, jobs->pdata[i]), STORE_JOB_DONE);
    world_run_for(d->w, 0); /* the plan is made beside the loop */
    assert_true(d->w->service->plans > plans);
    /* A second click, and the server's word that it was closed, change nothing. */
    desktop_choose(d->bus, 1, "done");
    desktop_dismiss(d->bus, 1);
    world_run(d->w, d->start_utc + HOUR_S);
    assert_int_equal(kept(d), STORE_NOTICE_ANSWERED);
    assert_int_equal(shown(d), 1);
}

static void test_later_and_seen(void **state)
{
    Desk *d = *state;
    plant(d, &mild);
    approach(d, FALSE);
    world_run(d->w, d->start_utc - LEAVE_S);
    desktop_choose(d->bus, 1, "later");
    desktop_dismiss(d->bus, 1);
    desktop_until(is_put_off, d, "Later reaches the store");
    world_run_for(d->w, NOTICE_LATER_S - 1);
    assert_int_equal(shown(d), 1);
    /* Also over a restart. */
    world_stop(d->w);
    world_start(d->w);
    world_run_for(d->w, 1);
    assert_int_equal(shown(d), 2);
    assert_int_equal(kept(d), STORE_NOTICE_SHOWN);
    /* Seen is no report. */
    desktop_choose(d->bus, 2, "default");
    world_run(d->w, d->start_utc + 60);
    assert_int_equal(world_stored_job(d->w, d->job_id), STORE_JOB_PLANNED);
    assert_int_equal(shown(d), 2);
}

static void test_what_guards_rings_twice_and_asks_again(void **state)
{
    Desk *d = *state;
    plant(d, &frost);
    approach(d, TRUE);
    world_run_for(d->w, 1);
    assert_int_equal(shown(d), 1);
    g_autofree char *early = last(d);
    has(early, "\"urgency\": 2");
    assert_true(g_str_has_suffix(early, "} 0")); /* never expires */
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(shown(d), 2);
    await_closed(d, 1, "the early one gives way");
    /* Deadline 19:00, 20 min to go there: too late at 18:40, asked half an hour before, at the next
     * five minutes of the clock. */
    world_run(d->w, d->start_utc + 15 * 60 - 1);
    assert_int_equal(shown(d), 2);
    world_run_for(d->w, 1);
    assert_int_equal(shown(d), 3);
    g_autofree char *question = last(d);
    has(question, "\"urgency\": 2");
    g_free(d->visit_id);
    d->visit_id = NULL;
    /* Told by other means, it leaves the screen. */
    OpenVisit *v = NULL;
    OpenJob *job = NULL;
    for (int handle = 1; job == NULL && handle < 100; handle++) {
        job = jobs_find(d->w->service, handle, &v);
        if (job != NULL && strcmp(job->job.id, d->job_id) != 0)
            job = NULL;
    }
    assert_non_null(job);
    for (guint k = 0; k < v->jobs->len; k++)
        assert_true(
            jobs_report(d->w->service, v, &g_array_index(v->jobs, OpenJob, k), TRUE, 0, NULL));
    service_ask_plan(d->w->service, "told");
    world_run_for(d->w, 60);
    await_closed(d, 3, "the question is answered; it had taken the place of the alarm");
}

/* What is on the screen is what is to be done now, in place of what was: one notification. */
static void test_other_words_in_its_place(void **state)
{
    static const WorldWeather killing = {.low_c = 6, .high_c = 14, .cold_day = 1, .cold_c = -9};
    Desk *d = *state;
    world_forecast(d->w, &mild);
    world_add_batch(d->w, "lettuce", 24, "bed", STAGE_HARDENING, 60);
    world_run(d->w, world_utc("2026-04-08T20:40:00Z")); /* nobody goes out any more */
    fresh_server(d);
    world_forecast(d->w, &killing);
    world_run_for(d->w, 0);
    assert_int_equal(shown(d), 1);
    g_autofree char *first = last(d);
    has(first, "bring them in if you can");
    has(first, "Notify \"thole\" 0 "); /* replaces none */
    Service *s = d->w->service;
    Batch batch = *world_batch(d->w, "lettuce-1");
    batch.stage = STAGE_PLANTED_OUT;
    assert_true(
        store_put_batch(s->store, s->garden, &batch, world_now(d->w) / STEP_S * STEP_S, NULL));
    assert_true(service_refresh(s, NULL));
    service_ask_plan(s, "planted out");
    world_run_for(d->w, 60);
    assert_int_equal(shown(d), 2);
    g_autofree char *second = last(d);
    has_not(second, "bring them in if you can");
    has_not(second, "Notify \"thole\" 0 ");
}

/* What no visit can do is shown at once, once, however often it is found. */
static void test_an_alert_at_once(void **state)
{
    static const WorldWeather killing = {.low_c = 6, .high_c = 14, .cold_day = 1, .cold_c = -9};
    Desk *d = *state;
    world_forecast(d->w, &mild);
    world_add_batch(d->w, "lettuce", 24, "bed", STAGE_PLANTED_OUT, 60);
    world_run(d->w, world_utc("2026-04-08T20:40:00Z")); /* nobody goes out any more */
    fresh_server(d);
    world_forecast(d->w, &killing);
    assert_true(d->w->service->alerts->len > 0);
    world_run_for(d->w, 0);
    assert_int_equal(shown(d), 1);
    g_autofree char *call = last(d);
    has(call, "lettuces");
    has(call, "\"urgency\": 2");
    has_not(call, "\"done\"");
    world_run_for(d->w, 600);
    world_forecast(d->w, &mild);
    assert_int_equal(d->w->service->alerts->len, 0);
    world_run_for(d->w, 600);
    await_closed(d, 1, "it is true no more");
    world_forecast(d->w, &killing);
    assert_true(d->w->service->alerts->len > 0);
    world_run_for(d->w, 600);
    assert_int_equal(shown(d), 1);
}

/* A server without the capability gets no actions; one without markup gets plain text. */
static void test_capabilities(void **state)
{
    Desk *d = *state;
    plant(d, &mild);
    approach(d, FALSE);
    desktop_server_kill(d->bus);
    desktop_server_start(d->bus, "body x-dunst-stack-tag");
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(shown(d), 1);
    g_autofree char *call = last(d);
    has(call, " [] ");
    has(call, "\"x-dunst-stack-tag\": \"");
}

static void count_test(const char *server, const char *why_not, gpointer data)
{
    char **said = data;
    *said = g_strdup(server != NULL ? server : why_not);
}

static gboolean is_said(gpointer data)
{
    return *(char **)data != NULL;
}

static void test_a_test_alarm(void **state)
{
    Desk *d = *state;
    g_autofree char *said = NULL;
    world_run_for(d->w, 0);
    const int64_t at_utc = desktop_begin_test(d->w->service->desktop);
    desktop_test(d->w->service->desktop, count_test, &said);
    service_ask_plan(d->w->service, "test alarm");
    desktop_until(is_said, &said, "the test is answered");
    assert_string_equal(said, "mock-notify 1.0");
    g_autofree char *call = last(d);
    has(call, "\"Test alarm, nothing to do\"");
    world_run_for(d->w, 0);
    g_autofree char *calendar = world_calendar(d->w);
    has(calendar, "SUMMARY:Test alarm\\, nothing to do");
    /* It is not shown a second time by the desktop, and goes away by itself. */
    world_run(d->w, at_utc + DESKTOP_TEST_LASTS_S + 1);
    assert_int_equal(shown(d), 1);
    g_autofree char *after = world_calendar(d->w);
    has_not(after, "Test alarm");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_once_at_leaving_time, setup, teardown),
        cmocka_unit_test_setup_teardown(test_done_is_the_report_of_all_jobs, setup, teardown),
        cmocka_unit_test_setup_teardown(test_later_and_seen, setup, teardown),
        cmocka_unit_test_setup_teardown(test_what_guards_rings_twice_and_asks_again, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(test_other_words_in_its_place, setup, teardown),
        cmocka_unit_test_setup_teardown(test_an_alert_at_once, setup, teardown),
        cmocka_unit_test_setup_teardown(test_capabilities, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_test_alarm, setup, teardown),
    };
    return cmocka_run_group_tests_name("desktop", tests, NULL, NULL);
}
