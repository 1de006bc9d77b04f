/* SPDX-License-Identifier: MIT */
/* Carrying trays between sites: how often somebody must go, and for what weather it is worth
 * waiting. Internal to plan/. */
#pragma once

#include "plan/schedule.h"

/* Journeys that so many trays take; 1 where the grower set no `trays-per-trip`. */
int trips_of(const Garden *garden, int grower, int trays);

/* Minutes of going back and forth at a visit, the first journey left out; 0 at home. */
double trips_extra_min(const Board *board, const Window *window, const Schedule *schedule,
                       int visit);

/* Whether a visit's journeys leave its work within the stretch that it lies in. */
bool trips_fit(const Board *board, const Window *window, const Schedule *schedule, int visit);

/*
 * Whether trays had better be carried at another time than `step`: it is bright or blows then, and
 * a visit in the next day and a half would find it dull and calm.
 */
bool trips_should_wait(const Board *board, const Window *window, int step);
