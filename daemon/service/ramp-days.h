/* SPDX-License-Identifier: MIT */
/* The record of ramp days: what each night was to a batch, and what each day gave it. */
#pragma once

#include "service/service.h"

#define RAMP_DAYS_KEPT 90 /* of a batch; chosen: a long spring on the way out */

/* Adds `*days` (element-type EndedDay, nullable) to the record in the store, and clears it. */
gboolean ramp_days_keep(Store *store, int64_t as_of_utc, GArray **days,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those of one batch up to now, the oldest first: *ret is an array of PastDay, the caller's. */
gboolean ramp_days_load(const Service *service, const Batch *batch, GArray **ret,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;
