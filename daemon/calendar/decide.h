/* SPDX-License-Identifier: MIT */
/*
 * What becomes of every calendar event when a new plan is there. Decides only; writes nothing,
 * reads no clock.
 *
 *  - A visit seen first gets a new random UID and SEQUENCE 0.
 *  - A visit whose time or job changed: SEQUENCE + 1. Other words or alarms for the same job at
 *    the same time: SEQUENCE stays. DTSTAMP and LAST-MODIFIED move exactly when the content does.
 *  - A visit withdrawn before its start is cancelled: SEQUENCE + 1, no alarm. One that has begun
 *    or is over stays as it is.
 *  - Every event leaves when the local day of its visit is past. What was cancelled or has left
 *    stays so: neither its UID nor its visit id comes back.
 */
#pragma once

#include "calendar/event.h"

typedef enum CalendarChangeKind {
    CALENDAR_ADDED,
    CALENDAR_MOVED,    /* other start or end */
    CALENDAR_REVISED,  /* same time, another job */
    CALENDAR_REWORDED, /* same time, same job: other words, figures or alarms */
    CALENDAR_CANCELLED,
    CALENDAR_LEFT, /* its day is past */
} CalendarChangeKind;

typedef struct CalendarChange {
    CalendarChangeKind kind;
    char *uid, *visit_id;    /* (owned) */
    gboolean urgent;         /* an urgent alarm was there before or is there now */
    gboolean phone_may_miss; /* an alarm, old or new, falls due before phones surely know */
    int64_t first_alarm_utc; /* of the event as it now is; 0 none */
} CalendarChange;

void calendar_change_free(CalendarChange *change);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CalendarChange, calendar_change_free)

/*
 * Take every event from memory (element-type EventMemory) to what wanted (element-type EventWanted)
 * asks for at now_utc. lag_s: how long a phone may take to see a change, s; it only sets
 * phone_may_miss. Wanted visits that are over already are passed by: they add and change nothing,
 * but for an event that `answers` and still stands.
 *
 * Gives the whole new memory, ended events included, in the old order with new ones behind, and
 * what changed; both caller-owned, with free functions set. The arguments stay as they are.
 * FALSE, nothing decided, with THOLE_ERROR_INVALID when a wanted visit lacks an id, comes twice,
 * ends before it starts, or has an impossible time or alarm; with THOLE_ERROR_CONFLICT when it
 * carries the id of one that was cancelled or has left, and is not over.
 */
gboolean calendar_decide(const GPtrArray *memory, const GPtrArray *wanted, int64_t now_utc,
                         int64_t lag_s, GPtrArray **ret_memory, GPtrArray **ret_changes,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Whether the visit id is used up: its event was cancelled or has left. A planned visit must then
 * get a new id, whatever it resembles.
 */
gboolean calendar_visit_ended(const GPtrArray *memory, const char *visit_id);
