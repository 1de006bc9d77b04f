/* SPDX-License-Identifier: MIT */
/* The same news by mail to a real server, by a real program, on a desktop; and of several
 * growers, each by their own ways. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <json-glib/json-glib.h>
#include <string.h>

#include "desktop-bus.h"
#include "post-box.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */
#define WARNED "2026-04-10T05:00:00Z"
#define ASKED "2026-04-10T17:10:01Z"
#define HOOK(name, more) "[channel " name "]\nkind=webhook\nurl=%s/" name "\n" more

/* In the night to Saturday, with a visit on Friday at 18:00 that saves the lettuces. */
static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};

static void begin(PostBox *box)
{
    world_start(box->w);
    world_forecast(box->w, &frost);
    world_add_batch(box->w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
}

/* ---- mail ---- */

static JsonObject *hear(GDataInputStream *lines, JsonParser *parser)
{
    g_autofree char *line = g_data_input_stream_read_line(lines, NULL, NULL, NULL);
    assert_non_null(line);
    assert_true(json_parser_load_from_data(parser, line, -1, NULL));
    return json_node_get_object(json_parser_get_root(parser));
}

/* To a server in a process of its own (smtp-server.py), through the thread that speaks to it. */
static void test_mail(void **state)
{
    (void)state;
    g_autofree char *script =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "smtp-server.py", NULL);
    PostBox *box = post_box_new("[channel none]\nkind=command\ncommand=/bin/true\n", START);
    g_autoptr(GSubprocess) server =
        g_subprocess_new(G_SUBPROCESS_FLAGS_STDIN_PIPE | G_SUBPROCESS_FLAGS_STDOUT_PIPE, NULL,
                         "/usr/bin/python3", "-W", "ignore", script, box->w->folder, NULL);
    assert_non_null(server);
    g_autoptr(GDataInputStream) lines =
        g_data_input_stream_new(g_subprocess_get_stdout_pipe(server));
    g_autoptr(JsonParser) parser = json_parser_new();
    const int port = (int)json_object_get_int_member(hear(lines, parser), "plain");
    g_autofree char *channel = g_strdup_printf("[channel post]\nkind=mail\nto=me@plot.example\n"
                                               "from=thole@plot.example\n"
                                               "server=smtp://127.0.0.1:%d\n",
                                               port);
    post_box_configure(box, channel);
    begin(box);
    world_run(box->w, world_utc(WARNED));
    JsonObject *change = hear(lines, parser);
    assert_string_equal(json_object_get_string_member(change, "subject"),
                        "Prop frame 20 cm, water frame by 19:00");
    assert_true(json_object_get_null_member(change, "importance"));
    JsonObject *warning = hear(lines, parser);
    assert_string_equal(json_object_get_string_member(warning, "subject"),
                        "Carry lettuces to sill by 19:00 (−3° tonight)");
    assert_string_equal(json_object_get_string_member(warning, "importance"), "high");
    assert_non_null(
        strstr(json_object_get_string_member(warning, "body"), "\nTake along: room for 1 tray"));
    g_output_stream_close(g_subprocess_get_stdin_pipe(server), NULL, NULL);
    g_subprocess_wait(server, NULL, NULL);
    /* Nobody takes mail any more: tried again, later. */
    world_run(box->w, world_utc("2026-04-10T16:45:00Z"));
    assert_true(world_logged(box->w, "a message did not go out") >= 1);
    post_box_free(box);
}

/* ---- a command ---- */

static void test_command(void **state)
{
    (void)state;
    PostBox *box = post_box_new("[channel none]\nkind=command\ncommand=/bin/true\n", START);
    g_autofree char *program = g_build_filename(box->w->folder, "ring", NULL);
    g_autofree char *heard = g_build_filename(box->w->folder, "heard", NULL);
    assert_true(g_file_set_contents_full(
        program, "#!/bin/sh\n{ echo \"$THOLE_URGENT $2\"; head -n 1; } >>\"$1\"\n", -1,
        G_FILE_SET_CONTENTS_NONE, 0700, NULL));
    g_autofree char *channel = g_strdup_printf(
        "[channel bell]\nkind=command\ncommand=%s %s 'two words'\n", program, heard);
    post_box_configure(box, channel);
    begin(box);
    world_run(box->w, world_utc(WARNED));
    g_autofree char *said = world_read(heard);
    assert_string_equal(said, "no two words\nProp frame 20 cm, water frame by 19:00\n"
                              "yes two words\nCarry lettuces to sill by 19:00 (−3° tonight)\n");
    post_box_free(box);
}

