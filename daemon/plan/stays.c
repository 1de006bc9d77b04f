/* SPDX-License-Identifier: MIT */
/*
 * Why a batch that is fit to go on stays where it is: the limit that refused the offer that came
 * nearest to being taken, in the first window in which somebody could carry it. It is kept with the
 * batch's outlook: its place is the one that was offered, its time the night that is too cold.
 */
#include "plan/stays.h"

#include <math.h>

#define SOON_S (36 * 3600) /* what goes by then does not stay; chosen */
#define NEAR_WINDOWS 2     /* of a site: what is further ahead is looked at when it comes; chosen */
#define COLD_NIGHTS 3      /* as many as a batch brought from elsewhere must have safe; chosen */

Reason stay_reason(const Board *b, const Window *w, LimitKind limit, int batch, int place, int step)
{
    const Finding none = {
        .step = step, .place = place, .value = NAN, .limit = NAN, .spread = NAN, .odds = NAN};
    return reason_of_finding(b, w, limit, batch, &none);
}

void stay_refused(Stay *stay, StayCheck check, double over, const Reason *reason)
{
    if (check < stay->check || (check == stay->check && !(over < stay->over)))
        return;
    *stay = (Stay){.check = check, .over = over, .reason = *reason};
}

bool stay_limit(const Board *b, const Window *w, int batch, const BatchResult *here,
                const BatchResult *there, Reason *ret)
{
    const struct {
        LimitKind limit;
        const Finding *here, *there;
    } rows[] = {{LIMIT_DAMAGE, &here->damage, &there->damage},
                {LIMIT_CHECK, &here->check, &there->check},
                {LIMIT_CHILL, &here->chill, &there->chill},
                {LIMIT_HEAT, &here->heat, &there->heat},
                {LIMIT_GUST, &here->gust, &there->gust},
                {LIMIT_SCORCH, &here->scorch, &there->scorch},
                {LIMIT_EXPOSURE, &here->open_night, &there->open_night},
                {LIMIT_SETTLING, &here->settling, &there->settling}};
    double most = 1e-9;
    bool found = false;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const double more = rows[i].here->harm - rows[i].there->harm;
        if (!(more > most))
            continue;
        most = more;
        found = true;
        *ret = reason_of_finding(b, w, rows[i].limit, batch, rows[i].here);
    }
    return found;
}

void stays_note(Board *b, int batch, const Stay *stay)
{
    Reason *kept = &b->plan->outlooks[batch].stays;
    if (stay->check == STAY_UNASKED)
        return;
    if (kept->limit == LIMIT_NONE ||
        (kept->limit == LIMIT_NO_VISIT && stay->reason.limit != LIMIT_NO_VISIT)) {
        *kept = stay->reason;
        kept->batch = batch;
    }
}

void stays_with(Board *b, int batch, int leader)
{
    const Reason *reason = &b->plan->outlooks[leader].stays;
    const Stay stay = {.check = STAY_GAIN, .reason = *reason};
    if (reason->limit != LIMIT_NONE)
        stays_note(b, batch, &stay);
}

/* ---- within a site ---- */

typedef struct Within {
    Decision *d;
    Window nights;
    int *shut;    /* positions per place, all closed */
    Track *track; /* per chain, all shut, when first asked for */
} Within;

/* Whether it could harden, and is kept in the building from the window's first step to its last. */
static bool is_kept_in(const Decision *d, int batch)
{
    const Board *b = d->b;
    const Schedule *s = d->schedule;
    bool kept = board_is_hardening(b, batch, d->w->first) &&
                b->stand.stages[batch] < STAGE_PLANTED_OUT &&
                b->s->batches[batch].settled_utc <= board_utc(b, d->w->first);
    for (int k = 0; kept && k <= s->n_visits; k++) {
        kept = board_site(b, s->places[k][batch]) == d->w->site &&
               board_place(b, s->places[k][batch])->indoors;
    }
    return kept;
}

