/* SPDX-License-Identifier: MIT */
/*
 * One event as one object of a calendar server (RFC 4791 §4.1): written, read back after others had
 * it in hand, and written again so that what is theirs stays.
 */
#pragma once

#include "calendar/event.h"

#define OBJECT_BYTES_MAX (256 * 1024) /* far beyond any event of ours; chosen */

/* What an object says, whoever wrote it last. */
typedef struct CalendarObject {
    char *uid;
    int64_t start_utc, end_utc; /* end = start where none is given */
    gboolean all_day, repeats;
    gboolean cancelled, done; /* STATUS:CANCELLED; done in any of the ways that clients have */
    char *summary, *location, *description; /* (owned) "" for none */
    GArray *alarm_minutes; /* (owned) of int: before the start, those relative to it */
} CalendarObject;

void calendar_object_free(CalendarObject *object);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CalendarObject, calendar_object_free)

/* The object of an event, under UID instead of its own. Free with g_free(). */
char *calendar_object_write(const EventMemory *event, const char *uid);

/*
 * What TEXT (LENGTH bytes, -1: up to its zero) says: its first VEVENT that is no exception of a
 * repeating one. Times of day without a zone, and whole days, are those of ZONE; a named zone is
 * taken from this machine's data where it is known there, else from the object. NULL with
 * THOLE_ERROR_INVALID where there is no event with a UID and a start, or too much.
 */
CalendarObject *calendar_object_read(const char *text, gssize length, GTimeZone *zone,
                                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * THEIRS, the object as it stands on a server, with what EVENT says put into it: texts, status,
 * categories, and its times unless they are the same already (then a zone, or a whole day, stays
 * as it is). Alarms of ours, as in any of OURS (objects that we wrote; NULL-ended), are replaced;
 * an acknowledgement stays with an alarm that still rings at the same instant, and only then.
 * Other alarms and properties stay. SEQUENCE rises with times or status; DTSTAMP and LAST-MODIFIED
 * become NOW_UTC, or later than theirs. Free with g_free(). NULL where THEIRS cannot be read.
 */
char *calendar_object_merge(const char *theirs, const EventMemory *event, char *const *ours,
                            GTimeZone *zone, int64_t now_utc) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Whether two objects say the same, apart from PRODID, DTSTAMP, LAST-MODIFIED, CREATED and
 * SEQUENCE, and from the order in which it is said. FALSE where one cannot be read.
 */
gboolean calendar_object_same(const char *a, const char *b);
