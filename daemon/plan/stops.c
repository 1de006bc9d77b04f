/* SPDX-License-Identifier: MIT */
#include "plan/stops.h"

#include <string.h>

#define NOWHERE (-1) /* another site, or no place at all */

/* At a stop, one after the other. */
typedef enum Turn {
    TURN_PRESSING,
    TURN_OPEN,
    TURN_SOAK, /* watered before they are lifted */
    TURN_PUT_DOWN,
    TURN_CARRY,
    TURN_PROTECT,
    TURN_WATER,
    TURN_SHUT
} Turn;
#define TURNS 8

typedef struct Walk {
    const Garden *garden;
    int site;
    const Job *jobs;
    int n, *begins, *ends; /* per job: the stops at which it begins and ends */
    bool *listed;
} Walk;

static int stop_of(const Walk *w, int place)
{
    if (place < 0 || w->garden->places[place].site != w->site)
        return NOWHERE;
    while (w->garden->places[place].parent >= 0)
        place = w->garden->places[place].parent;
    return place;
}

static bool carries(const Job *job)
{
    return job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT;
}

/* A fleece laid over plants where they stand: it shuts, though a batch is moved beneath it. */
static bool lays_over(const Walk *w, int j)
{
    return w->begins[j] == w->ends[j] && w->jobs[j].place >= 0 &&
           w->garden->places[w->jobs[j].place].kind == PLACE_FLEECE;
}

static Turn turn_of(const Walk *w, int j)
{
    const Job *job = &w->jobs[j];
    switch (job->kind) {
    case JOB_LEAVE_SHUT:
    case JOB_RESCUE:
    case JOB_CHOOSE:
        return TURN_PRESSING;
    case JOB_SET_COVER:
        return job->position > job->from_position && job->position > 0 ? TURN_OPEN : TURN_SHUT;
    case JOB_MOVE:
    case JOB_TRANSFER:
    case JOB_PLANT_OUT:
        if (stop_of(w, job->from_place) == NOWHERE)
            return TURN_PUT_DOWN;
        return lays_over(w, j) ? TURN_SHUT : TURN_CARRY;
    case JOB_WATER:
        return job->batch >= 0 ? TURN_SOAK : TURN_WATER;
    case JOB_PROTECT:
        return TURN_PROTECT;
    }
    return TURN_PRESSING;
}

/* Whether trays of another stop that is still to come are carried here. */
static bool is_awaited(const Walk *w, int stop)
{
    for (int j = 0; j < w->n; j++) {
        if (!w->listed[j] && w->ends[j] == stop && w->begins[j] != stop)
            return true;
    }
    return false;
}

/* The house, then where trays are put down, then the rest. */
static int rank_of(const Walk *w, int stop)
{
    if (stop == NOWHERE || w->garden->places[stop].indoors)
        return 0;
    for (int j = 0; j < w->n; j++) {
        if (w->begins[j] == stop && turn_of(w, j) == TURN_PUT_DOWN)
            return 1;
    }
    return 2;
}

static bool comes_before(const Walk *w, int stop, int other)
{
    int rank = rank_of(w, stop), against = rank_of(w, other);
    return rank != against ? rank < against : stop < other;
}

/* Where to go next; trays in hand are carried on where that is where they go. False: all listed. */
static bool next_stop(const Walk *w, int in_hand, int *ret)
{
    bool found = false, found_awaited = false;
    for (int j = 0; j < w->n; j++) {
        if (w->listed[j])
            continue;
        int stop = w->begins[j];
        bool awaited = is_awaited(w, stop);
        if (!awaited && stop == in_hand && stop != NOWHERE) {
            *ret = stop;
            return true;
        }
        if (!found || (found_awaited && !awaited) ||
            (awaited == found_awaited && comes_before(w, stop, *ret))) {
            *ret = stop;
            found = true;
            found_awaited = awaited;
        }
    }
    return found;
}

/* Outer covers are opened first and shut last: parents stand before what is inside them. */
static int next_job(const Walk *w, int stop, Turn turn)
{
    int best = -1;
    for (int j = 0; j < w->n; j++) {
        if (w->listed[j] || w->begins[j] != stop || turn_of(w, j) != turn)
            continue;
        bool covers = w->jobs[j].kind == JOB_SET_COVER && best >= 0;
        if (best < 0 || (covers && turn == TURN_SHUT && w->jobs[j].place > w->jobs[best].place) ||
            (covers && turn == TURN_OPEN && w->jobs[j].place < w->jobs[best].place))
            best = j;
    }
    return best;
}

bool stops_order(const Garden *garden, int site, Job *jobs, int n_jobs, Arena *arena)
{
    Walk w = {.garden = garden, .site = site, .jobs = jobs, .n = n_jobs};
    size_t keep = arena->used;
    Job *walked = ARENA_NEW(arena, n_jobs, Job);
    w.begins = ARENA_NEW(arena, n_jobs, int);
    w.ends = ARENA_NEW(arena, n_jobs, int);
    w.listed = ARENA_NEW(arena, n_jobs, bool);
    if (arena->failed)
        return false;
    for (int j = 0; j < n_jobs; j++) {
        int from = stop_of(&w, jobs[j].from_place);
        w.ends[j] = stop_of(&w, jobs[j].place);
        w.begins[j] = carries(&jobs[j]) && from != NOWHERE ? from : w.ends[j];
    }
    int stop = NOWHERE, in_hand = NOWHERE, n = 0;
    while (next_stop(&w, in_hand, &stop)) {
        in_hand = NOWHERE;
        for (int turn = 0; turn < TURNS; turn++) {
            for (int j = next_job(&w, stop, (Turn)turn); j >= 0;
                 j = next_job(&w, stop, (Turn)turn)) {
                w.listed[j] = true;
                walked[n++] = jobs[j];
                if (w.ends[j] != stop)
                    in_hand = w.ends[j];
            }
        }
    }
    memcpy(jobs, walked, (size_t)n_jobs * sizeof *jobs);
    arena->used = keep;
    return true;
}
