/* SPDX-License-Identifier: MIT */
#include <locale.h>
#include <stdio.h>
#include <string.h>

#include "ctl/command.h"
#include "ctl/verbs.h"
#include "ctl/print.h"

int main(int argc, char **argv)
{
    static char help[] = "help";
    g_autofree char *why = NULL;

    setlocale(LC_CTYPE, ""); /* numbers keep their full stop */
    if (argc == 2 && strcmp(argv[1], "--version") == 0) {
        printf("tholectl %s\n", PACKAGE_VERSION);
        return WIRE_EXIT_DONE;
    }
    if (argc == 2 && strcmp(argv[1], "--help") == 0)
        argv[1] = help;
    g_autoptr(Call) call = call_new(argc, argv, &why);
    if (!call) {
        print_error("%s", why);
        return WIRE_EXIT_USAGE;
    }
    const WireExit status = call_option(call, "help") ? run_help(call) : call->command->fn(call);
    if (fflush(stdout) != 0 || ferror(stdout)) {
        print_error("standard output cannot be written");
        return WIRE_EXIT_REFUSED;
    }
    return (int)status;
}
