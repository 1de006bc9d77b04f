/* SPDX-License-Identifier: MIT */
/* The jobs of a visit in walking order. Internal to plan/. */
#pragma once

#include "garden/types.h"
#include "plan/arena.h"

/*
 * Puts the jobs of one visit at `site` into the order in which they are walked: a stop is an
 * outermost place with all that is inside it, and each stop comes once, with all that begins there.
 * The house first, then stops that trays are brought to, then as in the grower's file; but a stop
 * that trays are carried from comes before the one they are carried to, which follows at once where
 * nothing else is still to come there. At a stop: what presses, what is opened (outer covers
 * first), what is put down, carried on and watered, then what is shut (inner covers first). Jobs
 * that are alike in this keep their order. False where the arena is too small; the jobs are as they
 * were.
 */
bool stops_order(const Garden *garden, int site, Job *jobs, int n_jobs, Arena *arena);
