/* SPDX-License-Identifier: MIT */
#include "service/jobs.h"

#include "base/error.h"
#include "base/log.h"
#include "notify/news.h"
#include "store/store-batches.h"
#include "store/store-garden-events.h"
#include "store/store-waterings.h"

#define ASKS_WITHIN_S                                                                              \
    (12 * 3600) /* done so long before its visit, it is still what the job asks for; chosen */
#define ASK_AGAIN_S                                                                                \
    1800 /* after a visit's start: a guarding job not reported is asked again; chosen */

static gboolean is_open(const OpenJob *job)
{
    return job->state == STORE_JOB_PLANNED;
}

int64_t jobs_close_utc(const Service *s, const OpenVisit *v)
{
    return v->visit.start_utc + (int64_t)s->garden->assume_done_h * 3600;
}

int64_t jobs_way_s(const Service *s, const Visit *visit)
{
    const Grower *grower = &s->garden->growers[visit->grower];
    return grower->home_site == visit->site || visit->helped ? 0
                                                             : (int64_t)(60.0 * grower->travel_min);
}

int64_t jobs_ask_utc(const Service *s, const OpenVisit *v)
{
    const int64_t ahead_s = jobs_way_s(s, &v->visit) + NEWS_ASK_AHEAD_S;
    int64_t ask_utc = v->visit.start_utc + ASK_AGAIN_S;
    for (guint i = 0; i < v->jobs->len; i++) {
        const OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (is_open(job) && job->job.guard && job->job.deadline_utc != 0)
            ask_utc = MIN(ask_utc, job->job.deadline_utc - ahead_s);
    }
    return MAX(ask_utc, v->visit.start_utc);
}

GArray *jobs_open(const OpenVisit *v, gboolean only_asked)
{
    GArray *jobs = g_array_new(FALSE, FALSE, sizeof(Job));
    for (guint i = 0; i < v->jobs->len; i++) {
        const OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (is_open(job) && (!only_asked || job->asked_again))
            g_array_append_val(jobs, job->job);
    }
    return jobs;
}

/* Its outcome may still change what the settled state holds. */
static gboolean is_pending(const OpenJob *job)
{
    return is_open(job) && !job->unknown;
}

static gboolean has_effect(const Job *job)
{
    return job->kind == JOB_SET_COVER || job->kind == JOB_MOVE || job->kind == JOB_TRANSFER ||
           job->kind == JOB_PLANT_OUT;
}

/* What was changed in a settled batch is kept with the report that changed it, not with the next
 * plan. */
static gboolean keep_batch(Service *s, int index, GError **error)
{
    int64_t as_of_utc =
        MAX(s->settled.as_of_utc, g_array_index(s->settled.batch_as_of, int64_t, index));
    return store_put_batch(s->store, s->garden, &g_array_index(s->settled.batches, Batch, index),
                           as_of_utc, error);
}

static gboolean set_stage(Service *s, const char *batch_id, Stage stage, int64_t planted_utc,
                          GError **error)
{
    State *states[] = {&s->current, &s->settled};
    int index = -1;
    for (gsize i = 0; i < G_N_ELEMENTS(states); i++) {
        Batch *batch = state_find_batch(states[i], batch_id, &index);
        if (batch == NULL)
            return TRUE;
        batch->stage = stage;
        batch->planted_utc = planted_utc;
    }
    return keep_batch(s, index, error);
}

/* A batch carried from one place to another begins, or stops, hardening with it. */
static gboolean follow_move(Service *s, const Batch *batch, int to, gboolean planted,
                            int64_t at_utc, GError **error)
{
    gboolean indoors = s->garden->places[to].indoors;
    if (planted)
        return set_stage(s, batch->id, STAGE_PLANTED_OUT, at_utc, error);
    if (batch->stage == STAGE_GROWING_ON && !indoors)
        return set_stage(s, batch->id, STAGE_HARDENING, 0, error);
    if (batch->stage == STAGE_HARDENING && indoors && batch->ramp.exposure_days == 0)
        return set_stage(s, batch->id, STAGE_GROWING_ON, 0, error);
    return TRUE;
}

static gboolean waters(const Job *job)
{
    return job->kind == JOB_WATER || (job->kind == JOB_RESCUE && job->reason.limit == LIMIT_WATER);
}

