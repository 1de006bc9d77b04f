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

/* The commands and functions of each file. */
WireExit run_help(const Call *call);
WireExit run_complete(const Call *call);
WireExit run_draw(const Call *call);
WireExit run_draw_batch(const Call *call);
WireExit run_init(const Call *call);
WireExit run_today(const Call *call);
WireExit run_week(const Call *call);
WireExit run_batch_add(const Call *call);
WireExit run_batch_list(const Call *call);
WireExit run_batch_show(const Call *call);
WireExit run_batch_change(const Call *call);
WireExit run_batch_split(const Call *call);
WireExit run_places(const Call *call);
WireExit run_crops(const Call *call);
WireExit run_weather(const Call *call);
WireExit run_why(const Call *call);
WireExit run_season(const Call *call);
WireExit run_sow(const Call *call);
WireExit run_report(const Call *call);
WireExit run_cover(const Call *call);
WireExit run_reading(const Call *call);
WireExit run_water(const Call *call);
WireExit run_frost(const Call *call);
WireExit run_away(const Call *call);
WireExit run_visit_list(const Call *call);
WireExit run_visit_move(const Call *call);
WireExit run_visit_drop(const Call *call);
WireExit run_visit_offer(const Call *call);
WireExit run_visit_undo(const Call *call);
WireExit run_what_if_skip(const Call *call);
WireExit run_what_if_frost(const Call *call);
WireExit run_what_if_place(const Call *call);
WireExit run_what_if_sown(const Call *call);
WireExit run_calendar(const Call *call);
WireExit run_calendar_test(const Call *call);
WireExit run_calendar_renew(const Call *call);
WireExit run_check(const Call *call);
WireExit run_test_alarm(const Call *call);
WireExit run_export(const Call *call);
