/* SPDX-License-Identifier: MIT */
#include "outlets-garden.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "calendar/event.h"
#include "calendar/object.h"

const char outlets_garden[] =
    "[garden]\n"
    "[grower one]\nvisits-home=07:00-08:30; 17:30-dusk\nhome=home\n"
    "[grower two]\nvisits-plot=07:00-08:30; 17:30-dusk\nhome=plot\n"
    "[site home]\nlatitude=53.10\nlongitude=-2.02\nzone=Europe/London\nweather=none\n"
    "[site plot]\nlatitude=53.12\nlongitude=-2.04\nzone=Europe/London\nweather=none\n"
    "[place sill]\nsite=home\nkind=sill\ntrays=6\n"
    "[place frame]\nsite=home\nkind=cold-frame\ntrays=6\nstands-on=slab\n"
    "[place bed]\nsite=home\nkind=bed\n"
    "[place lights]\nsite=plot\nkind=cold-frame\ntrays=6\nstands-on=slab\n";

void outlets_frost(World *world, int days)
{
    const WorldWeather weather = {.low_c = 7, .high_c = 18, .cold_day = days, .cold_c = -4};
    world_forecast(world, &weather);
}

World *outlets_world(const char *calendars, const char *start)
{
    g_autofree char *garden = g_strconcat(outlets_garden, calendars, NULL);
    World *world = world_new(garden, start);
    world->outlets = TRUE;
    world_start(world);
    world_put_batch(world, "tomato", 24, "frame", STAGE_HARDENING, 40);
    world_put_batch(world, "tomato", 24, "lights", STAGE_HARDENING, 40);
    outlets_frost(world, 3);
    return world;
}

OutletView outlets_find(const World *world, const char *name, guint *ret_index)
{
    const Outlets *outlets = world->service->outlets;
    for (guint i = 0; i < outlets_count(outlets); i++) {
        const OutletView view = outlets_view(outlets, i);
        if (strcmp(view.setup->name, name) != 0)
            continue;
        if (ret_index != NULL)
            *ret_index = i;
        return view;
    }
    fail_msg("there is no calendar %s", name);
    return (OutletView){0};
}

GPtrArray *outlets_objects(const char *folder, guint *ret_others)
{
    GPtrArray *objects = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    const char *name;
    guint others = 0;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *path = g_build_filename(folder, name, NULL);
        if (g_str_has_suffix(name, ".ics"))
            g_ptr_array_add(objects, world_read(path));
        else
            others++;
    }
    if (ret_others != NULL)
        *ret_others = others;
    return objects;
}

static const char *object_of(const GPtrArray *objects, const char *uid)
{
    g_autofree char *line = g_strdup_printf("\nUID:%s", uid);
    for (guint i = 0; i < objects->len; i++) {
        if (strstr(objects->pdata[i], line) != NULL)
            return objects->pdata[i];
    }
    return NULL;
}

char *outlets_differ(const World *world, const char *grower, const GPtrArray *objects)
{
    const GPtrArray *memory = world->service->memory;
    g_autoptr(GTimeZone) utc = g_time_zone_new_utc();
    guint wanted = 0;
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *event = memory->pdata[i];
        /* Each site is one grower's; what was cancelled or is over need not stand
         * there. */
        const gboolean theirs =
            grower == NULL ||
            strcmp(event->location, strcmp(grower, "one") == 0 ? "home" : "plot") == 0;
        if (event->ended || !theirs)
            continue;
        const char *text = object_of(objects, event->uid);
        g_autoptr(CalendarObject) object =
            text != NULL ? calendar_object_read(text, -1, utc, NULL) : NULL;
        const gboolean over = event->end_utc <= world_now(world);
        wanted += object != NULL || !(event->cancelled || over);
        if ((object == NULL && over) || (event->cancelled && (object == NULL || object->cancelled)))
            continue;
        if (object == NULL)
            return g_strdup_printf("%s is not there", event->summary);
        if (object->start_utc != event->start_utc || object->end_utc != event->end_utc)
            return g_strdup_printf("%s is there at another time", event->summary);
        if (strcmp(object->summary, event->summary) != 0)
            return g_strdup_printf("%s is called %s", event->summary, object->summary);
        if (object->alarm_minutes->len != event->alarms->len)
            return g_strdup_printf("%s has %u alarms", event->summary, object->alarm_minutes->len);
    }
    return objects->len == wanted
               ? NULL
               : g_strdup_printf("there are %u events, %u are wanted", objects->len, wanted);
}
