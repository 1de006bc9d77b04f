/* SPDX-License-Identifier: MIT */
/* Window after window, in time, whatever the site: search, cross between sites, decide. */
#include "plan/board.h"

#include <math.h>

/* Standard deviations below which the probability of damage exceeds what is accepted. */
static double accepted_z(double accepted)
{
    double low = -10.0, high = 10.0;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2.0;
        if (ramp_normal_below(-middle) > accepted)
            low = middle;
        else
            high = middle;
    }
    return high;
}

static bool open_plan(Board *b, Plan *plan)
{
    const Snapshot *s = b->s;
    b->visits_size = b->n_windows * VISITS_MAX;
    b->jobs_size = b->visits_size * (s->garden->n_places + s->n_batches) + 4 * s->n_batches + b->n_windows;
    b->predictions_size = b->n_windows * s->garden->n_places;
    plan->visits = ARENA_NEW(b->arena, b->visits_size, Visit);
    plan->jobs = ARENA_NEW(b->arena, b->jobs_size, Job);
    plan->predictions = ARENA_NEW(b->arena, b->predictions_size, PlacePrediction);
    plan->outlooks = ARENA_NEW(b->arena, s->n_batches, BatchOutlook);
    b->past = ARENA_NEW(b->arena, s->n_batches, BatchPast);
    b->damage_z = accepted_z(s->garden->risk.damage);
    return !b->arena->failed;
}

/* Visits by time, each with its jobs; jobs without a visit behind them all. */
static bool order_plan(Board *b, Plan *plan)
{
    Job *jobs = ARENA_NEW(b->arena, plan->n_jobs, Job);
    int *order = ARENA_NEW(b->arena, plan->n_visits, int), n = 0;
    Visit *visits = ARENA_NEW(b->arena, plan->n_visits, Visit);
    if (b->arena->failed)
        return false;
    for (int i = 0; i < plan->n_visits; i++) {
        int at = i;
        while (at > 0 && plan->visits[order[at - 1]].start_utc > plan->visits[i].start_utc) {
            order[at] = order[at - 1];
            at--;
        }
        order[at] = i;
    }
    for (int i = 0; i <= plan->n_visits; i++) {
        int was = i < plan->n_visits ? order[i] : -1, first = n;
        for (int j = 0; j < plan->n_jobs; j++) {
            if (plan->jobs[j].visit == was) {
                jobs[n] = plan->jobs[j];
                jobs[n++].visit = was < 0 ? -1 : i;
            }
        }
        if (was >= 0) {
            visits[i] = plan->visits[was];
            visits[i].first_job = first;
            visits[i].n_jobs = n - first;
        }
    }
    plan->visits = visits;
    plan->jobs = jobs;
    return true;
}

bool plan_make(const Snapshot *snapshot, uint64_t budget, Arena *arena, Plan *ret)
{
    Plan plan = {0};
    Board b;
    if (!board_open(&b, snapshot, budget, arena, &plan) || !open_plan(&b, &plan))
        return false;
    outlook_begin(&b);
    for (int i = 0; i < b.n_windows; i++) {
        const Window *w = &b.windows[i];
        if (w->end <= w->first)
            continue;
        Schedule *schedule = schedule_new(&b, &b.stand);
        size_t mark = arena->used;
        if (schedule == NULL || !search_window(&b, w, schedule))
            return false;
        arena->used = mark;
        if (!transfer_window(&b, w, schedule))
            return false;
        arena->used = mark;
        if (!decide_window(&b, w, schedule))
            return false;
        outlook_mark_ready(&b, w);
    }
    outlook_batches(&b);
    for (int i = 0; i < snapshot->n_batches; i++)
        plan.value.delay += plan.outlooks[i].missing_days;
    plan.value.number = plan.value.loss + plan.value.checks + plan.value.delay + plan.value.visits +
                        plan.value.disturbance;
    plan.within_limits = plan.value.broken <= 0.0;
    plan.nodes = b.nodes;
    if (!order_plan(&b, &plan))
        return false;
    *ret = plan;
    return true;
}