int jobs_place_then(const GArray *placements, const Batch *batch, int64_t utc)
{
    int place = batch->place;
    for (guint i = 0; i < placements->len; i++) {
        const StorePlacement *p = &g_array_index(placements, StorePlacement, i);
        if (p->from_utc <= utc && g_str_equal(p->batch_id, batch->id))
            place = p->place;
    }
    return place;
}

/* What stood in the job's place was watered at `at_utc`, or was not after all. */
static gboolean put_waterings(Service *s, const Job *job, int64_t at_utc, gboolean done,
                              gboolean known, GError **error)
{
    g_autoptr(GArray) placements = NULL;
    if (!store_load_placements(s->store, s->garden, NULL, at_utc, &placements, error))
        return FALSE;
    for (guint i = 0; i < s->current.batches->len; i++) {
        const Batch *batch = &g_array_index(s->current.batches, Batch, i);
        StoreWatering watering = {.time_utc = at_utc, .known = known};
        if (jobs_place_then(placements, batch, at_utc) != job->place ||
            (job->batch >= 0 && job->batch != (int)i))
            continue;
        g_strlcpy(watering.batch_id, batch->id, sizeof watering.batch_id);
        if (!(done ? store_put_watering(s->store, &watering, error)
                   : store_remove_watering(s->store, batch->id, at_utc, error)))
            return FALSE;
    }
    return TRUE;
}

gboolean jobs_water(Service *s, int place, int batch, int64_t at_utc, GError **error)
{
    const Job job = {.kind = JOB_WATER, .place = place, .batch = batch};
    for (guint i = 0; i < s->current.batches->len; i++) {
        const Batch *now = &g_array_index(s->current.batches, Batch, i);
        int index = -1;
        Batch *settled = state_find_batch(&s->settled, now->id, &index);
        if (now->place != place || (batch >= 0 && batch != (int)i) || settled == NULL ||
            at_utc >
                MAX(s->settled.as_of_utc, g_array_index(s->settled.batch_as_of, int64_t, index)))
            continue;
        settled->used_mm = 0.0; /* what it used since then is little, and counts from there */
        if (!keep_batch(s, index, error))
            return FALSE;
    }
    return put_waterings(s, &job, at_utc, TRUE, TRUE, error);
}

/* The job is taken as done at `at_utc`. */
static gboolean apply(Service *s, const OpenJob *open, gboolean known, int64_t at_utc,
                      GError **error)
{
    const Job *job = &open->job;
    if (waters(job))
        return put_waterings(s, job, at_utc, TRUE, known, error);
    if (!has_effect(job))
        return TRUE;
    if (job->kind == JOB_SET_COVER) {
        StorePosition position = {
            .place = job->place, .position = job->position, .from_utc = at_utc, .known = known};
        return store_put_position(s->store, s->garden, &position, error);
    }
    const Batch *batch = &g_array_index(s->current.batches, Batch, job->batch);
    return store_put_placement(s->store, s->garden, batch->id, job->place, at_utc, error) &&
           follow_move(s, batch, job->place, job->kind == JOB_PLANT_OUT, at_utc, error);
}

static gboolean undo_cover(Service *s, const Job *job, int64_t at_utc, GError **error)
{
    g_autoptr(GArray) history = NULL;
    if (!store_load_position_history(s->store, s->garden, at_utc - 1, &history, error))
        return FALSE;
    StorePosition before = {.place = job->place, .position = 0, .from_utc = at_utc, .known = true};
    for (guint i = 0; i < history->len; i++) {
        const StorePosition *p = &g_array_index(history, StorePosition, i);
        if (p->place == job->place && p->from_utc < at_utc)
            before.position = MAX(p->position, 0);
    }
    return store_put_position(s->store, s->garden, &before, error);
}

/* It was not done after all: from `at_utc` things stood as before. */
static gboolean undo(Service *s, const OpenJob *open, int64_t at_utc, GError **error)
{
    const Job *job = &open->job;
    if (waters(job))
        return put_waterings(s, job, at_utc, FALSE, FALSE, error);
    if (!has_effect(job))
        return TRUE;
    if (job->kind == JOB_SET_COVER)
        return undo_cover(s, job, at_utc, error);
    const Batch *batch = &g_array_index(s->current.batches, Batch, job->batch);
    if (!store_put_placement(s->store, s->garden, batch->id, job->from_place, at_utc, error))
        return FALSE;
    return job->kind == JOB_PLANT_OUT && batch->stage == STAGE_PLANTED_OUT
               ? set_stage(s, batch->id, STAGE_HARDENING, 0, error)
               : follow_move(s, batch, job->from_place, FALSE, at_utc, error);
}

