/* SPDX-License-Identifier: MIT */
#include "notify/notifier.h"

#include "notify/worker.h"

struct Notifier {
    Clock *clk; /* (unowned) */
    NotifierFunc fn;
    gpointer data;
    Worker *worker;
    GHashTable *waiting; /* (owned) (element-type utf8 Waiting) by key */
    gboolean greeted;    /* the first word of the server has come */
};

/* A message whose answer is awaited. */
typedef struct Waiting {
    Notifier *notifier;
    NotifyTask *task; /* (owned) a reference */
    guint alarm;      /* 0: patience is over, the clock is held no longer */
} Waiting;

void notifier_event_free(NotifierEvent *event)
{
    if (event == NULL)
        return;
    g_free(event->key);
    g_free(event->text);
    g_free(event);
}

static void stop_waiting(Waiting *w)
{
    if (w->alarm == 0)
        return;
    clock_remove_alarm(w->notifier->clk, w->alarm);
    w->alarm = 0;
    clock_release(w->notifier->clk);
}

static void waiting_free(gpointer data)
{
    Waiting *w = data;
    stop_waiting(w);
    notify_task_unref(w->task);
    g_free(w);
}

static void tell(Notifier *notifier, NotifierEventKind kind, const char *key, const char *text)
{
    g_autofree char *own_key = g_strdup(key), *own_text = g_strdup(text);
    NotifierEvent event = {.kind = kind, .key = own_key, .text = own_text, .server = TRUE};
    notifier->fn(&event, notifier->data);
}

/* What has not begun by now is taken back, so that it is not shown after all; what has may yet be
 * shown, and its answer will come. */
static void patience_over(gpointer data)
{
    Waiting *w = data;
    Notifier *notifier = w->notifier;
    g_autofree char *key = g_strdup(w->task->message->key);
    const gboolean taken_back =
        g_atomic_int_compare_and_exchange(&w->task->state, TASK_QUEUED, TASK_WITHDRAWN);
    stop_waiting(w);
    if (taken_back)
        g_hash_table_remove(notifier->waiting, key);
    tell(notifier, taken_back ? NOTIFIER_NOT_SHOWN : NOTIFIER_UNCERTAIN, key,
         "the notification server does not answer");
}

static void on_event(const NotifierEvent *event, gpointer data)
{
    Notifier *notifier = data;
    if (event->kind == NOTIFIER_SERVER && !notifier->greeted) {
        notifier->greeted = TRUE;
        clock_release(notifier->clk);
    }
    if (event->kind == NOTIFIER_UNCERTAIN) {
        /* The last word on it: whether it is shown will not be known. */
        Waiting *w = g_hash_table_lookup(notifier->waiting, event->key);
        const gboolean told = w != NULL && w->alarm == 0;
        g_hash_table_remove(notifier->waiting, event->key);
        if (told)
            return;
    } else if (event->kind == NOTIFIER_SHOWN || event->kind == NOTIFIER_NOT_SHOWN) {
        g_hash_table_remove(notifier->waiting, event->key);
    }
    notifier->fn(event, notifier->data);
}

Notifier *notifier_new(Clock *clk, NotifierFunc fn, gpointer data)
{
    Notifier *notifier = g_new0(Notifier, 1);
    notifier->clk = clk;
    notifier->fn = fn;
    notifier->data = data;
    notifier->waiting = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, waiting_free);
    clock_hold(clk);
    notifier->worker = worker_new(on_event, notifier);
    return notifier;
}

void notifier_show(Notifier *notifier, NotifyMessage *message)
{
    if (g_hash_table_contains(notifier->waiting, message->key)) {
        notify_message_free(message);
        return;
    }
    g_autofree char *key = g_strdup(message->key);
    NotifyTask *task = notify_task_new(message);
    if (!worker_show(notifier->worker, task)) {
        notify_task_unref(task);
        tell(notifier, NOTIFIER_NOT_SHOWN, key, "too many notifications wait already");
        return;
    }
    Waiting *w = g_new0(Waiting, 1);
    w->notifier = notifier;
    w->task = task;
    clock_hold(notifier->clk);
    w->alarm = clock_add_alarm(notifier->clk, clock_now(notifier->clk) + NOTIFIER_PATIENCE_S,
                               patience_over, w);
    g_hash_table_insert(notifier->waiting, g_steal_pointer(&key), w);
}

void notifier_close(Notifier *notifier, const char *key)
{
    worker_close(notifier->worker, key);
}

void notifier_free(Notifier *notifier)
{
    if (notifier == NULL)
        return;
    worker_leave(notifier->worker);
    g_hash_table_unref(notifier->waiting);
    if (!notifier->greeted)
        clock_release(notifier->clk);
    g_free(notifier);
}
