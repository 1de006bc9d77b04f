/* SPDX-License-Identifier: MIT */
/* The calendars of thole.conf that need no network: a folder and a file for each grower. */
#include "outlets-garden.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib/gstdio.h>
#include <string.h>
#include <sys/stat.h>

#include "calendar/event.h"

#define START "2026-04-13T07:10Z"

typedef struct Fixture {
    char *folder; /* (owned) */
    World *world;
} Fixture;

static char *at(const Fixture *f, const char *name)
{
    return g_build_filename(f->folder, name, NULL);
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    f->folder = g_dir_make_tmp("outlets-XXXXXX", NULL);
    assert_non_null(f->folder);
    g_autofree char *one = at(f, "one"), *two = at(f, "two");
    assert_int_equal(g_mkdir(one, 0700), 0);
    assert_int_equal(g_mkdir(two, 0700), 0);
    g_autofree char *calendars =
        g_strdup_printf("[calendar one]\nkind=folder\ngrower=one\npath=%s\n"
                        "[calendar two]\nkind=folder\ngrower=two\npath=%s\n"
                        "[calendar all]\nkind=file\npath=%s/all.ics\nname=All of it\n",
                        one, two, f->folder);
    f->world = outlets_world(calendars, START);
    *state = f;
    return 0;
}

static void remove_all(const char *folder)
{
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    const char *name;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *path = g_build_filename(folder, name, NULL);
        if (g_file_test(path, G_FILE_TEST_IS_DIR))
            remove_all(path);
        (void)g_remove(path);
    }
}

static int tear_down(void **state)
{
    Fixture *f = *state;
    world_free(f->world);
    for (int i = 0; i < 20; i++)
        g_main_context_iteration(NULL, FALSE);
    remove_all(f->folder);
    (void)g_rmdir(f->folder);
    g_free(f->folder);
    g_free(f);
    return 0;
}

static GPtrArray *objects_in(const Fixture *f, const char *name)
{
    g_autofree char *path = at(f, name);
    return outlets_objects(path, NULL);
}

static void assert_stands(const Fixture *f, const char *grower)
{
    g_autoptr(GPtrArray) objects = objects_in(f, grower);
    g_autofree char *wrong = outlets_differ(f->world, grower, objects);
    if (wrong != NULL)
        fail_msg("%s: %s", grower, wrong);
    assert_int_equal(outlets_find(f->world, grower, NULL).pending, 0);
}

/* Each gets what is theirs, the file what is everybody's; and so it stays as plans change. */
static void test_each_their_own(void **state)
{
    const Fixture *f = *state;
    g_autofree char *all = at(f, "all.ics");
    for (int days = 1; days < 6; days++) {
        outlets_frost(f->world, 1 + days % 3);
        world_run_for(f->world, DAY_S);
        assert_stands(f, "one");
        assert_stands(f, "two");
        g_autofree char *whole = world_read(all), *everybodys = world_calendar(f->world);
        g_auto(GStrv) parts = g_strsplit(whole, "All of it", -1);
        g_autofree char *renamed = g_strjoinv("thole", parts);
        assert_string_equal(renamed, everybodys);
    }
    g_autoptr(GPtrArray) one = objects_in(f, "one"), two = objects_in(f, "two");
    assert_true(one->len > 0 && two->len > 0);
}

/* An object is written when what it says changes, and at no other time. */
static void test_only_what_differs(void **state)
{
    const Fixture *f = *state;
    g_autofree char *folder = at(f, "one");
    g_autoptr(GPtrArray) before = objects_in(f, "one");
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    g_autofree char *first = g_build_filename(folder, g_dir_read_name(dir), NULL);
    GStatBuf was, is;
    assert_int_equal(g_stat(first, &was), 0);
    outlets_frost(f->world, 3);
    outlets_frost(f->world, 3);
    assert_int_equal(g_stat(first, &is), 0);
    assert_true(was.st_ino == is.st_ino); /* replaced files are others */
    g_autoptr(GPtrArray) after = objects_in(f, "one");
    assert_int_equal(before->len, after->len);
}

