/* SPDX-License-Identifier: MIT */
/* Decisions of one window of one site. Internal to plan/. */
#pragma once

#include "plan/board.h"

typedef struct Schedule {
    int n_visits;
    int visit_step[VISITS_MAX], grower[VISITS_MAX];
    int *positions[SEGMENTS_MAX]; /* per place */
    int *places[SEGMENTS_MAX];    /* per batch */
    int *planted_at;              /* per batch: the visit at which it is planted out; -1 not */
} Schedule;

/* Nothing done: everything stays as in `stand`. NULL where the arena is too small. */
Schedule *schedule_new(const Board *board, const Stand *stand);
void schedule_copy(const Board *board, const Schedule *from, Schedule *to);

static inline int segment_start(const Window *w, const Schedule *s, int segment)
{
    return segment == 0 ? w->first : s->visit_step[segment - 1];
}
static inline int segment_end(const Window *w, const Schedule *s, int segment)
{
    return segment == s->n_visits ? w->eval_end : s->visit_step[segment];
}

/* Jobs of a visit, and what it takes; 0 jobs: it need not be made. */
int schedule_jobs(const Board *board, const Window *window, const Schedule *schedule, int visit,
                  double *ret_minutes /* nullable */);

/* A visit at `step`, made where there is none yet; its index, or -1 where there are enough. */
int schedule_visit(const Board *board, Schedule *schedule, int grower, int step);

/* Takes out visits on which nothing is done, but for those that the grower fixed. */
void schedule_drop_idle(const Board *board, const Window *window, Schedule *schedule);

/* Whether a batch stands under a place, or in it, after a visit. */
bool schedule_shelters(const Board *board, const Schedule *schedule, int segment, int place);

/* Covers over nothing are left as they were: no job for its own sake. */
void schedule_leave_idle_covers(const Board *board, const Window *window, Schedule *schedule);

/* Whether `trays` more fit into a place in every segment from `segment` on, one batch left out (-1
 * none). */
bool schedule_has_room(const Board *board, const Schedule *schedule, int segment, int place,
                       int batch);

/* Trays come here: not into open ground, nor a propagator. */
bool place_takes_trays(const Board *board, int place);

/* Whether the grower can come here then, given visits already planned at other sites. */
bool grower_can_be(const Board *board, int site, int grower, int step);

/* Visits already published that this schedule moves or drops, in batch-days. */
double former_disturbance(const Board *board, const Window *window, const Schedule *schedule);

/* The published visit of a stretch, if it can still be made, else the time tried first. */
int former_slot_step(const Board *board, const Window *window, const Slot *slot);

/* Moves the visits to published times of the same stretch; true where that changed anything. */
bool former_snap(const Board *board, const Window *window, Schedule *schedule);

/* The published visits and jobs as a schedule; false where they are none, or cannot be done as they
 * were. */
bool former_schedule(const Board *board, const Window *window, Schedule *ret);
