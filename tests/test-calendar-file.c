/* SPDX-License-Identifier: MIT */
/* Events to bytes, read back by two parsers, and the file on disk. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <gio/gio.h>
#include <glib/gstdio.h>
#include <json-glib/json-glib.h>
#include <libical/ical.h>
#include <signal.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/error.h"
#include "base/local-time.h"
#include "calendar-check.h"
#include "calendar/decide.h"
#include "calendar/file.h"
#include "calendar/write.h"

#define ZONE "Europe/London"
#define NOW INT64_C(1773000000) /* 2026-03-08T20:00:00Z, before all visits here */

static char *folder; /* of this run, removed at the end */

static char *path_of(const char *name)
{
    return g_build_filename(folder, name, NULL);
}

static GPtrArray *decided(const GPtrArray *wanted)
{
    g_autoptr(GPtrArray) nothing = g_ptr_array_new();
    g_autoptr(GPtrArray) changes = NULL;
    g_autoptr(GError) error = NULL;
    GPtrArray *memory = NULL;

    if (!calendar_decide(nothing, wanted, NOW, 0, &memory, &changes, &error))
        fail_msg("%s", error->message);
    return memory;
}

/* The bytes, after the standard's rules were found kept. */
static GBytes *written(const GPtrArray *memory, const char *name)
{
    GBytes *bytes = calendar_write(memory, name, "Weather data by Open-Meteo.com (CC BY 4.0)");
    gsize length;
    const char *data = g_bytes_get_data(bytes, &length);
    g_autofree char *complaint = calendar_check(data, length);

    if (complaint != NULL)
        fail_msg("%s\n%s", complaint, data);
    return bytes;
}

static GBytes *sample_bytes(int n_visits, const char *summary)
{
    g_autoptr(GPtrArray) wanted = calendar_sample_array();
    g_autoptr(GPtrArray) memory = NULL;

    for (int i = 0; i < n_visits; i++) {
        g_autofree char *id = g_strdup_printf("v%d", i);
        g_ptr_array_add(wanted, calendar_sample(id, NOW + 86400 * (i + 1), summary, "job"));
    }
    memory = decided(wanted);
    return written(memory, "Garden");
}

/* ---- visits that are hard to write ---- */

/*
 * Local times in London, whose clocks go forward on 29 March and back on 25 October 2026 (tz
 * database).
 */
/* clang-format off */
static const struct {
    const char *id, *start_local;
    int year, month, day;
    int64_t start_utc; /* worked out by hand from the offsets, GMT or BST = GMT + 1 h */
    const char *summary, *location, *description;
    const char *categories[3];
} visits[] = {
    {"before-spring", "2026-03-28 07:30", 2026, 3, 28, INT64_C(1774683000), "Open frame", "Plot",
     "Take the fleece.", {NULL}},
    {"after-spring", "2026-03-29 07:30", 2026, 3, 29, INT64_C(1774765800),
     "Close frame, fleece on by 19:45 (\u22122 \u00b0C)", "Caf\u00e9 plot; left, by the hedge",
     "One\nTwo\\three; \"four\", five:\n\n\tSix \U0001f331", {"Frost", "Visit", NULL}},
    {"before-autumn", "2026-10-24 07:30", 2026, 10, 24, INT64_C(1792823400),
     "Ends in a backslash\\", NULL, "\n leading and trailing blanks \n", {"Un\u00e9", NULL}},
    {"after-autumn", "2026-10-25 07:30", 2026, 10, 25, INT64_C(1792913400),
     "A \\ between", "", NULL, {NULL}},
};
/* clang-format on */

