/* SPDX-License-Identifier: MIT */
/* One batch through a window. Internal to plan/. */
#pragma once

#include "plan/tracks.h"

#define OVERCAST 0.875         /* 7/8 */
#define OPEN_NIGHT_GRACE_H 1.5 /* at dusk and dawn, until a night counts as an open one; chosen */
/* Harm of passing a limit that has no odds, batch-days; chosen. */
#define HARM_GUST 3.0
#define HARM_SCORCH_PER_H 0.5
#define HARM_OPEN_TOO_SOON 1.0
/* Batch-days an hour of daylight: light that plants in the bed miss under a fleece; chosen. */
#define FLEECE_LEFT_ON_PER_H 0.02

#define FROZEN_C 1.0 /* plants at or below are left alone; common practice, no source */

/* What one limit came to for a batch. */
typedef struct Finding {
    int step, place; /* where it was worst */
    int position;    /* of the place's own cover then, for heat; -1 it has none */
    int crossing;    /* first step beyond the limit, -1 none */
    double value, limit, spread, odds;
    double harm; /* batch-days above the limit: its part of `broken` */
} Finding;

/* What became of one batch in a window. */
typedef struct BatchResult {
    double broken, loss, checks, delay;
    double survive;      /* chance of coming through undamaged */
    double check_share;  /* largest expected check of a ramp day, of its budget */
    double joined_share; /* that of the ramp day that the window's end cuts */
    double heat_kh;      /* beyond the heat limit */
    Finding damage, check, chill, heat, gust, scorch, open_night, settling, frozen;
    Finding tonight;        /* the first night: its worst step, without harm */
    double ramp_day_cold_c; /* C of the first ramp day closed; NAN none */
    RampState ramp_at_end;
    double chill_left_h; /* at the window's end */
} BatchResult;

/* A batch as the window finds it. */
typedef struct BatchStart {
    RampState ramp;
    Stage stage;
    double judged; /* see Stand, as the next */
    double chill_left_h;
} BatchStart;

typedef struct Segment {
    int from, to;
    int place, layer, stride;
    Track track;
    const OutdoorStep *outdoor;
    const uint8_t *marks;
    double weight_clear, weight_dull, shelter, spread_k, noon_spread_k;
    double open_share;                      /* of the open air's error that comes in */
    int position;                           /* of the nearest cover over the place */
    bool uncovered, shut, indoors, planted; /* planted: planted out by then */
} Segment;

/* A batch through the last window decided, so that it can be walked again up to when it leaves. */
typedef struct BatchPast {
    Window window;
    BatchStart start;
    int n_segments; /* 0 none yet */
    Segment segments[SEGMENTS_MAX + 1];
} BatchPast;

void segment_fill(const Board *board, int place, const int *positions, Track track, int from,
                  int to, Segment *ret);

/* Segments by time, the first from where the batch's state holds. */
void walk_batch(const Board *board, const Window *window, int batch, const BatchStart *start,
                const Segment *segments, int n_segments, BatchResult *ret);

/* The ramp of a batch that starts at `start` and stands in this segment, at its end. */
RampState walk_ramp(const Board *board, const Window *window, int batch, const BatchStart *start,
                    const Segment *segment);

/* What some steps of a segment do at the least to a batch that is not planted out. */
typedef struct WalkLeast {
    double heat_harm; /* batch-days; exact */
    double margin;    /* the fewest standard deviations that it is above `damage_c` */
} WalkLeast;

WalkLeast walk_least(const Board *board, const Window *window, int batch, const Segment *segment,
                     int from, int to, double damage_c);

/* Batch-days lost with a batch. */
double walk_worth(const Board *board, int batch);

/* Open ground that a batch planted out stands in; -1 where it stands elsewhere. */
int planted_ground(const Board *board, int place);
