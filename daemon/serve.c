/* SPDX-License-Identifier: MIT */
#include "serve.h"

#include <glib-unix.h>

#include "base/supervisor.h"
#include "service/status.h"

typedef struct Served {
    Supervisor *supervisor;
    Service *service;
} Served;

static char *status(gpointer service)
{
    return service_status(service);
}

/* Ready also where the first plan failed: the one before stands, and it is tried again. */
static void planned(Service *service, const char *trigger, gpointer supervisor)
{
    (void)trigger;
    supervisor_ready(supervisor, status, service);
}

static gboolean reload(gpointer data)
{
    const Served *served = data;
    supervisor_reloading(served->supervisor);
    (void)service_reload(served->service, NULL);
    supervisor_ready(served->supervisor, status, served->service);
    return G_SOURCE_CONTINUE;
}

gboolean serve(GMainLoop *loop, ServiceOptions *options, GError **error)
{
    if (!supervisor_take_socket(&options->socket_fd, error))
        return FALSE;
    g_autoptr(Supervisor) supervisor = supervisor_new(g_main_loop_get_context(loop));
    supervisor_starting(supervisor, "Reading the record and the garden's file");
    g_autoptr(Clock) clk = clock_system_new(g_main_loop_get_context(loop), error);
    g_autoptr(Service) service = clk != NULL ? service_new(clk, options, error) : NULL;
    if (service == NULL)
        return FALSE;
    supervisor_starting(supervisor, "Making the first plan");
    service->planned = planned;
    service->planned_data = supervisor;
    Served served = {supervisor, service};
    g_unix_signal_add(SIGHUP, reload, &served);
    g_main_loop_run(loop);
    supervisor_stopping(supervisor);
    return TRUE;
}
