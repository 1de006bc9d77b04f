/* SPDX-License-Identifier: MIT */
#include "ctl/command.h"
#include "ctl/verbs.h"

#include <string.h>

#define AT                                                                                         \
    {                                                                                              \
        "at", "TIME", "18:30, or \"2026-04-12 18:30\"; without it, now"                            \
    }

const CommandOption common_options[] = {
    {"json", NULL, "print the daemon's reply as it came"},
    {"socket", "PATH", "where the daemon listens"},
    {"help", NULL, "how the command is used"},
    {NULL, NULL, NULL},
};

static const CommandOption add_options[] = {
    {"name", "NAME", "its name; without it one is made: tomato-1"},
    {"cultivar", "NAME", "which cultivar it is"},
    {"container", "CONTAINER", "such as cells-40; without it, what is usual"},
    {"sown", "DATE", "such as 2026-03-10; without it, today"},
    {"bought", NULL, "bought as plants, not sown"},
    {"destination", "PLACE", "where they are to be planted out"},
    {NULL, NULL, NULL},
};
static const CommandOption list_options[] = {
    {"ended", NULL, "also those that have ended"},
    {NULL, NULL, NULL},
};
static const CommandOption at_options[] = {AT, {NULL, NULL, NULL}};
static const CommandOption done_options[] = {
    AT,
    {"minutes", "N", "how long the visit took, all in all"},
    {NULL, NULL, NULL},
};
static const CommandOption away_options[] = {
    {"helper", "NAME", "who comes meanwhile"},
    {"visits", "HOURS", "the hours of the helper: 08:00-09:00"},
    {"site", "SITE", "where the helper comes; without it, to your home"},
    {"grower", "NAME", "who is away; without it, the first"},
    {NULL, NULL, NULL},
};
static const CommandOption offer_options[] = {
    {"grower", "NAME", "who can be there; without it, the first"},
    {NULL, NULL, NULL},
};
static const CommandOption lost_options[] = {
    AT,
    {"cause", "TEXT", "what took them"},
    {NULL, NULL, NULL},
};
static const CommandOption prick_out_options[] = {
    AT,
    {"container", "CONTAINER", "what they are in now"},
    {"number", "NUMBER", "how many there are now"},
    {"place", "PLACE", "where they stand now"},
    {NULL, NULL, NULL},
};
static const CommandOption pot_on_options[] = {
    AT,
    {"place", "PLACE", "where they stand now"},
    {NULL, NULL, NULL},
};
static const CommandOption split_options[] = {
    {"name", "NAME", "what the new batch is called"},
    {"place", "PLACE", "where the new batch stands"},
    {NULL, NULL, NULL},
};
static const CommandOption reading_options[] = {
    AT,
    {"min", NULL, "the lowest since it was reset"},
    {"max", NULL, "the highest since it was reset"},
    {"since", "TIME", "with --min or --max: when it was reset; else when last read"},
    {"moved", NULL, "the thermometer hangs elsewhere from now on"},
    {NULL, NULL, NULL},
};
static const CommandOption sow_options[] = {
    {"out", "DATE", "the day to plant them: when to sow for it"},
    {"sow", "DATE", "the day to sow them: when they may be planted"},
    {"place", "PLACE", "where they are sown; without it, in the propagator"},
    {"destination", "PLACE", "where they are to be planted out; without it, in a bed"},
    {"container", "CONTAINER", "what they grow in; without it, cells-40"},
    {"number", "NUMBER", "how many plants; without it, one tray"},
    {NULL, NULL, NULL},
};
static const CommandOption draw_options[] = {
    {"output", "FILE", "where to: FILE.svg, FILE.png or FILE.pdf; -o is the same"},
    {"days", "NUMBER", "how many days, 1 to 9; without it, 5"},
    {NULL, NULL, NULL},
};
static const CommandOption draw_batch_options[] = {
    {"output", "FILE", "where to: FILE.svg, FILE.png or FILE.pdf; -o is the same"},
    {NULL, NULL, NULL},
};
static const CommandOption what_if_options[] = {
    {"trays", "NUMBER", "how many trays it holds; without it, what is usual"},
    {NULL, NULL, NULL},
};
static const CommandOption calendar_options[] = {
    {"qr", NULL, "the address as a QR code, also where this is no terminal"},
    {NULL, NULL, NULL},
};
static const CommandOption init_options[] = {
    {"lat", "DEGREES", "latitude of home"},
    {"lon", "DEGREES", "longitude of home, east is positive"},
    {"own", "TEXT", "\"sill, cold-frame 6 trays at plot\""},
    {"when", "TEXT", "when you are at home: \"07:00-08:30; 17:30-dusk\""},
    {"batch", "TEXT", "a first batch: \"tomato 12 sill\""},
    {"weather", "ADDRESS", "\"open-meteo\" (where not given), \"file:PATH\", \"none\""},
    {"plot", "NAME", "a second site"},
    {"plot-lat", "DEGREES", "its latitude"},
    {"plot-lon", "DEGREES", "its longitude"},
    {"plot-when", "TEXT", "when you are there"},
    {"travel-minutes", "MINUTES", "from home to there"},
    {"config", "FILE", "the file to write"},
    {NULL, NULL, NULL},
};

