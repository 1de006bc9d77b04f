/* SPDX-License-Identifier: MIT */
/* The one line of the whole. */
#pragma once

#include "service/wording.h"

#include <stdbool.h>

/* How things stand, for `systemctl status`. */
typedef struct WordingStatus {
    const Visit *next; /* (nullable) the first with open jobs */
    bool begun;        /* its start is past */
    int n_jobs;        /* open, of that visit */
    unsigned n_alerts; /* what `tholectl` begins with */
    bool no_plan;      /* the last one could not be made */
} WordingStatus;

/* In one line. No grower, batch or coordinates: on a box of several users all of them can read it.
 */
char *wording_status(const WordingContext *context, const WordingStatus *status);
