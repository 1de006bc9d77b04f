/* SPDX-License-Identifier: MIT */
/*
 * A plan done to the letter and walked with climate/ and ramp/ alone, without the planner's own
 * judgement: what it does to each batch, and whether it can be done at all.
 */
#pragma once

#include "plan-garden.h"

/* What the walk found for one batch; odds with the smallest spread the forecast has, so never above
 * the plan's. */
typedef struct WalkedBatch {
    double damage_odds; /* of the worst night */
    double check_share; /* of the worst ramp day; a held one counts its fall beyond a quarter of the
                           drop */
    double heat_kh, scorch_h;
    int frozen_touched; /* opened over or moved while at or below +1 °C */
} WalkedBatch;

typedef struct Walked {
    WalkedBatch batches[WORLD_BATCHES];
    const char *fault; /* what could not be done, or NULL */
    int fault_job;
    RampState ramps[WORLD_BATCHES];
    int positions_at[N_PLACES][TEST_STEPS]; /* of each cover over each half-hour */
    int places_at[WORLD_BATCHES][TEST_STEPS];
    double leaf_at[WORLD_BATCHES][TEST_STEPS];
} Walked;

/* `ret` is large: keep it static. */
void walk_plan(const World *world, const Plan *plan, Walked *ret);

/* Whether the plan names this limit as passed for this batch. */
bool plan_names(const Plan *plan, int batch, LimitKind limit);
