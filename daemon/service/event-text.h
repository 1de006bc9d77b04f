/* SPDX-License-Identifier: MIT */
/* Open visits as the calendar wants them, and events as the store remembers them. */
#pragma once

#include "calendar/event.h"
#include "service/service.h"

/* (element-type EventWanted) one for each visit that is not begun, and one for each question still
 * open. */
GPtrArray *event_text_wanted(Service *service);

gboolean event_text_remember(Store *store, const EventMemory *memory,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean event_text_load(Store *store, GPtrArray *memory, GError **error) G_GNUC_WARN_UNUSED_RESULT;
