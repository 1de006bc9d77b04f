/* SPDX-License-Identifier: MIT */
/* What is to be done today, and what the week holds. */
#include <math.h>

#include "base/local-time.h"
#include "service/absence.h"
#include "service/advice.h"
#include "service/ahead.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-json.h"
#include "service/edit-told.h"
#include "service/foresee.h"
#include "service/wording-notice.h"
#include "service/wording-season.h"
#include "service/api-sources.h"
#include "service/forecasts.h"
#include "service/growing.h"
#include "service/planner.h"
#include "service/waiting.h"

/* ---- alerts ---- */

typedef struct Alert {
    const char *kind;
    gboolean urgent;
    const char *site, *batch; /* (nullable) */
    int handle;               /* 0 none */
    char *text;               /* taken over */
} Alert;

static void clear_alert(gpointer data)
{
    g_free(((Alert *)data)->text);
}

static void add_alert(GArray *alerts, const Alert *alert)
{
    g_array_append_vals(alerts, alert, 1);
}

static const char *site_name(const Service *service, int site)
{
    return service->garden->sites[site].name;
}

/* What no visit can do: urgent ones, or those to be chosen. */
static void add_plan_alerts(const Service *service, gboolean urgent, GArray *alerts)
{
    const WordingContext words = service_wording(service);

    for (guint i = 0; i < service->alerts->len; i++) {
        const Job *job = &g_array_index(service->alerts, Job, i);
        const int64_t last_utc = job->deadline_utc != 0 ? job->deadline_utc : job->reason.at_utc;
        if ((job->kind != JOB_CHOOSE) != urgent ||
            (urgent && last_utc <= clock_now(service->clk) && !wording_is_too_late(&words, job)))
            continue;
        g_autofree char *what = wording_is_too_late(&words, job) ? wording_too_late(&words, job)
                                                                 : wording_job(&words, job);
        g_autofree char *why = wording_reason(&words, job);
        add_alert(alerts, &(Alert){.kind = urgent ? "urgent" : "choice",
                                   .urgent = urgent,
                                   .site = site_name(service, api_site_of(service, job->place)),
                                   .batch = api_batch_name(service, job->batch),
                                   .text = g_strconcat(what, " ", why, NULL)});
    }
}

/* A batch that is past saving by what is at hand is told today, though its visit is days off:
 * fleece may still be found. */
static void add_ahead(const Service *service, GArray *alerts)
{
    const WordingContext words = service_wording(service);

    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        const int site = visit->visit.site;
        if (api_day(service, site, visit->visit.start_utc) <= api_today(service, site))
            continue;
        for (guint k = 0; k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            if (job->job.kind != JOB_RESCUE || !job->job.urgent || job->state != STORE_JOB_PLANNED)
                continue;
            g_autofree char *when = wording_when(&words, site, visit->visit.start_utc);
            g_autofree char *what = wording_visit_job(&words, &visit->visit, &job->job);
            g_autofree char *why = wording_reason(&words, &job->job);
            add_alert(alerts, &(Alert){.kind = "urgent",
                                       .urgent = TRUE,
                                       .site = site_name(service, site),
                                       .batch = api_batch_name(service, job->job.batch),
                                       .handle = job->handle,
                                       .text = g_strdup_printf("On %s: %s %s", when, what, why)});
        }
    }
}

static void add_questions(const Service *service, GArray *alerts)
{
    const WordingContext words = service_wording(service);

    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            if (!job->asked_again || job->state != STORE_JOB_PLANNED)
                continue;
            g_autofree char *what = wording_job(&words, &job->job);
            g_autofree char *why = wording_reason(&words, &job->job);
            add_alert(alerts, &(Alert){.kind = "asked again",
                                       .urgent = TRUE,
                                       .site = site_name(service, visit->visit.site),
                                       .batch = api_batch_name(service, job->job.batch),
                                       .handle = job->handle,
                                       .text = g_strdup_printf("Was this done? %s %s", what, why)});
        }
    }
}

static void add_problem(GArray *alerts, const char *kind, gboolean urgent, const char *lead,
                        const char *problem)
{
    if (problem != NULL)
        add_alert(alerts, &(Alert){.kind = kind,
                                   .urgent = urgent,
                                   .text = g_strdup_printf("%s: %s", lead, problem)});
}

