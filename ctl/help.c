/* SPDX-License-Identifier: MIT */
#include "ctl/client.h"
#include "ctl/print.h"
#include "ctl/show.h"
#include "ctl/table.h"

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
    Table *table = table_new("", "", NULL);

    print_wrapped(0, usage);
    print_wrapped(2, command->help);
    print_blank();
    add_options(table, command->options);
    add_options(table, common_options);
    table_print(table, 2);
}

static void help_all(void)
{
    Table *commands_table = table_new("", "", NULL), *options_table = table_new("", "", NULL);

    print_wrapped(0, "Usage: tholectl [COMMAND]");
    print_blank();
    for (gsize i = 0; i < n_commands; i++) {
        g_autofree char *text = show_join(" ", commands[i].name, commands[i].args, NULL);
        table_row(commands_table, text, commands[i].help);
    }
    table_print(commands_table, 2);
    print_blank();
    add_options(options_table, common_options);
    table_print(options_table, 2);
    print_blank();
    print_wrapped(0, "Exit status: 0 done, 1 refused, 2 wrong usage, 3 no daemon.");
}

/* All commands that begin with WORD: "batch". */
static bool help_family(const char *word)
{
    g_autofree char *prefix = g_strconcat(word, " ", NULL);
    bool found = false;

    for (gsize i = 0; i < n_commands; i++) {
        if (!g_str_has_prefix(commands[i].name, prefix))
            continue;
        if (found)
            print_blank();
        help_one(&commands[i]);
        found = true;
    }
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
    if (command && used == call->n_args)
        help_one(command);
    else if (call->n_args > 1 || !help_family(call->args[0]))
        return client_usage(call, "%s is not known", call->args[0]);
    return WIRE_EXIT_DONE;
}
