/* SPDX-License-Identifier: MIT */
#include "store/store-plan.h"

#include "store/store-private.h"
#include "store/store-reason.h"

#include <string.h>

static const char *const visit_state_words[] = {
    [STORE_VISIT_PLANNED] = "planned",
    [STORE_VISIT_DONE] = "done",
    [STORE_VISIT_WITHDRAWN] = "withdrawn",
    [STORE_VISIT_PAST] = "past",
};

static const char *const job_state_words[] = {
    [STORE_JOB_PLANNED] = "planned", [STORE_JOB_DONE] = "done",
    [STORE_JOB_MISSED] = "missed",   [STORE_JOB_ASSUMED] = "assumed",
    [STORE_JOB_UNKNOWN] = "unknown", [STORE_JOB_WITHDRAWN] = "withdrawn",
};

static const char *const job_words[] = {
    [JOB_SET_COVER] = "set-cover",   [JOB_MOVE] = "move",
    [JOB_TRANSFER] = "transfer",     [JOB_PLANT_OUT] = "plant-out",
    [JOB_LEAVE_SHUT] = "leave-shut", [JOB_RESCUE] = "rescue",
    [JOB_CHOOSE] = "choose",         [JOB_WATER] = "water",
    [JOB_PROTECT] = "protect",
};

const char *store_job_state_name(StoreJobState state)
{
    return job_state_words[state];
}

/* A word of the database that this program does not know. */
static gboolean unknown_word(const char *what, const char *id, const char *word, GError **error)
{
    g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID, "%s %s: unknown word '%s'", what, id,
                word);
    return FALSE;
}

/* Whether the last statement found the row it was to change. */
static gboolean check_found(Store *store, const char *what, const char *id, GError **error)
{
    if (sqlite3_changes(store->db) > 0)
        return TRUE;
    g_set_error(error, STORE_ERROR, STORE_ERROR_MISSING, "no %s has the id %s", what, id);
    return FALSE;
}

static void id_or_new(const char *id, char ret_id[ID_SIZE])
{
    if (id[0] != '\0')
        g_strlcpy(ret_id, id, ID_SIZE);
    else
        store_new_id(ret_id);
}

/* ---- visits ---- */

gboolean store_put_visit(Store *store, const StoreScope *scope, Visit *visit, StoreVisitState state,
                         int64_t now_utc, GError **error)
{
    const Garden *garden = scope->garden;
    char id[ID_SIZE];
    if (!store_check_index("grower", visit->grower, garden->n_growers, error) ||
        !store_check_index("site", visit->site, garden->n_sites, error) ||
        !store_check_index("state of a visit", (int)state, STORE_N(visit_state_words), error))
        return FALSE;
    id_or_new(visit->id, id);
    if (!store_run(
            store, error,
            "INSERT INTO visit(id, grower, site, start_utc, minutes, beyond_cap, fixed, state,"
            " first_published_utc) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)"
            " ON CONFLICT(id) DO UPDATE SET grower = excluded.grower, site = excluded.site,"
            " start_utc = excluded.start_utc, minutes = excluded.minutes,"
            " beyond_cap = excluded.beyond_cap, fixed = excluded.fixed,"
            " state = excluded.state",
            V_TEXT(id), V_TEXT(garden->growers[visit->grower].name),
            V_TEXT(garden->sites[visit->site].name), V_INT(visit->start_utc),
            V_REAL(visit->minutes), V_INT(visit->beyond_cap), V_INT(visit->fixed),
            V_TEXT(visit_state_words[state]), V_INT(now_utc)))
        return FALSE;
    g_strlcpy(visit->id, id, sizeof visit->id);
    return TRUE;
}

gboolean store_set_visit_state(Store *store, const char *visit_id, StoreVisitState state,
                               GError **error)
{
    return store_check_index("state of a visit", (int)state, STORE_N(visit_state_words), error) &&
           store_run(store, error, "UPDATE visit SET state = ?2 WHERE id = ?1", V_TEXT(visit_id),
                     V_TEXT(visit_state_words[state])) &&
           check_found(store, "visit", visit_id, error);
}

#define VISIT_COLUMNS                                                                              \
    "id, grower, site, start_utc, minutes, beyond_cap, fixed, state, first_published_utc"

static gboolean read_visit(StoreRows *rows, gconstpointer garden, gpointer item, GError **error)
{
    StoreVisit *v = item;
    *v = (StoreVisit){
        .visit = {.grower = store_find_grower(garden, (const char *)sqlite3_column_text(rows, 1)),
                  .site = store_find_site(garden, (const char *)sqlite3_column_text(rows, 2)),
                  .start_utc = sqlite3_column_int64(rows, 3),
                  .minutes = sqlite3_column_double(rows, 4),
                  .beyond_cap = sqlite3_column_int(rows, 5) != 0,
                  .fixed = sqlite3_column_int(rows, 6) != 0},
        .first_published_utc = sqlite3_column_int64(rows, 8),
    };
    store_column_text(rows, 0, v->visit.id, sizeof v->visit.id);
    const char *word = (const char *)sqlite3_column_text(rows, 7);
    int state = store_word_index(visit_state_words, STORE_N(visit_state_words), word);
    if (state < 0)
        return unknown_word("visit", v->visit.id, word, error);
    v->state = (StoreVisitState)state;
    return TRUE;
}

