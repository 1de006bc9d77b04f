/* SPDX-License-Identifier: MIT */
/*
 * What is already published. The search does not look at it, so an unchanged forecast gives the
 * same plan; only the last choice of a window weighs what would be disturbed.
 */
#include "plan/schedule.h"

#define MOVED_VISIT_STEPS (3 * STEPS_PER_H) /* further off it is another visit; chosen */
#define SETTLED_BEFORE_S (3 * 3600) /* from here to the visit only safety may move it; chosen */
#define SETTLED_FACTOR 1000.0 /* on disturbance inside it: more than any number gains; chosen */

/* The published visit's step in the window, or -1 where it is none of it, or past. */
static int former_step(const Board *b, const Window *w, const Visit *f)
{
    int64_t offset = f->start_utc - b->s->start_utc;
    if (f->site != w->site || offset < 0 || f->start_utc < b->s->now_utc)
        return -1;
    int64_t step = (offset + STEP_S - 1) / STEP_S; /* a fixed one may be off the grid */
    return step >= w->first && step < w->end ? (int)step : -1;
}

/* The search knows nothing of water: a visit for it alone is no less made for another schedule. */
static bool is_for_water(const Snapshot *s, int visit)
{
    bool water = false;
    for (int j = 0; j < s->n_former_jobs; j++) {
        if (s->former_jobs[j].visit != visit)
            continue;
        if (s->former_jobs[j].kind != JOB_WATER)
            return false;
        water = true;
    }
    return water;
}

double former_disturbance(const Board *b, const Window *w, const Schedule *s)
{
    const PlanWeights *weights = &b->s->weights;
    double sum = 0.0;
    for (int i = 0; i < b->s->n_former; i++) {
        const Visit *f = &b->s->former[i];
        int step = former_step(b, w, f), nearest = MOVED_VISIT_STEPS + 1;
        if (step < 0 || is_for_water(b->s, i))
            continue;
        for (int v = 0; v < s->n_visits; v++) {
            if (schedule_jobs(b, w, s, v, NULL) > 0)
                nearest = int_min(nearest, int_abs(s->visit_step[v] - step));
        }
        bool settled = f->start_utc - b->s->now_utc < SETTLED_BEFORE_S;
        if (nearest > MOVED_VISIT_STEPS)
            sum += weights->dropped_visit;
        else if (nearest > 0)
            sum += weights->moved_visit * (settled ? SETTLED_FACTOR : 1.0);
    }
    return sum;
}

int former_slot_step(const Board *b, const Window *w, const Slot *slot)
{
    for (int i = 0; i < b->s->n_former; i++) {
        const Visit *f = &b->s->former[i];
        const int step = board_step_at_or_after(b->s, f->start_utc);
        if (f->site == w->site && f->grower == slot->grower && slot_has(slot, step) &&
            grower_can_be(b, w->site, slot->grower, step))
            return step;
    }
    return slot->step;
}

static const Slot *slot_of(const Window *w, int grower, int step)
{
    for (int i = 0; i < w->n_slots; i++) {
        if (w->slots[i].grower == grower && step >= w->slots[i].from && step <= w->slots[i].to)
            return &w->slots[i];
    }
    return NULL;
}

bool former_snap(const Board *b, const Window *w, Schedule *s)
{
    bool changed = false;
    for (int v = 0; v < s->n_visits; v++) {
        for (int i = 0; i < b->s->n_former; i++) {
            const Visit *f = &b->s->former[i];
            int step = former_step(b, w, f);
            bool near = step >= 0 && f->grower == s->grower[v] &&
                        slot_of(w, f->grower, step) != NULL &&
                        int_abs(step - s->visit_step[v]) <= MOVED_VISIT_STEPS;
            bool ordered = (v == 0 || step > s->visit_step[v - 1]) &&
                           (v + 1 == s->n_visits || step < s->visit_step[v + 1]);
            if (!near || !ordered || !grower_can_be(b, w->site, f->grower, step) ||
                window_fixed(w, s->grower[v], s->visit_step[v]) != NULL)
                continue;
            changed = changed || step != s->visit_step[v];
            s->visit_step[v] = step;
            break;
        }
    }
    return changed;
}

/* A published job done in the schedule from its visit on; false where it cannot be. */
static bool redo(const Board *b, const Window *w, const Job *job, int visit, Schedule *s)
{
    if (job->kind == JOB_RESCUE || job->kind == JOB_LEAVE_SHUT || job->kind == JOB_CHOOSE ||
        job->kind == JOB_WATER || job->kind == JOB_PROTECT)
        return true;
    bool cover = job->kind == JOB_SET_COVER, move = job->kind == JOB_MOVE;
    if ((!cover && !move) || job->place < 0 || job->place >= b->s->garden->n_places ||
        board_site(b, job->place) != w->site)
        return false;
    const Cover *lid = &board_place(b, job->place)->cover;
    if (cover && (job->position < 0 || job->position >= lid->n_positions))
        return false;
    if (move && (job->batch < 0 || job->batch >= b->s->n_batches ||
                 s->places[visit][job->batch] != job->from_place ||
                 !schedule_has_room(b, s, visit + 1, job->place, job->batch)))
        return false;
    for (int k = visit + 1; k <= s->n_visits; k++) {
        if (cover)
            s->positions[k][job->place] = job->position;
        else
            s->places[k][job->batch] = job->place;
    }
    return true;
}

bool former_schedule(const Board *b, const Window *w, Schedule *ret)
{
    for (int i = 0; i < b->s->n_former; i++) {
        const Visit *f = &b->s->former[i];
        int step = former_step(b, w, f);
        if (step < 0)
            continue;
        if (slot_of(w, f->grower, step) == NULL || !grower_can_be(b, w->site, f->grower, step) ||
            schedule_visit(b, ret, f->grower, step) < 0)
            return false;
    }
    for (int i = 0; i < w->n_slots; i++) {
        if (w->slots[i].fixed_utc != 0 &&
            schedule_visit(b, ret, w->slots[i].grower, w->slots[i].step) < 0)
            return false;
    }
    for (int v = 0; v < ret->n_visits; v++) {
        for (int j = 0; j < b->s->n_former_jobs; j++) {
            const Job *job = &b->s->former_jobs[j];
            if (job->visit < 0 || job->visit >= b->s->n_former)
                continue;
            if (former_step(b, w, &b->s->former[job->visit]) == ret->visit_step[v] &&
                !redo(b, w, job, v, ret))
                return false;
        }
    }
    return ret->n_visits > 0 && ret->n_visits <= w->cap && b->s->n_former_jobs > 0;
}
