/* SPDX-License-Identifier: MIT */
/*
 * Watering. Nobody tells the service of every can, so a tray is taken as full where the hands were
 * last; what a day takes out of it says whether to water. docs/water.md.
 */
#include "climate/water.h"
#include "plan/marks.h"
#include "plan/search.h"

#include <math.h>

#define WATER_WINDOWS 2    /* of a site: further ahead the sun is a guess; chosen */
#define MORNING_SHARE 0.33 /* of what a tray holds, used in the day; chosen */
#define EVENING_SHARE 0.5  /* where nobody comes before noon: dry on the second day; chosen */
#define NOON_HOUR 12.0

typedef struct Thirst {
    int batch;
    double used_mm, held_mm;
    int dry; /* the step at whose end nothing is left, -1 none */
} Thirst;

static int segment_at(const Window *w, const Schedule *s, int step)
{
    int k = 0;
    while (k < s->n_visits && step >= segment_end(w, s, k))
        k++;
    return k;
}

/* What a batch uses of a full tray from `from` to the window's end. Indoors it is watered daily as
 * the grower passes: nothing is counted. */
static Thirst thirst_of(const Decision *d, int batch, int from)
{
    const Board *b = d->b;
    const Schedule *s = d->schedule;
    const Container *pot = &b->s->garden->containers[b->s->batches[batch].container];
    Thirst t = {.batch = batch, .held_mm = water_held_mm(pot->volume_ml, pot->per_tray), .dry = -1};
    Segment here = {.to = from};
    for (int i = int_max(from, b->stand.since[batch]); i < d->w->eval_end; i++) {
        if (i >= here.to) {
            int k = segment_at(d->w, s, i), place = s->places[k][batch];
            Track track = d->tracks.of[k][b->chain_of[place]];
            if (board_site(b, place) != d->w->site || track.steps == NULL ||
                (s->planted_at[batch] >= 0 && k > s->planted_at[batch]))
                break;
            segment_fill(b, place, s->positions[k], track, i, segment_end(d->w, s, k), &here);
        }
        if (here.indoors || i >= here.track.first + here.track.n)
            continue;
        const PlaceStep *met = &here.track.steps[(i - here.track.first) * here.stride + here.layer];
        double rain = here.uncovered ? here.outdoor[i].precipitation_mm : 0.0;
        t.used_mm =
            fmax(0.0, t.used_mm + water_loss_mm(&here.outdoor[i], met, here.uncovered) - rain);
        if (t.dry < 0 && t.used_mm >= t.held_mm)
            t.dry = i;
    }
    return t;
}

static void give_reason(const Decision *d, const Thirst *t, int place, int step, Reason *ret)
{
    const Board *b = d->b;
    *ret = (Reason){.limit = LIMIT_WATER,
                    .batch = t->batch,
                    .place = place,
                    .at_utc = board_utc(b, step),
                    .predicted_c = water_litres(t->used_mm),
                    .limit_c = water_litres(t->held_mm),
                    .spread_k = NAN,
                    .odds = NAN,
                    .otherwise_odds = NAN,
                    .otherwise_c = NAN,
                    .estimated =
                        b->s->sites[d->w->site].steps[int_min(step, b->s->n_steps)].estimated};
}

/* The plan's visit at a step of this site; -1 none. */
static int planned_visit(const Board *b, int site, int step)
{
    for (int i = 0; i < b->plan->n_visits; i++) {
        if (b->plan->visits[i].site == site && b->plan->visits[i].start_utc == board_utc(b, step))
            return i;
    }
    return -1;
}

/* The visit at which to water: the first before noon, else the last. -1 none. */
static int watering_visit(const Decision *d, bool *ret_morning)
{
    const Schedule *s = d->schedule;
    const Site *site = &d->b->s->garden->sites[d->w->site];
    *ret_morning = s->n_visits > 0 &&
                   marks_solar_hour(board_utc(d->b, s->visit_step[0]), site->longitude) < NOON_HOUR;
    return *ret_morning ? 0 : s->n_visits - 1;
}

