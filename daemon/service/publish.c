/* SPDX-License-Identifier: MIT */
#include "service/publish.h"

#include <math.h>

#include "base/json-text.h"
#include "base/local-time.h"
#include "calendar/decide.h"
#include "calendar/file.h"
#include "calendar/match.h"
#include "calendar/write.h"
#include "service/event-text.h"
#include "service/forecasts.h"
#include "service/predictions.h"
#include "store/store-calendar.h"
#include "store/store-plan-records.h"
#include "store/store-wishes.h"

#define DAY_S 86400
#define HANDLES_KEY "job-handles"
#define UNKNOWN_D 14 /* a job not known can be reported so long; chosen */
#define RESCUED_D 2  /* visits before now whose rescues may be for a night to come; chosen */
#define SAME_NIGHT_S (16 * 3600) /* two rescues closer than this are for one night; chosen */
#define PHONE_LAG_S (6 * 3600)   /* a feed may take so long; chosen */

static void open_visit_free(gpointer data)
{
    OpenVisit *v = data;
    g_array_unref(v->jobs);
    g_free(v);
}

GPtrArray *open_visits_new(void)
{
    return g_ptr_array_new_with_free_func(open_visit_free);
}

static StoreScope scope_of(const Service *s)
{
    return (StoreScope){.garden = s->garden,
                        .batches = (const Batch *)(gconstpointer)s->current.batches->data,
                        .n_batches = (int)s->current.batches->len};
}

/* The numbers that jobs have, and the first that may be free. */
typedef struct Handles {
    GHashTable *taken; /* (owned) of int */
    int next;
} Handles;

static void handles_clear(Handles *handles)
{
    g_hash_table_unref(handles->taken);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(Handles, handles_clear)

static Handles handles_of(const GPtrArray *visits)
{
    Handles handles = {g_hash_table_new(NULL, NULL), 1};
    for (guint i = 0; i < visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(visits, i);
        for (guint j = 0; j < v->jobs->len; j++)
            g_hash_table_add(handles.taken,
                             GINT_TO_POINTER(g_array_index(v->jobs, OpenJob, j).handle));
    }
    return handles;
}

/* The smallest number that no open job has; it is taken then. */
static int take_handle(Handles *handles)
{
    while (!g_hash_table_add(handles->taken, GINT_TO_POINTER(handles->next)))
        handles->next++;
    return handles->next++;
}

/* A number that the grower has read stays with its job, whatever happens to the service. */
static gboolean keep_handles(Service *s, GError **error)
{
    g_autoptr(GKeyFile) file = g_key_file_new();
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        for (guint k = 0; k < v->jobs->len; k++) {
            const OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            g_key_file_set_integer(file, "handles", job->job.id, job->handle);
        }
    }
    g_autofree char *text = g_key_file_to_data(file, NULL, NULL);
    return store_put_setting(s->store, HANDLES_KEY, text, error);
}

/* 0 for a job that never had one. */
static gboolean load_handles(Service *s, GKeyFile *ret, GError **error)
{
    g_autofree char *text = NULL;
    if (!store_get_setting(s->store, HANDLES_KEY, &text, error))
        return FALSE;
    return text == NULL || text[0] == '\0' ||
           g_key_file_load_from_data(ret, text, (gsize)-1, G_KEY_FILE_NONE, error);
}

static void give_handles(GPtrArray *visits, GKeyFile *kept)
{
    for (guint i = 0; i < visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(visits, i);
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            job->handle = MAX(0, g_key_file_get_integer(kept, "handles", job->job.id, NULL));
        }
    }
    g_auto(Handles) handles = handles_of(visits);
    for (guint i = 0; i < visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(visits, i);
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->handle == 0)
                job->handle = take_handle(&handles);
        }
    }
}

static gint by_start(gconstpointer a, gconstpointer b)
{
    const OpenVisit *x = *(const OpenVisit *const *)a, *y = *(const OpenVisit *const *)b;
    return x->visit.start_utc < y->visit.start_utc ? -1 : x->visit.start_utc > y->visit.start_utc;
}

static gboolean is_lost(const Job *job)
{
    if (job->kind == JOB_WATER || job->kind == JOB_PROTECT)
        return job->place < 0;
    return job->kind == JOB_SET_COVER ? job->place < 0 || job->position < 0
                                      : job->batch < 0 || job->place < 0;
}

static OpenVisit *open_visit_new(GPtrArray *visits, const Visit *visit)
{
    OpenVisit *v = g_new0(OpenVisit, 1);
    v->visit = *visit;
    v->jobs = g_array_new(FALSE, FALSE, sizeof(OpenJob));
    g_ptr_array_add(visits, v);
    return v;
}

