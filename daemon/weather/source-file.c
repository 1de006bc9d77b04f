/* SPDX-License-Identifier: MIT */
/* A table in a file: what the grower's own program, or another machine, writes there. */
#include "weather/source-backend.h"

#include <string.h>

#include "base/error.h"
#include "weather/csv.h"

typedef struct FileSource {
    GFile *file;           /* (owned) */
    GFileMonitor *monitor; /* (owned) (nullable) */
    gulong handler;        /* of its signal */
} FileSource;

/* One fetch on its way: first what the file is, then what is in it. */
typedef struct Fetch {
    GFile *file; /* (owned) */
    char *site;  /* (owned) */
    const Clock *clk;
    int64_t modified_utc;
} Fetch;

static void fetch_free(gpointer data)
{
    Fetch *fetch = data;
    g_object_unref(fetch->file);
    g_free(fetch->site);
    g_free(fetch);
}

static bool file_open(const char *rest, const WeatherService *service, gpointer *ret_data,
                      const char **ret_wrong)
{
    (void)service;
    if (!g_path_is_absolute(rest)) {
        *ret_wrong = "the path must be absolute";
        return false;
    }
    FileSource *source = g_new0(FileSource, 1);
    source->file = g_file_new_for_path(rest);
    *ret_data = source;
    return true;
}

static void file_unwatch(gpointer data)
{
    FileSource *source = data;
    if (source->monitor == NULL)
        return;
    g_signal_handler_disconnect(source->monitor, source->handler);
    g_file_monitor_cancel(source->monitor);
    g_clear_object(&source->monitor);
}

static void file_close(gpointer data)
{
    FileSource *source = data;
    file_unwatch(source);
    g_object_unref(source->file);
    g_free(source);
}

/* Keeps the forecasts of `site`, those for all sites under its name. */
static GPtrArray *pick_site(GPtrArray *forecasts, const char *site)
{
    GPtrArray *picked = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
    for (guint i = 0; i < forecasts->len; i++) {
        const Forecast *forecast = g_ptr_array_index(forecasts, i);
        if (forecast->site[0] != '\0' && g_strcmp0(forecast->site, site) != 0)
            continue;
        Forecast *copy = forecast_copy(forecast);
        g_free(copy->site);
        copy->site = g_strdup(site);
        g_ptr_array_add(picked, copy);
    }
    return picked;
}

static gint compare_issue(gconstpointer a, gconstpointer b)
{
    const Forecast *one = *(Forecast *const *)a, *other = *(Forecast *const *)b;
    return one->issued_utc < other->issued_utc ? -1 : one->issued_utc > other->issued_utc;
}

static void parse(GTask *task, const char *path, const char *text, gsize length)
{
    const Fetch *fetch = g_task_get_task_data(task);
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) forecasts =
        weather_csv_parse(path, text, length, fetch->modified_utc, clock_now(fetch->clk), &error);
    if (forecasts == NULL) {
        g_task_return_error(task, g_steal_pointer(&error));
        return;
    }
    g_autoptr(GPtrArray) picked = pick_site(forecasts, fetch->site);
    if (picked->len == 0) {
        g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_NOT_FOUND,
                                "%s: no row for site=%s; accepted rows with this site, "
                                "or without one",
                                path, fetch->site);
        return;
    }
    g_ptr_array_sort(picked, compare_issue);
    g_task_return_pointer(task, g_steal_pointer(&picked), (GDestroyNotify)g_ptr_array_unref);
}

static void loaded(GObject *object, GAsyncResult *result, gpointer data)
{
    g_autoptr(GTask) task = data;
    g_autoptr(GError) error = NULL;
    g_autofree char *path = g_file_get_path(G_FILE(object));
    g_autofree char *text = NULL;
    gsize length = 0;
    if (g_file_load_partial_contents_finish(G_FILE(object), result, &text, &length, NULL, &error))
        parse(task, path, text, length);
    else {
        /* GIO names a file that cannot be opened, but not one that cannot be read on. */
        if (strstr(error->message, path) == NULL)
            g_prefix_error(&error, "%s: ", path);
        g_task_return_error(task, g_steal_pointer(&error));
    }
}

/* One byte above the limit is enough for the parser to refuse it. */
static gboolean want_more(const char *text, goffset length, gpointer data)
{
    (void)text;
    (void)data;
    return length <= WEATHER_CSV_BYTES_MAX;
}

static void described(GObject *object, GAsyncResult *result, gpointer data)
{
    g_autoptr(GTask) task = data;
    g_autoptr(GError) error = NULL;
    g_autoptr(GFileInfo) info = g_file_query_info_finish(G_FILE(object), result, &error);
    if (info == NULL) {
        g_task_return_error(task, g_steal_pointer(&error));
        return;
    }
    if (g_file_info_get_file_type(info) != G_FILE_TYPE_REGULAR) {
        g_autofree char *path = g_file_get_path(G_FILE(object));
        g_task_return_new_error(task, THOLE_ERROR, THOLE_ERROR_INVALID,
                                "%s: not a file; accepted a regular file", path);
        return;
    }
    Fetch *fetch = g_task_get_task_data(task);
    fetch->modified_utc =
        (int64_t)g_file_info_get_attribute_uint64(info, G_FILE_ATTRIBUTE_TIME_MODIFIED);
    GCancellable *cancellable = g_task_get_cancellable(task);
    g_file_load_partial_contents_async(fetch->file, cancellable, want_more, loaded,
                                       g_steal_pointer(&task));
}

static void file_fetch(gpointer data, const Site *site, Clock *clk, WeatherMemory *memory,
                       GTask *task)
{
    (void)memory;
    const FileSource *source = data;
    Fetch *fetch = g_new0(Fetch, 1);
    fetch->file = g_object_ref(source->file);
    fetch->site = g_strdup(site->name);
    fetch->clk = clk;
    g_task_set_task_data(task, fetch, fetch_free);
    g_file_query_info_async(fetch->file,
                            G_FILE_ATTRIBUTE_STANDARD_TYPE "," G_FILE_ATTRIBUTE_TIME_MODIFIED,
                            G_FILE_QUERY_INFO_NONE, G_PRIORITY_DEFAULT,
                            g_task_get_cancellable(task), described, g_object_ref(task));
}

static void file_changed(GFileMonitor *monitor, GFile *file, GFile *other, GFileMonitorEvent event,
                         gpointer data)
{
    (void)monitor;
    (void)file;
    (void)other;
    if (event != G_FILE_MONITOR_EVENT_ATTRIBUTE_CHANGED)
        weather_source_touched(data);
}

static bool file_watch(gpointer data, WeatherSource *source, GError **error)
{
    FileSource *own = data;
    own->monitor = g_file_monitor_file(own->file, G_FILE_MONITOR_WATCH_MOVES, NULL, error);
    if (own->monitor == NULL)
        return false;
    own->handler = g_signal_connect(own->monitor, "changed", G_CALLBACK(file_changed), source);
    return true;
}

const WeatherBackend weather_backend_file = {
    .scheme = "file",
    .accepted = "file:PATH",
    .open = file_open,
    .close = file_close,
    .fetch = file_fetch,
    .watch = file_watch,
    .unwatch = file_unwatch,
};
