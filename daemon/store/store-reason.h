/* SPDX-License-Identifier: MIT */
/* Reasons as JSON text, with names for indices; a number that is not finite is null. */
#pragma once

#include "store/store-plan.h"

gboolean store_reason_to_json(const StoreScope *scope, const Reason *reason, char **ret_json,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_reason_from_json(const StoreScope *scope, const char *json, Reason *ret_reason,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The index of a batch by its id; -1 where the scope has none. */
int store_find_batch(const StoreScope *scope, const char *batch_id);
