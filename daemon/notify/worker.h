/* SPDX-License-Identifier: MIT */
/* The thread that owns libnotify. Internal to notify/. */
#pragma once

#include "notify/notifier.h"

#define WORKER_QUEUE_MAX 32 /* messages that wait; chosen, a day has fewer */
#define WORKER_SHOWN_MAX 32 /* kept on the screen; the oldest is taken away; chosen */
#define WORKER_PROBE_MS 3000

/* One message on its way. Whoever sets the state first, from TASK_QUEUED, decides. */
typedef struct NotifyTask {
    NotifyMessage *message; /* (owned) */
    int state;              /* atomic */
    int serial;             /* rising */
} NotifyTask;

enum { TASK_QUEUED, TASK_BEGUN, TASK_WITHDRAWN };

/* Reference counted with g_atomic_rc_box_… */
NotifyTask *notify_task_new(NotifyMessage *message);
void notify_task_unref(NotifyTask *task);

typedef struct Worker Worker;

/* `fn` is called in the thread-default main context of the caller. */
Worker *worker_new(NotifierFunc fn, gpointer data);

/* FALSE: too many wait. */
gboolean worker_show(Worker *worker, NotifyTask *task);
void worker_close(Worker *worker, const char *key);

/*
 * No event comes any more. The thread ends at once where it is idle, and is left behind where it is
 * inside a call; it then ends by itself, or with the program.
 */
void worker_leave(Worker *worker);
