/* SPDX-License-Identifier: MIT */
/*
 * The table of commands. It feeds the reading of the command line, the help and the completion; a
 * test holds it against docs/api.md.
 */
#pragma once

#include <glib.h>
#include <stdbool.h>

#include "control/wire.h"

typedef struct Call Call;

typedef struct CommandOption {
    const char *name;  /* without its two dashes */
    const char *value; /* "PLACE": what follows it; NULL for a switch */
    const char *help;
} CommandOption;

typedef struct Command {
    const char *name;             /* "batch add" */
    const char *args;             /* "CROP NUMBER [PLACE]" */
    int min, max;                 /* how many of them; max -1: any number */
    const CommandOption *options; /* ends with a NULL name; (nullable) */
    const char *help;             /* one line */
    const char *routes; /* what it asks for, "GET /v1/today", one a line; "" asks for nothing */
    WireExit (*fn)(const Call *call);
    const char *example; /* words behind "tholectl"; (nullable) */
    const char *heading; /* in the help, of this command and those after it; (nullable) */
} Command;

extern const Command commands[];
extern const gsize n_commands;
extern const CommandOption common_options[]; /* of every command; ends with a NULL name */

/* One command line, read. */
struct Call {
    const Command *command;
    char **args; /* (owned) ends with NULL */
    int n_args;
    GHashTable *options; /* (owned) utf8 -> utf8; a switch has "" */
    const char *program; /* (unowned) argv[0] */
};

/*
 * Reads a command line. NULL where it makes no sense: then RET_WHY (the caller's) says in a line or
 * more what, and what would be accepted.
 */
Call *call_new(int argc, char **argv, char **ret_why);
void call_free(Call *call);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Call, call_free)

/* What was given with --NAME, or NULL. */
const char *call_option(const Call *call, const char *name);

/* The command that WORDS begin with, and how many of them name it; NULL where none does. */
const Command *command_find(char **words, int n_words, int *ret_used);

/* The option of a command, or of all of them. */
const CommandOption *command_option(const Command *command, const char *name);