/* All of them, and one with lines of every length and width of character. */
static GPtrArray *hard_visits(void)
{
    static const char *const letters[] = {"a", "\u00e9", "\u2212", "\U0001f331", " ", ","};
    GPtrArray *wanted = calendar_sample_array();
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier(ZONE);
    g_autoptr(GString) lengthy = g_string_new(NULL);
    EventWanted *last;

    for (gsize i = 0; i < G_N_ELEMENTS(visits); i++) {
        int64_t start_utc = local_time_on_day(
            zone, local_day_from_date(visits[i].year, visits[i].month, visits[i].day), 450);
        EventWanted *one = calendar_sample(visits[i].id, start_utc, visits[i].summary, "job");
        g_clear_pointer(&one->location, g_free);
        g_clear_pointer(&one->description, g_free);
        one->location = g_strdup(visits[i].location);
        one->description = g_strdup(visits[i].description);
        one->categories = g_strdupv((char **)visits[i].categories);
        event_alarms_add(one->alarms, 1500, TRUE, "\u22123 \u00b0C tonight; fleece, lid");
        event_alarms_add(one->alarms, 0, FALSE, "Now.");
        assert_int_equal(start_utc, visits[i].start_utc);
        g_ptr_array_add(wanted, one);
    }
    for (int length = 1; length < 260; length++) {
        for (int n = 0; n < length; n++)
            g_string_append(lengthy, letters[(length + (n % 7 == 0)) % G_N_ELEMENTS(letters)]);
        g_string_append_c(lengthy, '\n');
    }
    last = calendar_sample("long", visits[3].start_utc + 86400, lengthy->str, "job");
    g_free(last->description);
    last->description = g_strdup(lengthy->str);
    g_ptr_array_add(wanted, last);
    return wanted;
}

/* ---- read back by libical ---- */

static const char *text_of(icalcomponent *component, icalproperty_kind kind)
{
    icalproperty *property = icalcomponent_get_first_property(component, kind);

    return property != NULL ? icalvalue_get_text(icalproperty_get_value(property)) : "";
}

static int64_t time_of(icalcomponent *component, icalproperty_kind kind)
{
    icalproperty *property = icalcomponent_get_first_property(component, kind);
    icaltimetype time;

    assert_non_null(property);
    time = icalvalue_get_datetime(icalproperty_get_value(property));
    assert_true(icaltime_is_utc(time));
    return icaltime_as_timet(time);
}

static void check_alarms_by_library(const EventMemory *event, icalcomponent *read)
{
    icalcomponent *alarm = icalcomponent_get_first_component(read, ICAL_VALARM_COMPONENT);

    for (guint i = 0; i < event->alarms->len; i++) {
        const EventAlarm *want = &g_array_index(event->alarms, EventAlarm, i);
        icalproperty *property;
        assert_non_null(alarm);
        property = icalcomponent_get_first_property(alarm, ICAL_TRIGGER_PROPERTY);
        assert_int_equal(icaldurationtype_as_int(icalproperty_get_trigger(property).duration),
                         -60 * want->minutes_before);
        assert_string_equal(text_of(alarm, ICAL_DESCRIPTION_PROPERTY), want->text);
        alarm = icalcomponent_get_next_component(read, ICAL_VALARM_COMPONENT);
    }
    assert_null(alarm);
}

static void test_library_round_trip(void **state)
{
    g_autoptr(GPtrArray) wanted = hard_visits();
    g_autoptr(GPtrArray) memory = decided(wanted);
    g_autoptr(GBytes) bytes = written(memory, "Garden");
    icalcomponent *calendar = icalparser_parse_string(g_bytes_get_data(bytes, NULL));
    icalcomponent *read;

    (void)state;
    assert_non_null(calendar);
    assert_int_equal(icalcomponent_count_errors(calendar), 0);
    read = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *event = memory->pdata[i];
        assert_non_null(read);
        assert_string_equal(icalcomponent_get_uid(read), event->uid);
        assert_int_equal(time_of(read, ICAL_DTSTART_PROPERTY), event->start_utc);
        assert_int_equal(time_of(read, ICAL_DTEND_PROPERTY), event->end_utc);
        assert_int_equal(time_of(read, ICAL_DTSTAMP_PROPERTY), event->dtstamp_utc);
        assert_string_equal(text_of(read, ICAL_SUMMARY_PROPERTY), event->summary);
        assert_string_equal(text_of(read, ICAL_LOCATION_PROPERTY), event->location);
        assert_string_equal(text_of(read, ICAL_DESCRIPTION_PROPERTY), event->description);
        check_alarms_by_library(event, read);
        read = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT);
    }
    assert_null(read);
    icalcomponent_free(calendar);
}

/* ---- read back by another program ---- */

