/* SPDX-License-Identifier: MIT */
/* The snapshot that a plan is made from, put together from what the service holds. */
#pragma once

#include "service/service.h"

/*
 * Makes service->plan from service->current and service->weather, in service->arena, which grows
 * where it is too small.
 */
gboolean situation_plan(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* What a batch that was not touched is by now: by thermal time in the seed tray, then by age. */
Stage situation_grown_stage(const Crop *crop, const Batch *batch, int64_t now_utc);

/* Stages that follow from time and plan: emerged, growing on, settled, ready. */
void situation_stages(Service *service);
