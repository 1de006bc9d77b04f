/* SPDX-License-Identifier: MIT */
/* Asking the daemon. */
#pragma once

#include <json-glib/json-glib.h>

#include "ctl/command.h"

/* What the daemon said. */
typedef struct Reply {
    guint status;        /* of HTTP */
    char *text;          /* (owned) the body as it came, with a zero behind */
    JsonParser *parser;  /* (owned) holds the object */
    JsonObject *object;  /* (unowned) the body */
} Reply;

void reply_free(Reply *reply);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Reply, reply_free)

/* Prints a reply that is not a refusal, as text. */
typedef void (*ReplyFunc)(const Reply *reply, const Call *call);

/*
 * Asks with METHOD at PATH, "/v1/…" with its parts escaped; BODY may be NULL. NULL and an exit status
 * where no reply came, RET_WHY (the caller's) says why.
 */
Reply *client_ask(const Call *call, const char *method, const char *path, JsonObject *body,
                  WireExit *ret_exit, char **ret_why);

/* Prints a reply: as it is (--json), by SHOW, or as a refusal on standard error. */
WireExit client_print(const Reply *reply, const Call *call, ReplyFunc show);

/* Both of them. */
WireExit client_run(const Call *call, const char *method, const char *path, JsonObject *body,
                    ReplyFunc show);

/* A path whose "{…}" is taken by PART, escaped. The caller owns it. */
char *client_path(const char *pattern, const char *part);

/* Says on standard error what is wrong with how it was called. */
WireExit client_usage(const Call *call, const char *format, ...) G_GNUC_PRINTF(2, 3);

/* The reply to what changes something: its text. */
void show_done(const Reply *reply, const Call *call);
