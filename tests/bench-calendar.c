/* SPDX-License-Identifier: MIT */
/*
 * Usage: bench-calendar FOLDER make | FOLDER thole|libical TASK
 *
 * What ten thousand events cost: `make` leaves them in FOLDER as two plans and as objects, for
 * bench-calendar.py and bench-calendar.js to read; a TASK is timed, as thole does it and as plain
 * libical would. bench-calendar.sh runs all of it and makes the table. Prints milliseconds of
 * processor time, the best of three, and kB that the process grew by at most.
 */
#include <gio/gio.h>
#include <json-glib/json-glib.h>
#include <libical/ical.h>
#include <malloc.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "calendar/decide.h"
#include "calendar/object.h"
#include "calendar/write.h"

#define EVENTS 10000
#define ROUNDS 3
#define BEGIN_UTC 1800000000 /* some day in 2027 */
#define NOW_UTC (BEGIN_UTC - 3600)
#define SEED 2026

typedef struct Bench {
    GPtrArray *old_wanted, *new_wanted; /* of EventWanted: a plan, and the next one */
    GPtrArray *memory, *next;           /* of EventMemory: what was published, and will be */
    GPtrArray *objects;                 /* of char: as on a server, one alarm of each dismissed */
    GTimeZone *zone;
} Bench;

static guint below(GRand *rand, guint n)
{
    return (guint)g_rand_int_range(rand, 0, (gint32)n);
}

/* ---- the data ---- */

static EventWanted *visit(int i, int moved_s, gboolean reworded)
{
    static const char *const places[] = {"Frühbeet", "frame", "育苗フレーム", "tunnel"};
    EventWanted *wanted = event_wanted_new();

    wanted->visit_id = g_strdup_printf("visit-%d", i);
    wanted->start_utc = BEGIN_UTC + (int64_t)i * 3600 + moved_s;
    wanted->end_utc = wanted->start_utc + 1200;
    wanted->day_end_utc = wanted->start_utc + 86400;
    wanted->summary = g_strdup_printf("Carry lettuces to %s by 12:30 +%d", places[i % 4], i % 3);
    wanted->location = g_strdup("Gärtchen-über-Häusle");
    wanted->description = g_strdup_printf(
        "Take along: water, if the site has none, room for %d trays on the way back.\n"
        "- Prop the frame %d cm. Air and light do the leeks good.\n- Carry the 24 lettuces "
        "(lettuce-%d) from the %s to the sill at home by 12:30. Otherwise their leaves may fall "
        "to about %d °C early on Mon; odds of damage 10–25 %%.\nThese are estimates: your own "
        "thermometer and the local forecast decide.",
        1 + i % 6, 10 + i % 3 * 10, i, places[i % 4], reworded ? -3 : 2);
    wanted->categories = g_strdupv((char *[]){(char *)"thole", (char *)"carry", NULL});
    wanted->alarms = event_alarms_new();
    event_alarms_add(wanted->alarms, 60, FALSE, wanted->summary);
    if (i % 2 == 0)
        event_alarms_add(wanted->alarms, 0, TRUE, "Leave now: 20 minutes to the plot");
    wanted->substance = g_strdup_printf("job-%d", i);
    return wanted;
}

/* Of a hundred visits of the next plan ten are moved, ten say other words, one is gone, one is new.
 */
static void make_plans(Bench *bench)
{
    g_autoptr(GRand) rand = g_rand_new_with_seed(SEED);

    for (int i = 0; i < EVENTS; i++) {
        const guint lot = below(rand, 100);
        g_ptr_array_add(bench->old_wanted, visit(i, 0, FALSE));
        if (lot != 99)
            g_ptr_array_add(bench->new_wanted, visit(i, lot < 10 ? 900 : 0, lot >= 10 && lot < 20));
        if (lot == 98)
            g_ptr_array_add(bench->new_wanted, visit(EVENTS + i, 0, FALSE));
    }
}

static GPtrArray *decide(const GPtrArray *memory, const GPtrArray *wanted, int64_t now_utc)
{
    GPtrArray *next = NULL;
    g_autoptr(GPtrArray) changes = NULL;
    g_autoptr(GError) error = NULL;

    if (!calendar_decide(memory, wanted, now_utc, 3600, &next, &changes, &error))
        g_error("%s", error->message);
    return next;
}

/* As a phone leaves it, whose owner has seen the first alarm. */
static char *dismissed(const EventMemory *event)
{
    g_autofree char *text = calendar_object_write(event, event->uid);
    char *at = strstr(text, "END:VALARM");
    g_autofree char *before = g_strndup(text, (gsize)(at - text));

    return g_strdup_printf("%sACKNOWLEDGED:20270115T080000Z\r\n%s", before, at);
}

