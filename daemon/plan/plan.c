/* SPDX-License-Identifier: MIT */
/* Window after window, in time, whatever the site: search, cross between sites, decide. */
#include "plan/outlook.h"
#include "plan/search.h"
#include "plan/stays.h"
#include "plan/stops.h"

#include <math.h>

/* Of batches, for the exact search of a window, beside the budget: a sixth of a second where that
 * may prove it; else what the bound takes, by the group of equal batches at the site. Chosen. */
#define EXACT_EVALUATIONS 30000u
#define PROVABLE_GROUPS 16u
#define BOUND_EVALUATIONS 3000u
#define BOUND_EVALUATIONS_EACH 75u
#define WINDOW_SHARE 3u /* times its even share of the budget a window may spend; chosen */

static bool open_plan(Board *b, Plan *plan)
{
    const Snapshot *s = b->s;
    b->visits_size = b->n_windows * VISITS_MAX;
    b->jobs_size = b->visits_size * (s->garden->n_places + s->n_batches) + 11 * s->n_batches +
                   12 * s->garden->n_places + b->n_windows * s->garden->n_places;
    b->breaches_size = 9 * s->n_batches + s->garden->n_places;
    b->predictions_size = b->n_windows * s->garden->n_places;
    plan->visits = ARENA_NEW(b->arena, b->visits_size, Visit);
    plan->jobs = ARENA_NEW(b->arena, b->jobs_size, Job);
    plan->predictions = ARENA_NEW(b->arena, b->predictions_size, PlacePrediction);
    plan->outlooks = ARENA_NEW(b->arena, s->n_batches, BatchOutlook);
    plan->breaches = ARENA_NEW(b->arena, b->breaches_size, Reason);
    plan->proofs = ARENA_NEW(b->arena, b->n_windows, WindowProof);
    plan->course =
        ARENA_NEW(b->arena, (size_t)s->garden->n_places * (size_t)s->n_steps, CourseStep);
    if (b->arena->failed)
        return false;
    plan->n_steps = s->n_steps;
    for (int i = 0; i < s->garden->n_places * s->n_steps; i++)
        plan->course[i].air_c = NAN;
    return true;
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
            if (!stops_order(b->s->garden, visits[i].site, jobs + first, n - first, b->arena))
                return false;
        }
    }
    plan->visits = visits;
    plan->jobs = jobs;
    return true;
}

/* What the windows came to, as one number. */
static void sum_up(const Board *b, Plan *plan)
{
    PlanValue *v = &plan->value;
    for (int i = 0; i < b->s->n_batches; i++) {
        if (b->stand.stages[i] < STAGE_PLANTED_OUT && board_is_hardening(b, i, b->s->n_steps))
            v->delay += outlook_missing(b, i, &b->stand.ramps[i]);
        v->loss += walk_worth(b, i) * (1.0 - b->survive[i]);
    }
    v->number = v->loss + v->checks + v->delay + v->visits + v->disturbance;
    plan->within_limits = v->broken <= 1e-9;
    plan->nodes = b->nodes;
}

#define VISITS_OF_A_DAY 2.0 /* that bring a batch on by a day: opened and shut, or out and in */

/*
 * What is not done today is to be done later: a day of progress that is missing costs the work of
 * it beside the day itself. Without that, a batch for which two visits weigh more than a day would
 * be left where it is for ever. Batches that harden together share the visits.
 */
static double work_ahead(const Board *b, const Window *w)
{
    const PlanWeights *weights = &b->s->weights;
    int n = 0;
    for (int i = 0; i < b->s->n_batches; i++)
        n += board_is_hardening(b, i, w->first) && b->stand.stages[i] != STAGE_PLANTED_OUT;
    if (n == 0 || w->n_slots == 0)
        return 0.0;
    double rate = b->s->garden->growers[w->slots[0].grower].minutes_per_batch_day;
    return VISITS_OF_A_DAY * (board_visit_min(b, w->site) + weights->cover_min) / rate / n;
}

static uint64_t exact_evaluations(const Board *b, const Window *w, uint64_t most)
{
    unsigned groups = 0;
    for (int i = 0; i < b->s->n_batches; i++)
        groups += b->leader[i] == i && board_site(b, b->stand.places[i]) == w->site;
    const unsigned each = BOUND_EVALUATIONS_EACH * groups;
    unsigned evaluations = each > BOUND_EVALUATIONS ? each : BOUND_EVALUATIONS;
    if (groups <= PROVABLE_GROUPS)
        evaluations = EXACT_EVALUATIONS;
    return evaluations < most ? evaluations : most + 1; /* never without a bound */
}

/* Search, what crosses between sites, decision: one window, and what it needed is given back. */
static bool plan_window(Board *b, const Window *w, uint64_t budget)
{
    size_t keep;
    b->work_ahead = work_ahead(b, w);
    if (!decide_open(b, w))
        return false;
    keep = b->arena->used;
    board_group(b);
    b->exact_evaluations = exact_evaluations(b, w, budget);
    Schedule *schedule = schedule_new(b, &b->stand);
    if (schedule == NULL || !evaluate_open(b) || !search_window(b, w, schedule) ||
        !transfer_window(b, w, schedule) || !damp_window(b, w, schedule) ||
        !daylight_window(b, w, schedule) || !sheets_window(b, w, schedule) ||
        !decide_window(b, w, schedule))
        return false;
    b->recalls = NULL;
    b->arena->used = keep;
    b->plan->proofs[b->plan->n_proofs++] = b->proof;
    *(b->proof.near ? &b->plan->gap : &b->plan->later_gap) += b->proof.gap;
    outlook_mark_ready(b, w);
    return true;
}

bool plan_make(const Snapshot *snapshot, uint64_t budget, Arena *arena, Plan *ret)
{
    Plan plan = {0};
    Board b;
    if (!board_open(&b, snapshot, arena, &plan) || !open_plan(&b, &plan) || !damp_open(&b))
        return false;
    outlook_begin(&b);
    for (int i = 0; i < b.n_windows; i++) {
        /* What is left is shared among the windows to come, the nearer ones more. */
        uint64_t spent = b.nodes - b.nodes_beside, left = budget > spent ? budget - spent : 0;
        b.budget = b.nodes + left * WINDOW_SHARE / (uint64_t)(b.n_windows - i + WINDOW_SHARE - 1);
        if (b.windows[i].end > b.windows[i].first && !plan_window(&b, &b.windows[i], budget))
            return false;
    }
    outlook_batches(&b);
    sum_up(&b, &plan);
    if (!planting_jobs(&b) || !order_plan(&b, &plan))
        return false;
    waiting_note(&b);
    stays_settle(&b);
    *ret = plan;
    return true;
}
