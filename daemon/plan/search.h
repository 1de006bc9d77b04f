/* SPDX-License-Identifier: MIT */
/* Choosing a window's schedule, and what crosses between sites. Internal to plan/. */
#pragma once

#include "plan/evaluate.h"

typedef struct Search {
    Board *b;
    const Window *w;
    Track *tracks[SEGMENTS_MAX]; /* per chain, of the schedule at hand */
    Tracks view;
    BatchResult *results; /* of the schedule at hand */
    BatchResult *kept[2]; /* of the best settings, of the best path, so far */
    Schedule *spare;
    bool near; /* moves and all positions are searched */
} Search;

/* False where the arena is too small. */
bool search_open(Board *board, const Window *window, Search *ret);

/* improve.c: covers and places, until nothing gets better; ranked with stitched air. */
void improve(Search *search, Schedule *schedule, PlanValue *best);

/* Sets the covers of the chain of `place` anew, all else as it stands. */
void improve_covers(Search *search, Schedule *schedule, int place, PlanValue *best);

/*
 * Where a batch may go: planted out, only under the fleece over its bed and back; not fit for
 * hardening, no further out than it is.
 */
bool may_stand(const Search *search, const Schedule *schedule, int batch, int place);

/* Hardening ones at any time; all others only where `results` say that a limit is passed, or the
 * fleece may come off. */
bool is_movable(const Search *search, const Schedule *schedule, int batch);

/* prune.c: single covers set otherwise where that is better, simulated as it is. */
bool refine(Search *search, Schedule *schedule, PlanValue *value);

/* Takes out each job without which the plan is no worse. */
bool prune(Search *search, Schedule *schedule, PlanValue *value);

/* search.c: visits of the slots in `mask`, at the times tried first; false: not all can be made */
bool set_visits(const Search *search, unsigned mask, Schedule *schedule);
bool search_window(Board *board, const Window *window, Schedule *ret);

/* transfer.c */
bool transfer_window(Board *board, const Window *window, Schedule *schedule);

/* A window's schedule as it is decided: what comes of it, and what would without one job of it. */
typedef struct Decision {
    Board *b;
    const Window *w;
    const Schedule *schedule;
    Schedule *spare;
    BatchResult *results, *otherwise;
    Tracks tracks;    /* the air as decided; every chain of the site */
    ChainState *ends; /* per chain */
    PlanValue value;
} Decision;

/* decide.c: a window's schedule becomes visits, jobs and reasons, and the stand moves on */
bool decide_open(Board *board, const Window *window); /* room for its air; before search */
bool decide_window(Board *board, const Window *window, const Schedule *schedule);
Job *job_add(Board *board, int visit); /* NULL, and the arena failed, where there is no room */

/* reason.c: fills a job's reason from d->results and d->otherwise; batch -1: who gains most by it
 */
void reason_give(Decision *decision, Job *job, int visit_step, int batch);
Reason reason_of_finding(const Board *board, const Window *window, LimitKind limit, int batch,
                         const Finding *finding);

/* alarm.c: limits that the plan passes, and what must be left alone */
bool alarm_breaches(Decision *decision);
void alarm_rescues(Decision *decision);
void alarm_frosty_morning(Decision *decision);

/* waiting.c: batches that find no room, as notes of the whole plan, visits and jobs in order */
void waiting_note(Board *board);

/* damp.c: covers that have been shut too long over plants, propped at visits made anyway */
bool damp_open(Board *board);
bool damp_window(Board *board, const Window *window, Schedule *schedule);
void damp_reason(const Decision *decision, Job *job, int visit);

/* daylight.c: seedlings that are up come out of the propagator; sheets.c: fleece comes off plants
 * in their bed once nights are mild without it */
bool daylight_window(Board *board, const Window *window, Schedule *schedule);
void daylight_reason(const Decision *decision, Job *job);
bool sheets_window(Board *board, const Window *window, Schedule *schedule);

/* water.c: trays that a day dries out */
void water_jobs(Decision *decision);

/* planting.c: of the whole plan, before its jobs are in order: watering before, guarding after */
bool planting_jobs(Board *board);

/* move-on.c: predictions, and everything carried to the window's end */
void move_on(Decision *decision);
void note_predictions(Decision *decision);
