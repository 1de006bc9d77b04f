/* SPDX-License-Identifier: MIT */
/* What is said to those who share the work, and of those who are away. See wording.h. */
#pragma once

#include "service/wording.h"

/* "; Kim comes home from 08:00 to 09:00", "; Kim comes to the plot …". */
char *wording_helper_hours(const WordingContext *context, const char *helper, int site,
                           int from_min, int to_min);

/* One sentence for a helper, to be passed on as it is: what to do, in walking order, without
 * reasons. */
char *wording_helper(const WordingContext *context, const char *helper, const Visit *visit,
                     const Job *jobs, int n_jobs);

/* Why a batch is still indoors: no room for it, in which place, who stands there, since when, and
 * when it goes out as planned. `reason` is a note of the plan, see plan/waiting.c. */
char *wording_waiting(const WordingContext *context, const Reason *reason, int64_t since_utc);

/* On a visit: that nobody comes to the site after it until `again_utc` (0: not in these days). */
char *wording_last_visit(const WordingContext *context, int site, int64_t again_utc);

/* Ahead of it: "Last visit home: Thu 17:30, good until Mon 07:00." */
char *wording_last_before(const WordingContext *context, int site, int64_t visit_utc,
                          int64_t again_utc);
