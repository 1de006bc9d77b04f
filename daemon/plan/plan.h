/* SPDX-License-Identifier: MIT */
/* The plan: visits, cover positions, moves, and why. Pure: the caller's memory, no clock,
 * reproducible. */
#pragma once

#include "plan/advance.h"
#include "plan/arena.h"
#include "plan/proof.h"
#include "plan/snapshot.h"

/* A choice's worth. Compared by `broken` first, then by `number`. All in batch-days. */
typedef struct PlanValue {
    double broken; /* how far above the risk limits, as expected harm; 0 within them */
    double loss;   /* expected loss */
    double checks, delay, visits, disturbance;
    double number; /* loss + checks + delay + visits + disturbance */
} PlanValue;

/* Low and high of one place as planned: of a local day, and of the night that follows it. */
typedef struct PlacePrediction {
    int place;
    int32_t day;
    double low_c, low_spread_k, leaf_low_c, high_c, high_spread_k;
    double air_frost_odds, leaf_frost_odds; /* of passing 0 °C at any time, 0..1; exact */
    int64_t low_utc, high_utc;
    PredictionBasis basis[EXTREMES];
} PlacePrediction;

typedef struct CourseStep { /* a place at the end of a half-hour; air NAN: not planned */
    float air_c, leaf_c, spread_k;
    int8_t position; /* of its own cover; -1 none */
} CourseStep;

/* Where a batch stands and what is ahead of it. */
typedef struct BatchOutlook {
    int batch;
    bool may_harden;      /* fit to leave the heat, in season */
    double allowed_low_c; /* what its coldest ten hours may average tonight */
    double floor_c, damage_c;
    double tonight_cold_c; /* what they will average, as planned */
    double tonight_leaf_c, tonight_spread_k;
    double damage_odds;          /* tonight, as planned */
    double missing_days;         /* ramp_days_missing() now */
    int64_t ready_utc;           /* 0 where it is beyond the horizon and nothing brings it on */
    bool not_before;             /* ready_utc is beyond the forecast: not before it */
    int64_t early_utc, late_utc; /* ready between these in 8 cases of 10; 0 with ready_utc */
    Reason bound;                /* what holds it back most */
    Reason stays; /* fit, and not carried out before long: what refused the place that came nearest.
                     LIMIT_PROGRESS: it gains too little; _NO_VISIT: no time to carry it; _NONE: it
                     goes, or no single limit keeps it */
} BatchOutlook;

typedef struct Plan {
    Visit *visits;
    Job *jobs;
    PlacePrediction *predictions;
    BatchOutlook *outlooks; /* one per batch of the snapshot */
    int n_visits, n_jobs, n_predictions, n_steps, n_proofs, n_breaches, n_notes;
    CourseStep *course; /* [place · n_steps + step], of the snapshot's n_steps */
    Reason *breaches;   /* every limit that the plan passes, in any window; none silently */
    Reason *notes; /* what no visit can help: LIMIT_DAMP of a place; LIMIT_WATER, _DAYLIGHT of a
                      batch, and LIMIT_CAPACITY where it waits for room: see waiting.c */
    PlanValue value;
    bool within_limits;
    WindowProof *proofs;   /* n_proofs: one per window decided, in time */
    double gap, later_gap; /* sums over the near windows, and over the others */
    uint64_t nodes;        /* batch evaluations spent */
} Plan;

/*
 * Makes a plan; `budget` bounds the batch evaluations spent on search (never below what one pass of
 * the first window needs). All of `ret` lives in `arena`. False where the arena is too small: try
 * with more.
 */
bool plan_make(const Snapshot *snapshot, uint64_t budget, Arena *arena, Plan *ret);

/* Less is better: -1, 0 or 1. */
int plan_value_compare(const PlanValue *a, const PlanValue *b);

/* Normal night minimum where the batch is to be planted, °C. */
double plan_normal_low_c(const Garden *garden, const Batch *batch, int64_t utc);

/* Crops that a light frost damages even when hardened, and the odds of one after planting that a
 * list may begin with; chosen. */
#define TENDER_C (-2.0)
#define LATE_FROST_ODDS 0.10

/* Odds of a frost after `utc` where it is to be planted, by the site's last frost, under a cover
 * that of a night so much milder; 0 of a crop that bears one. */
double plan_late_frost_odds(const Garden *garden, const Batch *batch, int64_t utc);

/* Whether normal nights there are as mild as it asks when hardened, and a late frost is unlikely
 * where it would harm. */
bool plan_in_season(const Garden *garden, const Batch *batch, int64_t utc);

/* The first day from `utc` on that is so; `utc` where none is. */
int64_t plan_season_from(const Garden *garden, const Batch *batch, int64_t utc);

/* Whether a batch is large enough, settled and in season to begin hardening at `utc`. */
bool plan_may_harden(const Garden *garden, const Batch *batch, int64_t utc);
