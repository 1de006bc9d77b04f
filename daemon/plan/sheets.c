/* SPDX-License-Identifier: MIT */
/*
 * A fleece laid over plants in their bed comes off again once the nights are mild enough without:
 * at a visit made anyway, else at one made for it. The number alone would leave it on for good
 * where nobody has other work there: a visit costs more than what light a day lacks. docs/plan.md.
 */
#include "odds/odds.h"
#include "plan/outlook.h"
#include "plan/search.h"

#define MILD_NIGHTS 3   /* in a row, bare, as before planting; chosen */
#define WORTH_LOSS 0.05 /* batch-days: odds of a thousandth or two; chosen, as for daylight */

typedef struct Sheets {
    Board *b;
    const Window *w;
    Schedule *schedule, *trial;
    BatchResult *results;
    PlanValue base;
} Sheets;

/* Planted in open ground, and under a sheet from the window's first step to its last. */
static bool is_under_sheet(const Sheets *q, int batch)
{
    const Board *b = q->b;
    const Schedule *s = q->schedule;
    const int place = s->places[0][batch], bed = b->s->batches[batch].destination;
    bool under = b->stand.stages[batch] == STAGE_PLANTED_OUT && bed >= 0 && place != bed &&
                 planted_ground(b, place) == bed && board_site(b, place) == q->w->site;
    for (int k = 1; under && k <= s->n_visits; k++)
        under = s->places[k][batch] == place;
    return under;
}

/* Whether the nights after `step` are mild enough for it without a sheet. */
static bool is_mild(const Board *b, int batch, int step)
{
    const DestinationNights *d = &b->destinations[b->destination_of[batch]];
    const double damage_c = ramp_damage_c(board_crop(b, batch), &b->stand.ramps[batch]);
    int k = 0;
    while (k < d->n && d->ends[k] <= step)
        k++;
    for (int last = k + MILD_NIGHTS; k < last; k++) {
        if (k >= d->n || odds_of_margin(odds_margin(d->leaf_low_c[k], d->spread_k[k], damage_c)) >
                             b->s->garden->risk.damage)
            return false;
    }
    return true;
}

/* Off at this visit: true where that harms nothing. */
static bool try_off(Sheets *q, int batch, int grower, int step)
{
    const int bed = q->b->s->batches[batch].destination;
    PlanValue value;
    if (!is_mild(q->b, batch, step))
        return false;
    schedule_copy(q->b, q->schedule, q->trial);
    const int v = schedule_visit(q->b, q->trial, grower, step);
    for (int k = v + 1; v >= 0 && k <= q->trial->n_visits; k++)
        q->trial->places[k][batch] = bed;
    if (v < 0 || !evaluate_exact(q->b, q->w, q->trial, q->results, NULL, &value) ||
        value.broken > q->base.broken + 1e-9 || value.loss > q->base.loss + WORTH_LOSS)
        return false;
    schedule_copy(q->b, q->trial, q->schedule);
    q->base = value;
    return true;
}

static bool is_taken(const Sheets *q, const Slot *slot)
{
    for (int v = 0; v < q->schedule->n_visits; v++) {
        if (slot_has(slot, q->schedule->visit_step[v]))
            return true;
    }
    return false;
}

static void take_off(Sheets *q, int batch)
{
    Board *b = q->b;
    const Window *w = q->w;
    for (int v = 0; v < q->schedule->n_visits; v++) {
        if (try_off(q, batch, q->schedule->grower[v], q->schedule->visit_step[v]))
            return;
    }
    for (int i = 0; i < w->n_slots && q->schedule->n_visits < w->cap; i++) {
        const int step = former_slot_step(b, w, &w->slots[i]);
        if (!is_taken(q, &w->slots[i]) && grower_can_be(b, w->site, w->slots[i].grower, step) &&
            try_off(q, batch, w->slots[i].grower, step))
            return;
    }
}

bool sheets_window(Board *b, const Window *w, Schedule *schedule)
{
    Sheets q = {.b = b, .w = w, .schedule = schedule};
    for (int i = 0; i < b->s->n_batches; i++) {
        if (!is_under_sheet(&q, i))
            continue;
        if (q.trial == NULL) {
            q.trial = schedule_new(b, &b->stand);
            q.results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
            if (b->arena->failed || !evaluate_exact(b, w, schedule, q.results, NULL, &q.base))
                return false;
        }
        take_off(&q, i);
    }
    return !b->arena->failed;
}
