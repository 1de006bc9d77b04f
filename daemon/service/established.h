/* SPDX-License-Identifier: MIT */
/* The end of a batch's story: planted out, watched until no frost is likely to harm it, closed. */
#pragma once

#include "service/service.h"

/* Ends the batches that are past danger, each with a note that says so. In a commit of the store;
 * where one ended, the states are read again. */
gboolean established_close(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