/* The cold of a place with every cover of its chain shut: the most that could be done for it. */
static void ask_shut(Within *q, int batch, int place, Stay *stay)
{
    Decision *d = q->d;
    Board *b = d->b;
    const int chain = b->chain_of[place];
    const Risk *risk = &b->s->garden->risk;
    const BatchStart start = {.ramp = b->stand.ramps[batch],
                              .stage = b->stand.stages[batch],
                              .chill_left_h = b->stand.chill_left_h[batch]};
    BatchResult there;
    Segment segment;
    if (q->track[chain].steps == NULL) {
        TrackCourse course = track_course_fixed(b, chain, q->shut);
        q->track[chain] = track_run(b, chain, &q->nights, &b->stand.chains[chain], &course, NULL);
        if (q->track[chain].steps == NULL)
            return;
    }
    segment_fill(b, place, q->shut, q->track[chain], q->nights.first, q->nights.end, &segment);
    walk_batch(b, &q->nights, batch, &start, &segment, 1, &there);
    const bool harms = there.damage.odds > risk->damage, checks = there.check_share > risk->check;
    if (!harms && !checks)
        return;
    const Reason reason = reason_of_finding(b, d->w, harms ? LIMIT_DAMAGE : LIMIT_CHECK, batch,
                                            harms ? &there.damage : &there.check);
    stay_refused(stay, STAY_SAFE_SHUT, harms ? 1.0 + there.damage.odds : 0.0, &reason);
}

/* Every place outdoors is too cold; where one is not, the search had another reason. */
static bool is_too_cold_out(Within *q, int batch, Stay *stay)
{
    const Board *b = q->d->b;
    int asked = 0, refused = 0;
    for (int p = 0; p < b->s->garden->n_places; p++) {
        const Place *place = board_place(b, p);
        if (place->site != q->d->w->site || place->indoors || !place_takes_trays(b, p) ||
            (place->trays >= 0 && place->trays < b->s->batches[batch].trays))
            continue;
        Stay one = {.check = STAY_UNASKED};
        ask_shut(q, batch, p, &one);
        asked++;
        refused += one.check != STAY_UNASKED;
        if (one.check != STAY_UNASKED)
            stay_refused(stay, one.check, one.over, &one.reason);
    }
    return asked > 0 && refused == asked;
}

bool stays_within(Decision *d)
{
    Board *b = d->b;
    Within q = {.d = d, .nights = *d->w};
    const size_t keep = b->arena->used;
    q.nights.end = q.nights.eval_end =
        int_min(d->w->first + COLD_NIGHTS * 24 * STEPS_PER_H, b->s->n_steps);
    q.nights.joins = false;
    /* With two visits it could go out by day alone, and the night is not what keeps it. */
    if (d->w->ordinal >= NEAR_WINDOWS || d->w->n_slots == 0 ||
        (d->w->n_slots > 1 && d->w->cap > 1))
        return true;
    q.shut = ARENA_NEW(b->arena, b->s->garden->n_places, int);
    q.track = ARENA_NEW(b->arena, b->s->n_chains, Track);
    if (b->arena->failed)
        return false;
    for (int i = 0; i < b->s->n_batches; i++) {
        const int leader = b->leader[i];
        Stay stay = {.check = STAY_UNASKED};
        if (b->plan->outlooks[i].stays.limit != LIMIT_NONE || !is_kept_in(d, i))
            continue;
        if (leader < i && is_kept_in(d, leader))
            stays_with(b, i, leader);
        else if (is_too_cold_out(&q, i, &stay))
            stays_note(b, i, &stay);
    }
    if (!b->arena->failed)
        b->arena->used = keep;
    return !b->arena->failed;
}

/* ---- the whole plan ---- */

/* Whether it leaves for where it was refused, or the building, before long. */
static bool goes_soon(const Board *b, int batch)
{
    const Plan *plan = b->plan;
    for (int j = 0; j < plan->n_jobs; j++) {
        const Job *job = &plan->jobs[j];
        const bool carries =
            job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT;
        if (carries && job->visit >= 0 && job->batch == batch &&
            !board_place(b, job->place)->indoors &&
            plan->visits[job->visit].start_utc <= b->s->now_utc + SOON_S)
            return true;
    }
    return false;
}

void stays_settle(Board *b)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        Reason *stays = &b->plan->outlooks[i].stays;
        const Batch *batch = &b->s->batches[i];
        const Stage stage = b->start.stages[i];
        const bool fit = stage >= STAGE_HARDENING || b->hardens_from[i] == 0;
        if (!fit || stage >= STAGE_PLANTED_OUT || batch->settled_utc > b->s->now_utc ||
            (stays->limit != LIMIT_NONE && goes_soon(b, i)))
            stays->limit = LIMIT_NONE;
    }
}