/* Others' files are not ours, whatever they are called. */
static void test_others_files(void **state)
{
    const Fixture *f = *state;
    g_autofree char *own = at(f, "one/holiday.ics"), *note = at(f, "one/.stfolder");
    world_write(own, "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n");
    world_write(note, "x");
    for (int days = 1; days < 9; days++)
        world_run_for(f->world, DAY_S);
    g_autofree char *text = world_read(own);
    assert_string_equal(text, "BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n");
    assert_true(g_file_test(note, G_FILE_TEST_EXISTS));
    /* By now all of the first week is over, and gone. */
    assert_int_equal(g_remove(own), 0);
    assert_stands(f, "one");
}

/* What a phone adds stays; what it takes away comes back. */
static void test_edited(void **state)
{
    const Fixture *f = *state;
    g_autofree char *folder = at(f, "one");
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    g_autofree char *first = g_build_filename(folder, g_dir_read_name(dir), NULL);
    g_autofree char *text = world_read(first);
    g_auto(GStrv) parts = g_strsplit(text, "BEGIN:VALARM", 2);
    g_autofree char *edited = g_strjoinv("X-KEPT:1\r\nBEGIN:VALARM", parts);
    assert_string_not_equal(text, edited);
    world_write(first, edited);
    outlets_frost(f->world, 3);
    g_autofree char *same = world_read(first);
    assert_string_equal(same, edited);
    assert_int_equal(g_remove(first), 0);
    outlets_frost(f->world, 3);
    assert_stands(f, "one");
}

/* A folder that is not there holds up nobody, is told of, and is filled once it is there. */
static void test_no_folder(void **state)
{
    const Fixture *f = *state;
    g_autofree char *folder = at(f, "one"), *away = at(f, "away");
    int level;
    guint i;
    assert_int_equal(g_rename(folder, away), 0);
    outlets_frost(f->world, 2);
    OutletView view = outlets_find(f->world, "one", &i);
    assert_string_not_equal(view.row->problem, "");
    assert_true(view.pending > 0 && view.next_utc > world_now(f->world));
    g_autofree char *words = outlets_words(f->world->service->outlets, i, &level);
    assert_int_equal(level, 1);
    assert_non_null(strstr(words, "there is no such folder; make it, or name another one. Tried "
                                  "again Mon 08:"));
    assert_stands(f, "two");
    assert_int_equal(world_logged(f->world, "not delivered: "), 1);
    /* The pauses grow to six hours. */
    world_run_for(f->world, DAY_S);
    view = outlets_find(f->world, "one", NULL);
    assert_in_range(view.row->failures, 8, 40);
    assert_true(view.next_utc - world_now(f->world) <= 8 * HOUR_S);
    assert_int_equal(world_logged(f->world, "not delivered: "), 1);
    g_free(outlets_words(f->world->service->outlets, i, &level));
    assert_int_equal(level, 1);
    world_run_for(f->world, 2 * HOUR_S);
    g_free(outlets_words(f->world->service->outlets, i, &level));
    assert_int_equal(level, 2);
    assert_int_equal(g_rename(away, folder), 0);
    world_run_for(f->world, 8 * HOUR_S);
    assert_stands(f, "one");
    assert_int_equal(world_logged(f->world, "delivered again"), 1);
}

/* A try that a clock running ahead had put off is made by the right one. */
static void test_clock_put_back(void **state)
{
    const Fixture *f = *state;
    g_autofree char *folder = at(f, "one"), *away = at(f, "away");
    assert_int_equal(g_rename(folder, away), 0);
    outlets_frost(f->world, 2);
    assert_int_equal(g_rename(away, folder), 0);
    clock_virtual_step_wall(f->world->clk, -DAY_S);
    world_run_for(f->world, 60);
    assert_int_equal(outlets_find(f->world, "one", NULL).row->failures, 0);
    assert_int_equal(world_logged(f->world, "delivered again"), 1);
}

