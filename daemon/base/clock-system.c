/* SPDX-License-Identifier: MIT */
/*
 * The real time. Every deadline is an instant of wall time, so one timerfd on CLOCK_REALTIME is
 * armed for the earliest. TFD_TIMER_CANCEL_ON_SET wakes us when the clock is stepped. A resume from
 * sleep need not do so; therefore a tick on the monotonic clock, which stands still during sleep,
 * compares the two clocks now and then. Whatever woke us, everything is worked out anew from the
 * time now; nothing is concluded from the number of expirations. (timerfd_create(2))
 */
#include "base/clock-private.h"

#include <errno.h>
#include <gio/gio.h>
#include <glib-unix.h>
#include <sys/timerfd.h>
#include <time.h>
#include <unistd.h>

#define TICK_S 60 /* chosen: a sleep is noticed within a minute of waking */
#define JUMP_NS (G_GINT64_CONSTANT(1000000000)) /* chosen: the smallest step that is told, 1 s */
#define NS_PER_S (G_GINT64_CONSTANT(1000000000))

typedef struct SystemClock {
    Clock base;
    int fd;
    GSource *fd_source;   /* (owned) */
    GSource *tick_source; /* (owned) */
    int64_t seen_wall_ns; /* CLOCK_REALTIME at the last check */
    int64_t seen_mono_ns; /* CLOCK_MONOTONIC at the same moment */
} SystemClock;

/* time(2) may lag behind a timer by a kernel tick, and an alarm would seem not yet due. */
static int64_t read_ns(clockid_t id)
{
    struct timespec now;

    if (clock_gettime(id, &now) != 0)
        g_error("clock_gettime: %s", g_strerror(errno));
    return (int64_t)now.tv_sec * NS_PER_S + now.tv_nsec;
}

static int64_t floor_s(int64_t ns)
{
    return ns / NS_PER_S - (ns % NS_PER_S < 0);
}

static int64_t system_now(const Clock *clk)
{
    (void)clk;
    return floor_s(read_ns(CLOCK_REALTIME));
}

/*
 * Arms the timer for the first alarm; without one for a time that never comes, so that steps are
 * still told. ECANCELED means that the clock was stepped since we last read: the timer is armed all
 * the same, but that step will not be told again, so the tick is made due now.
 */
static int system_arm(SystemClock *self)
{
    struct itimerspec when = {.it_value = {.tv_sec = G_MAXLONG}};
    int64_t at_utc;

    if (clock_first_alarm(&self->base, &at_utc)) {
        /* All zero would disarm; an instant at or before 1970 is simply past. */
        when.it_value.tv_sec = (time_t)MAX(at_utc, 0);
        when.it_value.tv_nsec = at_utc <= 0 ? 1 : 0;
    }
    if (timerfd_settime(self->fd, TFD_TIMER_ABSTIME | TFD_TIMER_CANCEL_ON_SET, &when, NULL) == 0)
        return 0;
    if (errno != ECANCELED)
        return errno;
    g_source_set_ready_time(self->tick_source, 0);
    return 0;
}

static void system_rearm(SystemClock *self)
{
    const int problem = system_arm(self);

    if (problem != 0)
        g_error("cannot arm the timer: %s", g_strerror(problem));
}

static void system_alarms_changed(Clock *clk)
{
    system_rearm((SystemClock *)clk);
}

/* Compares the two clocks with what they showed last; true when wall time did not run on smoothly.
 */
static gboolean system_check_jump(SystemClock *self, int64_t *ret_from_utc, int64_t *ret_to_utc)
{
    const int64_t wall_ns = read_ns(CLOCK_REALTIME);
    const int64_t mono_ns = read_ns(CLOCK_MONOTONIC);
    const int64_t expected_ns = self->seen_wall_ns + (mono_ns - self->seen_mono_ns);
    const int64_t jump_ns = wall_ns - expected_ns;

    self->seen_wall_ns = wall_ns;
    self->seen_mono_ns = mono_ns;
    if (jump_ns > -JUMP_NS && jump_ns < JUMP_NS)
        return FALSE;
    *ret_from_utc = floor_s(expected_ns);
    *ret_to_utc = floor_s(wall_ns);
    return TRUE;
}

/* One turn: tells a jump, or else fires one alarm. The call comes last: it may free the clock. */
static void system_turn(SystemClock *self)
{
    int64_t from_utc, to_utc;
    ClockCall call;

    if (system_check_jump(self, &from_utc, &to_utc)) {
        system_rearm(self);
        clock_tell_jump(&self->base, from_utc, to_utc);
        return;
    }
    const gboolean due = clock_take_due(&self->base, system_now(&self->base), &call);
    system_rearm(self);
    if (due)
        call.fn(call.data);
}

/* The number read says nothing we need: 8 bytes, none, EAGAIN and ECANCELED all lead to one turn.
 */
static gboolean system_fd_ready(int fd, GIOCondition condition, gpointer data)
{
    uint64_t expirations;
    const ssize_t got = read(fd, &expirations, sizeof expirations);

    (void)condition;
    if (got < 0 && errno != EAGAIN && errno != EINTR && errno != ECANCELED)
        g_error("cannot read the timer: %s", g_strerror(errno));
    system_turn(data);
    return G_SOURCE_CONTINUE;
}

static gboolean system_tick(gpointer data)
{
    system_turn(data);
    return G_SOURCE_CONTINUE;
}

static void system_close(Clock *clk)
{
    SystemClock *self = (SystemClock *)clk;

    g_source_destroy(self->fd_source);
    g_source_unref(self->fd_source);
    g_source_destroy(self->tick_source);
    g_source_unref(self->tick_source);
    close(self->fd);
}

static const ClockClass system_class = {system_now, system_alarms_changed, system_close};

Clock *clock_system_new(GMainContext *context, GError **error)
{
    const int fd = timerfd_create(CLOCK_REALTIME, TFD_NONBLOCK | TFD_CLOEXEC);

    if (fd < 0) {
        g_set_error(error, G_IO_ERROR, g_io_error_from_errno(errno), "cannot create a timer: %s",
                    g_strerror(errno));
        return NULL;
    }

    SystemClock *self = g_new0(SystemClock, 1);
    self->base.class = &system_class;
    g_atomic_ref_count_init(&self->base.refs);
    self->fd = fd;
    self->seen_wall_ns = read_ns(CLOCK_REALTIME);
    self->seen_mono_ns = read_ns(CLOCK_MONOTONIC);

    self->fd_source = g_unix_fd_source_new(fd, G_IO_IN);
    g_source_set_callback(self->fd_source, G_SOURCE_FUNC(system_fd_ready), self, NULL);
    g_source_set_static_name(self->fd_source, "clock timer");
    g_source_attach(self->fd_source, context);

    self->tick_source = g_timeout_source_new_seconds(TICK_S);
    g_source_set_callback(self->tick_source, system_tick, self, NULL);
    g_source_set_static_name(self->tick_source, "clock tick");
    g_source_attach(self->tick_source, context);

    g_autoptr(Clock) clk = &self->base;
    const int problem = system_arm(self);
    if (problem != 0) {
        g_set_error(error, G_IO_ERROR, g_io_error_from_errno(problem), "cannot arm a timer: %s",
                    g_strerror(problem));
        return NULL;
    }
    return g_steal_pointer(&clk);
}
