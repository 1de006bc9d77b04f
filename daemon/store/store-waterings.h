/* SPDX-License-Identifier: MIT */
/* When the trays of batches were watered. */
#pragma once

#include "store/store.h"

/* The trays of a batch were watered. */
typedef struct StoreWatering {
    char batch_id[ID_SIZE];
    int64_t time_utc;
    bool known; /* said by the grower; else taken as done */
} StoreWatering;

/* A second one at the same time only makes it known. */
gboolean store_put_watering(Store *store, const StoreWatering *watering,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_remove_watering(Store *store, const char *batch_id, int64_t time_utc,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;
/* From FROM_UTC on, of every batch, by time. */
gboolean store_load_waterings(Store *store, int64_t from_utc,
                              GArray **ret_waterings /* StoreWatering */,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;
