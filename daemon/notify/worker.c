/* SPDX-License-Identifier: MIT */
/*
 * libnotify's calls are synchronous, with GDBus' 25 s for an answer. So each message begins with a
 * call of our own that asks the server who it is, for 3 s at most: it starts the server where the
 * bus can, and what hangs is found out before anything was handed over. Only a server that hangs in
 * the moment between the two still holds the thread up; that is waited out, and nobody waits for
 * the thread.
 */
#include "notify/worker.h"

#include <gio/gio.h>
#include <libnotify/notify.h>

#define SERVER_NAME "org.freedesktop.Notifications"
#define SERVER_PATH "/org/freedesktop/Notifications"
#define APP_NAME "thole"
#define CATEGORY "x-thole.alarm" /* of our own, as the specification has them: x-VENDOR.CLASS */
#define ICON "appointment-soon"  /* of the freedesktop.org icon naming specification */

/* What libnotify keeps is of the whole process. One thread has it at a time: the next waits for one
 * that was left inside a call and ends late. */
static GMutex libnotify;

struct Worker {
    GMutex lock;
    gboolean leaving; /* under the lock */
    gboolean busy;    /* under the lock: inside a call that may block */
    GThread *thread;
    GMainContext *context, *home; /* (owned) the thread's, and that of who asks */
    int queued;                   /* atomic */
    int last_serial;              /* atomic */
    /* Of the home thread alone. */
    NotifierFunc fn;
    gpointer data;
    /* Of the thread alone. */
    GDBusConnection *bus; /* (owned) (nullable) */
    guint watch;          /* of the server's name; 0 none */
    GCancellable *asking; /* (owned) of calls in flight on it */
    GPtrArray *shown;     /* (owned) (element-type Shown) oldest first */
    char *server;         /* (owned) (nullable) its name and version */
    char *owner;          /* (owned) (nullable) its name on the bus; what is shown is there */
    gboolean has_actions, has_body, has_markup, has_stack_tag;
    gboolean caps_known; /* they are of the server that is there */
    int failed_serial;   /* up to here all fail as the last one did */
    GError *failure;     /* (owned) (nullable) */
};

/* A message on the screen. */
typedef struct Shown {
    Worker *worker;
    char *key;
    NotifyNotification *notification; /* (owned) kept, or its actions come to nothing */
} Shown;

static void shown_free(gpointer data)
{
    Shown *shown = data;
    g_signal_handlers_disconnect_by_data(shown->notification, shown);
    notify_notification_clear_actions(shown->notification);
    g_object_unref(shown->notification);
    g_free(shown->key);
    g_free(shown);
}

/* ---- tasks and events, between the threads ---- */

NotifyTask *notify_task_new(NotifyMessage *message)
{
    NotifyTask *task = g_atomic_rc_box_new0(NotifyTask);
    task->message = message;
    return task;
}

static void task_clear(gpointer data)
{
    notify_message_free(((NotifyTask *)data)->message);
}

void notify_task_unref(NotifyTask *task)
{
    g_atomic_rc_box_release_full(task, task_clear);
}

static void worker_clear(gpointer data)
{
    Worker *w = data;
    g_main_context_unref(w->context);
    g_main_context_unref(w->home);
    g_mutex_clear(&w->lock);
}

static void worker_unref(gpointer w)
{
    g_atomic_rc_box_release_full(w, worker_clear);
}

/* One call in another thread's context. An idle source, since g_main_context_invoke() may call at
 * once, in this thread, while nobody turns that context. */
typedef struct Post {
    Worker *worker; /* (owned) a reference */
    void (*fn)(Worker *worker, gpointer data);
    gpointer data;
    GDestroyNotify free_data; /* (nullable) */
} Post;

static gboolean post_run(gpointer data)
{
    const Post *made = data;
    made->fn(made->worker, made->data);
    return G_SOURCE_REMOVE;
}

static void post_free(gpointer data)
{
    Post *made = data;
    if (made->free_data != NULL)
        made->free_data(made->data);
    worker_unref(made->worker);
    g_free(made);
}

static void post(Worker *w, GMainContext *context, void (*fn)(Worker *worker, gpointer data),
                 gpointer data, GDestroyNotify free_data)
{
    Post *made = g_new0(Post, 1);
    made->worker = g_atomic_rc_box_acquire(w);
    made->fn = fn;
    made->data = data;
    made->free_data = free_data;
    g_autoptr(GSource) source = g_idle_source_new();
    g_source_set_priority(source, G_PRIORITY_DEFAULT);
    g_source_set_callback(source, post_run, made, post_free);
    g_source_attach(source, context);
}

