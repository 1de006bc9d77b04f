/* SPDX-License-Identifier: MIT */
#include "service/planner.h"

#include <string.h>

#include "base/error.h"
#include "control/control.h"
#include "service/ahead.h"
#include "service/edits.h"
#include "service/established.h"
#include "service/forecasts.h"
#include "service/jobs.h"
#include "service/publish.h"
#include "service/service-private.h"
#include "service/making.h"
#include "service/situation.h"
#include "store/store-batches.h"

#define OVERTAKEN_MOST                                                                             \
    2 /* plans in a row; then what would overtake the next waits for it; chosen */

/* Where everything stands, as a plan is made from it. */
typedef struct Moment {
    State settled, current;
    SiteWeather *weather; /* (owned) per site */
    GArray *windows;      /* (owned) (element-type VisitWindow) */
} Moment;

/* One plan in the making. */
typedef struct PlanJob {
    Service *service;
    guint64 generation; /* of what it is made from */
    int64_t now_utc;
    Moment moment;      /* takes its place with the plan */
    int n_sites;        /* of moment.weather */
    GPtrArray *checked; /* (owned) (element-type utf8) ids of batches that had a check */
    Making *making;     /* (owned) (nullable) not begun */
} PlanJob;

typedef struct Waiting {
    PlannerFunc fn;
    gpointer data;
    GDestroyNotify destroy;
} Waiting;

struct Planner {
    Service *service;
    guint64 generation, thrown_away;
    guint overtaken;    /* plans in a row */
    gboolean releasing; /* changes that waited: one plan for them all, after the last */
    PlanJob *job;       /* (owned) (nullable) in the making */
    GArray *waiting;    /* (owned) (element-type Waiting) */
    gsize arena_size;   /* that the last one needed */
    MakingGate gate;
    GPtrArray *ahead; /* (owned) (nullable) of the plan in place; see ahead.h */
    Beside *beside;   /* (owned) plans of what is only supposed */
};

/* ---- the moment a plan is made from ---- */

static Moment moment_take(Service *s)
{
    Moment m = {s->settled, s->current, s->weather, s->windows};

    s->settled = s->current = (State){0};
    s->weather = NULL;
    s->windows = NULL;
    return m;
}

static void moment_give(Service *s, Moment *m)
{
    s->settled = m->settled;
    s->current = m->current;
    s->weather = m->weather;
    s->windows = m->windows;
    *m = (Moment){0};
}

static void moment_clear(Moment *m, int n_sites)
{
    state_clear(&m->settled);
    state_clear(&m->current);
    site_weather_free(m->weather, n_sites);
    g_clear_pointer(&m->windows, g_array_unref);
}

/* The service stands in a copy of its moment, to be moved on; gives what it was. */
static Moment moment_leave(Service *s)
{
    Moment m = moment_take(s);

    state_copy(&m.settled, &s->settled, s->garden);
    state_copy(&m.current, &s->current, s->garden);
    s->weather = m.weather != NULL ? site_weather_copy(m.weather, s->garden->n_sites) : NULL;
    s->windows = g_array_copy(m.windows);
    return m;
}

/* The settled state goes on to the last moment that nothing open can change, the current one to
 * now. */
static gboolean move_states(Service *s, int64_t grid_utc, GPtrArray *checked, GError **error)
{
    int64_t settled_utc = MIN(grid_utc, jobs_settled_utc(s, grid_utc) / STEP_S * STEP_S);
    SiteWeather *weather = NULL;
    if (!forecasts_weather(s->forecasts, s->settled.as_of_utc - LEARNED_BACK_S, grid_utc, &weather,
                           error))
        return FALSE;
    site_weather_free(s->weather, s->garden->n_sites);
    s->weather = weather;
    if (settled_utc > s->settled.as_of_utc &&
        !state_move_on(&s->settled, s, settled_utc, checked, error))
        return FALSE;
    state_copy(&s->settled, &s->current, s->garden);
    return state_move_on(&s->current, s, grid_utc, NULL, error);
}

/* What time has done is kept, whatever becomes of the plan. */
static gboolean pass_time(Service *s, int64_t grid_utc, GError **error)
{
    gboolean replan = FALSE, events = FALSE;
    if (!store_begin(s->store, error) || !forecasts_show_due(s->forecasts, error) ||
        !jobs_pass_time(s, &replan, &events, error) || !established_close(s, error))
        return FALSE;
    /* Read while the clock was never set: what was unknown then starts at rest now. */
    if (s->settled.as_of_utc < EARLIEST_UTC &&
        (!service_refresh(s, error) || !forecasts_learn(s->forecasts, error)))
        return FALSE;
    if (s->settled.as_of_utc > grid_utc) {
        g_set_error(
            error, THOLE_ERROR, THOLE_ERROR_STALE,
            "the clock stands before what is already recorded; set it right, the record is kept");
        return FALSE;
    }
    return store_commit(s->store, error);
}

