/* SPDX-License-Identifier: MIT */
/* Why a batch that is fit to go on stays where it is. Internal to plan/. */
#pragma once

#include "plan/search.h"

/* What refuses a move, in the order in which it is asked. */
typedef enum StayCheck {
    STAY_UNASKED,
    STAY_CARRYING,
    STAY_ROOM,
    STAY_SAFE_SHUT,
    STAY_LIMITS,
    STAY_GAIN
} StayCheck;

/* The offer to a batch that came nearest to being taken. */
typedef struct Stay {
    StayCheck check; /* that refused it; STAY_UNASKED: nothing was offered */
    double over;     /* by how much, of offers that the same check refused */
    Reason reason;
} Stay;

/* A limit without figures refuses `place` at `step`. */
Reason stay_reason(const Board *board, const Window *window, LimitKind limit, int batch, int place,
                   int step);

void stay_refused(Stay *stay, StayCheck check, double over, const Reason *reason);

/* Judged `here` instead of `there`, it passes a limit there; false where it is not its own. */
bool stay_limit(const Board *board, const Window *window, int batch, const BatchResult *here,
                const BatchResult *there, Reason *ret);

/* What came of all offers of a window is the batch's reason, unless an earlier one has a better. */
void stays_note(Board *board, int batch, const Stay *stay);

/* It was offered the same as an equal one, so it stays for the same reason. */
void stays_with(Board *board, int batch, int leader);

/* Batches kept in the building all window, though its site has places outdoors: the cold there
 * where even shut covers do not keep it off. */
bool stays_within(Decision *decision);

/* Of the whole plan, whose visits and jobs are in order: no reason is left with a batch that goes,
 * or is not fit to. */
void stays_settle(Board *board);