static Bench *bench_new(void)
{
    Bench *bench = g_new0(Bench, 1);
    g_autoptr(GPtrArray) none = g_ptr_array_new();

    bench->old_wanted = g_ptr_array_new_with_free_func((GDestroyNotify)event_wanted_free);
    bench->new_wanted = g_ptr_array_new_with_free_func((GDestroyNotify)event_wanted_free);
    bench->zone = g_time_zone_new_utc();
    make_plans(bench);
    bench->memory = decide(none, bench->old_wanted, NOW_UTC);
    bench->next = decide(bench->memory, bench->new_wanted, NOW_UTC + 60);
    bench->objects = g_ptr_array_new_with_free_func(g_free);
    for (guint i = 0; i < bench->memory->len; i++)
        g_ptr_array_add(bench->objects, dismissed(bench->memory->pdata[i]));
    return bench;
}

static void bench_free(Bench *bench)
{
    g_ptr_array_unref(bench->old_wanted);
    g_ptr_array_unref(bench->new_wanted);
    g_ptr_array_unref(bench->memory);
    g_ptr_array_unref(bench->next);
    g_ptr_array_unref(bench->objects);
    g_time_zone_unref(bench->zone);
    g_free(bench);
}

static void save(const char *folder, const char *name, GBytes *bytes)
{
    g_autofree char *path = g_build_filename(folder, name, NULL);
    g_autoptr(GError) error = NULL;

    if (!g_file_set_contents(path, g_bytes_get_data(bytes, NULL), (gssize)g_bytes_get_size(bytes),
                             &error))
        g_error("%s", error->message);
}

static void make(const Bench *bench, const char *folder)
{
    g_autoptr(GBytes) old = calendar_write(bench->memory, "thole", NULL);
    g_autoptr(GBytes) next = calendar_write(bench->next, "thole", NULL);
    g_autoptr(JsonBuilder) to = json_builder_new();

    json_builder_begin_array(to);
    for (guint i = 0; i < bench->objects->len; i++)
        json_builder_add_string_value(to, bench->objects->pdata[i]);
    json_builder_end_array(to);
    g_autoptr(JsonNode) root = json_builder_get_root(to);
    char *text = json_to_string(root, FALSE);
    g_autoptr(GBytes) objects = g_bytes_new_take(text, strlen(text));
    save(folder, "old.ics", old);
    save(folder, "new.ics", next);
    save(folder, "objects.json", objects);
}

/* ---- thole ---- */

static void thole_write(const Bench *bench)
{
    g_bytes_unref(calendar_write(bench->next, "thole", NULL));
}

static void thole_objects(const Bench *bench)
{
    for (guint i = 0; i < bench->next->len; i++) {
        const EventMemory *event = bench->next->pdata[i];
        g_free(calendar_object_write(event, event->uid));
    }
}

static void thole_read(const Bench *bench)
{
    for (guint i = 0; i < bench->objects->len; i++)
        calendar_object_free(calendar_object_read(bench->objects->pdata[i], -1, bench->zone, NULL));
}

static void thole_diff(const Bench *bench)
{
    g_ptr_array_unref(decide(bench->memory, bench->new_wanted, NOW_UTC + 60));
}

static void thole_merge(const Bench *bench)
{
    char *none[] = {NULL};

    for (guint i = 0; i < bench->objects->len; i++)
        g_free(calendar_object_merge(bench->objects->pdata[i], bench->next->pdata[i], none,
                                     bench->zone, NOW_UTC + 60));
}

/* ---- plain libical: nothing cleaned, compared or kept ---- */

static icaltimetype instant(int64_t time_utc)
{
    return icaltime_from_timet_with_zone((time_t)time_utc, 0, icaltimezone_get_utc_timezone());
}

static icalcomponent *plain_event(const EventMemory *from)
{
    icalcomponent *event = icalcomponent_vanew(
        ICAL_VEVENT_COMPONENT, icalproperty_new_uid(from->uid),
        icalproperty_new_dtstamp(instant(from->dtstamp_utc)),
        icalproperty_new_created(instant(from->created_utc)),
        icalproperty_new_lastmodified(instant(from->last_modified_utc)),
        icalproperty_new_sequence(from->sequence),
        icalproperty_new_dtstart(instant(from->start_utc)),
        icalproperty_new_dtend(instant(from->end_utc)),
        icalproperty_new_status(from->cancelled ? ICAL_STATUS_CANCELLED : ICAL_STATUS_CONFIRMED),
        icalproperty_new_transp(ICAL_TRANSP_TRANSPARENT), icalproperty_new_summary(from->summary),
        icalproperty_new_location(from->location), icalproperty_new_description(from->description),
        (void *)0);

    for (char **category = from->categories; *category != NULL; category++)
        icalcomponent_add_property(event, icalproperty_new_categories(*category));
    for (guint i = 0; i < from->alarms->len && !from->cancelled; i++) {
        const EventAlarm *alarm = &g_array_index(from->alarms, EventAlarm, i);
        struct icaltriggertype trigger = {
            .duration = icaldurationtype_from_int(-60 * alarm->minutes_before)};
        icalcomponent_add_component(
            event, icalcomponent_vanew(ICAL_VALARM_COMPONENT, icalproperty_new_uid(from->uid),
                                       icalproperty_new_action(ICAL_ACTION_DISPLAY),
                                       icalproperty_new_description(alarm->text),
                                       icalproperty_new_trigger(trigger), (void *)0));
    }
    return event;
}

