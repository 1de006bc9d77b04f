/* SPDX-License-Identifier: MIT */
#include "service/rehearse.h"

#include <glib/gstdio.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "base/names.h"
#include "service/forecasts.h"
#include "service/jobs.h"
#include "weather/csv.h"

#define HOUR_S 3600
#define DAY_S 86400
#define REPORT_AFTER_S 60 /* the scripted grower reports so long after a visit begins */
#define ERROR_KEPT 0.7    /* of a day's forecast error in the next day's; chosen */

typedef struct Rehearsal {
    RehearseOptions *options;
    Clock *clk;
    Service *service;
    GMainLoop *loop;
    GTimeZone *zone; /* (unowned) of the first site */
    int64_t end_utc;
    guint report_alarm;
    char *printed; /* (owned) (nullable) decisions as last printed */
} Rehearsal;

void rehearse_options_clear(RehearseOptions *options)
{
    g_clear_pointer(&options->forecast_path, g_free);
    g_clear_pointer(&options->from, g_free);
    g_clear_pointer(&options->to, g_free);
    g_clear_pointer(&options->miss, g_strfreev);
}

/* "2026-04-12", or "2026-04-12T17:30", by the clocks of `zone`. */
static gboolean parse_moment(const char *option, const char *text, GTimeZone *zone,
                             int64_t *ret_utc, GError **error)
{
    g_auto(GStrv) parts = g_strsplit(text, "T", 2);
    int day = 0, hour = 0, minute = 0;
    char rest;
    g_autoptr(GError) wrong = NULL;
    gboolean ok = parts[0] != NULL && local_day_parse(parts[0], &day, &wrong);
    if (ok && parts[1] != NULL)
        /* NOLINTNEXTLINE(cert-err34-c): two digits overflow no int */
        ok = strlen(parts[1]) == 5 && sscanf(parts[1], "%2d:%2d%c", &hour, &minute, &rest) == 2 &&
             hour >= 0 && hour < 24 && minute >= 0 && minute < 60;
    if (!ok) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "%s %s: no such time; accepted is YYYY-MM-DD or YYYY-MM-DDTHH:MM", option,
                    text);
        return FALSE;
    }
    *ret_utc = local_time_on_day(zone, day, hour * 60 + minute);
    return TRUE;
}

/* ---- weather ---- */

static double standard_normal(GRand *random)
{
    double u = 1.0 - g_rand_double(random), v = g_rand_double(random);
    return sqrt(-2.0 * log(u)) * cos(2.0 * G_PI * v);
}

/* What a forecast of `issued_utc` says of the truth: hours up to now as they were, ten days ahead.
 */
static Forecast *view_of(const Forecast *truth, int64_t issued_utc, GRand *random)
{
    Forecast *view = forecast_new(truth->site, truth->source, issued_utc, issued_utc);
    int64_t to_utc = issued_utc + (int64_t)SERVICE_HORIZON_D * DAY_S + HOUR_S;
    double error = 0.0;
    int day = -1;
    for (guint i = 0; i < truth->hours->len; i++) {
        WeatherHour hour = g_array_index(truth->hours, WeatherHour, i);
        if (hour.time_utc < issued_utc - DAY_S || hour.time_utc > to_utc)
            continue;
        int lead_day = (int)((hour.time_utc - issued_utc) / DAY_S);
        if (random != NULL && hour.time_utc > issued_utc && lead_day != day) {
            day = lead_day;
            error =
                ERROR_KEPT * error + sqrt(1.0 - ERROR_KEPT * ERROR_KEPT) * standard_normal(random);
        }
        if (random != NULL && hour.time_utc > issued_utc) {
            double shift_k =
                error * weather_spread_k((double)(hour.time_utc - issued_utc) / HOUR_S);
            hour.temperature_c += shift_k;
            hour.dew_point_c += shift_k;
        }
        g_array_append_val(view->hours, hour);
    }
    return view;
}

