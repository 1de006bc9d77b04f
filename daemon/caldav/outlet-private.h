/* SPDX-License-Identifier: MIT */
/* A round: outlet.c begins and ends it, outlet-read.c takes in what is there, outlet-write.c
 * writes. */
#pragma once

#include "caldav/dav.h"
#include "caldav/discover.h"
#include "caldav/outlet.h"
#include "caldav/xml.h"

#define DAV_XML "application/xml; charset=utf-8"
#define CONFLICTS_MAX 3 /* tries at one event in a round; chosen */

typedef struct Round Round;
typedef void (*RoundReply)(Round *round, const DavReply *reply);

struct CaldavOutlet {
    char *address, *user, *secret_path, *name, *colour, *user_agent;
    GTimeZone *zone;
    guint poll_s, idle_s;
    GRand *rand;
    Clock *clk;
    CaldavHooks hooks;
    gpointer data;
    CaldavState *state;
    GPtrArray *events; /* (owned) (element-type EventMemory) */
    GPtrArray *edits;  /* found, and not kept yet */
    gboolean was_told; /* what is wanted */
    GArray *wanted;    /* of CaldavWanted, into events */
    gboolean asked;    /* something new is wanted since the round began */
    gboolean no_sync;  /* the server knows no sync-collection */
    guint alarm;
    int64_t next_utc;
    Round *round; /* (owned) (nullable) the one under way */
};

struct Round {
    CaldavOutlet *outlet; /* NULL: it was freed meanwhile */
    DavClient *client;
    GCancellable *cancellable;
    GPtrArray *listed, *hrefs;
    gboolean full, made;
    guint lists, at;
    char *token;
    int64_t retry_s;
    /* of the request under way */
    RoundReply then;
    gboolean too_long_is_empty;
    /* of the writes */
    GPtrArray *actions;
    CaldavAction *action;
    int tries;
    char *refused; /* (nullable) why a write was refused */
};

CaldavSync round_sync(Round *round);

/* Sends; THEN gets the reply unless the round has ended. Authentication and outages end it. */
void round_send(Round *round, const DavRequest *request, RoundReply then);

/* The address of a path on the server; g_free(). */
char *round_address(const Round *round, const char *href);

/* Keeps state and edits; FALSE: the round has ended. */
gboolean round_keep(Round *round) G_GNUC_WARN_UNUSED_RESULT;

/* Ends the round; ERROR (nullable) is taken over. */
void round_end(Round *round, GError *error);

/* Takes a fetched object in. FALSE: the round has ended. */
gboolean round_take(Round *round, const char *href,
                    const DavReply *reply) G_GNUC_WARN_UNUSED_RESULT;

/* An error of a status that says only that it did not work. */
GError *round_status_error(const char *what, guint status);

/* Of a round whose outlet is gone; others end with round_end(). */
void round_free(Round *round);

/* Where a round begins: looks for calendars; looks at ours, and makes it; lists what is there. */
void round_discover(Round *round);
void round_ensure(Round *round);
void round_list(Round *round);

/* Everything is taken in: writes what is to be written, and ends the round. */
void round_write(Round *round);
