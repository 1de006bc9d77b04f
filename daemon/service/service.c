/* SPDX-License-Identifier: MIT */
/*
 * The loop on one page: a trigger asks for a plan (service_ask_plan), the plan is made once per
 * instant (planner.c), put in place in one commit of the store, and the calendar file follows it.
 * Between plans the clock wakes the service for what is due next: a visit begins, a report is late,
 * a forecast is issued, a day begins.
 */
#include "service/service.h"

#include <glib/gstdio.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "base/log.h"
#include "base/names.h"
#include "calendar/event.h"
#include "service/api.h"
#include "service/desktop.h"
#include "service/feed-outlet.h"
#include "service/forecasts.h"
#include "service/jobs.h"
#include "service/outlets.h"
#include "service/planner.h"
#include "service/post.h"
#include "service/publish.h"
#include "service/service-private.h"
#include "store/store-batches.h"
#include "store/store-plan-records.h"

#define RETRY_S 600       /* after a plan that failed; chosen */
#define CONFIG_SETTLE_S 2 /* from the first sign of a change to reading; chosen */

gboolean service_grid_now(const Service *s, int64_t *ret_utc)
{
    int64_t now_utc = clock_now(s->clk);
    *ret_utc = now_utc / STEP_S * STEP_S;
    return now_utc >= EARLIEST_UTC;
}

/* What was half done is taken from the store again. */
static void recover(Service *s)
{
    g_autoptr(GError) error = NULL;
    store_rollback(s->store);
    s->plan = (Plan){0};
    g_array_set_size(s->alerts, 0);
    if (!service_refresh(s, &error) || !publish_load_visits(s, &error) ||
        !publish_load_memory(s, &error))
        log_warning("service", NULL, "the record cannot be read: %s", error->message);
}

void service_trouble(Service *s, const char *what, const GError *error)
{
    g_free(s->store_problem);
    s->store_problem = g_strdup(error->message);
    s->plan_failed = TRUE;
    s->retry_utc = MAX(clock_now(s->clk) + RETRY_S, s->settled.as_of_utc);
    log_warning("service", NULL, "%s: %s; the last one stands", what, error->message);
    recover(s);
}

void service_write_calendar(Service *s)
{
    g_autoptr(GError) error = NULL;
    outlets_want(s->outlets);
    feed_outlet_publish(s->feed);
    g_clear_pointer(&s->calendar_problem, g_free);
    if (publish_file(s, &error))
        return;
    s->calendar_problem = g_strdup(error->message);
    log_warning("calendar", NULL, "the file was not written: %s; the last one stands",
                error->message);
}

/* Between plans: visits begin and end, questions are asked. */
static gboolean pass_time(Service *s, GError **error)
{
    gboolean replan = FALSE, events = FALSE;
    if (!store_begin(s->store, error) || !jobs_pass_time(s, &replan, &events, error) ||
        (events && !publish_events(s, error)) || !store_commit(s->store, error))
        return FALSE;
    if (replan)
        service_ask_plan(s, "job not reported");
    if (events)
        service_write_calendar(s);
    return TRUE;
}

static int64_t next_midnight(const Service *s)
{
    int64_t now_utc = clock_now(s->clk), next_utc = 0;
    for (int i = 0; i < s->garden->n_sites; i++) {
        int64_t utc = local_midnight(s->zones[i], local_day(s->zones[i], now_utc) + 1);
        next_utc = next_utc == 0 ? utc : MIN(next_utc, utc);
    }
    return next_utc;
}

/* Once a day: what is older than the store's rule keeps is let go, what was learned is a day older.
 */
static void thin(Service *s, int64_t now_utc)
{
    g_autoptr(GError) error = NULL;
    int removed = 0;
    if (!store_thin(s->store, now_utc, &removed, &error) || !forecasts_learn(s->forecasts, &error))
        log_warning("store", NULL, "the day's upkeep was left out: %s, ignoring", error->message);
}

static void wake(gpointer data)
{
    Service *s = data;
    g_autoptr(GError) error = NULL;
    s->wake = 0;
    planner_overtake(s);
    int64_t now_utc = clock_now(s->clk);
    if (!pass_time(s, &error)) {
        service_trouble(s, "what is due was not kept", error);
    } else if (s->retry_utc != 0 && now_utc >= s->retry_utc) {
        s->retry_utc = 0;
        service_ask_plan(s, "once more");
    }
    if (forecasts_are_due(s->forecasts))
        service_ask_plan(s, "forecast");
    else if (now_utc >= s->stale_utc && s->stale_utc != 0)
        service_ask_plan(s, "forecast is old");
    if (now_utc >= s->midnight_utc) {
        thin(s, now_utc);
        forecasts_fetch(s->forecasts);
        service_ask_plan(s, "midnight");
    }
    service_set_wake(s);
}

