/* SPDX-License-Identifier: MIT */
/*
 * Room, in the bound of exact-prices.c: a batch pays rent for its trays in a place after each
 * visit, and the rent of all the room there is comes back. Choices that go in lose nothing by that;
 * the least of all batches does, where it does not go in.
 */
#include "plan/exact-prices.h"

#include <math.h>
#include <string.h>

#define SWEEPS 4        /* chosen */
#define STEPS_OF_WAYS 8 /* ways that take as long as a column */

typedef struct Rents {
    double *rent[SEGMENTS_MAX];   /* per place after a visit: of a tray */
    double *call[SEGMENTS_MAX];   /* likewise: for a batch under its cover, where that is moved */
    double *called[SEGMENTS_MAX]; /* of that what the courses cost more that move it */
    /* Where more stand than go in they may stay, as long as nobody comes: per such place and group,
     * for coming. All that is paid there comes of it. */
    double *coming[SEGMENTS_MAX];
    int *over;      /* per place: which of those; -1 none */
    double *beyond; /* per place: trays that stand there beyond its room */
    double *trays;  /* per place: room, or what stands there; INFINITY no matter */
    int n_over;
    double *trays_there[SEGMENTS_MAX]; /* likewise, were every group to go its least way: trays; */
    int *under[SEGMENTS_MAX];          /* those under its cover */
    bool *full;                        /* per place: scratch */
    double *pays, *asks;               /* of the groups that want a place: for a tray; trays */
} Rents;

bool exact_rents_new(Exact *x)
{
    Arena *arena = x->q->b->arena;
    const int n_places = x->q->b->s->garden->n_places, n_batches = x->q->b->s->n_batches;
    Rents *r = x->rents = ARENA_NEW(arena, 1, Rents);
    for (int k = 0; r != NULL && k < SEGMENTS_MAX; k++) {
        r->rent[k] = ARENA_NEW(arena, n_places, double);
        r->call[k] = ARENA_NEW(arena, n_places, double);
        r->called[k] = ARENA_NEW(arena, n_places, double);
        r->trays_there[k] = ARENA_NEW(arena, n_places, double);
        r->under[k] = ARENA_NEW(arena, n_places, int);
    }
    if (r != NULL) {
        r->trays = ARENA_NEW(arena, n_places, double);
        r->beyond = ARENA_NEW(arena, n_places, double);
        r->over = ARENA_NEW(arena, n_places, int);
        r->full = ARENA_NEW(arena, n_places, bool);
        r->pays = ARENA_NEW(arena, n_batches, double);
        r->asks = ARENA_NEW(arena, n_batches, double);
    }
    return !arena->failed;
}

bool exact_rents_open(Exact *x)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    const int n_places = b->s->garden->n_places;
    r->n_over = 0;
    for (int p = 0; p < n_places; p++)
        r->beyond[p] = -board_place(b, p)->trays;
    for (int m = 0; m < x->n_members; m++) {
        if (b->stand.stages[x->members[m]] != STAGE_PLANTED_OUT)
            r->beyond[b->stand.places[x->members[m]]] += b->s->batches[x->members[m]].trays;
    }
    for (int p = 0; p < n_places; p++) {
        const int trays = board_place(b, p)->trays;
        r->beyond[p] = trays < 0 ? 0.0 : fmax(0.0, r->beyond[p]);
        r->trays[p] = trays < 0 ? INFINITY : trays + r->beyond[p];
        r->over[p] = r->beyond[p] > 0.0 ? r->n_over++ : -1;
    }
    for (int k = 0; k < SEGMENTS_MAX; k++)
        r->coming[k] = ARENA_NEW(b->arena, r->n_over * x->n_groups, double);
    return !b->arena->failed;
}

void exact_rent_begin(Exact *x)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    const int n_places = b->s->garden->n_places;
    x->rent_back = 0.0;
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        for (int p = 0; p < n_places; p++)
            r->rent[k][p] = r->call[k][p] = r->called[k][p] = 0.0;
    }
    for (int k = 0; k < SEGMENTS_MAX; k++) {
        for (int i = 0; i < r->n_over * x->n_groups; i++)
            r->coming[k][i] = 0.0;
    }
}