static gboolean load_open(Service *s, GPtrArray *open, GError **error)
{
    StoreScope scope = scope_of(s);
    g_autoptr(GArray) visits = NULL, jobs = NULL;
    if (!store_load_open_visits(s->store, &scope, &visits, &jobs, error))
        return FALSE;
    for (guint i = 0; i < visits->len; i++) {
        const Visit *visit = &g_array_index(visits, Visit, i);
        if (visit->site < 0 || visit->grower < 0) {
            if (!store_set_visit_state(s->store, visit->id, STORE_VISIT_WITHDRAWN, error))
                return FALSE;
            continue;
        }
        OpenVisit *v = open_visit_new(open, visit);
        for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++) {
            OpenJob job = {.job = g_array_index(jobs, Job, j), .state = STORE_JOB_PLANNED};
            if (!is_lost(&job.job))
                g_array_append_val(v->jobs, job);
            else if (!store_set_job_state(s->store, job.job.id, STORE_JOB_WITHDRAWN, 0, error))
                return FALSE;
        }
    }
    return TRUE;
}

/* Guarding jobs never reported wait on, as long as their visit is remembered. */
static gboolean load_unknown(Service *s, GPtrArray *open, GError **error)
{
    StoreScope scope = scope_of(s);
    g_autoptr(GArray) jobs = NULL;
    int64_t from_utc = clock_now(s->clk) - (int64_t)UNKNOWN_D * DAY_S;
    if (!store_load_jobs_since(s->store, &scope, from_utc, &jobs, error))
        return FALSE;
    OpenVisit *v = NULL;
    for (guint i = 0; i < jobs->len; i++) {
        const StoreJob *stored = &g_array_index(jobs, StoreJob, i);
        g_autofree StoreVisit *visit = NULL;
        if (stored->state != STORE_JOB_UNKNOWN || is_lost(&stored->job))
            continue;
        if (!store_get_visit(s->store, &scope, stored->visit_id, &visit, error))
            return FALSE;
        if (visit == NULL || visit->visit.site < 0 || visit->visit.grower < 0)
            continue;
        if (v == NULL || g_strcmp0(v->visit.id, stored->visit_id) != 0)
            v = open_visit_new(open, &visit->visit);
        v->begun = v->closed = TRUE;
        OpenJob job = {
            .job = stored->job, .state = STORE_JOB_PLANNED, .asked_again = TRUE, .unknown = TRUE};
        g_array_append_val(v->jobs, job);
    }
    return TRUE;
}

gboolean publish_load_visits(Service *s, GError **error)
{
    g_autoptr(GKeyFile) handles = g_key_file_new();
    g_autoptr(GPtrArray) open = open_visits_new();
    if (!load_open(s, open, error) || !load_unknown(s, open, error) ||
        !load_handles(s, handles, error))
        return FALSE;
    give_handles(open, handles);
    g_ptr_array_sort(open, by_start);
    g_ptr_array_unref(s->visits);
    s->visits = g_steal_pointer(&open);
    return TRUE;
}

static gboolean is_planned(const OpenJob *job)
{
    return job->state == STORE_JOB_PLANNED;
}

static gboolean same_job(const Job *a, const Job *b)
{
    return a->kind == b->kind && a->batch == b->batch && a->place == b->place &&
           (a->kind != JOB_SET_COVER || a->position == b->position);
}

/* Whether a visit that has begun at the site already has the job, still open: it is not asked for
 * twice. */
static gboolean is_under_way(const Service *s, int site, const Job *job)
{
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        for (guint k = 0; v->begun && v->visit.site == site && k < v->jobs->len; k++) {
            const OpenJob *open = &g_array_index(v->jobs, OpenJob, k);
            if (open->state == STORE_JOB_PLANNED && same_job(&open->job, job))
                return TRUE;
        }
    }
    return FALSE;
}

/* Rescues that were done, for nights that may lie ahead. The plan knows of no second layer of
 * fleece, and would ask for the same again. */
static gboolean load_rescued(Service *s, int64_t now_utc, GArray **ret, GError **error)
{
    StoreScope scope = scope_of(s);
    g_autoptr(GArray) rescued = NULL;
    if (!store_load_jobs_since(s->store, &scope, now_utc - (int64_t)RESCUED_D * DAY_S, &rescued,
                               error))
        return FALSE;
    for (guint i = rescued->len; i-- > 0;) {
        const StoreJob *stored = &g_array_index(rescued, StoreJob, i);
        if (stored->job.kind != JOB_RESCUE || stored->state != STORE_JOB_DONE)
            g_array_remove_index(rescued, i);
    }
    *ret = g_steal_pointer(&rescued);
    return TRUE;
}

