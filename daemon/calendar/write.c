/* SPDX-License-Identifier: MIT */
/*
 * Policy: one-off events in UTC, no METHOD and no people, so that a calendar that subscribes to the
 * file and one that imports it read the same. Only shapes that every common calendar keeps.
 */
#include "calendar/write.h"

#include <libical/ical.h>
#include <stdlib.h>
#include <string.h>

#include "calendar/component.h"

#define CALENDAR_REFRESH_H 1 /* how often to look for changes; chosen */

icaltimetype calendar_instant(int64_t time_utc)
{
    return icaltime_from_timet_with_zone((time_t)time_utc, 0, icaltimezone_get_utc_timezone());
}

static void add_extension(icalcomponent *component, const char *name, const char *value)
{
    icalproperty *property = icalproperty_new_x(value);

    icalproperty_set_x_name(property, name);
    icalcomponent_add_property(component, property);
}

static void add_alarm(icalcomponent *event, const EventMemory *memory, const EventAlarm *alarm)
{
    icalcomponent *component = icalcomponent_new_valarm();
    struct icaltriggertype trigger = {
        .duration = icaldurationtype_from_int(-60 * alarm->minutes_before),
    };
    g_autofree char *text = event_text_clean(alarm->text);
    /* The same alarm keeps its UID (RFC 9074 §4); one at another lead time is another alarm. */
    g_autofree char *uid = g_strdup_printf("%s-alarm-%d", memory->uid, alarm->minutes_before);

    icalcomponent_add_property(component, icalproperty_new_uid(uid));
    icalcomponent_add_property(component, icalproperty_new_action(ICAL_ACTION_DISPLAY));
    icalcomponent_add_property(component, icalproperty_new_description(text));
    icalcomponent_add_property(component, icalproperty_new_trigger(trigger));
    icalcomponent_add_component(event, component);
}

static void add_event_texts(icalcomponent *event, const EventMemory *memory)
{
    g_autofree char *summary = event_text_clean(memory->summary);
    g_autofree char *location = event_text_clean(memory->location);
    g_autofree char *description = event_text_clean(memory->description);

    icalcomponent_add_property(event, icalproperty_new_summary(summary));
    if (location[0] != '\0')
        icalcomponent_add_property(event, icalproperty_new_location(location));
    if (description[0] != '\0')
        icalcomponent_add_property(event, icalproperty_new_description(description));
    /* libical writes a list unescaped: one property for each item. */
    for (char **category = memory->categories; *category != NULL; category++) {
        g_autofree char *name = event_name_clean(*category);
        icalcomponent_add_property(event, icalproperty_new_categories(name));
    }
}

icalcomponent *calendar_event_component(const EventMemory *memory)
{
    icalcomponent *event = icalcomponent_new_vevent();
    icalproperty_status status = memory->cancelled ? ICAL_STATUS_CANCELLED : ICAL_STATUS_CONFIRMED;

    icalcomponent_add_property(event, icalproperty_new_uid(memory->uid));
    icalcomponent_add_property(event,
                               icalproperty_new_dtstamp(calendar_instant(memory->dtstamp_utc)));
    icalcomponent_add_property(event,
                               icalproperty_new_created(calendar_instant(memory->created_utc)));
    icalcomponent_add_property(
        event, icalproperty_new_lastmodified(calendar_instant(memory->last_modified_utc)));
    icalcomponent_add_property(event, icalproperty_new_sequence(memory->sequence));
    icalcomponent_add_property(event,
                               icalproperty_new_dtstart(calendar_instant(memory->start_utc)));
    icalcomponent_add_property(event, icalproperty_new_dtend(calendar_instant(memory->end_utc)));
    icalcomponent_add_property(event, icalproperty_new_status(status));
    icalcomponent_add_property(event, icalproperty_new_transp(ICAL_TRANSP_TRANSPARENT));
    add_event_texts(event, memory);
    if (!memory->cancelled) {
        for (guint i = 0; i < memory->alarms->len; i++)
            add_alarm(event, memory, &g_array_index(memory->alarms, EventAlarm, i));
    }
    return event;
}

/*
 * A calendar must hold at least one component (RFC 5545 §3.6), and before the first visit is
 * planned there is none: the definition of UTC is one that shows nowhere.
 */
static icalcomponent *utc_component(void)
{
    icalcomponent *zone = icalcomponent_new_vtimezone();
    icalcomponent *standard = icalcomponent_new_xstandard();

    icalcomponent_add_property(zone, icalproperty_new_tzid("Etc/UTC"));
    icalcomponent_add_property(standard,
                               icalproperty_new_dtstart(icaltime_from_string("19700101T000000")));
    icalcomponent_add_property(standard, icalproperty_new_tzoffsetfrom(0));
    icalcomponent_add_property(standard, icalproperty_new_tzoffsetto(0));
    icalcomponent_add_component(zone, standard);
    return zone;
}

static int compare_events(gconstpointer left, gconstpointer right)
{
    const EventMemory *a = *(EventMemory *const *)left, *b = *(EventMemory *const *)right;

    if (a->start_utc != b->start_utc)
        return a->start_utc < b->start_utc ? -1 : 1;
    return strcmp(a->uid, b->uid);
}

static void add_calendar_properties(icalcomponent *calendar, const char *name,
                                    const char *description, int refresh_h)
{
    g_autofree char *clean_name = event_name_clean(name);
    g_autofree char *refresh = g_strdup_printf("PT%dH", refresh_h);

    icalcomponent_add_property(calendar, icalproperty_new_version("2.0"));
    icalcomponent_add_property(calendar, icalproperty_new_prodid(CALENDAR_PRODUCT));
    /* NAME and REFRESH-INTERVAL are the standard's; most calendars still read the older pair. */
    icalcomponent_add_property(calendar, icalproperty_new_name(clean_name));
    add_extension(calendar, "X-WR-CALNAME", clean_name);
    if (description != NULL) {
        icalcomponent_add_property(calendar, icalproperty_new_description(description));
        add_extension(calendar, "X-WR-CALDESC", description);
    }
    icalcomponent_add_property(
        calendar, icalproperty_new_refreshinterval(icaldurationtype_from_string(refresh)));
    add_extension(calendar, "X-PUBLISHED-TTL", refresh);
}

GBytes *calendar_write(const GPtrArray *memory, const char *name, const char *description)
{
    return calendar_write_every(memory, name, description, CALENDAR_REFRESH_H);
}

GBytes *calendar_write_every(const GPtrArray *memory, const char *name, const char *description,
                             int refresh_h)
{
    icalcomponent *calendar = icalcomponent_new(ICAL_VCALENDAR_COMPONENT);
    g_autoptr(GPtrArray) shown = g_ptr_array_new();
    char *text;

    add_calendar_properties(calendar, name, description, refresh_h);
    for (guint i = 0; i < memory->len; i++) {
        if (event_memory_is_shown(memory->pdata[i]))
            g_ptr_array_add(shown, memory->pdata[i]);
    }
    g_ptr_array_sort(shown, compare_events);
    for (guint i = 0; i < shown->len; i++)
        icalcomponent_add_component(calendar, calendar_event_component(shown->pdata[i]));
    if (shown->len == 0)
        icalcomponent_add_component(calendar, utc_component());

    text = icalcomponent_as_ical_string_r(calendar);
    icalcomponent_free(calendar);
    return g_bytes_new_with_free_func(text, strlen(text), free, text);
}
