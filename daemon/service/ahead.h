/* SPDX-License-Identifier: MIT */
/*
 * The days ahead of each batch as the plan has them: walked through once more by the laws that move
 * the past on (plan_advance()), with the plan's positions, moves and spreads.
 */
#pragma once

#include <glib.h>

#include "plan/plan.h"

/* One ramp day: from an hour after sunrise to the next, so its night is the one that follows. */
typedef struct AheadDay {
    int32_t day;       /* the local day on which it begins, as the site of `place` counts */
    int64_t end_utc;   /* it is closed then, or where the plan ends */
    bool closed;       /* the plan holds its end */
    int place;         /* where it stands when the day ends, so where it has its night */
    int64_t low_utc;   /* 0 it has been */
    double low_c;      /* the lowest air, with what has been of the day */
    double cold_c;     /* of its coldest ten hours, as it counts for the ramp; NAN none yet */
    double spread_k;   /* NAN where it is not planned: indoors; or has been */
    double leaf_low_c; /* NAN indoors */
    double exposed_h, allowance_h; /* weighted hours of light and wind; what the day allows */
    double allowed_c;     /* what the coldest ten hours may average, as it stands that day */
    double hardened_to_c; /* at its end */
    double damage_c;      /* leaves are damaged below, at worst_utc */
    double damage_odds;   /* 0..1; NAN indoors */
    int64_t worst_utc;    /* when leaves are nearest to damage; 0 indoors */
    bool check;           /* as planned, it holds the ramp */
    bool estimated;       /* no forecast reaches that night: it is what is normal */
} AheadDay;

/*
 * Per batch of the snapshot a GArray (element-type AheadDay), from its day on, as a plan that was
 * made from it has them; in any thread. `zones`: per site. Owned by the caller.
 */
GPtrArray *ahead_new(const Snapshot *snapshot, GTimeZone *const *zones,
                     const Plan *plan) G_GNUC_WARN_UNUSED_RESULT;

/* For so many batches of which nothing is planned. Owned by the caller. */
GPtrArray *ahead_none(guint n_batches) G_GNUC_WARN_UNUSED_RESULT;
