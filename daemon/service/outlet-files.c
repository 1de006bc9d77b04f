/* SPDX-License-Identifier: MIT */
/*
 * A folder, or one file. Deciding is done in the loop, reading and writing in a thread: a disk on a
 * network may be slow, or hang. One run at a time:
 *
 *   file     write
 *   folder   note what is new as ours; look; decide; perform; keep what was done
 *
 * A kill anywhere is harmless: what is noted and not there is written, what is there already,
 * stays.
 */
#include <json-glib/json-glib.h>
#include <string.h>

#include "base/backoff.h"
#include "base/error.h"
#include "calendar/file.h"
#include "calendar/folder.h"
#include "calendar/object.h"
#include "calendar/write.h"
#include "service/forecasts.h"
#include "service/outlet-private.h"

#define RETRY_FIRST_S 60        /* as caldav/outlet.h */
#define RETRY_LAST_S (6 * 3600) /* the same */

typedef struct Run Run;

typedef struct Files {
    Outlet *outlet;    /* (unowned) */
    GPtrArray *events; /* (owned) (element-type EventMemory) that are wanted */
    GHashTable *ours;  /* (owned) of a folder: what we wrote, by UID; "" not yet */
    gboolean asked;    /* since the run began */
    guint alarm;
    int64_t next_utc;
    GRand *rand;
    Run *run; /* (nullable) the one under way; owned by its task */
} Files;

struct Run {
    Files *files; /* NULL: it was closed meanwhile */
    char *path;
    GBytes *bytes;   /* of a file */
    GPtrArray *uids; /* of a folder: to be looked at */
    GHashTable *there;
    GPtrArray *actions, *done;
};

static void begin(gpointer data);

static gboolean is_folder(const Files *files)
{
    return files->outlet->setup.kind == OUTLET_FOLDER;
}

/* ---- what is remembered ---- */

static char *folder_state(const Files *files)
{
    g_autoptr(JsonNode) root = json_node_new(JSON_NODE_OBJECT);
    JsonObject *object = json_object_new(), *texts = json_object_new();
    GHashTableIter each;
    gpointer uid, text;

    g_hash_table_iter_init(&each, files->ours);
    while (g_hash_table_iter_next(&each, &uid, &text))
        json_object_set_string_member(texts, uid, text);
    json_object_set_string_member(object, "path", files->outlet->setup.path);
    json_object_set_object_member(object, "ours", texts);
    json_node_take_object(root, object);
    return json_to_string(root, FALSE);
}

static void take_text(JsonObject *object, const char *uid, JsonNode *node, gpointer data)
{
    Files *files = data;
    (void)object;
    if (JSON_NODE_HOLDS_VALUE(node) && json_node_get_value_type(node) == G_TYPE_STRING)
        g_hash_table_replace(files->ours, g_strdup(uid), json_node_dup_string(node));
}

/* Of another folder nothing is known; what lies there and has the UID of an event is ours all the
 * same. */
static void read_folder_state(Files *files, const char *text)
{
    g_autoptr(JsonNode) root = *text != '\0' ? json_from_string(text, NULL) : NULL;
    JsonObject *object =
        root != NULL && JSON_NODE_HOLDS_OBJECT(root) ? json_node_get_object(root) : NULL;
    JsonNode *texts = object != NULL ? json_object_get_member(object, "ours") : NULL;

    if (texts == NULL || !JSON_NODE_HOLDS_OBJECT(texts) ||
        strcmp(json_object_get_string_member_with_default(object, "path", ""),
               files->outlet->setup.path) != 0)
        return;
    json_object_foreach_member(json_node_get_object(texts), take_text, files);
}

static void remember(const Files *files)
{
    Outlet *o = files->outlet;
    if (!is_folder(files))
        return;
    g_free(o->row.state);
    o->row.state = folder_state(files);
}

/* ---- a run ---- */

static void run_free(Run *run)
{
    g_free(run->path);
    g_clear_pointer(&run->bytes, g_bytes_unref);
    g_clear_pointer(&run->uids, g_ptr_array_unref);
    g_clear_pointer(&run->there, g_hash_table_unref);
    g_clear_pointer(&run->actions, g_ptr_array_unref);
    g_clear_pointer(&run->done, g_ptr_array_unref);
    g_free(run);
}

