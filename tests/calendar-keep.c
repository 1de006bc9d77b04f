/* SPDX-License-Identifier: MIT */
/*
 * Keeps every calendar that a test program writes, each of its events as an object, every object
 * that it writes, and beside them what was meant, for calendar-readers.sh: in the folder
 * THOLE_TEST_CALENDARS, where that is set. Linked with -Wl,--wrap for what is wrapped here.
 */
#include <gio/gio.h>
#include <json-glib/json-glib.h>

#include "calendar/object.h"
#include "calendar/write.h"

GBytes *__real_calendar_write(const GPtrArray *memory, const char *name, const char *description);
GBytes *__wrap_calendar_write(const GPtrArray *memory, const char *name, const char *description);
GBytes *__real_calendar_write_every(const GPtrArray *memory, const char *name,
                                    const char *description, int refresh_h);
GBytes *__wrap_calendar_write_every(const GPtrArray *memory, const char *name,
                                    const char *description, int refresh_h);
char *__real_calendar_object_write(const EventMemory *event, const char *uid);
char *__wrap_calendar_object_write(const EventMemory *event, const char *uid);

static void add(JsonBuilder *to, const char *member, const char *text)
{
    g_autofree char *clean = event_text_clean(text); /* as the calendar promises to write it */

    json_builder_set_member_name(to, member);
    json_builder_add_string_value(to, clean);
}

static void add_number(JsonBuilder *to, const char *member, int64_t number)
{
    json_builder_set_member_name(to, member);
    json_builder_add_int_value(to, number);
}

static void add_alarms(JsonBuilder *to, const EventMemory *event)
{
    json_builder_set_member_name(to, "alarms");
    json_builder_begin_array(to);
    for (guint i = 0; i < event->alarms->len && !event->cancelled; i++) {
        const EventAlarm *alarm = &g_array_index(event->alarms, EventAlarm, i);
        json_builder_begin_object(to);
        add(to, "action", "DISPLAY");
        add(to, "text", alarm->text);
        add_number(to, "at", event->start_utc - (int64_t)alarm->minutes_before * 60);
        json_builder_end_object(to);
    }
    json_builder_end_array(to);
}

static void add_event(JsonBuilder *to, const EventMemory *event, const char *uid)
{
    json_builder_begin_object(to);
    add(to, "uid", uid);
    add_number(to, "sequence", event->sequence);
    add_number(to, "start", event->start_utc);
    add_number(to, "end", event->end_utc);
    add(to, "status", event->cancelled ? "CANCELLED" : "CONFIRMED");
    add(to, "summary", event->summary);
    add(to, "location", event->location);
    add(to, "description", event->description);
    json_builder_set_member_name(to, "categories");
    json_builder_begin_array(to);
    for (char **category = event->categories; *category != NULL; category++) {
        g_autofree char *clean = event_name_clean(*category);
        json_builder_add_string_value(to, clean);
    }
    json_builder_end_array(to);
    add_alarms(to, event);
    json_builder_end_object(to);
}

/* What events say, all that are shown; of one as an object, under UID. */
static char *meant(const GPtrArray *memory, const char *uid)
{
    g_autoptr(JsonBuilder) to = json_builder_new();
    g_autoptr(JsonNode) root = NULL;

    json_builder_begin_object(to);
    json_builder_set_member_name(to, "events");
    json_builder_begin_array(to);
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *event = memory->pdata[i];
        if (uid != NULL || event_memory_is_shown(event))
            add_event(to, event, uid != NULL ? uid : event->uid);
    }
    json_builder_end_array(to);
    json_builder_end_object(to);
    root = json_builder_get_root(to);
    return json_to_string(root, FALSE);
}

/* Under the name of its content: what is published twice is kept once. */
static void keep(GBytes *bytes, const char *ending, const GPtrArray *memory, const char *uid)
{
    const char *folder = g_getenv("THOLE_TEST_CALENDARS");

    if (folder == NULL || *folder == '\0')
        return;
    g_autofree char *sum = g_compute_checksum_for_bytes(G_CHECKSUM_SHA256, bytes);
    g_autofree char *path = g_strdup_printf("%s/%s%s.ics", folder, sum, ending);
    g_autofree char *path_meant = g_strdup_printf("%s/%s%s.json", folder, sum, ending);
    if (!g_file_test(path, G_FILE_TEST_EXISTS)) {
        g_autofree char *text = meant(memory, uid);
        g_autoptr(GError) error = NULL;
        /* The calendar last: a program that is killed here leaves none without its meaning. */
        if (!g_file_set_contents(path_meant, text, -1, &error) ||
            !g_file_set_contents(path, g_bytes_get_data(bytes, NULL),
                                 (gssize)g_bytes_get_size(bytes), &error))
            g_error("%s", error->message);
    }
}

char *__wrap_calendar_object_write(const EventMemory *event, const char *uid)
{
    char *text = __real_calendar_object_write(event, uid);
    g_autoptr(GBytes) bytes = g_bytes_new(text, strlen(text));
    g_autoptr(GPtrArray) one = g_ptr_array_new();

    g_ptr_array_add(one, (gpointer)event);
    keep(bytes, ".object", one, uid);
    return text;
}

/* Whichever outlet the garden has, a server would be given each event as well. */
static void keep_all(GBytes *bytes, const GPtrArray *memory)
{
    keep(bytes, "", memory, NULL);
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *event = memory->pdata[i];
        if (event_memory_is_shown(event))
            g_free(__wrap_calendar_object_write(event, event->uid));
    }
}

GBytes *__wrap_calendar_write(const GPtrArray *memory, const char *name, const char *description)
{
    GBytes *bytes = __real_calendar_write(memory, name, description);

    keep_all(bytes, memory);
    return bytes;
}

GBytes *__wrap_calendar_write_every(const GPtrArray *memory, const char *name,
                                    const char *description, int refresh_h)
{
    GBytes *bytes = __real_calendar_write_every(memory, name, description, refresh_h);

    keep_all(bytes, memory);
    return bytes;
}
