/* SPDX-License-Identifier: MIT */
/*
 * A whole service on the virtual clock, with a real calendar server (Radicale) on loopback: two
 * growers, each with a calendar there, and a folder beside. What stands on the server is read from
 * its own files.
 */
#include "outlets-garden.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib/gstdio.h>
#include <string.h>

#include "calendar-server.h"
#include "calendar/event.h"
#include "service/post-wanted.h"

#define START "2026-04-13T07:10Z"
#define LOOKED_S                                                                                   \
    (6 * HOUR_S) /* within it, a calendar is looked at: poll-minutes, and a quarter                \
                  */
#define SECRET_ONE "pa55-one"
#define SECRET_TWO "pa55-two"

/* One for all tests, emptied in between: it is slow to start. NULL: it is not installed. */
static CalendarServer *shared;

typedef struct Fixture {
    char *folder;           /* (owned) */
    CalendarServer *server; /* (unowned) (nullable) */
    World *world;
} Fixture;

static int start_server(void **state)
{
    (void)state;
    shared = calendar_server_new(SECRET_ONE, SECRET_TWO);
    return 0;
}

static int end_server(void **state)
{
    (void)state;
    calendar_server_free(shared);
    return 0;
}

static void set_secret(const Fixture *f, const char *user, const char *secret)
{
    g_autofree char *path = g_build_filename(f->folder, user, NULL);
    g_autofree char *line = g_strconcat(secret, "\n", NULL);
    assert_true(
        g_file_set_contents_full(path, line, -1, G_FILE_SET_CONTENTS_CONSISTENT, 0600, NULL));
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    *state = f;
    f->server = shared;
    if (f->server == NULL)
        return 0;
    if (f->server->process == NULL)
        calendar_server_start(f->server);
    calendar_server_drop(f->server, "one");
    calendar_server_drop(f->server, "two");
    calendar_server_set_users(f->server, SECRET_ONE, SECRET_TWO);
    f->folder = g_dir_make_tmp("outlets-XXXXXX", NULL);
    assert_non_null(f->folder);
    set_secret(f, "one", SECRET_ONE);
    set_secret(f, "two", SECRET_TWO);
    g_autofree char *objects = g_build_filename(f->folder, "objects", NULL);
    assert_int_equal(g_mkdir(objects, 0700), 0);
    g_autofree char *calendars = g_strdup_printf(
        "[calendar one]\nkind=server\ngrower=one\naddress=%s\nuser=one\nsecret-file=%s/one\n"
        "colour=2f7d32\npoll-minutes=240\n"
        "[calendar two]\nkind=server\ngrower=two\naddress=%s\nuser=two\nsecret-file=%s/two\n"
        "poll-minutes=240\n"
        "[calendar all]\nkind=folder\npath=%s\n",
        f->server->url, f->folder, f->server->url, f->folder, objects);
    f->world = outlets_world(calendars, START);
    return 0;
}

static int tear_down(void **state)
{
    Fixture *f = *state;
    if (f->world != NULL)
        world_free(f->world);
    for (int i = 0; i < 20; i++)
        g_main_context_iteration(NULL, FALSE);
    if (f->folder != NULL) {
        g_autofree char *objects = g_build_filename(f->folder, "objects", NULL);
        const char *const folders[] = {objects, f->folder};
        for (gsize i = 0; i < G_N_ELEMENTS(folders); i++) {
            g_autoptr(GDir) dir = g_dir_open(folders[i], 0, NULL);
            const char *name;
            while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
                g_autofree char *path = g_build_filename(folders[i], name, NULL);
                (void)g_remove(path);
            }
            (void)g_rmdir(folders[i]);
        }
    }
    g_free(f->folder);
    g_free(f);
    return 0;
}

/* The fixture, or a skip. */
static Fixture *begin(void **state)
{
    Fixture *f = *state;
    if (f->server == NULL)
        skip();
    return f;
}

static void assert_server(const Fixture *f, const char *user)
{
    g_autoptr(GPtrArray) objects = calendar_server_objects(f->server, user);
    g_autofree char *wrong = outlets_differ(f->world, user, objects);
    if (wrong != NULL)
        fail_msg("%s: %s", user, wrong);
    const OutletView view = outlets_find(f->world, user, NULL);
    assert_int_equal(view.pending, 0);
    assert_string_equal(view.row->problem, "");
}

static void assert_folder(const Fixture *f)
{
    g_autofree char *path = g_build_filename(f->folder, "objects", NULL);
    g_autoptr(GPtrArray) objects = outlets_objects(path, NULL);
    g_autofree char *wrong = outlets_differ(f->world, NULL, objects);
    if (wrong != NULL)
        fail_msg("folder: %s", wrong);
}

