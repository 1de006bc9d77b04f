/* SPDX-License-Identifier: MIT */
/* What a grower is told of a batch without asking. Every text is the caller's. */
#pragma once

#include "service/wording.h"

/* A check that it still feels: the last cold ramp day, and how many days it rests. */
typedef struct WordingCheck {
    int32_t night_day, until_day; /* local days: the night to the one, rest to the other */
    double low_c, cold_c, allowed_c;
    int rest_days;
} WordingCheck;
char *wording_set_back(const WordingContext *context, const WordingCheck *check);

/* A place that would take it earlier. */
typedef struct WordingOther {
    int place;
    int64_t utc;
} WordingOther;

/* It will have to wait: from when it is fit and when it may go, and what else there is. */
typedef struct WordingWait {
    int64_t fit_utc, ready_utc;
    bool cold; /* else the danger is a late frost */
    const WordingOther *others;
    int n_others;
    int64_t fleece_utc; /* with a fleece over its bed; 0: that would win nothing */
    int64_t held_utc;   /* it outgrows its container; 0: not before, or told elsewhere */
} WordingWait;
char *wording_wait(const WordingContext *context, const Batch *batch, const WordingWait *wait);

/* No place gives its trays enough hours in the open; `best` of those outdoors, -1 none, where an
 * hour counts for `weight`. */
char *wording_no_open_place(const WordingContext *context, const Batch *batch, int best,
                            double weight);

/* What would bring it forward, by what binds it; NULL where nothing does. */
char *wording_forward(const WordingContext *context, const Batch *batch, const Reason *bound);
