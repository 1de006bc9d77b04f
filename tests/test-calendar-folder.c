/* SPDX-License-Identifier: MIT */
/* A folder with one object for each event: what is decided, and what is done on a disk that fails.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib/gstdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "calendar/folder.h"
#include "calendar/object.h"

#define NOW_UTC 1776096000 /* 2026-04-13T16:00Z */

typedef struct Fixture {
    char *path;
    GPtrArray *events;
    GHashTable *ours;
    GTimeZone *zone;
} Fixture;

static EventMemory *event_new(const char *uid, const char *summary)
{
    EventMemory *event = event_memory_new();
    g_free(event->uid);
    event->uid = g_strdup(uid);
    g_free(event->summary);
    event->summary = g_strdup(summary);
    event->start_utc = NOW_UTC + 7200;
    event->end_utc = event->start_utc + 900;
    event->created_utc = event->dtstamp_utc = event->last_modified_utc = NOW_UTC;
    event_alarms_add(event->alarms, 15, TRUE, "Leave now");
    return event;
}

static int set_up(void **state)
{
    Fixture *f = g_new0(Fixture, 1);
    f->path = g_dir_make_tmp("folder-XXXXXX", NULL);
    assert_non_null(f->path);
    f->events = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);
    g_ptr_array_add(f->events, event_new("a-1", "Close frame"));
    g_ptr_array_add(f->events, event_new("b-2", "Prop frame"));
    f->ours = calendar_folder_texts();
    f->zone = g_time_zone_new_utc();
    *state = f;
    return 0;
}

static char *file_of(const Fixture *f, const char *name)
{
    return g_build_filename(f->path, name, NULL);
}

static int tear_down(void **state)
{
    Fixture *f = *state;
    g_autoptr(GDir) dir = g_dir_open(f->path, 0, NULL);
    const char *name;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *file = file_of(f, name);
        (void)g_remove(file);
    }
    (void)g_rmdir(f->path);
    g_free(f->path);
    g_ptr_array_unref(f->events);
    g_hash_table_unref(f->ours);
    g_time_zone_unref(f->zone);
    g_free(f);
    return 0;
}

/* One round; how many actions were done. */
static guint pass_over(Fixture *f, GError **error)
{
    g_autoptr(GPtrArray) uids = g_ptr_array_new(), actions = NULL;
    g_autoptr(GPtrArray) done = g_ptr_array_new_with_free_func((GDestroyNotify)folder_action_free);
    GHashTableIter each;
    gpointer uid;
    for (guint i = 0; i < f->events->len; i++)
        g_ptr_array_add(uids, ((EventMemory *)f->events->pdata[i])->uid);
    g_hash_table_iter_init(&each, f->ours);
    while (g_hash_table_iter_next(&each, &uid, NULL))
        g_ptr_array_add(uids, uid);
    g_autoptr(GHashTable) there = calendar_folder_look(f->path, uids, error);
    if (there == NULL)
        return 0;
    actions = calendar_folder_decide(f->events, f->ours, there, f->zone, NOW_UTC);
    (void)!calendar_folder_perform(f->path, actions, done, error);
    for (guint i = 0; i < done->len; i++) {
        const FolderAction *action = done->pdata[i];
        if (action->ours != NULL)
            g_hash_table_replace(f->ours, g_strdup(action->uid), g_strdup(action->ours));
        else
            g_hash_table_remove(f->ours, action->uid);
    }
    return done->len;
}

static char *text_of(const Fixture *f, const char *name)
{
    g_autofree char *file = file_of(f, name);
    char *text = NULL;
    assert_true(g_file_get_contents(file, &text, NULL, NULL));
    return text;
}

static void write_file(const Fixture *f, const char *name, const char *text)
{
    g_autofree char *file = file_of(f, name);
    assert_true(g_file_set_contents(file, text, -1, NULL));
}

static gboolean exists(const Fixture *f, const char *name)
{
    g_autofree char *file = file_of(f, name);
    return g_file_test(file, G_FILE_TEST_EXISTS);
}

static void test_life(void **state)
{
    Fixture *f = *state;
    EventMemory *a = f->events->pdata[0], *b = f->events->pdata[1];
    assert_int_equal(pass_over(f, NULL), 2);
    assert_int_equal(pass_over(f, NULL), 0);
    g_autofree char *plain = calendar_object_write(a, a->uid);
    g_autofree char *text = text_of(f, "a-1.ics");
    assert_string_equal(text, plain);
    /* Cancelled ones stay, without alarms, until their day is over. */
    b->cancelled = TRUE;
    assert_int_equal(pass_over(f, NULL), 1);
    g_autofree char *cancelled = text_of(f, "b-2.ics");
    assert_non_null(strstr(cancelled, "STATUS:CANCELLED"));
    assert_null(strstr(cancelled, "VALARM"));
    b->ended = TRUE;
    assert_int_equal(pass_over(f, NULL), 1);
    assert_false(exists(f, "b-2.ics"));
    assert_int_equal(pass_over(f, NULL), 0);
    /* And what is another grower's now. */
    g_ptr_array_remove_index(f->events, 0);
    assert_int_equal(pass_over(f, NULL), 1);
    assert_false(exists(f, "a-1.ics"));
    assert_int_equal(g_hash_table_size(f->ours), 0);
}

