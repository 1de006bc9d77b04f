/* SPDX-License-Identifier: MIT */
/*
 * A clock that stands still while there is anything to do, and then jumps to the next alarm. It is
 * one source of the lowest priority there is: the loop comes to it only when no other is ready.
 * Each turn fires one alarm and looks at the list anew, so an alarm may add and remove others.
 */
#include "base/clock-private.h"

typedef struct VirtualClock {
    Clock base;
    GSource *source; /* (owned) */
    int64_t now_utc;
    int64_t end_utc;
    ClockFunc reached; /* (nullable) until called */
    gpointer reached_data;
} VirtualClock;

typedef struct VirtualSource {
    GSource base;
    VirtualClock *clk; /* its owner */
} VirtualSource;

static int64_t virtual_now(const Clock *clk)
{
    return ((const VirtualClock *)clk)->now_utc;
}

/* The source looks at the list itself, at each turn of the loop. */
static void virtual_alarms_changed(Clock *clk)
{
    (void)clk;
}

static void virtual_close(Clock *clk)
{
    VirtualClock *self = (VirtualClock *)clk;

    g_source_destroy(self->source);
    g_source_unref(self->source);
}

static const ClockClass virtual_class = {virtual_now, virtual_alarms_changed, virtual_close};

/* The last instant that alarms may still fire at. */
static int64_t virtual_limit(const VirtualClock *self)
{
    return MAX(self->now_utc, self->end_utc);
}

static gboolean virtual_is_ready(const VirtualClock *self)
{
    int64_t at_utc;

    if (g_atomic_int_get(&self->base.holds) > 0)
        return FALSE;
    return self->reached ||
           (clock_first_alarm(&self->base, &at_utc) && at_utc <= virtual_limit(self));
}

static gboolean virtual_prepare(GSource *source, int *ret_timeout_ms)
{
    *ret_timeout_ms = -1;
    return virtual_is_ready(((VirtualSource *)source)->clk);
}

static gboolean virtual_check(GSource *source)
{
    return virtual_is_ready(((VirtualSource *)source)->clk);
}

/* The call comes last: it may free the clock. */
static gboolean virtual_dispatch(GSource *source, GSourceFunc unused_fn, gpointer unused_data)
{
    VirtualClock *self = ((VirtualSource *)source)->clk;
    ClockCall call;
    int64_t at_utc;

    (void)unused_fn;
    (void)unused_data;
    if (clock_first_alarm(&self->base, &at_utc) && at_utc <= virtual_limit(self)) {
        self->now_utc = MAX(self->now_utc, at_utc);
        if (clock_take_due(&self->base, self->now_utc, &call))
            call.fn(call.data);
    } else if (self->reached) {
        self->now_utc = virtual_limit(self);
        g_steal_pointer (&self->reached)(self->reached_data);
    }
    return G_SOURCE_CONTINUE;
}

static GSourceFuncs virtual_source_funcs = {
    .prepare = virtual_prepare,
    .check = virtual_check,
    .dispatch = virtual_dispatch,
};

Clock *clock_virtual_new(GMainContext *context, int64_t start_utc)
{
    VirtualClock *self = g_new0(VirtualClock, 1);

    self->base.class = &virtual_class;
    g_atomic_ref_count_init(&self->base.refs);
    self->now_utc = start_utc;
    self->end_utc = INT64_MAX;
    self->source = g_source_new(&virtual_source_funcs, sizeof(VirtualSource));
    ((VirtualSource *)self->source)->clk = self;
    g_source_set_priority(self->source, G_MAXINT);
    g_source_set_static_name(self->source, "virtual clock");
    g_source_attach(self->source, context);
    return &self->base;
}

void clock_virtual_set_end(Clock *clk, int64_t end_utc, ClockFunc reached, gpointer data)
{
    VirtualClock *self = (VirtualClock *)clk;

    g_return_if_fail(clk->class == &virtual_class);
    self->end_utc = end_utc;
    self->reached = reached;
    self->reached_data = data;
}

void clock_virtual_step_wall(Clock *clk, int64_t delta_s)
{
    VirtualClock *self = (VirtualClock *)clk;

    g_return_if_fail(clk->class == &virtual_class);
    const int64_t from_utc = self->now_utc;
    self->now_utc += delta_s;
    clock_tell_jump(clk, from_utc, self->now_utc);
}
