/* SPDX-License-Identifier: MIT */
/* Alarms on a desktop that is not there, dies and comes again, or hangs; days down; a clock put
 * back; a grower who wants none. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <signal.h>
#include <string.h>

#include "desktop-bus.h"
#include "notify/due.h"
#include "service-world.h"
#include "service/desktop.h"
#include "store/store-notices.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */
#define CAPS "actions body body-markup"
#define LEAVE_S (20 * 60)

static const WorldWeather mild = {.low_c = 6, .high_c = 14};

typedef struct Desk {
    World *w;
    DesktopBus *bus;
    char *visit_id; /* (owned) (nullable) */
    int64_t start_utc;
} Desk;

static int setup(void **state)
{
    Desk *d = g_new0(Desk, 1);
    d->bus = desktop_bus_new();
    d->w = world_new(world_garden, START);
    d->w->desktop = TRUE;
    d->w->durable = TRUE;
    *state = d;
    return 0;
}

static int teardown(void **state)
{
    Desk *d = *state;
    world_free(d->w);
    desktop_bus_free(d->bus);
    g_free(d->visit_id);
    g_free(d);
    return 0;
}

static const OpenVisit *plot_visit(const Desk *d)
{
    for (guint i = 0; i < d->w->service->visits->len; i++) {
        const OpenVisit *v = d->w->service->visits->pdata[i];
        if (!v->begun && v->visit.site == 1 && v->jobs->len > 0 &&
            v->visit.start_utc > world_now(d->w) + LEAVE_S)
            return v;
    }
    return NULL;
}