static bool comes(const ExactPath *path, int k, int place)
{
    return path->places[k] == place && path->places[k - 1] != place;
}

/* What a group pays for coming to where too many stand. */
static double *coming_to(const Exact *x, const ExactGroup *g, int k, int place)
{
    const Rents *r = x->rents;
    return &r->coming[k][r->over[place] * x->n_groups + (int)(g - x->groups)];
}

/* Whether a course moves a cover at the visit before segment `k`. */
static bool is_moved(const Exact *x, int chain, int course, int k, int place)
{
    const ExactChain *c = &x->chains[chain];
    course /= c->power[x->trial->n_visits - k];
    int after = course % c->n_settings,
        before = k > 1 ? course / c->n_settings % c->n_settings : c->now;
    for (int j = 0; j < c->n_covers; j++) {
        if (c->place[j] == place)
            return after % c->n_positions[j] != before % c->n_positions[j];
        after /= c->n_positions[j];
        before /= c->n_positions[j];
    }
    return false;
}

/* Likewise, where the chain's course is chosen. */
static bool is_to_move(const Exact *x, int k, int place)
{
    const int chain = x->q->b->chain_of[place];
    return x->fixed[chain] && is_moved(x, chain, x->course[chain], k, place);
}

/* Room that those placed so far leave; where more stand than go in, as long as nobody comes, that
 * which all of them take. */
static double room_left(const Exact *x, int k, int place)
{
    const Rents *r = x->rents;
    return r->trays[place] - x->taken[k][place] - (x->came[k][place] > 0 ? r->beyond[place] : 0.0);
}

static bool is_over_full(const Exact *x, int k, int place)
{
    return x->rents->over[place] >= 0 && x->came[k][place] == 0;
}

static bool is_under(const Board *b, int place, int cover)
{
    while (place >= 0 && place != cover)
        place = board_place(b, place)->parent;
    return place == cover;
}

/* What one of a group takes of a place's room: planted out, nothing. */
static double trays_of(const Board *b, const ExactGroup *g)
{
    return b->stand.stages[g->leader] == STAGE_PLANTED_OUT ? 0.0 : b->s->batches[g->leader].trays;
}

/* What a way pays, and what it is paid. */
static double rent_of_way(const Exact *x, const ExactGroup *g, const ExactPath *path)
{
    const Rents *r = x->rents;
    const Board *b = x->q->b;
    const double trays = trays_of(b, g);
    double sum = 0.0;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        const int place = path->places[k];
        sum += r->rent[k][place] * trays;
        if (is_over_full(x, k, place) && trays > 0.0 && comes(path, k, place))
            sum += *coming_to(x, g, k, place) * r->beyond[place] / g->left;
        for (int p = place; p >= 0; p = board_place(b, p)->parent)
            sum -= r->call[k][p];
    }
    return sum;
}

void exact_rents_pay(Exact *x)
{
    const Rents *r = x->rents;
    const Board *b = x->q->b;
    x->rent_back = 0.0;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        for (int p = 0; p < b->s->garden->n_places; p++) {
            if (is_to_move(x, k, p))
                x->rent_back -= (x->under[k][p] > 0 ? 0.0 : r->call[k][p]) - r->called[k][p];
            if (r->rent[k][p] > 0.0)
                x->rent_back += r->rent[k][p] * room_left(x, k, p);
        }
    }
    for (int i = 0; i < x->n_groups; i++) {
        ExactGroup *g = &x->groups[i];
        for (int j = 0; j < g->n_paths && g->left > 0; j++)
            g->paths[j].rent = rent_of_way(x, g, &g->paths[j]);
    }
}

static void change_rent(Exact *x, int k, int place, double more)
{
    x->rents->rent[k][place] += more;
    x->rent_back += more * room_left(x, k, place);
    for (int i = 0; i < x->n_groups && more != 0.0; i++) {
        const ExactGroup *g = &x->groups[i];
        const double sum = more * trays_of(x->q->b, g);
        for (int p = 0; p < g->n_paths; p++)
            g->paths[p].rent += g->paths[p].places[k] == place ? sum : 0.0;
    }
}