const Command commands[] = {
    {"today", "", 0, 0, NULL, "what today asks for; the same without a command", "GET /v1/today",
     run_today, .heading = "Every day"},
    {"week", "", 0, 0, NULL, "the visits and nights ahead", "GET /v1/week", run_week,
     .example = NULL},
    {"why", "BATCH [DATE]", 1, 2, NULL, "how a decision came about", "GET /v1/why/{batch}", run_why,
     .example = "why leek-1 tonight"},
    {"done", "[JOB...|all]", 0, -1, done_options, "jobs were done; without one: which are open",
     "GET /v1/jobs\nPOST /v1/jobs/report", run_report, .example = "done all --minutes 25"},
    {"missed", "JOB...", 1, -1, at_options, "jobs were not done", "POST /v1/jobs/report",
     run_report, .example = "missed 7"},
    {"cover", "PLACE POSITION", 2, 2, at_options, "how a cover was set: closed, 10 cm, open",
     "POST /v1/places/{name}/cover", run_cover, .example = "cover frame \"10 cm\" --at 18:30"},
    {"reading", "PLACE|SITE VALUE", 2, 2, reading_options,
     "what a thermometer shows; SITE: outdoors", "POST /v1/readings", run_reading,
     .example = "reading frame −1.5 --min"},
    {"water", "BATCH|PLACE", 1, 1, at_options, "a batch, or all in a place, was watered",
     "POST /v1/waterings", run_water, .example = "water frame --at 07:30"},
    {"frost", "SITE NIGHT LOW", 3, 3, NULL, "pass on a low you heard of", "POST /v1/frosts",
     run_frost, .example = "frost plot tonight −3"},
    {"away", "[end|FROM TO]", 0, 2, away_options, "when you are away; end: you are back",
     "GET /v1/aways\nPOST /v1/aways\nPOST /v1/aways/end", run_away,
     .example = "away 2026-04-17 2026-04-19"},
    {"visit list", "", 0, 0, NULL, "the visits, and what was said of them", "GET /v1/visits",
     run_visit_list, .heading = "Visits"},
    {"visit move", "JOB|SITE TIME", 2, 2, NULL, "that job's visit, or the next one, is then",
     "POST /v1/visits/move", run_visit_change, .example = "visit move plot 19:30"},
    {"visit drop", "JOB|SITE", 1, 1, NULL, "that job's visit, or the next one, is not made",
     "POST /v1/visits/drop", run_visit_change, .example = "visit drop 7"},
    {"visit offer", "SITE FROM TO", 3, 3, offer_options, "you can be there then as well",
     "POST /v1/visits/offer", run_visit_offer, .example = "visit offer plot 10:00 12:00"},
    {"visit undo", "NUMBER", 1, 1, NULL, "take back what was said of a visit",
     "POST /v1/visits/undo", run_visit_undo, .example = "visit undo 2"},
    {"sow", "CROP", 1, 1, sow_options, "from sowing to planting out, or back from that day",
     "GET /v1/sow/{crop}", run_sow, .example = "sow tomato --out 2026-05-20",
     .heading = "The season"},
    {"season", "", 0, 0, NULL, "all batches, the dates ahead, the room on the heat",
     "GET /v1/season", run_season, .example = NULL},
    {"batch add", "CROP NUMBER [PLACE]", 2, 3, add_options, "begin a batch, sown today",
     "POST /v1/batches", run_batch_add, .example = "batch add tomato 12 sill --destination tunnel",
     .heading = "Batches"},
    {"batch list", "", 0, 0, list_options, "all batches", "GET /v1/batches", run_batch_list,
     .example = NULL},
    {"batch show", "BATCH", 1, 1, NULL, "all about one batch", "GET /v1/batches/{name}",
     run_batch_show, .example = NULL},
    {"batch move", "BATCH PLACE", 2, 2, at_options, "it stands somewhere else now",
     "POST /v1/batches/{name}/move", run_batch_change, .example = "batch move leek-1 frame"},
    {"batch destination", "BATCH PLACE", 2, 2, NULL, "where it is to be planted out",
     "POST /v1/batches/{name}/destination", run_batch_change,
     .example = "batch destination leek-1 bed"},
    {"batch emerged", "BATCH", 1, 1, at_options, "the seedlings are up",
     "POST /v1/batches/{name}/emerged", run_batch_change, .example = "batch emerged leek-1"},
    {"batch height", "BATCH CM", 2, 2, NULL, "how high its plants are, measured",
     "POST /v1/batches/{name}/height", run_batch_change, .example = "batch height tomato-1 12"},
    {"batch prick-out", "BATCH", 1, 1, prick_out_options, "seedlings were pricked out",
     "POST /v1/batches/{name}/prick-out", run_batch_change,
     .example = "batch prick-out leek-1 --number 60"},
    {"batch pot-on", "BATCH CONTAINER", 2, 2, pot_on_options, "plants were potted on",
     "POST /v1/batches/{name}/pot-on", run_batch_change, .example = "batch pot-on tomato-1 pot-9"},
    {"batch split", "BATCH NUMBER", 2, 2, split_options, "so many become a batch of their own",
     "POST /v1/batches/{name}/split", run_batch_split, .example = "batch split leek-1 20"},
    {"batch plant-out", "BATCH [PLACE]", 1, 2, at_options, "it was planted out",
     "POST /v1/batches/{name}/plant-out", run_batch_change, .example = "batch plant-out leek-1"},
    {"batch lost", "BATCH NUMBER", 2, 2, lost_options, "so many plants were lost",
     "POST /v1/batches/{name}/losses", run_batch_change,
     .example = "batch lost leek-1 6 --cause slugs"},
    {"batch note", "BATCH TEXT", 2, 2, at_options, "write something down about it",
     "POST /v1/batches/{name}/notes", run_batch_change,
     .example = "batch note leek-1 \"tips a little yellow\""},
    {"batch end", "BATCH", 1, 1, at_options, "it is over: eaten, given away, dead",
     "POST /v1/batches/{name}/end", run_batch_change, .example = NULL},
    {"places", "", 0, 0, NULL, "what stands where, and how cold it gets there", "GET /v1/places",
     run_places, .heading = "The garden"},
    {"crops", "[CROP]", 0, 1, NULL, "the crops known, or the figures of one", "GET /v1/crops",
     run_crops, .example = "crops leek"},
    {"weather", "SITE", 1, 1, NULL, "the nights ahead at a site", "GET /v1/weather/{site}",
     run_weather, .example = "weather plot"},
    {"draw site", "SITE", 1, 1, draw_options, "the days ahead at a site, as a picture",
     "GET /v1/course/{site}", run_draw, .example = "draw site plot -o plot.png"},
    {"draw batch", "BATCH", 1, 1, draw_batch_options, "its nights, and what it bears, as a picture",
     "GET /v1/batches/{name}", run_draw_batch, .example = "draw batch leek-1 -o leek-1.png"},
    {"what-if skip", "JOB", 1, 1, NULL, "what differs if that job's visit is not made",
     "POST /v1/what-if", run_what_if_skip, .example = "what-if skip 7", .heading = "What if"},
    {"what-if frost", "SITE NIGHT LOW", 3, 3, NULL, "what differs if a night gets as cold as that",
     "POST /v1/what-if", run_what_if_frost, .example = "what-if frost plot tomorrow −3"},
    {"what-if place", "KIND SITE", 2, 2, what_if_options, "what differs with one place more",
     "POST /v1/what-if", run_what_if_place, .example = "what-if place cold-frame plot --trays 4"},
    {"what-if sown", "BATCH DATE", 2, 2, NULL, "what differs if it was sown on another day",
     "POST /v1/what-if", run_what_if_sown, .example = "what-if sown tomato-1 2026-03-01"},
    {"check", "", 0, 0, NULL, "whether all works, and what does not", "GET /v1/check", run_check,
     .heading = "The service"},
    {"calendar", "", 0, 0, calendar_options, "what is in the calendar, and its address",
     "GET /v1/calendar", run_calendar, .example = "calendar --qr"},
    {"calendar test", "[GROWER]", 0, 1, NULL, "whether messages arrive, by each channel",
     "POST /v1/calendar/test", run_calendar_test, .example = "calendar test"},
    {"calendar renew", "[GROWER]", 0, 1, calendar_options, "a new address for the feed",
     "POST /v1/calendar/renew", run_calendar_renew, .example = NULL},
    {"test-alarm", "", 0, 0, NULL, "whether alarms reach the desktop and the calendar",
     "POST /v1/test-alarm", run_test_alarm, .example = NULL},
    {"export", "", 0, 0, NULL, "all your records, as JSON", "GET /v1/export", run_export,
     .example = NULL},
    {"init", "", 0, 0, init_options, "write a first thole.conf", "", run_init, .example = NULL},
    {"help", "[COMMAND]", 0, 2, NULL, "how a command is used", "", run_help,
     .example = "help batch add"},
    {"complete", "[WORD...]", 0, -1, NULL, "words that may follow, for a shell", "", run_complete,
     .example = NULL},
};
const gsize n_commands = G_N_ELEMENTS(commands);

