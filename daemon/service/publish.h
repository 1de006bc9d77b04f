/* SPDX-License-Identifier: MIT */
/* A new plan becomes open visits with lasting identities, store records and calendar events. */
#pragma once

#include "service/service.h"

#define PUBLISH_CALENDAR_NAME "thole" /* as phones show it */

/* The visits that the store has open; what the garden no longer has is withdrawn. */
gboolean publish_load_visits(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Visits and jobs of service->plan are matched with those open, kept in the store; what is gone is
 * withdrawn. */
gboolean publish_visits(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A visit that will not be made: it is withdrawn, and freed. */
gboolean publish_drop_visit(Service *service, OpenVisit *visit,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Predictions as made, and the plan with its reasons. */
gboolean publish_records(Service *service, const char *trigger,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Events of the open visits; remembers them in the store. The file is written by publish_file(),
 * after the commit. */
gboolean publish_events(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean publish_file(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* What the store remembers of events takes the place of what the service does. */
gboolean publish_load_memory(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
