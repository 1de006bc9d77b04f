/* SPDX-License-Identifier: MIT */
#include "service-world.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib/gstdio.h>
#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "ramp/ramp.h"
#include "store/store-batches.h"

const char world_garden[] = "[garden]\n"
                            "[grower one]\n"
                            "visits-home=07:00-08:30; 17:30-dusk\n"
                            "visits-plot=Mon-Fri 17:30-19:30; Sat-Sun 09:00-18:00\n"
                            "travel-minutes=20\n"
                            "[site home]\n"
                            "latitude=53.10\nlongitude=-2.02\nzone=Europe/London\nweather=none\n"
                            "[site plot]\n"
                            "latitude=53.12\nlongitude=-2.04\nzone=Europe/London\nweather=none\n"
                            "[place sill]\nsite=home\nkind=sill\ntrays=6\n"
                            "[place frame]\nsite=plot\nkind=cold-frame\ntrays=6\nstands-on=slab\n"
                            "[place tunnel]\nsite=plot\nkind=tunnel\ntrays=20\n"
                            "[place box]\ninside=tunnel\nkind=box\ntrays=4\n"
                            "[place bed]\nsite=plot\nkind=bed\n";

/* Whose log is written; one world at a time. GIO's threads write lines of their own. */
static World *current;
static GMutex writing;

static GLogWriterOutput write_log(GLogLevelFlags level, const GLogField *fields, gsize n,
                                  gpointer data)
{
    (void)data;
    g_mutex_lock(&writing);
    for (gsize i = 0; i < n && current != NULL; i++) {
        if (strcmp(fields[i].key, "MESSAGE") == 0)
            g_ptr_array_add(current->log,
                            fields[i].length < 0
                                ? g_strdup(fields[i].value)
                                : g_strndup(fields[i].value, (gsize)fields[i].length));
    }
    g_mutex_unlock(&writing);
    return level <= G_LOG_LEVEL_WARNING ? g_log_writer_default(level, fields, n, data)
                                        : G_LOG_WRITER_HANDLED;
}

int64_t world_utc(const char *text)
{
    int64_t utc;
    assert_true(utc_parse(text, &utc, NULL));
    return utc;
}

World *world_new(const char *garden, const char *start)
{
    static gsize once;
    if (g_once_init_enter(&once)) {
        g_log_set_writer_func(write_log, NULL, NULL);
        g_once_init_leave(&once, 1);
    }
    World *w = g_new0(World, 1);
    w->folder = g_dir_make_tmp("service-XXXXXX", NULL);
    assert_non_null(w->folder);
    w->config = g_build_filename(w->folder, "thole.conf", NULL);
    w->calendar = g_build_filename(w->folder, "thole.ics", NULL);
    w->csv = g_build_filename(w->folder, "forecast.csv", NULL);
    w->weather = g_strdup("none");
    w->loop = g_main_loop_new(NULL, FALSE);
    w->clk = clock_virtual_new(NULL, world_utc(start));
    w->log = g_ptr_array_new_with_free_func(g_free);
    w->triggers = g_ptr_array_new_with_free_func(g_free);
    world_write(w->config, garden);
    g_mutex_lock(&writing);
    current = w;
    g_mutex_unlock(&writing);
    return w;
}

void world_free(World *w)
{
    world_stop(w);
    g_mutex_lock(&writing);
    current = NULL;
    g_mutex_unlock(&writing);
    clock_free(w->clk);
    g_main_loop_unref(w->loop);
    g_autoptr(GDir) dir = g_dir_open(w->folder, 0, NULL);
    const char *name;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *path = g_build_filename(w->folder, name, NULL);
        (void)g_remove(path);
    }
    (void)g_rmdir(w->folder);
    g_ptr_array_unref(w->log);
    g_ptr_array_unref(w->triggers);
    g_free(w->folder);
    g_free(w->config);
    g_free(w->calendar);
    g_free(w->csv);
    g_free(w->weather);
    g_free(w->socket);
    g_free(w);
}

static void planned(Service *s, const char *trigger, gpointer data)
{
    World *w = data;
    g_ptr_array_add(w->triggers, g_strdup(trigger));
    if (w->planned != NULL)
        w->planned(s, trigger, w);
}

void world_start(World *w)
{
    g_autoptr(GError) error = NULL;
    ServiceOptions options = {.config_path = g_strdup(w->config),
                              .crops_path = g_build_filename(g_getenv("THOLE_SOURCE_DIR"),
                                                             "daemon/garden/crops.conf", NULL),
                              .state_dir = g_strdup(w->folder),
                              .calendar_path = g_strdup(w->calendar),
                              .weather = g_strdup(w->weather),
                              .socket_path = g_strdup(w->socket),
                              .desktop = w->desktop,
                              .channels = w->channels,
                              .outlets = w->outlets,
                              .virtual_clock = TRUE,
                              .throwaway = !w->durable};
    w->service = service_new(w->clk, &options, &error);
    if (w->service == NULL)
        fail_msg("%s", error->message);
    w->service->planned = planned;
    w->service->planned_data = w;
    world_run_for(w, 0);
}

