/* SPDX-License-Identifier: MIT */
/*
 * Damp: under a cover that stays shut night after night the air stays wet, and seedlings damp off
 * or mould. Where a visit is made anyway, such a cover is propped at it, if that costs the plants
 * next to nothing; where none can, it is said. docs/plan.md.
 */
#include "plan/search.h"

#include <math.h>

#define DAMP_NIGHTS 2                  /* shut for so many running; common practice, no source */
#define AIRING_STEPS (1 * STEPS_PER_H) /* the shortest that changes the air; chosen */
#define WORTH 0.5                      /* batch-days that an airing may cost in all; chosen */
#define WORTH_LOSS 0.05                /* of them by frost: odds of a thousandth; chosen */

typedef struct Damp {
    Board *b;
    const Window *w;
    Schedule *schedule, *spare, *best;
    BatchResult *results;
    PlanValue base, best_value;
    bool found;
} Damp;

/* Solar midnights up to `utc`: nights that lie between two instants, by difference. */
static int64_t midnights(const Damp *d, int64_t utc)
{
    const double longitude = d->b->s->garden->sites[d->w->site].longitude;
    const double day = 24.0 * 3600.0;
    return (int64_t)floor(((double)utc + longitude / 360.0 * day) / day);
}

static int nights_between(const Damp *d, int64_t from_utc, int64_t to_utc)
{
    return (int)(midnights(d, to_utc) - midnights(d, from_utc));
}

/* A cover that somebody must lift: automatic openers and porous sheets air by themselves, indoors
 * the grower passes daily. */
static bool needs_airing(const Board *b, const Window *w, int place)
{
    const Place *p = board_place(b, place);
    return p->site == w->site && !p->indoors && p->covered && !p->cover.porous &&
           p->cover.n_positions > 1 && isnan(p->cover.opener_from_c);
}

/* Since when it has been shut over plants as segment `k` begins; 0 it is not. */
static int64_t shut_since(const Damp *d, int place, int k)
{
    const Schedule *s = d->schedule;
    int64_t since = d->b->shut_since[place];
    for (int i = 0; i <= k; i++) {
        if (s->positions[i][place] != 0 || !schedule_shelters(d->b, s, i, place))
            since = 0;
        else if (since == 0)
            since = board_utc(d->b, segment_start(d->w, s, i));
    }
    return since;
}

/* Propped at a visit, for `n` segments as long as it would be shut in them: is that harmless, and
 * the best so far? */
static bool try_airing(Damp *d, int place, int v, int position, int n)
{
    PlanValue value;
    schedule_copy(d->b, d->schedule, d->spare);
    for (int k = v + 1; k <= v + n && d->schedule->positions[k][place] == 0; k++)
        d->spare->positions[k][place] = position;
    if (!evaluate_exact(d->b, d->w, d->spare, d->results, NULL, &value))
        return false;
    if (value.broken > d->base.broken + 1e-9 || value.loss > d->base.loss + WORTH_LOSS ||
        value.number > d->base.number + WORTH ||
        (d->found && plan_value_compare(&value, &d->best_value) >= 0))
        return true;
    d->found = true;
    d->best_value = value;
    schedule_copy(d->b, d->spare, d->best);
    return true;
}

/* Until the next visit, and until the window's end. */
static bool try_visit(Damp *d, int place, int v)
{
    const Schedule *s = d->schedule;
    const int next = segment_end(d->w, s, v + 1), last = s->n_visits - v;
    for (int position = 1; position < board_place(d->b, place)->cover.n_positions; position++) {
        if (next - s->visit_step[v] >= AIRING_STEPS && !try_airing(d, place, v, position, 1))
            return false;
        if (last > 1 && !try_airing(d, place, v, position, last))
            return false;
    }
    return true;
}

/* The first batch that stands under the place in a segment; -1 none. */
static int batch_under(const Board *b, const Schedule *s, int segment, int place)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        for (int p = s->places[segment][i]; p >= 0; p = board_place(b, p)->parent) {
            if (p == place)
                return i;
        }
    }
    return -1;
}

/* The first time of each place is kept. `came`: somebody did, and it was no hour for airing. */
static void note_unaired(Damp *d, int place, int64_t since_utc, int64_t utc, bool came)
{
    const Board *b = d->b;
    Plan *plan = b->plan;
    const OutdoorStep *out = &b->s->sites[d->w->site].steps[board_step_at_or_after(b->s, utc)];
    for (int i = 0; i < plan->n_notes; i++) {
        if (plan->notes[i].limit == LIMIT_DAMP && plan->notes[i].place == place)
            return;
    }
    plan->notes[plan->n_notes++] =
        (Reason){.limit = LIMIT_DAMP,
                 .batch = batch_under(b, d->schedule, d->schedule->n_visits, place),
                 .place = place,
                 .at_utc = utc,
                 .predicted_c = nights_between(d, since_utc, utc),
                 .limit_c = DAMP_NIGHTS,
                 .spread_k = NAN,
                 .odds = NAN,
                 .otherwise_odds = NAN,
                 .otherwise_c = came ? out->air_c : NAN,
                 .estimated = out->estimated};
}

