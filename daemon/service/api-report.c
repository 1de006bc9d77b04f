/* SPDX-License-Identifier: MIT */
#include "service/api-report.h"

#include "base/log.h"
#include "service/api-change.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/jobs.h"
#include "service/visit-minutes.h"
#include "service/wording-names.h"

static gboolean write_report(Service *service, gpointer change, GError **error)
{
    const ApiReport *report = change;

    for (guint i = 0; i < report->handles->len; i++) {
        OpenVisit *visit = NULL;
        OpenJob *job = jobs_find(service, (int)g_array_index(report->handles, int64_t, i), &visit);
        if (job == NULL)
            return api_refuse(error, THOLE_ERROR_FAILED, "a job is named twice");
        if (!jobs_report(service, visit, job, report->done, report->at_utc, error))
            return FALSE;
        if (report->minutes > 0.0 && i + 1 == report->handles->len &&
            !visit_minutes_report(service, visit, report->minutes, error))
            return FALSE;
    }
    return TRUE;
}

/* What was taught by how long the visit took. */
static void tell_minutes(const Service *service, int site, GString *text)
{
    VisitMinutes learned;
    g_autoptr(GError) error = NULL;

    if (!visit_minutes_of(service, site, &learned, &error)) {
        log_warning("control", NULL, "the record cannot be read: %s", error->message);
        return;
    }
    const WordingContext words = service_wording(service);
    g_autofree char *sentence =
        wording_visit_minutes(&words, site, learned.set_min, learned.min, learned.reports);
    g_string_append_printf(text, "\n%s", sentence);
}

/* A report that was not kept: the jobs are open, and the batches as they were. */
static void take_back(Service *service, const ApiReport *report)
{
    g_autoptr(GError) error = NULL;

    for (guint i = 0; i < service->visits->len; i++) {
        OpenVisit *visit = service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++) {
            OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            for (guint h = 0; h < report->handles->len; h++)
                if (job->handle == g_array_index(report->handles, int64_t, h))
                    job->state = STORE_JOB_PLANNED;
        }
    }
    if (!service_refresh(service, &error))
        log_warning("control", NULL, "the record cannot be read: %s", error->message);
    service_ask_plan(service, "report refused");
}

/* The jobs as they are after the report, and a sentence of each. */
static JsonArray *reported_jobs(Service *service, const ApiReport *report, GString *text)
{
    const WordingContext words = service_wording(service);
    const char *lead = report->done ? "Done" : "Missed";
    JsonArray *jobs = json_array_new();

    for (guint i = 0; i < service->visits->len; i++) {
        OpenVisit *visit = service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            for (guint h = 0; h < report->handles->len; h++) {
                if (job->handle != g_array_index(report->handles, int64_t, h))
                    continue;
                g_autofree char *what = wording_job(&words, &job->job);
                json_array_add_object_element(jobs, api_job(service, visit, job));
                g_string_append_printf(text, "%s%s: %s", text->len > 0 ? "\n" : "", lead, what);
            }
        }
    }
    return jobs;
}

JsonNode *api_report(Service *service, const ApiReport *report, const char *lead, GError **error)
{
    g_autoptr(ApiBefore) before = api_before_new(service);
    g_autoptr(GString) text = g_string_new(lead);
    ApiReport change = *report;
    OpenVisit *visit = NULL;
    const gboolean timed =
        report->minutes > 0.0 &&
        jobs_find(service, (int)g_array_index(report->handles, int64_t, 0), &visit) != NULL;
    const int site = timed ? visit->visit.site : -1; /* the visit may be gone afterwards */

    if (!api_commit(service, write_report, &change, error)) {
        take_back(service, report);
        return NULL;
    }
    JsonArray *jobs = reported_jobs(service, report, text);
    if (site >= 0)
        tell_minutes(service, site, text);
    const ApiDone done = {.trigger = report->done ? "job done" : "job missed",
                          .text = text->str,
                          .batch = report->batch,
                          .jobs = jobs,
                          .keep_states = TRUE};
    return api_done(service, before, &done);
}

gboolean api_report_visit(Service *service, const char *visit_id, GError **error)
{
    g_autoptr(GArray) handles = g_array_new(FALSE, FALSE, sizeof(int64_t));

    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        for (guint k = 0; g_str_equal(visit->visit.id, visit_id) && k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            const int64_t handle = job->handle;
            if (job->state == STORE_JOB_PLANNED)
                g_array_append_val(handles, handle);
        }
    }
    if (handles->len == 0)
        return FALSE;
    const ApiReport report = {.handles = handles, .done = TRUE};
    g_autoptr(JsonNode) reply = api_report(service, &report, NULL, error);
    return reply != NULL;
}

gboolean api_report_asking(Service *service, const Job *what, int64_t at_utc, const char *lead,
                           JsonNode **ret, GError **error)
{
    OpenVisit *visit = NULL;
    const OpenJob *job = jobs_asking(service, what, at_utc, &visit);

    *ret = NULL;
    if (job == NULL)
        return FALSE;
    g_autoptr(GArray) handles = g_array_new(FALSE, FALSE, sizeof(int64_t));
    g_autofree char *batch = g_strdup(api_batch_name(service, what->batch));
    const int64_t handle = job->handle;
    g_array_append_val(handles, handle);
    const ApiReport report = {
        .handles = handles, .done = TRUE, .at_utc = api_grid(at_utc), .batch = batch};
    *ret = api_report(service, &report, lead, error);
    return TRUE;
}
