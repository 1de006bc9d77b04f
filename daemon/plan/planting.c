/* SPDX-License-Identifier: MIT */
/*
 * What belongs to planting out, once all visits are known: the trays are watered before they are
 * lifted, at the last visit of the day before, else first thing; afterwards what was planted is
 * guarded. docs/plan.md, "Planting day".
 */
#include "climate/water.h"
#include "plan/search.h"

#include <math.h>

#define SOAK_S 3600          /* water drains so long before they are lifted; chosen */
#define BEFORE_S (24 * 3600) /* watered so long before, it still helps; chosen */
#define FULL_SHARE 0.2       /* of what a tray holds: with less used it is full; chosen */

/* When the trays are taken up: for another site as the grower leaves home. */
static int64_t lifted_utc(const Board *b, const Job *planting)
{
    const Visit *visit = &b->plan->visits[planting->visit];
    const Grower *grower = &b->s->garden->growers[visit->grower];
    const bool journey = board_site(b, planting->from_place) != visit->site;
    return visit->start_utc - (journey ? (int64_t)(grower->travel_min * 60.0) : 0);
}

/* The last visit that comes to the trays in time; -1 none. */
static int visit_before(const Board *b, int site, int64_t lift_utc)
{
    int found = -1;
    for (int i = 0; i < b->plan->n_visits; i++) {
        const Visit *v = &b->plan->visits[i];
        if (v->site == site && v->start_utc >= b->s->now_utc && v->start_utc <= lift_utc - SOAK_S &&
            v->start_utc >= lift_utc - BEFORE_S &&
            (found < 0 || v->start_utc > b->plan->visits[found].start_utc))
            found = i;
    }
    return found;
}

/* A job that waters the place at a visit in time; the trays have no need of another. */
static bool is_watered_anyway(const Board *b, int place, int64_t lift_utc)
{
    for (int j = 0; j < b->plan->n_jobs; j++) {
        const Job *job = &b->plan->jobs[j];
        if (job->kind != JOB_WATER || job->batch >= 0 || job->place != place || job->visit < 0)
            continue;
        const int64_t utc = b->plan->visits[job->visit].start_utc;
        if (utc <= lift_utc - SOAK_S && utc >= lift_utc - BEFORE_S)
            return true;
    }
    return false;
}

/* Watered not long before the plan begins, as its trays still show. */
static bool is_full(const Board *b, int batch, int64_t lift_utc)
{
    const Batch *x = &b->s->batches[batch];
    if (x->container < 0 || board_place(b, x->place)->indoors ||
        lift_utc - b->s->now_utc > BEFORE_S)
        return false;
    const Container *pot = &b->s->garden->containers[x->container];
    return x->used_mm <= FULL_SHARE * water_held_mm(pot->volume_ml, pot->per_tray);
}

static Reason reason_of(const Job *planting, int64_t utc)
{
    return (Reason){.limit = LIMIT_PROGRESS,
                    .batch = planting->batch,
                    .place = planting->place,
                    .at_utc = utc,
                    .odds = NAN,
                    .otherwise_odds = NAN,
                    .predicted_c = NAN,
                    .limit_c = NAN,
                    .otherwise_c = NAN,
                    .spread_k = NAN};
}

static bool add_water(Board *b, const Job *planting)
{
    const int64_t lift_utc = lifted_utc(b, planting);
    const int before = visit_before(b, board_site(b, planting->from_place), lift_utc);
    if (is_watered_anyway(b, planting->from_place, lift_utc) ||
        is_full(b, planting->batch, lift_utc))
        return true;
    Job *job = job_add(b, before >= 0 ? before : planting->visit);
    if (job == NULL)
        return false;
    job->kind = JOB_WATER;
    job->batch = planting->batch;
    job->place = planting->from_place;
    job->reason = reason_of(planting, b->plan->visits[planting->visit].start_utc);
    return true;
}

/* Once for each place and visit. */
static bool add_protection(Board *b, const Job *planting)
{
    for (int j = 0; j < b->plan->n_jobs; j++) {
        const Job *job = &b->plan->jobs[j];
        if (job->kind == JOB_PROTECT && job->visit == planting->visit &&
            job->place == planting->place)
            return true;
    }
    Job *job = job_add(b, planting->visit);
    if (job == NULL)
        return false;
    job->kind = JOB_PROTECT;
    job->place = planting->place;
    job->reason = reason_of(planting, b->plan->visits[planting->visit].start_utc);
    return true;
}

bool planting_jobs(Board *b)
{
    const int n = b->plan->n_jobs;
    for (int j = 0; j < n; j++) {
        const Job planting = b->plan->jobs[j];
        if (planting.kind == JOB_PLANT_OUT && planting.visit >= 0 &&
            (!add_water(b, &planting) || !add_protection(b, &planting)))
            return false;
    }
    return true;
}
