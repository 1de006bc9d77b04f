/* SPDX-License-Identifier: MIT */
#include "desktop-bus.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <signal.h>
#include <string.h>

#define NAME "org.freedesktop.Notifications"
#define PATH "/org/freedesktop/Notifications"
#define PATIENCE_US (60 * G_USEC_PER_SEC)

static const char bus_config[] =
    "<!DOCTYPE busconfig PUBLIC \"-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN\"\n"
    " \"http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd\">\n"
    "<busconfig><type>session</type><listen>unix:tmpdir=/tmp</listen><auth>EXTERNAL</auth>\n"
    "<policy context=\"default\"><allow send_destination=\"*\" eavesdrop=\"true\"/>\n"
    "<allow eavesdrop=\"true\"/><allow own=\"*\"/></policy></busconfig>\n";

void desktop_until(gboolean (*done)(gpointer data), gpointer data, const char *what)
{
    const gint64 end_us = g_get_monotonic_time() + PATIENCE_US;
    while (!done(data)) {
        if (g_get_monotonic_time() > end_us)
            fail_msg("waited in vain: %s", what);
        while (g_main_context_iteration(NULL, FALSE))
            continue;
        g_usleep(2000);
    }
}

static void must(const GError *error)
{
    if (error != NULL)
        fail_msg("%s", error->message);
}

DesktopBus *desktop_bus_new(void)
{
    DesktopBus *bus = g_new0(DesktopBus, 1);
    g_autoptr(GError) error = NULL;
    bus->folder = g_dir_make_tmp("desktop-XXXXXX", &error);
    must(error);
    bus->config = g_build_filename(bus->folder, "bus.conf", NULL);
    bus->log = g_build_filename(bus->folder, "server.log", NULL);
    g_file_set_contents(bus->config, bus_config, -1, &error);
    must(error);
    g_autofree char *option = g_strdup_printf("--config-file=%s", bus->config);
    bus->daemon =
        g_subprocess_new(G_SUBPROCESS_FLAGS_STDOUT_PIPE | G_SUBPROCESS_FLAGS_STDERR_SILENCE, &error,
                         "dbus-daemon", option, "--nofork", "--print-address=1", NULL);
    must(error);
    g_autoptr(GDataInputStream) said =
        g_data_input_stream_new(g_subprocess_get_stdout_pipe(bus->daemon));
    g_autofree char *address = g_data_input_stream_read_line(said, NULL, NULL, &error);
    must(error);
    assert_non_null(address);
    g_setenv("DBUS_SESSION_BUS_ADDRESS", address, TRUE);
    bus->own =
        g_dbus_connection_new_for_address_sync(address,
                                               G_DBUS_CONNECTION_FLAGS_AUTHENTICATION_CLIENT |
                                                   G_DBUS_CONNECTION_FLAGS_MESSAGE_BUS_CONNECTION,
                                               NULL, NULL, &error);
    must(error);
    return bus;
}

static void end(GSubprocess **process)
{
    if (*process == NULL)
        return;
    g_subprocess_force_exit(*process);
    g_subprocess_wait(*process, NULL, NULL);
    g_clear_object(process);
}

void desktop_bus_kill(DesktopBus *bus)
{
    end(&bus->daemon);
    end(&bus->server);
    g_clear_object(&bus->own);
}

void desktop_bus_free(DesktopBus *bus)
{
    desktop_bus_kill(bus);
    g_unsetenv("DBUS_SESSION_BUS_ADDRESS");
    g_unlink(bus->config);
    g_unlink(bus->log);
    g_rmdir(bus->folder);
    g_free(bus->folder);
    g_free(bus->config);
    g_free(bus->log);
    g_free(bus);
}

