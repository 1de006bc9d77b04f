/* SPDX-License-Identifier: MIT */
/*
 * What growers do to our events in a calendar, taken at its word: a visit moved, left out, offered,
 * reported; a line in its notes. What cannot be is answered, in the event and by tholectl.
 */
#pragma once

#include "caldav/edit.h"
#include "service/service.h"
#include "store/store-wishes.h"

/*
 * Keeps what the edits mean, inside the caller's transaction, and asks for a plan. `grower`: whose
 * calendar it is, -1 everybody's. An edit that makes no sense is no error: it is answered. FALSE:
 * the store failed, and the caller rolls back and calls edits_undo().
 */
gboolean edits_take(Service *service, int grower, const GPtrArray *edits /* CaldavEdit */,
                    GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* After a rollback: visits, batches and what was learned are as the store has them. */
void edits_undo(Service *service);

/* The number of the last edit of an event that a plan has answered; 0 none, or it is not known. */
guint edits_seen(const Service *service, const char *uid);

/* The plan is installed: every edit taken is answered, and costs what `costs` (nullable) says. */
gboolean edits_answered(Service *service, const GArray *costs /* EditCost */,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;
