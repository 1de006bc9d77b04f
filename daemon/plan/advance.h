/* SPDX-License-Identifier: MIT */
/* The past: chains and batches moved on, without choices. Pure. */
#pragma once

#include "plan/snapshot.h"

typedef struct PastDay { /* a ramp day that ended */
    int batch;
    int64_t end_utc;
    double low_c, cold_c; /* of the air: its lowest half-hour, its coldest ten hours (RampDay) */
    double exposed_h, allowance_h;
    double allowed_c, damage_c; /* as they stood before it ended */
    double hardened_to_c;       /* after it */
    bool check;
} PastDay;

typedef struct PlanPast {
    const Garden *garden;
    int site, n;
    int64_t start_utc;
    const SiteOutlook *outlook;
    const Chain *chains;
    int n_chains;
    const int *positions;
    int n_batches;
    const CoverError *cover_errors; /* (nullable) as in a Snapshot */
    /* (nullable) room for `days_size` ramp days that end; *n_days of them are there. Those without
       room are not told of. */
    PastDay *days;
    int days_size, *n_days;
} PlanPast;

/*
 * Moves chains and batches on over steps that have passed: `n` half-hours from `start_utc` at
 * `site`, with the positions as they were. Ramp days are closed as they end; `checked[b]` is set
 * where a batch had a check.
 */
void plan_advance(const PlanPast *past, ChainState *states, Batch *batches, bool *checked);
