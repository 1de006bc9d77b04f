/* SPDX-License-Identifier: MIT */
/* One plan in the making, in a thread of its own, with the days ahead of each batch. */
#pragma once

#include "base/clock.h"
#include "service/situation.h"

typedef struct Making {
    Situation *situation; /* (owned) what it is made from */
    Arena arena;          /* (owned) its memory; as all below the thread's, until it has arrived */
    Plan plan;            /* lives in `arena` */
    GPtrArray *ahead;     /* (owned) (nullable) as ahead_new() gives it */
    GArray *costs;        /* (owned) (nullable) as edit_costs() gives them */
    gboolean made;        /* else it was stopped, or did not fit */
    struct MakingThread *thread;
} Making;

/* For tests: called in the thread before it begins; it may wait there. */
typedef struct MakingGate {
    void (*fn)(gpointer data);
    gpointer data;
} MakingGate;

/*
 * Begins; SITUATION is taken over. FN is called from the main loop of the caller once it has
 * arrived, and not before this returns; it ends with making_free(). `arena_size`: what the last one
 * needed, 0 not known. Until it is freed a virtual clock stands still.
 */
typedef void (*MakingFunc)(Making *making, gpointer data);
Making *making_start(Clock *clk, Situation *situation, gsize arena_size, const MakingGate *gate,
                     MakingFunc fn, gpointer data) G_GNUC_WARN_UNUSED_RESULT;

/* Its end is of no use any more: it arrives soon, and is not made. */
void making_stop(Making *making);

/* Waits for it; FN is not called any more. */
void making_join(Making *making);

/* Stops it and waits for it, if it has not arrived. NULL is ignored. */
void making_free(Making *making);
