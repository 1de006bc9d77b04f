/* SPDX-License-Identifier: MIT */
/*
 * One contract for both clocks. Steps of the real time cannot be made in a test, so the system
 * calls that the system clock uses are wrapped by the linker (--wrap) where a step is played.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "base/clock.h"

#include <errno.h>
#include <sys/timerfd.h>
#include <time.h>
#include <unistd.h>

#define START_UTC G_GINT64_CONSTANT(1774746000) /* 2026-03-29T01:00:00Z, from memory */

/* ---- system calls, as they are or with a step played ---- */

static int64_t played_step_s;   /* added to CLOCK_REALTIME */
static gboolean play_cancel;    /* the next timerfd_settime says ECANCELED, and arms */
static gboolean play_zero_read; /* the next read of a timer gives 0 */

int __real_clock_gettime(clockid_t id, struct timespec *now);
int __wrap_clock_gettime(clockid_t id, struct timespec *now);
int __real_timerfd_settime(int fd, int flags, const struct itimerspec *when,
                           struct itimerspec *old);
int __wrap_timerfd_settime(int fd, int flags, const struct itimerspec *when,
                           struct itimerspec *old);
ssize_t __real_read(int fd, void *bytes, size_t size);
ssize_t __wrap_read(int fd, void *bytes, size_t size);

int __wrap_clock_gettime(clockid_t id, struct timespec *now)
{
    const int result = __real_clock_gettime(id, now);

    if (id == CLOCK_REALTIME)
        now->tv_sec += played_step_s;
    return result;
}

int __wrap_timerfd_settime(int fd, int flags, const struct itimerspec *when, struct itimerspec *old)
{
    struct itimerspec shifted = *when;

    if (played_step_s != 0 && when->it_value.tv_sec != G_MAXLONG) {
        shifted.it_value.tv_sec = MAX(when->it_value.tv_sec - played_step_s, 0);
        shifted.it_value.tv_nsec = 1;
    }
    const int result = __real_timerfd_settime(fd, flags, &shifted, old);

    if (!play_cancel || result != 0)
        return result;
    play_cancel = FALSE;
    errno = ECANCELED;
    return -1;
}

ssize_t __wrap_read(int fd, void *bytes, size_t size)
{
    const ssize_t result = __real_read(fd, bytes, size);

    if (!play_zero_read)
        return result;
    play_zero_read = FALSE;
    return 0;
}

/* ---- what happens is written down ---- */

typedef struct Fixture {
    GMainContext *context;
    Clock *clk;
    GString *story;
    guint id_to_remove;
    int64_t add_at_utc;
} Fixture;

typedef struct Teller {
    Fixture *fixture;
    const char *word;
} Teller;

static void tell(gpointer data)
{
    const Teller *teller = data;

    g_string_append_printf(teller->fixture->story, "%s ", teller->word);
}

static void tell_and_remove(gpointer data)
{
    tell(data);
    clock_remove_alarm(((Teller *)data)->fixture->clk, ((Teller *)data)->fixture->id_to_remove);
}

static void tell_and_add(gpointer data)
{
    static Teller added;
    const Teller *teller = data;

    tell(data);
    added = (Teller){teller->fixture, "added"};
    clock_add_alarm(teller->fixture->clk, teller->fixture->add_at_utc, tell, &added);
}

static void tell_and_free(gpointer data)
{
    tell(data);
    g_clear_pointer(&((Teller *)data)->fixture->clk, clock_free);
}

static void tell_jump(int64_t from_utc, int64_t to_utc, gpointer data)
{
    Fixture *fixture = data;

    g_string_append_printf(fixture->story, "jump%+" G_GINT64_FORMAT " ", to_utc - from_utc);
}

static void set_up(Fixture *fixture, gboolean is_system)
{
    g_autoptr(GError) error = NULL;

    *fixture = (Fixture){.context = g_main_context_new(), .story = g_string_new(NULL)};
    if (is_system)
        fixture->clk = clock_system_new(fixture->context, &error);
    else
        fixture->clk = clock_virtual_new(fixture->context, START_UTC);
    if (error)
        fail_msg("%s", error->message);
    assert_non_null(fixture->clk);
}
#define assert_story(fixture, expected) assert_string_equal((fixture)->story->str, expected)

static void tear_down(Fixture *fixture)
{
    clock_free(fixture->clk);
    g_main_context_unref(fixture->context);
    g_string_free(fixture->story, TRUE);
    played_step_s = 0;
}

/* Turns the loop until nothing more is ready, and then until the story has so many words. */
static void turn(Fixture *fixture, guint words)
{
    const gint64 give_up_us = g_get_monotonic_time() + 3 * G_USEC_PER_SEC;
    guint seen = 0;

    do {
        while (g_main_context_iteration(fixture->context, FALSE))
            continue;
        seen = 0;
        for (const char *c = fixture->story->str; *c; c++)
            seen += *c == ' ';
        if (seen < words)
            g_usleep(2000);
    } while (seen < words && g_get_monotonic_time() < give_up_us);
}

