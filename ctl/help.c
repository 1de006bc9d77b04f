/* SPDX-License-Identifier: MIT */
#include "ctl/client.h"
#include "ctl/print.h"
#include "ctl/show.h"
#include "ctl/table.h"
#include "ctl/verbs.h"

static void add_options(Table *table, const CommandOption *options)
{
    for (const CommandOption *option = options; option && option->name; option++) {
        g_autofree char *text = g_strdup_printf("--%s%s%s", option->name, option->value ? " " : "",
                                                option->value ? option->value : "");
        table_row(table, text, option->help);
    }
}

static void help_one(const Command *command)
{
    g_autofree char *usage = show_join(" ", "Usage: tholectl", command->name, command->args, NULL);
    Table *table = table_new("", "~", NULL);

    print_wrapped(0, usage);
    print_wrapped(2, command->help);
    if (command->example) {
        g_autofree char *example = g_strdup_printf("such as: tholectl %s", command->example);
        print_wrapped(2, example);
    }
    print_blank();
    add_options(table, command->options);
    add_options(table, common_options);
    table_print(table, 2);
}

/* The commands from FIRST up to the next heading. */
static void help_group(gsize first)
{
    Table *table = table_new("", "~", NULL);

    print_blank();
    print_styled(PRINT_STRONG, 0, commands[first].heading);
    for (gsize i = first; i < n_commands && (i == first || !commands[i].heading); i++) {
        g_autofree char *text = show_join(" ", commands[i].name, commands[i].args, NULL);
        table_row(table, text, commands[i].help);
    }
    table_print(table, 2);
}

static void help_all(void)
{
    Table *options_table = table_new("", "~", NULL);

    print_wrapped(0, "Usage: tholectl [COMMAND]; without one it tells what today asks for.");
    for (gsize i = 0; i < n_commands; i++)
        if (commands[i].heading)
            help_group(i);
    print_blank();
    add_options(options_table, common_options);
    table_print(options_table, 2);
    print_blank();
    print_wrapped(0, "More of one: tholectl help COMMAND");
    print_wrapped(0, "Exit status: 0 done, 1 refused, 2 wrong usage, 3 no daemon.");
}

/* All commands that begin with WORD: "batch". */
static bool help_family(const char *word)
{
    g_autofree char *prefix = g_strconcat(word, " ", NULL);
    g_autofree char *more = g_strdup_printf("More of one: tholectl help %s VERB", word);
    Table *table = table_new("", "~", NULL);
    bool found = false;

    for (gsize i = 0; i < n_commands; i++) {
        if (!g_str_has_prefix(commands[i].name, prefix))
            continue;
        g_autofree char *text = show_join(" ", commands[i].name, commands[i].args, NULL);
        table_row(table, text, commands[i].help);
        found = true;
    }
    table_print(table, 0);
    if (found)
        print_wrapped(0, more);
    return found;
}

WireExit run_help(const Call *call)
{
    int used;

    if (call_option(call, "help") && !g_str_equal(call->command->name, "help")) {
        help_one(call->command);
        return WIRE_EXIT_DONE;
    }
    if (call->n_args == 0) {
        help_all();
        return WIRE_EXIT_DONE;
    }
    const Command *command = command_find(call->args, call->n_args, &used);
    if (command && used == call->n_args) {
        help_one(command);
        return WIRE_EXIT_DONE;
    }
    if (call->n_args == 1 && help_family(call->args[0]))
        return WIRE_EXIT_DONE;
    g_autofree char *asked = g_strjoinv(" ", call->args);
    return client_usage(call, "%s is no command; \"tholectl help\" lists them", asked);
}