static gboolean begin(Service *s, OpenVisit *v, GError **error)
{
    for (guint i = 0; i < v->jobs->len; i++) {
        OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (is_open(job) && !apply(s, job, FALSE, v->visit.start_utc, error))
            return FALSE;
    }
    v->begun = TRUE;
    return TRUE;
}

/* Whether the job decides how the batch stands: it is the one carried, or stands under the cover.
 */
static gboolean concerns(const Service *s, const Job *job, const Batch *batch)
{
    if (job->kind != JOB_SET_COVER)
        return job->batch >= 0 &&
               g_strcmp0(g_array_index(s->current.batches, Batch, job->batch).id, batch->id) == 0;
    for (int p = batch->place; p >= 0; p = s->garden->places[p].parent) {
        if (p == job->place)
            return TRUE;
    }
    return FALSE;
}

static gboolean set_unknown(Service *s, const Job *job, gboolean unknown, GError **error)
{
    for (guint i = 0; i < s->current.batches->len; i++) {
        Batch *batch = &g_array_index(s->current.batches, Batch, i);
        int index;
        Batch *settled = state_find_batch(&s->settled, batch->id, &index);
        if (!concerns(s, job, batch) || batch->position_unknown == unknown)
            continue;
        batch->position_unknown = unknown;
        if (settled == NULL)
            continue;
        settled->position_unknown = unknown;
        if (!keep_batch(s, index, error))
            return FALSE;
    }
    return TRUE;
}

static gboolean close_job(Service *s, OpenJob *job, gboolean *ret_replan, GError **error)
{
    gboolean guards = job->job.guard && has_effect(&job->job);
    StoreJobState state = guards ? STORE_JOB_UNKNOWN : STORE_JOB_ASSUMED;
    if (!store_set_job_state(s->store, job->job.id, state, 0, error))
        return FALSE;
    if (!guards) {
        job->state = STORE_JOB_ASSUMED;
        return TRUE;
    }
    job->unknown = TRUE;
    *ret_replan = TRUE;
    log_warning("jobs", s->garden->places[job->job.place].name,
                "job %d guards plants and was never reported; planned as not known until it is",
                job->handle);
    return set_unknown(s, &job->job, TRUE, error);
}

/* The time to report is over: routine jobs are taken as done, guarding ones are not known. */
static gboolean close_visit(Service *s, OpenVisit *v, gboolean *ret_replan, GError **error)
{
    gboolean all_done = TRUE;
    for (guint i = 0; i < v->jobs->len; i++) {
        OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (is_pending(job) && !close_job(s, job, ret_replan, error))
            return FALSE;
        all_done = all_done && (job->state == STORE_JOB_DONE || job->state == STORE_JOB_ASSUMED);
    }
    v->closed = TRUE;
    return store_set_visit_state(s->store, v->visit.id,
                                 all_done ? STORE_VISIT_DONE : STORE_VISIT_PAST, error);
}

/* Whether a batch still stands as nobody knows because of it. */
static gboolean waits(const Service *s, const OpenVisit *v)
{
    for (guint i = 0; i < v->jobs->len; i++) {
        const OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        for (guint b = 0; is_open(job) && job->unknown && b < s->current.batches->len; b++) {
            const Batch *batch = &g_array_index(s->current.batches, Batch, b);
            if (batch->position_unknown && concerns(s, &job->job, batch))
                return TRUE;
        }
    }
    return FALSE;
}

/* Guarding jobs still open are asked again, once. */
static gboolean ask_again(Service *s, OpenVisit *v, int64_t now_utc)
{
    const gboolean due = now_utc >= jobs_ask_utc(s, v);
    gboolean asked = FALSE;
    for (guint i = 0; i < v->jobs->len; i++) {
        OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (!due || !is_open(job) || !job->job.guard || job->asked_again)
            continue;
        job->asked_again = TRUE;
        asked = TRUE;
        log_warning("jobs", s->garden->sites[v->visit.site].name,
                    "job %d guards plants tonight and has not been reported: was it done?",
                    job->handle);
    }
    return asked;
}

static gboolean all_reported(const OpenVisit *v)
{
    for (guint i = 0; i < v->jobs->len; i++) {
        if (is_pending(&g_array_index(v->jobs, OpenJob, i)))
            return FALSE;
    }
    return TRUE;
}

