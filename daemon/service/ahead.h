/* SPDX-License-Identifier: MIT */
/*
 * The days ahead of each batch as the plan has them: walked through once more by the laws that move
 * the past on (plan_advance()), with the plan's positions, moves and spreads.
 */
#pragma once

#include "service/service.h"

/* One ramp day: from an hour after sunrise to the next, so its night is the one that follows. */
typedef struct AheadDay {
    int32_t day;     /* the local day on which it begins, as the site of `place` counts */
    int64_t end_utc; /* it is closed then, or where the plan ends */
    bool closed;     /* the plan holds its end */
    int place;       /* where the batch is coldest; that is when the two lows are */
    int64_t low_utc;
    double low_c, spread_k;        /* the lowest air; spread NAN where it is not planned: indoors */
    double leaf_low_c;             /* NAN indoors */
    double exposed_h, allowance_h; /* weighted hours of light and wind; what the day allows */
    double allowed_c;     /* what the coldest ten hours may average, as it stands that day */
    double hardened_to_c; /* at its end */
    double damage_c;      /* leaves are damaged below, when they are nearest to it */
    double damage_odds;   /* 0..1; NAN indoors */
} AheadDay;

/*
 * Per batch of service->current a GArray (element-type AheadDay), from today on. None planned:
 * empty arrays. `covers` is what is learned of them, as in a Snapshot. Owned by the caller.
 */
GPtrArray *ahead_new(const Service *service, const CoverError *covers) G_GNUC_WARN_UNUSED_RESULT;

/* The day with the highest odds of damage, or NULL where none has any. */
const AheadDay *ahead_worst(const GArray *days);
