/* SPDX-License-Identifier: MIT */
/*
 * What started us and looks after us: systemd, by sd_listen_fds(3), sd_notify(3) and
 * sd_watchdog_enabled(3). Started by hand there is nobody: every call does nothing then, and no
 * timer runs. Configured --without-systemd it is so always.
 *
 * Telling waits only where systemd has hundreds of messages unread, that is where it hangs itself.
 */
#pragma once

#include <glib.h>

/* FileDescriptorName= of the socket that may be handed over. */
#define SUPERVISOR_SOCKET "control"

typedef struct Supervisor Supervisor;

/* One line on how things stand, in a grower's words; the caller owns it. */
typedef char *(*SupervisorStatus)(gpointer data);

/*
 * The listening socket that was handed over, -1 for none. One, named SUPERVISOR_SOCKET; others are
 * refused (invalid), and the error says what there was. Call it once, before any thread: it clears
 * the variables, so that no child takes them for its own.
 */
gboolean supervisor_take_socket(int *ret_fd, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Pings the watchdog where one is set, twice in its time, from the loop of CONTEXT (NULL: the
 * default one) and at default priority: a loop that is stuck pings no more, and is killed. Clears
 * the variable as above.
 */
Supervisor *supervisor_new(GMainContext *context) G_GNUC_WARN_UNUSED_RESULT;

/* Ends the pings, and tells nothing. NULL is ignored. */
void supervisor_free(Supervisor *supervisor);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Supervisor, supervisor_free)

/* The start goes on, with WHAT; it may take SUPERVISOR_PATIENCE_S more until it is ready. */
void supervisor_starting(Supervisor *supervisor, const char *what);
#define SUPERVISOR_PATIENCE_S 300 /* chosen: checking a whole store on a slow card */

/*
 * Ready, from the first call on; FN gives the status, told now, at each ping and at each further
 * call, when it changed. Only the first line is told. Ends a reload.
 */
void supervisor_ready(Supervisor *supervisor, SupervisorStatus fn, gpointer data);

/* A reload begins. */
void supervisor_reloading(Supervisor *supervisor);

/* The end begins: FN is not called any more. */
void supervisor_stopping(Supervisor *supervisor);
