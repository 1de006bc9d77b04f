/* SPDX-License-Identifier: MIT */
#include "calendar-server.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <gio/gio.h>
#include <glib/gstdio.h>
#include <signal.h>

#define ATTEMPTS 5         /* at a port that somebody else may take meanwhile */
#define PATIENCE_US 100000 /* between two looks, as long as the process lives */

static guint16 free_port(void)
{
    g_autoptr(GSocket) socket =
        g_socket_new(G_SOCKET_FAMILY_IPV4, G_SOCKET_TYPE_STREAM, G_SOCKET_PROTOCOL_TCP, NULL);
    g_autoptr(GInetAddress) here = g_inet_address_new_loopback(G_SOCKET_FAMILY_IPV4);
    g_autoptr(GSocketAddress) any = g_inet_socket_address_new(here, 0);
    assert_true(g_socket_bind(socket, any, FALSE, NULL));
    g_autoptr(GSocketAddress) bound = g_socket_get_local_address(socket, NULL);
    return g_inet_socket_address_get_port(G_INET_SOCKET_ADDRESS(bound));
}

static gboolean answers(const CalendarServer *server)
{
    g_autoptr(GSocketClient) client = g_socket_client_new();
    g_autoptr(GSocketConnection) connection =
        g_socket_client_connect_to_host(client, "127.0.0.1", server->port, NULL, NULL);
    return connection != NULL;
}

void calendar_server_set_users(CalendarServer *server, const char *one, const char *two)
{
    g_autofree char *path = g_build_filename(server->folder, "users", NULL);
    g_autofree char *text =
        g_strdup_printf("one:%s\ntwo:%s\nall:" CALENDAR_SERVER_ALL "\n", one, two);
    assert_true(g_file_set_contents(path, text, -1, NULL));
}

static gboolean try_start(CalendarServer *server)
{
    g_autofree char *host = g_strdup_printf("127.0.0.1:%u", server->port);
    g_autofree char *users = g_build_filename(server->folder, "users", NULL);
    g_autofree char *data = g_build_filename(server->folder, "data", NULL);
    g_autoptr(GError) error = NULL;
    const char *argv[] = {"radicale",   "--config",
                          "",           "--server-hosts",
                          host,         "--auth-type",
                          "htpasswd",   "--auth-htpasswd-filename",
                          users,        "--auth-htpasswd-encryption",
                          "plain",      "--auth-delay",
                          "0",          "--rights-type",
                          "owner_only", "--storage-filesystem-folder",
                          data,         "--web-type",
                          "none",       NULL};
    server->process = g_subprocess_newv(
        argv, G_SUBPROCESS_FLAGS_STDOUT_SILENCE | G_SUBPROCESS_FLAGS_STDERR_SILENCE, &error);
    if (server->process == NULL)
        fail_msg("%s", error->message);
    while (g_subprocess_get_identifier(server->process) != NULL) {
        if (answers(server))
            return TRUE;
        g_usleep(PATIENCE_US);
        while (g_main_context_iteration(NULL, FALSE))
            ;
    }
    g_clear_object(&server->process);
    return FALSE;
}

void calendar_server_start(CalendarServer *server)
{
    for (int i = 0; i < ATTEMPTS; i++) {
        if (try_start(server))
            return;
    }
    fail_msg("radicale does not start at port %u", server->port);
}

void calendar_server_stop(CalendarServer *server)
{
    if (server->process == NULL)
        return;
    g_subprocess_send_signal(server->process, SIGTERM);
    (void)g_subprocess_wait(server->process, NULL, NULL);
    g_clear_object(&server->process);
}

CalendarServer *calendar_server_new(const char *one, const char *two)
{
    g_autofree char *program = g_find_program_in_path("radicale");
    if (program == NULL)
        return NULL;
    CalendarServer *server = g_new0(CalendarServer, 1);
    server->folder = g_dir_make_tmp("radicale-XXXXXX", NULL);
    assert_non_null(server->folder);
    server->port = free_port();
    server->url = g_strdup_printf("http://127.0.0.1:%u/", server->port);
    calendar_server_set_users(server, one, two);
    calendar_server_start(server);
    return server;
}

static void remove_all(const char *folder)
{
    g_autoptr(GDir) dir = g_dir_open(folder, 0, NULL);
    const char *name;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *path = g_build_filename(folder, name, NULL);
        if (g_file_test(path, G_FILE_TEST_IS_DIR))
            remove_all(path);
        else
            (void)g_remove(path);
    }
    (void)g_rmdir(folder);
}

void calendar_server_free(CalendarServer *server)
{
    if (server == NULL)
        return;
    calendar_server_stop(server);
    remove_all(server->folder);
    g_free(server->folder);
    g_free(server->url);
    g_free(server);
}

GPtrArray *calendar_server_calendars(const CalendarServer *server, const char *user)
{
    GPtrArray *calendars = g_ptr_array_new_with_free_func(g_free);
    g_autofree char *home = g_build_filename(server->folder, "data", "collection-root", user, NULL);
    g_autoptr(GDir) dir = g_dir_open(home, 0, NULL);
    const char *name;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        if (name[0] != '.')
            g_ptr_array_add(calendars, g_build_filename(home, name, NULL));
    }
    return calendars;
}

GPtrArray *calendar_server_objects(const CalendarServer *server, const char *user)
{
    GPtrArray *objects = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(server, user);
    for (guint i = 0; i < calendars->len; i++) {
        g_autoptr(GDir) dir = g_dir_open(calendars->pdata[i], 0, NULL);
        const char *name;
        while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
            g_autofree char *path = g_build_filename(calendars->pdata[i], name, NULL);
            char *text = NULL;
            if (g_str_has_suffix(name, ".ics") && g_file_get_contents(path, &text, NULL, NULL))
                g_ptr_array_add(objects, text);
        }
    }
    return objects;
}

void calendar_server_drop(const CalendarServer *server, const char *user)
{
    g_autoptr(GPtrArray) calendars = calendar_server_calendars(server, user);
    for (guint i = 0; i < calendars->len; i++)
        remove_all(calendars->pdata[i]);
}