static JsonNode *read_elsewhere(const char *path)
{
    g_autofree char *script =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests", "calendar-reader.py", NULL);
    g_autoptr(GError) error = NULL;
    g_autoptr(GSubprocess) reader =
        g_subprocess_new(G_SUBPROCESS_FLAGS_STDOUT_PIPE | G_SUBPROCESS_FLAGS_STDERR_PIPE, &error,
                         "/usr/bin/python3", script, path, ZONE, NULL);
    g_autofree char *out = NULL, *err = NULL;
    JsonNode *node;

    assert_non_null(g_getenv("THOLE_SOURCE_DIR")); /* set by make check */
    if (reader == NULL || !g_subprocess_communicate_utf8(reader, NULL, NULL, &out, &err, &error))
        fail_msg("%s", error->message);
    if (!g_subprocess_get_successful(reader))
        fail_msg("%s", err);
    node = json_from_string(out, &error);
    if (node == NULL)
        fail_msg("%s: %s", error->message, out);
    return node;
}

static void check_read_event(const EventMemory *event, JsonObject *read)
{
    JsonArray *alarms = json_object_get_array_member(read, "alarms");
    JsonArray *categories = json_object_get_array_member(read, "categories");

    assert_string_equal(json_object_get_string_member(read, "uid"), event->uid);
    assert_int_equal(json_object_get_int_member(read, "sequence"), event->sequence);
    assert_int_equal(json_object_get_int_member(read, "start"), event->start_utc);
    assert_int_equal(json_object_get_int_member(read, "end"), event->end_utc);
    assert_int_equal(json_object_get_int_member(read, "stamp"), event->dtstamp_utc);
    assert_int_equal(json_object_get_int_member(read, "modified"), event->last_modified_utc);
    assert_int_equal(json_object_get_int_member(read, "created"), event->created_utc);
    assert_string_equal(json_object_get_string_member(read, "status"),
                        event->cancelled ? "CANCELLED" : "CONFIRMED");
    assert_string_equal(json_object_get_string_member(read, "summary"), event->summary);
    assert_string_equal(json_object_get_string_member(read, "location"), event->location);
    assert_string_equal(json_object_get_string_member(read, "description"), event->description);
    assert_int_equal(json_array_get_length(categories), g_strv_length(event->categories));
    for (guint i = 0; i < json_array_get_length(categories); i++)
        assert_string_equal(json_array_get_string_element(categories, i), event->categories[i]);
    assert_int_equal(json_array_get_length(alarms), event->alarms->len);
    for (guint i = 0; i < event->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(event->alarms, EventAlarm, i);
        JsonObject *got = json_array_get_object_element(alarms, i);
        assert_string_equal(json_object_get_string_member(got, "action"), "DISPLAY");
        assert_string_equal(json_object_get_string_member(got, "text"), alarm->text);
        assert_int_equal(json_object_get_int_member(got, "at"),
                         event->start_utc - 60 * alarm->minutes_before);
    }
}

static void test_other_parser(void **state)
{
    g_autoptr(GPtrArray) wanted = hard_visits();
    g_autoptr(GPtrArray) first = decided(wanted);
    g_autoptr(GPtrArray) memory = NULL, changes = NULL;
    g_autoptr(GBytes) bytes = NULL;
    g_autoptr(GError) error = NULL;
    g_autoptr(JsonNode) node = NULL;
    g_autofree char *path = path_of("hard.ics");
    JsonObject *root;
    JsonArray *events;

    (void)state;
    /* One of them is withdrawn, so that a cancelled event is read too. */
    g_ptr_array_remove_index(wanted, 2);
    assert_true(calendar_decide(first, wanted, NOW + 60, 0, &memory, &changes, &error));
    bytes = written(memory, "Garden caf\u00e9");
    assert_true(calendar_file_publish(path, bytes, NULL, &error));
    node = read_elsewhere(path);
    root = json_node_get_object(node);
    events = json_object_get_array_member(root, "events");
    assert_string_equal(json_object_get_string_member(root, "name"), "Garden caf\u00e9");
    assert_string_equal(json_object_get_string_member(root, "standard_name"), "Garden caf\u00e9");
    assert_int_equal(json_array_get_length(events), memory->len);
    for (guint i = 0; i < memory->len; i++)
        check_read_event(memory->pdata[i], json_array_get_object_element(events, i));
    for (guint i = 0; i < G_N_ELEMENTS(visits); i++) {
        JsonObject *read = json_array_get_object_element(events, i);
        assert_string_equal(json_object_get_string_member(read, "start_local"),
                            visits[i].start_local);
    }
}