void service_set_wake(Service *s)
{
    int64_t jobs_utc = jobs_next_utc(s), weather_utc = forecasts_next_utc(s->forecasts);
    s->midnight_utc = next_midnight(s);
    s->stale_utc = weather_utc;
    int64_t next_utc = s->midnight_utc;
    if (jobs_utc != 0)
        next_utc = MIN(next_utc, jobs_utc);
    if (weather_utc != 0)
        next_utc = MIN(next_utc, weather_utc);
    if (s->retry_utc != 0)
        next_utc = MIN(next_utc, s->retry_utc);
    clock_remove_alarm(s->clk, s->wake);
    s->wake = clock_add_alarm(s->clk, next_utc, wake, s);
    desktop_look(s->desktop);
    post_look(s->post);
}

static void jumped(int64_t from_utc, int64_t to_utc, gpointer data)
{
    Service *s = data;
    log_info("service", NULL, "the clock went from %" G_GINT64_FORMAT " to %" G_GINT64_FORMAT,
             from_utc, to_utc);
    if (to_utc < from_utc) { /* alarms of a later time would be long in coming */
        outlets_now(s->outlets);
        feed_outlet_follow(s->feed);
    }
    forecasts_fetch(s->forecasts);
    service_ask_plan(s, "clock");
}

/* ---- the garden's file ---- */

static GTimeZone **zones_of(const Garden *garden)
{
    GTimeZone **zones = g_new0(GTimeZone *, garden->n_sites + 1);
    for (int i = 0; i < garden->n_sites; i++) {
        zones[i] = g_time_zone_new_identifier(garden->sites[i].zone);
        if (zones[i] == NULL)
            zones[i] = g_time_zone_new_local();
    }
    return zones;
}

static void zones_free(GTimeZone **zones)
{
    for (int i = 0; zones != NULL && zones[i] != NULL; i++)
        g_time_zone_unref(zones[i]);
    g_free(zones);
}

/* The grower's own crop figures lie beside the garden's file. */
static char *overrides_path(const Service *s)
{
    g_autofree char *folder = g_path_get_dirname(s->options.config_path);
    char *path = g_build_filename(folder, NAME_CROPS_FILE, NULL);
    if (!g_file_test(path, G_FILE_TEST_EXISTS))
        g_clear_pointer(&path, g_free);
    return path;
}

/* What belongs to one reading of the garden's file. */
typedef struct GardenRead {
    Crops *crops;
    Garden *garden;
    GTimeZone **zones;
    struct Forecasts *forecasts;
    SiteWeather *weather;
    State settled, current;
    GPtrArray *visits;
    Plan plan; /* its indices are of that garden */
} GardenRead;

static GardenRead take_garden(Service *s)
{
    GardenRead read = {s->crops,   s->garden,  s->zones,  s->forecasts, s->weather,
                       s->settled, s->current, s->visits, s->plan};
    s->crops = NULL;
    s->garden = NULL;
    s->zones = NULL;
    s->forecasts = NULL;
    s->weather = NULL;
    s->settled = (State){0};
    s->current = (State){0};
    s->visits = open_visits_new();
    return read;
}

static void give_garden(Service *s, GardenRead *read)
{
    s->crops = read->crops;
    s->garden = read->garden;
    s->zones = read->zones;
    s->forecasts = read->forecasts;
    s->weather = read->weather;
    s->settled = read->settled;
    s->current = read->current;
    s->visits = read->visits;
    s->plan = read->plan;
}

static void garden_read_free(GardenRead *read)
{
    g_ptr_array_unref(read->visits);
    state_clear(&read->settled);
    state_clear(&read->current);
    site_weather_free(read->weather, read->garden != NULL ? read->garden->n_sites : 0);
    forecasts_free(read->forecasts);
    zones_free(read->zones);
    garden_free(read->garden);
    crops_free(read->crops);
}

static gboolean read_garden_parts(Service *s, GError **error)
{
    g_autofree char *overrides = overrides_path(s);
    g_auto(GStrv) in_use = NULL;
    if (!g_file_test(s->options.config_path, G_FILE_TEST_EXISTS)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_NOT_FOUND,
                    "%s: there is no such file; write a first one with: tholectl init",
                    s->options.config_path);
        return FALSE;
    }
    if (!store_places_in_use(s->store, &in_use, error) ||
        !crops_load(s->options.crops_path, overrides, &s->crops, error))
        return FALSE;
    s->garden = garden_load(s->options.config_path, s->crops->crops, s->crops->n,
                            (const char *const *)in_use, error);
    if (s->garden == NULL)
        return FALSE;
    for (int i = 0; s->options.weather != NULL && i < s->garden->n_sites; i++)
        g_strlcpy(s->garden->sites[i].weather, s->options.weather,
                  sizeof s->garden->sites[i].weather);
    s->zones = zones_of(s->garden);
    s->forecasts = forecasts_new(s, error);
    return s->forecasts != NULL && service_refresh(s, error) && publish_load_visits(s, error);
}