static char *forecast_text(const Service *service, int site)
{
    const char *note = service_weather_note(service, site);
    const char *problem = forecasts_problem(service->forecasts, site, NULL);
    const WordingContext words = service_wording(service);
    const int64_t issued_utc = service->weather != NULL ? service->weather[site].issued_utc : 0;
    g_autofree char *issued = wording_when(&words, site, issued_utc);

    if (note == NULL)
        return issued_utc != 0 ? g_strdup_printf("forecast of %s", issued)
                               : g_strdup("no forecast yet");
    return problem != NULL ? g_strdup_printf("%s (%s)", note, problem) : g_strdup(note);
}

static WeatherQuality forecast_quality(const Service *service, int site)
{
    return service->weather != NULL ? service->weather[site].quality : WEATHER_MISSING;
}

static void add_forecast_alerts(const Service *service, GArray *alerts)
{
    for (int site = 0; site < service->garden->n_sites; site++) {
        const WeatherQuality quality = forecast_quality(service, site);
        if (quality != WEATHER_FRESH)
            add_alert(alerts, &(Alert){.kind = "forecast",
                                       .urgent = quality == WEATHER_MISSING,
                                       .site = site_name(service, site),
                                       .text = forecast_text(service, site)});
    }
}

static gboolean is_chosen_for(const Service *service, int batch)
{
    for (guint i = 0; i < service->alerts->len; i++) {
        const Job *job = &g_array_index(service->alerts, Job, i);
        if (job->kind == JOB_CHOOSE && job->batch == batch)
            return TRUE;
    }
    return FALSE;
}

/* A batch without a destination has no goal to plan for. */
static void add_choices(const Service *service, GArray *alerts)
{
    const GArray *batches = service->current.batches;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->destination < 0 && batch->stage < STAGE_PLANTED_OUT &&
            !is_chosen_for(service, (int)i))
            add_alert(alerts,
                      &(Alert){.kind = "choice",
                               .batch = batch->name,
                               .text = g_strdup_printf(
                                   "Where is %s to be planted? Say so: tholectl batch destination "
                                   "%s PLACE.",
                                   batch->name, batch->name)});
    }
}

/* Seed whose day has come: only the grower sees whether it is up. */
static void add_emergence(const Service *service, GArray *alerts)
{
    const GArray *batches = service->current.batches;
    const WordingContext words = service_wording(service);

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        SowingCourse course;
        if (batch->stage != STAGE_SOWN)
            continue;
        foresee_batch(service, batch, &course);
        char *text = wording_season_up(&words, batch, &course);
        if (text != NULL)
            add_alert(alerts, &(Alert){.kind = "emergence", .batch = batch->name, .text = text});
    }
}

/* Two days before an absence, and until it begins: what is left standing, and for how long. */
static void add_absences(const Service *service, GArray *alerts)
{
    g_autoptr(GPtrArray) notices = absence_notices(service);

    for (guint i = 0; i < notices->len; i++)
        add_alert(alerts,
                  &(Alert){.kind = "absence", .text = g_strdup(g_ptr_array_index(notices, i))});
}

/* What was said of visits and cannot be; what is left out, and what that costs. */
static void add_edits(const Service *service, GArray *alerts)
{
    g_autoptr(GPtrArray) notices = edits_notices(service);

    for (guint i = 0; i < notices->len; i++)
        add_alert(alerts, &(Alert){.kind = "visit", .text = g_strdup(notices->pdata[i])});
}

/* A batch that will have to wait is told of as soon as the season shows it. */
static void add_waits(const Service *service, GArray *alerts)
{
    g_autoptr(GHashTable) seasons = advice_seasons_new();
    const GArray *batches = service->current.batches;

    for (guint i = 0; i < batches->len; i++) {
        char *text = advice_wait(service, (int)i, seasons);
        if (text != NULL)
            add_alert(alerts, &(Alert){.kind = "wait",
                                       .batch = g_array_index(batches, Batch, i).name,
                                       .text = text});
    }
}