/* The thirstiest batch of a place after a visit; batch -1 where none stands there. */
static Thirst thirstiest(const Decision *d, int place, int v)
{
    const Schedule *s = d->schedule;
    Thirst worst = {.batch = -1, .held_mm = 1.0, .dry = -1};
    for (int i = 0; i < d->b->s->n_batches; i++) {
        if (s->places[v + 1][i] != place || d->b->stand.stages[i] >= STAGE_PLANTED_OUT ||
            (s->planted_at[i] >= 0 && s->planted_at[i] <= v))
            continue;
        Thirst t = thirst_of(d, i, v < 0 ? d->w->first : s->visit_step[v]);
        if (worst.batch < 0 || t.used_mm / t.held_mm > worst.used_mm / worst.held_mm)
            worst = t;
    }
    return worst;
}

static bool add_watering(Decision *d, const Thirst *t, int place, int v)
{
    const int step = d->schedule->visit_step[v], visit = planned_visit(d->b, d->w->site, step);
    Job *job = visit < 0 ? NULL : job_add(d->b, visit);
    if (job == NULL)
        return false;
    job->kind = JOB_WATER;
    job->place = place;
    give_reason(d, t, place, step, &job->reason);
    return true;
}

/* Frozen as the grower comes: nothing is touched, nor watered, and it loses nothing. */
static bool is_frozen(const Decision *d, int place, int v)
{
    const Board *b = d->b;
    const int chain = b->chain_of[place], before = d->schedule->visit_step[v] - 1;
    const Track track = d->tracks.of[v][chain];
    return track.steps != NULL && before >= track.first && before < track.first + track.n &&
           track.steps[(before - track.first) * b->s->chains[chain].n + b->layer_of[place]]
                   .leaf_c <= FROZEN_C;
}

/* At the morning's visit; a second time at the last visit before it would be dry again. */
static void water_place(Decision *d, int place, int v, bool morning)
{
    const Schedule *s = d->schedule;
    const Thirst t = thirstiest(d, place, v);
    int again = s->n_visits - 1;
    if (t.batch < 0 || is_frozen(d, place, v))
        return;
    /* In the evening the day to come is told by the one that ends. */
    const Thirst day = morning ? t : thirst_of(d, t.batch, d->w->first);
    if (day.used_mm < (morning ? MORNING_SHARE : EVENING_SHARE) * day.held_mm ||
        !add_watering(d, &day, place, v) || t.dry < 0)
        return;
    while (again > v && s->visit_step[again] > t.dry)
        again--;
    const Thirst later = again > v ? thirstiest(d, place, again) : t;
    if (again > v && later.batch >= 0)
        (void)add_watering(d, &later, place, again);
}

/* Dry before anybody comes again, full as they were left: somebody must go, or they stand in
 * water. */
static void cry_out_dry(Decision *d, int place)
{
    const Schedule *s = d->schedule;
    for (int v = -1; v < s->n_visits; v++) {
        const int until = v + 1 < s->n_visits ? s->visit_step[v + 1] : d->w->eval_end;
        const Thirst t = thirstiest(d, place, v);
        if (t.batch < 0 || t.dry < 0 || t.dry >= until)
            continue;
        Job *job = job_add(d->b, -1);
        if (job == NULL)
            return;
        job->kind = JOB_RESCUE;
        job->batch = t.batch;
        job->place = place;
        job->urgent = true;
        job->deadline_utc = board_utc(d->b, t.dry);
        give_reason(d, &t, place, t.dry, &job->reason);
        return;
    }
}

void water_jobs(Decision *d)
{
    bool morning = false;
    const int v = watering_visit(d, &morning);
    if (d->w->ordinal >= WATER_WINDOWS)
        return;
    for (int p = 0; p < d->b->s->garden->n_places; p++) {
        if (board_site(d->b, p) != d->w->site || board_place(d->b, p)->indoors)
            continue;
        if (v >= 0)
            water_place(d, p, v, morning);
        cry_out_dry(d, p);
    }
}
