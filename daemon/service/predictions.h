/* SPDX-License-Identifier: MIT */
/* What is kept of a plan's temperatures, so that it can be learned from once they were read. */
#pragma once

#include "service/service.h"

/*
 * Lows and highs of the next days, as made: of each place by the plan, of each site's open air by
 * the forecast in use, once for each issue.
 */
gboolean predictions_keep(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
