/* SPDX-License-Identifier: MIT */
/*
 * A visit as the calendar sees it: as it is wanted now, and as it was last published.
 * Plain data. The texts come ready-made; the store keeps EventMemory field by field.
 */
#pragma once

#include <glib.h>
#include <stdint.h>

/* One alarm of an event. Never after the start: some calendars drop those. */
typedef struct EventAlarm {
    int minutes_before; /* whole minutes before the start, 0 … EVENT_ALARM_MINUTES_MAX */
    gboolean urgent;    /* a miss does harm */
    char *text;         /* (owned) what the phone shows */
} EventAlarm;

#define EVENT_ALARM_MINUTES_MAX (7 * 24 * 60) /* a week; chosen */

/* One visit as it should stand in the calendar. */
typedef struct EventWanted {
    char *visit_id; /* (owned) the visit's identity; never used again once ended */
    int64_t start_utc, end_utc;
    int64_t day_end_utc; /* the midnight that ends the local day of the visit's start */
    char *summary;       /* (owned) */
    char *location;      /* (owned) (nullable) */
    char *description;   /* (owned) (nullable) */
    char **categories;   /* (owned) (nullable) */
    GArray *alarms;      /* (owned) (nullable) (element-type EventAlarm) */
    char *whose;         /* (owned) (nullable) the grower's name; NULL: of all who come there */
    char *substance;  /* (owned) changes exactly when the job does, not with a number in a text */
    gboolean answers; /* what was said in the event: its words change also when it is over */
} EventWanted;

/* One event as last published. Everything that is needed to write it again, byte by byte. */
typedef struct EventMemory {
    char *uid;      /* (owned) random UUID; the grammar of RFC 7986 §5.3 */
    char *visit_id; /* (owned) */
    char *whose;    /* (owned) the grower's name; empty: of all who come there */
    int sequence;
    int64_t created_utc, dtstamp_utc, last_modified_utc;
    char *hash;      /* (owned) SHA-256 of the content, as event_memory_hash() gives it */
    char *substance; /* (owned) */
    int64_t start_utc, end_utc, day_end_utc;
    gboolean cancelled; /* withdrawn before it was due: STATUS:CANCELLED, no alarm */
    gboolean ended;     /* has left the calendar for good; its UID and visit id stay used */
    char *summary;      /* (owned) */
    char *location;     /* (owned) empty: none */
    char *description;  /* (owned) empty: none */
    char **categories;  /* (owned) never NULL, may be empty */
    GArray *alarms;     /* (owned) never NULL (element-type EventAlarm), earliest first */
} EventMemory;

/* An empty array of EventAlarm that frees its texts; free with g_array_unref(). */
GArray *event_alarms_new(void);

/* Append an alarm to such an array; text is copied. */
void event_alarms_add(GArray *alarms, int minutes_before, gboolean urgent, const char *text);

/* All fields zero; the caller fills them in. */
EventWanted *event_wanted_new(void);
void event_wanted_free(EventWanted *wanted);

/* Zero but for empty texts, categories and alarms; the store fills it in by field. */
EventMemory *event_memory_new(void);
EventMemory *event_memory_copy(const EventMemory *memory);
void event_memory_free(EventMemory *memory);

/* Whether the event stands in the file: it has not left yet; a cancelled one still does. */
gboolean event_memory_is_shown(const EventMemory *memory);

/*
 * SHA-256, hexadecimal, of the whole published content: times, status, texts, categories, alarms;
 * without UID, DTSTAMP, CREATED, LAST-MODIFIED and SEQUENCE. Free with g_free().
 */
char *event_memory_hash(const EventMemory *memory);

/*
 * text as an iCalendar may hold it: invalid UTF-8 replaced by U+FFFD, every kind of line end made
 * \n, control characters dropped but for \n and the tab (RFC 5545 §3.1). NULL gives "". Free with
 * g_free().
 */
char *event_text_clean(const char *text);

/*
 * The same for names, of a category or a calendar: commas, semicolons, backslashes, tabs and line
 * ends become spaces as well, since readers disagree on their escapes. Free with g_free().
 */
char *event_name_clean(const char *name);

G_DEFINE_AUTOPTR_CLEANUP_FUNC(EventWanted, event_wanted_free)
G_DEFINE_AUTOPTR_CLEANUP_FUNC(EventMemory, event_memory_free)
