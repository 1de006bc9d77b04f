/* SPDX-License-Identifier: MIT */
/* A real notification server on a display of its own: what it shows, and what its menu chooses,
 * reaches the store. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <string.h>

#include "desktop-bus.h"
#include "service-world.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */
#define LEAVE_S (20 * 60)
#define EARLY_S (60 * 60)

/* Its menu is a program that is given "#LABEL (…) [ID,…]" lines and prints the chosen one. */
static const char dunst_config[] = "[global]\n"
                                   "width = (300, 600)\n"
                                   "height = 400\n"
                                   "dmenu = /bin/grep -m1 -F Done\n";

static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};

typedef struct Screen {
    GSubprocess *display;
    char *config; /* (owned) */
} Screen;

static void screen_open(DesktopBus *bus, Screen *screen)
{
    g_autoptr(GError) error = NULL;
    screen->display = g_subprocess_new(
        G_SUBPROCESS_FLAGS_STDOUT_PIPE | G_SUBPROCESS_FLAGS_STDERR_SILENCE, &error, "Xvfb",
        "-displayfd", "1", "-screen", "0", "1024x600x24", "-nolisten", "tcp", NULL);
    assert_null(error);
    g_autoptr(GDataInputStream) said =
        g_data_input_stream_new(g_subprocess_get_stdout_pipe(screen->display));
    g_autofree char *number = g_data_input_stream_read_line(said, NULL, NULL, NULL);
    assert_non_null(number);
    g_autofree char *name = g_strdup_printf(":%s", number);
    g_setenv("DISPLAY", name, TRUE);
    screen->config = g_build_filename(bus->folder, "dunstrc", NULL);
    assert_true(g_file_set_contents(screen->config, dunst_config, -1, NULL));
    desktop_server_run(bus, (const char *const[]){"dunst", "-config", screen->config, NULL});
}

static void screen_close(Screen *screen)
{
    g_subprocess_force_exit(screen->display);
    g_subprocess_wait(screen->display, NULL, NULL);
    g_object_unref(screen->display);
    g_unsetenv("DISPLAY");
    g_unlink(screen->config);
    g_free(screen->config);
}

static char *ask(const char *a, const char *b)
{
    char *out = NULL;
    g_autoptr(GSubprocess) asked =
        g_subprocess_new(G_SUBPROCESS_FLAGS_STDOUT_PIPE, NULL, "dunstctl", a, b, NULL);
    assert_non_null(asked);
    assert_true(g_subprocess_communicate_utf8(asked, NULL, NULL, &out, NULL, NULL));
    return out;
}

/* Until a second before the early alarm of a visit to the plot that guards plants. */
static const OpenVisit *approach(World *w)
{
    for (int i = 0; i < 40; i++) {
        const int64_t due_utc = world_now(w) + LEAVE_S + EARLY_S + 1;
        const OpenVisit *v = world_visit(w, TRUE);
        if (v != NULL && v->visit.site == 1 && v->visit.start_utc == due_utc)
            return v;
        world_run(w,
                  v != NULL && v->visit.start_utc > due_utc
                      ? MIN(world_now(w) + v->visit.start_utc - due_utc, world_now(w) + 4 * HOUR_S)
                      : world_now(w) + 4 * HOUR_S);
    }
    fail_msg("no such visit came");
    return NULL;
}

typedef struct Wanted {
    World *w;
    char *job_id;
} Wanted;

static gboolean is_done(gpointer data)
{
    const Wanted *wanted = data;
    return world_stored_job(wanted->w, wanted->job_id) == STORE_JOB_DONE;
}

static void test_a_real_server(void **state)
{
    DesktopBus *bus = desktop_bus_new();
    Screen screen;
    (void)state;
    screen_open(bus, &screen);
    World *w = world_new(world_garden, START);
    w->desktop = TRUE;
    world_start(w);
    world_forecast(w, &frost);
    world_add_batch(w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    const OpenVisit *v = approach(w);
    Wanted wanted = {w, g_strdup(g_array_index(v->jobs, OpenJob, 0).job.id)};
    world_run_for(w, 1);
    const char *picture = g_getenv("THOLE_TEST_PICTURE");
    if (picture != NULL) {
        g_usleep(2 * G_USEC_PER_SEC);
        g_spawn_command_line_sync(picture, NULL, NULL, NULL, NULL);
    }
    g_autofree char *counts = ask("count", "displayed");
    assert_string_equal(g_strstrip(counts), "1");
    g_autofree char *chosen = ask("context", NULL);
    desktop_until(is_done, &wanted, "what the menu chose reaches the store");
    g_free(ask("close-all", NULL));
    g_autofree char *history = ask("history", NULL);
    assert_non_null(strstr(history, "lettuces"));
    assert_non_null(strstr(history, "plot, "));
    assert_null(strstr(history, "&amp;"));
    g_free(wanted.job_id);
    world_free(w);
    desktop_server_kill(bus);
    screen_close(&screen);
    desktop_bus_free(bus);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_a_real_server)};
    return cmocka_run_group_tests_name("desktop-dunst", tests, NULL, NULL);
}
