/* SPDX-License-Identifier: MIT */
#pragma once

#include "store/store.h"

#define STORE_EXPORT_VERSION 1

/*
 * All that the grower told, as JSON text: {"thole-export": 1, "batches": [...], "placements",
 * "positions", "readings", "notes", "losses", "aways", "warnings", "visits", "jobs"}. Times are UTC
 * seconds, names as in the garden, a missing number is null. docs/store.md lists the fields. The
 * caller frees it.
 */
char *store_export(Store *store, GError **error) G_GNUC_WARN_UNUSED_RESULT;
