/* SPDX-License-Identifier: MIT */
/* An invented community nursery for the planner: five sites, sixty places, three growers with hours
 * of their own, and as many batches as asked for. The same every time it is made. */
#pragma once

#include "plan/plan.h"

#define NURSERY_SITES 5
#define NURSERY_SITE_PLACES 12
#define NURSERY_PLACES (NURSERY_SITES * NURSERY_SITE_PLACES)
#define NURSERY_GROWERS 3
#define NURSERY_CROPS 8
#define NURSERY_DAYS 7
#define NURSERY_STEPS (NURSERY_DAYS * 48)
#define NURSERY_GROUPS 320 /* batches of one group are equal: crop, state, place */
#define NURSERY_BATCHES_MAX 10000

typedef struct Nursery {
    Garden garden;
    Site sites[NURSERY_SITES];
    Place places[NURSERY_PLACES];
    Container containers[1];
    Crop crops[NURSERY_CROPS];
    Grower growers[NURSERY_GROWERS];
    Chain chains[NURSERY_PLACES];
    ChainState states[NURSERY_PLACES];
    int positions[NURSERY_PLACES];
    SolarDay days[16];
    OutdoorStep steps[NURSERY_SITES][NURSERY_STEPS + 1];
    SiteOutlook outlooks[NURSERY_SITES];
    VisitWindow windows[NURSERY_GROWERS * NURSERY_DAYS * 8];
    Batch batches[NURSERY_BATCHES_MAX];
    Snapshot snapshot;
} Nursery;

/* Fills `ret`, which is large: keep it static. `n_batches` up to NURSERY_BATCHES_MAX; every place
 * has room for what stands in it and a quarter more. */
void nursery_make(int n_batches, Nursery *ret);

/* Groups that differ in crop, state or place, counted one by one. */
int nursery_groups(const Nursery *nursery);