const Command *command_find(char **words, int n_words, int *ret_used)
{
    for (int n = MIN(n_words, 2); n > 0; n--) {
        g_autofree char *name =
            n == 2 ? g_strjoin(" ", words[0], words[1], NULL) : g_strdup(words[0]);
        for (gsize i = 0; i < n_commands; i++) {
            if (g_str_equal(commands[i].name, name)) {
                *ret_used = n;
                return &commands[i];
            }
        }
    }
    return NULL;
}

static const CommandOption *find_option(const CommandOption *options, const char *name)
{
    for (const CommandOption *option = options; option && option->name; option++)
        if (g_str_equal(option->name, name))
            return option;
    return NULL;
}

const CommandOption *command_option(const Command *command, const char *name)
{
    const CommandOption *own = command ? find_option(command->options, name) : NULL;

    return own ? own : find_option(common_options, name);
}

const char *call_option(const Call *call, const char *name)
{
    return g_hash_table_lookup(call->options, name);
}

/* −2 and -.5 are values, not options; "-" alone is one too. */
static bool is_option(const char *word)
{
    return word[0] == '-' && word[1] != '\0' && !g_ascii_isdigit(word[1]) && word[1] != '.';
}

/* Whether any command takes a value after --NAME: its command may not be known yet. */
static bool takes_value(const char *name)
{
    for (gsize i = 0; i < n_commands; i++) {
        const CommandOption *option = command_option(&commands[i], name);
        if (option)
            return option->value != NULL;
    }
    return false;
}

