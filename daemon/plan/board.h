/* SPDX-License-Identifier: MIT */
/*
 * What the parts of the planner share while a plan is made. Internal to plan/.
 *
 * Step indices count half-hours from the snapshot's start. A window of a site runs from one day on which
 * somebody can be there to the next; inside it, segments run from visit to visit.
 */
#pragma once

#include "plan/plan.h"
#include "ramp/ramp.h"

#define VISITS_MAX 3                   /* in one window */
#define SEGMENTS_MAX (VISITS_MAX + 1)  /* before the first visit, and after each */
#define SLOTS_MAX 4                    /* stretches of one day in which a visit could be */
#define TRACKS_MAX 96                  /* fixed settings of one chain simulated for one window */

/* A stretch in which one visit could be; `step` is where it is tried first. */
typedef struct Slot {
    int grower, from, to, step;
    bool published; /* step is that of a visit already published */
} Slot;

typedef struct Window {
    int site;
    int32_t day;
    int first, end; /* the state is carried to `end` */
    int eval_end;   /* judged to here: the ramp day that `end` cuts is closed first */
    int cap;        /* visits allowed, but to keep the risk limits */
    int ordinal;    /* of its site, 0 the present one */
    int n_slots;
    Slot slots[SLOTS_MAX];
} Window;

/* Where everything stands at a moment of the search. */
typedef struct Stand {
    ChainState *chains;
    int *positions;  /* per place */
    int *places;     /* per batch */
    RampState *ramps;
    Stage *stages;
} Stand;

/* Decisions of one window of one site. */
typedef struct Schedule {
    int n_visits;
    int visit_step[VISITS_MAX], grower[VISITS_MAX];
    bool published[VISITS_MAX];
    int *positions[SEGMENTS_MAX]; /* per place */
    int *places[SEGMENTS_MAX];    /* per batch */
} Schedule;

/* The air of one chain over a window: (step - first) * n_layers + layer. */
typedef struct Track {
    int first, n;
    const PlaceStep *steps;
} Track;

/* What one limit came to for a batch. */
typedef struct Finding {
    int step, place;      /* where it was worst */
    int crossing;         /* first step beyond the limit, -1 none */
    double value, limit, spread, odds;
} Finding;

/* What became of one batch in a window. */
typedef struct BatchResult {
    double broken, loss, checks, delay;
    Finding damage, check, heat, gust, scorch, frozen;
    bool open_too_soon;
    double ramp_day_cold_c; /* C of the last ramp day closed; NAN none */
    RampState ramp_at_end;
} BatchResult;

/* Nights at a destination, for readiness. */
typedef struct DestinationNights {
    int place;
    int n;                 /* ramp days in the horizon */
    const double *air_c;   /* n * RAMP_DAY_STEPS_MAX */
    const int *steps;      /* half-hours in each */
    const int *ends;       /* step at which each ends */
    const double *leaf_low_c, *spread_k, *soil_at_eight_c;
    double shelter;
    bool under_cover;
} DestinationNights;

/* A batch through the last window decided, so that it can be walked again up to when it leaves. */
typedef struct BatchPast BatchPast;

typedef struct Board {
    const Snapshot *s;
    Arena *arena;
    uint8_t **marks;       /* per site, per step */
    int *chain_of, *layer_of; /* per place */
    Window *windows;       /* of all sites, by first step */
    int n_windows;
    bool *may_harden;      /* per batch */
    DestinationNights *destinations;
    int n_destinations;
    int *destination_of;   /* per batch, -1 none */
    double *destination_cold_c; /* per batch: what its destination expects */
    int64_t *ready_utc;    /* per batch: found so far */
    BatchPast *past;       /* per batch */
    Stand start, stand;
    double damage_z;       /* standard deviations that the accepted probability of damage leaves */
    uint64_t nodes, budget;
    /* visits chosen so far, for travel between sites and the published plan */
    Plan *plan;
    int visits_size, jobs_size, predictions_size;
} Board;

/* board.c */
bool board_open(Board *board, const Snapshot *snapshot, uint64_t budget, Arena *arena, Plan *plan);
static inline int64_t board_utc(const Board *b, int step) { return b->s->start_utc + (int64_t)step * STEP_S; }
static inline const Place *board_place(const Board *b, int place) { return &b->s->garden->places[place]; }
static inline const Crop *board_crop(const Board *b, int batch)
{
    return &b->s->garden->crops[b->s->batches[batch].crop];
}
bool board_is_hardening(const Board *board, int batch); /* or may begin to */
Schedule *schedule_new(const Board *board, const Stand *stand);
void schedule_copy(const Board *board, const Schedule *from, Schedule *to);
Stand stand_new(Board *board);
void stand_copy(const Board *board, const Stand *from, Stand *to);

/* tracks.c */
Track track_run(Board *board, int chain, const Window *window, const Stand *stand, const Schedule *schedule,
                ChainState *ret_end);
/* Fixed settings, simulated once per window and shared. */
typedef struct TrackShelf {
    int n;
    int8_t settings[TRACKS_MAX][CHAIN_LAYERS_MAX];
    Track tracks[TRACKS_MAX];
} TrackShelf;
Track track_fixed(Board *board, int chain, const Window *window, const Stand *stand, const int *positions,
                  TrackShelf *shelf);

/* walk.c: one batch through a window */
typedef struct Segment {
    int from, to;
    int place, layer, stride;
    Track track;
    const OutdoorStep *outdoor;
    const uint8_t *marks;
    double weight_clear, weight_dull, shelter, spread_k;
    bool uncovered, shut;
} Segment;
struct BatchPast {
    Window window;
    RampState start;
    int n_segments; /* 0 none yet */
    Segment segments[SEGMENTS_MAX];
};
void segment_fill(const Board *board, int place, const int *positions, Track track, int from, int to, Segment *ret);
void walk_batch(const Board *board, const Window *window, int batch, const RampState *start, Stage stage,
                const Segment *segments, int n_segments, BatchResult *ret);

/* evaluate.c: THE function that planner and checks share */
typedef struct Tracks {
    Track *of[SEGMENTS_MAX]; /* per chain; the air of each segment */
} Tracks;
bool evaluate(Board *board, const Window *window, const Stand *stand, const Schedule *schedule,
              const Tracks *tracks, BatchResult *results, PlanValue *ret);
void evaluate_batch(Board *board, const Window *window, const Stand *stand, const Schedule *schedule,
                    const Tracks *tracks, int batch, BatchResult *ret);
void evaluate_sum(const Board *board, const Window *window, const Schedule *schedule, const BatchResult *results,
                  PlanValue *ret);
bool evaluate_exact(Board *board, const Window *window, const Stand *stand, const Schedule *schedule,
                    BatchResult *results, ChainState *ret_ends, Tracks *ret_tracks, PlanValue *ret);
int visit_jobs(const Board *board, const Window *window, const Schedule *schedule, int visit,
               double *ret_minutes /* nullable */);

/* search.c */
bool place_takes_trays(const Board *board, int place);
bool search_window(Board *board, const Window *window, Schedule *ret);

/* decide.c: a window's schedule becomes visits, jobs and reasons, and the stand moves on */
bool decide_window(Board *board, const Window *window, const Schedule *schedule);

/* transfer.c */
bool transfer_window(Board *board, const Window *window, Schedule *schedule);

/* outlook.c */
void outlook_begin(Board *board);
void outlook_mark_ready(Board *board, const Window *window);
void outlook_batches(Board *board);