/* ---- the contract: each row runs on both clocks ---- */

static void row_past_alarms_fire_in_order(Fixture *fixture)
{
    const int64_t now_utc = clock_now(fixture->clk);
    Teller a = {fixture, "a"}, b = {fixture, "b"}, c = {fixture, "c"}, d = {fixture, "d"};

    clock_add_alarm(fixture->clk, now_utc - 5, tell, &c);
    clock_add_alarm(fixture->clk, now_utc - 9, tell, &a);
    clock_add_alarm(fixture->clk, now_utc - 9, tell, &b);
    clock_add_alarm(fixture->clk, now_utc, tell, &d);
    assert_story(fixture, "");
    turn(fixture, 4);
    assert_story(fixture, "a b c d ");
}

static void row_alarm_at_or_before_1970_fires(Fixture *fixture)
{
    Teller a = {fixture, "a"}, b = {fixture, "b"}, c = {fixture, "c"};

    clock_add_alarm(fixture->clk, 0, tell, &c);
    clock_add_alarm(fixture->clk, -86400, tell, &b);
    clock_add_alarm(fixture->clk, INT64_MIN, tell, &a);
    turn(fixture, 3);
    assert_story(fixture, "a b c ");
}

static void row_alarm_fires_once_and_not_early(Fixture *fixture)
{
    const int64_t at_utc = clock_now(fixture->clk) + 1;
    Teller a = {fixture, "a"};

    clock_add_alarm(fixture->clk, at_utc, tell, &a);
    turn(fixture, 1);
    assert_story(fixture, "a ");
    assert_int_equal(clock_now(fixture->clk), at_utc);
    turn(fixture, 0);
    assert_story(fixture, "a ");
}

static void row_removed_alarm_does_not_fire(Fixture *fixture)
{
    const int64_t now_utc = clock_now(fixture->clk);
    Teller a = {fixture, "a"}, b = {fixture, "b"};
    const guint id = clock_add_alarm(fixture->clk, now_utc - 2, tell, &a);
    const guint other = clock_add_alarm(fixture->clk, now_utc - 1, tell, &b);

    assert_true(id > 0);
    assert_true(other > 0 && other != id);
    clock_remove_alarm(fixture->clk, id);
    clock_remove_alarm(fixture->clk, id);
    clock_remove_alarm(fixture->clk, 0);
    turn(fixture, 1);
    assert_story(fixture, "b ");
}

static void row_alarm_may_remove_the_next(Fixture *fixture)
{
    const int64_t now_utc = clock_now(fixture->clk);
    Teller a = {fixture, "a"}, b = {fixture, "b"}, c = {fixture, "c"};

    clock_add_alarm(fixture->clk, now_utc - 3, tell_and_remove, &a);
    fixture->id_to_remove = clock_add_alarm(fixture->clk, now_utc - 2, tell, &b);
    clock_add_alarm(fixture->clk, now_utc - 1, tell, &c);
    turn(fixture, 2);
    assert_story(fixture, "a c ");
}

static void row_alarm_added_by_an_alarm_takes_its_place(Fixture *fixture)
{
    const int64_t now_utc = clock_now(fixture->clk);
    Teller a = {fixture, "a"}, b = {fixture, "b"};

    fixture->add_at_utc = now_utc - 2;
    clock_add_alarm(fixture->clk, now_utc - 3, tell_and_add, &a);
    clock_add_alarm(fixture->clk, now_utc - 1, tell, &b);
    turn(fixture, 3);
    assert_story(fixture, "a added b ");
}

static void row_other_sources_come_between_alarms(Fixture *fixture)
{
    const int64_t now_utc = clock_now(fixture->clk);
    Teller a = {fixture, "a"}, b = {fixture, "b"};

    clock_add_alarm(fixture->clk, now_utc - 2, tell, &a);
    clock_add_alarm(fixture->clk, now_utc - 1, tell, &b);
    while (fixture->story->len == 0)
        g_main_context_iteration(fixture->context, TRUE);
    assert_story(fixture, "a ");
    turn(fixture, 2);
    assert_story(fixture, "a b ");
}

static void row_alarm_may_free_the_clock(Fixture *fixture)
{
    const int64_t now_utc = clock_now(fixture->clk);
    Teller a = {fixture, "a"}, b = {fixture, "b"};

    clock_add_alarm(fixture->clk, now_utc - 2, tell_and_free, &a);
    clock_add_alarm(fixture->clk, now_utc - 1, tell, &b);
    turn(fixture, 1);
    assert_story(fixture, "a ");
}

