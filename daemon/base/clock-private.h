/* SPDX-License-Identifier: MIT */
#pragma once

#include "base/clock.h"

/* What the two clocks share. Only clock*.c includes this. */

typedef struct ClockClass {
    int64_t (*now)(const Clock *clk);
    void (*alarms_changed)(Clock *clk);
    void (*close)(Clock *clk); /* its sources go; its memory may be needed yet */
} ClockClass;

struct Clock {
    const ClockClass *class;
    GList *alarms; /* (owned) (element-type Alarm), by time, then id */
    guint last_id;
    gint holds;           /* atomic: a call in flight may end in a thread of its own */
    gatomicrefcount refs; /* the owner and each hold */
    ClockJumpFunc jumped; /* (nullable) */
    gpointer jumped_data;
};

/* One call that has fallen due. */
typedef struct ClockCall {
    ClockFunc fn;
    gpointer data;
} ClockCall;

/* The time of the first alarm; false when there is none. */
gboolean clock_first_alarm(const Clock *clk, int64_t *ret_at_utc);

/* Takes the first alarm off the list if it is due at NOW_UTC; the caller makes the call. */
gboolean clock_take_due(Clock *clk, int64_t now_utc, ClockCall *ret_call);

void clock_tell_jump(const Clock *clk, int64_t from_utc, int64_t to_utc);
