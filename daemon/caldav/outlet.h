/* SPDX-License-Identifier: MIT */
/*
 * One grower's calendar on a server, kept as the plan wants it and as the grower edits it. Rounds
 * are run when something new is wanted, every `poll_s`, and after a failure with longer and longer
 * pauses; one at a time, on the caller's main context, which is never blocked. See docs/caldav.md.
 */
#pragma once

#include "base/clock.h"
#include "caldav/sync.h"

#define CALDAV_POLL_S 900              /* chosen: most phones look no oftener */
#define CALDAV_RETRY_FIRST_S 60        /* doubled with each failure; chosen */
#define CALDAV_RETRY_LAST_S (6 * 3600) /* chosen */
#define CALDAV_RETRY_REFUSED_S 900     /* a wrong password is not tried oftener; chosen */

/* All copied. */
typedef struct CaldavSettings {
    const char *address;     /* a host, an address, or user@host */
    const char *user;        /* (nullable) NULL: no authentication */
    const char *secret_path; /* (nullable) as paths_secret() gives it; read anew in each round */
    const char *name;        /* of a calendar that we make */
    const char *colour;      /* (nullable) #RRGGBB */
    const char *user_agent;
    GTimeZone *zone; /* of times that a client wrote without one */
    guint poll_s;    /* 0: CALDAV_POLL_S */
    guint idle_s;    /* 0: DAV_IDLE_S */
    guint32 seed;    /* of the jitter */
} CaldavSettings;

typedef struct CaldavHooks {
    /*
     * STATE and what EDITS (element-type CaldavEdit, may be empty) tell must be kept in one commit:
     * before a write goes out, and after it. FALSE: it could not; the round ends, and the edits are
     * told again. May call caldav_outlet_want(), and not free the outlet.
     */
    gboolean (*keep)(const CaldavState *state, const GPtrArray *edits, gpointer data,
                     GError **error);
    /* (nullable) A round has ended; ERROR NULL: all stands there as it should. */
    void (*ended)(const GError *error, gpointer data);
} CaldavHooks;

typedef struct CaldavOutlet CaldavOutlet;

/*
 * STATE (nullable: nothing is known) is taken over; that of another address or user is begun anew.
 * HOOKS are copied, CLK must outlive it. THOLE_ERROR_INVALID where the address is none that is safe.
 * Nothing is done before caldav_outlet_want().
 */
CaldavOutlet *caldav_outlet_new(const CaldavSettings *settings, CaldavState *state, Clock *clk,
                                const CaldavHooks *hooks, gpointer data,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A round under way is broken off; what it kept stands. No hook is called any more. */
void caldav_outlet_free(CaldavOutlet *outlet);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(CaldavOutlet, caldav_outlet_free)

/*
 * What should stand there: EVENTS (element-type EventMemory), cancelled and ended ones too; of each
 * EDITS_SEEN (as many, or NULL for all 0). Copied. A round begins at the next turn of the loop,
 * unless the outlet waits after a failure.
 */
void caldav_outlet_want(CaldavOutlet *outlet, const GPtrArray *events, const guint *edits_seen);

/* A round at the next turn of the loop, whatever it waits for. */
void caldav_outlet_now(CaldavOutlet *outlet);

const CaldavState *caldav_outlet_state(const CaldavOutlet *outlet);
gboolean caldav_outlet_busy(const CaldavOutlet *outlet);
int64_t caldav_outlet_next_utc(const CaldavOutlet *outlet); /* of its next round; 0 none is set */
guint caldav_outlet_pending(CaldavOutlet *outlet); /* events that are not there as wanted */