static void change_call(Exact *x, int k, int place, double more)
{
    x->rents->call[k][place] += more;
    for (int i = 0; i < x->n_groups && more != 0.0; i++) {
        const ExactGroup *g = &x->groups[i];
        for (int p = 0; p < g->n_paths; p++)
            g->paths[p].rent -= is_under(x->q->b, g->paths[p].places[k], place) ? more : 0.0;
    }
}

/* What each way of a group costs at the least, beside its rent. */
static void least_of_ways(const Exact *x, const ExactGroup *g, const int *list, int n)
{
    for (int p = 0; p < g->n_paths; p++)
        g->way[p] = INFINITY;
    for (int i = 0; i < n; i++) {
        const ExactColumn *column = &g->columns[list != NULL ? list[i] : i];
        const double value = exact_reduced(x, g, column) - g->paths[column->path].rent;
        g->way[column->path] = fmin(g->way[column->path], value);
    }
}

/* What a group would pay for a tray in a place after a visit, or by the tray for coming there: what
 * it loses elsewhere. Nothing where it does not. */
static double would_pay(const ExactGroup *g, int k, int place, bool coming, double trays)
{
    double here = INFINITY, elsewhere = INFINITY;
    for (int p = 0; p < g->n_paths; p++) {
        const double value = g->way[p] + g->paths[p].rent;
        const bool is_here =
            coming ? comes(&g->paths[p], k, place) : g->paths[p].places[k] == place;
        double *least = is_here ? &here : &elsewhere;
        *least = fmin(*least, value);
    }
    return isfinite(here) ? (elsewhere - here) / trays : -INFINITY;
}

/*
 * The rent of a place after a visit at which no more would come than go in, all else as it is, if
 * it is `now`. Where `newcomer` is a group, it is of those trays that must leave before that comes.
 */
static double rent_of(Exact *x, int k, int place, const ExactGroup *newcomer, double now)
{
    const Rents *r = x->rents;
    const Board *b = x->q->b;
    const double most = now + fmax(1.0, x->best - x->lower);
    double before = most, left = room_left(x, k, place);
    int n = 0;
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        double trays = b->s->batches[g->leader].trays;
        if (b->stand.stages[g->leader] == STAGE_PLANTED_OUT || trays <= 0.0 || g->left == 0)
            continue;
        trays += g == newcomer ? r->beyond[place] / g->left : 0.0;
        const double pays = fmin(most, now + would_pay(g, k, place, g == newcomer, trays));
        if (pays <= 0.0)
            continue;
        int at = n++;
        for (; at > 0 && r->pays[at - 1] < pays; at--) {
            r->pays[at] = r->pays[at - 1];
            r->asks[at] = r->asks[at - 1];
        }
        r->pays[at] = pays;
        r->asks[at] = g->left * trays;
    }
    for (int i = 0; i < n; i++) {
        if (left <= 0.0)
            return 0.5 * (before + r->pays[i]);
        left -= r->asks[i];
        if (left < 0.0)
            return r->pays[i];
        before = r->pays[i];
    }
    return 0.0;
}

/* Where too many stand: what each group pays for coming, and all for the trays that stand there. */
static void rent_of_coming(Exact *x, int k, int place)
{
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        if (g->left == 0)
            continue;
        double *coming = coming_to(x, g, k, place);
        if (*coming <= 0.0 && would_pay(g, k, place, true, 1.0) <= 0.0)
            continue;
        const double more = rent_of(x, k, place, g, *coming) - *coming;
        *coming += more;
        change_rent(x, k, place, more);
        for (int p = 0; p < g->n_paths; p++)
            g->paths[p].rent +=
                comes(&g->paths[p], k, place) ? more * x->rents->beyond[place] / g->left : 0.0;
    }
}

/* What must be offered so that somebody comes under a cover that is moved: over nothing it would be
 * left alone. */
