/* SPDX-License-Identifier: MIT */
/* What is said of the batches of a season and the room for them. Every text is the caller's. */
#pragma once

#include "plan/sowing.h"
#include "service/wording.h"

/* Of a batch that is sown: whether it is up, from its day on; that it is late; that it never comes
 * up where it stands. NULL before there is something to ask. */
char *wording_season_up(const WordingContext *context, const Batch *batch,
                        const SowingCourse *course);

/* A week in which a place is over full; `who` stands there. */
typedef struct WordingFull {
    int place, trays;
    int64_t week_utc, until_utc; /* begin of the first week, and the end of the last one in a row */
    const char *who;
    const char *batch; /* (nullable) the one to shift ... */
    int to;            /* ... there; -1: none indoors has room, it may leave the heat then: */
    int64_t leave_utc;
} WordingFull;
char *wording_season_full(const WordingContext *context, const WordingFull *full);