/* Sorts the words into options and the rest. Returns what is wrong, or NULL. */
static char *sort_words(int argc, char **argv, Call *call, GPtrArray *rest)
{
    bool options_over = false;

    for (int i = 1; i < argc; i++) {
        if (!g_utf8_validate(argv[i], -1, NULL))
            return g_strdup_printf("word %d is not UTF-8", i);
        if (rest->len > 0 && g_str_equal(rest->pdata[0], "complete"))
            options_over = true; /* what follows is somebody else's command line */
        const char *word = !options_over && g_str_equal(argv[i], "-o") ? "--output" : argv[i];
        if (options_over || !is_option(word)) {
            g_ptr_array_add(rest, g_strdup(argv[i]));
            continue;
        }
        if (g_str_equal(word, "--")) {
            options_over = true;
            continue;
        }
        if (!g_str_has_prefix(word, "--"))
            return g_strdup_printf("%s is not known; options begin with --", argv[i]);
        g_auto(GStrv) parts = g_strsplit(word + 2, "=", 2);
        if (g_hash_table_contains(call->options, parts[0]))
            return g_strdup_printf("--%s is given twice", parts[0]);
        const char *value = parts[1];
        if (!value && takes_value(parts[0])) {
            if (++i == argc)
                return g_strdup_printf("--%s needs a value", parts[0]);
            value = argv[i];
            if (!g_utf8_validate(value, -1, NULL))
                return g_strdup_printf("word %d is not UTF-8", i);
        } else if (value && command_option(&commands[0], parts[0]) && !takes_value(parts[0])) {
            return g_strdup_printf("--%s takes no value", parts[0]);
        }
        g_hash_table_insert(call->options, g_strdup(parts[0]), g_strdup(value ? value : ""));
    }
    return NULL;
}