/* The service itself moves on and is copied; then it is where it was, until the plan is there. */
static Situation *look(PlanJob *job, int64_t grid_utc, GError **error)
{
    Service *s = job->service;
    Situation *situation = NULL;
    Moment before = moment_leave(s);
    gboolean ok = move_states(s, grid_utc, job->checked, error);
    g_autoptr(GArray) usual = NULL, wishes = NULL;
    if (ok) {
        situation_stages(s);
        ok = situation_windows(s, &usual, &wishes, error);
    }
    if (ok)
        situation = situation_new(s, job->now_utc, forecasts_learned(s->forecasts)->covers, error);
    if (situation != NULL) {
        situation->usual = g_steal_pointer(&usual);
        situation->wishes = g_steal_pointer(&wishes);
    }
    job->n_sites = s->garden->n_sites;
    job->moment = moment_take(s);
    moment_give(s, &before);
    return situation;
}

/* Before the first plan, or the first of a garden, there is nothing to go on with but this. */
static void begin_with(Service *s, const Moment *m)
{
    if (s->weather != NULL)
        return;
    s->weather = site_weather_copy(m->weather, s->garden->n_sites);
    state_copy(&m->current, &s->current, s->garden);
}

static void job_free(PlanJob *job)
{
    moment_clear(&job->moment, job->n_sites);
    making_free(job->making);
    g_ptr_array_unref(job->checked);
    g_free(job);
}

/* ---- begin and end ---- */

static void begin(Planner *p);

/* All changes that waited are told of by one plan. */
static void release(Planner *p)
{
    if (p->service->control == NULL)
        return;
    p->releasing = TRUE;
    control_hold_changes(p->service->control, FALSE);
    p->releasing = FALSE;
    begin(p);
}

/* The trigger is answered, by a plan or by an error. */
static void end(Planner *p, const GError *error)
{
    Service *s = p->service;
    g_autofree char *trigger = g_steal_pointer(&s->plan_trigger);
    if (error == NULL) {
        if (s->plan_failed)
            g_clear_pointer(&s->store_problem, g_free);
        s->plan_failed = FALSE;
        s->plans++;
        service_write_calendar(s);
    } else {
        g_autofree char *what = g_strdup_printf("no new plan (%s)", trigger);
        service_trouble(s, what, error);
    }
    service_set_wake(s);
    if (s->planned != NULL)
        s->planned(s, trigger, s->planned_data);
    g_autoptr(GArray) waiting = g_steal_pointer(&p->waiting);
    p->waiting = g_array_new(FALSE, FALSE, sizeof(Waiting));
    for (guint i = 0; i < waiting->len; i++) {
        const Waiting *w = &g_array_index(waiting, Waiting, i);
        w->fn(s, error == NULL, w->data);
    }
    p->overtaken = 0;
    release(p);
    beside_go_on(p->beside);
}

static void arrived(Making *making, gpointer data);

static void begin(Planner *p)
{
    Service *s = p->service;
    g_autoptr(GError) error = NULL;
    int64_t grid_utc;
    if (s->plan_trigger == NULL || p->job != NULL || p->releasing)
        return;
    s->retry_utc = 0;
    PlanJob *job = g_new0(PlanJob, 1);
    job->service = s;
    job->now_utc = clock_now(s->clk);
    job->checked = g_ptr_array_new_with_free_func(g_free);
    Situation *situation = NULL;
    const gboolean ok = service_grid_now(s, &grid_utc);
    if (!ok)
        g_set_error(&error, THOLE_ERROR, THOLE_ERROR_STALE,
                    "the clock was never set; nothing is planned before it is");
    if (ok && pass_time(s, grid_utc, &error))
        situation = look(job, grid_utc, &error);
    if (situation != NULL) {
        begin_with(s, &job->moment);
        p->job = job;
        job->generation = p->generation;
        job->making = making_start(s->clk, situation, p->arena_size, &p->gate, arrived, p);
        if (s->control != NULL && planner_is_finishing(s))
            control_hold_changes(s->control, TRUE);
    } else {
        job_free(job);
        end(p, error);
    }
}

static gboolean put_notes(PlanJob *job, GError **error)
{
    Service *s = job->service;
    for (guint i = 0; i < job->checked->len; i++) {
        if (!store_put_note(s->store, g_ptr_array_index(job->checked, i), s->settled.as_of_utc,
                            "A check: colder than it was ready for. The ramp is held.", error))
            return FALSE;
    }
    return TRUE;
}

