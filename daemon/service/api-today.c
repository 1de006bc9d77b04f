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
#include "service/foresee.h"
#include "service/wording-notice.h"
#include "service/wording-season.h"
#include "service/api-sources.h"
#include "service/forecasts.h"
#include "service/growing.h"
#include "service/waiting.h"

/* ---- alerts ---- */

typedef struct Alert {
    const char *kind;
    gboolean urgent;
    const char *site, *batch; /* (nullable) */
    int handle;               /* 0 none */
    char *text;               /* taken over */
} Alert;

static void add_alert(JsonArray *alerts, const Alert *alert)
{
    JsonObject *object = json_object_new();

    api_set_text(object, "kind", alert->kind);
    json_object_set_boolean_member(object, "urgent", alert->urgent);
    api_set_text(object, "site", alert->site);
    api_set_text(object, "batch", alert->batch);
    if (alert->handle > 0)
        json_object_set_int_member(object, "handle", alert->handle);
    else
        json_object_set_null_member(object, "handle");
    api_take_text(object, "text", alert->text);
    json_array_add_object_element(alerts, object);
}

static const char *site_name(const Service *service, int site)
{
    return service->garden->sites[site].name;
}

/* What no visit can do: urgent ones, or those to be chosen. */
static void add_plan_alerts(const Service *service, gboolean urgent, JsonArray *alerts)
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
static void add_ahead(const Service *service, JsonArray *alerts)
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

static void add_questions(const Service *service, JsonArray *alerts)
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

static void add_problem(JsonArray *alerts, const char *kind, gboolean urgent, const char *lead,
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

static void add_forecast_alerts(const Service *service, JsonArray *alerts)
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
static void add_choices(const Service *service, JsonArray *alerts)
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
static void add_emergence(const Service *service, JsonArray *alerts)
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
static void add_absences(const Service *service, JsonArray *alerts)
{
    g_autoptr(GPtrArray) notices = absence_notices(service);

    for (guint i = 0; i < notices->len; i++)
        add_alert(alerts,
                  &(Alert){.kind = "absence", .text = g_strdup(g_ptr_array_index(notices, i))});
}

/* A batch that will have to wait is told of as soon as the season shows it. */
static void add_waits(const Service *service, JsonArray *alerts)
{
    const GArray *batches = service->current.batches;

    for (guint i = 0; i < batches->len; i++) {
        char *text = advice_wait(service, (int)i);
        if (text != NULL)
            add_alert(alerts, &(Alert){.kind = "wait",
                                       .batch = g_array_index(batches, Batch, i).name,
                                       .text = text});
    }
}

/* Leaves and height call for something, by what was reckoned. */
static void add_growth(const Service *service, JsonArray *alerts)
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

static JsonArray *make_alerts(const Service *service)
{
    JsonArray *alerts = json_array_new();

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
    add_choices(service, alerts);
    add_emergence(service, alerts);
    add_growth(service, alerts);
    add_waits(service, alerts);
    return alerts;
}

guint api_count_alerts(const Service *service)
{
    g_autoptr(JsonArray) alerts = make_alerts(service);

    return json_array_get_length(alerts);
}

/* ---- today ---- */

/* Batches that are fit to go on and stay, each with what keeps it. */
static JsonArray *stays_of(const Service *service)
{
    JsonArray *array = json_array_new();

    for (guint i = 0; i < service->current.batches->len; i++) {
        char *text = waiting_stays(service, (int)i, TRUE);
        if (text == NULL)
            continue;
        JsonObject *object = json_object_new();
        api_set_text(object, "batch", api_batch_name(service, (int)i));
        api_take_text(object, "text", text);
        json_array_add_object_element(array, object);
    }
    return array;
}

static JsonArray *visits_of(const Service *service, int site, int day)
{
    JsonArray *visits = json_array_new();

    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        if (visit->visit.site == site && api_day(service, site, visit->visit.start_utc) == day)
            json_array_add_object_element(visits, api_visit(service, visit));
    }
    return visits;
}

/* Batches that stand at a site; -1: without a place. */
static JsonArray *batches_at(const Service *service, int site)
{
    const GArray *batches = service->current.batches;
    JsonArray *array = json_array_new();

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        const int at =
            api_place_name(service, batch->place) != NULL ? api_site_of(service, batch->place) : -1;
        if (at == site)
            json_array_add_object_element(array, api_batch(service, batch));
    }
    return array;
}

