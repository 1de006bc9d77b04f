/* SPDX-License-Identifier: MIT */
/* A small invented garden and weather for the planner's tests, built by hand. */
#pragma once

#include "plan/plan.h"
#include "ramp/ramp.h"

enum { HOME, PLOT };
enum { SILL, STANDING, FRAME, TUNNEL, BOX, BED, FLEECE, N_PLACES };
enum { CABBAGE, TOMATO };

#define START_UTC 1745452800 /* 2025-04-24 00:00 UTC */
#define TEST_STEPS (10 * 48)
#define WORLD_BATCHES 8

typedef struct World {
    Garden garden;
    Site sites[2];
    Place places[N_PLACES];
    Container containers[1];
    Crop crops[2];
    Grower growers[1];
    Batch batches[WORLD_BATCHES];
    Chain chains[N_PLACES];
    ChainState states[N_PLACES];
    int positions[N_PLACES];
    SolarDay days[2][16];
    OutdoorStep steps[2][TEST_STEPS + 1];
    SiteOutlook outlooks[2];
    VisitWindow windows[96];
    Visit former[64];
    Snapshot snapshot;
    double mean_c, half_range_k, cloud, cold_night_k;
    int cold_night; /* -1 none */
} World;

/* A garden at home and on a plot, the covers shut, with weather of this mean, swing and cloud; no
 * batch yet. */
void world_open(World *world, double mean_c, double half_range_k, double cloud);

/* The weather anew, after a change of its figures. */
void world_weather(World *world);

/* When the grower comes: both ends of the day at home, evenings at the plot, mornings there where
 * asked for. */
void world_windows(World *world, bool plot_mornings);

/* No visit at either site on these days, counted from the first. */
void world_absent(World *world, int from_day, int to_day);

/* A visit that the grower fixed, among the windows by time; offered: hours beside the usual ones.
 */
void world_fix(World *world, int site, int64_t utc);
void world_offer(World *world, int site, int64_t from_utc, int64_t to_utc);

/* A batch of 70 days, soft as from the heat. */
void world_batch(World *world, int at, int crop, int place, int destination, Stage stage);

/* Its plan, which stands until the next is made. */
Plan world_made(const World *world);
