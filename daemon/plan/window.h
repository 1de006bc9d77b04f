/* SPDX-License-Identifier: MIT */
/*
 * Step indices count half-hours from the snapshot's start. A window of a site runs from one day on
 * which somebody can be there to the next; inside it, segments run from visit to visit.
 */
#pragma once

#include <stdbool.h>
#include <stdint.h>

#define VISITS_MAX 3                           /* in one window */
#define SEGMENTS_MAX (VISITS_MAX + 1)          /* before the first visit, and after each */
#define STRETCHES_MAX 4                        /* of one window in which a visit could be */
#define SLOTS_MAX (STRETCHES_MAX + VISITS_MAX) /* with the visits that the grower fixed */
#define NEVER INT32_MAX                        /* a step that does not come */

/* A visit that the grower fixed, of any site. */
typedef struct FixedVisit {
    int grower, site, step;
} FixedVisit;

/* A stretch in which one visit could be; `step` is where it is tried first. */
typedef struct Slot {
    int grower, from, to, step;
    bool helped;       /* as of its VisitWindow */
    int64_t fixed_utc; /* a visit stands exactly here; 0: none needs to */
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
    unsigned fixed; /* bit i: slot i is fixed */
    Slot slots[SLOTS_MAX];
} Window;

static inline bool slot_has(const Slot *slot, int step)
{
    return step >= slot->from && step <= slot->to;
}

/* The slot of a visit that the grower fixed, or NULL. */
static inline const Slot *window_fixed(const Window *w, int grower, int step)
{
    for (int i = 0; w->fixed != 0 && i < w->n_slots; i++) {
        const Slot *slot = &w->slots[i];
        if (slot->fixed_utc != 0 && slot->grower == grower && slot->step == step)
            return slot;
    }
    return (const Slot *)0;
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