gboolean jobs_pass_time(Service *s, gboolean *ret_replan, gboolean *ret_events, GError **error)
{
    int64_t now_utc = clock_now(s->clk);
    for (guint i = 0; i < s->visits->len;) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (!v->begun && v->visit.start_utc <= now_utc && !begin(s, v, error))
            return FALSE;
        if (v->begun && ask_again(s, v, now_utc))
            *ret_events = TRUE;
        if (v->begun && !v->closed && (now_utc >= jobs_close_utc(s, v) || all_reported(v))) {
            if (!close_visit(s, v, ret_replan, error))
                return FALSE;
            *ret_events = TRUE;
        }
        if (v->closed && !waits(s, v))
            g_ptr_array_remove_index(s->visits, i);
        else
            i++;
    }
    return TRUE;
}

static void sooner(int64_t utc, int64_t now_utc, int64_t *ret_next_utc)
{
    if (utc > now_utc && (*ret_next_utc == 0 || utc < *ret_next_utc))
        *ret_next_utc = utc;
}

int64_t jobs_next_utc(const Service *s)
{
    int64_t next_utc = 0, now_utc = clock_now(s->clk);
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (!v->begun && v->visit.start_utc <= now_utc)
            return now_utc; /* planned for this very moment */
        sooner(v->visit.start_utc, now_utc, &next_utc);
        sooner(jobs_ask_utc(s, v), now_utc, &next_utc);
        sooner(jobs_close_utc(s, v), now_utc, &next_utc);
    }
    return next_utc;
}

OpenJob *jobs_find(const Service *s, int handle, OpenVisit **ret_visit)
{
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->handle == handle && is_open(job)) {
                if (ret_visit != NULL)
                    *ret_visit = v;
                return job;
            }
        }
    }
    return NULL;
}

/* Whether both are about the same cover, or about where the same batch stands. */
static gboolean same_subject(const Job *a, const Job *b)
{
    if (a->kind == JOB_SET_COVER || b->kind == JOB_SET_COVER || b->kind == JOB_WATER)
        return a->kind == b->kind && a->place == b->place;
    return has_effect(a) && has_effect(b) && a->batch == b->batch;
}

static gboolean asks_for(const Job *job, const Job *what)
{
    if (what->kind == JOB_SET_COVER)
        return job->position == what->position;
    if (what->kind == JOB_WATER)
        return true;
    return job->place == what->place &&
           (job->kind == JOB_PLANT_OUT) == (what->kind == JOB_PLANT_OUT);
}

OpenJob *jobs_asking(const Service *s, const Job *what, int64_t at_utc, OpenVisit **ret_visit)
{
    OpenJob *found[2] = {NULL, NULL}; /* the last one begun, the next to come */
    OpenVisit *visits[2] = {NULL, NULL};
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        int which = v->begun ? 0 : 1;
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (!is_open(job) || !same_subject(&job->job, what) || (found[1] != NULL && !v->begun))
                continue;
            found[which] = job;
            visits[which] = v;
        }
    }
    for (int i = 0; i < 2; i++) {
        if (found[i] != NULL && asks_for(&found[i]->job, what) &&
            visits[i]->visit.start_utc <= at_utc + ASKS_WITHIN_S) {
            *ret_visit = visits[i];
            return found[i];
        }
    }
    return NULL;
}

gboolean jobs_cover_set(Service *s, int place, int position, int64_t at_utc, GError **error)
{
    Job job = {.kind = JOB_SET_COVER, .batch = -1, .place = place, .position = position};
    StorePosition put = {.place = place, .position = position, .from_utc = at_utc, .known = true};
    g_autoptr(GArray) history = NULL;
    if (!store_put_position(s->store, s->garden, &put, error) ||
        !store_load_position_history(s->store, s->garden, at_utc, &history, error))
        return FALSE;
    for (guint i = 0; i < history->len; i++) {
        const StorePosition *p = &g_array_index(history, StorePosition, i);
        if (p->place == place && p->from_utc > at_utc)
            return TRUE;
    }
    return set_unknown(s, &job, FALSE, error);
}

static int follow_batch(const Service *s, const GPtrArray *ids_before, int batch)
{
    int index = -1;
    if (batch < 0 || batch >= (int)ids_before->len)
        return -1;
    return state_find_batch(&s->current, g_ptr_array_index(ids_before, batch), &index) != NULL
               ? index
               : -1;
}