/* A table without a column of issue is the truth: each day sees ten days of it. */
static void daily_views(const Rehearsal *r, const Forecast *truth, int64_t from_utc, GRand *random,
                        GPtrArray *ret)
{
    int last = local_day(r->zone, r->end_utc);
    for (int day = local_day(r->zone, from_utc); day <= last; day++) {
        Forecast *view = view_of(truth, local_midnight(r->zone, day), random);
        if (view->hours->len > 0)
            g_ptr_array_add(ret, view);
        else
            forecast_free(view);
    }
}

/* A table that tells of no site of the garden would be a rehearsal without weather. */
static gboolean check_sites(const Rehearsal *r, const GPtrArray *table, GError **error)
{
    const Garden *garden = r->service->garden;
    for (guint i = 0; i < table->len; i++) {
        const char *site = ((const Forecast *)g_ptr_array_index(table, i))->site;
        gboolean known = site[0] == '\0';
        g_autoptr(GString) names = g_string_new(NULL);
        for (int k = 0; k < garden->n_sites; k++) {
            known = known || strcmp(site, garden->sites[k].name) == 0;
            g_string_append_printf(names, "%s%s", k > 0 ? ", " : "", garden->sites[k].name);
        }
        if (!known) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                        "%s: site=%s: the garden has no such site; accepted %s",
                        r->options->forecast_path, site, names->str);
            return FALSE;
        }
    }
    return TRUE;
}

static gboolean give_weather(Rehearsal *r, const char *data, gsize length, int64_t from_utc,
                             GError **error)
{
    Service *s = r->service;
    g_autoptr(GPtrArray) table =
        weather_csv_parse(r->options->forecast_path, data, length, 0, from_utc, error);
    g_autoptr(GRand) random =
        r->options->seed >= 0 ? g_rand_new_with_seed((guint32)r->options->seed) : NULL;
    if (table == NULL || !check_sites(r, table, error))
        return FALSE;
    for (int site = 0; site < s->garden->n_sites; site++) {
        g_autoptr(GPtrArray) given = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
        for (guint i = 0; i < table->len; i++) {
            const Forecast *one = g_ptr_array_index(table, i);
            if (one->site[0] != '\0' && strcmp(one->site, s->garden->sites[site].name) != 0)
                continue;
            if (one->issued_utc == 0)
                daily_views(r, one, from_utc, random, given);
            else
                g_ptr_array_add(given, forecast_copy(one));
        }
        for (guint i = 0; i < given->len; i++) {
            Forecast *one = g_ptr_array_index(given, i);
            g_free(one->site);
            one->site = g_strdup(s->garden->sites[site].name);
        }
        forecasts_take(s->forecasts, site, given);
    }
    return TRUE;
}

/* ---- the scripted grower ---- */

static gboolean stays_away(const Rehearsal *r, int64_t utc)
{
    g_autofree char *day = local_day_format(local_day(r->zone, utc));
    return r->options->miss != NULL && g_strv_contains((const char *const *)r->options->miss, day);
}

static gboolean report_visits(Rehearsal *r, GError **error)
{
    Service *s = r->service;
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (!v->begun)
            continue;
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->state == STORE_JOB_PLANNED &&
                !jobs_report(s, v, job, !stays_away(r, v->visit.start_utc), 0, error))
                return FALSE;
        }
    }
    return TRUE;
}

static void set_report(Rehearsal *r);

static void report(gpointer data)
{
    Rehearsal *r = data;
    g_autoptr(GError) error = NULL;
    r->report_alarm = 0;
    if (!store_begin(r->service->store, &error) || !report_visits(r, &error) ||
        !store_commit(r->service->store, &error)) {
        store_rollback(r->service->store);
        g_printerr("tholed: the scripted grower could not report: %s\n", error->message);
    }
    set_report(r);
}