/* What was done in the folder is remembered, whether all of it was or not. */
static void take_done(const Run *run)
{
    for (guint i = 0; i < run->done->len; i++) {
        const FolderAction *action = g_ptr_array_index(run->done, i);
        if (action->ours != NULL)
            g_hash_table_replace(run->files->ours, g_strdup(action->uid), g_strdup(action->ours));
        else
            g_hash_table_remove(run->files->ours, action->uid);
    }
}

static void set_alarm(Files *files, int64_t at_utc)
{
    Clock *clk = files->outlet->service->clk;
    clock_remove_alarm(clk, files->alarm);
    files->next_utc = at_utc;
    files->alarm = clock_add_alarm(clk, at_utc, begin, files);
}

/* ERROR is taken over. */
static void end(Run *run, GError *error)
{
    Files *files = run->files;
    g_autoptr(GError) why = error;
    Outlet *o = files->outlet;
    Clock *clk = o->service->clk;
    const int64_t now_utc = clock_now(clk);

    files->run = NULL;
    run_free(run);
    o->row.failures = why != NULL ? o->row.failures + 1 : 0;
    if (why == NULL)
        o->row.delivered_utc = now_utc;
    if (why != NULL)
        set_alarm(files, now_utc + backoff_jitter_s(backoff_s((guint)o->row.failures, RETRY_FIRST_S,
                                                              RETRY_LAST_S),
                                                    files->rand));
    else if (files->asked)
        set_alarm(files, now_utc);
    remember(files);
    outlet_ended(o, why);
    clock_release(clk);
}

static void in_thread(Run *run, GTaskThreadFunc work, GAsyncReadyCallback then)
{
    g_autoptr(GTask) task = g_task_new(NULL, NULL, then, run);
    g_task_set_task_data(task, run, NULL);
    g_task_run_in_thread(task, work);
}

/* The run, back in the loop; NULL: it is over. */
static Run *back(GAsyncResult *result, gpointer data)
{
    Run *run = data;
    GError *error = NULL;
    const gboolean ok = g_task_propagate_boolean(G_TASK(result), &error);
    if (run->files == NULL) {
        g_clear_error(&error);
        run_free(run);
        return NULL;
    }
    if (ok)
        return run;
    take_done(run);
    end(run, error);
    return NULL;
}

static void return_boolean(GTask *task, gboolean ok, GError *error)
{
    if (ok)
        g_task_return_boolean(task, TRUE);
    else
        g_task_return_error(task, error);
}

/* ---- a file ---- */

static void write_file(GTask *task, gpointer source, gpointer data, GCancellable *cancellable)
{
    const Run *run = data;
    GError *error = NULL;
    (void)source, (void)cancellable;
    const gboolean ok = calendar_file_publish(run->path, run->bytes, NULL, &error);
    return_boolean(task, ok, error);
}

static void file_written(GObject *source, GAsyncResult *result, gpointer data)
{
    (void)source;
    Run *run = back(result, data);
    if (run != NULL)
        end(run, NULL);
}

/* ---- a folder ---- */

static void look(GTask *task, gpointer source, gpointer data, GCancellable *cancellable)
{
    Run *run = data;
    GError *error = NULL;
    (void)source, (void)cancellable;
    run->there = calendar_folder_look(run->path, run->uids, &error);
    return_boolean(task, run->there != NULL, error);
}

static void perform(GTask *task, gpointer source, gpointer data, GCancellable *cancellable)
{
    Run *run = data;
    GError *error = NULL;
    (void)source, (void)cancellable;
    const gboolean ok = calendar_folder_perform(run->path, run->actions, run->done, &error);
    return_boolean(task, ok, error);
}

static void performed(GObject *source, GAsyncResult *result, gpointer data)
{
    (void)source;
    Run *run = back(result, data);
    if (run == NULL)
        return;
    take_done(run);
    end(run, NULL);
}

static void looked(GObject *source, GAsyncResult *result, gpointer data)
{
    (void)source;
    Run *run = back(result, data);
    if (run == NULL)
        return;
    const Files *files = run->files;
    run->actions =
        calendar_folder_decide(files->events, files->ours, run->there, outlet_zone(files->outlet),
                               clock_now(files->outlet->service->clk));
    if (run->actions->len > 0) {
        in_thread(run, perform, performed);
        return;
    }
    end(run, NULL);
}

