/* SPDX-License-Identifier: MIT */
/*
 * "complete WORD...": prints, one a line, what the last word may become. Names come from the
 * daemon; where none answers there are just none.
 */
#include "ctl/client.h"
#include "ctl/print.h"
#include "ctl/read.h"
#include "ctl/verbs.h"

#include <math.h>
#include <string.h>

static void offer(const char *candidate, const char *start)
{
    g_autofree char *cleaned = print_clean(candidate, false);

    if (*cleaned && g_str_has_prefix(cleaned, start))
        print_raw(cleaned);
}

/* The next word of each command that begins with the words before; each once. */
static void offer_commands(const char *before, const char *start)
{
    g_autoptr(GHashTable) seen = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);

    for (gsize i = 0; i < n_commands; i++) {
        if (!g_str_has_prefix(commands[i].name, before))
            continue;
        const char *rest = commands[i].name + strlen(before);
        g_autofree char *word = g_strndup(rest, strcspn(rest, " "));
        if (g_hash_table_add(seen, g_strdup(word)))
            offer(word, start);
    }
}

static void offer_options(const Command *command, const char *start)
{
    const CommandOption *lists[] = {command ? command->options : NULL, common_options};

    for (gsize i = 0; i < G_N_ELEMENTS(lists); i++) {
        for (const CommandOption *option = lists[i]; option && option->name; option++) {
            g_autofree char *word = g_strconcat("--", option->name, NULL);
            offer(word, start);
        }
    }
}

/* What a word of the usage stands for: where its names are to be had. */
typedef struct Source {
    const char *what, *path, *array, *member;
    const char *only; /* (nullable) the name of those items */
} Source;

static const Source sources[] = {
    {"BATCH", "/v1/batches", "batches", "name", NULL},
    {"PLACE", "/v1/places", "places", "name", NULL},
    {"SITE", "/v1/places", "places", "site", NULL},
    {"CROP", "/v1/crops", "crops", "name", NULL},
    {"JOB", "/v1/jobs", "visits", "jobs", NULL},
    {"KIND", "/v1/places", "places", "kind", NULL},
    {"GROWER", "/v1/check", "items", "object", "delivery"},
};

static void offer_jobs(JsonObject *visit, const char *start)
{
    for (guint i = 0; i < read_count(visit, "jobs"); i++) {
        g_autofree char *handle =
            print_number(read_number(read_item(visit, "jobs", i), "handle"), 0);
        offer(handle, start);
    }
}

static void offer_names(const Call *call, const char *what, const char *start)
{
    for (gsize i = 0; i < G_N_ELEMENTS(sources); i++) {
        const Source *source = &sources[i];
        if (!g_str_equal(source->what, what))
            continue;
        g_autoptr(GHashTable) seen = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
        g_autofree char *why = NULL;
        WireExit exit_status;
        g_autoptr(Reply) reply = client_ask(call, "GET", source->path, NULL, &exit_status, &why);
        for (guint k = 0; reply && k < read_count(reply->object, source->array); k++) {
            JsonObject *item = read_item(reply->object, source->array, k);
            if (source->only != NULL && !g_str_equal(read_text(item, "name"), source->only))
                continue;
            if (g_str_equal(what, "JOB"))
                offer_jobs(item, start);
            else if (*read_text(item, source->member) &&
                     g_hash_table_add(seen, g_strdup(read_text(item, source->member))))
                offer(read_text(item, source->member), start);
        }
    }
}

/* The positions of the cover of a place. */
static void offer_positions(const Call *call, const char *place, const char *start)
{
    g_autofree char *why = NULL;
    WireExit exit_status;
    g_autoptr(Reply) reply = client_ask(call, "GET", "/v1/places", NULL, &exit_status, &why);

    for (guint i = 0; reply && i < read_count(reply->object, "places"); i++) {
        JsonObject *item = read_item(reply->object, "places", i);
        if (!g_str_equal(read_text(item, "name"), place))
            continue;
        g_autofree char *joined = read_joined(item, "positions", "\n");
        g_auto(GStrv) positions = g_strsplit(joined, "\n", -1);
        for (guint k = 0; positions[k]; k++)
            offer(positions[k], start);
    }
}

