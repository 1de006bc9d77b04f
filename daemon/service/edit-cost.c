/* SPDX-License-Identifier: MIT */
#include "service/edit-cost.h"

#include <math.h>

#include "odds/odds.h"
#include "ramp/ramp.h"

#define AFTER_S (36 * 3600) /* odds are compared so long after the visit; chosen */

typedef struct Compare {
    const Snapshot *snapshot;
    const Plan *plan, *usual;
} Compare;

static int step_of(const Compare *c, int64_t utc)
{
    const int64_t step = (utc - c->snapshot->start_utc + STEP_S - 1) / STEP_S;
    return (int)CLAMP(step, 0, c->plan->n_steps - 1);
}

static int position_at(const Plan *plan, int place, int step)
{
    return plan->course[(ptrdiff_t)place * plan->n_steps + step].position;
}

static gboolean is_of(const StoreWish *wish, const Visit *visit)
{
    return visit->site == wish->site && visit->grower == wish->grower;
}

/* Whether the plan does the same at some time before `before_utc`. */
static gboolean is_done(const Plan *plan, const Job *job, int64_t before_utc)
{
    for (int j = 0; j < plan->n_jobs; j++) {
        const Job *x = &plan->jobs[j];
        if (x->visit >= 0 && plan->visits[x->visit].start_utc < before_utc &&
            x->kind == job->kind && x->place == job->place && x->batch == job->batch &&
            x->position == job->position)
            return TRUE;
    }
    return FALSE;
}

static gboolean is_carried(const Job *job)
{
    return job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT;
}

/* Where a batch stands during a half-hour, as planned. */
static int place_at(const Compare *c, const Plan *plan, int batch, int64_t utc)
{
    int place = c->snapshot->batches[batch].place;
    int64_t since_utc = 0;

    for (int j = 0; j < plan->n_jobs; j++) {
        const Job *job = &plan->jobs[j];
        if (!is_carried(job) || job->visit < 0 || job->batch != batch || job->place < 0)
            continue;
        const int64_t at_utc = plan->visits[job->visit].start_utc;
        if (at_utc <= utc && at_utc >= since_utc) {
            place = job->place;
            since_utc = at_utc;
        }
    }
    return place;
}

/* What stays as it is because the job is not done then. */
static gboolean stays(const Compare *c, const Job *job, int64_t utc, EditCost *ret)
{
    if (is_carried(job)) {
        ret->stays = job->batch;
        ret->place = place_at(c, c->plan, job->batch, utc);
        return ret->place >= 0 && ret->place != job->place;
    }
    if (job->kind != JOB_SET_COVER)
        return FALSE;
    ret->stays = -1;
    ret->place = job->place;
    ret->position = position_at(c->plan, job->place, step_of(c, utc));
    return ret->position >= 0 && ret->position != job->position;
}

/* What would have been done in the hours that are left out now; what guards comes first. */
static void compare_jobs(const Compare *c, const StoreWish *wish, EditCost *ret)
{
    const gboolean fixed = wish->kind == STORE_WISH_FIXED;
    const int64_t to_utc = fixed ? MIN(wish->start_utc, wish->clear_to_utc) : wish->clear_to_utc;
    const Job *told = NULL;

    for (int j = 0; j < c->usual->n_jobs; j++) {
        const Job *job = &c->usual->jobs[j];
        const Visit *visit = job->visit >= 0 ? &c->usual->visits[job->visit] : NULL;
        EditCost stay = *ret;
        if (visit == NULL || !is_of(wish, visit) || visit->start_utc < wish->clear_from_utc ||
            visit->start_utc > to_utc || is_done(c->plan, job, to_utc))
            continue;
        stay.until_utc = fixed ? wish->start_utc : 0;
        stay.jobs_more = ret->jobs_more + (told != NULL);
        if ((told == NULL || (job->guard && !told->guard)) &&
            stays(c, job, visit->start_utc, &stay)) {
            *ret = stay;
            told = job;
        } else {
            ret->jobs_more++;
        }
    }
    if (told == NULL)
        ret->place = -1;
}

/* The greatest odds of damage to a batch between two times; where it is as hard as it is now. */
static double worst(const Compare *c, const Plan *plan, int batch, int64_t from_utc, int64_t to_utc,
                    int64_t *ret_utc)
{
    const Garden *garden = c->snapshot->garden;
    const Batch *b = &c->snapshot->batches[batch];
    const double damage_c = ramp_damage_c(&garden->crops[b->crop], &b->ramp);
    double least = INFINITY;

    for (int step = step_of(c, from_utc); step < step_of(c, to_utc); step++) {
        const int64_t utc = c->snapshot->start_utc + (int64_t)step * STEP_S;
        const int place = place_at(c, plan, batch, utc);
        if (place < 0 || garden->places[place].indoors)
            continue;
        const CourseStep *course = &plan->course[(ptrdiff_t)place * plan->n_steps + step];
        const double margin = odds_margin(course->leaf_c, course->spread_k, damage_c);
        if (isfinite(course->leaf_c) && margin < least) {
            least = margin;
            *ret_utc = utc;
        }
    }
    return isfinite(least) ? odds_of_margin(least) : 0.0;
}

/* The batch whose odds differ by most; those that rise before those that fall. */
static void compare_odds(const Compare *c, const StoreWish *wish, EditCost *ret)
{
    const int64_t from_utc = MAX(c->snapshot->now_utc, MIN(wish->clear_from_utc, wish->start_utc)),
                  to_utc = MAX(wish->end_utc, wish->start_utc) + AFTER_S;
    double most = 0.0;

    for (int i = 0; i < c->snapshot->n_batches; i++) {
        int64_t utc = 0, usual_utc = 0;
        const double odds = worst(c, c->plan, i, from_utc, to_utc, &utc),
                     usual = worst(c, c->usual, i, from_utc, to_utc, &usual_utc),
                     differs = odds > usual ? odds - usual + 1.0 : usual - odds;
        if (odds == usual || differs <= most)
            continue;
        most = differs;
        ret->batch = i;
        ret->odds = odds;
        ret->odds_usual = usual;
        ret->night_utc = odds > usual ? utc : usual_utc;
    }
}

GArray *edit_costs(const Situation *situation, const Plan *plan, const atomic_bool *stop)
{
    GArray *costs = g_array_new(FALSE, FALSE, sizeof(EditCost));
    Situation usual = *situation;
    Arena arena = {.stop = (atomic_bool *)stop};
    Plan made = {0};

    if (situation->usual == NULL)
        return costs;
    usual.snapshot.windows = (const VisitWindow *)(gconstpointer)situation->usual->data;
    usual.snapshot.n_windows = (int)situation->usual->len;
    if (situation_plan(&usual, &arena, &made)) {
        const Compare c = {&situation->snapshot, plan, &made};
        for (guint i = 0; i < situation->wishes->len; i++) {
            const StoreWish *wish = &g_array_index(situation->wishes, StoreWish, i);
            EditCost cost = {.n = wish->n,
                             .stays = -1,
                             .place = -1,
                             .position = -1,
                             .batch = -1,
                             .odds = NAN,
                             .odds_usual = NAN};
            if (wish->site < 0 || wish->grower < 0)
                continue;
            if (wish->kind != STORE_WISH_OFFERED)
                compare_jobs(&c, wish, &cost);
            compare_odds(&c, wish, &cost);
            g_array_append_val(costs, cost);
        }
    }
    g_free(arena.base);
    return costs;
}