/* A garden, a second before the alarm of a visit to the plot. */
static void approach(Desk *d)
{
    world_start(d->w);
    world_forecast(d->w, &mild);
    world_add_batch(d->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    for (int i = 0; i < 40; i++) {
        const OpenVisit *v = plot_visit(d);
        if (v != NULL && v->visit.start_utc == world_now(d->w) + LEAVE_S + 1) {
            d->visit_id = g_strdup(v->visit.id);
            d->start_utc = v->visit.start_utc;
            return;
        }
        const int64_t next_utc = world_now(d->w) + 4 * HOUR_S;
        world_run(d->w, v != NULL ? MIN(v->visit.start_utc - LEAVE_S - 1, next_utc) : next_utc);
    }
    fail_msg("no such visit came");
}

static guint shown(const Desk *d)
{
    g_autoptr(GPtrArray) calls = desktop_server_calls(d->bus, "Notify");
    return calls->len;
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

static gboolean is_shown(gpointer d)
{
    return kept(d) == STORE_NOTICE_SHOWN;
}

static void says(const Desk *d, DesktopHealth expected, const char *part)
{
    DesktopHealth health;
    g_autofree char *words = desktop_words(d->w->service->desktop, &health);
    if (strstr(words, part) == NULL)
        fail_msg("check says: %s", words);
    assert_int_equal(health, expected);
}

/* Without a server the alarm waits; when one comes, without asking for it, it is shown. */
static void test_a_server_that_comes(void **state)
{
    Desk *d = *state;
    approach(d);
    says(d, DESKTOP_ABSENT, "no notification server is running; the calendar alone reminds");
    world_run(d->w, d->start_utc - 15 * 60);
    assert_int_equal(kept(d), STORE_NOTICE_WAITING);
    says(d, DESKTOP_TROUBLE, "1 alarm waits to be shown");
    assert_int_equal(world_logged(d->w, "no alarms on the desktop"), 1);
    desktop_server_start(d->bus, CAPS);
    desktop_until(is_shown, d, "the alarm is shown by the server that came");
    says(d, DESKTOP_WELL, "alarms are shown by mock-notify 1.0");
    assert_int_equal(shown(d), 1);
    /* It dies with the alarm on its screen, and comes again: the alarm was shown. */
    desktop_server_kill(d->bus);
    desktop_server_start(d->bus, CAPS);
    world_run(d->w, d->start_utc + 60);
    assert_int_equal(shown(d), 0);
    assert_int_equal(kept(d), STORE_NOTICE_SHOWN);
}

/* What waits is kept over a restart; nobody came in time: it is let go, and said so. */
static void test_nobody_comes(void **state)
{
    Desk *d = *state;
    approach(d);
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(kept(d), STORE_NOTICE_WAITING);
    world_stop(d->w);
    world_start(d->w);
    assert_int_equal(kept(d), STORE_NOTICE_WAITING);
    world_run(d->w, d->start_utc + 12 * HOUR_S);
    assert_int_equal(kept(d), STORE_NOTICE_MISSED);
    says(d, DESKTOP_TROUBLE, "1 of the last day could not be shown in time");
    desktop_server_start(d->bus, CAPS);
    world_run_for(d->w, 60);
    assert_int_equal(shown(d), 0);
}

static void test_no_bus(void **state)
{
    Desk *d = *state;
    g_unsetenv("DBUS_SESSION_BUS_ADDRESS");
    approach(d);
    says(d, DESKTOP_ABSENT, "there is no session bus");
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(kept(d), STORE_NOTICE_WAITING);
    says(d, DESKTOP_TROUBLE, "there is no session bus");
}

static gboolean is_without_bus(gpointer data)
{
    const Desk *d = data;
    DesktopHealth health;
    g_autofree char *words = desktop_words(d->w->service->desktop, &health);
    return strstr(words, "session bus went away") != NULL;
}

static void test_a_bus_that_goes(void **state)
{
    Desk *d = *state;
    desktop_server_start(d->bus, CAPS);
    approach(d);
    says(d, DESKTOP_WELL, "mock-notify");
    desktop_bus_kill(d->bus);
    desktop_until(is_without_bus, d, "it is noticed that the bus is gone");
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(kept(d), STORE_NOTICE_WAITING);
    world_run(d->w, d->start_utc + DAY_S);
}

/* A hung server is asked who it is, and no more: nothing of ours is there when it goes on. */
static void test_a_server_that_hangs(void **state)
{
    Desk *d = *state;
    desktop_server_start(d->bus, CAPS);
    approach(d);
    desktop_server_signal(d->bus, SIGSTOP);
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(kept(d), STORE_NOTICE_WAITING);
    says(d, DESKTOP_TROUBLE, "the notification server does not answer; 1 alarm waits");
    desktop_server_signal(d->bus, SIGCONT);
    world_run_for(d->w, NOTICE_RETRY_S - 1);
    assert_int_equal(shown(d), 0);
    world_run_for(d->w, 1);
    assert_int_equal(shown(d), 1);
    assert_int_equal(kept(d), STORE_NOTICE_SHOWN);
}

/* What fell due while nothing ran: the visit that is over is not shown, the one ahead is. */
static void test_down(void **state)
{
    Desk *d = *state;
    desktop_server_start(d->bus, CAPS);
    approach(d);
    world_stop(d->w);
    clock_virtual_step_wall(d->w->clk, 10 * 60);
    world_start(d->w);
    world_run_for(d->w, 0);
    assert_int_equal(shown(d), 1); /* ten minutes late, and of use */
    world_stop(d->w);
    clock_virtual_step_wall(d->w->clk, 3 * DAY_S + 9 * HOUR_S); /* in the night */
    world_start(d->w);
    world_run_for(d->w, 0);
    g_autoptr(GPtrArray) calls = desktop_server_calls(d->bus, "Notify");
    for (guint i = 1; i < calls->len; i++) /* an alert may be due, of no visit */
        assert_null(strstr(calls->pdata[i], "\"done\""));
}

static void test_a_clock_put_back(void **state)
{
    Desk *d = *state;
    desktop_server_start(d->bus, CAPS);
    approach(d);
    world_run(d->w, d->start_utc - LEAVE_S);
    assert_int_equal(shown(d), 1);
    clock_virtual_step_wall(d->w->clk, -120);
    world_run(d->w, d->start_utc);
    assert_int_equal(shown(d), 1);
}

static void test_nobody_wants_them(void **state)
{
    Desk *d = *state;
    g_auto(GStrv) parts = g_strsplit(world_garden, "travel-minutes=20\n", 2);
    g_autofree char *garden =
        g_strconcat(parts[0], "travel-minutes=20\ndesktop=no\n", parts[1], NULL);
    world_write(d->w->config, garden);
    desktop_server_start(d->bus, CAPS);
    approach(d);
    world_run(d->w, d->start_utc);
    assert_int_equal(shown(d), 0);
    says(d, DESKTOP_ABSENT, "thole.conf says desktop=no for everybody");
}

/* Rehearsals, the demo and the other tests have no desktop, whatever bus is there. */
static void test_a_rehearsal(void **state)
{
    Desk *d = *state;
    d->w->desktop = FALSE;
    desktop_server_start(d->bus, CAPS);
    approach(d);
    world_run(d->w, d->start_utc);
    g_autoptr(GPtrArray) calls = desktop_server_calls(d->bus, "GetServerInformation");
    assert_int_equal(calls->len, 0);
    says(d, DESKTOP_ABSENT, "a rehearsal shows nothing");
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_a_server_that_comes), TEST(test_nobody_comes),        TEST(test_no_bus),
        TEST(test_a_bus_that_goes),     TEST(test_a_server_that_hangs), TEST(test_down),
        TEST(test_a_clock_put_back),    TEST(test_nobody_wants_them),   TEST(test_a_rehearsal),
    };
    return cmocka_run_group_tests_name("desktop-faults", tests, NULL, NULL);
}