/* Leaves and height call for something, by what was reckoned. */
static void add_growth(const Service *service, GArray *alerts)
{
    const GArray *batches = service->current.batches;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        g_autoptr(GPtrArray) texts = growing_told(service, batch);
        for (guint k = 0; k < texts->len; k++)
            add_alert(alerts, &(Alert){.kind = "growth",
                                       .batch = batch->name,
                                       .text = g_strdup(texts->pdata[k])});
    }
}

static GArray *make_alerts(const Service *service)
{
    GArray *alerts = g_array_new(FALSE, FALSE, sizeof(Alert));

    g_array_set_clear_func(alerts, clear_alert);
    add_plan_alerts(service, TRUE, alerts);
    add_ahead(service, alerts);
    add_questions(service, alerts);
    add_problem(alerts, "store", TRUE, "No new plan could be made", service->store_problem);
    add_forecast_alerts(service, alerts);
    add_problem(alerts, "delivery", TRUE, "The calendar was not written",
                service->calendar_problem);
    add_problem(alerts, "config", FALSE, "The garden's file is refused, the garden stays as it was",
                service->config_problem);
    add_plan_alerts(service, FALSE, alerts);
    add_absences(service, alerts);
    add_edits(service, alerts);
    add_choices(service, alerts);
    add_emergence(service, alerts);
    add_growth(service, alerts);
    add_waits(service, alerts);
    return alerts;
}

guint api_count_alerts(const Service *service)
{
    g_autoptr(GArray) alerts = make_alerts(service);

    return alerts->len;
}

static void write_alerts(JsonText *to, const Service *service)
{
    g_autoptr(GArray) alerts = make_alerts(service);

    json_text_begin_array(to, "alerts");
    for (guint i = 0; i < alerts->len; i++) {
        const Alert *alert = &g_array_index(alerts, Alert, i);
        json_text_begin_object(to, NULL);
        json_text_string(to, "kind", alert->kind);
        json_text_bool(to, "urgent", alert->urgent);
        json_text_string(to, "site", alert->site);
        json_text_string(to, "batch", alert->batch);
        if (alert->handle > 0)
            json_text_int(to, "handle", alert->handle);
        else
            json_text_string(to, "handle", NULL);
        json_text_string(to, "text", alert->text);
        json_text_end_object(to);
    }
    json_text_end_array(to);
}

/* ---- today ---- */

/* Batches that are fit to go on and stay, each with what keeps it. */
static void write_stays(JsonText *to, const Service *service)
{
    json_text_begin_array(to, "stays");
    for (guint i = 0; i < service->current.batches->len; i++) {
        g_autofree char *text = waiting_stays(service, (int)i, TRUE);
        if (text == NULL)
            continue;
        json_text_begin_object(to, NULL);
        json_text_string(to, "batch", api_batch_name(service, (int)i));
        json_text_string(to, "text", text);
        json_text_end_object(to);
    }
    json_text_end_array(to);
}

static void write_visits(JsonText *to, const Service *service, int site, int day)
{
    json_text_begin_array(to, "visits");
    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        if (visit->visit.site == site && api_day(service, site, visit->visit.start_utc) == day)
            api_write_visit(to, NULL, service, visit);
    }
    json_text_end_array(to);
}

/* Batches that stand at a site; -1: without a place. */
static void write_batches(JsonText *to, const char *name, const Service *service, int site)
{
    const GArray *batches = service->current.batches;

    json_text_begin_array(to, name);
    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        const int at =
            api_place_name(service, batch->place) != NULL ? api_site_of(service, batch->place) : -1;
        if (at == site)
            api_write_batch(to, NULL, service, batch, (int)i);
    }
    json_text_end_array(to);
}

static void write_site(JsonText *to, const Service *service, int site)
{
    static const char *const qualities[] = {"fresh", "old", "missing"};
    const int today = api_today(service, site);

    json_text_begin_object(to, NULL);
    json_text_string(to, "name", site_name(service, site));
    api_write_taken(to, "date", local_day_format(today));
    api_write_taken(to, "when", api_day_long(today));
    json_text_begin_object(to, "forecast");
    json_text_string(to, "quality", qualities[forecast_quality(service, site)]);
    api_write_taken(to, "text", forecast_text(service, site));
    json_text_end_object(to);
    write_visits(to, service, site, today);
    write_batches(to, "batches", service, site);
    json_text_end_object(to);
}