/* The plan and its moment take their place, in one commit. */
static gboolean install(Planner *p, PlanJob *job, GError **error)
{
    Service *s = job->service;
    Making *making = job->making;
    if (!making->made) {
        situation_refuse(making->situation->snapshot.n_batches, error);
        return FALSE;
    }
    Moment before = moment_take(s);
    moment_give(s, &job->moment);
    job->moment = before;
    const Arena arena = s->arena;
    s->arena = making->arena;
    making->arena = arena;
    s->plan = making->plan;
    g_clear_pointer(&p->ahead, g_ptr_array_unref);
    p->ahead = g_steal_pointer(&making->ahead);
    if (!store_begin(s->store, error) || !put_notes(job, error))
        return FALSE;
    situation_stages(s);
    if (!publish_visits(s, error) || !publish_records(s, s->plan_trigger, error) ||
        !edits_answered(s, making->costs, error) || !publish_events(s, error) ||
        !state_save(&s->settled, s->store, s->garden, error) || !store_commit(s->store, error))
        return FALSE;
    s->planned_utc = job->now_utc;
    return TRUE;
}

/* What is in the making has its end, or is waited for. */
static void take(Planner *p)
{
    g_autoptr(GError) error = NULL;
    Clock *clk = p->service->clk;
    PlanJob *job = g_steal_pointer(&p->job);
    clock_hold(clk); /* until the next one has begun, if there is one */
    making_join(job->making);
    if (job->generation != p->generation) {
        p->thrown_away++;
        p->overtaken++;
        job_free(job);
        begin(p);
    } else {
        p->arena_size = job->making->arena.size;
        (void)install(p, job, &error);
        job_free(job);
        end(p, error);
    }
    clock_release(clk);
}

static void arrived(Making *making, gpointer data)
{
    (void)making;
    take(data);
}

/* ---- what others call ---- */

static void plan_alarm(gpointer data)
{
    Service *s = data;
    s->plan_alarm = 0;
    begin(s->planner);
}

void service_ask_plan(Service *s, const char *trigger)
{
    if (s->plan_trigger == NULL) {
        s->plan_trigger = g_strdup(trigger);
    } else if (strstr(s->plan_trigger, trigger) == NULL) {
        g_autofree char *before = s->plan_trigger;
        s->plan_trigger = g_strdup_printf("%s, %s", before, trigger);
    }
    planner_overtake(s);
    if (s->plan_alarm == 0)
        s->plan_alarm = clock_add_alarm(s->clk, clock_now(s->clk), plan_alarm, s);
}

static void begin_at_once(Service *s)
{
    clock_remove_alarm(s->clk, s->plan_alarm);
    s->plan_alarm = 0;
    begin(s->planner);
}

void service_plan_now(Service *s)
{
    begin_at_once(s);
    while (s->planner->job != NULL)
        take(s->planner);
}

void planner_then(Service *s, PlannerFunc fn, gpointer data, GDestroyNotify destroy)
{
    const Waiting waiting = {fn, data, destroy};

    g_array_append_val(s->planner->waiting, waiting);
    begin_at_once(s);
}

void planner_overtake(Service *s)
{
    Planner *p = s->planner;

    p->generation++;
    if (p->job != NULL)
        making_stop(p->job->making);
    beside_interrupt(p->beside);
}

void planner_set_gate(Service *s, void (*gate)(gpointer data), gpointer data)
{
    s->planner->gate = (MakingGate){gate, data};
}

GPtrArray *planner_ahead(const Service *s)
{
    const Planner *p = s->planner;

    return s->plan.course != NULL && p->ahead != NULL ? g_ptr_array_ref(p->ahead)
                                                      : ahead_none(s->current.batches->len);
}

Beside *planner_beside(const Service *s)
{
    return s->planner->beside;
}

gboolean planner_is_busy(const Service *s)
{
    return s->planner->job != NULL;
}

gboolean planner_is_finishing(const Service *s)
{
    return s->planner->job != NULL && s->planner->overtaken >= OVERTAKEN_MOST;
}

guint64 planner_thrown_away(const Service *s)
{
    return s->planner->thrown_away;
}

Planner *planner_new(Service *s)
{
    Planner *p = g_new0(Planner, 1);

    p->service = s;
    p->waiting = g_array_new(FALSE, FALSE, sizeof(Waiting));
    p->beside = beside_new(s, &p->gate);
    return p;
}

void planner_free(Planner *p)
{
    if (p == NULL)
        return;
    beside_free(p->beside);
    if (p->job != NULL)
        job_free(p->job);
    g_clear_pointer(&p->ahead, g_ptr_array_unref);
    for (guint i = 0; i < p->waiting->len; i++) {
        const Waiting *w = &g_array_index(p->waiting, Waiting, i);
        w->destroy(w->data);
    }
    g_array_unref(p->waiting);
    g_free(p);
}
