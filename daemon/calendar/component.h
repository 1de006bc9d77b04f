/* SPDX-License-Identifier: MIT */
/* Parts of an iCalendar that the file and single objects share; libical's types stay in here. */
#pragma once

#include <libical/ical.h>

#include "calendar/event.h"

/* An instant in UTC; libical prints it with its Z. */
icaltimetype calendar_instant(int64_t time_utc);

/* The whole VEVENT of an event; icalcomponent_free(). */
icalcomponent *calendar_event_component(const EventMemory *memory);
