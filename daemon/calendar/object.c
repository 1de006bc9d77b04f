/* SPDX-License-Identifier: MIT */
#include "calendar/object.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "calendar/component.h"
#include "calendar/object-private.h"
#include "calendar/write.h"

void calendar_object_free(CalendarObject *object)
{
    if (object == NULL)
        return;
    g_free(object->uid);
    g_free(object->summary);
    g_free(object->location);
    g_free(object->description);
    g_clear_pointer(&object->alarm_minutes, g_array_unref);
    g_free(object);
}

char *calendar_component_text(icalcomponent *calendar)
{
    char *made = icalcomponent_as_ical_string_r(calendar);
    char *text = g_strdup(made);
    free(made);
    return text;
}

char *calendar_object_write(const EventMemory *event, const char *uid)
{
    g_autoptr(EventMemory) copy = event_memory_copy(event);
    icalcomponent *calendar = icalcomponent_new(ICAL_VCALENDAR_COMPONENT);

    g_free(copy->uid);
    copy->uid = g_strdup(uid);
    icalcomponent_add_property(calendar, icalproperty_new_version("2.0"));
    icalcomponent_add_property(calendar, icalproperty_new_prodid(CALENDAR_PRODUCT));
    icalcomponent_add_component(calendar, calendar_event_component(copy));
    char *text = calendar_component_text(calendar);
    icalcomponent_free(calendar);
    return text;
}

/* ---- reading ---- */

/* Whether each BEGIN has its END: of others libical complains on standard error, line by line. */
static gboolean is_whole(const char *text)
{
    int depth = 0;

    for (const char *line = text; line != NULL; line = strchr(line, '\n')) {
        line += *line == '\n';
        if (g_ascii_strncasecmp(line, "BEGIN:", 6) == 0)
            depth++;
        else if (g_ascii_strncasecmp(line, "END:", 4) == 0 && --depth < 0)
            return FALSE;
    }
    return depth == 0;
}

icalcomponent *calendar_object_parse(const char *text)
{
    icalcomponent *calendar = is_whole(text) ? icalparser_parse_string(text) : NULL;

    if (calendar != NULL && icalcomponent_isa(calendar) != ICAL_VCALENDAR_COMPONENT) {
        icalcomponent_free(calendar);
        return NULL;
    }
    if (calendar != NULL)
        icalcomponent_strip_errors(calendar);
    return calendar;
}

icalcomponent *calendar_object_event(icalcomponent *calendar)
{
    icalcomponent *event = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);

    while (event != NULL &&
           icalcomponent_get_first_property(event, ICAL_RECURRENCEID_PROPERTY) != NULL)
        event = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT);
    return event;
}

/*
 * A zone of this machine's data: the id itself, or its end behind a maker's prefix. An id is looked
 * up as a file, so it must not lead out of the folder of zones.
 */
static GTimeZone *known_zone(const char *tzid)
{
    const char *usual = G_CSET_A_2_Z G_CSET_a_2_z G_CSET_DIGITS "_+-/.";

    if (tzid[strspn(tzid, usual)] != '\0' || strstr(tzid, "..") != NULL)
        return NULL;
    for (const char *at = tzid; at != NULL && *at != '\0'; at = strchr(at, '/')) {
        at += *at == '/';
        GTimeZone *zone = strchr(at, '/') != NULL ? g_time_zone_new_identifier(at) : NULL;
        if (zone != NULL)
            return zone;
    }
    return NULL;
}

int64_t calendar_object_instant(icalcomponent *calendar, icalproperty *property, GTimeZone *zone)
{
    icaltimetype time = icalvalue_get_datetime(icalproperty_get_value(property));
    const icalparameter *named = icalproperty_get_first_parameter(property, ICAL_TZID_PARAMETER);
    const char *tzid = named != NULL ? icalparameter_get_tzid(named) : NULL;
    g_autoptr(GTimeZone) local = NULL;

    if (icaltime_is_utc(time))
        return (int64_t)icaltime_as_timet_with_zone(time, icaltimezone_get_utc_timezone());
    if (tzid != NULL && !time.is_date) {
        local = known_zone(tzid);
        icaltimezone *theirs = local == NULL ? icalcomponent_get_timezone(calendar, tzid) : NULL;
        if (theirs != NULL)
            return (int64_t)icaltime_as_timet_with_zone(time, theirs);
    }
    int minute = time.is_date ? 0 : time.hour * 60 + time.minute;
    int day = local_day_from_date(time.year, time.month, time.day);
    return local_time_on_day(local != NULL ? local : zone, day, minute) +
           (time.is_date ? 0 : time.second);
}

