/* SPDX-License-Identifier: MIT */
/* The snapshot that a plan is made from, put together from what the service holds. */
#pragma once

#include "service/service.h"
#include "service/this-night.h"

/*
 * A snapshot with all that it points to: nothing of it is the service's, so that a plan is made
 * from it in a thread of its own while the service goes on.
 */
typedef struct Situation {
    Snapshot snapshot;
    Garden *garden;   /* (owned) */
    GPtrArray *zones; /* (owned) (element-type GTimeZone) per site */
    GPtrArray *kept;  /* (owned) blocks that the snapshot points to */
    ThisNight night;  /* (owned) */
    GArray *usual;    /* (owned) (nullable) windows had the grower wished nothing of visits */
    GArray *wishes;   /* (owned) (nullable, with it) (element-type StoreWish) */
} Situation;

/*
 * Puts down in service->windows when somebody can be where, from now on. The others (owned by the
 * caller): the same without what growers said of visits, and what they said; NULL where nothing.
 */
gboolean situation_windows(Service *service, GArray **ret_usual, GArray **ret_wishes,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * What service->current, weather, windows and visits are at `now_utc`; `covers` is what is taken as
 * learned of them, as in a Snapshot. Writes nothing. NULL: the record could not be read.
 */
Situation *situation_new(Service *service, int64_t now_utc, const CoverError *covers,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;
void situation_free(Situation *situation);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Situation, situation_free)

/*
 * Makes the plan, in any thread. `arena` grows where it is too small; all of *ret lives in it.
 * FALSE: it was stopped, or does not fit: situation_refuse() has the words.
 */
gboolean situation_plan(const Situation *situation, Arena *arena,
                        Plan *ret) G_GNUC_WARN_UNUSED_RESULT;
void situation_refuse(int n_batches, GError **error);

/* The weather of each site from service->current on; valid as long as service->weather. Owned by
 * the caller. */
SiteOutlook *situation_outlooks(const Service *service) G_GNUC_WARN_UNUSED_RESULT;

/* What a batch that was not touched is by now: by thermal time in the seed tray, then by age. */
Stage situation_grown_stage(const Crop *crop, const Batch *batch, int64_t now_utc);

/* Stages that follow from time and plan: emerged, growing on, settled, ready. */
void situation_stages(Service *service);
