/* SPDX-License-Identifier: MIT */
/* Two growers, each with a frame of their own that asks for visits, and calendars of both. */
#pragma once

#include "service-world.h"

#include "service/outlets.h"

/* Two sites: "home" with a frame of grower one, "plot" with a frame of grower two. */
extern const char outlets_garden[];

/* A world of that garden and CALENDARS (sections of thole.conf), with a batch in each frame, and
 * its first plans: mild days, and a frost in three nights. */
World *outlets_world(const char *calendars, const char *start);

/* Another forecast: the frost comes in DAYS nights. */
void outlets_frost(World *world, int days);

/* The outlet of that name as it stands. */
OutletView outlets_find(const World *world, const char *name, guint *ret_index);

/* What is wrong with OBJECTS (element-type utf8: iCalendar texts) as those that should stand where
 * GROWER's (NULL: everybody's) events are; NULL nothing. Free with g_free(). */
char *outlets_differ(const World *world, const char *grower, const GPtrArray *objects);

/* The files NAME.ics of a folder; other files are counted. */
GPtrArray *outlets_objects(const char *folder, guint *ret_others);