static void deliver(Worker *w, gpointer event)
{
    if (w->fn != NULL)
        w->fn(event, w->data);
}

static void free_event(gpointer event)
{
    notifier_event_free(event);
}

static void tell(Worker *w, NotifierEventKind kind, const char *key, const char *text,
                 gboolean server)
{
    NotifierEvent *event = g_new0(NotifierEvent, 1);
    event->kind = kind;
    event->key = g_strdup(key);
    event->text = g_strdup(text);
    event->server = server;
    post(w, w->home, deliver, event, free_event);
}

/* A call may block from here on; FALSE: nobody wants its outcome any more. */
static gboolean enter(Worker *w)
{
    g_mutex_lock(&w->lock);
    w->busy = !w->leaving;
    g_mutex_unlock(&w->lock);
    return w->busy;
}

static void leave(Worker *w)
{
    g_mutex_lock(&w->lock);
    w->busy = FALSE;
    g_mutex_unlock(&w->lock);
}

/* ---- the bus and the server ---- */

/* There is a bus to ask: GDBus would otherwise start one of its own where it sees a display. */
static gboolean has_bus_address(void)
{
    const char *address = g_getenv("DBUS_SESSION_BUS_ADDRESS");
    g_autofree char *socket = g_build_filename(g_get_user_runtime_dir(), "bus", NULL);
    return (address != NULL && *address != '\0') || g_file_test(socket, G_FILE_TEST_EXISTS);
}

static void forget_shown(Worker *w)
{
    g_ptr_array_set_size(w->shown, 0);
    g_clear_pointer(&w->server, g_free);
    g_clear_pointer(&w->owner, g_free);
    w->caps_known = FALSE;
}

/* The bus name of the server that is there now; NULL none. The bus itself answers, at once. */
static char *find_owner(GDBusConnection *bus)
{
    char *owner = NULL;
    g_autoptr(GVariant) reply = g_dbus_connection_call_sync(
        bus, "org.freedesktop.DBus", "/org/freedesktop/DBus", "org.freedesktop.DBus",
        "GetNameOwner", g_variant_new("(s)", SERVER_NAME), G_VARIANT_TYPE("(s)"),
        G_DBUS_CALL_FLAGS_NONE, WORKER_PROBE_MS, NULL, NULL);
    if (reply != NULL)
        g_variant_get(reply, "(s)", &owner);
    return owner;
}

/* Ids on the screen are of one server: those of another that was there before are forgotten. */
static void meet_server(Worker *w, const char *owner)
{
    if (g_strcmp0(w->owner, owner) == 0)
        return;
    forget_shown(w);
    w->owner = g_strdup(owner);
}

static void drop_bus(Worker *w)
{
    forget_shown(w);
    if (w->watch != 0)
        g_bus_unwatch_name(w->watch);
    w->watch = 0;
    g_cancellable_cancel(w->asking);
    g_clear_object(&w->asking);
    notify_uninit(); /* its proxy holds the bus that is gone */
    g_clear_object(&w->bus);
}

static char *server_words(GVariant *info)
{
    const char *name = NULL, *version = NULL;
    g_variant_get(info, "(&ss&ss)", &name, NULL, &version, NULL);
    g_autofree char *all = g_strdup_printf("%s %s", name, version);
    return notify_summary_text(all);
}

static void on_info(GObject *bus, GAsyncResult *result, gpointer data)
{
    Worker *w = data;
    g_autoptr(GError) error = NULL;
    g_autoptr(GVariant) info =
        g_dbus_connection_call_finish(G_DBUS_CONNECTION(bus), result, &error);
    if (w->server != NULL) {
        /* A message found it out before. */
    } else if (info != NULL) {
        w->server = server_words(info);
        tell(w, NOTIFIER_SERVER, NULL, w->server, TRUE);
    } else if (!g_error_matches(error, G_IO_ERROR, G_IO_ERROR_CANCELLED)) {
        tell(w, NOTIFIER_SERVER, NULL, NULL, TRUE);
    }
    worker_unref(w);
}

static void on_name_appeared(GDBusConnection *bus, const char *name, const char *owner,
                             gpointer data)
{
    Worker *w = data;
    (void)name;
    meet_server(w, owner);
    g_dbus_connection_call(bus, SERVER_NAME, SERVER_PATH, SERVER_NAME, "GetServerInformation", NULL,
                           G_VARIANT_TYPE("(ssss)"), G_DBUS_CALL_FLAGS_NO_AUTO_START,
                           WORKER_PROBE_MS, w->asking, on_info, g_atomic_rc_box_acquire(w));
}