/* A step of either kind of clock. The system clock is told as the kernel would, by ECANCELED. */
static void step(Fixture *fixture, gboolean is_system, int64_t delta_s)
{
    if (!is_system) {
        clock_virtual_step_wall(fixture->clk, delta_s);
        return;
    }
    played_step_s += delta_s;
    play_cancel = TRUE;
    clock_remove_alarm(fixture->clk,
                       clock_add_alarm(fixture->clk, INT64_MAX, tell, NULL)); /* re-arms */
    assert_false(play_cancel);
}

static void check_steps(gboolean is_system)
{
    Fixture fixture;
    Teller a = {&fixture, "a"};

    set_up(&fixture, is_system);
    const int64_t start_utc = clock_now(fixture.clk);
    if (!is_system)
        clock_virtual_set_end(fixture.clk, start_utc, NULL, NULL); /* it moves by steps only */
    clock_set_jumped(fixture.clk, tell_jump, &fixture);
    clock_add_alarm(fixture.clk, start_utc + 3000, tell, &a);
    turn(&fixture, 0);
    assert_story(&fixture, "");

    step(&fixture, is_system, -7200);
    turn(&fixture, 1);
    assert_story(&fixture, "jump-7200 ");

    step(&fixture, is_system, 10800);
    turn(&fixture, 3);
    assert_story(&fixture, "jump-7200 jump+10800 a ");

    step(&fixture, is_system, -7200);
    turn(&fixture, 4);
    assert_story(&fixture, "jump-7200 jump+10800 a jump-7200 ");

    clock_set_jumped(fixture.clk, NULL, NULL);
    step(&fixture, is_system, 50);
    turn(&fixture, 0);
    assert_story(&fixture, "jump-7200 jump+10800 a jump-7200 ");
    tear_down(&fixture);
}

typedef struct Row {
    const char *sentence;
    void (*run)(Fixture *fixture);
} Row;

static const Row contract[] = {
    {"past alarms fire in order of time, then of id", row_past_alarms_fire_in_order},
    {"an alarm at or before 1970 is past, not never", row_alarm_at_or_before_1970_fires},
    {"an alarm fires once, and not early", row_alarm_fires_once_and_not_early},
    {"a removed alarm does not fire", row_removed_alarm_does_not_fire},
    {"an alarm may remove the next one", row_alarm_may_remove_the_next},
    {"an alarm added by an alarm takes its place", row_alarm_added_by_an_alarm_takes_its_place},
    {"each turn of the loop fires one alarm", row_other_sources_come_between_alarms},
    {"an alarm may free the clock", row_alarm_may_free_the_clock},
};

static void check_contract(gboolean is_system)
{
    for (gsize i = 0; i < G_N_ELEMENTS(contract); i++) {
        Fixture fixture;

        print_message("# %s clock: %s\n", is_system ? "system" : "virtual", contract[i].sentence);
        set_up(&fixture, is_system);
        contract[i].run(&fixture);
        tear_down(&fixture);
    }
}

static void test_contract_virtual(void **state)
{
    (void)state;
    check_contract(FALSE);
}

static void test_contract_system(void **state)
{
    (void)state;
    check_contract(TRUE);
}

static void test_steps_virtual(void **state)
{
    (void)state;
    check_steps(FALSE);
}

static void test_steps_system(void **state)
{
    (void)state;
    check_steps(TRUE);
}

/* ---- the system clock's own ---- */

static void test_system_sleep_is_told_before_its_alarms(void **state)
{
    Fixture fixture;
    Teller a = {&fixture, "a"};

    (void)state;
    set_up(&fixture, TRUE);
    clock_set_jumped(fixture.clk, tell_jump, &fixture);
    played_step_s = 100; /* as after a resume: the kernel cancels nothing */
    clock_add_alarm(fixture.clk, clock_now(fixture.clk) - 50, tell, &a);
    turn(&fixture, 2);
    assert_story(&fixture, "jump+100 a ");
    tear_down(&fixture);
}

static void test_system_survives_a_read_of_nothing(void **state)
{
    Fixture fixture;
    Teller a = {&fixture, "a"};

    (void)state;
    set_up(&fixture, TRUE);
    clock_set_jumped(fixture.clk, tell_jump, &fixture);
    play_zero_read = TRUE;
    clock_add_alarm(fixture.clk, clock_now(fixture.clk) - 1, tell, &a);
    turn(&fixture, 1);
    assert_false(play_zero_read);
    assert_story(&fixture, "a ");
    tear_down(&fixture);
}

static void test_system_shows_wall_time(void **state)
{
    Fixture fixture;

    (void)state;
    set_up(&fixture, TRUE);
    const int64_t before_utc = (int64_t)time(NULL) - 1;
    const int64_t now_utc = clock_now(fixture.clk);
    assert_in_range(now_utc, before_utc, (int64_t)time(NULL) + 1);
    tear_down(&fixture);
}

