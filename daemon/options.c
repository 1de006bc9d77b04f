/* SPDX-License-Identifier: MIT */
#include "options.h"

#include "base/error.h"
#include "base/names.h"
#include "base/paths.h"

/* GOption wants addresses that stand still; what was read is handed over and forgotten. */
static ServiceOptions options;
static RehearseOptions rehearsal = {.seed = -1};
static gboolean show_version;

static const GOptionEntry entries[] = {
    {"config", 0, 0, G_OPTION_ARG_FILENAME, &options.config_path, "The garden's file", "FILE"},
    {"state-dir", 0, 0, G_OPTION_ARG_FILENAME, &options.state_dir,
     "Folder of the store and the calendar", "DIR"},
    {"socket", 0, 0, G_OPTION_ARG_FILENAME, &options.socket_path, "Where tholectl is answered",
     "PATH"},
    {"calendar", 0, 0, G_OPTION_ARG_FILENAME, &options.calendar_path, "The calendar file", "FILE"},
    {"crops", 0, 0, G_OPTION_ARG_FILENAME, &options.crops_path, "The crop data", "FILE"},
    {"system", 0, 0, G_OPTION_ARG_NONE, &options.system, "Also answer root and the group thole",
     NULL},
    {"rehearse", 0, 0, G_OPTION_ARG_FILENAME, &rehearsal.forecast_path,
     "Live through a forecast on a virtual clock", "FORECAST.csv"},
    {"from", 0, 0, G_OPTION_ARG_STRING, &rehearsal.from, "Rehearsal: its first day", "DATE"},
    {"to", 0, 0, G_OPTION_ARG_STRING, &rehearsal.to, "Rehearsal: its end", "DATE"},
    {"miss", 0, 0, G_OPTION_ARG_STRING_ARRAY, &rehearsal.miss,
     "Rehearsal: nothing is done on this day", "DATE"},
    {"seed", 0, 0, G_OPTION_ARG_INT64, &rehearsal.seed, "Rehearsal: forecasts err, from this seed",
     "N"},
    {"stay", 0, 0, G_OPTION_ARG_NONE, &rehearsal.stay, "Rehearsal: at its end stand and serve",
     NULL},
    {"quiet", 0, 0, G_OPTION_ARG_NONE, &rehearsal.quiet, "Rehearsal: do not print the decisions",
     NULL},
    {"version", 0, 0, G_OPTION_ARG_NONE, &show_version, "Say which version this is", NULL},
    {NULL, 0, 0, 0, NULL, NULL, NULL}};

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
    options.desktop = options.outlets = options.channels = TRUE;
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

gboolean options_parse(int *argc, char ***argv, ServiceOptions *ret_service,
                       RehearseOptions *ret_rehearsal, gboolean *ret_version, GError **error)
{
    g_autoptr(GOptionContext) context =
        g_option_context_new("- plans the hardening-off of seedlings");
    g_option_context_add_main_entries(context, entries, NULL);
    if (!g_option_context_parse(context, argc, argv, error))
        return FALSE;
    const char *wrong = wrong_usage(*argc);
    if (wrong != NULL) {
        g_set_error_literal(error, THOLE_ERROR, THOLE_ERROR_INVALID, wrong);
        return FALSE;
    }
    fill_defaults();
    *ret_service = options;
    *ret_rehearsal = rehearsal;
    *ret_version = show_version;
    return TRUE;
}
