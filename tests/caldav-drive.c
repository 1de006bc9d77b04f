/* SPDX-License-Identifier: MIT */
/*
 * caldav-drive ADDRESS USER SECRET-FILE STATE-FILE EVENTS-FILE NOW
 * An outlet as the service would run it, until all stands or it fails, on a virtual clock that
 * begins at NOW: state is read from its file and kept there. EVENTS: a line each,
 * uid|start|minutes|summary|description|alarms|cancelled|edits seen|sequence|location, the alarms
 * in minutes before the start, with commas between. Prints what it found.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "caldav/outlet.h"

#define ROUNDS_MAX 6

typedef struct Drive {
    const char *state_path;
    CaldavOutlet *outlet;
    int rounds, writes;
    gboolean over;
} Drive;

static const char *const kinds[] = {
    "moved",  "deleted", "cancelled", "done",  "restored",   "renamed",    "ok",
    "missed", "watered", "reading",   "other", "other-seen", "other-gone", "lost",
};

static gboolean keep(const CaldavState *state, const GPtrArray *edits, gpointer data,
                     GError **error)
{
    const Drive *drive = data;
    g_autofree char *text = caldav_state_write(state);

    if (!g_file_set_contents(drive->state_path, text, -1, error))
        return FALSE;
    for (guint i = 0; i < edits->len; i++) {
        const CaldavEdit *edit = edits->pdata[i];
        printf("edit %s %s %u %" G_GINT64_FORMAT " %" G_GINT64_FORMAT " %s|%s|%.1f\n",
               kinds[edit->kind], *edit->uid != '\0' ? edit->uid : "-", edit->edits,
               edit->start_utc, edit->end_utc, edit->text != NULL ? edit->text : "",
               edit->place != NULL ? edit->place : "", edit->temperature_c);
    }
    return TRUE;
}

static void ended(const GError *error, gpointer data)
{
    Drive *drive = data;

    drive->rounds++;
    if (error != NULL)
        printf("error %s\n", error->message);
    drive->over = error != NULL || drive->rounds >= ROUNDS_MAX ||
                  (caldav_outlet_pending(drive->outlet) == 0 && drive->rounds > 1);
    if (!drive->over)
        caldav_outlet_now(drive->outlet);
}

static void read_events(const char *path, int64_t now_utc, GPtrArray *events, GArray *seen)
{
    g_autofree char *text = NULL;
    g_autoptr(GError) error = NULL;

    if (!g_file_get_contents(path, &text, NULL, &error))
        g_error("%s", error->message);
    g_auto(GStrv) lines = g_strsplit(text, "\n", -1);
    for (char **line = lines; *line != NULL && **line != '\0'; line++) {
        g_auto(GStrv) field = g_strsplit(*line, "|", -1);
        EventMemory *event = event_memory_new();
        guint edits_seen = (guint)atoi(field[7]);
        caldav_set(&event->uid, field[0]);
        caldav_set(&event->visit_id, field[0]);
        event->start_utc = g_ascii_strtoll(field[1], NULL, 10);
        event->end_utc = event->start_utc + INT64_C(60) * atoi(field[2]);
        event->day_end_utc = event->start_utc + 86400;
        caldav_set(&event->summary, field[3]);
        g_free(event->description);
        event->description = g_strcompress(field[4]);
        caldav_set(&event->location, field[9]);
        event->cancelled = atoi(field[6]);
        g_auto(GStrv) alarms = g_strsplit(field[5], ",", -1);
        for (char **alarm = alarms; *alarm != NULL && !event->cancelled; alarm++)
            event_alarms_add(event->alarms, atoi(*alarm), FALSE, field[3]);
        event->sequence = atoi(field[8]);
        event->created_utc = event->dtstamp_utc = event->last_modified_utc = now_utc;
        event->hash = (g_free(event->hash), event_memory_hash(event));
        g_ptr_array_add(events, event);
        g_array_append_val(seen, edits_seen);
    }
}

int main(int argc, char **argv)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) events = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);
    g_autoptr(GArray) seen = g_array_new(FALSE, FALSE, sizeof(guint));
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    g_autofree char *kept = NULL;
    const CaldavHooks hooks = {keep, ended};
    CaldavState *state = NULL;

    if (argc != 7)
        return 2;
    int64_t now_utc = g_ascii_strtoll(argv[6], NULL, 10);
    read_events(argv[5], now_utc, events, seen);
    if (g_file_get_contents(argv[4], &kept, NULL, NULL))
        state = caldav_state_read(kept, NULL);
    g_autoptr(Clock) clk = clock_virtual_new(NULL, now_utc);
    CaldavSettings settings = {
        .address = argv[1],
        .user = argv[2],
        .secret_path = argv[3],
        .name = "Frames & trays",
        .colour = "#2E8B57",
        .user_agent = "thole/test",
        .zone = zone,
        .seed = 7,
    };
    Drive drive = {.state_path = argv[4]};
    g_autoptr(CaldavOutlet) outlet =
        caldav_outlet_new(&settings, state, clk, &hooks, &drive, &error);
    if (outlet == NULL) {
        printf("error %s\n", error->message);
        return 1;
    }
    drive.outlet = outlet;
    caldav_outlet_want(outlet, events, (const guint *)(const void *)seen->data);
    caldav_outlet_now(outlet);
    while (!drive.over)
        g_main_context_iteration(NULL, TRUE);
    printf("collection %s\npending %u\nrounds %d\n", caldav_outlet_state(outlet)->collection,
           caldav_outlet_pending(outlet), drive.rounds);
    return 0;
}