static gboolean is_rescued(const GArray *rescued, const Job *job)
{
    for (guint i = 0; job->kind == JOB_RESCUE && i < rescued->len; i++) {
        const Job *done = &g_array_index(rescued, StoreJob, i).job;
        if (done->batch == job->batch && done->place == job->place &&
            done->reason.limit == job->reason.limit &&
            ABS(done->deadline_utc - job->deadline_utc) < SAME_NIGHT_S)
            return TRUE;
    }
    return FALSE;
}

static gboolean has_new_job(const Service *s, const Visit *visit, const GArray *rescued)
{
    for (int j = visit->first_job; j < visit->first_job + visit->n_jobs; j++) {
        const Job *job = &s->plan.jobs[j];
        if (!is_under_way(s, visit->site, job) && !is_rescued(rescued, job))
            return TRUE;
    }
    return FALSE;
}

/* Jobs of a visit keep their id and handle as long as they are the same job. */
static gboolean put_jobs(Service *s, OpenVisit *v, OpenVisit *former, const GArray *rescued,
                         Handles *handles, GError **error)
{
    StoreScope scope = scope_of(s);
    for (int j = 0; j < v->visit.n_jobs; j++) {
        OpenJob job = {.job = s->plan.jobs[v->visit.first_job + j], .state = STORE_JOB_PLANNED};
        if (is_under_way(s, v->visit.site, &job.job) || is_rescued(rescued, &job.job))
            continue;
        job.job.id[0] = '\0';
        for (guint k = 0; former != NULL && k < former->jobs->len; k++) {
            OpenJob *old = &g_array_index(former->jobs, OpenJob, k);
            if (job.handle == 0 && old->handle != 0 && is_planned(old) &&
                same_job(&old->job, &job.job)) {
                g_strlcpy(job.job.id, old->job.id, ID_SIZE);
                job.handle = old->handle;
                old->handle = 0; /* taken over */
            }
        }
        if (!store_put_job(s->store, &scope, &job.job, v->visit.id, j, error))
            return FALSE;
        if (job.handle == 0)
            job.handle = take_handle(handles);
        g_array_append_val(v->jobs, job);
    }
    for (guint k = 0; former != NULL && k < former->jobs->len; k++) {
        const OpenJob *old = &g_array_index(former->jobs, OpenJob, k);
        if (old->handle != 0 && is_planned(old) &&
            !store_set_job_state(s->store, old->job.id, STORE_JOB_WITHDRAWN, 0, error))
            return FALSE;
    }
    return TRUE;
}

/* What was reported before the visit's time stays as reported. */
static gboolean withdraw(Service *s, const OpenVisit *v, GError **error)
{
    StoreVisitState state = STORE_VISIT_WITHDRAWN;
    for (guint i = 0; i < v->jobs->len; i++) {
        const OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (job->state == STORE_JOB_DONE)
            state = STORE_VISIT_DONE;
        if (is_planned(job) &&
            !store_set_job_state(s->store, job->job.id, STORE_JOB_WITHDRAWN, 0, error))
            return FALSE;
    }
    return store_set_visit_state(s->store, v->visit.id, state, error);
}

gboolean publish_drop_visit(Service *s, OpenVisit *v, GError **error)
{
    if (!withdraw(s, v, error))
        return FALSE;
    g_ptr_array_remove(s->visits, v);
    return TRUE;
}

/* The visit that the grower set to this time, whose event goes on; an id that is used up does not
 * come back. */
static void continue_wish(const Service *s, const GArray *wishes, Visit *visit)
{
    for (guint i = 0; visit->fixed && i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        if (wish->kind != STORE_WISH_FIXED || wish->site != visit->site ||
            wish->grower != visit->grower || wish->start_utc != visit->start_utc)
            continue;
        for (guint k = 0; k < s->visits->len; k++) {
            const OpenVisit *v = g_ptr_array_index(s->visits, k);
            if (!v->begun && g_str_equal(v->visit.id, wish->visit_id) &&
                !calendar_visit_ended(s->memory, v->visit.id))
                g_strlcpy(visit->id, v->visit.id, ID_SIZE);
        }
    }
}