/* What will be there is ours before it is: else a kill in between would leave it for good. */
static gboolean claim(Files *files, Run *run, GError **error)
{
    gboolean new = FALSE;
    for (guint i = 0; i < files->events->len; i++) {
        const EventMemory *event = g_ptr_array_index(files->events, i);
        if (event_memory_is_shown(event) && !g_hash_table_contains(files->ours, event->uid)) {
            g_hash_table_insert(files->ours, g_strdup(event->uid), g_strdup(""));
            new = TRUE;
        }
    }
    GHashTableIter each;
    gpointer uid;
    g_hash_table_iter_init(&each, files->ours);
    while (g_hash_table_iter_next(&each, &uid, NULL))
        g_ptr_array_add(run->uids, g_strdup(uid));
    if (!new)
        return TRUE;
    remember(files);
    return outlet_keep(files->outlet, NULL, error);
}

/* ---- begin ---- */

static void begin(gpointer data)
{
    Files *files = data;
    Outlet *o = files->outlet;
    GError *error = NULL;

    files->alarm = 0;
    files->next_utc = 0;
    files->asked = FALSE;
    Run *run = files->run = g_new0(Run, 1);
    run->files = files;
    run->path = g_strdup(o->setup.path);
    run->uids = g_ptr_array_new_with_free_func(g_free);
    run->done = g_ptr_array_new_with_free_func((GDestroyNotify)folder_action_free);
    clock_hold(o->service->clk);
    if (!is_folder(files)) {
        g_autofree char *credits = forecasts_credits(o->service->forecasts);
        run->bytes = calendar_write(files->events, o->setup.title, credits);
        in_thread(run, write_file, file_written);
    } else if (claim(files, run, &error)) {
        in_thread(run, look, looked);
    } else {
        end(run, error);
    }
}

static void files_now(gpointer it)
{
    Files *files = it;
    files->asked = TRUE;
    if (files->run == NULL)
        set_alarm(files, clock_now(files->outlet->service->clk));
}

/* Even if nothing changed: what was taken out of the folder is put back. */
static void files_want(gpointer it, const GPtrArray *events, const guint *seen)
{
    Files *files = it;
    (void)seen;
    g_ptr_array_set_size(files->events, 0);
    for (guint i = 0; i < events->len; i++)
        g_ptr_array_add(files->events, event_memory_copy(g_ptr_array_index(events, i)));
    if (files->outlet->row.failures == 0 || files->alarm == 0)
        files_now(files);
}

/* ---- open and close ---- */

static gpointer files_open(Outlet *o, GError **error)
{
    (void)error;
    Files *files = g_new0(Files, 1);
    files->outlet = o;
    files->events = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);
    files->ours = calendar_folder_texts();
    files->rand = g_rand_new_with_seed(outlet_seed(o));
    if (is_folder(files))
        read_folder_state(files, o->row.state);
    return files;
}

static void files_close(gpointer it)
{
    Files *files = it;
    Clock *clk = files->outlet->service->clk;
    clock_remove_alarm(clk, files->alarm);
    if (files->run != NULL) {
        /* Its thread comes back once more, and frees it. */
        files->run->files = NULL;
        clock_release(clk);
    }
    g_ptr_array_unref(files->events);
    g_hash_table_unref(files->ours);
    g_rand_free(files->rand);
    g_free(files);
}

static gboolean is_delivered(const Files *files, const EventMemory *event)
{
    const char *ours = g_hash_table_lookup(files->ours, event->uid);
    if (!event_memory_is_shown(event))
        return ours == NULL;
    g_autofree char *plain = calendar_object_write(event, event->uid);
    return g_strcmp0(ours, plain) == 0;
}

static guint files_pending(gpointer it)
{
    const Files *files = it;
    const gboolean failing = files->outlet->row.failures > 0;
    const gboolean behind = failing || files->asked || files->run != NULL;
    guint n = 0;
    for (guint i = 0; i < files->events->len; i++) {
        const EventMemory *event = g_ptr_array_index(files->events, i);
        const gboolean shown = event_memory_is_shown(event);
        n += is_folder(files) && !failing ? !is_delivered(files, event) : behind && shown;
    }
    return n;
}

static int64_t files_next_utc(gpointer it)
{
    const Files *files = it;
    return files->next_utc;
}

const OutletWay outlet_folder = {
    .word = "folder",
    .open = files_open,
    .close = files_close,
    .want = files_want,
    .now = files_now,
    .pending = files_pending,
    .next_utc = files_next_utc,
};

const OutletWay outlet_file = {
    .word = "file",
    .open = files_open,
    .close = files_close,
    .want = files_want,
    .now = files_now,
    .pending = files_pending,
    .next_utc = files_next_utc,
};
