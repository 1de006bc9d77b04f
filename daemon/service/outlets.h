/* SPDX-License-Identifier: MIT */
/*
 * The calendars of thole.conf, [calendar NAME]: one interface over servers, folders and files, each
 * with a state of its own in the store. None waits for another, and nothing waits for any of them.
 * The one file of `tholed --calendar` is apart (publish.h). See docs/caldav.md.
 */
#pragma once

#include "garden/outlets.h"
#include "store/store-outlets.h"

struct Service;
typedef struct Outlets Outlets;

/* Those of the garden, as the store knows them. Where ServiceOptions has no `outlets` they are
 * listed, and nothing is kept. */
Outlets *outlets_new(struct Service *service);
void outlets_free(Outlets *outlets);

/* The garden was read anew: what is new begins, what is gone ends, what is as before goes on, and
 * is tried at once if it was failing. */
void outlets_reload(Outlets *outlets);

/* What the service remembers of events has changed, and is committed. Each outlet gets the events
 * of its grower. */
void outlets_want(Outlets *outlets);

/* The clock was put back: what is to come of any of them is not waited for, but done now. */
void outlets_now(Outlets *outlets);

/* How one stands, to be shown. Valid until the loop turns. */
typedef struct OutletView {
    const OutletSetup *setup;
    const StoreOutlet *row; /* what the store holds of it */
    const GArray *edits;    /* (element-type StoreOutletEdit) what growers did in it */
    gboolean kept;          /* it can be kept at all; else `row->problem` says why not */
    gboolean rehearsal;     /* nothing is kept */
    guint pending;          /* events that are not there as wanted */
    int64_t next_utc;       /* the next try or look; 0: with the next change */
} OutletView;

guint outlets_count(const Outlets *outlets);
OutletView outlets_view(const Outlets *outlets, guint i);

/* For how long no server's calendar of the grower has been as it should, seconds, since all of them
 * fail; 0: one does not, or there is none. */
int64_t outlets_down_s(const Outlets *outlets, int grower);

/* How it stands, in words, and whether that is well (0), a warning (1) or a problem (2). */
char *outlets_words(const Outlets *outlets, guint i, int *ret_level);