void world_stop(World *w)
{
    service_free(w->service);
    w->service = NULL;
}

static void reached(gpointer loop)
{
    g_main_loop_quit(loop);
}

void world_run(World *w, int64_t utc)
{
    clock_virtual_set_end(w->clk, utc, reached, w->loop);
    g_main_loop_run(w->loop);
}

void world_run_for(World *w, int64_t seconds)
{
    world_run(w, clock_now(w->clk) + seconds);
}

int64_t world_now(const World *w)
{
    return clock_now(w->clk);
}

static double temperature_c(const WorldWeather *weather, int64_t issued_utc, int64_t utc)
{
    double mean_c = (weather->low_c + weather->high_c) / 2,
           half_k = (weather->high_c - weather->low_c) / 2;
    double hour = (double)(utc % DAY_S) / HOUR_S;
    double t_c = mean_c - half_k * cos((hour - 4) * G_PI / 12);
    /* The cold night: the one that ends `cold_day` days after the day of issue. */
    int64_t low_utc = issued_utc / DAY_S * DAY_S + (int64_t)weather->cold_day * DAY_S + 4 * HOUR_S;
    double from_h = fabs((double)(utc - low_utc)) / HOUR_S;
    if (weather->cold_day > 0 && from_h < 8)
        t_c += (weather->cold_c - weather->low_c) * (1 - from_h / 8);
    return t_c;
}

void world_forecast(World *w, const WorldWeather *weather)
{
    Service *s = w->service;
    int64_t now_utc = clock_now(w->clk), from_utc = now_utc / HOUR_S * HOUR_S - 2 * DAY_S;
    for (int site = 0; site < s->garden->n_sites; site++) {
        g_autoptr(GPtrArray) given = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
        Forecast *forecast = forecast_new(s->garden->sites[site].name, "test", now_utc, now_utc);
        for (int64_t utc = from_utc; utc <= now_utc + (SERVICE_HORIZON_D + 1) * (int64_t)DAY_S;
             utc += HOUR_S) {
            WeatherHour hour = weather_hour_missing(utc);
            hour.temperature_c = temperature_c(weather, now_utc, utc);
            g_array_append_val(forecast->hours, hour);
        }
        g_ptr_array_add(given, forecast);
        forecasts_take(s->forecasts, site, given);
    }
    service_ask_plan(s, "forecast");
    world_run_for(w, 0);
}

void world_write_csv(World *w, const WorldWeather *weather)
{
    GString *text = g_string_new("issued,time,temperature_c\n");
    int64_t now_utc = clock_now(w->clk), from_utc = now_utc / HOUR_S * HOUR_S - 2 * DAY_S;
    g_autofree char *issued = utc_format(now_utc);
    for (int64_t utc = from_utc; utc <= now_utc + (SERVICE_HORIZON_D + 1) * (int64_t)DAY_S;
         utc += HOUR_S) {
        g_autofree char *time = utc_format(utc);
        char number[G_ASCII_DTOSTR_BUF_SIZE];
        g_ascii_formatd(number, sizeof number, "%.2f", temperature_c(weather, now_utc, utc));
        g_string_append_printf(text, "%s,%s,%s\n", issued, time, number);
    }
    world_write(w->csv, text->str);
    g_string_free(text, TRUE);
}

void world_write(const char *path, const char *text)
{
    g_autoptr(GError) error = NULL;
    if (!g_file_set_contents(path, text, -1, &error))
        fail_msg("%s", error->message);
}

char *world_read(const char *path)
{
    g_autoptr(GError) error = NULL;
    char *text = NULL;
    if (!g_file_get_contents(path, &text, NULL, &error))
        fail_msg("%s", error->message);
    return text;
}

void world_put_batch(World *w, const char *crop, int number, const char *place, Stage stage,
                     int age_days)
{
    Service *s = w->service;
    g_autoptr(GError) error = NULL;
    int64_t now_utc = clock_now(w->clk);
    Batch batch = {.number = number, .stage = stage, .resowable = true};
    batch.crop = -1;
    for (int c = 0; c < s->garden->n_crops; c++) {
        if (strcmp(s->garden->crops[c].name, crop) == 0)
            batch.crop = c;
    }
    batch.place = garden_find_place(s->garden, place);
    batch.destination = garden_find_place(s->garden, "bed");
    batch.container = garden_find_container(s->garden, "modules-60");
    batch.container = MAX(batch.container, 0);
    batch.trays = 1;
    batch.sown_utc = now_utc - (int64_t)age_days * DAY_S;
    assert_true(batch.crop >= 0 && batch.place >= 0 && batch.destination >= 0);
    g_autofree char *name = store_new_batch_name(s->store, &s->garden->crops[batch.crop], &error);
    assert_non_null(name);
    g_strlcpy(batch.name, name, NAME_SIZE);
    ramp_begin(&s->garden->crops[batch.crop], now_utc / STEP_S * STEP_S, &batch.ramp);
    assert_true(store_begin(s->store, &error));
    assert_true(store_put_batch(s->store, s->garden, &batch, now_utc / STEP_S * STEP_S, &error));
    assert_true(store_put_placement(s->store, s->garden, batch.id, batch.place,
                                    now_utc / STEP_S * STEP_S, &error));
    assert_true(store_commit(s->store, &error));
    assert_true(service_refresh(s, &error));
}

