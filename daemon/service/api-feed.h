/* SPDX-License-Identifier: MIT */
/* The feed in replies. Internal to api*.c. */
#pragma once

#include "control/control.h"
#include "service/service.h"

/* The member `feed` of GET /v1/calendar; the caller's. */
JsonNode *api_feed(const Service *service);

/* How it stands, in a sentence for tholectl check; NULL: thole.conf has none. The caller owns it.
 */
char *api_feed_words(const Service *service, gboolean *ret_well);

/* The reply to GET /v1/calendar. */
JsonNode *api_calendar(const Service *service);