static void assert_all(const Fixture *f)
{
    assert_server(f, "one");
    assert_server(f, "two");
    assert_folder(f);
}

static char *words_of(const Fixture *f, const char *name, int *ret_level)
{
    guint i;
    outlets_find(f->world, name, &i);
    return outlets_words(f->world->service->outlets, i, ret_level);
}

/* ---- the life of a calendar ---- */

static int64_t planned_us;

static void note_planned(Service *service, const char *trigger, gpointer data)
{
    (void)service, (void)trigger, (void)data;
    planned_us = g_get_monotonic_time();
}

/* From a change of the forecast to all objects on the server. */
static void show_latency(int64_t virtual_s, int64_t begun_us)
{
    const int64_t now_us = g_get_monotonic_time();
    print_message("# from a forecast to the server: %d s of the clock; really %d ms for the plan, "
                  "%d ms from it to the server and the folder\n",
                  (int)virtual_s, (int)((planned_us - begun_us) / 1000),
                  (int)((now_us - planned_us) / 1000));
}

/* A plan arrives; a new forecast moves it; each has their own calendar. */
static void test_plans_arrive(void **state)
{
    Fixture *f = begin(state);
    int level;
    assert_all(f);
    g_autoptr(GPtrArray) one = calendar_server_objects(f->server, "one");
    g_autoptr(GPtrArray) two = calendar_server_objects(f->server, "two");
    assert_true(one->len > 0 && two->len > 0);
    f->world->planned = note_planned;
    g_autofree char *words = words_of(f, "one", &level);
    assert_non_null(strstr(words, " all stands there as it should."));
    assert_int_equal(level, 0);
    for (int days = 1; days < 4; days++) {
        const int64_t at_utc = world_now(f->world), begun_us = g_get_monotonic_time();
        outlets_frost(f->world, 1 + days % 3);
        const int64_t last_utc = MAX(outlets_find(f->world, "one", NULL).row->delivered_utc,
                                     outlets_find(f->world, "two", NULL).row->delivered_utc);
        show_latency(MAX(0, last_utc - at_utc), begun_us);
        assert_all(f);
        assert_true(last_utc <= at_utc);
        world_run_for(f->world, DAY_S);
        assert_all(f);
    }
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(f->server, "one");
    assert_int_equal(calendars->len, 1);
}

/* Restarted, it knows what it delivered: nothing is made twice, or written again. */
static void test_restart(void **state)
{
    Fixture *f = begin(state);
    g_autoptr(GPtrArray) before = calendar_server_objects(f->server, "one");
    for (int i = 0; i < 2; i++) {
        world_stop(f->world);
        world_start(f->world);
        outlets_frost(f->world, 3);
        assert_all(f);
    }
    g_autoptr(GPtrArray) after = calendar_server_objects(f->server, "one");
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(f->server, "one");
    assert_int_equal(before->len, after->len);
    for (guint i = 0; i < before->len; i++)
        assert_true(g_ptr_array_find_with_equal_func(after, before->pdata[i], g_str_equal, NULL));
    assert_int_equal(calendars->len, 1);
}

/* Down for a day: nobody waits for it, and all is there once it is back. */
static void test_down_for_a_day(void **state)
{
    Fixture *f = begin(state);
    int level;
    calendar_server_stop(f->server);
    outlets_frost(f->world, 2);
    world_run_for(f->world, LOOKED_S);
    g_autofree char *words = words_of(f, "one", &level);
    assert_int_equal(level, 1);
    assert_non_null(strstr(words, "It could not be delivered "));
    assert_non_null(strstr(words, "Tried again "));
    assert_folder(f);
    assert_true(post_lag_s(f->world->service, 0) >= f->world->service->garden->feed_lag_s);
    world_run_for(f->world, DAY_S / 2);
    assert_true(post_lag_s(f->world->service, 0) > 12 * HOUR_S);
    outlets_frost(f->world, 1);
    assert_folder(f);
    world_stop(f->world);
    world_start(f->world);
    assert_true(outlets_find(f->world, "one", NULL).row->failures > 5);
    world_run_for(f->world, DAY_S / 2);
    outlets_frost(f->world, 2);
    assert_folder(f);
    assert_true(outlets_find(f->world, "one", NULL).pending > 0);
    calendar_server_start(f->server);
    /* The longest pause: six hours, and a quarter. */
    world_run_for(f->world, 8 * HOUR_S);
    assert_int_equal(post_lag_s(f->world->service, 0), f->world->service->garden->server_lag_s);
    assert_all(f);
}

