/* SPDX-License-Identifier: MIT */
/*
 * What a calendar server outlet remembers: of each of our events how it stands on the server, as
 * far as we know, and what the grower did to it. The store keeps it as one text; no secret is in
 * it.
 */
#pragma once

#include <glib.h>
#include <stdint.h>

typedef enum CaldavFate {
    CALDAV_UNSENT,  /* not on the server */
    CALDAV_STANDS,  /* on the server, as `text` */
    CALDAV_DROPPED, /* the grower deleted it: never put again */
} CaldavFate;

/* One event of ours. Strings are owned and never NULL; "" says none. */
typedef struct CaldavObject {
    char *uid;      /* of the event */
    int generation; /* above 0: under a UID and a name of its own, the plain ones were refused */
    char *href;     /* path on the server */
    char *etag;     /* as the server gave it; "" unknown */
    char *text;     /* the object as last seen there or delivered; "" unknown or unreadable */
    char **ours;    /* what we have said or may have said, as plain objects; the latest last */
    char *hash;     /* of our content as delivered (EventMemory's hash) */
    /* A write whose outcome is not known: it may stand there or not. */
    char *attempt, *attempt_ours, *attempt_hash;
    gboolean deleting; /* and so for a deletion */
    CaldavFate fate;
    gboolean resent;          /* put again after all were lost at once: next time believed */
    gboolean cancelled, done; /* so marked by the grower: left as it is */
    gboolean pinned;          /* its time is the grower's, until an answer to `edits` is wanted */
    guint edits;              /* how often the grower moved, deleted, cancelled or restored it */
    char *title, *title_over; /* the grower's title, and ours that it stands for */
    char **notes;             /* lines that the grower added, in their order */
    gboolean missing;         /* within a round: not in the listing */
    gboolean unread;          /* within a round: there, but not to be read: left alone */
} CaldavObject;

/* An event in our calendar that is not ours: never touched. "" uid: nothing that we can read. */
typedef struct CaldavOther {
    char *href, *etag, *uid, *hash; /* hash: of its text as last told */
    gboolean missing;               /* within a round */
} CaldavOther;

typedef struct CaldavState {
    char *origin;       /* the address that was given, and the user, where it was found */
    char *collection;   /* address of the calendar; "" not known yet */
    gboolean own;       /* made, or to be made, by us; else given */
    char *token;        /* of the last listing; "" a full one is due */
    GPtrArray *objects; /* (element-type CaldavObject) */
    GPtrArray *others;  /* (element-type CaldavOther) */
    int64_t last_ok_utc;
    guint failures;   /* in a row */
    char *last_error; /* what the last one was */
} CaldavState;

CaldavState *caldav_state_new(void);
void caldav_state_free(CaldavState *state);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CaldavState, caldav_state_free)

/* A new object of it; owned by STATE. */
CaldavObject *caldav_state_add(CaldavState *state, const char *uid);

CaldavObject *caldav_state_by_href(const CaldavState *state, const char *href);
/* By the event's UID, or by the one under which it is published. */
CaldavObject *caldav_state_by_uid(const CaldavState *state, const char *uid);

/* The UID under which it is published; g_free(). */
char *caldav_object_uid(const CaldavObject *object);

/* Replaces an owned text. NULL is taken as "". */
void caldav_set(char **field, const char *text);

/* All of it as one text, and back; THOLE_ERROR_INVALID where the text is none. */
char *caldav_state_write(const CaldavState *state);
CaldavState *caldav_state_read(const char *text, GError **error) G_GNUC_WARN_UNUSED_RESULT;