static double call_of(const Exact *x, int k, int place)
{
    const Rents *r = x->rents;
    const double most = r->call[k][place] + fmax(1.0, x->best - x->lower);
    double least = most, second = most;
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        double here = INFINITY, elsewhere = INFINITY;
        for (int p = 0; p < g->n_paths && g->left > 0; p++) {
            const double value = g->way[p] + g->paths[p].rent;
            if (is_under(x->q->b, g->paths[p].places[k], place))
                here = fmin(here, value + r->call[k][place]);
            else
                elsewhere = fmin(elsewhere, value);
        }
        if (!isfinite(here))
            continue;
        const double loses = fmax(0.0, here - elsewhere);
        second = fmin(second, fmax(least, loses));
        least = fmin(least, loses);
    }
    return least <= 0.0 ? 0.0 : 0.5 * (least + second);
}

/* The call of a cover whose chain has no course yet: no more than what the courses that move it
 * are cheaper than the others. They cost so much more. */
static void call_from_course(Exact *x, int k, int place)
{
    Rents *r = x->rents;
    const int chain = x->q->b->chain_of[place], n = x->chains[chain].power[x->trial->n_visits];
    double *cost = x->cost + x->chains[chain].first + x->chains[chain].offset[x->trial->n_visits];
    double moved = INFINITY, left = INFINITY;
    for (int i = 0; i < n; i++) {
        double *least = is_moved(x, chain, i, k, place) ? &moved : &left;
        *least = fmin(*least, cost[i]);
    }
    if (!isfinite(moved))
        return;
    const double before = r->called[k][place],
                 call = fmax(0.0, fmin(call_of(x, k, place), left - moved + before));
    for (int i = 0; i < n && call != before; i++)
        cost[i] += is_moved(x, chain, i, k, place) ? call - before : 0.0;
    change_call(x, k, place, call - before);
    r->called[k][place] = call;
}

/* Where each group's least way goes. */
static void note_least_ways(Exact *x)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        memset(r->trays_there[k], 0, (size_t)b->s->garden->n_places * sizeof(double));
        memset(r->under[k], 0, (size_t)b->s->garden->n_places * sizeof(int));
    }
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        int least = -1;
        for (int p = 0; p < g->n_paths && g->left > 0; p++) {
            if (isfinite(g->way[p]) &&
                (least < 0 || g->way[p] + g->paths[p].rent < g->way[least] + g->paths[least].rent))
                least = p;
        }
        x->steps += (uint64_t)(g->n_paths / STEPS_OF_WAYS);
        for (int k = 1; least >= 0 && k <= x->trial->n_visits; k++) {
            const int place = g->paths[least].places[k];
            r->trays_there[k][place] += g->left * trays_of(b, g);
            for (int p = place; p >= 0; p = board_place(b, p)->parent)
                r->under[k][p] += g->left;
        }
    }
}

/* Full places after one visit, together: those that do not go into one may go into another. */
static void rent_together(Exact *x, int k)
{
    Rents *r = x->rents;
    const Board *b = x->q->b;
    double left = 0.0;
    int n = 0, full = 0;
    for (int p = 0; p < b->s->garden->n_places; p++) {
        r->full[p] = isfinite(r->trays[p]) && !is_over_full(x, k, p) &&
                     (r->rent[k][p] > 0.0 || r->trays_there[k][p] >= room_left(x, k, p));
        left += r->full[p] ? room_left(x, k, p) : 0.0;
        full += r->full[p];
    }
    if (full < 2)
        return;
    const double most = fmax(1.0, x->best - x->lower);
    double before = most, more = 0.0;
    for (int i = 0; i < x->n_groups; i++) {
        const ExactGroup *g = &x->groups[i];
        const double trays = trays_of(b, g);
        double here = INFINITY, elsewhere = INFINITY;
        for (int p = 0; p < g->n_paths && g->left > 0; p++) {
            double *least = r->full[g->paths[p].places[k]] ? &here : &elsewhere;
            *least = fmin(*least, g->way[p] + g->paths[p].rent);
        }
        if (trays <= 0.0 || !(here < elsewhere))
            continue;
        const double pays = fmin(most, (elsewhere - here) / trays);
        int at = n++;
        for (; at > 0 && r->pays[at - 1] < pays; at--) {
            r->pays[at] = r->pays[at - 1];
            r->asks[at] = r->asks[at - 1];
        }
        r->pays[at] = pays;
        r->asks[at] = g->left * trays;
    }
    x->steps += (uint64_t)x->n_groups;
    for (int i = 0; i < n && more <= 0.0; i++) {
        if (left <= 0.0)
            more = 0.5 * (before + r->pays[i]);
        left -= r->asks[i];
        if (left < 0.0 && more <= 0.0)
            more = r->pays[i];
        before = r->pays[i];
    }
    for (int p = 0; p < b->s->garden->n_places; p++) {
        if (r->full[p])
            change_rent(x, k, p, more);
    }
}

