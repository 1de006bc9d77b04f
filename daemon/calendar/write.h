/* SPDX-License-Identifier: MIT */
/* Events to the bytes of one iCalendar (RFC 5545, RFC 7986). */
#pragma once

#include "calendar/event.h"

/* Who made the calendar. No version in it: an update of the program must not change the file. */
#define CALENDAR_PRODUCT "-//thole//tholed//EN"

/*
 * One VCALENDAR with every shown event of memory (element-type EventMemory), by start, then UID.
 * name: what phones call the calendar; commas, semicolons and backslashes in it become spaces.
 * description (nullable): of the calendar as a whole, one line.
 * The same arguments give the same bytes, in whatever order memory is. Times are in UTC, so
 * that a change of clocks shifts nothing. Never fails; free with g_bytes_unref().
 */
GBytes *calendar_write(const GPtrArray *memory, const char *name, const char *description);

/* The same with another time to look for changes: every REFRESH_H hours. */
GBytes *calendar_write_every(const GPtrArray *memory, const char *name, const char *description,
                             int refresh_h);
