/* SPDX-License-Identifier: MIT */
/* tholed: what it was started for. */
#include <glib-unix.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "options.h"
#include "serve.h"
#include "service/init-config.h"

static gboolean quit(gpointer loop)
{
    g_main_loop_quit(loop);
    return G_SOURCE_CONTINUE;
}

/* The texts are UTF-8 whatever the locale; numbers are written as in C. What is printed has
 * happened: at once. */
static void print_plain(const gchar *text)
{
    fputs(text, stdout);
    fflush(stdout);
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
    ServiceOptions options;
    RehearseOptions rehearsal;
    gboolean version;
    if (!options_parse(&argc, &argv, &options, &rehearsal, &version, &error)) {
        g_printerr("tholed: %s\n", error->message);
        return 2;
    }
    g_autoptr(GMainLoop) loop = g_main_loop_new(NULL, FALSE);
    g_unix_signal_add(SIGTERM, quit, loop);
    g_unix_signal_add(SIGINT, quit, loop);
    gboolean ok = TRUE;
    if (version)
        g_print("tholed %s\n", PACKAGE_VERSION);
    else if (rehearsal.forecast_path != NULL)
        ok = rehearse_run(loop, &rehearsal, &options, &error);
    else
        ok = serve(loop, &options, &error);
    if (!ok)
        g_printerr("tholed: %s\n", error->message);
    service_options_clear(&options);
    rehearse_options_clear(&rehearsal);
    return ok ? EXIT_SUCCESS : EXIT_FAILURE;
}
