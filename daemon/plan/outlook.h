/* SPDX-License-Identifier: MIT */
/* Whether a batch is ready, what binds it, and what lies ahead of it. Internal to plan/. */
#pragma once

#include "plan/board.h"

/* Nights at a destination, for readiness. */
typedef struct DestinationNights {
    int place;
    int n;               /* ramp days in the horizon */
    const double *air_c; /* n * RAMP_DAY_STEPS_MAX */
    const int *steps;    /* half-hours in each */
    const int *ends;     /* step at which each ends */
    const double *leaf_low_c, *spread_k, *soil_at_eight_c;
    double shelter;
    int exposure_needed; /* days in the open asked before planting there */
} DestinationNights;

/* Days in the open asked before planting there: none under film or glass, some under fleece or net.
 */
int outlook_exposure_needed(const Place *place);

bool outlook_open_destinations(Board *board); /* destinations.c */
void outlook_begin(Board *board);
void outlook_mark_ready(Board *board, const Window *window);
void outlook_batches(Board *board);

/* Batch-days still missing until it is ready, at its destination. */
double outlook_missing(const Board *board, int batch, const RampState *ramp);
