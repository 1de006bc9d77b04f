/* SPDX-License-Identifier: MIT */
/* What reading and merging of objects share. */
#pragma once

#include <glib.h>
#include <libical/ical.h>
#include <stdint.h>

#include "calendar/object.h"

/* calendar_object_read(), and the VCALENDAR that it was read from. NULL: neither. */
CalendarObject *calendar_object_open(const char *text, gssize length, GTimeZone *zone,
                                     icalcomponent **ret_calendar, GError **error);

/* A VCALENDAR; NULL where TEXT is none. icalcomponent_free(). */
icalcomponent *calendar_object_parse(const char *text);

/* Its event, inside of it; NULL for none. */
icalcomponent *calendar_object_event(icalcomponent *calendar);

/* The instant of a DTSTART or DTEND of CALENDAR; what has no zone is of ZONE. */
int64_t calendar_object_instant(icalcomponent *calendar, icalproperty *property, GTimeZone *zone);

/* Whole minutes before the start; FALSE for an alarm at an instant of its own. */
gboolean calendar_alarm_minutes(icalcomponent *alarm, int *ret_minutes);

/* The text of a component; g_free(). */
char *calendar_component_text(icalcomponent *calendar);
