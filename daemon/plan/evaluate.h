/* SPDX-License-Identifier: MIT */
/* What a window's schedule is worth: THE function that planner and checks share. Internal to plan/.
 */
#pragma once

#include "plan/walk.h"

/* The air of each segment, per chain. */
typedef struct Tracks {
    Track *of[SEGMENTS_MAX];
} Tracks;

/* All batches that are at the site in the window, then the sum. False where the arena is too small.
 */
bool evaluate(Board *board, const Window *window, const Schedule *schedule, const Tracks *tracks,
              BatchResult *results, PlanValue *ret);
void evaluate_batch(Board *board, const Window *window, const Schedule *schedule,
                    const Tracks *tracks, int batch, BatchResult *ret);
void evaluate_sum(const Board *board, const Window *window, const Schedule *schedule,
                  const BatchResult *results, PlanValue *ret);

/* As scheduled, every chain simulated so. `ret_tracks` (nullable) stays valid while the window
 * does. */
bool evaluate_exact(Board *board, const Window *window, const Schedule *schedule,
                    BatchResult *results, Tracks *ret_tracks, PlanValue *ret);

/* Room to remember the schedules judged last, for the window at hand; false where the arena is too
 * small. Without it all is judged anew. A batch is to be forgotten where its own state changes. */
bool evaluate_open(Board *board);
void evaluate_forget(Board *board, int batch);

/* As evaluate(); what nothing touches that differs from the schedule judged last, in air of the
 * same kind, is taken from there. */
typedef enum EvaluateAir { AIR_SCHEDULED, AIR_STITCHED } EvaluateAir;
bool evaluate_again(Board *board, EvaluateAir air, const Window *window, const Schedule *schedule,
                    const Tracks *tracks, BatchResult *results, PlanValue *ret);

/* The first batch whose result is that of `batch` because it is equal and goes the same way. */
int evaluate_leader(const Board *board, const Schedule *schedule, int batch);

bool batch_is_here(const Board *board, const Window *window, const Schedule *schedule, int batch);

/* Harm of a cover that stands open over plants in a gust, batch-days; the step of the gust. */
double evaluate_cover_gust(const Board *board, const Window *window, const Schedule *schedule,
                           int place, int *ret_step /* nullable */);