/* At the first visit that can, from the second morning on. */
static bool air_place(Damp *d, int place)
{
    Board *b = d->b;
    const Schedule *s = d->schedule;
    int64_t asked_utc = 0;
    for (int v = 0; v < s->n_visits; v++) {
        const int64_t visit_utc = board_utc(b, s->visit_step[v]), since = shut_since(d, place, v);
        if (since == 0 || nights_between(d, since, visit_utc) < DAMP_NIGHTS ||
            s->positions[v + 1][place] != 0 || schedule_jobs(b, d->w, s, v, NULL) == 0 ||
            !schedule_shelters(b, s, v + 1, place))
            continue;
        d->found = false;
        if (!try_visit(d, place, v))
            return false;
        if (d->found) {
            schedule_copy(b, d->best, d->schedule);
            d->base = d->best_value;
            return true;
        }
        asked_utc = asked_utc != 0 ? asked_utc : visit_utc;
    }
    const int64_t since = shut_since(d, place, s->n_visits), end_utc = board_utc(b, d->w->end);
    if (since != 0 && nights_between(d, since, end_utc) > DAMP_NIGHTS)
        note_unaired(d, place, since, asked_utc != 0 ? asked_utc : end_utc, asked_utc != 0);
    return true;
}

/* The visit at which the cover is lifted after too many nights, whoever asked for it. */
static void note_aired(Damp *d, int place)
{
    Airing *airing = &d->b->airings[place];
    const Schedule *s = d->schedule;
    *airing = (Airing){.visit = -1};
    for (int v = s->n_visits - 1; v >= 0; v--) {
        const int64_t since = shut_since(d, place, v);
        const int nights =
            since == 0 ? 0 : nights_between(d, since, board_utc(d->b, s->visit_step[v]));
        if (nights >= DAMP_NIGHTS && s->positions[v + 1][place] > 0)
            *airing = (Airing){.visit = v, .nights = nights};
    }
}

bool damp_open(Board *b)
{
    const int n = b->s->garden->n_places;
    b->shut_since = ARENA_NEW(b->arena, n, int64_t);
    b->airings = ARENA_NEW(b->arena, n, Airing);
    b->plan->notes = ARENA_NEW(b->arena, n + 3 * b->s->n_batches, Reason);
    if (b->arena->failed)
        return false;
    for (int p = 0; p < n; p++)
        b->shut_since[p] = b->s->shut_since != NULL ? b->s->shut_since[p] : 0;
    return true;
}

bool damp_window(Board *b, const Window *w, Schedule *schedule)
{
    Damp d = {.b = b,
              .w = w,
              .schedule = schedule,
              .spare = schedule_new(b, &b->stand),
              .best = schedule_new(b, &b->stand),
              .results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult)};
    if (b->arena->failed || !evaluate_exact(b, w, schedule, d.results, NULL, &d.base))
        return false;
    for (int p = 0; p < b->s->garden->n_places; p++) {
        b->airings[p].visit = -1;
        if (!needs_airing(b, w, p))
            continue;
        if (!air_place(&d, p))
            return false;
        note_aired(&d, p);
        b->shut_since[p] = shut_since(&d, p, schedule->n_visits);
    }
    return true;
}

/* Not where the day in the open is worth more than the work by itself. */
void damp_reason(const Decision *d, Job *job, int v)
{
    const Board *b = d->b;
    const Airing *airing = &b->airings[job->place];
    const Grower *grower = &b->s->garden->growers[d->schedule->grower[v]];
    double progress = 0.0;
    if (airing->visit != v || job->reason.limit != LIMIT_PROGRESS)
        return;
    for (int i = 0; i < b->s->n_batches; i++) {
        if (batch_is_here(b, d->w, d->schedule, i))
            progress += d->otherwise[i].delay - d->results[i].delay;
    }
    if (progress > b->s->weights.cover_min / grower->minutes_per_batch_day)
        return;
    job->reason = (Reason){.limit = LIMIT_DAMP,
                           .batch = batch_under(b, d->schedule, v, job->place),
                           .place = job->place,
                           .at_utc = board_utc(b, d->schedule->visit_step[v]),
                           .predicted_c = airing->nights,
                           .limit_c = DAMP_NIGHTS,
                           .spread_k = NAN,
                           .odds = NAN,
                           .otherwise_odds = NAN,
                           .otherwise_c = NAN};
}