static void set_report(Rehearsal *r)
{
    int64_t next_utc = 0, now_utc = clock_now(r->clk);
    for (guint i = 0; i < r->service->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(r->service->visits, i);
        int64_t at_utc = v->visit.start_utc + REPORT_AFTER_S;
        if (at_utc > now_utc && (next_utc == 0 || at_utc < next_utc))
            next_utc = at_utc;
    }
    clock_remove_alarm(r->clk, r->report_alarm);
    r->report_alarm = next_utc != 0 ? clock_add_alarm(r->clk, next_utc, report, r) : 0;
}

/* ---- what is printed ---- */

#define LINE_WIDTH 80

/* `text` broken at blanks, every line after the first behind `indent` more blanks. */
static void append_wrapped(GString *to, int indent, const char *text)
{
    g_auto(GStrv) words = g_strsplit(text, " ", -1);
    int column = indent;
    g_string_append_printf(to, "%*s", indent, "");
    for (char **word = words; *word != NULL; word++) {
        int width = (int)g_utf8_strlen(*word, -1);
        if (column + 1 + width > LINE_WIDTH && column > indent) {
            g_string_append_printf(to, "\n%*s", indent + 2, "");
            column = indent + 2;
        } else if (word != words) {
            g_string_append_c(to, ' ');
            column++;
        }
        g_string_append(to, *word);
        column += width;
    }
    g_string_append_c(to, '\n');
}

static void print_visit(const Service *s, const OpenVisit *v, GString *to)
{
    WordingContext context = service_wording(s);
    g_autofree char *when = wording_when(&context, v->visit.site, v->visit.start_utc);
    g_string_append_printf(to, "  %s %s\n", when, s->garden->sites[v->visit.site].name);
    for (guint i = 0; i < v->jobs->len; i++) {
        const Job *job = &g_array_index(v->jobs, OpenJob, i).job;
        g_autofree char *text = wording_job(&context, job), *why = wording_reason(&context, job);
        g_autofree char *line = g_strconcat(text, " ", why, NULL);
        append_wrapped(to, 4, line);
    }
}

static char *day_text(const Rehearsal *r, int day)
{
    const Service *s = r->service;
    WordingContext context = service_wording(s);
    GString *to = g_string_new(NULL);
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (local_day(s->zones[v->visit.site], v->visit.start_utc) == day)
            print_visit(s, v, to);
    }
    for (guint i = 0; i < s->alerts->len; i++) {
        g_autofree char *text = wording_job(&context, &g_array_index(s->alerts, Job, i));
        g_autofree char *line = g_strconcat("Now: ", text, NULL);
        append_wrapped(to, 2, line);
    }
    for (guint i = 0; s->plan.outlooks != NULL && i < s->current.batches->len; i++) {
        const Batch *batch = &g_array_index(s->current.batches, Batch, i);
        g_autofree char *line = wording_outlook(&context, batch, &s->plan.outlooks[i]);
        append_wrapped(to, 2, line);
    }
    return g_string_free(to, FALSE);
}

static void planned(Service *s, const char *trigger, gpointer data)
{
    Rehearsal *r = data;
    set_report(r);
    if (r->options->quiet)
        return;
    int day = local_day(r->zone, clock_now(r->clk));
    g_autofree char *text = day_text(r, day), *date = local_day_format(day);
    WordingContext context = service_wording(s);
    g_autofree char *now = wording_when(&context, 0, clock_now(r->clk));
    if (g_strcmp0(text, r->printed) != 0)
        g_print("%s, %s (%s)\n%s", date, now, trigger, text);
    g_free(r->printed);
    r->printed = g_steal_pointer(&text);
}

static void reached(gpointer data)
{
    Rehearsal *r = data;
    service_plan_now(r->service);
    if (r->options->stay) {
        g_autofree char *now = utc_format(clock_now(r->clk));
        g_print("The clock stands at %s; %" G_GUINT64_FORMAT " plans were made.\n", now,
                r->service->plans);
        if (r->service->options.socket_path != NULL)
            g_print("Serving at %s\n", r->service->options.socket_path);
        fflush(stdout);
        return;
    }
    g_main_loop_quit(r->loop);
}