/* ---- bytes ---- */

/* One sentence each: a text as it may come, and as it is kept. */
/* clang-format off */
static const struct {
    const char *sentence, *text, *clean, *name;
} clean_rows[] = {
    {"plain text stays", "Open frame", "Open frame", "Open frame"},
    {"none is empty", NULL, "", ""},
    {"beyond ASCII stays", "\u22122 \u00b0C caf\u00e9 \U0001f331",
     "\u22122 \u00b0C caf\u00e9 \U0001f331",
     "\u22122 \u00b0C caf\u00e9 \U0001f331"},
    {"control bytes go", "a\001b\033c\177d\bz", "abcdz", "abcdz"},
    {"so do the controls beyond ASCII", "a\302\200b\302\237c", "abc", "abc"},
    {"every line end is one", "a\r\nb\rc\nd\302\205e\u2028f\u2029g", "a\nb\nc\nd\ne\nf\ng",
     "a b c d e f g"},
    {"a tab stays in a text", "a\tb", "a\tb", "a b"},
    {"bytes that are no text are marked", "a\xff" "b\xc3", "a\ufffd" "b\ufffd",
     "a\ufffd" "b\ufffd"},
    {"separators stay in a text only", "a,b;c\\d", "a,b;c\\d", "a b c d"},
};
/* clang-format on */

static void test_clean(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(clean_rows); i++) {
        g_autofree char *clean = event_text_clean(clean_rows[i].text);
        g_autofree char *again = event_text_clean(clean);
        g_autofree char *name = event_name_clean(clean_rows[i].text);
        if (strcmp(clean, clean_rows[i].clean) != 0 || strcmp(name, clean_rows[i].name) != 0)
            fail_msg("%s: \"%s\", \"%s\"", clean_rows[i].sentence, clean, name);
        assert_string_equal(again, clean);
    }
}

static void test_dirty_texts_written(void **state)
{
    g_autoptr(GPtrArray) wanted = calendar_sample_array();
    g_autoptr(GPtrArray) memory = NULL;
    g_autoptr(GBytes) bytes = NULL, same = NULL, quiet = NULL;
    EventWanted *visit = calendar_sample("v", NOW + 86400, "a\001\xff\r\nb", "job");
    const char *dirty[] = {"x,y;z\\\001", NULL};
    EventMemory *event;

    (void)state;
    visit->categories = g_strdupv((char **)dirty);
    event_alarms_add(visit->alarms, 5, FALSE, "c\033d\xc3");
    g_ptr_array_add(wanted, visit);
    memory = decided(wanted);
    bytes = written(memory, "A, b; c\\\n\001");
    assert_non_null(strstr(g_bytes_get_data(bytes, NULL), "\r\nX-WR-CALNAME:A  b  c  \r\n"));
    assert_non_null(strstr(g_bytes_get_data(bytes, NULL), "\r\nCATEGORIES:x y z \r\n"));

    /* A store that gives back dirt does no harm either. */
    event = memory->pdata[0];
    g_free(event->summary);
    event->summary = g_strdup("a\001\xff\r\nb");
    same = written(memory, "A, b; c\\\n\001");
    assert_true(g_bytes_equal(bytes, same));
    /* Nor does an alarm in it that a cancelled event must not have. */
    event->cancelled = TRUE;
    quiet = written(memory, "Garden");
    assert_non_null(strstr(g_bytes_get_data(quiet, NULL), "STATUS:CANCELLED"));
}