static icalcomponent *plain_calendar(void)
{
    return icalcomponent_vanew(ICAL_VCALENDAR_COMPONENT, icalproperty_new_version("2.0"),
                               icalproperty_new_prodid(CALENDAR_PRODUCT), (void *)0);
}

static void print(icalcomponent *calendar)
{
    free(icalcomponent_as_ical_string_r(calendar));
    icalcomponent_free(calendar);
}

static void plain_write(const Bench *bench)
{
    icalcomponent *calendar = plain_calendar();

    for (guint i = 0; i < bench->next->len; i++)
        icalcomponent_add_component(calendar, plain_event(bench->next->pdata[i]));
    print(calendar);
}

static void plain_objects(const Bench *bench)
{
    for (guint i = 0; i < bench->next->len; i++) {
        icalcomponent *calendar = plain_calendar();
        icalcomponent_add_component(calendar, plain_event(bench->next->pdata[i]));
        print(calendar);
    }
}

static void plain_read(const Bench *bench)
{
    for (guint i = 0; i < bench->objects->len; i++)
        icalcomponent_free(icalparser_parse_string(bench->objects->pdata[i]));
}

/* Each object parsed, given the new times and words, and printed. */
static void plain_merge(const Bench *bench)
{
    for (guint i = 0; i < bench->objects->len; i++) {
        const EventMemory *event = bench->next->pdata[i];
        icalcomponent *calendar = icalparser_parse_string(bench->objects->pdata[i]);
        icalcomponent *inner = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);
        icalcomponent_set_dtstart(inner, instant(event->start_utc));
        icalcomponent_set_dtend(inner, instant(event->end_utc));
        icalcomponent_set_dtstamp(inner, instant(NOW_UTC + 60));
        icalcomponent_set_sequence(inner, event->sequence);
        icalcomponent_set_summary(inner, event->summary);
        icalcomponent_set_description(inner, event->description);
        print(calendar);
    }
}

/* ---- measuring ---- */

static const struct {
    const char *who, *task;
    void (*run)(const Bench *bench);
} tasks[] = {
    {"thole", "write", thole_write},       {"thole", "objects", thole_objects},
    {"thole", "read", thole_read},         {"thole", "diff", thole_diff},
    {"thole", "merge", thole_merge},       {"libical", "write", plain_write},
    {"libical", "objects", plain_objects}, {"libical", "read", plain_read},
    {"libical", "merge", plain_merge},
};

static double now_ms(void)
{
    struct timespec t;

    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static long status_kb(const char *field)
{
    g_autofree char *text = NULL;

    if (!g_file_get_contents("/proc/self/status", &text, NULL, NULL))
        return 0;
    const char *at = strstr(text, field);
    return at != NULL ? strtol(at + strlen(field), NULL, 10) : 0;
}

/* What was freed goes back to the system, and the peak begins anew: proc(5), clear_refs. */
static long base_kb(void)
{
    FILE *file = fopen("/proc/self/clear_refs", "w");

    malloc_trim(0);
    if (file != NULL) {
        fputs("5", file);
        fclose(file);
    }
    return status_kb("VmRSS:");
}

static void measure(const Bench *bench, void (*run)(const Bench *bench))
{
    double best_ms = G_MAXDOUBLE;
    long grown_kb = 0;

    for (int i = 0; i < ROUNDS; i++) {
        const long before_kb = i == 0 ? base_kb() : 0;
        const double begun_ms = now_ms();
        run(bench);
        best_ms = MIN(best_ms, now_ms() - begun_ms);
        if (i == 0)
            grown_kb = status_kb("VmHWM:") - before_kb;
    }
    printf("%.1f %ld\n", best_ms, grown_kb);
}

int main(int argc, char **argv)
{
    gboolean done = argc == 3 && strcmp(argv[2], "make") == 0;
    Bench *bench = bench_new();

    if (done)
        make(bench, argv[1]);
    for (gsize i = 0; i < G_N_ELEMENTS(tasks) && argc == 4; i++) {
        if (strcmp(argv[2], tasks[i].who) == 0 && strcmp(argv[3], tasks[i].task) == 0) {
            measure(bench, tasks[i].run);
            done = TRUE;
        }
    }
    bench_free(bench);
    return done ? 0 : 2;
}
