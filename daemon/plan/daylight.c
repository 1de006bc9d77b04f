/* SPDX-License-Identifier: MIT */
/*
 * Daylight: a propagator is warm and dim; seedlings that are up and stay in it grow long and weak.
 * They come out of it to another place indoors at the next visit, made for them where there is
 * none. docs/plan.md.
 */
#include "plan/search.h"

#include <math.h>

#define DAYLIGHT_WINDOWS 2 /* of a site; what waits longer is decided again; chosen */
#define WORTH_LOSS 0.05    /* batch-days by cold on the way out: odds of a thousandth; chosen */

typedef struct Daylight {
    Board *b;
    const Window *w;
    Schedule *schedule, *spare, *best;
    BatchResult *results;
    PlanValue base, best_value;
    bool found, full; /* a place and visit that do; room was all that lacked */
} Daylight;

static bool is_propagator(const Board *b, int place)
{
    return board_place(b, place)->kind == PLACE_PROPAGATOR;
}

/* Up, and kept warm to the window's end. */
static bool wants_daylight(const Daylight *d, int batch)
{
    const Board *b = d->b;
    const Stage stage = b->stand.stages[batch];
    const int last = d->schedule->places[d->schedule->n_visits][batch];
    return (stage == STAGE_EMERGED || stage == STAGE_GROWING_ON) && is_propagator(b, last) &&
           board_site(b, last) == d->w->site && b->stand.places[batch] == last;
}

static bool gives_daylight(const Daylight *d, int place)
{
    const Place *p = board_place(d->b, place);
    return p->site == d->w->site && p->indoors && place_takes_trays(d->b, place);
}

/* Out of it at this visit: is that harmless, and the best place so far? */
static bool try_place(Daylight *d, int batch, int grower, int step, int place)
{
    PlanValue value;
    schedule_copy(d->b, d->schedule, d->spare);
    const int v = schedule_visit(d->b, d->spare, grower, step);
    if (v < 0)
        return true;
    if (!schedule_has_room(d->b, d->spare, v + 1, place, batch)) {
        d->full = true;
        return true;
    }
    for (int k = v + 1; k <= d->spare->n_visits; k++)
        d->spare->places[k][batch] = place;
    if (!evaluate_exact(d->b, d->w, d->spare, d->results, NULL, &value))
        return false;
    if (value.broken > d->base.broken + 1e-9 || value.loss > d->base.loss + WORTH_LOSS ||
        (d->found && plan_value_compare(&value, &d->best_value) >= 0))
        return true;
    d->found = true;
    d->best_value = value;
    schedule_copy(d->b, d->spare, d->best);
    return true;
}

static bool try_visit(Daylight *d, int batch, int grower, int step)
{
    for (int p = 0; !d->found && p < d->b->s->garden->n_places; p++) {
        if (gives_daylight(d, p) && !try_place(d, batch, grower, step, p))
            return false;
    }
    return true;
}

/* At a visit that is made anyway before at one of its own; both in time. */
static bool take_out(Daylight *d, int batch)
{
    const Schedule *s = d->schedule;
    d->found = d->full = false;
    for (int v = 0; !d->found && v < s->n_visits; v++) {
        if (!try_visit(d, batch, s->grower[v], s->visit_step[v]))
            return false;
    }
    for (int i = 0; !d->found && i < d->w->n_slots && s->n_visits < d->w->cap; i++) {
        const Slot *slot = &d->w->slots[i];
        const int step = former_slot_step(d->b, d->w, slot);
        bool taken = !grower_can_be(d->b, d->w->site, slot->grower, step);
        for (int v = 0; v < s->n_visits; v++)
            taken = taken || slot_has(slot, s->visit_step[v]);
        if (!taken && !try_visit(d, batch, slot->grower, step))
            return false;
    }
    return true;
}

static void note_no_room(const Daylight *d, int batch)
{
    Plan *plan = d->b->plan;
    for (int i = 0; i < plan->n_notes; i++) {
        if (plan->notes[i].limit == LIMIT_DAYLIGHT && plan->notes[i].batch == batch)
            return;
    }
    plan->notes[plan->n_notes++] = (Reason){.limit = LIMIT_DAYLIGHT,
                                            .batch = batch,
                                            .place = d->b->stand.places[batch],
                                            .at_utc = board_utc(d->b, d->w->first),
                                            .predicted_c = NAN,
                                            .limit_c = NAN,
                                            .spread_k = NAN,
                                            .odds = NAN,
                                            .otherwise_odds = NAN,
                                            .otherwise_c = NAN};
}

bool daylight_window(Board *b, const Window *w, Schedule *schedule)
{
    if (w->ordinal >= DAYLIGHT_WINDOWS)
        return true;
    Daylight d = {.b = b, .w = w, .schedule = schedule};
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!wants_daylight(&d, i))
            continue;
        if (d.spare == NULL) {
            d.spare = schedule_new(b, &b->stand);
            d.best = schedule_new(b, &b->stand);
            d.results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
            if (b->arena->failed || !evaluate_exact(b, w, schedule, d.results, NULL, &d.base))
                return false;
        }
        if (!take_out(&d, i))
            return false;
        if (d.found) {
            schedule_copy(b, d.best, schedule);
            d.base = d.best_value;
        } else if (d.full) {
            note_no_room(&d, i);
        }
    }
    return true;
}

void daylight_reason(const Decision *d, Job *job)
{
    const Board *b = d->b;
    if (!is_propagator(b, job->from_place) || !board_place(b, job->place)->indoors ||
        b->stand.stages[job->batch] > STAGE_GROWING_ON ||
        (job->reason.limit != LIMIT_PROGRESS && job->reason.limit != LIMIT_NONE))
        return;
    job->reason.limit = LIMIT_DAYLIGHT;
    job->reason.batch = job->batch;
    job->reason.place = job->place;
}
