/* SPDX-License-Identifier: MIT */
/* What the calendar tests share: a checker of the standard's rules, and events to begin with. */
#pragma once

#include "calendar/event.h"

/*
 * NULL when the bytes keep the rules of RFC 5545 and RFC 7986 that bind a producer of a calendar
 * without METHOD; else the first complaint, to be freed. Knows nothing of the writer.
 */
char *calendar_check(const char *bytes, gsize length);

/* Half an hour at start_utc, one alarm 20 minutes before; the day ends at the next midnight UTC. */
EventWanted *calendar_sample(const char *visit_id, int64_t start_utc, const char *summary,
                             const char *substance);

/* An array for such visits that owns them. */
GPtrArray *calendar_sample_array(void);

/* Everything published of an event in one text, made without the hash. */
char *calendar_content(const EventMemory *event);

/* The seed of a property test: THOLE_TEST_SEED, else a new one; printed either way. */
guint32 calendar_seed(const char *test);