/* Words for a day, from FIRST on; a date is the grower's to type. */
static void offer_days(guint first, const char *start)
{
    static const char *const days[] = {"yesterday", "today", "tonight", "tomorrow"};

    for (guint i = first; i < G_N_ELEMENTS(days); i++)
        offer(days[i], start);
}

/*
 * The usage's word for the argument number N; the last one may repeat: "JOB...". BEFORE is the
 * argument before it.
 */
static void offer_argument(const Call *call, const Command *command, int n, const char *before,
                           const char *start)
{
    g_auto(GStrv) words = g_strsplit(command->args, " ", -1);
    const int last = (int)g_strv_length(words) - 1;

    if (last < 0 || (n > last && command->max >= 0))
        return;
    g_auto(GStrv) choices = g_strsplit_set(words[MIN(n, last)], "[]|.", -1);
    for (guint i = 0; choices[i]; i++) {
        if (!*choices[i])
            continue;
        if (g_ascii_islower(*choices[i]))
            offer(choices[i], start);
        else if (g_str_equal(choices[i], "POSITION"))
            offer_positions(call, before, start);
        else if (g_str_equal(choices[i], "DATE"))
            offer_days(0, start);
        else if (g_str_equal(choices[i], "NIGHT"))
            offer_days(2, start);
        else
            offer_names(call, choices[i], start);
    }
}

/*
 * Drops options and their values; a --socket among them is the one that is asked for names. Returns
 * the option that waits for its value, or NULL.
 */
static const CommandOption *drop_options(const Call *call, int n, GPtrArray *ret_rest)
{
    char **words = call->args;

    for (int i = 0; i < n; i++) {
        if (!g_str_has_prefix(words[i], "--")) {
            g_ptr_array_add(ret_rest, words[i]);
            continue;
        }
        int used;
        const Command *command = command_find((char **)ret_rest->pdata, (int)ret_rest->len, &used);
        g_auto(GStrv) parts = g_strsplit(words[i] + 2, "=", 2);
        const CommandOption *option = command_option(command, parts[0] ? parts[0] : "");
        if (!option || !option->value)
            continue;
        if (!parts[1] && ++i == n)
            return option;
        if (g_str_equal(option->name, "socket"))
            g_hash_table_insert(call->options, g_strdup("socket"),
                                g_strdup(parts[1] ? parts[1] : words[i]));
    }
    return NULL;
}

WireExit run_complete(const Call *call)
{
    const int n_before = MAX(call->n_args - 1, 0);
    const char *start = call->n_args > 0 ? call->args[n_before] : "";
    g_autoptr(GPtrArray) rest = g_ptr_array_new();
    const CommandOption *waiting = drop_options(call, n_before, rest);
    int used = 0;
    const Command *command = command_find((char **)rest->pdata, (int)rest->len, &used);

    if (command && g_str_equal(command->name, "help")) { /* what follows it begins anew */
        g_ptr_array_remove_index(rest, 0);
        command = NULL;
    }
    if (waiting) {
        offer_names(call, waiting->value, start);
    } else if (g_str_has_prefix(start, "-")) {
        offer_options(command, start);
    } else if (command) {
        if (rest->len == 1) { /* "calendar" is one, and begins "calendar test" */
            g_autofree char *before = g_strconcat(rest->pdata[0], " ", NULL);
            offer_commands(before, start);
        }
        offer_argument(call, command, (int)rest->len - used, rest->pdata[rest->len - 1], start);
    } else if (rest->len <= 1) {
        g_autofree char *before =
            rest->len == 1 ? g_strconcat(rest->pdata[0], " ", NULL) : g_strdup("");
        offer_commands(before, start);
    }
    return WIRE_EXIT_DONE;
}
