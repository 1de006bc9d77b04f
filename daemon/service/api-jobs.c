/* SPDX-License-Identifier: MIT */
/* Open jobs, and what the grower reports of them. */
#include "service/jobs.h"

#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-report.h"

#define MINUTES_MOST 600 /* a day of work; chosen */
#define HANDLES_MAX 100  /* in one report; chosen */

static gboolean has_open_job(const OpenVisit *visit)
{
    for (guint i = 0; i < visit->jobs->len; i++)
        if (g_array_index(visit->jobs, OpenJob, i).state == STORE_JOB_PLANNED)
            return TRUE;
    return FALSE;
}

static gboolean get_jobs(const ControlRequest *request, JsonText *to, gpointer data, GError **error)
{
    const Service *service = data;

    if (!control_reject_rest(request, error))
        return FALSE;
    api_write_units(to, service->garden);
    json_text_begin_array(to, "visits");
    for (guint i = 0; i < service->visits->len; i++)
        if (has_open_job(service->visits->pdata[i]))
            api_write_visit(to, NULL, service, service->visits->pdata[i]);
    json_text_end_array(to);
    return TRUE;
}

/* All jobs still open of visits that have begun. */
static GArray *begun_handles(const Service *service)
{
    GArray *handles = g_array_new(FALSE, FALSE, sizeof(int64_t));
    const int64_t now_utc = clock_now(service->clk);

    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        for (guint k = 0; visit->visit.start_utc <= now_utc && k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            const int64_t handle = job->handle;
            if (job->state == STORE_JOB_PLANNED)
                g_array_append_val(handles, handle);
        }
    }
    return handles;
}

static gboolean check_handles(const Service *service, const GArray *handles, GError **error)
{
    for (guint i = 0; i < handles->len; i++) {
        const int64_t handle = g_array_index(handles, int64_t, i);
        if (handle > G_MAXINT || jobs_find(service, (int)handle, NULL) == NULL)
            return api_refuse(error, THOLE_ERROR_NOT_FOUND,
                              "there is no open job %" G_GINT64_FORMAT
                              "; tholectl done lists the open ones",
                              handle);
    }
    return TRUE;
}

/* How long the visit took; that can be said of one visit only. */
static gboolean check_minutes(const Service *service, const GArray *handles,
                              const ApiReport *report, GError **error)
{
    OpenVisit *first = NULL;

    if (report->minutes > 0.0 && !report->done)
        return api_refuse(error, THOLE_ERROR_INVALID, "minutes: only of jobs that were done");
    for (guint i = 0; report->minutes > 0.0 && i < handles->len; i++) {
        OpenVisit *visit = NULL;
        (void)jobs_find(service, (int)g_array_index(handles, int64_t, i), &visit);
        if (first != NULL && visit != first)
            return api_refuse(error, THOLE_ERROR_INVALID,
                              "minutes: these jobs are of more than one visit; report the jobs of "
                              "each with its own minutes");
        first = visit;
    }
    return TRUE;
}

static gboolean read_report(Service *service, const ControlRequest *request, ApiReport *ret,
                            GError **error)
{
    const char *state = NULL;
    int64_t minutes = 0;
    gboolean all = FALSE;
    g_autoptr(GArray) handles = NULL;

    if (!control_body_string(request, "state", TRUE, &state, error) ||
        !control_body_handles(request, "jobs", FALSE, HANDLES_MAX, &handles, error) ||
        !control_body_bool(request, "all", FALSE, &all, error))
        return FALSE;
    ret->done = g_str_equal(state, "done");
    if (!ret->done && !g_str_equal(state, "missed"))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "state: \"%.20s\" is not accepted; give done or missed", state);
    if (control_body_has(request, "at") &&
        !api_past_time(service, request, "at", 0, &ret->at_utc, error))
        return FALSE;
    ret->at_utc = api_grid(ret->at_utc);
    if (!control_body_int(request, "minutes", FALSE, 1, MINUTES_MOST, &minutes, error))
        return FALSE;
    ret->minutes = (double)minutes;
    if (!control_reject_rest(request, error))
        return FALSE;
    if ((handles != NULL) == (all != FALSE))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "give either jobs, the numbers of the jobs, or all");
    if (handles == NULL)
        handles = begun_handles(service);
    if (handles->len == 0)
        return api_refuse(error, THOLE_ERROR_CONFLICT, "no job of a visit that has begun is open");
    if (!check_handles(service, handles, error))
        return FALSE;
    if (!check_minutes(service, handles, ret, error))
        return FALSE;
    ret->handles = g_steal_pointer(&handles);
    return TRUE;
}

static JsonNode *post_report(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    ApiReport report = {0};

    if (!read_report(service, request, &report, error))
        return NULL;
    g_autoptr(GArray) handles = report.handles;
    (void)api_report(service, request, &report, NULL, error);
    return NULL;
}

void api_add_jobs(Service *service, Control *control)
{
    control_add_text(control, "GET", "/v1/jobs", get_jobs, service);
    control_add(control, "POST", "/v1/jobs/report", post_report, service);
}
