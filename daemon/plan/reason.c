/* SPDX-License-Identifier: MIT */
/* Why a job is done: what would come about without it. */
#include "plan/search.h"

#include <math.h>

#define BROKEN_FIRST 1000.0 /* a limit kept outweighs any number, as in comparing plans */

Reason reason_of_finding(const Board *b, const Window *w, LimitKind limit, int batch,
                         const Finding *f)
{
    int step = f->step >= 0 ? f->step : w->first;
    return (Reason){.limit = limit,
                    .batch = batch,
                    .place = f->place,
                    .at_utc = board_utc(b, step),
                    .predicted_c = f->value,
                    .limit_c = f->limit,
                    .spread_k = f->spread,
                    .odds = f->odds,
                    .otherwise_odds = NAN,
                    .otherwise_c = NAN,
                    .estimated =
                        b->s->sites[w->site].steps[int_min(step, b->s->n_steps)].estimated};
}

static uint32_t estimated_at(const Board *b, int site, int64_t utc)
{
    int step = board_step_at_or_after(b->s, utc);
    return b->s->sites[site].steps[step].estimated;
}

static bool saved_from_damage(const Decision *d, int batch)
{
    const Finding *now = &d->results[batch].damage, *otherwise = &d->otherwise[batch].damage;
    return otherwise->odds > d->b->s->garden->risk.damage && !(now->odds > otherwise->odds - 1e-6);
}

/* Which limit made the difference between how it is planned and how it would be otherwise. */
static LimitKind limit_between(const Decision *d, int batch, const Finding **ret_now,
                               const Finding **ret_otherwise)
{
    const BatchResult *now = &d->results[batch], *otherwise = &d->otherwise[batch];
    bool colder = otherwise->check_share > d->b->s->garden->risk.check &&
                  otherwise->check_share > now->check_share + 1e-6;
    const struct {
        LimitKind limit;
        const Finding *now, *otherwise;
        bool differs;
    } rows[] = {
        {LIMIT_DAMAGE, &now->damage, &otherwise->damage, saved_from_damage(d, batch)},
        {LIMIT_HEAT, &now->heat, &otherwise->heat, otherwise->heat.harm > now->heat.harm + 1e-9},
        {LIMIT_CHECK, &now->check, &otherwise->check, colder},
        {LIMIT_CHILL, &now->chill, &otherwise->chill,
         otherwise->chill.harm > now->chill.harm + 1e-9},
        {LIMIT_GUST, &now->gust, &otherwise->gust, otherwise->gust.harm > now->gust.harm + 1e-9},
        {LIMIT_SCORCH, &now->scorch, &otherwise->scorch,
         otherwise->scorch.harm > now->scorch.harm + 1e-9},
        {LIMIT_EXPOSURE, &now->open_night, &otherwise->open_night,
         otherwise->open_night.harm > now->open_night.harm + 1e-9},
        {LIMIT_SETTLING, &now->settling, &otherwise->settling,
         otherwise->settling.harm > now->settling.harm + 1e-9},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        if (rows[i].differs) {
            *ret_now = rows[i].now;
            *ret_otherwise = rows[i].otherwise;
            return rows[i].limit;
        }
    }
    return LIMIT_PROGRESS;
}

static double gain(const BatchResult *now, const BatchResult *otherwise)
{
    return BROKEN_FIRST * (otherwise->broken - now->broken) +
           (otherwise->loss + otherwise->checks + otherwise->delay) -
           (now->loss + now->checks + now->delay);
}

/* The batch that a job is for: one saved from damage before all, else the one that gains most. */
static int bound_batch(const Decision *d)
{
    int bound = -1;
    double most = -INFINITY;
    bool saved = false;
    for (int i = 0; i < d->b->s->n_batches; i++) {
        if (!batch_is_here(d->b, d->w, d->schedule, i))
            continue;
        bool saves = saved_from_damage(d, i);
        double g = saves ? d->otherwise[i].damage.odds : gain(&d->results[i], &d->otherwise[i]);
        if ((saves && !saved) || (saves == saved && g > most)) {
            most = g;
            bound = i;
            saved = saves;
        }
    }
    return bound;
}

