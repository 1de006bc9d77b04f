/* SPDX-License-Identifier: MIT */
/*
 * What libical reads in each calendar whose path comes on standard input: a line of JSON each, as
 * calendar-reader.py prints it. One of the readers of calendar-readers.sh.
 */
#include <glib.h>
#include <json-glib/json-glib.h>
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add(JsonBuilder *to, const char *member, const char *text)
{
    json_builder_set_member_name(to, member);
    json_builder_add_string_value(to, text != NULL ? text : "");
}

static void add_number(JsonBuilder *to, const char *member, int64_t number)
{
    json_builder_set_member_name(to, member);
    json_builder_add_int_value(to, number);
}

static int64_t instant(icaltimetype time)
{
    if (!icaltime_is_utc(time) || icaltime_is_null_time(time)) {
        fprintf(stderr, "a time that is not in UTC\n");
        exit(1);
    }
    return icaltime_as_timet(time);
}

static const char *text_of(icalcomponent *component, icalproperty_kind kind)
{
    icalproperty *property = icalcomponent_get_first_property(component, kind);

    return property != NULL ? icalvalue_get_text(icalproperty_get_value(property)) : "";
}

static const char *word_of(icalcomponent *component, icalproperty_kind kind)
{
    icalproperty *property = icalcomponent_get_first_property(component, kind);

    return property != NULL ? icalproperty_get_value_as_string(property) : "";
}

static void add_alarm(JsonBuilder *to, icalcomponent *alarm, int64_t start_utc)
{
    icalproperty *trigger = icalcomponent_get_first_property(alarm, ICAL_TRIGGER_PROPERTY);

    json_builder_begin_object(to);
    add(to, "action", word_of(alarm, ICAL_ACTION_PROPERTY));
    add(to, "text", text_of(alarm, ICAL_DESCRIPTION_PROPERTY));
    if (trigger != NULL)
        add_number(to, "at",
                   start_utc + icaldurationtype_as_int(icalproperty_get_trigger(trigger).duration));
    json_builder_end_object(to);
}

static void add_event(JsonBuilder *to, icalcomponent *event)
{
    const int64_t start_utc = instant(icalcomponent_get_dtstart(event));

    json_builder_begin_object(to);
    add(to, "uid", icalcomponent_get_uid(event));
    add_number(to, "sequence", icalcomponent_get_sequence(event));
    add_number(to, "start", start_utc);
    add_number(to, "end", instant(icalcomponent_get_dtend(event)));
    add(to, "status", word_of(event, ICAL_STATUS_PROPERTY));
    add(to, "summary", text_of(event, ICAL_SUMMARY_PROPERTY));
    add(to, "location", text_of(event, ICAL_LOCATION_PROPERTY));
    add(to, "description", text_of(event, ICAL_DESCRIPTION_PROPERTY));
    json_builder_set_member_name(to, "categories");
    json_builder_begin_array(to);
    for (icalproperty *p = icalcomponent_get_first_property(event, ICAL_CATEGORIES_PROPERTY);
         p != NULL; p = icalcomponent_get_next_property(event, ICAL_CATEGORIES_PROPERTY))
        json_builder_add_string_value(to, icalproperty_get_categories(p));
    json_builder_end_array(to);
    json_builder_set_member_name(to, "alarms");
    json_builder_begin_array(to);
    for (icalcomponent *a = icalcomponent_get_first_component(event, ICAL_VALARM_COMPONENT);
         a != NULL; a = icalcomponent_get_next_component(event, ICAL_VALARM_COMPONENT))
        add_alarm(to, a, start_utc);
    json_builder_end_array(to);
    json_builder_end_object(to);
}

static char *read_file(const char *path)
{
    g_autoptr(JsonBuilder) to = json_builder_new();
    g_autoptr(JsonNode) root = NULL;
    g_autofree char *text = NULL;
    icalcomponent *calendar = NULL;

    if (!g_file_get_contents(path, &text, NULL, NULL) ||
        (calendar = icalparser_parse_string(text)) == NULL ||
        icalcomponent_count_errors(calendar) > 0) {
        fprintf(stderr, "%s cannot be read\n", path);
        exit(1);
    }
    json_builder_begin_object(to);
    add(to, "file", path);
    json_builder_set_member_name(to, "events");
    json_builder_begin_array(to);
    for (icalcomponent *e = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);
         e != NULL; e = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT))
        add_event(to, e);
    json_builder_end_array(to);
    json_builder_end_object(to);
    icalcomponent_free(calendar);
    root = json_builder_get_root(to);
    return json_to_string(root, FALSE);
}

int main(void)
{
    char path[4096];

    while (fgets(path, sizeof path, stdin) != NULL) {
        path[strcspn(path, "\n")] = '\0';
        g_autofree char *said = read_file(path);
        printf("%s\n", said);
    }
    return 0;
}
