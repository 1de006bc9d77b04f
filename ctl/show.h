/* SPDX-License-Identifier: MIT */
/* What several commands show in the same way. The objects are those of docs/schema/common.json. */
#pragma once

#include "ctl/client.h"

/* A visit with its jobs. WITH_REASONS: each job's reason below it. */
void show_visit(JsonObject *visit, int indent, bool with_reasons);
void show_job(JsonObject *job, int indent, bool with_reason);

/* How the jobs of VISITS, if any, are told to be done. */
void show_how_to_report(GPtrArray *visits);

/* Adds the objects of HOLDER's array NAME, which stay its own. */
void show_gather(GPtrArray *objects, JsonObject *holder, const char *name);

/* Batches, one row each; nothing where there are none. */
void show_batches(GPtrArray *batches, const char *units);

/* What the licences of the data in REPLY ask to be shown beside them; nothing where there is none.
 */
void show_credits(JsonObject *reply);

/* "A, B" of those that are not empty. The caller owns it. */
char *show_join(const char *separator, ...) G_GNUC_NULL_TERMINATED;
