/* SPDX-License-Identifier: MIT */
/* A session bus of the test's own, and a notification server on it that can be stopped, hung and
 * asked what it was told. Nothing is started by the bus itself. */
#pragma once

#include <gio/gio.h>

typedef struct DesktopBus {
    char *folder, *config, *log;  /* (owned) */
    GSubprocess *daemon, *server; /* (owned) (nullable) */
    GDBusConnection *own;         /* (owned) (nullable) of the test */
} DesktopBus;

/* DBUS_SESSION_BUS_ADDRESS is this bus until it is freed. */
DesktopBus *desktop_bus_new(void);
void desktop_bus_free(DesktopBus *bus);
/* The bus goes away, as at the end of a session. */
void desktop_bus_kill(DesktopBus *bus);

/* A server with these capabilities; returns when it has its name. What an earlier one was told is
 * forgotten. */
void desktop_server_start(DesktopBus *bus, const char *capabilities);
/* The same with any program. */
void desktop_server_run(DesktopBus *bus, const char *const *words);
void desktop_server_kill(DesktopBus *bus);
void desktop_server_signal(DesktopBus *bus, int number);

/* The calls of a method so far, one line each, as the server logged them. */
GPtrArray *desktop_server_calls(const DesktopBus *bus, const char *method);

/* The person at the desktop chooses an action, or closes a notification. */
void desktop_choose(DesktopBus *bus, guint id, const char *action);
void desktop_dismiss(DesktopBus *bus, guint id);

/* Turns the loop until `done` is true; fails the test after a minute. */
void desktop_until(gboolean (*done)(gpointer data), gpointer data, const char *what);