/* A folder of its own that goes with the rehearsal. */
static gboolean throw_away_folder(ServiceOptions *options, char **ret_folder, GError **error)
{
    if (options->state_dir != NULL)
        return TRUE;
    options->state_dir = g_dir_make_tmp("thole-rehearsal-XXXXXX", error);
    options->throwaway = TRUE;
    *ret_folder = g_strdup(options->state_dir);
    return options->state_dir != NULL;
}

static void remove_folder(const char *folder)
{
    g_autoptr(GDir) dir = folder != NULL ? g_dir_open(folder, 0, NULL) : NULL;
    const char *name;
    while (dir != NULL && (name = g_dir_read_name(dir)) != NULL) {
        g_autofree char *path = g_build_filename(folder, name, NULL);
        g_unlink(path);
    }
    if (folder != NULL)
        g_rmdir(folder);
}

static gboolean check_missed_days(const RehearseOptions *options, GError **error)
{
    int day;
    for (char **miss = options->miss; miss != NULL && *miss != NULL; miss++) {
        if (!local_day_parse(*miss, &day, NULL)) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                        "--miss %s: no such day; accepted is YYYY-MM-DD", *miss);
            return FALSE;
        }
    }
    return TRUE;
}

/* The zone of the garden's first site: the clock must stand before the service reads the garden for
 * itself. */
static GTimeZone *first_zone(const ServiceOptions *options, GError **error)
{
    g_autoptr(Crops) crops = NULL;
    if (!crops_load(options->crops_path, NULL, &crops, error))
        return NULL;
    Garden *garden = garden_load(options->config_path, crops->crops, crops->n, NULL, error);
    if (garden == NULL)
        return NULL;
    GTimeZone *zone = g_time_zone_new_identifier(garden->sites[0].zone);
    garden_free(garden);
    return zone != NULL ? zone : g_time_zone_new_local();
}

static gboolean run(Rehearsal *r, ServiceOptions *service_options, GError **error)
{
    g_autofree char *data = NULL;
    gsize length;
    int64_t from_utc;
    if (!g_file_get_contents(r->options->forecast_path, &data, &length, error) ||
        !check_missed_days(r->options, error))
        return FALSE;
    g_autoptr(GTimeZone) zone = first_zone(service_options, error);
    if (zone == NULL || !parse_moment("--from", r->options->from, zone, &from_utc, error) ||
        !parse_moment("--to", r->options->to, zone, &r->end_utc, error))
        return FALSE;
    if (r->end_utc < from_utc) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "--to %s lies before --from %s",
                    r->options->to, r->options->from);
        return FALSE;
    }
    r->clk = clock_virtual_new(g_main_loop_get_context(r->loop), from_utc);
    r->service = service_new(r->clk, service_options, error);
    if (r->service == NULL)
        return FALSE;
    r->zone = r->service->zones[0];
    r->service->planned = planned;
    r->service->planned_data = r;
    if (!give_weather(r, data, length, from_utc, error))
        return FALSE;
    clock_virtual_set_end(r->clk, r->end_utc, reached, r);
    g_main_loop_run(r->loop);
    return TRUE;
}

gboolean rehearse_run(GMainLoop *loop, RehearseOptions *options, ServiceOptions *service_options,
                      GError **error)
{
    Rehearsal r = {.options = options, .loop = loop};
    g_autofree char *folder = NULL;
    if (!throw_away_folder(service_options, &folder, error))
        return FALSE;
    if (service_options->calendar_path == NULL)
        service_options->calendar_path =
            g_build_filename(service_options->state_dir, NAME_CALENDAR_FILE, NULL);
    service_options->virtual_clock = TRUE;
    service_options->weather = g_strdup("none");
    gboolean ok = run(&r, service_options, error);
    service_free(r.service);
    clock_free(r.clk);
    remove_folder(folder);
    g_free(r.printed);
    return ok;
}