/* Not among the hard visits: the other parser unescapes twice. */
static void test_backslashes(void **state)
{
    g_autoptr(GBytes) bytes = sample_bytes(1, "\\n is no line end, \\\\ is two");

    (void)state;
    /* RFC 5545 §3.3.11: each backslash of the text is escaped by one. */
    assert_non_null(strstr(g_bytes_get_data(bytes, NULL),
                           "\r\nSUMMARY:\\\\n is no line end\\, \\\\\\\\ is two\r\n"));
}

static void test_order_does_not_matter(void **state)
{
    g_autoptr(GPtrArray) wanted = hard_visits();
    g_autoptr(GPtrArray) memory = NULL;
    g_autoptr(GPtrArray) turned = g_ptr_array_new();
    g_autoptr(GBytes) bytes = NULL, other = NULL;

    (void)state;
    g_ptr_array_add(wanted, calendar_sample("twin", visits[0].start_utc, "Same time", "job"));
    memory = decided(wanted);
    for (guint i = memory->len; i-- > 0;)
        g_ptr_array_add(turned, memory->pdata[i]);
    bytes = written(memory, "Garden");
    other = written(turned, "Garden");
    assert_true(g_bytes_equal(bytes, other));
}

static void test_empty_calendar(void **state)
{
    g_autoptr(GBytes) bytes = sample_bytes(0, "none");
    g_autoptr(GError) error = NULL;
    g_autoptr(JsonNode) node = NULL;
    g_autofree char *path = path_of("empty.ics");

    (void)state;
    assert_null(strstr(g_bytes_get_data(bytes, NULL), "VEVENT"));
    assert_true(calendar_file_publish(path, bytes, NULL, &error));
    node = read_elsewhere(path);
    assert_int_equal(
        json_array_get_length(json_object_get_array_member(json_node_get_object(node), "events")),
        0);
}

/* One sentence each: a good calendar spoilt in one place, and what the checker must say to it. */
static const struct {
    const char *sentence, *from, *to, *complaint;
} spoilt_rows[] = {
    {"bare line feeds", "\r\n", "\n", "CRLF"},
    {"a missing UID", "UID:", "X-UID:", "UID 0 times"},
    {"an address as UID", "UID:", "UID:a@b", "outside the grammar"},
    {"a missing DTSTAMP", "DTSTAMP:", "X-STAMP:", "DTSTAMP 0 times"},
    {"a METHOD", "VERSION:2.0", "VERSION:2.0\r\nMETHOD:PUBLISH", "METHOD"},
    {"an ORGANIZER", "STATUS:", "ORGANIZER:mailto:a@b.invalid\r\nSTATUS:", "ORGANIZER"},
    {"an ATTENDEE in the alarm", "TRIGGER:", "ATTENDEE:mailto:a@b.invalid\r\nTRIGGER:", "ATTENDEE"},
    {"an alarm without text", "DESCRIPTION:Leave now.\r\n", "", "DESCRIPTION 0 times"},
    {"an alarm after the start", "TRIGGER:-", "TRIGGER:", "before the start"},
    {"an alarm in seconds", "TRIGGER:-PT20M", "TRIGGER:-PT20M30S", "before the start"},
    {"an alarm at an instant", "TRIGGER:-PT20M", "TRIGGER;VALUE=DATE-TIME:20260401T000000Z",
     "before the start"},
    {"a local time", "00Z\r\nDTEND", "00\r\nDTEND", "not in UTC"},
    {"an end that comes first", "DTEND:2", "DTEND:1", "not after"},
    {"a cancelled event that rings", "STATUS:CONFIRMED", "STATUS:CANCELLED", "with an alarm"},
    {"an unescaped comma", "SUMMARY:", "SUMMARY:a,", "escapes"},
    {"a stray backslash", "SUMMARY:", "SUMMARY:\\x", "escapes"},
    {"a control byte", "SUMMARY:", "SUMMARY:\001", "control byte"},
    {"bad UTF-8", "SUMMARY:", "SUMMARY:\xff", "UTF-8"},
    {"a long line", "SUMMARY:",
     "SUMMARY:0123456789012345678901234567890123456789012345678901234567890123456789", "line of"},
    {"an open component", "END:VCALENDAR\r\n", "", "not closed"},
    {"no name of the maker", "PRODID", "X-PRODID", "PRODID 0 times"},
    {"an interval without its type", ";VALUE=DURATION", "", "VALUE=DURATION"},
    {"another STATUS", "STATUS:CONFIRMED", "STATUS:MAYBE", "STATUS unknown"},
    {"a newer revision than stamp", "LAST-MODIFIED:2", "LAST-MODIFIED:3", "LAST-MODIFIED"},
};