static char *check_options(const Call *call)
{
    GHashTableIter iter;
    gpointer name;

    g_hash_table_iter_init(&iter, call->options);
    while (g_hash_table_iter_next(&iter, &name, NULL))
        if (!command_option(call->command, name))
            return g_strdup_printf("--%s does not go with %s", (char *)name, call->command->name);
    return NULL;
}

static char *check_args(const Call *call)
{
    const Command *command = call->command;

    if (call_option(call, "help"))
        return NULL;
    if (call->n_args < command->min || (command->max >= 0 && call->n_args > command->max))
        return g_strdup_printf("too %s words\nUsage: tholectl %s%s%s",
                               call->n_args < command->min ? "few" : "many", command->name,
                               *command->args ? " " : "", command->args);
    return NULL;
}

/* "batch" alone, or with a verb it does not have: which it has. */
static char *explain_unknown(GPtrArray *rest)
{
    g_autoptr(GString) known = g_string_new(NULL);
    g_autofree char *prefix = g_strconcat(rest->pdata[0], " ", NULL);

    for (gsize i = 0; i < n_commands; i++)
        if (g_str_has_prefix(commands[i].name, prefix))
            g_string_append_printf(known, "%s%s", known->len > 0 ? ", " : "",
                                   commands[i].name + strlen(prefix));
    if (known->len > 0)
        return g_strdup_printf("what of the %s? One of: %s", (char *)rest->pdata[0], known->str);
    return g_strdup_printf("%s is not known; \"tholectl help\" lists the commands",
                           (char *)rest->pdata[0]);
}

Call *call_new(int argc, char **argv, char **ret_why)
{
    g_autoptr(Call) call = g_new0(Call, 1);
    g_autoptr(GPtrArray) rest = g_ptr_array_new_with_free_func(g_free);
    int used = 0;

    call->program = argv[0];
    call->options = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    char *why = sort_words(argc, argv, call, rest);
    if (!why) {
        call->command = rest->len == 0 ? &commands[0]
                                       : command_find((char **)rest->pdata, (int)rest->len, &used);
        if (!call->command)
            why = explain_unknown(rest);
    }
    if (!why) {
        call->n_args = (int)rest->len - used;
        call->args = g_new0(char *, (gsize)call->n_args + 1);
        for (int i = 0; i < call->n_args; i++)
            call->args[i] = g_strdup(rest->pdata[used + i]);
        why = check_options(call);
    }
    if (!why)
        why = check_args(call);
    if (why) {
        *ret_why = why;
        return NULL;
    }
    return g_steal_pointer(&call);
}

void call_free(Call *call)
{
    if (!call)
        return;
    g_strfreev(call->args);
    g_clear_pointer(&call->options, g_hash_table_unref);
    g_free(call);
}