static void fill_limit(const Decision *d, Reason *r, const Finding *now, const Finding *otherwise)
{
    r->place = otherwise->place;
    r->at_utc = board_utc(d->b, int_max(otherwise->step, 0));
    r->predicted_c = now->value;
    r->limit_c = otherwise->limit;
    r->spread_k = otherwise->spread;
    r->odds = now->odds;
    r->otherwise_c = otherwise->value;
    r->otherwise_odds = otherwise->odds;
}

/* A lid that would stand open in a gale: the place itself is the reason. */
static bool gust_reason(const Decision *d, Job *job, int visit_step)
{
    int step = 0;
    double otherwise = evaluate_cover_gust(d->b, d->w, d->spare, job->place, &step);
    if (job->kind != JOB_SET_COVER ||
        otherwise <= evaluate_cover_gust(d->b, d->w, d->schedule, job->place, NULL))
        return false;
    job->reason.limit = LIMIT_GUST;
    job->reason.place = job->place;
    job->reason.at_utc = board_utc(d->b, step);
    job->reason.limit_c = board_place(d->b, job->place)->cover.gust_limit_ms;
    job->reason.otherwise_c = d->b->s->sites[d->w->site].steps[step].gust_ms;
    if (step > visit_step)
        job->deadline_utc = board_utc(d->b, step);
    return true;
}

/* By when it can be done: before the limit is passed, and within the hours in which the visit lies.
 */
static int64_t last_chance(const Decision *d, int visit_step, int64_t limit_utc)
{
    for (int i = 0; i < d->w->n_slots; i++) {
        const Slot *slot = &d->w->slots[i];
        int64_t ends = board_utc(d->b, slot->to);
        if (visit_step >= slot->from && visit_step < slot->to && ends < limit_utc)
            return ends;
    }
    return limit_utc;
}

void reason_give(Decision *d, Job *job, int visit_step, int only_batch)
{
    Board *b = d->b;
    const Finding *now = NULL, *otherwise = NULL;
    int bound = only_batch >= 0 ? only_batch : bound_batch(d);
    Reason *r = &job->reason;
    r->limit = LIMIT_PROGRESS;
    r->at_utc = board_utc(b, visit_step);
    if (bound >= 0) {
        r->batch = bound;
        r->limit = limit_between(d, bound, &now, &otherwise);
    }
    if (otherwise != NULL) {
        fill_limit(d, r, now, otherwise);
        if (otherwise->crossing > visit_step)
            job->deadline_utc = board_utc(b, otherwise->crossing);
        else if (otherwise->step > visit_step)
            job->deadline_utc = board_utc(b, otherwise->step);
    } else if (!gust_reason(d, job, visit_step) && bound >= 0) {
        const Finding *damage = &d->results[bound].damage;
        fill_limit(d, r, damage, damage);
        r->otherwise_c = r->otherwise_odds = NAN;
        if (r->at_utc < board_utc(b, visit_step))
            r->at_utc = board_utc(b, visit_step);
    }
    r->estimated = estimated_at(b, d->w->site, r->at_utc);
    for (int i = 0; i < b->s->n_batches; i++) {
        bool meant = only_batch < 0 || only_batch == i;
        job->guard = job->guard ||
                     (meant && batch_is_here(b, d->w, d->schedule, i) && saved_from_damage(d, i));
    }
    if (job->guard && job->deadline_utc == 0)
        job->deadline_utc = board_utc(b, int_max(d->w->end, visit_step + 1));
    if (job->deadline_utc != 0)
        job->deadline_utc = last_chance(d, visit_step, job->deadline_utc);
}
