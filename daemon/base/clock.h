/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>
#include <stdint.h>

/*
 * The one source of time. Everything that waits or asks for the hour is given a Clock; there are no
 * other timers in the daemon. Times are whole UTC seconds since 1970.
 */
typedef struct Clock Clock;

typedef void (*ClockFunc)(gpointer data);
typedef void (*ClockJumpFunc)(int64_t from_utc, int64_t to_utc, gpointer data);

/* The time now. */
int64_t clock_now(const Clock *clk);

/*
 * Calls FN once, from the main loop, when the time AT_UTC has come; at the next turn of the loop if
 * it is past already. Due alarms fire one a turn, in order of their time, then of their id. Alarms
 * follow wall time: after a step of the clock each still fires at its own AT_UTC, once. FN may free
 * the clock. Returns an id above 0.
 */
guint clock_add_alarm(Clock *clk, int64_t at_utc, ClockFunc fn, gpointer data);

/* Takes an alarm back. An id that has fired or was removed is ignored, as is 0. */
void clock_remove_alarm(Clock *clk, guint id);

/*
 * FN is called when wall time did not run on smoothly by a second or more: it was stepped, or the
 * machine slept. It is called before any alarm that the jump made due. One function; NULL for none.
 */
void clock_set_jumped(Clock *clk, ClockJumpFunc fn, gpointer data);

/*
 * An asynchronous call is in flight between a hold and its release: a virtual clock stands still
 * meanwhile. A system clock does not care. The release may come from any thread, and after the clock
 * was freed: its memory stays until then.
 */
void clock_hold(Clock *clk);
void clock_release(Clock *clk);

/* Frees the clock; no alarm fires afterwards. NULL is ignored. */
void clock_free(Clock *clk);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Clock, clock_free)

/* The real time, on the loop of CONTEXT (NULL: the default one). */
Clock *clock_system_new(GMainContext *context, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * A time that starts at START_UTC and jumps from alarm to alarm, whenever no other source of
 * CONTEXT (NULL: the default one) has anything to do and nothing holds it.
 */
Clock *clock_virtual_new(GMainContext *context, int64_t start_utc) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The virtual clock never moves past END_UTC. REACHED is called once, when it stands there and no
 * alarm up to it is left. An end in the past means now.
 */
void clock_virtual_set_end(Clock *clk, int64_t end_utc, ClockFunc reached, gpointer data);

/* Steps a virtual clock's wall time by DELTA_S seconds, either way, and calls the jump function. */
void clock_virtual_step_wall(Clock *clk, int64_t delta_s);
