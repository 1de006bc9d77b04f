/* SPDX-License-Identifier: MIT */
/* The calendars of thole.conf, as the interface shows them. */
#pragma once

#include <json-glib/json-glib.h>

#include "service/service.h"

/* One object each, as docs/schema/calendar.json has them. The caller owns it. */
JsonArray *api_outlets(const Service *service);