/* ---- the virtual clock's own ---- */

static gboolean tell_idle(gpointer data)
{
    tell(data);
    return G_SOURCE_REMOVE;
}

static void test_virtual_waits_for_every_other_source(void **state)
{
    Fixture fixture;
    Teller a = {&fixture, "a"}, idle = {&fixture, "idle"};
    g_autoptr(GSource) source = g_idle_source_new();

    (void)state;
    set_up(&fixture, FALSE);
    clock_add_alarm(fixture.clk, START_UTC - 1, tell, &a);
    g_source_set_priority(source, G_PRIORITY_LOW * 10);
    g_source_set_callback(source, tell_idle, &idle, NULL);
    g_source_attach(source, fixture.context);
    turn(&fixture, 2);
    assert_story(&fixture, "idle a ");
    tear_down(&fixture);
}

static void test_virtual_stands_while_held(void **state)
{
    Fixture fixture;
    Teller a = {&fixture, "a"};

    (void)state;
    set_up(&fixture, FALSE);
    clock_add_alarm(fixture.clk, START_UTC + 10, tell, &a);
    clock_hold(fixture.clk);
    clock_hold(fixture.clk);
    clock_release(fixture.clk);
    turn(&fixture, 0);
    assert_story(&fixture, "");
    assert_int_equal(clock_now(fixture.clk), START_UTC);
    clock_release(fixture.clk);
    turn(&fixture, 1);
    assert_story(&fixture, "a ");
    assert_int_equal(clock_now(fixture.clk), START_UTC + 10);
    tear_down(&fixture);
}

static void test_virtual_end(void **state)
{
    Fixture fixture;
    Teller a = {&fixture, "a"}, b = {&fixture, "b"}, c = {&fixture, "c"}, end = {&fixture, "end"};

    (void)state;
    set_up(&fixture, FALSE);
    clock_virtual_set_end(fixture.clk, START_UTC + 100, tell, &end);
    clock_add_alarm(fixture.clk, START_UTC + 101, tell, &c);
    clock_add_alarm(fixture.clk, START_UTC + 100, tell, &b);
    clock_add_alarm(fixture.clk, START_UTC + 7, tell, &a);
    turn(&fixture, 3);
    assert_story(&fixture, "a b end ");
    assert_int_equal(clock_now(fixture.clk), START_UTC + 100);

    clock_virtual_set_end(fixture.clk, START_UTC + 50, tell, &end); /* past: stands at once */
    turn(&fixture, 4);
    assert_story(&fixture, "a b end end ");
    assert_int_equal(clock_now(fixture.clk), START_UTC + 100);

    clock_virtual_set_end(fixture.clk, START_UTC + 200, tell, &end);
    turn(&fixture, 6);
    assert_story(&fixture, "a b end end c end ");
    assert_int_equal(clock_now(fixture.clk), START_UTC + 200);
    tear_down(&fixture);
}

/* A year of one alarm an hour passes in the order of the hours, each at its own time. */
static void tick_hour(gpointer data)
{
    Fixture *fixture = data;
    const int64_t now_utc = clock_now(fixture->clk);

    assert_int_equal(now_utc, fixture->add_at_utc);
    fixture->add_at_utc += 3600;
    clock_add_alarm(fixture->clk, fixture->add_at_utc, tick_hour, fixture);
}

static void test_virtual_year_of_hours(void **state)
{
    const int64_t end_utc = START_UTC + G_GINT64_CONSTANT(365) * 86400;
    Fixture fixture;
    Teller end = {&fixture, "end"};

    (void)state;
    set_up(&fixture, FALSE);
    fixture.add_at_utc = START_UTC + 3600;
    clock_add_alarm(fixture.clk, fixture.add_at_utc, tick_hour, &fixture);
    clock_virtual_set_end(fixture.clk, end_utc, tell, &end);
    turn(&fixture, 1);
    assert_story(&fixture, "end ");
    assert_int_equal(fixture.add_at_utc, end_utc + 3600);
    tear_down(&fixture);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_contract_virtual),
        cmocka_unit_test(test_contract_system),
        cmocka_unit_test(test_steps_virtual),
        cmocka_unit_test(test_steps_system),
        cmocka_unit_test(test_system_sleep_is_told_before_its_alarms),
        cmocka_unit_test(test_system_survives_a_read_of_nothing),
        cmocka_unit_test(test_system_shows_wall_time),
        cmocka_unit_test(test_virtual_waits_for_every_other_source),
        cmocka_unit_test(test_virtual_stands_while_held),
        cmocka_unit_test(test_virtual_end),
        cmocka_unit_test(test_virtual_year_of_hours),
    };
    return cmocka_run_group_tests_name("clock", tests, NULL, NULL);
}
