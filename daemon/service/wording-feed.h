/* SPDX-License-Identifier: MIT */
/* What is said of the feed, and on the page of a Done link. See wording.h. */
#pragma once

#include "service/wording.h"

/* How a phone gets the calendar, and which phones drop its alarms. ONLY_HERE: no other machine
 * reaches it. */
char *wording_feed(gboolean several, gboolean only_here);

/* "Thu 18:30, plot"; VISIT (nullable): it is over. */
char *wording_link_title(const WordingContext *context, const Visit *visit);

/* Sentences of the page. */
char *wording_link_ask(guint n_jobs);
char *wording_link_button(void);
char *wording_link_kept(void);
char *wording_link_undo(void);
char *wording_link_used(const WordingContext *context, int site, int64_t used_utc);
char *wording_link_nothing_open(void);
char *wording_link_failed(const GError *error /* (nullable) */);
