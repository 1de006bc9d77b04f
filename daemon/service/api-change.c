/* SPDX-License-Identifier: MIT */
#include "service/api-change.h"

#include "base/log.h"
#include "service/api-json.h"
#include "service/planner.h"
#include "service/wording-notice.h"

#define LINES_MAX 6        /* differences told; chosen, the week has them all */
#define LATE_S 20          /* a reply waits so long for the plan, below WIRE_IDLE_S; chosen */
#define TOLD_S (48 * 3600) /* jobs up to so far ahead are told one by one; chosen */

struct ApiBefore {
    GHashTable *ready; /* (owned) (element-type utf8 utf8) by id of the batch */
    GPtrArray *jobs;   /* (owned) (element-type JobLine) of visits that have not begun */
};

typedef struct JobLine {
    int64_t start_utc; /* of its visit */
    char *text;        /* (owned) "Thu 18:30, plot: Close the frame." */
    char *substance;   /* (owned) what is to be done, without its words */
} JobLine;

static void job_line_free(gpointer line)
{
    g_free(((JobLine *)line)->text);
    g_free(((JobLine *)line)->substance);
    g_free(line);
}

/* What no visit can do any more is told first. */
static void add_alert_lines(const Service *service, GPtrArray *lines)
{
    const WordingContext words = service_wording(service);

    for (guint i = 0; i < service->alerts->len; i++) {
        const Job *job = &g_array_index(service->alerts, Job, i);
        const gboolean late = wording_is_too_late(&words, job);
        if (job->kind != JOB_RESCUE || !job->urgent)
            continue;
        g_autofree char *what = late ? wording_too_late(&words, job) : wording_job(&words, job);
        JobLine *line = g_new0(JobLine, 1);
        line->substance =
            g_strdup_printf("%d %d %d %d", job->batch, job->place, (int)job->reason.limit, late);
        line->text = g_strdup_printf(
            "now, %s: %s", service->garden->sites[api_site_of(service, job->place)].name, what);
        g_ptr_array_add(lines, line);
    }
}

static GPtrArray *job_lines(const Service *service)
{
    const WordingContext words = service_wording(service);
    GPtrArray *lines = g_ptr_array_new_with_free_func(job_line_free);

    add_alert_lines(service, lines);
    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *open = service->visits->pdata[i];
        g_autofree char *when = wording_when(&words, open->visit.site, open->visit.start_utc);
        for (guint k = 0; !open->begun && k < open->jobs->len; k++) {
            const OpenJob *job = &g_array_index(open->jobs, OpenJob, k);
            g_autofree char *what = wording_visit_job(&words, &open->visit, &job->job);
            if (job->state != STORE_JOB_PLANNED)
                continue;
            JobLine *line = g_new0(JobLine, 1);
            line->start_utc = open->visit.start_utc;
            line->substance = wording_substance(&words, &open->visit, &job->job, 1);
            line->text = g_strdup_printf("%s, %s: %s", when,
                                         service->garden->sites[open->visit.site].name, what);
            g_ptr_array_add(lines, line);
        }
    }
    return lines;
}

ApiBefore *api_before_new(const Service *service)
{
    ApiBefore *before = g_new0(ApiBefore, 1);
    const GArray *batches = service->current.batches;

    before->ready = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, g_free);
    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        const BatchOutlook *outlook = api_outlook(service, (int)i);
        /* None while the plan of an earlier change is in the making: that reply tells. */
        if (outlook != NULL)
            g_hash_table_insert(before->ready, g_strdup(batch->id),
                                api_ready_words(service, batch, outlook));
    }
    before->jobs = job_lines(service);
    return before;
}

void api_before_free(ApiBefore *before)
{
    if (before == NULL)
        return;
    g_hash_table_unref(before->ready);
    g_ptr_array_unref(before->jobs);
    g_free(before);
}

gboolean api_commit(Service *service, ApiWrite write, gpointer change, GError **error)
{
    if (!store_begin(service->store, error))
        return FALSE;
    if (!write(service, change, error)) {
        store_rollback(service->store);
        return FALSE;
    }
    return store_commit(service->store, error);
}

/* The same job at the same time, whatever its words. */
static gboolean has_line(const GPtrArray *lines, const JobLine *line)
{
    for (guint i = 0; i < lines->len; i++) {
        const JobLine *other = lines->pdata[i];
        if (other->start_utc == line->start_utc && g_str_equal(other->substance, line->substance))
            return TRUE;
    }
    return FALSE;
}

static void add_ready_changes(const Service *service, const ApiBefore *before, GPtrArray *lines)
{
    const GArray *batches = service->current.batches;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        const char *was = g_hash_table_lookup(before->ready, batch->id);
        g_autofree char *now = api_ready_words(service, batch, api_outlook(service, (int)i));
        if (was != NULL && !g_str_equal(was, now))
            g_ptr_array_add(lines, g_strdup_printf("%s: ready %s → %s.", batch->name, was, now));
    }
}

/* What is in `to` and not in `from`, the next two days one by one; gives how many are later. */
static guint add_job_changes(const Service *service, const GPtrArray *from, const GPtrArray *to,
                             const char *lead, GPtrArray *lines)
{
    const int64_t told_utc = clock_now(service->clk) + TOLD_S;
    guint later = 0;

    for (guint i = 0; i < to->len; i++) {
        const JobLine *line = to->pdata[i];
        if (has_line(from, line))
            continue;
        if (line->start_utc < told_utc)
            g_ptr_array_add(lines, g_strdup_printf("%s: %s", lead, line->text));
        else
            later++;
    }
    return later;
}