gboolean jobs_follow_batches(Service *s, const GPtrArray *ids_before, GError **error)
{
    g_autoptr(GPtrArray) withdrawn = g_ptr_array_new_with_free_func(g_free);
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(s->visits, i);
        for (guint k = v->jobs->len; k-- > 0;) {
            Job *job = &g_array_index(v->jobs, OpenJob, k).job;
            gboolean about_batch = job->batch >= 0 && job->kind != JOB_SET_COVER;
            job->batch = follow_batch(s, ids_before, job->batch);
            job->reason.batch = follow_batch(s, ids_before, job->reason.batch);
            if (!about_batch || job->batch >= 0)
                continue;
            if (is_open(&g_array_index(v->jobs, OpenJob, k)))
                g_ptr_array_add(withdrawn, g_strdup(job->id));
            g_array_remove_index(v->jobs, k);
        }
    }
    for (guint i = 0; i < withdrawn->len; i++) {
        if (!store_set_job_state(s->store, g_ptr_array_index(withdrawn, i), STORE_JOB_WITHDRAWN, 0,
                                 error))
            return FALSE;
    }
    return TRUE;
}

/* A sheet laid over them on the same visit is still over them. */
static gboolean lay_again(Service *s, const OpenVisit *v, const Job *planting, GError **error)
{
    for (guint i = 0; planting->kind == JOB_PLANT_OUT && v->begun && i < v->jobs->len; i++) {
        const OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        if (job->job.kind == JOB_MOVE && job->job.batch == planting->batch &&
            job->job.from_place == planting->place && job->state != STORE_JOB_MISSED &&
            !apply(s, job, job->state == STORE_JOB_DONE, v->visit.start_utc, error))
            return FALSE;
    }
    return TRUE;
}

gboolean jobs_report(Service *s, OpenVisit *v, OpenJob *job, gboolean done, int64_t at_utc,
                     GError **error)
{
    int64_t now_utc = clock_now(s->clk), start_utc = v->visit.start_utc;
    if (at_utc > now_utc) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "a job cannot have been done in the future; accepted is a time up to now");
        return FALSE;
    }
    /* Before its visit it counts from the half-hour that holds now: the next plan knows it already.
     */
    int64_t when_utc = at_utc != 0 ? at_utc : v->begun ? start_utc : now_utc / STEP_S * STEP_S;
    gboolean moved = v->begun && when_utc != start_utc;
    /* Done before the visit's time, it stood from then on, and stands as the visit took it. */
    gboolean stood = done && when_utc <= start_utc;
    if (v->begun && !stood && !undo(s, job, start_utc, error))
        return FALSE;
    if (done && !apply(s, job, TRUE, when_utc, error))
        return FALSE;
    /* What the visit took for granted is known now. */
    if (v->begun && done && when_utc < start_utc && !apply(s, job, TRUE, start_utc, error))
        return FALSE;
    if (done && !lay_again(s, v, &job->job, error))
        return FALSE;
    gboolean was_unknown = job->unknown;
    job->state = done ? STORE_JOB_DONE : STORE_JOB_MISSED;
    job->unknown = FALSE;
    if (!store_set_job_state(s->store, job->job.id, job->state, now_utc, error))
        return FALSE;
    if ((done || was_unknown) && has_effect(&job->job) && !set_unknown(s, &job->job, FALSE, error))
        return FALSE;
    /* Done in time and as planned: nothing is new. */
    if (!done || moved || !v->begun || was_unknown)
        service_ask_plan(s, done ? "job done" : "job missed");
    return TRUE;
}

gboolean jobs_put_off(Service *s, OpenVisit *v, int64_t start_utc, GError **error)
{
    const StoreScope scope = {.garden = s->garden};
    for (guint i = 0; v->begun && i < v->jobs->len; i++) {
        OpenJob *job = &g_array_index(v->jobs, OpenJob, i);
        job->asked_again = FALSE;
        if (is_open(job) && !undo(s, job, v->visit.start_utc, error))
            return FALSE;
    }
    v->begun = FALSE;
    v->visit.start_utc = start_utc;
    v->visit.fixed = TRUE;
    return store_put_visit(s->store, &scope, &v->visit, STORE_VISIT_PLANNED, clock_now(s->clk),
                           error);
}

int64_t jobs_settled_utc(const Service *s, int64_t now_utc)
{
    int64_t settled_utc = now_utc;
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        if (v->begun && !all_reported(v))
            settled_utc = MIN(settled_utc, v->visit.start_utc);
    }
    return settled_utc;
}