/* ---- several growers ---- */

/* A visit is told to whose it is; what no visit can do to everyone who goes there, once on each
 * channel. */
static void test_growers(void **state)
{
    static const WorldWeather mild = {.low_c = 6, .high_c = 14};
    static const WorldWeather killing = {.low_c = 6, .high_c = 14, .cold_day = 1, .cold_c = -9};
    (void)state;
    PostBox *box = post_box_new(
        HOOK("all", "order=1\n") HOOK("mine", "grower=one\norder=2\n")
            HOOK("hers", "grower=two\norder=2\n")
                HOOK("far", "grower=three\n") "[grower two]\nvisits-plot=Sun 09:00-10:00\n"
                                              "[grower three]\nvisits-home=Sun 09:00-10:00\n",
        START);
    world_start(box->w);
    world_forecast(box->w, &mild);
    world_add_batch(box->w, "lettuce", 24, "bed", STAGE_PLANTED_OUT, 60);
    world_run(box->w, world_utc("2026-04-08T20:40:00Z"));
    post_box_forget(box);
    box->status = 503;
    world_forecast(box->w, &killing);
    world_run_for(box->w, 0);
    box->status = 204;
    world_run_for(box->w, 300);
    g_autofree char *text = post_box_text(box);
    if (post_box_count(box, "lettuces") == 0)
        fail_msg("nothing: %s", text);
    for (guint i = 0; i < box->letters->len; i++) {
        const Letter *one = box->letters->pdata[i];
        assert_string_not_equal(one->path, "/far");
        for (guint k = 0; k < i; k++) {
            const Letter *other = box->letters->pdata[k];
            if (g_str_equal(one->path, other->path))
                fail_msg("twice: %s", text);
        }
    }
    post_box_free(box);
}

/* ---- the desktop ---- */

static guint shown(const DesktopBus *bus, const char *part)
{
    g_autoptr(GPtrArray) calls = desktop_server_calls(bus, "Notify");
    guint n = 0;
    for (guint i = 0; i < calls->len; i++)
        n += strstr(calls->pdata[i], part) != NULL;
    return n;
}

/* A channel of that kind shows what is no alarm; alarms are shown once, channel or not. */
static void test_desktop(void **state)
{
    (void)state;
    DesktopBus *bus = desktop_bus_new();
    desktop_server_start(bus, "actions body");
    PostBox *box = post_box_new("[channel desk]\nkind=desktop\ndigest=19:00\n"
                                "[channel pocket]\nkind=webhook\nurl=%s/pocket\norder=9\n",
                                START);
    box->w->desktop = box->w->durable = TRUE;
    begin(box);
    world_run(box->w, world_utc("2026-04-09T18:05:00Z"));
    assert_int_equal(shown(bus, "Tomorrow: one visit, 18:00"), 1);
    world_run(box->w, world_utc("2026-04-10T15:39:00Z"));
    assert_int_equal(shown(bus, " tonight)\""), 1); /* the warning: no alarm has it */
    world_run(box->w, world_utc("2026-04-10T16:39:00Z"));
    assert_int_equal(shown(bus, " tonight)\""), 2); /* the early alarm */
    world_run(box->w, world_utc("2026-04-10T16:41:00Z"));
    assert_int_equal(shown(bus, " tonight)\""), 3); /* time to leave, once */
    assert_int_equal(box->letters->len, 0);
    /* The desktop is gone when the question comes: by the next channel at once. */
    desktop_server_kill(bus);
    world_run(box->w, world_utc(ASKED));
    assert_int_equal(post_box_count(box, "question"), 1);
    post_box_free(box);
    desktop_bus_free(bus);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_mail),
        cmocka_unit_test(test_command),
        cmocka_unit_test(test_growers),
        cmocka_unit_test(test_desktop),
    };
    return cmocka_run_group_tests_name("post-ways", tests, NULL, NULL);
}