static void test_checker_finds_faults(void **state)
{
    g_autoptr(GBytes) bytes = sample_bytes(1, "Open frame");

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(spoilt_rows); i++) {
        GString *spoilt = g_string_new(g_bytes_get_data(bytes, NULL));
        g_autofree char *text = NULL, *complaint = NULL;
        /* All places: a calendar of one event has each of these once, or once a component. */
        if (g_string_replace(spoilt, spoilt_rows[i].from, spoilt_rows[i].to, 0) == 0)
            fail_msg("%s: nothing to spoil", spoilt_rows[i].sentence);
        text = g_string_free(spoilt, FALSE);
        complaint = calendar_check(text, strlen(text));
        if (complaint == NULL || strstr(complaint, spoilt_rows[i].complaint) == NULL)
            fail_msg("%s: %s", spoilt_rows[i].sentence, complaint != NULL ? complaint : "passed");
    }
}

/* ---- the file ---- */

static ino_t inode(const char *path)
{
    GStatBuf status;

    assert_int_equal(g_stat(path, &status), 0);
    return status.st_ino;
}

static void test_written_only_when_different(void **state)
{
    g_autofree char *path = path_of("same.ics");
    g_autoptr(GBytes) bytes = sample_bytes(1, "Open frame");
    g_autoptr(GBytes) other = sample_bytes(2, "Open frame");
    g_autoptr(GError) error = NULL;
    g_autofree char *held = NULL;
    gboolean wrote = FALSE;
    GStatBuf status;
    ino_t first;
    gsize length;

    (void)state;
    assert_true(calendar_file_publish(path, bytes, &wrote, &error));
    assert_true(wrote);
    first = inode(path);
    assert_int_equal(g_stat(path, &status), 0);
    assert_int_equal(status.st_mode & 0137, 0);
    assert_true(calendar_file_publish(path, bytes, &wrote, &error));
    assert_false(wrote);
    assert_int_equal(inode(path), first);
    assert_true(calendar_file_publish(path, other, &wrote, &error));
    assert_true(wrote);
    assert_true(g_file_get_contents(path, &held, &length, &error));
    assert_memory_equal(held, g_bytes_get_data(other, NULL), g_bytes_get_size(other));
    assert_int_equal(length, g_bytes_get_size(other));
}

/* What stands at path must not be replaced: a conflict that names the path and says what it is. */
static void assert_refused(const char *path, const char *says)
{
    g_autoptr(GBytes) bytes = sample_bytes(1, "Open frame");
    g_autoptr(GError) error = NULL;
    gboolean wrote = 77;

    assert_false(calendar_file_publish(path, bytes, &wrote, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT));
    assert_non_null(strstr(error->message, path));
    if (strstr(error->message, says) == NULL)
        fail_msg("%s", error->message);
    assert_int_equal(wrote, 77);
}

static void test_other_files_are_left_alone(void **state)
{
    static const char foreign[] = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//somebody//EN\r\n";
    g_autofree char *kept = path_of("foreign.ics");
    g_autofree char *link = path_of("link.ics");
    g_autofree char *pipe_path = path_of("pipe.ics");
    g_autofree char *missing = path_of("no-such-folder/thole.ics");
    g_autofree char *empty = path_of("touched.ics");
    g_autofree char *held = NULL;
    g_autoptr(GBytes) bytes = sample_bytes(1, "Open frame");
    g_autoptr(GError) error = NULL, write_error = NULL;
    gboolean wrote = FALSE;

    (void)state;
    assert_true(g_file_set_contents(kept, foreign, -1, &error));
    assert_refused(kept, "something else");
    assert_true(g_file_get_contents(kept, &held, NULL, &error));
    assert_string_equal(held, foreign);
    assert_int_equal(symlink(kept, link), 0);
    assert_refused(link, "a symbolic link");
    assert_refused(folder, "a folder");
    assert_int_equal(mkfifo(pipe_path, 0600), 0);
    assert_refused(pipe_path, "pipe");
    assert_int_equal(truncate(kept, 64 * 1024 * 1024 + 1), 0); /* no room is taken by zeros */
    assert_refused(kept, "67108865 bytes");

    assert_false(calendar_file_publish(missing, bytes, NULL, &write_error));
    assert_true(g_error_matches(write_error, THOLE_ERROR, THOLE_ERROR_IO));
    assert_non_null(strstr(write_error->message, missing));
    assert_true(g_file_set_contents(empty, "", 0, &error));
    assert_true(calendar_file_publish(empty, bytes, &wrote, &error));
    assert_true(wrote);
}