/* Rent and call of one place after one visit, if they are not as they should be. */
static void rent_place(Exact *x, int k, int place, bool list_is_all)
{
    Rents *r = x->rents;
    const int chain = x->q->b->chain_of[place];
    const double left = room_left(x, k, place);
    if (isfinite(left) &&
        (r->rent[k][place] > 0.0 || r->trays_there[k][place] > left || is_over_full(x, k, place))) {
        if (is_over_full(x, k, place))
            rent_of_coming(x, k, place);
        else
            change_rent(x, k, place,
                        rent_of(x, k, place, NULL, r->rent[k][place]) - r->rent[k][place]);
        x->steps += (uint64_t)x->n_groups;
    }
    if (x->chains[chain].n_settings < 2)
        return;
    if (x->fixed[chain]) {
        const bool called = is_to_move(x, k, place) && x->under[k][place] == 0;
        if (called ? r->call[k][place] <= 0.0 && r->under[k][place] > 0 : r->call[k][place] == 0.0)
            return;
        const double more = (called ? call_of(x, k, place) : 0.0) - r->call[k][place];
        change_call(x, k, place, more);
        x->rent_back -= called ? more : 0.0;
        x->steps += (uint64_t)x->n_groups;
    } else if (list_is_all) {
        call_from_course(x, k, place);
        x->steps += (uint64_t)x->n_groups;
    }
}

void exact_rent(Exact *x, int *const *list, const int *n)
{
    const Board *b = x->q->b;
    exact_rents_pay(x);
    for (int i = 0; i < x->n_groups; i++) {
        if (x->groups[i].left > 0)
            least_of_ways(x, &x->groups[i], list != NULL ? list[i] : NULL,
                          n != NULL ? n[i] : x->groups[i].n_active);
    }
    for (int sweep = 0; sweep < SWEEPS; sweep++) {
        note_least_ways(x);
        for (int k = 1; k <= x->trial->n_visits; k++) {
            for (int p = 0; p < b->s->garden->n_places; p++)
                rent_place(x, k, p, list == NULL);
            rent_together(x, k);
        }
    }
    exact_rents_pay(x); /* without the rounding of all these changes */
}

int exact_rents_kept(const Exact *x)
{
    return VISITS_MAX * (2 * x->q->b->s->garden->n_places + x->rents->n_over * x->n_groups);
}

void exact_rents_keep(const Exact *x, double *ret)
{
    const Rents *r = x->rents;
    const size_t n_places = (size_t)x->q->b->s->garden->n_places, bytes = n_places * sizeof *ret,
                 n_coming = (size_t)r->n_over * (size_t)x->n_groups;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        memcpy(ret, r->rent[k], bytes);
        memcpy(ret + n_places, r->call[k], bytes);
        if (n_coming > 0)
            memcpy(ret + 2 * n_places, r->coming[k], n_coming * sizeof *ret);
        ret += 2 * n_places + n_coming;
    }
}

void exact_rents_restore(Exact *x, const double *kept)
{
    const Rents *r = x->rents;
    const size_t n_places = (size_t)x->q->b->s->garden->n_places, bytes = n_places * sizeof *kept,
                 n_coming = (size_t)r->n_over * (size_t)x->n_groups;
    for (int k = 1; k <= x->trial->n_visits; k++) {
        memcpy(r->rent[k], kept, bytes);
        memcpy(r->call[k], kept + n_places, bytes);
        if (n_coming > 0)
            memcpy(r->coming[k], kept + 2 * n_places, n_coming * sizeof *kept);
        kept += 2 * n_places + n_coming;
    }
    exact_rents_pay(x);
}
