/* SPDX-License-Identifier: MIT */
/* Open visits as the calendar wants them, and events as the store remembers them. */
#pragma once

#include "calendar/event.h"
#include "service/service.h"

/* (element-type EventWanted) one for each visit that is not begun, and one for each question still
 * open. */
GPtrArray *event_text_wanted(Service *service);

/* Visit ids of events that stand for no visit of the store. */
#define EVENT_ASK_PREFIX "ask-"     /* and the visit's id */
#define EVENT_ALERT_PREFIX "alert-" /* and what event_text_alert_id() has there */
#define EVENT_TEST_PREFIX "test-"

/* The id of an alert's event when it is there for the first time; "-2" is added for the second. */
char *event_text_alert_id(const Service *service, const Job *job);

/* Whether an event is in the calendar of a grower; -1: everybody's. A visit is its grower's, what
 * belongs to none concerns all who come to that site. */
gboolean event_text_is_for(const Service *service, const EventMemory *event, int grower);

gboolean event_text_remember(Store *store, const EventMemory *memory,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean event_text_load(Store *store, GPtrArray *memory, GError **error) G_GNUC_WARN_UNUSED_RESULT;