static void on_name_vanished(GDBusConnection *bus, const char *name, gpointer data)
{
    Worker *w = data;
    (void)name;
    if (bus == NULL) {
        drop_bus(w);
        tell(w, NOTIFIER_SERVER, NULL, "the session bus went away", FALSE);
        return;
    }
    /* Late word of one that ended, after a message was shown by the next. */
    g_autofree char *owner = find_owner(bus);
    if (owner != NULL && g_strcmp0(owner, w->owner) == 0)
        return;
    forget_shown(w);
    tell(w, NOTIFIER_SERVER, NULL, "no notification server is running", FALSE);
}

static gboolean find_bus(Worker *w, GError **error)
{
    if (w->bus != NULL && g_dbus_connection_is_closed(w->bus))
        drop_bus(w);
    if (w->bus != NULL)
        return TRUE;
    if (!has_bus_address()) {
        g_set_error_literal(error, G_IO_ERROR, G_IO_ERROR_NOT_CONNECTED, "there is no session bus");
        return FALSE;
    }
    g_autoptr(GDBusConnection) bus = g_bus_get_sync(G_BUS_TYPE_SESSION, NULL, error);
    if (bus == NULL)
        return FALSE;
    /* The default is to end the program with the session. */
    g_dbus_connection_set_exit_on_close(bus, FALSE);
    if (g_dbus_connection_is_closed(bus)) {
        g_set_error_literal(error, G_IO_ERROR, G_IO_ERROR_NOT_CONNECTED, "the session bus is gone");
        return FALSE;
    }
    w->bus = g_steal_pointer(&bus);
    w->asking = g_cancellable_new();
    notify_init(APP_NAME);
    w->watch = g_bus_watch_name_on_connection(w->bus, SERVER_NAME, G_BUS_NAME_WATCHER_FLAGS_NONE,
                                              on_name_appeared, on_name_vanished, w, NULL);
    return TRUE;
}

static gboolean has_cap(const GList *caps, const char *cap)
{
    return g_list_find_custom((GList *)caps, cap, (GCompareFunc)g_strcmp0) != NULL;
}

/* A server answers, and what it can is known. */
static gboolean find_server(Worker *w, GError **error)
{
    if (!find_bus(w, error))
        return FALSE;
    g_autoptr(GVariant) info = g_dbus_connection_call_sync(
        w->bus, SERVER_NAME, SERVER_PATH, SERVER_NAME, "GetServerInformation", NULL,
        G_VARIANT_TYPE("(ssss)"), G_DBUS_CALL_FLAGS_NONE, WORKER_PROBE_MS, NULL, error);
    if (info == NULL)
        return FALSE;
    g_autofree char *owner = find_owner(w->bus);
    meet_server(w, owner);
    if (w->server == NULL) {
        w->server = server_words(info);
        tell(w, NOTIFIER_SERVER, NULL, w->server, TRUE); /* before what it shows is told */
    }
    if (w->caps_known)
        return TRUE;
    GList *caps = notify_get_server_caps();
    w->has_actions = has_cap(caps, "actions");
    w->has_body = has_cap(caps, "body");
    w->has_markup = has_cap(caps, "body-markup");
    w->has_stack_tag = has_cap(caps, "x-dunst-stack-tag");
    w->caps_known = caps != NULL;
    g_list_free_full(caps, g_free);
    return TRUE;
}

/* Nobody shows notifications, as opposed to: somebody should, and does not. A server that the bus
 * could not start is of the second kind: it may start once somebody has logged in. */
static gboolean is_absence(const GError *error)
{
    return g_error_matches(error, G_DBUS_ERROR, G_DBUS_ERROR_SERVICE_UNKNOWN) ||
           g_error_matches(error, G_DBUS_ERROR, G_DBUS_ERROR_NAME_HAS_NO_OWNER) ||
           (error->domain == G_IO_ERROR && error->code != G_IO_ERROR_TIMED_OUT);
}

/* NoReply is none: then the server died with the call, and shows nothing. */
static gboolean is_timeout(const GError *error)
{
    return g_error_matches(error, G_IO_ERROR, G_IO_ERROR_TIMED_OUT) ||
           g_error_matches(error, G_DBUS_ERROR, G_DBUS_ERROR_TIMEOUT) ||
           g_error_matches(error, G_DBUS_ERROR, G_DBUS_ERROR_TIMED_OUT);
}