/* Visits of the plan that are published: those of the next days, and those that the grower set. */
static GArray *planned_visits(const Service *s, const GArray *rescued, const GArray *wishes,
                              int64_t now_utc)
{
    GArray *out = g_array_new(FALSE, TRUE, sizeof(Visit));
    for (int i = 0; i < s->plan.n_visits; i++) {
        Visit visit = s->plan.visits[i];
        visit.id[0] = '\0';
        if (!visit.fixed && (visit.start_utc >= now_utc + (int64_t)SERVICE_PUBLISH_D * DAY_S ||
                             !has_new_job(s, &visit, rescued)))
            continue;
        continue_wish(s, wishes, &visit);
        g_array_append_val(out, visit);
    }
    return out;
}

/* Former visits that may still move: not begun, and their event not gone. */
static GPtrArray *movable_visits(const Service *s)
{
    GPtrArray *out = g_ptr_array_new();
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (!v->begun && !calendar_visit_ended(s->memory, v->visit.id))
            g_ptr_array_add(out, v);
    }
    return out;
}

static int *match(const Service *s, const GPtrArray *former, const GArray *planned)
{
    g_autofree Visit *was = g_new(Visit, former->len + 1);
    g_autofree int32_t *was_day = g_new(int32_t, former->len + 1),
                       *day = g_new(int32_t, planned->len + 1);
    int *former_of = g_new(int, planned->len + 1);
    for (guint i = 0; i < former->len; i++) {
        was[i] = ((const OpenVisit *)g_ptr_array_index(former, i))->visit;
        was_day[i] = local_day(s->zones[was[i].site], was[i].start_utc);
    }
    for (guint i = 0; i < planned->len; i++) {
        const Visit *visit = &g_array_index(planned, Visit, i);
        day[i] = local_day(s->zones[visit->site], visit->start_utc);
    }
    calendar_match(was, was_day, (int)former->len, (const Visit *)(gconstpointer)planned->data, day,
                   (int)planned->len, former_of);
    return former_of;
}

gboolean publish_visits(Service *s, GError **error)
{
    int64_t now_utc = clock_now(s->clk);
    StoreScope scope = scope_of(s);
    g_autoptr(GArray) rescued = NULL, wishes = NULL;
    if (!load_rescued(s, now_utc, &rescued, error) ||
        !store_load_wishes(s->store, s->garden, now_utc, &wishes, error))
        return FALSE;
    g_autoptr(GArray) planned = planned_visits(s, rescued, wishes, now_utc);
    g_autoptr(GPtrArray) former = movable_visits(s), next = open_visits_new();
    g_autofree int *former_of = match(s, former, planned);
    g_autofree gboolean *found = g_new0(gboolean, former->len + 1);
    g_auto(Handles) handles = handles_of(s->visits);
    for (guint i = 0; i < planned->len; i++) {
        OpenVisit *was = former_of[i] >= 0 ? g_ptr_array_index(former, former_of[i]) : NULL;
        OpenVisit *v = open_visit_new(next, &g_array_index(planned, Visit, i));
        if (was != NULL) {
            g_strlcpy(v->visit.id, was->visit.id, ID_SIZE);
            found[former_of[i]] = TRUE;
        }
        if (!store_put_visit(s->store, &scope, &v->visit, STORE_VISIT_PLANNED, now_utc, error) ||
            !put_jobs(s, v, was, rescued, &handles, error))
            return FALSE;
    }
    for (guint i = 0; i < former->len; i++) {
        if (!found[i] && !withdraw(s, g_ptr_array_index(former, i), error))
            return FALSE;
    }
    for (guint i = 0; i < s->visits->len;) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (v->begun)
            g_ptr_array_add(next, g_ptr_array_steal_index(s->visits, i));
        else if (calendar_visit_ended(s->memory, v->visit.id) && !withdraw(s, v, error))
            return FALSE;
        else
            i++;
    }
    g_ptr_array_sort(next, by_start);
    g_ptr_array_unref(s->visits);
    s->visits = g_steal_pointer(&next);
    if (!keep_handles(s, error))
        return FALSE;
    g_array_set_size(s->alerts, 0);
    for (int j = 0; j < s->plan.n_jobs; j++) {
        if (s->plan.jobs[j].visit < 0 && !is_rescued(rescued, &s->plan.jobs[j]))
            g_array_append_val(s->alerts, s->plan.jobs[j]);
    }
    return TRUE;
}

/* ---- records ---- */

static void add_number(JsonText *to, const char *name, double value)
{
    if (isfinite(value))
        json_text_thousandths(to, name, value);
}

