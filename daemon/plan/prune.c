/* SPDX-License-Identifier: MIT */
/*
 * No job without need: each change of a cover and each move is left out in turn, and stays out
 * where the plan is no worse for it, simulated as it is.
 */
#include "plan/search.h"

#define REFINE_PASSES 2 /* over all covers, at most; chosen */

/* A cover left as it was from a visit on, for as long as it would have stood so. */
static void leave_cover(Schedule *s, int visit, int place)
{
    int before = s->positions[visit][place], after = s->positions[visit + 1][place];
    for (int k = visit + 1; k <= s->n_visits && s->positions[k][place] == after; k++)
        s->positions[k][place] = before;
}

static void leave_batch(Schedule *s, int visit, int batch)
{
    int before = s->places[visit][batch], after = s->places[visit + 1][batch];
    for (int k = visit + 1; k <= s->n_visits && s->places[k][batch] == after; k++)
        s->places[k][batch] = before;
}

/* Takes `q->spare` where it is no worse. False where the arena is too small. */
static bool take_if_no_worse(Search *q, Schedule *s, PlanValue *value)
{
    PlanValue without;
    schedule_leave_idle_covers(q->b, q->w, q->spare);
    if (!evaluate_exact(q->b, q->w, q->spare, q->results, NULL, &without))
        return false;
    if (plan_value_compare(&without, value) <= 0) {
        *value = without;
        schedule_copy(q->b, q->spare, s);
    }
    return true;
}

/* One position of one cover after one visit, then the same for all visits to come. */
static bool refine_cover(Search *q, Schedule *s, int segment, int place, PlanValue *value)
{
    int n = board_place(q->b, place)->cover.n_positions;
    for (int option = 0; option < n; option++) {
        for (int last = segment; last <= s->n_visits; last += int_max(s->n_visits - segment, 1)) {
            PlanValue other;
            if (s->positions[segment][place] == option)
                continue;
            schedule_copy(q->b, s, q->spare);
            for (int k = segment; k <= last; k++)
                q->spare->positions[k][place] = option;
            if (!evaluate_exact(q->b, q->w, q->spare, q->results, NULL, &other))
                return false;
            if (plan_value_compare(&other, value) < 0) {
                *value = other;
                schedule_copy(q->b, q->spare, s);
            }
        }
    }
    return true;
}

bool refine(Search *q, Schedule *s, PlanValue *value)
{
    for (int pass = 0; pass < REFINE_PASSES; pass++) {
        PlanValue before = *value;
        for (int k = s->n_visits; k >= 1; k--) {
            for (int p = 0; p < q->b->s->garden->n_places; p++) {
                if (board_site(q->b, p) == q->w->site && board_place(q->b, p)->covered &&
                    schedule_shelters(q->b, s, k, p) && q->b->nodes <= q->b->budget &&
                    !refine_cover(q, s, k, p, value))
                    return false;
            }
        }
        if (plan_value_compare(value, &before) >= 0)
            break;
    }
    return true;
}

bool prune(Search *q, Schedule *s, PlanValue *value)
{
    Board *b = q->b;
    for (int v = s->n_visits - 1; v >= 0; v--) {
        for (int p = 0; p < b->s->garden->n_places; p++) {
            if (s->positions[v][p] == s->positions[v + 1][p] || board_site(b, p) != q->w->site)
                continue;
            schedule_copy(b, s, q->spare);
            leave_cover(q->spare, v, p);
            if (!take_if_no_worse(q, s, value))
                return false;
        }
        for (int i = 0; i < b->s->n_batches; i++) {
            int from = s->places[v][i], to = s->places[v + 1][i];
            if (from == to || s->planted_at[i] == v || board_site(b, from) != board_site(b, to))
                continue;
            schedule_copy(b, s, q->spare);
            leave_batch(q->spare, v, i);
            if (schedule_has_room(b, q->spare, v + 1, from, i) && !take_if_no_worse(q, s, value))
                return false;
        }
    }
    schedule_drop_idle(b, q->w, s);
    return evaluate_exact(b, q->w, s, q->results, NULL, value);
}
