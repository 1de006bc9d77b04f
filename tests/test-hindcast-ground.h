/* SPDX-License-Identifier: MIT */
/* What a hindcast of plans stands on, read once. */
#pragma once

#include "garden/crops.h"
#include "plan/plan.h"
#include "test-hindcast-weather.h"

/* What a hindcast stands on: one station's days, the crops as shipped, a sill, a frame, and a bed
 * with its fleece at home, visits at 07:30 and 18:00, and room for plans. */
typedef struct Ground {
    GArray *days; /* (element-type DailyWeather); NULL where the file is not there */
    Crops *crops;
    Garden *garden;
    Arena arena;
} Ground;

typedef GArray *(*DaysReader)(const char *path, char **ret_problem);

/* The places of that garden; and with its grower. */
#define GROUND_FRAME_PLACES                                                                        \
    "[place sill]\nkind=sill\nsite=home\n"                                                         \
    "[place frame]\nkind=cold-frame\nsite=home\n"                                                  \
    "[place bed]\nkind=bed\nsite=home\n"                                                           \
    "[place fleece]\nkind=fleece\ninside=bed\n"
extern const char ground_frame_text[];

/* A garden at `at`: its sites are made here ("plot" where `text` has a place there, at the same
 * spot), places and growers are in `text`, and all stand in one kind of container. */
Garden *ground_garden(const Station *at, const char *zone, const Crops *crops, const char *text,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* From build/test-data/FILE. NULL where something is wrong, which is printed. */
Ground *ground_new(const Station *at, const char *zone, const char *file, DaysReader reader);
void ground_free(Ground *ground);