static void tell_changes(const Service *service, const ApiBefore *before, GString *text)
{
    g_autoptr(GPtrArray) lines = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GPtrArray) jobs = job_lines(service);

    add_ready_changes(service, before, lines);
    guint later = add_job_changes(service, before->jobs, jobs, "New", lines);
    later += add_job_changes(service, jobs, before->jobs, "No longer", lines);
    for (guint i = 0; i < MIN(lines->len, LINES_MAX); i++)
        g_string_append_printf(text, "\n%s", (const char *)lines->pdata[i]);
    if (lines->len > LINES_MAX)
        later += lines->len - LINES_MAX;
    if (later > 0)
        g_string_append_printf(text, "\n%u %s: tholectl week.", later,
                               later == 1 ? "more change" : "more changes");
    else if (lines->len == 0)
        g_string_append(text, "\nThe plan stays as it was.");
}

static void tell_batch(const Service *service, const char *name, GString *text)
{
    const WordingContext words = service_wording(service);
    int index = -1;
    const Batch *batch = name != NULL ? state_find_batch(&service->current, name, &index) : NULL;
    const BatchOutlook *outlook = api_outlook(service, index);

    if (batch != NULL && outlook != NULL) {
        g_autofree char *line = wording_outlook(&words, batch, outlook);
        g_string_append_printf(text, "\n%s", line);
    }
}

/* ---- the reply waits for the plan ---- */

typedef struct Pending {
    Service *service;
    ApiBefore *before; /* (owned) */
    ApiDone done;      /* (owned) copies */
    GString *text;     /* (owned) */
    ControlOwed *owed; /* (owned) (nullable) nobody is there to be answered */
    guint late;        /* alarm */
    guint64 gardens;   /* what is told may be of a garden that was read since: then it is not */
} Pending;

static void pending_free(gpointer data)
{
    Pending *p = data;

    clock_remove_alarm(p->service->clk, p->late);
    if (p->owed != NULL)
        control_answer(p->owed, NULL, NULL);
    api_before_free(p->before);
    g_string_free(p->text, TRUE);
    g_clear_pointer(&p->done.jobs, json_array_unref);
    g_free((char *)p->done.batch);
    g_free((char *)p->done.id);
    g_free((gpointer)p->done.told);
    g_free(p);
}

static void answer(Pending *p, gboolean planned)
{
    const ApiDone *done = &p->done;
    JsonObject *object = json_object_new();

    if (p->owed == NULL) {
        json_object_unref(object);
        return;
    }
    api_set_text(object, "text", p->text->str);
    api_set_text(object, "batch", done->batch);
    api_set_text(object, "id", done->id);
    json_object_set_array_member(
        object, "jobs", done->jobs != NULL ? json_array_ref(done->jobs) : json_array_new());
    if (done->reading != NULL && planned && p->gardens == p->service->gardens)
        json_object_set_object_member(object, "reading", done->reading(p->service, done->told));
    else
        json_object_set_null_member(object, "reading");
    control_answer(g_steal_pointer(&p->owed), api_reply(object), NULL);
}

static void planned(Service *service, gboolean made, gpointer data)
{
    Pending *p = data;

    if (made) {
        tell_batch(service, p->done.batch, p->text);
        if (p->done.tell != NULL && p->gardens == service->gardens)
            p->done.tell(service, p->done.told, p->text);
        tell_changes(service, p->before, p->text);
    } else {
        g_string_append_printf(
            p->text, "\nIt is kept, but no new plan could be made%s%s: the plan is the old one.",
            service->store_problem != NULL ? ": " : "",
            service->store_problem != NULL ? service->store_problem : "");
    }
    answer(p, TRUE);
    pending_free(p);
}

static void too_late(gpointer data)
{
    Pending *p = data;

    p->late = 0;
    g_string_append(p->text, "\nIt is kept. The new plan is not ready yet: tholectl week.");
    answer(p, FALSE);
}

JsonNode *api_done(Service *service, const ControlRequest *request, ApiBefore *before,
                   const ApiDone *done)
{
    g_autoptr(GError) error = NULL;
    Pending *p = g_new0(Pending, 1);

    p->service = service;
    p->before = before;
    p->gardens = service->gardens;
    p->done = *done;
    p->done.batch = g_strdup(done->batch);
    p->done.id = g_strdup(done->id);
    p->done.told = g_memdup2(done->told, done->told_size);
    p->text = g_string_new(done->text);
    p->owed = request != NULL ? control_owe(request) : NULL;
    if (done->keep_states || service_refresh(service, &error)) {
        p->late = clock_add_alarm(service->clk, clock_now(service->clk) + LATE_S, too_late, p);
        service_ask_plan(service, done->trigger);
        planner_then(service, planned, p, pending_free);
        return NULL;
    }
    log_warning("control", NULL, "a change was kept, but the batches could not be read again: %s",
                error->message);
    g_string_append_printf(
        p->text,
        "\nIt is kept, but the batches could not be read again (%s): the plan is the old one.",
        error->message);
    answer(p, TRUE);
    pending_free(p);
    return NULL;
}