static gboolean has_server(gpointer data)
{
    const DesktopBus *bus = data;
    gboolean has = FALSE;
    g_autoptr(GVariant) reply = g_dbus_connection_call_sync(
        bus->own, "org.freedesktop.DBus", "/org/freedesktop/DBus", "org.freedesktop.DBus",
        "NameHasOwner", g_variant_new("(s)", NAME), G_VARIANT_TYPE("(b)"), G_DBUS_CALL_FLAGS_NONE,
        -1, NULL, NULL);
    assert_non_null(reply);
    g_variant_get(reply, "(b)", &has);
    return has;
}

void desktop_server_run(DesktopBus *bus, const char *const *words)
{
    g_autoptr(GError) error = NULL;
    g_unlink(bus->log);
    g_autoptr(GSubprocessLauncher) launcher = g_subprocess_launcher_new(
        G_SUBPROCESS_FLAGS_STDOUT_SILENCE | G_SUBPROCESS_FLAGS_STDERR_SILENCE);
    g_subprocess_launcher_unsetenv(launcher, "G_DEBUG"); /* its warnings are its own */
    bus->server = g_subprocess_launcher_spawnv(launcher, words, &error);
    must(error);
    desktop_until(has_server, bus, "the server has its name");
}

void desktop_server_start(DesktopBus *bus, const char *capabilities)
{
    g_autofree char *parameters = g_strdup_printf("{\"capabilities\": \"%s\"}", capabilities);
    desktop_server_run(bus, (const char *const[]){"/usr/bin/python3", "-m", "dbusmock",
                                                  "--template", "notification_daemon", "-l",
                                                  bus->log, "-p", parameters, NULL});
}

void desktop_server_kill(DesktopBus *bus)
{
    end(&bus->server);
}

void desktop_server_signal(DesktopBus *bus, int number)
{
    g_subprocess_send_signal(bus->server, number);
}

GPtrArray *desktop_server_calls(const DesktopBus *bus, const char *method)
{
    GPtrArray *calls = g_ptr_array_new_with_free_func(g_free);
    g_autofree char *text = NULL, *part = g_strdup_printf(" %s", method);
    if (!g_file_get_contents(bus->log, &text, NULL, NULL))
        return calls;
    /* "1795613221.214 Notify …"; a text's own line ends go on in further lines. */
    g_auto(GStrv) lines = g_strsplit(text, "\n", -1);
    gboolean goes_on = FALSE;
    for (int i = 0; lines[i] != NULL; i++) {
        const gsize digits = strspn(lines[i], "0123456789.");
        if (digits >= 10 && lines[i][digits] == ' ') {
            const char *at = lines[i] + digits;
            goes_on = g_str_has_prefix(at, part) && strchr(" ", at[strlen(part)]) != NULL;
            if (goes_on)
                g_ptr_array_add(calls, g_strdup(at + 1));
        } else if (goes_on && *lines[i] != '\0') {
            char **call = (char **)&calls->pdata[calls->len - 1];
            char *more = g_strdup_printf("%s\n%s", *call, lines[i]);
            g_free(*call);
            *call = more;
        }
    }
    return calls;
}

static void emit(DesktopBus *bus, const char *name, const char *signature, GVariant *first,
                 GVariant *second)
{
    g_autoptr(GError) error = NULL;
    GVariantBuilder arguments;
    g_variant_builder_init(&arguments, G_VARIANT_TYPE("av"));
    g_variant_builder_add(&arguments, "v", first);
    g_variant_builder_add(&arguments, "v", second);
    g_autoptr(GVariant) reply =
        g_dbus_connection_call_sync(bus->own, NAME, PATH, "org.freedesktop.DBus.Mock", "EmitSignal",
                                    g_variant_new("(sssav)", NAME, name, signature, &arguments),
                                    NULL, G_DBUS_CALL_FLAGS_NONE, -1, NULL, &error);
    must(error);
}

void desktop_choose(DesktopBus *bus, guint id, const char *action)
{
    emit(bus, "ActionInvoked", "us", g_variant_new_uint32(id), g_variant_new_string(action));
}

void desktop_dismiss(DesktopBus *bus, guint id)
{
    emit(bus, "NotificationClosed", "uu", g_variant_new_uint32(id), g_variant_new_uint32(2));
}