/* The visits of a query on VISIT_COLUMNS. */
static gboolean read_visits(Store *store, StoreRows *rows, const Garden *garden,
                            GArray **ret_visits, GError **error)
{
    return store_collect(store, rows, read_visit, garden, sizeof(StoreVisit), NULL, ret_visits,
                         error);
}

gboolean store_get_visit(Store *store, const StoreScope *scope, const char *visit_id,
                         StoreVisit **ret_visit, GError **error)
{
    g_autoptr(GArray) visits = NULL;
    g_autoptr(StoreRows) rows = store_query(
        store, error, "SELECT " VISIT_COLUMNS " FROM visit WHERE id = ?1", V_TEXT(visit_id));
    if (!read_visits(store, rows, scope->garden, &visits, error))
        return FALSE;
    *ret_visit = visits->len > 0 ? g_memdup2(visits->data, sizeof(StoreVisit)) : NULL;
    return TRUE;
}

/* ---- jobs ---- */

static gboolean check_optional(const char *what, int index, int n, GError **error)
{
    return index == -1 || store_check_index(what, index, n, error);
}

static const char *position_name(const Garden *garden, const Job *job)
{
    if (job->position < 0)
        return NULL;
    return garden->places[job->place].cover.positions[job->position].name;
}

static gboolean check_job(const StoreScope *scope, const Job *job, GError **error)
{
    const Garden *garden = scope->garden;
    if (!store_check_index("kind of job", (int)job->kind, STORE_N(job_words), error) ||
        !check_optional("batch", job->batch, scope->n_batches, error) ||
        !check_optional("place", job->place, garden->n_places, error) ||
        !check_optional("place", job->from_place, garden->n_places, error))
        return FALSE;
    if (job->position < 0)
        return check_optional("position", job->position, 0, error);
    int n_positions = job->place >= 0 && garden->places[job->place].covered
                          ? garden->places[job->place].cover.n_positions
                          : 0;
    return store_check_index("position", job->position, n_positions, error);
}

gboolean store_put_job(Store *store, const StoreScope *scope, Job *job, const char *visit_id,
                       int order, GError **error)
{
    const Garden *garden = scope->garden;
    char id[ID_SIZE];
    g_autofree char *reason = NULL;
    if (!check_job(scope, job, error) || !store_reason_to_json(scope, &job->reason, &reason, error))
        return FALSE;
    id_or_new(job->id, id);
    if (!store_run(
            store, error,
            "INSERT INTO job(id, visit_id, walk_order, kind, batch_id, place, from_place, position,"
            " deadline_utc, guard, urgent, reason, state, reported_utc)"
            " VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, 'planned', 0)"
            " ON CONFLICT(id) DO UPDATE SET visit_id = excluded.visit_id,"
            " walk_order = excluded.walk_order, kind = excluded.kind, batch_id = excluded.batch_id,"
            " place = excluded.place, from_place = excluded.from_place,"
            " position = excluded.position, deadline_utc = excluded.deadline_utc,"
            " guard = excluded.guard, urgent = excluded.urgent, reason = excluded.reason",
            V_TEXT(id), V_TEXT(visit_id), V_INT(order), V_TEXT(job_words[job->kind]),
            V_TEXT(job->batch >= 0 ? scope->batches[job->batch].id : NULL),
            V_TEXT(job->place >= 0 ? garden->places[job->place].name : NULL),
            V_TEXT(job->from_place >= 0 ? garden->places[job->from_place].name : NULL),
            V_TEXT(position_name(garden, job)), V_INT(job->deadline_utc), V_INT(job->guard),
            V_INT(job->urgent), V_TEXT(reason)))
        return FALSE;
    g_strlcpy(job->id, id, sizeof job->id);
    return TRUE;
}

gboolean store_set_job_state(Store *store, const char *job_id, StoreJobState state,
                             int64_t reported_utc, GError **error)
{
    return store_check_index("state of a job", (int)state, STORE_N(job_state_words), error) &&
           store_run(store, error, "UPDATE job SET state = ?2, reported_utc = ?3 WHERE id = ?1",
                     V_TEXT(job_id), V_TEXT(job_state_words[state]), V_INT(reported_utc)) &&
           check_found(store, "job", job_id, error);
}

#define JOB_COLUMNS                                                                                \
    "job.id, kind, batch_id, place, from_place, position, deadline_utc, guard, urgent, reason,"    \
    " job.state, reported_utc, visit_id, visit.start_utc"

