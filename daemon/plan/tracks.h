/* SPDX-License-Identifier: MIT */
/* The air of chains over a window, each course of positions simulated once. Internal to plan/. */
#pragma once

#include "plan/schedule.h"

#define TRACKS_MAX 160 /* courses of one chain kept for one window */

/* The air of one chain over a window: (step - first) * n_layers + layer. */
typedef struct Track {
    int first, n;
    const PlaceStep *steps; /* NULL: the arena was too small */
} Track;

/* Positions of a chain's covers from step to step; equal neighbours are one. */
typedef struct TrackCourse {
    int n;
    int from[SEGMENTS_MAX];
    int8_t settings[SEGMENTS_MAX][CHAIN_LAYERS_MAX];
} TrackCourse;

typedef struct TrackShelf {
    int n;
    TrackCourse courses[TRACKS_MAX];
    Track tracks[TRACKS_MAX];
    ChainState ends[TRACKS_MAX]; /* at the window's end */
} TrackShelf;

/* Room for the air of a new window; what was kept of the last one is forgotten. */
bool tracks_open(Board *board);

/* The air as scheduled, from the stand; `ret_end` is the state at the window's end. */
Track track_scheduled(Board *board, int chain, const Window *window, const Schedule *schedule,
                      ChainState *ret_end /* nullable */);

/* The air had the covers always been so. */
Track track_fixed(Board *board, int chain, const Window *window, const int *positions);

/* A run that is not kept. */
Track track_run(Board *board, int chain, const Window *window, const ChainState *start,
                const TrackCourse *course, ChainState *ret_end /* nullable */);

/* Steps `from` to `to` with the layers' covers in `positions`, into `steps`; `state` moves on. */
Track track_part(Board *board, int chain, const Window *window, int from, int to,
                 const int *positions, ChainState *state, PlaceStep *steps);

/* The course of one chain that stands in `positions` (per place) all along. */
TrackCourse track_course_fixed(const Board *board, int chain, const int *positions);
