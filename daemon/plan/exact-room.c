/* SPDX-License-Identifier: MIT */
/*
 * Room, in the bound of exact-prices.c: a batch pays rent for its trays in a place after each
 * visit, and the rent of all the room there is comes back. Choices that go in lose nothing by that;
 * the least of all batches does, where it does not go in.
 */
#include "plan/exact-prices.h"

#include <math.h>
#include <string.h>

#define STRIDE 0.5 /* of the way at which the bound would reach what was found; chosen */

/* Per place after a visit: of a tray; of that in which the bound was best; trays beyond the room.
 */
typedef struct Rents {
    double *rent[SEGMENTS_MAX], *best[SEGMENTS_MAX], *excess[SEGMENTS_MAX];
    double *trays;                 /* per place: its room; INFINITY where it is no matter */
    double bound, stride, squares; /* the best; of the next step; of all excess */
} Rents;

bool exact_rents_new(Exact *x)
{
    Arena *arena = x->q->b->arena;
    const int n_places = x->q->b->s->garden->n_places;
    x->rents = ARENA_NEW(arena, 1, Rents);
    for (int k = 0; x->rents != NULL && k < SEGMENTS_MAX; k++) {
        x->rents->rent[k] = ARENA_NEW(arena, n_places, double);
        x->rents->best[k] = ARENA_NEW(arena, n_places, double);
        x->rents->excess[k] = ARENA_NEW(arena, n_places, double);
    }
    if (x->rents != NULL)
        x->rents->trays = ARENA_NEW(arena, n_places, double);
    return !arena->failed;
}

void exact_rent_begin(Exact *x)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    const int n_places = b->s->garden->n_places;
    x->rent_back = 0.0;
    r->bound = -INFINITY;
    r->stride = STRIDE;
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        for (int p = 0; p < n_places; p++)
            r->rent[k][p] = r->best[k][p] = 0.0;
    }
    for (int p = 0; p < n_places; p++)
        r->trays[p] = board_place(b, p)->trays;
    for (int m = 0; m < x->n_members; m++) {
        if (b->stand.stages[x->members[m]] != STAGE_PLANTED_OUT)
            r->trays[b->stand.places[x->members[m]]] -= b->s->batches[x->members[m]].trays;
    }
    /* Where more stand than go in they may stay, so nothing can be asked for it. */
    for (int p = 0; p < n_places; p++)
        r->trays[p] =
            board_place(b, p)->trays < 0 || r->trays[p] < 0 ? INFINITY : board_place(b, p)->trays;
}

void exact_excess(Exact *x)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    double *const *ret = r->excess;
    r->squares = 0.0;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        for (int p = 0; p < b->s->garden->n_places; p++)
            ret[k][p] = isfinite(r->trays[p]) ? -r->trays[p] : -INFINITY;
    }
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        const ExactPath *path = &g->paths[g->columns[g->best].path];
        for (int k = 1; k <= x->trial->n_visits; k++)
            ret[k][path->places[k]] += g->n * b->s->batches[g->leader].trays;
    }
    for (int k = 1; k <= x->trial->n_visits; k++) {
        for (int p = 0; p < b->s->garden->n_places; p++) {
            if (!isfinite(ret[k][p]) || (ret[k][p] < 0.0 && r->rent[k][p] <= 0.0))
                ret[k][p] = 0.0;
            r->squares += ret[k][p] * ret[k][p];
        }
    }
}

/* What follows from the rents. */
static void pay(Exact *x)
{
    const Rents *r = x->rents;
    const Board *b = x->q->b;
    x->rent_back = 0.0;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        for (int p = 0; p < b->s->garden->n_places; p++) {
            if (r->rent[k][p] > 0.0)
                x->rent_back += r->rent[k][p] * r->trays[p];
        }
    }
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        if (b->stand.stages[g->leader] == STAGE_PLANTED_OUT)
            continue;
        for (int j = 0; j < g->n_paths; j++) {
            g->paths[j].rent = 0.0;
            for (int k = 1; k <= x->trial->n_visits; k++)
                g->paths[j].rent +=
                    r->rent[k][g->paths[j].places[k]] * b->s->batches[g->leader].trays;
        }
    }
}

static void copy_rents(const Exact *x, double *const *from, double *const *to)
{
    for (int k = 0; k < SEGMENTS_MAX; k++)
        memcpy(to[k], from[k], (size_t)x->q->b->s->garden->n_places * sizeof(double));
}

bool exact_rent_back_to_best(Exact *x)
{
    Rents *r = x->rents;
    if (x->at_hand >= r->bound)
        return false;
    copy_rents(x, r->best, r->rent);
    pay(x);
    return true;
}

void exact_rent(Exact *x)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    if (x->at_hand >= r->bound) {
        r->bound = x->at_hand;
        copy_rents(x, r->rent, r->best);
    } else {
        r->stride *= 0.5;
        copy_rents(x, r->best, r->rent);
    }
    const double left = isfinite(x->best) ? x->best - x->lower : 0.02 * fabs(x->lower),
                 squares = r->squares;
    for (int k = 1; squares > 0.0 && k <= x->trial->n_visits; k++) {
        for (int p = 0; p < b->s->garden->n_places; p++)
            r->rent[k][p] = fmax(0.0, r->rent[k][p] + r->stride * left / squares * r->excess[k][p]);
    }
    pay(x);
}
