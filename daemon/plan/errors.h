/* SPDX-License-Identifier: MIT */
/*
 * What readings have taught, put to the air as computed: biases when a chain is simulated, so that
 * everything after it sees the corrected air, and spreads. Internal to plan/.
 */
#pragma once

#include "odds/cover-error.h"
#include "plan/snapshot.h"

/* Of a layer with its covers in `positions` (by layer): as learned, or the chain's own spread. */
CoverError errors_of(const Snapshot *snapshot, const Chain *chain, const int *positions, int layer);

/* Adds biases, and the shifts of tonight, to what each layer of the chain met at the end of `step`.
 */
void errors_apply(const Snapshot *snapshot, const Chain *chain, const int *positions, int step,
                  PlaceStep *met);

/* Spread of the air outdoors at a step, K: after readings of this night where there are any. */
double errors_outdoor_k(const Snapshot *snapshot, int site, int step);

/*
 * The place's own variance, K², beside that of the outdoors, where its spread is `spread_k`. After
 * a reading under its cover tonight it may be below 0 (odds/tonight.h).
 */
double errors_own_k2(const Snapshot *snapshot, int place, int position, int step, double spread_k);

/* Both together, K. */
double errors_sum_k(double outdoor_k, double own_k2);
