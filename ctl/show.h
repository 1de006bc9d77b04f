/* SPDX-License-Identifier: MIT */
/* What several commands show in the same way. The objects are those of docs/schema/common.json. */
#pragma once

#include "ctl/client.h"

/* A visit with its jobs. WITH_REASONS: each job's reason below it. */
void show_visit(JsonObject *visit, int indent, bool with_reasons);
void show_job(JsonObject *job, int indent, bool with_reason);

/* The batches of the array NAME, one in a line. */
void show_batches(JsonObject *holder, const char *name, const char *units, int indent);

/* "A, B" of those that are not empty. The caller owns it. */
char *show_join(const char *separator, ...) G_GNUC_NULL_TERMINATED;