/* ---- killed while publishing ---- */

static void publish_for_ever(const char *path, GBytes *one, GBytes *other)
{
    for (;;) {
        if (!calendar_file_publish(path, one, NULL, NULL) ||
            !calendar_file_publish(path, other, NULL, NULL))
            _exit(1);
    }
}

/* What a reader finds at any moment is one of the two, whole; which. */
static int found(const char *path, GBytes *one, GBytes *other)
{
    g_autofree char *held = NULL;
    g_autoptr(GError) error = NULL;
    g_autoptr(GBytes) bytes = NULL;
    gsize length;

    if (!g_file_get_contents(path, &held, &length, &error))
        fail_msg("%s", error->message);
    bytes = g_bytes_new(held, length);
    if (g_bytes_equal(bytes, one))
        return 0;
    assert_true(g_bytes_equal(bytes, other));
    return 1;
}

static void test_killed_while_publishing(void **state)
{
    g_autoptr(GRand) rand = g_rand_new_with_seed(calendar_seed("killed while publishing"));
    g_autofree char *path = path_of("killed.ics");
    g_autoptr(GBytes) one = sample_bytes(1, "Open frame");
    g_autoptr(GBytes) other = sample_bytes(200, "Close frame");
    g_autoptr(GError) error = NULL;
    int seen[2] = {0, 0};

    (void)state;
    assert_true(calendar_file_publish(path, one, NULL, &error));
    for (int round = 0; round < 100; round++) {
        int status;
        gint64 kill_at;
        pid_t child = fork();

        assert_true(child >= 0);
        if (child == 0)
            publish_for_ever(path, one, other);
        kill_at = g_get_monotonic_time() + g_rand_int_range(rand, 0, 8000);
        while (g_get_monotonic_time() < kill_at)
            seen[found(path, one, other)]++;
        assert_int_equal(kill(child, SIGKILL), 0);
        assert_int_equal(waitpid(child, &status, 0), child);
        assert_true(WIFSIGNALED(status));
        seen[found(path, one, other)]++;
    }
    /* The test is worth something only if both were met. */
    assert_true(seen[0] > 0 && seen[1] > 0);
    /* And the next publishing goes through. */
    assert_true(calendar_file_publish(path, one, NULL, &error));
    assert_int_equal(found(path, one, other), 0);
}

static int make_folder(void **state)
{
    (void)state;
    folder = g_dir_make_tmp("thole-calendar-XXXXXX", NULL);
    return folder == NULL ? -1 : 0;
}

static int remove_folder(void **state)
{
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    const char *name;

    (void)state;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *path = path_of(name);
        g_remove(path);
    }
    g_rmdir(folder);
    g_clear_pointer(&folder, g_free);
    icaltimezone_free_builtin_timezones();
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_killed_while_publishing), /* first: it forks, before any thread */
        cmocka_unit_test(test_clean),
        cmocka_unit_test(test_dirty_texts_written),
        cmocka_unit_test(test_backslashes),
        cmocka_unit_test(test_order_does_not_matter),
        cmocka_unit_test(test_checker_finds_faults),
        cmocka_unit_test(test_library_round_trip),
        cmocka_unit_test(test_other_parser),
        cmocka_unit_test(test_empty_calendar),
        cmocka_unit_test(test_written_only_when_different),
        cmocka_unit_test(test_other_files_are_left_alone),
    };
    return cmocka_run_group_tests_name("calendar-file", tests, make_folder, remove_folder);
}