/* A refused password is told with what to do, and never shown; mended, it needs no restart. */
static void test_password(void **state)
{
    Fixture *f = begin(state);
    int level;
    calendar_server_set_users(f->server, "another-1", SECRET_TWO);
    world_run_for(f->world, LOOKED_S);
    g_autofree char *words = words_of(f, "one", &level);
    g_autofree char *path = g_build_filename(f->folder, "one", NULL);
    assert_int_equal(level, 2);
    assert_non_null(strstr(words, "the server refuses the user or the password. Put the right "
                                  "password into "));
    assert_non_null(strstr(words, path));
    assert_null(strstr(words, SECRET_ONE));
    assert_int_equal(world_logged(f->world, SECRET_ONE), 0);
    assert_server(f, "two");
    const OutletView view = outlets_find(f->world, "one", NULL);
    assert_true(view.next_utc - world_now(f->world) >= 11 * 60); /* it might lock us out */
    set_secret(f, "one", "another-1");
    world_run(f->world, view.next_utc + 1);
    assert_all(f);
    /* Or at once, when the file is read again. */
    set_secret(f, "one", "wrong");
    world_run_for(f->world, LOOKED_S);
    const OutletView refused = outlets_find(f->world, "one", NULL);
    if (!refused.row->refused)
        fail_msg("%s; tried %" G_GINT64_FORMAT " s ago", refused.row->problem,
                 world_now(f->world) - refused.row->tried_utc);
    set_secret(f, "one", "another-1");
    assert_true(service_reload(f->world->service, NULL));
    world_run_for(f->world, 0);
    outlets_frost(f->world, 1);
    assert_all(f);
}

/* Somebody deletes the calendar: it is made again, with all that is wanted. */
static void test_deleted_calendar(void **state)
{
    Fixture *f = begin(state);
    calendar_server_drop(f->server, "one");
    outlets_frost(f->world, 2);
    world_run_for(f->world, LOOKED_S);
    assert_all(f);
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(f->server, "one");
    assert_int_equal(calendars->len, 1);
}

static const EventMemory *event_of(const Fixture *f, const char *uid)
{
    for (guint i = 0; i < f->world->service->memory->len; i++) {
        const EventMemory *one = f->world->service->memory->pdata[i];
        if (strcmp(one->uid, uid) == 0)
            return one;
    }
    fail_msg("no event %s", uid);
    return NULL;
}

/* The visit stands where the grower put it, the event says so, and no later plan moves it back. */
static void assert_stands(const Fixture *f, const char *uid, int64_t start_utc)
{
    const EventMemory *event = event_of(f, uid);
    assert_false(event->cancelled);
    assert_int_equal(event->start_utc, start_utc);
    assert_non_null(strstr(event->description, "You set this time."));
    assert_all(f);
}

/* Moves an event, in a user's only calendar, to another hour of its day, as a client would. */
static int64_t move(const Fixture *f, const char *user, const char *uid, int hour)
{
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(f->server, user);
    assert_int_equal(calendars->len, 1);
    g_autofree char *name = g_strconcat(uid, ".ics", NULL);
    g_autofree char *path = g_build_filename(calendars->pdata[0], name, NULL);
    g_autofree char *text = world_read(path);
    const int64_t was_utc = event_of(f, uid)->start_utc;
    const int64_t is_utc = was_utc / DAY_S * DAY_S + hour * HOUR_S + 30 * 60;
    g_autoptr(GDateTime) before = g_date_time_new_from_unix_utc(was_utc);
    g_autoptr(GDateTime) after = g_date_time_new_from_unix_utc(is_utc);
    g_autofree char *was = g_date_time_format(before, "DTSTART:%Y%m%dT%H%M%SZ");
    g_autofree char *is = g_date_time_format(after, "DTSTART:%Y%m%dT%H%M%SZ");
    g_auto(GStrv) parts = g_strsplit(text, was, -1);
    assert_int_equal(g_strv_length(parts), 2);
    g_autofree char *moved = g_strjoinv(is, parts);
    world_write(path, moved);
    world_run_for(f->world, LOOKED_S);
    return is_utc;
}

/* An event of grower one's, so many days ahead and more. */
static char *later_event(const Fixture *f, int days)
{
    for (guint i = 0; i < f->world->service->memory->len; i++) {
        const EventMemory *one = f->world->service->memory->pdata[i];
        if (strcmp(one->location, "home") == 0 &&
            one->start_utc > world_now(f->world) + days * DAY_S)
            return g_strdup(one->uid);
    }
    fail_msg("there is no visit ahead");
    return NULL;
}