static gboolean read_job(StoreRows *rows, gconstpointer context, gpointer item, GError **error)
{
    const StoreScope *scope = context;
    const Garden *garden = scope->garden;
    StoreJob *j = item;
    int place = store_find_place(garden, (const char *)sqlite3_column_text(rows, 3));
    *j = (StoreJob){
        .job = {.visit = -1,
                .place = place,
                .from_place = store_find_place(garden, (const char *)sqlite3_column_text(rows, 4)),
                .position =
                    store_find_position(garden, place, (const char *)sqlite3_column_text(rows, 5)),
                .deadline_utc = sqlite3_column_int64(rows, 6),
                .guard = sqlite3_column_int(rows, 7) != 0,
                .urgent = sqlite3_column_int(rows, 8) != 0},
        .reported_utc = sqlite3_column_int64(rows, 11),
        .visit_start_utc = sqlite3_column_int64(rows, 13),
    };
    store_column_text(rows, 0, j->job.id, sizeof j->job.id);
    store_column_text(rows, 2, j->batch_id, sizeof j->batch_id);
    store_column_text(rows, 12, j->visit_id, sizeof j->visit_id);
    j->job.batch = store_find_batch(scope, j->batch_id);
    const char *kind_word = (const char *)sqlite3_column_text(rows, 1);
    const char *state_word = (const char *)sqlite3_column_text(rows, 10);
    int kind = store_word_index(job_words, STORE_N(job_words), kind_word);
    int state = store_word_index(job_state_words, STORE_N(job_state_words), state_word);
    if (kind < 0 || state < 0)
        return unknown_word("job", j->job.id, kind < 0 ? kind_word : state_word, error);
    j->job.kind = (JobKind)kind;
    j->state = (StoreJobState)state;
    return store_reason_from_json(scope, (const char *)sqlite3_column_text(rows, 9), &j->job.reason,
                                  error);
}

/* The jobs of a query on JOB_COLUMNS. */
static gboolean read_jobs(Store *store, StoreRows *rows, const StoreScope *scope, GArray **ret_jobs,
                          GError **error)
{
    return store_collect(store, rows, read_job, scope, sizeof(StoreJob), NULL, ret_jobs, error);
}

gboolean store_load_jobs_since(Store *store, const StoreScope *scope, int64_t from_utc,
                               GArray **ret_jobs, GError **error)
{
    g_autoptr(StoreRows) rows =
        store_query(store, error,
                    "SELECT " JOB_COLUMNS " FROM visit JOIN job ON job.visit_id = visit.id"
                    " WHERE visit.start_utc >= ?1 ORDER BY visit.start_utc, visit.n, walk_order,"
                    " job.n",
                    V_INT(from_utc));
    return read_jobs(store, rows, scope, ret_jobs, error);
}

/* ---- what is open ---- */

/*
 * Both arrays are in order of visit: each job finds its visit at, or after, the one before. A visit
 * that another program wrote between the two queries is not among them; its jobs are left out too.
 */
static void link_jobs(const GArray *visits, const GArray *stored, GArray *ret_jobs)
{
    guint v = 0;
    for (guint i = 0; i < stored->len; i++) {
        StoreJob *from = &g_array_index(stored, StoreJob, i);
        guint at = v;
        while (at < visits->len && strcmp(g_array_index(visits, Visit, at).id, from->visit_id) != 0)
            at++;
        if (at == visits->len)
            continue;
        while (v < at)
            g_array_index(visits, Visit, ++v).first_job = (int)ret_jobs->len;
        from->job.visit = (int)v;
        g_array_index(visits, Visit, v).n_jobs++;
        g_array_append_val(ret_jobs, from->job);
    }
    while (++v < visits->len)
        g_array_index(visits, Visit, v).first_job = (int)ret_jobs->len;
}

gboolean store_load_open_visits(Store *store, const StoreScope *scope, GArray **ret_visits,
                                GArray **ret_jobs, GError **error)
{
    g_autoptr(GArray) stored_visits = NULL, stored_jobs = NULL;
    g_autoptr(StoreRows) visit_rows =
        store_query_values(store,
                           "SELECT " VISIT_COLUMNS " FROM visit WHERE state = 'planned'"
                           " ORDER BY start_utc, n",
                           NULL, 0, error);
    if (!read_visits(store, visit_rows, scope->garden, &stored_visits, error))
        return FALSE;
    g_autoptr(StoreRows) job_rows =
        store_query_values(store,
                           "SELECT " JOB_COLUMNS " FROM visit JOIN job ON job.visit_id = visit.id"
                           " WHERE visit.state = 'planned' AND job.state = 'planned'"
                           " ORDER BY visit.start_utc, visit.n, walk_order, job.n",
                           NULL, 0, error);
    if (!read_jobs(store, job_rows, scope, &stored_jobs, error))
        return FALSE;
    g_autoptr(GArray) visits = g_array_new(FALSE, FALSE, sizeof(Visit));
    g_autoptr(GArray) jobs = g_array_new(FALSE, FALSE, sizeof(Job));
    for (guint i = 0; i < stored_visits->len; i++)
        g_array_append_val(visits, g_array_index(stored_visits, StoreVisit, i).visit);
    link_jobs(visits, stored_jobs, jobs);
    *ret_visits = g_steal_pointer(&visits);
    *ret_jobs = g_steal_pointer(&jobs);
    return TRUE;
}
