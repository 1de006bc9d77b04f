/* SPDX-License-Identifier: MIT */
/* The snapshot that a plan is made from, put together from what the service holds. */
#pragma once

#include "service/service.h"

/*
 * Makes service->plan from service->current and service->weather, in service->arena, which grows
 * where it is too small.
 */
gboolean situation_plan(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The same at `now_utc` with service->windows as they are and what is taken as learned of covers,
 * as in a Snapshot: of a service that is only supposed (what-if.h). Writes nothing.
 */
gboolean situation_plan_given(Service *service, int64_t now_utc, const CoverError *covers,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The weather of each site from service->current on; valid as long as service->weather. Owned by
 * the caller. */
SiteOutlook *situation_outlooks(const Service *service) G_GNUC_WARN_UNUSED_RESULT;

/* What a batch that was not touched is by now: by thermal time in the seed tray, then by age. */
Stage situation_grown_stage(const Crop *crop, const Batch *batch, int64_t now_utc);

/* Stages that follow from time and plan: emerged, growing on, settled, ready. */
void situation_stages(Service *service);
