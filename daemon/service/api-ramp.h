/* SPDX-License-Identifier: MIT */
/* The ramp of one batch, night by night: as it was, and as it is planned. Internal to api*.c. */
#pragma once

#include <json-glib/json-glib.h>

#include "service/service.h"

/* The array `days` of a batch's reply, the caller's; `index` is that of the batch. NULL and an
 * error where the record cannot be read. */
JsonArray *api_ramp_days(const Service *service, const Batch *batch, int index,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;
