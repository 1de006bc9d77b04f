/* SPDX-License-Identifier: MIT */
/*
 * The exact search of one window: what it may choose from is in docs/plan.md, "The exact search".
 * Internal to plan/.
 */
#pragma once

#include "plan/search.h"

#define PATHS_MAX 256    /* of one group; chosen */
#define COURSES_MAX 8192 /* that one of these may meet; chosen */
#define ANY_COURSE (-1)
#define EXACT_SAME 1e-10 /* batch-days: not better by more than rounding */

/* Which choices there are, and how much work they may cost. */
typedef struct ExactTask {
    int least, most;      /* visits */
    bool all_times;       /* every half-hour of a slot; else the time at which it is tried first */
    uint64_t evaluations; /* of batches, at most */
} ExactTask;

typedef struct ExactProof {
    bool proved;  /* nothing that the task allows is better */
    double bound; /* nothing that it allows is worth less, broken + number, batch-days */
    double gap;   /* from there to what was found; 0 where it is proved */
} ExactProof;

/* Betters `schedule`, worth `value`, until nothing the task allows is better, or the work is spent.
 * False where the arena is too small. */
bool exact_window(Search *search, const ExactTask *task, Schedule *schedule, PlanValue *value,
                  ExactProof *ret);

/* What a batch is worth at the window's end at the very least, whatever is done: only delay, with a
 * night and a used day for each ramp day that ends, and the greatest fall. */
double exact_floor(const Board *board, const Window *window, int batch);
