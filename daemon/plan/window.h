/* SPDX-License-Identifier: MIT */
/*
 * Step indices count half-hours from the snapshot's start. A window of a site runs from one day on
 * which somebody can be there to the next; inside it, segments run from visit to visit.
 */
#pragma once

#include <stdbool.h>
#include <stdint.h>

#define VISITS_MAX 3                  /* in one window */
#define SEGMENTS_MAX (VISITS_MAX + 1) /* before the first visit, and after each */
#define SLOTS_MAX 4                   /* stretches of one window in which a visit could be */
#define NEVER INT32_MAX               /* a step that does not come */

/* A stretch in which one visit could be; `step` is where it is tried first. */
typedef struct Slot {
    int grower, from, to, step;
    bool helped; /* as of its VisitWindow */
} Slot;

typedef struct Window {
    int site;
    int32_t day;
    int first, end; /* the state is carried to `end` */
    int eval_end;   /* judged to here: the ramp day that `end` cuts is closed first */
    int cap;        /* visits allowed, but to keep the risk limits */
    bool joins;     /* a ramp day ends at eval_end, and is judged here */
    int ordinal;    /* of its site, 0 the present one */
    int n_slots;
    Slot slots[SLOTS_MAX];
} Window;

static inline bool slot_has(const Slot *slot, int step)
{
    return step >= slot->from && step <= slot->to;
}

/* Whether a helper makes the visit. */
static inline bool window_is_helped(const Window *w, int grower, int step)
{
    for (int i = 0; i < w->n_slots; i++) {
        const Slot *slot = &w->slots[i];
        if (slot->helped && slot->grower == grower && step >= slot->from && step <= slot->to)
            return true;
    }
    return false;
}
