/* SPDX-License-Identifier: MIT */
#include "weather/source-backend.h"

#include <string.h>

#include "base/error.h"

struct WeatherSource {
    const WeatherBackend *backend;
    gpointer backend_data; /* (owned) by `backend` */
    Clock *clk;
    WeatherSourceFunc changed; /* (nullable) */
    gpointer changed_data;
    guint settle_alarm; /* 0 none */
};

static bool none_open(const char *rest, const WeatherService *service, gpointer *ret_data,
                      const char **ret_wrong)
{
    (void)service;
    if (rest[0] != '\0') {
        *ret_wrong = "nothing may follow";
        return false;
    }
    *ret_data = NULL;
    return true;
}

static void none_close(gpointer data)
{
    (void)data;
}

static void none_fetch(gpointer data, const Site *site, Clock *clk, WeatherMemory *memory,
                       GTask *task)
{
    (void)data;
    (void)memory;
    (void)site;
    (void)clk;
    g_task_return_pointer(task, g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free),
                          (GDestroyNotify)g_ptr_array_unref);
}

/* The grower wants no forecast: planned on normals. */
static const WeatherBackend backend_none = {
    .scheme = "none",
    .accepted = "none",
    .open = none_open,
    .close = none_close,
    .fetch = none_fetch,
};

static const WeatherBackend *const backends[] = {
    &weather_backend_open_meteo,
    &weather_backend_met_norway,
    &weather_backend_file,
    &backend_none,
};

static const WeatherBackend *find_backend(const char *address)
{
    size_t length = strcspn(address, ":");
    for (size_t i = 0; i < G_N_ELEMENTS(backends); i++)
        if (strlen(backends[i]->scheme) == length &&
            strncmp(address, backends[i]->scheme, length) == 0)
            return backends[i];
    return NULL;
}

static void set_address_error(const char *address, const char *wrong, GError **error)
{
    GString *accepted = g_string_new(NULL);
    for (size_t i = 0; i < G_N_ELEMENTS(backends); i++)
        g_string_append_printf(accepted, "%s%s", i > 0 ? ", " : "", backends[i]->accepted);
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "weather=%s: %s; accepted %s", address,
                wrong, accepted->str);
    g_string_free(accepted, TRUE);
}

static const WeatherService *service_of(const Garden *garden, const char *scheme)
{
    static const WeatherService unset;
    for (int i = 0; garden != NULL && i < WEATHER_SERVICES; i++)
        if (strcmp(garden->services[i].name, scheme) == 0)
            return &garden->services[i];
    return &unset;
}

WeatherSource *weather_source_new(const char *address, const Garden *garden, Clock *clk,
                                  GError **error)
{
    const WeatherBackend *backend = find_backend(address);
    const char *wrong = "no such source of forecasts";
    gpointer data = NULL;
    const char *rest = strchr(address, ':');
    if (backend == NULL || !backend->open(rest != NULL ? rest + 1 : "",
                                          service_of(garden, backend->scheme), &data, &wrong)) {
        set_address_error(address, wrong, error);
        return NULL;
    }
    WeatherSource *source = g_new0(WeatherSource, 1);
    source->backend = backend;
    source->backend_data = data;
    source->clk = clk;
    return source;
}

static void stop_watching(WeatherSource *source)
{
    clock_remove_alarm(source->clk, source->settle_alarm);
    source->settle_alarm = 0;
    if (source->changed != NULL && source->backend->unwatch != NULL)
        source->backend->unwatch(source->backend_data);
    source->changed = NULL;
}

void weather_source_free(WeatherSource *source)
{
    if (source == NULL)
        return;
    stop_watching(source);
    source->backend->close(source->backend_data);
    g_free(source);
}

const char *weather_source_title(const WeatherSource *source)
{
    return source->backend->title;
}

char *weather_source_what(const WeatherSource *source, const Site *site)
{
    return source->backend->what != NULL ? source->backend->what(source->backend_data, site) : NULL;
}

const char *weather_credit(const char *title)
{
    for (size_t i = 0; i < G_N_ELEMENTS(backends); i++)
        if (g_strcmp0(backends[i]->title, title) == 0)
            return backends[i]->credit;
    return NULL;
}

void weather_source_fetch(WeatherSource *source, const Site *site, const WeatherMemory *memory,
                          GCancellable *cancellable, GAsyncReadyCallback done, gpointer data)
{
    g_autoptr(GTask) task = g_task_new(NULL, cancellable, done, data);
    WeatherMemory *own = memory != NULL ? weather_memory_copy(memory) : weather_memory_new();
    g_task_set_source_tag(task, weather_source_fetch);
    clock_hold(source->clk);
    /* Let go when the task ends, however it ends. */
    g_object_set_data_full(G_OBJECT(task), "held-clock", source->clk,
                           (GDestroyNotify)clock_release);
    g_object_set_data_full(G_OBJECT(task), "memory", own, (GDestroyNotify)weather_memory_free);
    source->backend->fetch(source->backend_data, site, source->clk, own, task);
}

GPtrArray *weather_source_fetch_finish(GAsyncResult *result, WeatherMemory **ret_memory,
                                       GError **error)
{
    g_return_val_if_fail(g_async_result_is_tagged(result, weather_source_fetch), NULL);
    GPtrArray *forecasts = g_task_propagate_pointer(G_TASK(result), error);
    if (ret_memory != NULL)
        *ret_memory = g_object_steal_data(G_OBJECT(result), "memory");
    return forecasts;
}

static void settled(gpointer data)
{
    WeatherSource *source = data;
    source->settle_alarm = 0;
    source->changed(source, source->changed_data);
}

void weather_source_touched(WeatherSource *source)
{
    if (source->changed == NULL || source->settle_alarm != 0)
        return;
    int64_t at_utc = clock_now(source->clk) + WEATHER_SOURCE_SETTLE_S;
    source->settle_alarm = clock_add_alarm(source->clk, at_utc, settled, source);
}

bool weather_source_set_changed(WeatherSource *source, WeatherSourceFunc changed, gpointer data,
                                GError **error)
{
    stop_watching(source);
    if (changed == NULL)
        return true;
    if (source->backend->watch != NULL &&
        !source->backend->watch(source->backend_data, source, error))
        return false;
    source->changed = changed;
    source->changed_data = data;
    return true;
}
