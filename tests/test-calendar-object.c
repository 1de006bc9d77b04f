/* SPDX-License-Identifier: MIT */
/* One event as an object of a server: what clients write, read and merged. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "calendar/object.h"

#define NOW_UTC G_GINT64_CONSTANT(1774598400)   /* 2026-03-27T08:00:00Z, GNU date */
#define START_UTC G_GINT64_CONSTANT(1774807200) /* 2026-03-29T18:00:00Z: 19:00 in London */

#define HEAD "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\n"
#define EVENT(lines)                                                                               \
    "BEGIN:VEVENT\r\nUID:visit\r\nDTSTAMP:20260327T080000Z\r\n" lines "END:VEVENT\r\n"
#define TAIL "END:VCALENDAR\r\n"

static GTimeZone *london(void)
{
    return g_time_zone_new_identifier("Europe/London");
}

static EventMemory *event_new(void)
{
    EventMemory *event = event_memory_new();
    g_free(event->uid);
    event->uid = g_strdup("visit");
    event->start_utc = START_UTC;
    event->end_utc = START_UTC + 900;
    g_free(event->summary);
    event->summary = g_strdup("Close frame");
    event_alarms_add(event->alarms, 15, TRUE, "Leave now");
    return event;
}

/* Every way of writing a time that clients have; the clocks changed that morning. */
static void test_times(void **state)
{
    static const struct {
        const char *lines;
        int64_t start_s, end_s; /* from START_UTC */
        gboolean all_day;
    } table[] = {
        {"DTSTART:20260329T180000Z\r\nDTEND:20260329T181500Z\r\n", 0, 900, FALSE},
        {"DTSTART:20260329T180000Z\r\nDURATION:PT20M\r\n", 0, 1200, FALSE},
        {"DTSTART:20260329T180000Z\r\n", 0, 0, FALSE},
        {"DTSTART:20260329T180000Z\r\nDTEND:20260329T170000Z\r\n", 0, 0, FALSE},
        {"DTSTART;TZID=Europe/London:20260329T190000\r\n", 0, 0, FALSE},
        {"DTSTART;TZID=Europe/Berlin:20260329T200000\r\n", 0, 0, FALSE},
        {"DTSTART;TZID=/freeassociation.sourceforge.net/Europe/Berlin:20260329T200000\r\n", 0, 0,
         FALSE},
        {"DTSTART:20260329T190000\r\n", 0, 0, FALSE},
        {"DTSTART;VALUE=DATE:20260330\r\n", 5 * 3600, 29 * 3600, TRUE}, /* 00:00 BST */
        /* RFC 5545 §3.3.5: in the gap the offset before it holds, 01:30 is 01:30Z. */
        {"DTSTART;TZID=Europe/London:20260329T013000\r\n", -59400, -59400, FALSE},
        {"DTSTART;TZID=../../../../dev/zero/x:20260329T190000\r\n", 0, 0, FALSE},
    };
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    for (gsize i = 0; i < G_N_ELEMENTS(table); i++) {
        g_autofree char *text = g_strdup_printf(
            HEAD "BEGIN:VEVENT\r\nUID:visit\r\n%sEND:VEVENT\r\n" TAIL, table[i].lines);
        g_autoptr(CalendarObject) object = calendar_object_read(text, -1, zone, NULL);
        assert_non_null(object);
        if (object->start_utc - START_UTC != table[i].start_s ||
            object->end_utc - START_UTC != table[i].end_s || object->all_day != table[i].all_day)
            fail_msg("%s: %" G_GINT64_FORMAT " %" G_GINT64_FORMAT, table[i].lines,
                     object->start_utc - START_UTC, object->end_utc - START_UTC);
    }
}

/* A zone that only the object itself knows. */
static void test_own_zone(void **state)
{
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    const char *text =
        HEAD "BEGIN:VTIMEZONE\r\nTZID:Garden\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\n"
             "TZOFFSETFROM:+0300\r\nTZOFFSETTO:+0300\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n" EVENT(
                 "DTSTART;TZID=Garden:20260329T210000\r\n") TAIL;
    g_autoptr(CalendarObject) object = calendar_object_read(text, -1, zone, NULL);
    assert_int_equal(object->start_utc, START_UTC);
}

static void test_refused(void **state)
{
    static const char *const texts[] = {
        "",
        "hello",
        HEAD TAIL,
        HEAD "BEGIN:VEVENT\r\nUID:visit\r\nEND:VEVENT\r\n" TAIL,
        HEAD "BEGIN:VEVENT\r\nDTSTART:20260329T180000Z\r\nEND:VEVENT\r\n" TAIL,
        HEAD EVENT("DTSTART:20260231T180000Z\r\n") TAIL,
        HEAD EVENT("DTSTART:00000000T000000Z\r\n") TAIL,
        HEAD "BEGIN:VTODO\r\nUID:visit\r\nDTSTART:20260329T180000Z\r\nEND:VTODO\r\n" TAIL,
    };
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    for (gsize i = 0; i < G_N_ELEMENTS(texts); i++) {
        g_autoptr(GError) error = NULL;
        if (calendar_object_read(texts[i], -1, zone, &error) != NULL || error == NULL)
            fail_msg("accepted: %s", texts[i]);
    }
}

