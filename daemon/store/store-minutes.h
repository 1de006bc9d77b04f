/* SPDX-License-Identifier: MIT */
/* How long visits took, as the grower reported it. */
#pragma once

#include "store/store.h"

typedef struct StoreMinutes {
    char visit_id[ID_SIZE];
    int site; /* -1: the garden no longer has it */
    int64_t time_utc;
    double minutes;      /* of the whole visit */
    double jobs_minutes; /* what its jobs are reckoned with */
} StoreMinutes;

/* A second report of a visit replaces the first. */
gboolean store_put_minutes(Store *store, const Garden *garden, const StoreMinutes *minutes,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The last MOST reports of a site, the newest first. */
gboolean store_load_minutes(Store *store, const Garden *garden, int site, int most,
                            GArray **ret_minutes /* StoreMinutes */,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;
