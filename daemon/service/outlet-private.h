/* SPDX-License-Identifier: MIT */
/* What the kinds of outlets and outlets.c share. */
#pragma once

#include "base/clock.h"
#include "service/outlets.h"
#include "service/service.h"

typedef struct Outlet Outlet;

/* A kind of outlet. IT is what `open` gave. */
typedef struct OutletWay {
    const char *word; /* in the store */
    /* From the row's state, "" for none; what cannot be read is begun anew. */
    gpointer (*open)(Outlet *outlet, GError **error);
    void (*close)(gpointer it); /* what is under way is broken off */
    /* EVENTS (element-type EventMemory) are to stand there; SEEN: the `edits` of each that are in
     * them. Both are copied. Called after each plan, also where nothing changed. */
    void (*want)(gpointer it, const GPtrArray *events, const guint *seen);
    void (*now)(gpointer it); /* tries at the next turn of the loop */
    guint (*pending)(gpointer it);
    int64_t (*next_utc)(gpointer it);
} OutletWay;

extern const OutletWay outlet_server, outlet_folder, outlet_file;

struct Outlet {
    Service *service; /* (unowned) */
    OutletSetup setup;
    const OutletWay *way;
    gpointer it;   /* (owned) (nullable) none is kept */
    gboolean told; /* what is wanted */
    char *logged;  /* (owned) the problem that was logged last */
    char *found;   /* (owned) (nullable) of a server: the address of the calendar itself */
    StoreOutlet row;
    GArray *edits; /* (owned) (element-type StoreOutletEdit) one an event, by time */
};

/* The outlet's row, and what EDITS (nullable) (element-type CaldavEdit) come to, in one commit. */
gboolean outlet_keep(Outlet *outlet, const GPtrArray *edits,
                     GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A try has ended: what came of it is logged if it is news, and kept with the row. */
void outlet_ended(Outlet *outlet, const GError *error);

/* The one before it in thole.conf that keeps the same calendar; NULL: none does. */
const Outlet *outlet_before(const Outlet *outlet);

/* Tells it what is wanted once more, with what is seen by now. */
void outlet_want(Outlet *outlet);

/* Its jitter's own numbers; g_rand_free(). */
guint32 outlet_seed(const Outlet *outlet);

/* The zone of its grower's home, or of the first site. */
GTimeZone *outlet_zone(const Outlet *outlet);

/* ---- outlet-edits.c ---- */

/* Within a commit: what growers did there, found now. */
gboolean outlet_edits_take(Outlet *outlet, const GPtrArray *edits,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The `edits` of the latest CaldavEdit of that event here that is in what is wanted. */
guint outlet_edits_seen(Outlet *outlet, const char *uid);

/* All of them, as the store has them. */
gboolean outlet_edits_load(Outlet *outlet, GError **error) G_GNUC_WARN_UNUSED_RESULT;