static void test_marks(void **state)
{
    (void)state;
    g_autoptr(GTimeZone) zone = london();
#define START "DTSTART:20260329T180000Z\r\n"
    g_autoptr(CalendarObject) off =
        calendar_object_read(HEAD EVENT(START "STATUS:CANCELLED\r\n") TAIL, -1, zone, NULL);
    g_autoptr(CalendarObject) done =
        calendar_object_read(HEAD EVENT(START "PERCENT-COMPLETE:100\r\n") TAIL, -1, zone, NULL);
    g_autoptr(CalendarObject) often =
        calendar_object_read(HEAD EVENT(START "RRULE:FREQ=DAILY\r\n") TAIL, -1, zone, NULL);
    assert_true(off->cancelled && !off->done);
    assert_true(done->done && !done->cancelled);
    assert_true(often->repeats);
}

#define CLIENT                                                                                     \
    HEAD EVENT("DTSTART;TZID=Europe/London:20260329T190000\r\n"                                    \
               "DTEND;TZID=Europe/London:20260329T191500\r\nSUMMARY:Old\r\nSEQUENCE:4\r\n"         \
               "X-CLIENT:7\r\nX-MOZ-LASTACK:20260329T174600Z\r\n"                                  \
               "BEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:Leave\r\nTRIGGER:-PT15M\r\n"         \
               "ACKNOWLEDGED:20260329T174600Z\r\nEND:VALARM\r\n"                                   \
               "BEGIN:VALARM\r\nUID:mine\r\nACTION:DISPLAY\r\nDESCRIPTION:Mine\r\n"                \
               "TRIGGER:-PT2H\r\nEND:VALARM\r\n") TAIL

/* Theirs stays, ours is new; the dismissed alarm rings at the same instant, so it stays dismissed.
 */
static void test_merge_words(void **state)
{
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    g_autoptr(EventMemory) event = event_new();
    g_autofree char *ours = calendar_object_write(event, "visit");
    char *list[] = {ours, NULL};
    g_autofree char *merged = calendar_object_merge(CLIENT, event, list, zone, NOW_UTC);
    assert_non_null(strstr(merged, "SUMMARY:Close frame\r\n"));
    assert_non_null(strstr(merged, "DTSTART;TZID=Europe/London:20260329T190000\r\n"));
    assert_non_null(strstr(merged, "X-CLIENT:7\r\n"));
    assert_non_null(strstr(merged, "ACKNOWLEDGED:20260329T174600Z\r\n"));
    assert_non_null(strstr(merged, "X-MOZ-LASTACK:20260329T174600Z\r\n"));
    assert_non_null(strstr(merged, "UID:mine\r\n"));
    assert_non_null(strstr(merged, "SEQUENCE:4\r\n"));
    assert_non_null(strstr(merged, "DTSTAMP:20260327T080001Z\r\n"));
    g_autoptr(CalendarObject) read = calendar_object_read(merged, -1, zone, NULL);
    assert_int_equal(read->alarm_minutes->len, 2); /* ours once, theirs once */
    /* Said once more it is the same. */
    g_autofree char *again = calendar_object_merge(merged, event, list, zone, NOW_UTC + 60);
    assert_true(calendar_object_same(merged, again));
    assert_false(calendar_object_same(merged, CLIENT));
}

/* Another time: the alarm must ring again, and the count rises. */
static void test_merge_time(void **state)
{
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    g_autoptr(EventMemory) event = event_new();
    g_autofree char *ours = calendar_object_write(event, "visit");
    char *list[] = {ours, NULL};
    event->start_utc += 3600;
    event->end_utc += 3600;
    g_autofree char *merged = calendar_object_merge(CLIENT, event, list, zone, NOW_UTC);
    assert_non_null(strstr(merged, "DTSTART:20260329T190000Z\r\n"));
    assert_null(strstr(merged, "ACKNOWLEDGED"));
    assert_null(strstr(merged, "X-MOZ-LASTACK"));
    assert_non_null(strstr(merged, "SEQUENCE:5\r\n"));
    assert_non_null(strstr(merged, "UID:mine\r\n"));
}

/* The event moves and its lead time with it: the same instant, so it stays dismissed. */
static void test_merge_same_instant(void **state)
{
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    g_autoptr(EventMemory) event = event_new();
    g_autofree char *ours = calendar_object_write(event, "visit");
    char *list[] = {ours, NULL};
    event->start_utc += 900;
    event->end_utc += 900;
    g_array_index(event->alarms, EventAlarm, 0).minutes_before = 30;
    g_autofree char *merged = calendar_object_merge(CLIENT, event, list, zone, NOW_UTC);
    assert_non_null(strstr(merged, "ACKNOWLEDGED:20260329T174600Z\r\n"));
}

/* Objects cut anywhere, and with a byte changed, are read or refused. */
static void test_mangled(void **state)
{
    (void)state;
    g_autoptr(GTimeZone) zone = london();
    g_autoptr(EventMemory) event = event_new();
    char *none[] = {NULL};
    gsize length = strlen(CLIENT);
    for (gsize i = 0; i < length; i++) {
        g_autofree char *cut = g_strndup(CLIENT, i);
        g_autofree char *changed = g_strdup(CLIENT);
        changed[i] = (char)(changed[i] ^ (1 << (i % 8)));
        g_autoptr(CalendarObject) a = calendar_object_read(cut, -1, zone, NULL);
        g_autoptr(CalendarObject) b = calendar_object_read(changed, (gssize)length, zone, NULL);
        g_autofree char *merged =
            b != NULL ? calendar_object_merge(changed, event, none, zone, NOW_UTC) : NULL;
        if (merged != NULL)
            assert_non_null(strstr(merged, "SUMMARY:Close frame"));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_times),
        cmocka_unit_test(test_own_zone),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_marks),
        cmocka_unit_test(test_merge_words),
        cmocka_unit_test(test_merge_time),
        cmocka_unit_test(test_merge_same_instant),
        cmocka_unit_test(test_mangled),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
