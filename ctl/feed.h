/* SPDX-License-Identifier: MIT */
#pragma once

#include "ctl/client.h"

/* What the reply to GET /v1/calendar has of the feed; nothing where none is served. */
void show_feed(JsonObject *calendar, const Call *call);
