/* SPDX-License-Identifier: MIT */
/*
 * Puts an event of thole's into each object whose path comes on standard input, as the calendar
 * server's outlet does after a grower had it in hand; the outcome stands beside it, its name with
 * ".merged.object.ics" behind. For calendar-rfc.sh.
 */
#include <gio/gio.h>
#include <stdio.h>
#include <string.h>

#include "calendar/object.h"

#define START_UTC G_GINT64_CONSTANT(1774807200) /* 2026-03-29T18:00:00Z, GNU date */

int main(void)
{
    g_autoptr(EventMemory) event = event_memory_new();
    g_autoptr(GTimeZone) zone = g_time_zone_new_identifier("Europe/London");
    char *none[] = {NULL};
    char path[4096];

    g_free(event->summary);
    event->summary = g_strdup("Frühbeet schließen, 育苗フレーム");
    event->start_utc = START_UTC;
    event->end_utc = START_UTC + 900;
    event_alarms_add(event->alarms, 15, TRUE, "Leave now; it is cold");
    while (fgets(path, sizeof path, stdin) != NULL) {
        path[strcspn(path, "\n")] = '\0';
        g_autofree char *to = g_strdup_printf("%s.merged.object.ics", path);
        g_autofree char *theirs = NULL;
        g_autoptr(GError) error = NULL;
        if (!g_file_get_contents(path, &theirs, NULL, &error))
            g_error("%s", error->message);
        g_autofree char *merged =
            calendar_object_merge(theirs, event, none, zone, START_UTC - 86400);
        if (merged == NULL || !g_file_set_contents(to, merged, -1, &error))
            g_error("%s: %s", path, error != NULL ? error->message : "cannot be read");
    }
    return 0;
}
