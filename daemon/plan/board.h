/* SPDX-License-Identifier: MIT */
/* What the parts of the planner share while a plan is made. Internal to plan/. */
#pragma once

#include "plan/integers.h"
#include "plan/plan.h"
#include "plan/window.h"
#include "ramp/ramp.h"

/* Where everything stands at a moment of the search. */
typedef struct Stand {
    ChainState *chains;
    int *positions; /* per place */
    int *places;    /* per batch */
    int *since;     /* per batch: its state is that of this step; before it, it was elsewhere */
    RampState *ramps;
    double *used_mm; /* per batch: see Batch */
    double *judged;  /* per batch: check_share that the window before charged to the day it cut */
    double *chill_left_h; /* per batch: harmful cold it may still have; INFINITY none counts */
    Stage *stages;
    double *leaf_c; /* per batch: its leaves as the window begins; NAN not known */
} Stand;

typedef struct Airing {
    int visit, nights; /* the visit at which the cover is lifted, -1 none; nights shut before */
} Airing;

typedef struct Board {
    const Snapshot *s;
    Arena *arena;
    uint8_t **marks;          /* per site, per step */
    int *chain_of, *layer_of; /* per place */
    Window *windows;          /* of all sites, by first step */
    FixedVisit *fixed;        /* by time */
    int n_windows, n_fixed;
    int *hardens_from; /* per batch: the step from which it may leave the heat; NEVER */
    int *leader;       /* per batch: the first one equal to it in every respect that matters here */
    struct DestinationNights *destinations;
    int n_destinations;
    int *destination_of;        /* per batch, -1 none */
    double *destination_cold_c; /* per batch: what its destination expects */
    int64_t *ready_utc;         /* per batch: found so far */
    double *survive;            /* per batch: chance of having come through the windows decided */
    struct BatchPast *past;     /* per batch */
    int *decided_to;            /* per site: end of the last window decided */
    Stand start, stand;
    PlaceStep **hold; /* per chain: room for the window's air as decided, kept to the plan's end */
    struct TrackShelf *shelves; /* per chain: the air of the window at hand */
    struct Recall *recalls;     /* evaluate.c: the schedules of the window at hand judged last */
    double work_ahead; /* of a day of progress that is still missing, batch-days; of this window */
    int64_t *shut_since;    /* per place: its cover over plants, as decided; 0 it is not */
    Airing *airings;        /* per place, of the window at hand: after nights shut */
    double damage_z;        /* standard deviations that the accepted probability of damage leaves */
    uint64_t nodes, budget; /* batch evaluations: spent, and where the window at hand stops */
    uint64_t nodes_beside;  /* of these, by the exact search, which no budget counts */
    uint64_t exact_evaluations; /* that it may spend in a window; 0 greedy alone */
    WindowProof proof;          /* of the window at hand */
    int crossing_from;          /* crossings of a limit are noted from this step on */
    Plan *plan;
    int visits_size, jobs_size, predictions_size, breaches_size;
} Board;

static inline int64_t board_utc(const Board *b, int step)
{
    return b->s->start_utc + (int64_t)step * STEP_S;
}
static inline const Place *board_place(const Board *b, int place)
{
    return &b->s->garden->places[place];
}
static inline int board_site(const Board *b, int place)
{
    return b->s->garden->places[place].site;
}
static inline const Crop *board_crop(const Board *b, int batch)
{
    return &b->s->garden->crops[b->s->batches[batch].crop];
}

/* Minutes of a visit there beside its jobs. */
static inline double board_visit_min(const Board *b, int site)
{
    return b->s->visit_min != NULL ? b->s->visit_min[site] : b->s->weights.visit_min;
}

/* False where the arena is too small. */
bool board_open(Board *board, const Snapshot *snapshot, Arena *arena, Plan *plan);
bool board_open_windows(Board *board); /* windows.c */

/* The step of the grid at or after `utc`, within the horizon. */
int board_step_at_or_after(const Snapshot *snapshot, int64_t utc);

/* Whether the batch hardens, or may begin to by `step`. */
bool board_is_hardening(const Board *board, int batch, int step);

/* Finds which batches are equal, as the stand is now. */
void board_group(Board *board);
void board_group_again(Board *board, int batch); /* after a change of this one */
Stand stand_new(Board *board);
void stand_copy(const Board *board, const Stand *from, Stand *to);