void world_add_batch(World *w, const char *crop, int number, const char *place, Stage stage,
                     int age_days)
{
    world_put_batch(w, crop, number, place, stage, age_days);
    service_ask_plan(w->service, "batch added");
    world_run_for(w, 0);
}

const Batch *world_batch(const World *w, const char *name)
{
    const Batch *batch = state_find_batch(&w->service->current, name, NULL);
    assert_non_null(batch);
    return batch;
}

char *world_calendar(const World *w)
{
    return world_read(w->calendar);
}

void world_forget_log(World *w)
{
    g_mutex_lock(&writing);
    g_ptr_array_set_size(w->log, 0);
    g_mutex_unlock(&writing);
}

guint world_logged(const World *w, const char *part)
{
    guint n = 0;
    g_mutex_lock(&writing);
    for (guint i = 0; i < w->log->len; i++)
        n += strstr(g_ptr_array_index(w->log, i), part) != NULL;
    g_mutex_unlock(&writing);
    return n;
}

static gboolean wants(const OpenVisit *v, gboolean guard)
{
    gboolean guards = FALSE;
    for (guint k = 0; k < v->jobs->len; k++)
        guards = guards || g_array_index(v->jobs, OpenJob, k).job.guard;
    return v->jobs->len > 0 && guards == (guard != FALSE);
}

OpenVisit *world_visit(const World *w, gboolean guard)
{
    for (guint i = 0; i < w->service->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(w->service->visits, i);
        if (!v->begun && wants(v, guard))
            return v;
    }
    return NULL;
}

StoreJobState world_stored_job(const World *w, const char *job_id)
{
    StoreScope scope = {w->service->garden, NULL, 0};
    g_autoptr(GArray) jobs = NULL;
    assert_true(store_load_jobs_since(w->service->store, &scope, 0, &jobs, NULL));
    for (guint i = 0; i < jobs->len; i++) {
        const StoreJob *job = &g_array_index(jobs, StoreJob, i);
        if (strcmp(job->job.id, job_id) == 0)
            return job->state;
    }
    fail_msg("the store has no job %s", job_id);
    return STORE_JOB_UNKNOWN;
}

char *world_visits_text(const World *w)
{
    const Service *s = w->service;
    GString *to = g_string_new(NULL);
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        g_autofree char *at = utc_format(v->visit.start_utc);
        g_string_append_printf(to, "%s %s %s\n", v->visit.id, at, v->begun ? "begun" : "");
        for (guint k = 0; k < v->jobs->len; k++) {
            const OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->state == STORE_JOB_PLANNED)
                g_string_append_printf(to, "  %d %s kind %d batch %d place %d position %d\n",
                                       job->handle, job->job.id, job->job.kind, job->job.batch,
                                       job->job.place, job->job.position);
        }
    }
    return g_string_free(to, FALSE);
}

char *world_state_text(const World *w)
{
    const State *states[] = {&w->service->settled, &w->service->current};
    GString *to = g_string_new(NULL);
    for (gsize k = 0; k < G_N_ELEMENTS(states); k++) {
        for (guint i = 0; i < states[k]->batches->len; i++) {
            const Batch *b = &g_array_index(states[k]->batches, Batch, i);
            g_string_append_printf(to, "%s %d %d %d %.9f %.9f %d\n", b->name, b->number, b->stage,
                                   b->place, b->ramp.hardened_to_c, b->ramp.frost_tolerance,
                                   b->position_unknown);
        }
        for (int c = 0; c < states[k]->n_chains; c++)
            for (gsize j = 0; j < sizeof(ChainState) / sizeof(double); j++)
                g_string_append_printf(to, "%.9g ",
                                       ((const double *)&states[k]->chain_states[c])[j]);
        g_string_append_c(to, '\n');
    }
    return g_string_free(to, FALSE);
}

char *world_read_calendar(const World *w)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *script =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "tests/calendar-reader.py", NULL);
    g_autofree char *complaint = NULL;
    char *text = NULL;
    int status = 0;
    const char *argv[] = {"/usr/bin/python3", script, w->calendar, "Europe/London", NULL};
    if (!g_spawn_sync(NULL, (char **)argv, NULL, G_SPAWN_DEFAULT, NULL, NULL, &text, &complaint,
                      &status, &error))
        fail_msg("%s", error->message);
    if (status != 0)
        fail_msg("%s", complaint);
    return text;
}