/* Visits under way are the same visits in the garden as it is now. */
static void keep_begun(Service *s, const GPtrArray *before)
{
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        for (guint k = 0; k < before->len; k++) {
            const OpenVisit *old = g_ptr_array_index(before, k);
            if (strcmp(old->visit.id, v->visit.id) == 0)
                v->begun = v->begun || old->begun;
        }
    }
}

/* All of the file, or nothing: a garden that cannot be read leaves the running one as it was. */
static gboolean read_garden(Service *s, GError **error)
{
    GardenRead old = take_garden(s);
    if (!store_begin(s->store, error) || !read_garden_parts(s, error) ||
        !store_commit(s->store, error)) {
        store_rollback(s->store);
        GardenRead broken = take_garden(s);
        g_ptr_array_unref(s->visits);
        garden_read_free(&broken);
        give_garden(s, &old);
        return FALSE;
    }
    keep_begun(s, old.visits);
    forecasts_go_on(s->forecasts, old.forecasts);
    post_set_up(s->post);
    garden_read_free(&old);
    g_array_set_size(s->alerts, 0);
    s->config_read_utc = clock_now(s->clk);
    s->gardens++;
    return TRUE;
}

static GPtrArray *batch_ids(const State *state)
{
    GPtrArray *ids = g_ptr_array_new_with_free_func(g_free);
    for (guint i = 0; state->batches != NULL && i < state->batches->len; i++)
        g_ptr_array_add(ids, g_strdup(g_array_index(state->batches, Batch, i).id));
    return ids;
}

gboolean service_refresh(Service *s, GError **error)
{
    State fresh = {0};
    g_autoptr(GPtrArray) ids = batch_ids(&s->current);
    if (!state_load(&fresh, s->store, s->garden, clock_now(s->clk), error))
        return FALSE;
    state_clear(&s->settled);
    s->settled = fresh;
    state_copy(&s->settled, &s->current, s->garden);
    planner_overtake(s);
    s->plan = (Plan){0}; /* its indices may be others now */
    if (!jobs_follow_batches(s, ids, error))
        return FALSE;
    int64_t grid_utc;
    if (s->weather != NULL && service_grid_now(s, &grid_utc) &&
        s->settled.as_of_utc >= s->weather[0].first_utc && s->settled.as_of_utc <= grid_utc &&
        (grid_utc - s->weather[0].first_utc) / STEP_S < (int64_t)s->weather[0].steps->len)
        return state_move_on(&s->current, s, grid_utc, NULL, error);
    return TRUE;
}

gboolean service_reload(Service *s, GError **error)
{
    g_autoptr(GError) refused = NULL;
    g_clear_pointer(&s->config_problem, g_free);
    if (!read_garden(s, &refused)) {
        s->config_problem = g_strdup(refused->message);
        log_warning("config", NULL, "%s; the running garden stays as it was", refused->message);
        g_propagate_error(error, g_steal_pointer(&refused));
        return FALSE;
    }
    outlets_reload(s->outlets);
    feed_outlet_follow(s->feed);
    forecasts_fetch(s->forecasts);
    service_ask_plan(s, "config");
    return TRUE;
}

static void config_settled(gpointer data);

static void read_config_soon(Service *s)
{
    if (s->config_alarm == 0)
        s->config_alarm =
            clock_add_alarm(s->clk, clock_now(s->clk) + CONFIG_SETTLE_S, config_settled, s);
}

static void config_settled(gpointer data)
{
    Service *s = data;
    s->config_alarm = 0;
    if (planner_is_finishing(s))
        read_config_soon(s);
    else
        (void)service_reload(s, NULL);
}

static void config_changed(GFileMonitor *monitor, GFile *file, GFile *other,
                           GFileMonitorEvent event, gpointer data)
{
    (void)monitor, (void)file, (void)other, (void)event;
    read_config_soon(data);
}

static void watch_config(Service *s)
{
    g_autoptr(GFile) file = g_file_new_for_path(s->options.config_path);
    s->config_monitor = g_file_monitor_file(file, G_FILE_MONITOR_WATCH_MOVES, NULL, NULL);
    if (s->config_monitor != NULL)
        g_signal_connect(s->config_monitor, "changed", G_CALLBACK(config_changed), s);
}

/* ---- life ---- */

WordingContext service_wording(const Service *s)
{
    return (WordingContext){.garden = s->garden,
                            .batches = (const Batch *)(gconstpointer)s->current.batches->data,
                            .n_batches = (int)s->current.batches->len,
                            .zones = s->zones,
                            .now_utc = clock_now(s->clk)};
}

const char *service_weather_note(const Service *s, int site)
{
    return s->weather != NULL ? s->weather[site].note : NULL;
}