static JsonObject *today_site(const Service *service, int site)
{
    static const char *const qualities[] = {"fresh", "old", "missing"};
    const int today = api_today(service, site);
    JsonObject *object = json_object_new(), *forecast = json_object_new();

    api_set_text(object, "name", site_name(service, site));
    api_take_text(object, "date", local_day_format(today));
    api_take_text(object, "when", api_day_long(today));
    api_set_text(forecast, "quality", qualities[forecast_quality(service, site)]);
    api_take_text(forecast, "text", forecast_text(service, site));
    json_object_set_object_member(object, "forecast", forecast);
    json_object_set_array_member(object, "visits", visits_of(service, site, today));
    json_object_set_array_member(object, "batches", batches_at(service, site));
    return object;
}

/* The first visit after today, as its site counts. */
static void set_next_visit(const Service *service, JsonObject *object)
{
    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        const int site = visit->visit.site;
        if (api_day(service, site, visit->visit.start_utc) > api_today(service, site)) {
            json_object_set_object_member(object, "next_visit", api_visit(service, visit));
            return;
        }
    }
    json_object_set_null_member(object, "next_visit");
}

static JsonNode *get_today(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;

    if (!control_reject_rest(request, error))
        return NULL;
    JsonArray *sites = json_array_new();
    for (int site = 0; site < service->garden->n_sites; site++)
        json_array_add_object_element(sites, today_site(service, site));
    JsonObject *object = json_object_new();
    api_set_units(object, service->garden);
    api_set_utc(object, "now_utc", clock_now(service->clk));
    json_object_set_array_member(object, "alerts", make_alerts(service));
    json_object_set_array_member(object, "sites", sites);
    json_object_set_array_member(object, "homeless", batches_at(service, -1));
    json_object_set_array_member(object, "stays", stays_of(service));
    set_next_visit(service, object);
    return api_reply(object);
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
static void set_worst(const Service *service, JsonObject *object, int site, int day,
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
        json_object_set_null_member(object, "worst");
        return;
    }
    JsonObject *told = json_object_new();
    api_set_text(told, "batch", api_batch_name(service, batch));
    api_set_odds(told, "damage_odds", worst->damage_odds);
    api_set_text(told, "odds", wording_odds(worst->damage_odds));
    json_object_set_object_member(object, "worst", told);
}

static JsonObject *week_day(const Service *service, int site, const ApiNight *night,
                            const GPtrArray *ahead)
{
    JsonObject *object = json_object_new();

    api_take_text(object, "date", local_day_format(night->day));
    api_take_text(object, "when", api_day_short(night->day));
    api_set_text(object, "site", site_name(service, site));
    api_set_number(object, "low_c", night->low_c);
    api_set_number(object, "spread_k", night->spread_k);
    api_set_odds(object, "frost_odds", night->frost_odds);
    api_set_text(object, "odds", wording_odds(night->frost_odds));
    api_set_estimated(object, night->low_estimated);
    api_set_number(object, "minutes", minutes_of(service, site, night->day));
    set_worst(service, object, site, night->day, ahead);
    json_object_set_array_member(object, "visits", visits_of(service, site, night->day));
    return object;
}

static JsonNode *get_week(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;

    if (!control_reject_rest(request, error))
        return NULL;
    g_autoptr(GPtrArray) ahead =
        ahead_new(service, forecasts_learned(service->forecasts)->covers, -1);
    JsonArray *days = json_array_new();
    for (int day = 0; day < SERVICE_PUBLISH_D; day++) {
        for (int site = 0; site < service->garden->n_sites; site++) {
            ApiNight night;
            if (api_night(service, site, api_today(service, site) + day, &night))
                json_array_add_object_element(days, week_day(service, site, &night, ahead));
        }
    }
    JsonObject *object = json_object_new();
    api_set_units(object, service->garden);
    json_object_set_array_member(object, "days", days);
    json_object_set_array_member(object, "stays", stays_of(service));
    json_object_set_array_member(object, "credits", api_credits(service, -1));
    return api_reply(object);
}

void api_add_today(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/today", get_today, service);
    control_add(control, "GET", "/v1/week", get_week, service);
}
