/* SPDX-License-Identifier: MIT */
#include "base/supervisor.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"

#ifdef HAVE_LIBSYSTEMD
#include <systemd/sd-daemon.h>
#else
/* Nobody is there, as where $NOTIFY_SOCKET and $LISTEN_FDS are not set. */
#define SD_LISTEN_FDS_START 3
static int sd_listen_fds_with_names(int unset_environment, char ***names)
{
    (void)unset_environment, (void)names;
    return 0;
}

static int sd_notify(int unset_environment, const char *state)
{
    (void)unset_environment, (void)state;
    return 0;
}

static int sd_watchdog_enabled(int unset_environment, uint64_t *usec)
{
    (void)unset_environment, (void)usec;
    return 0;
}
#endif

struct Supervisor {
    GSource *ping;  /* (owned) (nullable) no watchdog */
    gboolean ready; /* told, and no reload begun since */
    SupervisorStatus status;
    gpointer status_data;
    char *told; /* (owned) (nullable) the last status */
};

/* ---- the socket ---- */

/* libsystemd's array is malloc()ed. */
static void free_names(char **names)
{
    for (char **name = names; name != NULL && *name != NULL; name++)
        free(*name);
    free(names);
}

gboolean supervisor_take_socket(int *ret_fd, GError **error)
{
    char **names = NULL;
    const int n = sd_listen_fds_with_names(1, &names);
    gboolean taken = TRUE;

    if (n < 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "what systemd hands over cannot be read from LISTEN_FDS, LISTEN_FDNAMES: %s",
                    g_strerror(-n));
        taken = FALSE;
    } else if (n > 1 || (n == 1 && strcmp(names[0], SUPERVISOR_SOCKET) != 0)) {
        g_autofree char *all = g_strjoinv(", ", names);
        g_set_error(
            error, THOLE_ERROR, THOLE_ERROR_INVALID,
            "systemd hands over %d %s (%s); accepted is one, by the name " SUPERVISOR_SOCKET
            ": in tholed.socket one ListenStream= and FileDescriptorName=" SUPERVISOR_SOCKET,
            n, n == 1 ? "socket" : "sockets", all);
        for (int i = 0; i < n; i++)
            close(SD_LISTEN_FDS_START + i);
        taken = FALSE;
    } else {
        *ret_fd = n == 1 ? SD_LISTEN_FDS_START : -1;
    }
    free_names(names);
    return taken;
}

/* ---- what is told ---- */

/* The notification is a list of lines: a status with more than one would be read as more. */
static char *first_line(const char *text)
{
    g_autofree char *valid = g_utf8_make_valid(text, -1);
    return g_strndup(valid, strcspn(valid, "\r\n"));
}

/* HEAD, lines that end with "\n" or "", and the status where it changed. */
static void tell(Supervisor *supervisor, const char *head)
{
    g_autofree char *given =
        supervisor->status != NULL ? supervisor->status(supervisor->status_data) : NULL;
    g_autofree char *status = given != NULL ? first_line(given) : NULL;
    g_autoptr(GString) message = g_string_new(head);

    if (status != NULL && g_strcmp0(status, supervisor->told) != 0) {
        g_string_append_printf(message, "STATUS=%s\n", status);
        g_free(supervisor->told);
        supervisor->told = g_steal_pointer(&status);
    }
    /* What cannot be told is missed by its reader alone, who then acts. */
    if (message->len > 0)
        (void)sd_notify(0, message->str);
}

static gboolean ping(gpointer supervisor)
{
    tell(supervisor, "WATCHDOG=1\n");
    return G_SOURCE_CONTINUE;
}

Supervisor *supervisor_new(GMainContext *context)
{
    Supervisor *supervisor = g_new0(Supervisor, 1);
    uint64_t watchdog_us = 0;

    if (sd_watchdog_enabled(1, &watchdog_us) <= 0)
        return supervisor;
    const uint64_t half_ms = watchdog_us / 2 / 1000;
    supervisor->ping = g_timeout_source_new((guint)CLAMP(half_ms, 1, G_MAXUINT));
    g_source_set_callback(supervisor->ping, ping, supervisor, NULL);
    g_source_attach(supervisor->ping, context);
    return supervisor;
}

void supervisor_free(Supervisor *supervisor)
{
    if (supervisor == NULL)
        return;
    if (supervisor->ping != NULL)
        g_source_destroy(supervisor->ping);
    g_clear_pointer(&supervisor->ping, g_source_unref);
    g_free(supervisor->told);
    g_free(supervisor);
}

void supervisor_starting(Supervisor *supervisor, const char *what)
{
    g_autofree char *status = first_line(what);
    g_autofree char *message =
        g_strdup_printf("STATUS=%s\nEXTEND_TIMEOUT_USEC=%" G_GINT64_FORMAT, status,
                        (gint64)SUPERVISOR_PATIENCE_S * G_USEC_PER_SEC);

    (void)supervisor;
    (void)sd_notify(0, message);
}

void supervisor_ready(Supervisor *supervisor, SupervisorStatus fn, gpointer data)
{
    supervisor->status = fn;
    supervisor->status_data = data;
    tell(supervisor, supervisor->ready ? "" : "READY=1\n");
    supervisor->ready = TRUE;
}

void supervisor_reloading(Supervisor *supervisor)
{
    supervisor->ready = FALSE;
    (void)sd_notify(0, "RELOADING=1");
}

void supervisor_stopping(Supervisor *supervisor)
{
    supervisor->status = NULL;
    (void)sd_notify(0, "STOPPING=1");
}