static gboolean open_store(Service *s, GError **error)
{
    g_autofree char *path = g_build_filename(s->options.state_dir, NAME_STORE_FILE, NULL);
    if (g_mkdir_with_parents(s->options.state_dir, 0700) != 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO, "%s: the state folder cannot be made: %s",
                    s->options.state_dir, g_strerror(errno));
        return FALSE;
    }
    StoreDurability durability = s->options.throwaway ? STORE_THROWAWAY : STORE_DURABLE;
    s->store = store_open(path, durability, clock_now(s->clk), error);
    if (s->store == NULL && error != NULL &&
        g_error_matches(*error, STORE_ERROR, STORE_ERROR_CORRUPT)) {
        /* The damaged file is kept aside and named; the season goes on with an empty record. */
        s->store_problem = g_strdup((*error)->message);
        log_warning("store", NULL, "%s", (*error)->message);
        g_clear_error(error);
        s->store = store_open(path, durability, clock_now(s->clk), error);
    }
    return s->store != NULL;
}

static gboolean listen(Service *s, GError **error)
{
    int inherited_fd = s->options.socket_fd > 0 ? s->options.socket_fd : -1;
    if (s->options.socket_path == NULL)
        return TRUE;
    g_autofree char *folder = g_path_get_dirname(s->options.socket_path);
    if (inherited_fd < 0 && g_mkdir_with_parents(folder, 0700) != 0) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_IO,
                    "%s: the socket's folder cannot be made: %s", folder, g_strerror(errno));
        return FALSE;
    }
    s->control =
        control_new(s->options.socket_path, s->options.system ? CONTROL_SYSTEM : CONTROL_USER,
                    inherited_fd, error);
    if (s->control == NULL)
        return FALSE;
    api_add_routes(s, s->control);
    return TRUE;
}

Service *service_new(Clock *clk, ServiceOptions *options, GError **error)
{
    g_autoptr(Service) s = g_new0(Service, 1);
    s->clk = clk;
    s->options = *options;
    *options = (ServiceOptions){0};
    s->planner = planner_new(s);
    s->feed = feed_outlet_new(s);
    s->visits = open_visits_new();
    s->alerts = g_array_new(FALSE, FALSE, sizeof(Job));
    s->memory = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);
    s->windows = g_array_new(FALSE, FALSE, sizeof(VisitWindow));
    g_autoptr(GError) failed = NULL;
    if (!open_store(s, &failed) || !read_garden(s, &failed) || !publish_load_memory(s, &failed) ||
        (s->desktop = desktop_new(s, &failed)) == NULL ||
        (s->post = post_new(s, &failed)) == NULL || !listen(s, &failed)) {
        g_propagate_error(error, g_steal_pointer(&failed));
        return NULL;
    }
    s->outlets = outlets_new(s);
    clock_set_jumped(clk, jumped, s);
    watch_config(s);
    feed_outlet_follow(s->feed);
    forecasts_fetch(s->forecasts);
    service_ask_plan(s, "start");
    return g_steal_pointer(&s);
}

void service_free(Service *s)
{
    if (s == NULL)
        return;
    clock_set_jumped(s->clk, NULL, NULL);
    guint alarms[] = {s->wake, s->plan_alarm, s->config_alarm};
    for (gsize i = 0; i < G_N_ELEMENTS(alarms); i++)
        clock_remove_alarm(s->clk, alarms[i]);
    post_free(s->post); /* tests that wait for it are answered */
    control_free(s->control);
    feed_outlet_free(s->feed);
    planner_free(s->planner);
    desktop_free(s->desktop);
    outlets_free(s->outlets);
    g_clear_object(&s->config_monitor);
    forecasts_free(s->forecasts);
    site_weather_free(s->weather, s->garden != NULL ? s->garden->n_sites : 0);
    state_clear(&s->settled);
    state_clear(&s->current);
    g_ptr_array_unref(s->visits);
    g_array_unref(s->alerts);
    g_ptr_array_unref(s->memory);
    g_array_unref(s->windows);
    zones_free(s->zones);
    garden_free(s->garden);
    crops_free(s->crops);
    store_close(s->store);
    g_free(s->arena.base);
    g_free(s->config_problem);
    g_free(s->calendar_problem);
    g_free(s->store_problem);
    g_free(s->plan_trigger);
    service_options_clear(&s->options);
    g_free(s);
}

void service_options_clear(ServiceOptions *options)
{
    g_clear_pointer(&options->config_path, g_free);
    g_clear_pointer(&options->crops_path, g_free);
    g_clear_pointer(&options->state_dir, g_free);
    g_clear_pointer(&options->calendar_path, g_free);
    g_clear_pointer(&options->socket_path, g_free);
    g_clear_pointer(&options->weather, g_free);
}
