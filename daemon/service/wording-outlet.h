/* SPDX-License-Identifier: MIT */
/* How a calendar that is kept stands, and what growers did in it. See wording.h. */
#pragma once

#include "garden/outlets.h"
#include "service/wording.h"

typedef struct WordingOutlet {
    OutletKind kind;
    gboolean rehearsal;                         /* nothing is kept */
    gboolean kept;                              /* else it cannot be, as it is set up */
    const char *problem;                        /* why the last try failed; "" it did not */
    gboolean refused;                           /* a login was, by a server */
    const char *secret;                         /* path of the password's file; "" no login */
    guint pending;                              /* events that are not there as wanted */
    int64_t delivered_utc, tried_utc, next_utc; /* 0 none */
} WordingOutlet;

char *wording_outlet(const WordingContext *context, const WordingOutlet *outlet);

/* Where it is, with no path of a server and no secret: "on dav.plot.example", "in /srv/a.ics". */
char *wording_outlet_where(const OutletSetup *setup);

/* What was done to an event: KIND is the store's word for it, START_UTC where it was moved to, TEXT
 * a title or a line. EVENT (nullable) is what it was called when it was wanted last. */
char *wording_outlet_edit(const WordingContext *context, int site, const char *event,
                          const char *kind, int64_t start_utc, const char *text);
