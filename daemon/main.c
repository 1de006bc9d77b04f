/* SPDX-License-Identifier: MIT */
/* tholed: options, wiring, signals. */
#include <glib-unix.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/names.h"
#include "base/paths.h"
#include "service/init-config.h"
#include "service/rehearse.h"

static ServiceOptions options = {.socket_fd = -1};
static RehearseOptions rehearsal = {.seed = -1};
static gboolean show_version;

static const GOptionEntry entries[] = {
    {"config", 0, 0, G_OPTION_ARG_FILENAME, &options.config_path, "The garden's file", "FILE"},
    {"state-dir", 0, 0, G_OPTION_ARG_FILENAME, &options.state_dir, "Folder of the store and the calendar", "DIR"},
    {"socket", 0, 0, G_OPTION_ARG_FILENAME, &options.socket_path, "Where tholectl is answered", "PATH"},
    {"calendar", 0, 0, G_OPTION_ARG_FILENAME, &options.calendar_path, "The calendar file", "FILE"},
    {"crops", 0, 0, G_OPTION_ARG_FILENAME, &options.crops_path, "The crop data", "FILE"},
    {"system", 0, 0, G_OPTION_ARG_NONE, &options.system, "Also answer root and the group thole", NULL},
    {"rehearse", 0, 0, G_OPTION_ARG_FILENAME, &rehearsal.forecast_path, "Live through a forecast on a virtual clock",
     "FORECAST.csv"},
    {"from", 0, 0, G_OPTION_ARG_STRING, &rehearsal.from, "Rehearsal: its first day", "DATE"},
    {"to", 0, 0, G_OPTION_ARG_STRING, &rehearsal.to, "Rehearsal: its end", "DATE"},
    {"miss", 0, 0, G_OPTION_ARG_STRING_ARRAY, &rehearsal.miss, "Rehearsal: nothing is done on this day", "DATE"},
    {"seed", 0, 0, G_OPTION_ARG_INT64, &rehearsal.seed, "Rehearsal: forecasts err, from this seed", "N"},
    {"stay", 0, 0, G_OPTION_ARG_NONE, &rehearsal.stay, "Rehearsal: at its end stand and serve", NULL},
    {"quiet", 0, 0, G_OPTION_ARG_NONE, &rehearsal.quiet, "Rehearsal: do not print the decisions", NULL},
    {"version", 0, 0, G_OPTION_ARG_NONE, &show_version, "Say which version this is", NULL},
    {NULL, 0, 0, 0, NULL, NULL, NULL}};

static gboolean quit(gpointer loop)
{
    g_main_loop_quit(loop);
    return G_SOURCE_CONTINUE;
}

static gboolean reload(gpointer service)
{
    (void)service_reload(service, NULL);
    return G_SOURCE_CONTINUE;
}

static void fill_defaults(void)
{
    if (options.config_path == NULL)
        options.config_path = paths_default_config();
    if (options.crops_path == NULL)
        options.crops_path = g_build_filename(PKGDATADIR, NAME_CROPS_FILE, NULL);
    if (rehearsal.forecast_path != NULL)
        return;
    if (options.state_dir == NULL)
        options.state_dir = paths_default_state_dir();
    if (options.socket_path == NULL)
        options.socket_path = paths_default_socket();
    if (options.calendar_path == NULL)
        options.calendar_path = g_build_filename(options.state_dir, NAME_CALENDAR_FILE, NULL);
}

static gboolean serve(GMainLoop *loop, GError **error)
{
    g_autoptr(Clock) clk = clock_system_new(g_main_loop_get_context(loop), error);
    g_autoptr(Service) service = clk != NULL ? service_new(clk, &options, error) : NULL;
    if (service == NULL)
        return FALSE;
    g_unix_signal_add(SIGHUP, reload, service);
    g_main_loop_run(loop);
    return TRUE;
}

/* The texts are UTF-8 whatever the locale; numbers are written as in C. What is printed has happened: at once. */
static void print_plain(const gchar *text)
{
    fputs(text, stdout);
    fflush(stdout);
}

/* Options that do not go together; NULL where they do. */
static const char *wrong_usage(int argc)
{
    gboolean rehearses = rehearsal.from != NULL || rehearsal.to != NULL || rehearsal.miss != NULL ||
                         rehearsal.seed >= 0 || rehearsal.stay || rehearsal.quiet;
    if (argc > 1)
        return "no arguments are taken besides the options; see tholed --help";
    if (rehearsal.forecast_path != NULL && (rehearsal.from == NULL || rehearsal.to == NULL))
        return "--rehearse needs --from DATE and --to DATE";
    return rehearsal.forecast_path == NULL && rehearses
               ? "--from, --to, --miss, --seed, --stay and --quiet are for --rehearse FORECAST.csv"
               : NULL;
}

static void print_error_plain(const gchar *text)
{
    fputs(text, stderr);
}

int main(int argc, char **argv)
{
    g_set_print_handler(print_plain);
    g_set_printerr_handler(print_error_plain);
    if (argc > 1 && strcmp(argv[1], "--init-config") == 0)
        return init_config_main(argc - 2, argv + 2);
    g_autoptr(GError) error = NULL;
    g_autoptr(GOptionContext) context = g_option_context_new("- plans the hardening-off of seedlings");
    g_option_context_add_main_entries(context, entries, NULL);
    gboolean ok = g_option_context_parse(context, &argc, &argv, &error);
    if (ok && show_version) {
        g_print("tholed %s\n", PACKAGE_VERSION);
        return EXIT_SUCCESS;
    }
    const char *wrong = ok ? wrong_usage(argc) : error->message;
    if (wrong != NULL) {
        g_printerr("tholed: %s\n", wrong);
        return 2;
    }
    g_autoptr(GMainLoop) loop = g_main_loop_new(NULL, FALSE);
    fill_defaults();
    g_unix_signal_add(SIGTERM, quit, loop);
    g_unix_signal_add(SIGINT, quit, loop);
    ok = rehearsal.forecast_path != NULL ? rehearse_run(loop, &rehearsal, &options, &error) : serve(loop, &error);
    if (!ok)
        g_printerr("tholed: %s\n", error->message);
    service_options_clear(&options);
    rehearse_options_clear(&rehearsal);
    return ok ? EXIT_SUCCESS : EXIT_FAILURE;
}