static gboolean is_possible(icalproperty *property)
{
    icaltimetype time = property != NULL && icalproperty_get_value(property) != NULL
                            ? icalvalue_get_datetime(icalproperty_get_value(property))
                            : icaltime_null_time();
    return time.year >= 1970 && time.year <= 9998 && time.month >= 1 && time.month <= 12 &&
           time.day >= 1 && time.day <= icaltime_days_in_month(time.month, time.year) &&
           time.hour >= 0 && time.hour < 24 && time.minute >= 0 && time.minute < 60;
}

static int64_t end_of(icalcomponent *calendar, icalcomponent *event, const CalendarObject *object,
                      GTimeZone *zone)
{
    icalproperty *end = icalcomponent_get_first_property(event, ICAL_DTEND_PROPERTY);
    icalproperty *duration = icalcomponent_get_first_property(event, ICAL_DURATION_PROPERTY);
    int64_t end_utc = object->start_utc;

    if (end != NULL && is_possible(end))
        end_utc = calendar_object_instant(calendar, end, zone);
    else if (duration != NULL)
        end_utc += icaldurationtype_as_int(icalproperty_get_duration(duration));
    else if (object->all_day)
        end_utc += 24 * 3600;
    return MAX(end_utc, object->start_utc);
}

static char *text_of(icalcomponent *event, icalproperty_kind kind)
{
    icalproperty *property = icalcomponent_get_first_property(event, kind);
    const icalvalue *value = property != NULL ? icalproperty_get_value(property) : NULL;

    return event_text_clean(value != NULL ? icalvalue_get_text(value) : NULL);
}

gboolean calendar_alarm_minutes(icalcomponent *alarm, int *ret_minutes)
{
    icalproperty *property = icalcomponent_get_first_property(alarm, ICAL_TRIGGER_PROPERTY);
    struct icaltriggertype trigger;

    if (property == NULL)
        return FALSE;
    trigger = icalproperty_get_trigger(property);
    if (!icaltime_is_null_time(trigger.time))
        return FALSE;
    *ret_minutes = -icaldurationtype_as_int(trigger.duration) / 60;
    return TRUE;
}

static void read_status(icalcomponent *event, CalendarObject *object)
{
    icalproperty *status = icalcomponent_get_first_property(event, ICAL_STATUS_PROPERTY);
    icalproperty *percent = icalcomponent_get_first_property(event, ICAL_PERCENTCOMPLETE_PROPERTY);
    enum icalproperty_status word =
        status != NULL ? icalproperty_get_status(status) : ICAL_STATUS_NONE;

    object->cancelled = word == ICAL_STATUS_CANCELLED;
    object->done = word == ICAL_STATUS_COMPLETED ||
                   (percent != NULL && icalproperty_get_percentcomplete(percent) >= 100) ||
                   icalcomponent_get_first_property(event, ICAL_COMPLETED_PROPERTY) != NULL;
    object->repeats = icalcomponent_get_first_property(event, ICAL_RRULE_PROPERTY) != NULL ||
                      icalcomponent_get_first_property(event, ICAL_RDATE_PROPERTY) != NULL;
}

static CalendarObject *read_event(icalcomponent *calendar, icalcomponent *event, GTimeZone *zone)
{
    icalproperty *start = icalcomponent_get_first_property(event, ICAL_DTSTART_PROPERTY);
    const char *uid = icalcomponent_get_uid(event);

    if (uid == NULL || *uid == '\0' || !is_possible(start))
        return NULL;
    CalendarObject *object = g_new0(CalendarObject, 1);
    object->uid = event_text_clean(uid);
    object->all_day = icalvalue_get_datetime(icalproperty_get_value(start)).is_date != 0;
    object->start_utc = calendar_object_instant(calendar, start, zone);
    object->end_utc = end_of(calendar, event, object, zone);
    read_status(event, object);
    object->summary = text_of(event, ICAL_SUMMARY_PROPERTY);
    object->location = text_of(event, ICAL_LOCATION_PROPERTY);
    object->description = text_of(event, ICAL_DESCRIPTION_PROPERTY);
    object->alarm_minutes = g_array_new(FALSE, FALSE, sizeof(int));
    for (icalcomponent *alarm = icalcomponent_get_first_component(event, ICAL_VALARM_COMPONENT);
         alarm != NULL; alarm = icalcomponent_get_next_component(event, ICAL_VALARM_COMPONENT)) {
        int minutes;
        if (calendar_alarm_minutes(alarm, &minutes))
            g_array_append_val(object->alarm_minutes, minutes);
    }
    return object;
}

