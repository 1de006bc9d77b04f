/* SPDX-License-Identifier: MIT */
/* What the grower did in the calendar, as plain structs for the service to act upon. */
#pragma once

#include <glib.h>
#include <stdint.h>

typedef enum CaldavEditKind {
    CALDAV_MOVED,     /* to start_utc … end_utc; a whole day: all_day */
    CALDAV_DELETED,   /* that visit will not happen */
    CALDAV_CANCELLED, /* the same, by a mark on the event */
    CALDAV_DONE,      /* marked as done */
    CALDAV_RESTORED,  /* is there again after one of these three */
    CALDAV_RENAMED,   /* text: the new title; "": ours again */
    CALDAV_SAID_OK,   /* a line in the notes, from here on; text: the line */
    CALDAV_SAID_MISSED,
    CALDAV_SAID_WATERED,
    CALDAV_SAID_READING, /* place, temperature_c */
    CALDAV_SAID_OTHER,
    CALDAV_OTHER_SEEN, /* a plain event of the grower's, new or changed; text: its title */
    CALDAV_OTHER_GONE,
    CALDAV_LOST, /* all our events were gone at once; they are put again */
} CaldavEditKind;

typedef struct CaldavEdit {
    CaldavEditKind kind;
    char *uid;   /* (owned) of our event, as its EventMemory has it; of a plain one its own */
    guint edits; /* put into CaldavWanted once this is taken into account; 0: needs no answer */
    int64_t start_utc, end_utc;
    gboolean all_day, repeats;
    char *text;             /* (owned) (nullable) */
    char *location, *notes; /* (owned) (nullable) of a plain event */
    char *place; /* (owned) (nullable) of a reading: what was written before the number */
    double temperature_c;
} CaldavEdit;

void caldav_edit_free(CaldavEdit *edit);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CaldavEdit, caldav_edit_free)

/*
 * What a line in the notes says: "ok", "missed", "watered", in either case, with or without a mark
 * behind, or a name and a temperature ("frame -1.5", a comma and "−" too, "°C" or "C" or nothing
 * behind, −60 … 60). Anything else is CALDAV_SAID_OTHER. The place is for the caller to free.
 */
CaldavEditKind caldav_read_line(const char *line, char **ret_place, double *ret_temperature_c);