/* Restarted, and with calendars that come and go, each knows what it wrote. */
static void test_life(void **state)
{
    Fixture *f = *state;
    World *w = f->world;
    g_autoptr(GPtrArray) before = objects_in(f, "one");
    g_autofree char *one = at(f, "one"), *two = at(f, "two"), *file = world_read(w->config);
    world_stop(w);
    world_start(w);
    assert_true(outlets_find(w, "one", NULL).row->delivered_utc > 0);
    outlets_frost(w, 3);
    assert_stands(f, "one");
    assert_stands(f, "two");
    /* One leaves the file: what it wrote stays, and is taken up when it is named again. */
    g_autofree char *less = g_strdup_printf("%s[calendar two]\nkind=folder\ngrower=two\npath=%s\n",
                                            outlets_garden, two);
    world_write(w->config, less);
    assert_true(service_reload(w->service, NULL));
    assert_int_equal(outlets_count(w->service->outlets), 1);
    world_run_for(w, 3 * DAY_S);
    outlets_frost(w, 2);
    assert_stands(f, "two");
    g_autoptr(GPtrArray) left = objects_in(f, "one");
    assert_true(left->len > 0);
    world_write(w->config, file);
    assert_true(service_reload(w->service, NULL));
    world_run_for(w, 0);
    outlets_frost(w, 2);
    assert_stands(f, "one");
    assert_stands(f, "two");
}

/* Files that are there already: another program's, and the one that tholed itself writes. */
static void test_refused(void **state)
{
    Fixture *f = *state;
    World *w = f->world;
    g_autofree char *alien = at(f, "alien.ics");
    int level;
    guint i;
    world_write(alien, "BEGIN:VCALENDAR\r\nPRODID:-//others//EN\r\nEND:VCALENDAR\r\n");
    g_autofree char *garden = g_strdup_printf("%s[calendar alien]\nkind=file\npath=%s\n"
                                              "[calendar same]\nkind=file\npath=%s\n",
                                              outlets_garden, alien, w->calendar);
    world_write(w->config, garden);
    assert_true(service_reload(w->service, NULL));
    outlets_frost(w, 1);
    outlets_find(w, "alien", &i);
    g_autofree char *words = outlets_words(w->service->outlets, i, &level);
    assert_non_null(strstr(words, "holds something else than a calendar of thole"));
    assert_int_equal(level, 2);
    g_autofree char *text = world_read(alien);
    assert_non_null(strstr(text, "others"));
    outlets_find(w, "same", &i);
    g_autofree char *refused = outlets_words(w->service->outlets, i, &level);
    assert_non_null(strstr(refused, "Not kept: "));
    assert_non_null(strstr(refused, "is the file that tholed writes for everybody (--calendar)"));
    assert_int_equal(level, 2);
}

/* A rehearsal writes nothing but its own file. */
static void test_rehearsal(void **state)
{
    Fixture *f = *state;
    World *w = f->world;
    int level;
    g_autofree char *folder = at(f, "one"), *all = at(f, "all.ics");
    world_stop(w);
    remove_all(folder);
    assert_int_equal(g_remove(all), 0);
    w->outlets = FALSE;
    world_start(w);
    outlets_frost(w, 1);
    world_run_for(w, DAY_S);
    g_autoptr(GPtrArray) objects = objects_in(f, "one");
    assert_int_equal(objects->len, 0);
    assert_false(g_file_test(all, G_FILE_TEST_EXISTS));
    g_autofree char *words = outlets_words(w->service->outlets, 0, &level);
    assert_string_equal(words, "Not kept in a rehearsal.");
    assert_int_equal(level, 0);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_each_their_own), TEST(test_only_what_differs), TEST(test_others_files),
        TEST(test_edited),         TEST(test_no_folder),         TEST(test_life),
        TEST(test_clock_put_back), TEST(test_refused),           TEST(test_rehearsal),
    };
    return cmocka_run_group_tests_name("outlets", tests, NULL, NULL);
}