/* Acknowledged on a phone: that stays while the alarm rings at that time, and goes with it. */
static void test_acknowledged(void **state)
{
    Fixture *f = *state;
    EventMemory *a = f->events->pdata[0];
    assert_int_equal(pass_over(f, NULL), 2);
    g_autofree char *text = text_of(f, "a-1.ics");
    g_auto(GStrv) parts = g_strsplit(text, "ACTION:DISPLAY", 2);
    g_autofree char *edited = g_strjoinv("ACKNOWLEDGED:20260413T170000Z\r\nACTION:DISPLAY", parts);
    write_file(f, "a-1.ics", edited);
    assert_int_equal(pass_over(f, NULL), 0);
    g_free(a->description);
    a->description = g_strdup("Other figures.");
    assert_int_equal(pass_over(f, NULL), 1);
    g_autofree char *reworded = text_of(f, "a-1.ics");
    assert_non_null(strstr(reworded, "ACKNOWLEDGED:20260413T170000Z"));
    assert_non_null(strstr(reworded, "Other figures."));
    a->start_utc += 3600;
    a->end_utc += 3600;
    a->sequence++;
    assert_int_equal(pass_over(f, NULL), 1);
    g_autofree char *moved = text_of(f, "a-1.ics");
    assert_null(strstr(moved, "ACKNOWLEDGED"));
    assert_int_equal(pass_over(f, NULL), 0);
}

/* What is not ours any more is not removed; what cannot be read is put right. */
static void test_others(void **state)
{
    Fixture *f = *state;
    EventMemory *a = f->events->pdata[0], *b = f->events->pdata[1];
    assert_int_equal(pass_over(f, NULL), 2);
    g_autofree char *alien = calendar_object_write(b, "someone-else");
    write_file(f, "b-2.ics", alien);
    write_file(f, "a-1.ics", "scribble");
    b->ended = TRUE;
    assert_int_equal(pass_over(f, NULL), 2);
    g_autofree char *left = text_of(f, "b-2.ics"), *text = text_of(f, "a-1.ics");
    g_autofree char *plain = calendar_object_write(a, a->uid);
    assert_string_equal(left, alien);
    assert_string_equal(text, plain);
    assert_int_equal(pass_over(f, NULL), 0);
    /* The state is lost: what lies there with an event's UID is ours. */
    g_hash_table_remove_all(f->ours);
    assert_int_equal(pass_over(f, NULL), 1);
    assert_int_equal(pass_over(f, NULL), 0);
    assert_int_equal(g_hash_table_size(f->ours), 1);
}

static void test_failures(void **state)
{
    Fixture *f = *state;
    g_autoptr(GError) error = NULL;
    g_autofree char *file = file_of(f, "b-2.ics");
    /* A folder, or a link, in an object's place. */
    assert_int_equal(g_mkdir(file, 0700), 0);
    assert_int_equal(pass_over(f, &error), 0);
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT));
    g_clear_error(&error);
    assert_int_equal(g_rmdir(file), 0);
    assert_int_equal(symlink("/etc/hostname", file), 0);
    assert_int_equal(pass_over(f, &error), 0);
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT));
    g_clear_error(&error);
    assert_int_equal(g_unlink(file), 0);
    assert_int_equal(pass_over(f, NULL), 2);
    /* No folder. */
    g_autofree char *away = g_strconcat(f->path, ".away", NULL);
    assert_int_equal(g_rename(f->path, away), 0);
    assert_int_equal(pass_over(f, &error), 0);
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_IO));
    assert_non_null(strstr(error->message, "there is no such folder"));
    assert_int_equal(g_rename(away, f->path), 0);
}

/* What is done before a failure stays done, and is known. */
static void test_half(void **state)
{
    Fixture *f = *state;
    g_autoptr(GError) error = NULL;
    g_autoptr(GHashTable) there = calendar_folder_texts();
    g_autoptr(GPtrArray) done = g_ptr_array_new_with_free_func((GDestroyNotify)folder_action_free);
    g_autoptr(GPtrArray) actions =
        calendar_folder_decide(f->events, f->ours, there, f->zone, NOW_UTC);
    FolderAction *second = actions->pdata[1];
    assert_int_equal(actions->len, 2);
    g_free(second->uid);
    second->uid = g_strdup("no/such");
    assert_false(calendar_folder_perform(f->path, actions, done, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_IO));
    assert_int_equal(done->len, 1);
    assert_int_equal(actions->len, 1);
    assert_true(exists(f, "a-1.ics"));
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(test_life),     TEST(test_acknowledged), TEST(test_others),
        TEST(test_failures), TEST(test_half),
    };
    return cmocka_run_group_tests_name("calendar folder", tests, NULL, NULL);
}
