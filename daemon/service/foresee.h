/* SPDX-License-Identifier: MIT */
/* What is ahead of sowings and batches in the garden as it is, and the room for them on the heat
 * (docs/season.md). Nothing is kept. */
#pragma once

#include "plan/sowing.h"
#include "service/service.h"

/* Where seed is sown if nobody says: a propagator, else the warmest place indoors; -1 none. */
int foresee_seed_place(const Garden *garden, int64_t utc);

/* Where the seedlings stand once up: in a propagator's house the warmest other place indoors. */
int foresee_raised_place(const Garden *garden, int seed_place, int64_t utc);

/* A bed; -1 none. */
int foresee_destination(const Garden *garden);

/* The course of a living batch that is not planted yet. */
void foresee_batch(const Service *service, const Batch *batch, SowingCourse *ret);

/* When a batch that is sown is taken to be up though nobody said so. */
int64_t foresee_taken_as_up(const Service *service, const Batch *batch);

/* Trays in a place indoors, from one instant to another. */
typedef struct HeatSpan {
    int batch; /* index in the present state; -1 what is only thought of */
    int place, trays;
    int64_t from_utc, to_utc;
} HeatSpan;

/* Of every batch, as foreseen; (element-type HeatSpan), the caller's. */
GArray *foresee_heat(const Service *service);

/* Adds those of a course: at the seed place until it is up, then where it is raised. */
void foresee_add_heat(GArray *spans, const Garden *garden, const Sowing *sowing,
                      const SowingCourse *course, int batch, int trays, int64_t from_utc);

/* Most trays that stand in a place on one of the days between; that day in `ret_day_utc`
 * (nullable). */
int foresee_most_trays(const GArray *spans, int place, int64_t from_utc, int64_t to_utc,
                       int64_t *ret_day_utc);

/* Another place indoors, no propagator, that has room for a batch from that day on and whose nights
 * it bears soft; -1 none. */
int foresee_room_for(const Service *service, const GArray *spans, const HeatSpan *span,
                     int64_t day_utc);

/* "leek-1 (2), tomato-1 (1)": who stands there at an instant. The caller's. */
char *foresee_who(const Service *service, const GArray *spans, int place, int64_t utc);
