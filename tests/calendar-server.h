/* SPDX-License-Identifier: MIT */
/* Radicale, unprivileged, on a free port of this machine, with a folder of its own. */
#pragma once

#include <glib.h>

#define CALENDAR_SERVER_ALL "pa55-all" /* the password of a third user, "all" */

typedef struct CalendarServer {
    char *folder, *url; /* (owned) */
    guint16 port;
    struct _GSubprocess *process; /* (owned) (nullable) */
} CalendarServer;

/* NULL where it is not installed. Its users are "one" and "two", with these passwords,
 * and "all". */
CalendarServer *calendar_server_new(const char *one, const char *two);
void calendar_server_free(CalendarServer *server);

/* Other passwords, at once. */
void calendar_server_set_users(CalendarServer *server, const char *one, const char *two);

/* It answers, or nobody listens at its port any more. */
void calendar_server_start(CalendarServer *server);
void calendar_server_stop(CalendarServer *server);

/* The calendars of a user, as folders (element-type utf8); their objects (the same), as they lie on
 * the disk; and the end of all of them. */
GPtrArray *calendar_server_calendars(const CalendarServer *server, const char *user);
GPtrArray *calendar_server_objects(const CalendarServer *server, const char *user);
void calendar_server_drop(const CalendarServer *server, const char *user);
