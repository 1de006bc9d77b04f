/* SPDX-License-Identifier: MIT */
/*
 * Deciding, without a network and without a clock: from what was published, what is wanted and what
 * is there to what must be done, and what the grower did. One round:
 *
 *   caldav_sync_listing()   what the server says has changed     → which objects to fetch
 *   caldav_sync_fetched()   each of those
 *   caldav_sync_settle()    what is missing now is judged
 *   caldav_sync_actions()   → what to do; STATE is to be kept before it is done
 *   caldav_sync_done()      what came of each; on a conflict fetch, caldav_sync_decide(), try again
 *
 * A round may break off anywhere; the next one starts again from STATE.
 */
#pragma once

#include "caldav/edit.h"
#include "caldav/state.h"
#include "calendar/event.h"

#define CALDAV_LOST_MIN 4   /* so many gone at once, and none left: lost, not deleted; chosen */
#define CALDAV_NOTES_MAX 50 /* lines of the grower's that are kept with an event; chosen */

/* One event that should stand there, or did: cancelled and ended ones must be among them. */
typedef struct CaldavWanted {
    const EventMemory *event;
    guint edits_seen; /* of the latest CaldavEdit of it that is in `event`'s times */
} CaldavWanted;

typedef struct CaldavListed {
    char *href; /* (owned) path */
    char *etag; /* (owned) (nullable) */
    gboolean gone;
} CaldavListed;

void caldav_listed_free(CaldavListed *listed);

typedef enum CaldavActionKind {
    CALDAV_NOTHING,
    CALDAV_CREATE,
    CALDAV_UPDATE,
    CALDAV_DELETE
} CaldavActionKind;

typedef struct CaldavAction {
    CaldavActionKind kind;
    char *uid, *href; /* (owned) */
    char *text;       /* (owned) (nullable) the body */
    char *if_match;   /* (owned) (nullable) NULL: none is known that could match */
    gboolean look;    /* fetch first, then decide again: nothing guards this write */
} CaldavAction;

void caldav_action_free(CaldavAction *action);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CaldavAction, caldav_action_free)

typedef enum CaldavOutcome {
    CALDAV_OUTCOME_DONE,     /* 200, 201, 204; of a deletion 404 and 410 too */
    CALDAV_OUTCOME_CONFLICT, /* 412: somebody else was there first */
    CALDAV_OUTCOME_REFUSED,  /* the server will not have it, and nothing was changed */
    CALDAV_OUTCOME_UNKNOWN,  /* no answer, or none that says what stands there now */
} CaldavOutcome;

typedef struct CaldavSync {
    CaldavState *state;   /* (unowned) */
    const GArray *wanted; /* (unowned) (element-type CaldavWanted) */
    GTimeZone *zone;      /* (unowned) of times without one */
    int64_t now_utc;
    GPtrArray *edits; /* (unowned) (element-type CaldavEdit) what is found is put behind */
} CaldavSync;

GPtrArray *caldav_edits_new(void); /* frees them */

/*
 * LISTED (element-type CaldavListed) is what changed, or, FULL, all that is there. Gives the paths
 * to fetch; free with g_ptr_array_unref().
 */
GPtrArray *caldav_sync_listing(CaldavSync *sync, const GPtrArray *listed, gboolean full);

/* An object as it is now. TEXT NULL: it is gone; the next listing must then be a full one. */
void caldav_sync_fetched(CaldavSync *sync, const char *href, const char *etag, const char *text,
                         gssize length);

/* An object that the server does not let us read: one of ours is left alone in this round. */
void caldav_sync_unread(CaldavSync *sync, const char *href, const char *etag);

void caldav_sync_settle(CaldavSync *sync);
/* The calendar itself is gone: all of it is to be put again, once it is there. */
void caldav_sync_lost(CaldavSync *sync);

/* All that is to be done (element-type CaldavAction); g_ptr_array_unref(). */
GPtrArray *caldav_sync_actions(CaldavSync *sync);

/* The same of one object by its path. LOOKED: it was fetched just now. Never NULL. */
CaldavAction *caldav_sync_decide(CaldavSync *sync, const char *href, gboolean looked);

/* ETAG (nullable): of what was put, as the server gave it. */
void caldav_sync_done(CaldavSync *sync, const CaldavAction *action, CaldavOutcome outcome,
                      const char *etag);

/* How many events stand there otherwise than they should. */
guint caldav_sync_pending(CaldavSync *sync);