static char *why_not(const GError *error)
{
    if (is_timeout(error))
        return g_strdup("the notification server does not answer");
    if (g_error_matches(error, G_DBUS_ERROR, G_DBUS_ERROR_SERVICE_UNKNOWN))
        return g_strdup("no notification server is running");
    g_autoptr(GError) copy = g_error_copy(error);
    g_dbus_error_strip_remote_error(copy);
    return notify_summary_text(copy->message);
}

/* ---- messages ---- */

static Shown *find_shown(Worker *w, const char *key)
{
    for (guint i = 0; i < w->shown->len; i++) {
        Shown *shown = w->shown->pdata[i];
        if (g_str_equal(shown->key, key))
            return shown;
    }
    return NULL;
}

static void on_action(NotifyNotification *notification, char *action, gpointer data)
{
    Shown *shown = data;
    (void)notification;
    tell(shown->worker, NOTIFIER_ACTION, shown->key, action, TRUE);
}

/* An action may come after it, so the notification is let go in the next turn. */
static void let_go(Worker *w, gpointer key)
{
    Shown *shown = find_shown(w, key);
    if (shown != NULL && notify_notification_get_closed_reason(shown->notification) != -1)
        g_ptr_array_remove(w->shown, shown);
}

static void on_closed(NotifyNotification *notification, gpointer data)
{
    Shown *shown = data;
    (void)notification;
    tell(shown->worker, NOTIFIER_CLOSED, shown->key, NULL, TRUE);
    post(shown->worker, shown->worker->context, let_go, g_strdup(shown->key), g_free);
}

static void take_away(Worker *w, Shown *shown)
{
    g_signal_handlers_disconnect_by_data(shown->notification, shown);
    (void)notify_notification_close(shown->notification, NULL); /* else it is gone already */
    g_ptr_array_remove(w->shown, shown);
}

static Shown *shown_new(Worker *w, const NotifyMessage *m)
{
    Shown *shown = g_new0(Shown, 1);
    shown->worker = w;
    shown->key = g_strdup(m->key);
    shown->notification = notify_notification_new(APP_NAME, NULL, NULL);
    g_signal_connect(shown->notification, "closed", G_CALLBACK(on_closed), shown);
    g_ptr_array_add(w->shown, shown);
    return shown;
}

static void fill(Worker *w, Shown *shown, const NotifyMessage *m)
{
    NotifyNotification *n = shown->notification;
    g_autofree char *summary = notify_summary_text(m->summary);
    g_autofree char *body = w->has_body ? notify_body_text(m->body, w->has_markup) : NULL;
    notify_notification_update(n, summary, body, ICON);
    notify_notification_set_urgency(n,
                                    m->critical ? NOTIFY_URGENCY_CRITICAL : NOTIFY_URGENCY_NORMAL);
    notify_notification_set_timeout(n, m->critical ? NOTIFY_EXPIRES_NEVER : NOTIFY_EXPIRES_DEFAULT);
    notify_notification_set_category(n, CATEGORY);
    notify_notification_set_hint(n, "desktop-entry", g_variant_new_string(APP_NAME));
    /* One that an earlier run of ours left on the screen is replaced. */
    if (w->has_stack_tag)
        notify_notification_set_hint(n, "x-dunst-stack-tag", g_variant_new_string(m->key));
    notify_notification_clear_actions(n);
    for (guint i = 0; w->has_actions && i + 1 < m->actions->len; i += 2)
        notify_notification_add_action(n, m->actions->pdata[i], m->actions->pdata[i + 1], on_action,
                                       shown, NULL);
}

/* FALSE with *ret_uncertain: the server has it, and did not say whether it took it. */
static gboolean show(Worker *w, const NotifyMessage *m, gboolean *ret_uncertain, GError **error)
{
    g_autoptr(GError) failed = NULL;
    if (!find_server(w, error))
        return FALSE;
    Shown *shown = find_shown(w, m->key);
    if (shown != NULL && m->anew) {
        take_away(w, shown);
        shown = NULL;
    }
    if (shown == NULL)
        shown = shown_new(w, m);
    while (w->shown->len > WORKER_SHOWN_MAX)
        take_away(w, w->shown->pdata[0]);
    fill(w, shown, m);
    if (notify_notification_show(shown->notification, &failed))
        return TRUE;
    *ret_uncertain = is_timeout(failed);
    g_ptr_array_remove(w->shown, shown);
    g_propagate_error(error, g_steal_pointer(&failed));
    return FALSE;
}