/* The first visit after today, as its site counts. */
static void write_next_visit(JsonText *to, const Service *service)
{
    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        const int site = visit->visit.site;
        if (api_day(service, site, visit->visit.start_utc) > api_today(service, site)) {
            api_write_visit(to, "next_visit", service, visit);
            return;
        }
    }
    json_text_string(to, "next_visit", NULL);
}

static gboolean get_today(const ControlRequest *request, JsonText *to, gpointer data,
                          GError **error)
{
    const Service *service = data;

    if (!control_reject_rest(request, error))
        return FALSE;
    api_write_units(to, service->garden);
    api_write_utc(to, "now_utc", clock_now(service->clk));
    write_alerts(to, service);
    json_text_begin_array(to, "sites");
    for (int site = 0; site < service->garden->n_sites; site++)
        write_site(to, service, site);
    json_text_end_array(to);
    write_batches(to, "homeless", service, -1);
    write_stays(to, service);
    write_next_visit(to, service);
    return TRUE;
}

/* ---- week ---- */

static double minutes_of(const Service *service, int site, int day)
{
    double minutes = 0.0;

    for (guint i = 0; i < service->visits->len; i++) {
        const Visit *visit = &((const OpenVisit *)service->visits->pdata[i])->visit;
        if (visit->site == site && api_day(service, site, visit->start_utc) == day)
            minutes += fmax(visit->minutes, 0.0);
    }
    return minutes;
}

/* The batch that has its night there with the highest odds of damage; null: none has any. */
static void write_worst(JsonText *to, const Service *service, int site, int day,
                        const GPtrArray *ahead)
{
    const AheadDay *worst = NULL;
    int batch = -1;

    for (guint i = 0; i < ahead->len; i++) {
        const GArray *days = ahead->pdata[i];
        for (guint k = 0; k < days->len; k++) {
            const AheadDay *one = &g_array_index(days, AheadDay, k);
            if (one->day != day || one->place < 0 || api_site_of(service, one->place) != site ||
                !(one->damage_odds > (worst != NULL ? worst->damage_odds : 0.0)))
                continue;
            worst = one;
            batch = (int)i;
        }
    }
    if (worst == NULL) {
        json_text_string(to, "worst", NULL);
        return;
    }
    json_text_begin_object(to, "worst");
    json_text_string(to, "batch", api_batch_name(service, batch));
    api_write_odds(to, "damage_odds", worst->damage_odds);
    json_text_string(to, "odds", wording_odds(worst->damage_odds));
    json_text_end_object(to);
}

static void write_day(JsonText *to, const Service *service, int site, const ApiNight *night,
                      const GPtrArray *ahead)
{
    json_text_begin_object(to, NULL);
    api_write_taken(to, "date", local_day_format(night->day));
    api_write_taken(to, "when", api_day_short(night->day));
    json_text_string(to, "site", site_name(service, site));
    json_text_thousandths(to, "low_c", night->low_c);
    json_text_thousandths(to, "spread_k", night->spread_k);
    api_write_odds(to, "frost_odds", night->frost_odds);
    json_text_string(to, "odds", wording_odds(night->frost_odds));
    api_write_estimated(to, night->low_estimated);
    json_text_thousandths(to, "minutes", minutes_of(service, site, night->day));
    write_worst(to, service, site, night->day, ahead);
    write_visits(to, service, site, night->day);
    json_text_end_object(to);
}

static gboolean get_week(const ControlRequest *request, JsonText *to, gpointer data, GError **error)
{
    const Service *service = data;

    if (!control_reject_rest(request, error))
        return FALSE;
    g_autoptr(GPtrArray) ahead = planner_ahead(service);
    api_write_units(to, service->garden);
    json_text_begin_array(to, "days");
    for (int day = 0; day < SERVICE_PUBLISH_D; day++) {
        for (int site = 0; site < service->garden->n_sites; site++) {
            ApiNight night;
            if (api_night(service, site, api_today(service, site) + day, &night))
                write_day(to, service, site, &night, ahead);
        }
    }
    json_text_end_array(to);
    write_stays(to, service);
    api_write_credits(to, service);
    return TRUE;
}

void api_add_today(Service *service, Control *control)
{
    control_add_text(control, "GET", "/v1/today", get_today, service);
    control_add_text(control, "GET", "/v1/week", get_week, service);
}