/* A grower drags an event to another hour: the plan is made around it, and answers. */
static void test_moved(void **state)
{
    Fixture *f = begin(state);
    g_autofree char *uid = later_event(f, 1);
    const int64_t start_utc = move(f, "one", uid, 4);
    const OutletView view = outlets_find(f->world, "one", NULL);
    assert_int_equal(view.edits->len, 1);
    const StoreOutletEdit *edit = &g_array_index(view.edits, StoreOutletEdit, 0);
    assert_string_equal(edit->uid, uid);
    assert_string_equal(edit->kind, "moved");
    assert_int_equal(edit->edits, 1);
    assert_int_equal(edit->start_utc, start_utc);
    assert_stands(f, uid, start_utc);
    /* The store has it too. */
    world_stop(f->world);
    world_start(f->world);
    assert_int_equal(outlets_find(f->world, "one", NULL).edits->len, 1);
    for (int days = 1; days < 4; days++) {
        outlets_frost(f->world, days);
        world_run_for(f->world, LOOKED_S / 2);
        assert_stands(f, uid, start_utc);
    }
}

static void assert_everybodys(const Fixture *f, const char *uid, int64_t start_utc)
{
    assert_stands(f, uid, start_utc);
    g_autoptr(GPtrArray) objects = calendar_server_objects(f->server, "all");
    g_autofree char *wrong = outlets_differ(f->world, NULL, objects);
    if (wrong != NULL)
        fail_msg("all: %s", wrong);
}

/* The same event in a grower's calendar and in everybody's: moved in one and then in the other, it
 * stands in both where it was put last. */
static void test_moved_in_two(void **state)
{
    Fixture *f = begin(state);
    g_autofree char *before = world_read(f->world->config);
    g_autofree char *garden =
        g_strdup_printf("%s[calendar both]\nkind=server\naddress=%s\nuser=all\n"
                        "secret-file=%s/all\npoll-minutes=240\n",
                        before, f->server->url, f->folder);
    set_secret(f, "all", CALENDAR_SERVER_ALL);
    world_write(f->world->config, garden);
    assert_true(service_reload(f->world->service, NULL));
    outlets_frost(f->world, 3);
    g_autofree char *uid = later_event(f, 3);
    static const struct {
        const char *user;
        int hour;
    } moves[] = {{"one", 4}, {"all", 6}, {"one", 7}};
    for (gsize i = 0; i < G_N_ELEMENTS(moves); i++) {
        const int64_t start_utc = move(f, moves[i].user, uid, moves[i].hour);
        assert_everybodys(f, uid, start_utc);
        world_run_for(f->world, LOOKED_S / 2);
        assert_everybodys(f, uid, start_utc);
    }
}

/* Two in one calendar would take each other's events for offers; the second one is not kept. */
static void test_one_calendar_for_two(void **state)
{
    Fixture *f = begin(state);
    World *w = f->world;
    int level;
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(f->server, "one");
    g_autofree char *name = g_path_get_basename(calendars->pdata[0]);
    g_autofree char *file = g_strdup_printf(
        "%s[calendar one]\nkind=server\ngrower=one\naddress=%s\nuser=one\nsecret-file=%s/one\n"
        "colour=2f7d32\npoll-minutes=240\n"
        "[calendar two]\nkind=server\ngrower=two\naddress=%sone/%s/\nuser=one\n"
        "secret-file=%s/one\npoll-minutes=240\n",
        outlets_garden, f->server->url, f->folder, f->server->url, name, f->folder);
    world_write(w->config, file);
    assert_true(service_reload(w->service, NULL));
    world_run_for(w, DAY_S);
    outlets_frost(w, 2);
    assert_server(f, "one");
    g_autofree char *words = words_of(f, "two", &level);
    assert_non_null(strstr(words, "its calendar is that of [calendar one] too; give one of its "
                                  "own"));
    assert_true(level > 0);
    assert_int_equal(outlets_find(w, "one", NULL).edits->len, 0);
    assert_int_equal(outlets_find(w, "two", NULL).edits->len, 0);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_plans_arrive),     TEST(test_restart),
        TEST(test_down_for_a_day),   TEST(test_password),
        TEST(test_deleted_calendar), TEST(test_moved),
        TEST(test_moved_in_two),     TEST(test_one_calendar_for_two),
    };
    return cmocka_run_group_tests_name("outlets server", tests, start_server, end_server);
}