CalendarObject *calendar_object_open(const char *text, gssize length, GTimeZone *zone,
                                     icalcomponent **ret_calendar, GError **error)
{
    gsize size = length < 0 ? strlen(text) : (gsize)length;
    CalendarObject *object = NULL;

    if (size > OBJECT_BYTES_MAX) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "an event of %" G_GSIZE_FORMAT " bytes; accepted at most %d", size,
                    OBJECT_BYTES_MAX);
        return NULL;
    }
    g_autofree char *valid = g_utf8_make_valid(text, (gssize)size);
    icalcomponent *calendar = calendar_object_parse(valid);
    icalcomponent *event = calendar != NULL ? calendar_object_event(calendar) : NULL;
    if (event != NULL)
        object = read_event(calendar, event, zone);
    if (object != NULL) {
        *ret_calendar = calendar;
        return object;
    }
    if (calendar != NULL)
        icalcomponent_free(calendar);
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                "no calendar object with an event that has a UID and a start");
    return NULL;
}

CalendarObject *calendar_object_read(const char *text, gssize length, GTimeZone *zone,
                                     GError **error)
{
    icalcomponent *calendar = NULL;
    CalendarObject *object = calendar_object_open(text, length, zone, &calendar, error);

    if (object != NULL)
        icalcomponent_free(calendar);
    return object;
}

/* ---- comparing ---- */

static int compare_texts(gconstpointer left, gconstpointer right)
{
    return strcmp(*(char *const *)left, *(char *const *)right);
}

/* A component and what is in it, in an order that does not depend on how it was written. */
static char *canonical(icalcomponent *component)
{
    g_autoptr(GPtrArray) parts = g_ptr_array_new_with_free_func(g_free);

    for (icalproperty *p = icalcomponent_get_first_property(component, ICAL_ANY_PROPERTY);
         p != NULL; p = icalcomponent_get_next_property(component, ICAL_ANY_PROPERTY)) {
        icalproperty_kind kind = icalproperty_isa(p);
        if (kind == ICAL_PRODID_PROPERTY || kind == ICAL_DTSTAMP_PROPERTY ||
            kind == ICAL_LASTMODIFIED_PROPERTY || kind == ICAL_CREATED_PROPERTY ||
            kind == ICAL_SEQUENCE_PROPERTY)
            continue;
        char *made = icalproperty_as_ical_string_r(p);
        g_ptr_array_add(parts, g_strdup(made));
        free(made);
    }
    for (icalcomponent *c = icalcomponent_get_first_component(component, ICAL_ANY_COMPONENT);
         c != NULL; c = icalcomponent_get_next_component(component, ICAL_ANY_COMPONENT))
        g_ptr_array_add(parts, canonical(c));
    g_ptr_array_sort(parts, compare_texts);
    g_ptr_array_add(parts, NULL);
    g_autofree char *inside = g_strjoinv("", (char **)parts->pdata);
    return g_strdup_printf("%s{%s}", icalcomponent_kind_to_string(icalcomponent_isa(component)),
                           inside);
}

static char *canonical_text(const char *text)
{
    icalcomponent *calendar = calendar_object_parse(text);
    if (calendar == NULL)
        return NULL;
    char *form = canonical(calendar);
    icalcomponent_free(calendar);
    return form;
}

gboolean calendar_object_same(const char *a, const char *b)
{
    g_autofree char *form_a = canonical_text(a), *form_b = canonical_text(b);
    return form_a != NULL && form_b != NULL && strcmp(form_a, form_b) == 0;
}
