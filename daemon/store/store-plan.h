/* SPDX-License-Identifier: MIT */
/* Visits and jobs with their lasting identity. Plans and predictions: store-plan-records.h. */
#pragma once

#include "store/store.h"

/* What the indices of a visit and its jobs point into. */
typedef struct StoreScope {
    const Garden *garden;
    const Batch *batches; /* as the plan knew them */
    int n_batches;
} StoreScope;

typedef enum StoreVisitState {
    STORE_VISIT_PLANNED,
    STORE_VISIT_DONE,
    STORE_VISIT_WITHDRAWN,
    STORE_VISIT_PAST, /* its time went by; what was done is told by its jobs */
} StoreVisitState;

typedef enum StoreJobState {
    STORE_JOB_PLANNED,
    STORE_JOB_DONE,
    STORE_JOB_MISSED,
    STORE_JOB_ASSUMED, /* routine, not reported, taken as done */
    STORE_JOB_UNKNOWN, /* a guarding job never reported */
    STORE_JOB_WITHDRAWN,
} StoreJobState;

/*
 * In everything loaded here an index is -1 where the scope no longer has the name: such a visit or
 * job cannot be carried out and is the caller's to withdraw.
 */
typedef struct StoreVisit {
    Visit visit; /* first_job and n_jobs are 0 */
    StoreVisitState state;
    int64_t first_published_utc; /* NOW_UTC of the first put */
} StoreVisit;

typedef struct StoreJob {
    Job job; /* visit is -1 */
    StoreJobState state;
    int64_t reported_utc;                      /* 0 not reported */
    char visit_id[ID_SIZE], batch_id[ID_SIZE]; /* batch_id empty: not about a batch */
    int64_t visit_start_utc;
} StoreJob;

/* The word for a state: "planned", "done" … */
const char *store_job_state_name(StoreJobState state);

/* Keeps a visit. An empty id is new: it is filled in, and NOW_UTC becomes its first publication. */
gboolean store_put_visit(Store *store, const StoreScope *scope, Visit *visit, StoreVisitState state,
                         int64_t now_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_set_visit_state(Store *store, const char *visit_id, StoreVisitState state,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Keeps a job of a visit (job->visit is not looked at). An empty id is new: it is filled in. ORDER
 * is its place in the visit, for walking. The state is PLANNED at first; a job put again keeps its
 * state.
 */
gboolean store_put_job(Store *store, const StoreScope *scope, Job *job, const char *visit_id,
                       int order, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* REPORTED_UTC: when the grower said so; 0 nobody did. */
gboolean store_set_job_state(Store *store, const char *job_id, StoreJobState state,
                             int64_t reported_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The planned visits in order of start, and their planned jobs in walking order: each job's `visit`
 * is an index into the visits, whose first_job and n_jobs point back.
 */
gboolean store_load_open_visits(Store *store, const StoreScope *scope,
                                GArray **ret_visits /* Visit */, GArray **ret_jobs /* Job */,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* One visit; NULL where there is none. The caller frees with g_free(). */
gboolean store_get_visit(Store *store, const StoreScope *scope, const char *visit_id,
                         StoreVisit **ret_visit, GError **error) G_GNUC_WARN_UNUSED_RESULT;
/* The jobs of visits that start at FROM_UTC or later, of any state, in order. */
gboolean store_load_jobs_since(Store *store, const StoreScope *scope, int64_t from_utc,
                               GArray **ret_jobs /* StoreJob */,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;