static void add_job(JsonText *to, const Service *s, const Job *job)
{
    WordingContext context = service_wording(s);
    g_autofree char *text = wording_job(&context, job), *why = wording_reason(&context, job);
    json_text_begin_object(to, NULL);
    json_text_string(to, "text", text);
    json_text_string(to, "why", why);
    json_text_string(to, "limit", wording_limit(job->reason.limit));
    if (job->batch >= 0)
        json_text_string(to, "batch", g_array_index(s->current.batches, Batch, job->batch).name);
    if (job->place >= 0)
        json_text_string(to, "place", s->garden->places[job->place].name);
    add_number(to, "predicted", job->reason.predicted_c);
    add_number(to, "limit_at", job->reason.limit_c);
    add_number(to, "spread_k", job->reason.spread_k);
    add_number(to, "odds", job->reason.odds);
    add_number(to, "otherwise", job->reason.otherwise_c);
    add_number(to, "otherwise_odds", job->reason.otherwise_odds);
    json_text_bool(to, "guard", job->guard);
    json_text_end_object(to);
}

/* First what no visit can do. */
static char *decisions_text(const Service *s)
{
    GString *text = g_string_new(NULL);
    JsonText to = {.text = text};
    json_text_begin_object(&to, NULL);
    json_text_begin_array(&to, "visits");
    for (int i = -1; i < s->plan.n_visits; i++) {
        const Visit *visit = i >= 0 ? &s->plan.visits[i] : NULL;
        json_text_begin_object(&to, NULL);
        if (visit != NULL) {
            g_autofree char *when = utc_format(visit->start_utc);
            json_text_string(&to, "start", when);
            json_text_string(&to, "site", s->garden->sites[visit->site].name);
        }
        json_text_begin_array(&to, "jobs");
        for (int j = 0; j < s->plan.n_jobs; j++) {
            if (s->plan.jobs[j].visit == i)
                add_job(&to, s, &s->plan.jobs[j]);
        }
        json_text_end_array(&to);
        json_text_end_object(&to);
    }
    json_text_end_array(&to);
    json_text_end_object(&to);
    return g_string_free(text, FALSE);
}

gboolean publish_records(Service *s, const char *trigger, GError **error)
{
    if (!predictions_keep(s, error))
        return FALSE;
    g_autofree char *decisions = decisions_text(s);
    StorePlan record = {.made_utc = clock_now(s->clk),
                        .trigger = trigger,
                        .decisions = decisions,
                        .value = s->plan.value.number,
                        .bound_gap = s->plan.gap + s->plan.later_gap};
    return store_put_plan(s->store, &record, error);
}

/* ---- calendar ---- */

static gboolean remember(Service *s, GPtrArray *memory, GError **error)
{
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *m = g_ptr_array_index(memory, i);
        const EventMemory *was = NULL;
        for (guint k = 0; k < s->memory->len && was == NULL; k++) {
            const EventMemory *old = g_ptr_array_index(s->memory, k);
            was = g_strcmp0(old->uid, m->uid) == 0 ? old : NULL;
        }
        if (was != NULL && was->ended == m->ended && was->sequence == m->sequence &&
            was->dtstamp_utc == m->dtstamp_utc && g_strcmp0(was->substance, m->substance) == 0 &&
            g_strcmp0(was->whose, m->whose) == 0)
            continue;
        if (!event_text_remember(s->store, m, error))
            return FALSE;
    }
    return TRUE;
}

gboolean publish_events(Service *s, GError **error)
{
    g_autoptr(GPtrArray) wanted = event_text_wanted(s), memory = NULL, changes = NULL;
    if (!calendar_decide(s->memory, wanted, clock_now(s->clk), PHONE_LAG_S, &memory, &changes,
                         error) ||
        !remember(s, memory, error))
        return FALSE;
    g_ptr_array_unref(s->memory);
    s->memory = g_steal_pointer(&memory);
    return TRUE;
}

gboolean publish_file(Service *s, GError **error)
{
    g_autofree char *credits = forecasts_credits(s->forecasts);
    g_autoptr(GBytes) bytes = calendar_write(s->memory, PUBLISH_CALENDAR_NAME, credits);
    return calendar_file_publish(s->options.calendar_path, bytes, NULL, error);
}

gboolean publish_load_memory(Service *s, GError **error)
{
    g_autoptr(GPtrArray) memory = g_ptr_array_new_with_free_func((GDestroyNotify)event_memory_free);
    if (!event_text_load(s->store, memory, error))
        return FALSE;
    g_ptr_array_unref(s->memory);
    s->memory = g_steal_pointer(&memory);
    return TRUE;
}