/* What waited while this one failed would fail as well, 3 s later each. */
static void tell_failure(Worker *w, const char *key, GError *error, gboolean uncertain)
{
    g_autofree char *why = why_not(error);
    tell(w, uncertain ? NOTIFIER_UNCERTAIN : NOTIFIER_NOT_SHOWN, key, why, !is_absence(error));
    w->failed_serial = g_atomic_int_get(&w->last_serial);
    g_clear_error(&w->failure);
    w->failure = error;
}

static void run_task(Worker *w, gpointer data)
{
    NotifyTask *task = data;
    const char *key = task->message->key;
    g_autoptr(GError) error = NULL;
    gboolean uncertain = FALSE;
    g_atomic_int_dec_and_test(&w->queued);
    if (!g_atomic_int_compare_and_exchange(&task->state, TASK_QUEUED, TASK_BEGUN) || !enter(w))
        return;
    if (task->serial <= w->failed_serial) {
        g_autofree char *why = why_not(w->failure);
        tell(w, NOTIFIER_NOT_SHOWN, key, why, !is_absence(w->failure));
    } else if (show(w, task->message, &uncertain, &error)) {
        tell(w, NOTIFIER_SHOWN, key, w->server, TRUE);
    } else {
        tell_failure(w, key, g_steal_pointer(&error), uncertain);
    }
    leave(w);
}

static void run_close(Worker *w, gpointer key)
{
    Shown *shown = find_shown(w, key);
    if (shown == NULL || !enter(w))
        return;
    /* A server that hangs is not asked: it would hold up what comes next. */
    g_autoptr(GError) error = NULL;
    if (find_server(w, &error))
        take_away(w, shown);
    leave(w);
}

/* ---- life ---- */

static void begin(Worker *w, gpointer unused)
{
    g_autoptr(GError) error = NULL;
    (void)unused;
    if (!enter(w))
        return;
    if (!find_bus(w, &error))
        tell(w, NOTIFIER_SERVER, NULL, error->message, FALSE);
    leave(w);
}

static gpointer run(gpointer data)
{
    Worker *w = data;
    gboolean leaving = FALSE;
    g_mutex_lock(&libnotify);
    g_main_context_push_thread_default(w->context);
    w->shown = g_ptr_array_new_with_free_func(shown_free);
    while (!leaving) {
        g_main_context_iteration(w->context, TRUE);
        g_mutex_lock(&w->lock);
        leaving = w->leaving;
        g_mutex_unlock(&w->lock);
    }
    drop_bus(w);
    while (g_main_context_iteration(w->context, FALSE))
        continue;
    g_ptr_array_unref(w->shown);
    g_clear_error(&w->failure);
    g_main_context_pop_thread_default(w->context);
    g_mutex_unlock(&libnotify);
    worker_unref(w);
    return NULL;
}

Worker *worker_new(NotifierFunc fn, gpointer data)
{
    Worker *w = g_atomic_rc_box_new0(Worker);
    g_mutex_init(&w->lock);
    w->context = g_main_context_new();
    w->home = g_main_context_ref_thread_default();
    w->fn = fn;
    w->data = data;
    post(w, w->context, begin, NULL, NULL);
    w->thread = g_thread_new("notifier", run, g_atomic_rc_box_acquire(w));
    return w;
}

static void free_task(gpointer task)
{
    notify_task_unref(task);
}

gboolean worker_show(Worker *w, NotifyTask *task)
{
    if (g_atomic_int_get(&w->queued) >= WORKER_QUEUE_MAX)
        return FALSE;
    g_atomic_int_inc(&w->queued);
    task->serial = g_atomic_int_add(&w->last_serial, 1) + 1;
    post(w, w->context, run_task, g_atomic_rc_box_acquire(task), free_task);
    return TRUE;
}

void worker_close(Worker *w, const char *key)
{
    post(w, w->context, run_close, g_strdup(key), g_free);
}

void worker_leave(Worker *w)
{
    w->fn = NULL;
    g_mutex_lock(&w->lock);
    w->leaving = TRUE;
    const gboolean busy = w->busy;
    g_mutex_unlock(&w->lock);
    g_main_context_wakeup(w->context);
    if (busy)
        g_thread_unref(w->thread);
    else
        g_thread_join(w->thread);
    worker_unref(w);
}
