/* SPDX-License-Identifier: MIT */
/* What the desktop says. The sentences are those of wording.h; see there for what is given back. */
#pragma once

#include "service/wording.h"

/* The labels of what can be chosen. WORDING_SEEN goes with the click on the text itself. */
#define WORDING_DONE "Done"
#define WORDING_LATER "Later (15 min)"
#define WORDING_SEEN "Seen"

/* Below the summary: where and when, what to take along, the jobs with a reason each. */
char *wording_notice(const WordingContext *context, const Visit *visit, const Job *jobs,
                     int n_jobs);

/* The test alarm: on the desktop now, and in the calendar at `utc`. */
char *wording_test_summary(void);
char *wording_test_notice(const WordingContext *context, int64_t utc);
char *wording_test_description(void);

/* Whether a frost is so near, or there, that nobody can come before it; what is said then. */
bool wording_is_too_late(const WordingContext *context, const Job *job);
char *wording_too_late(const WordingContext *context, const Job *job);
char *wording_too_late_summary(const WordingContext *context, const Job *job);
/* That, and why. */
char *wording_too_late_notice(const WordingContext *context, const Job *job);
