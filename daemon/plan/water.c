/* SPDX-License-Identifier: MIT */
/*
 * Watering. What a tray has lost since it was watered is carried from plan to plan and from window
 * to window; what the day takes on top of it says whether to water. docs/water.md.
 */
#include "climate/water.h"
#include "plan/marks.h"
#include "plan/search.h"

#include <math.h>

#define WATER_WINDOWS 2    /* of a site: further ahead the sun is a guess; chosen */
#define MORNING_SHARE 0.33 /* of what a tray holds, used in the day; chosen */
#define EVENING_SHARE 0.5  /* where nobody comes before noon: dry on the second day; chosen */
#define ASKED_SHARE 0.75   /* of these once it is published: no coming and going; chosen */
#define ABSENCE_STEPS (36 * STEPS_PER_H) /* a window so long has a day without anybody; chosen */
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

/* The plan's visit at a step of this site; -1 none. */
static int planned_visit(const Board *b, int site, int step)
{
    for (int i = 0; i < b->plan->n_visits; i++) {
        if (b->plan->visits[i].site == site &&
            board_step_at_or_after(b->s, b->plan->visits[i].start_utc) == step)
            return i;
    }
    return -1;
}

static int place_at(const Decision *d, int batch, int step)
{
    return d->schedule->places[segment_at(d->w, d->schedule, step)][batch];
}

/* Whether a job waters the batch as step `i` begins. */
static bool is_watered(const Decision *d, int batch, int i)
{
    const Board *b = d->b;
    const int visit = planned_visit(b, d->w->site, i);
    for (int j = 0; visit >= 0 && j < b->plan->n_jobs; j++) {
        const Job *job = &b->plan->jobs[j];
        if (job->kind == JOB_WATER && job->visit == visit && job->place == place_at(d, batch, i) &&
            (job->batch < 0 || job->batch == batch))
            return true;
    }
    return false;
}

/* What a batch has used by `to`, of which `used_mm` before `from`. Indoors it is watered daily as
 * the grower passes, and one that comes from elsewhere was watered for the way (chosen). */
static Thirst thirst_of(const Decision *d, int batch, int from, int to, double used_mm)
{
    const Board *b = d->b;
    const Schedule *s = d->schedule;
    const Container *pot = &b->s->garden->containers[b->s->batches[batch].container];
    const int since = b->stand.since[batch];
    Thirst t = {.batch = batch,
                .used_mm = since > d->w->first ? 0.0 : used_mm,
                .held_mm = water_held_mm(pot->volume_ml, pot->per_tray),
                .dry = -1};
    Segment here = {.to = from};
    for (int i = int_max(from, since); i < to; i++) {
        if (i >= here.to) {
            int k = segment_at(d->w, s, i), place = s->places[k][batch];
            Track track = d->tracks.of[k][b->chain_of[place]];
            if (board_site(b, place) != d->w->site || track.steps == NULL ||
                (s->planted_at[batch] >= 0 && k > s->planted_at[batch])) {
                t.used_mm = 0.0;
                break;
            }
            segment_fill(b, place, s->positions[k], track, i, segment_end(d->w, s, k), &here);
        }
        if (here.indoors || is_watered(d, batch, i))
            t.used_mm = 0.0;
        if (here.indoors || i >= here.track.first + here.track.n)
            continue;
        const PlaceStep *met = &here.track.steps[(i - here.track.first) * here.stride + here.layer];
        double rain = here.uncovered ? here.outdoor[i].precipitation_mm : 0.0;
        t.used_mm =
            fmax(0.0, t.used_mm + water_loss_mm(&here.outdoor[i], met, here.uncovered) - rain);
        t.used_mm = fmin(t.used_mm, t.held_mm);
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

/* The visit at which to water: the first before noon, else the last. -1 none. */
static int watering_visit(const Decision *d, bool *ret_morning)
{
    const Schedule *s = d->schedule;
    const Site *site = &d->b->s->garden->sites[d->w->site];
    *ret_morning = s->n_visits > 0 &&
                   marks_solar_hour(board_utc(d->b, s->visit_step[0]), site->longitude) < NOON_HOUR;
    return *ret_morning ? 0 : s->n_visits - 1;
}

static bool is_thirsty(const Decision *d, int batch, int v)
{
    const Schedule *s = d->schedule;
    return d->b->stand.stages[batch] < STAGE_PLANTED_OUT &&
           d->b->s->batches[batch].container >= 0 &&
           (s->planted_at[batch] < 0 || s->planted_at[batch] > v);
}

/* The thirstiest batch of a place after a visit; batch -1 where none stands there. `full`: from the
 * visit on, watered at it; else by what the window found. */
static Thirst thirstiest(const Decision *d, int place, int v, bool full)
{
    const Schedule *s = d->schedule;
    Thirst worst = {.batch = -1, .held_mm = 1.0, .dry = -1};
    for (int i = 0; i < d->b->s->n_batches; i++) {
        if (s->places[v + 1][i] != place || !is_thirsty(d, i, v))
            continue;
        Thirst t = thirst_of(d, i, full ? s->visit_step[v] : d->w->first, d->w->eval_end,
                             full ? 0.0 : d->b->stand.used_mm[i]);
        if (worst.batch < 0 || t.used_mm / t.held_mm > worst.used_mm / worst.held_mm)
            worst = t;
    }
    return worst;
}

/* Whether watering of the place is published for this window. */
static bool is_asked(const Decision *d, int place)
{
    const Snapshot *s = d->b->s;
    for (int j = 0; j < s->n_former_jobs; j++) {
        const Job *job = &s->former_jobs[j];
        if (job->kind != JOB_WATER || job->batch >= 0 || job->place != place || job->visit < 0 ||
            job->visit >= s->n_former)
            continue;
        const int64_t utc = s->former[job->visit].start_utc;
        if (utc >= board_utc(d->b, d->w->first) && utc < board_utc(d->b, d->w->end))
            return true;
    }
    return false;
}

static bool add_watering(Decision *d, const Thirst *t, int place, int step)
{
    const int visit = planned_visit(d->b, d->w->site, step);
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
    const Thirst t = thirstiest(d, place, v, false);
    const double share =
        (morning ? MORNING_SHARE : EVENING_SHARE) * (is_asked(d, place) ? ASKED_SHARE : 1.0);
    int again = s->n_visits - 1;
    if (t.batch < 0 || is_frozen(d, place, v) || t.used_mm < share * t.held_mm ||
        !add_watering(d, &t, place, s->visit_step[v]))
        return;
    const Thirst full = thirstiest(d, place, v, true);
    while (full.dry >= 0 && again > v && s->visit_step[again] > full.dry)
        again--;
    if (full.dry >= 0 && again > v) {
        const Thirst later = thirstiest(d, place, again, true);
        if (later.batch >= 0)
            (void)add_watering(d, &later, place, s->visit_step[again]);
    }
}

/* The batch of a place that is dry first in the window, as far as jobs water it; batch -1 none. */
static Thirst first_dry(const Decision *d, int place)
{
    Thirst first = {.batch = -1};
    for (int i = 0; i < d->b->s->n_batches; i++) {
        if (!is_thirsty(d, i, -1) || !batch_is_here(d->b, d->w, d->schedule, i))
            continue;
        const Thirst t = thirst_of(d, i, d->w->first, d->w->eval_end, d->b->stand.used_mm[i]);
        if (t.dry >= 0 && place_at(d, i, t.dry) == place && (first.batch < 0 || t.dry < first.dry))
            first = t;
    }
    return first;
}

static int visits_made(const Decision *d)
{
    int n = 0;
    for (int i = d->w->first; i < d->w->end; i++)
        n += planned_visit(d->b, d->w->site, i) >= 0;
    return n;
}

/* At a visit for water alone, where somebody can come before it is dry and has a visit left. */
static bool add_visit(Decision *d, int place, const Thirst *t)
{
    Board *b = d->b;
    const Window *w = d->w;
    for (int i = 0; i < w->n_slots; i++) {
        const Slot *slot = &w->slots[i];
        const bool is_made = planned_visit(b, w->site, slot->step) >= 0;
        if (slot->step >= t->dry || board_utc(b, slot->step) < b->s->now_utc ||
            !grower_can_be(b, w->site, slot->grower, slot->step) ||
            (!is_made && (visits_made(d) >= w->cap || b->plan->n_visits == b->visits_size)))
            continue;
        if (!is_made)
            b->plan->visits[b->plan->n_visits++] =
                (Visit){.grower = slot->grower,
                        .site = w->site,
                        .start_utc = board_utc(b, slot->step),
                        .helped = slot->helped,
                        .minutes = board_visit_min(b, w->site) + b->s->weights.cover_min,
                        .first_job = b->plan->n_jobs};
        return add_watering(d, t, place, slot->step);
    }
    return false;
}

/* Dry before anybody waters it: somebody must go, or they stand in water. One for each place. */
static void cry_out_dry(Decision *d, int place)
{
    Thirst first = first_dry(d, place);
    if (first.batch >= 0 && add_visit(d, place, &first))
        first = first_dry(d, place);
    Job *job = first.batch < 0 ? NULL : job_add(d->b, -1);
    if (job == NULL)
        return;
    job->kind = JOB_RESCUE;
    job->batch = first.batch;
    job->place = place;
    job->urgent = true;
    job->deadline_utc = board_utc(d->b, int_max(first.dry, 1));
    give_reason(d, &first, place, first.dry, &job->reason);
}

/* Days without anybody, further ahead: those that full trays do not outlast are named. */
static void note_absence(Decision *d)
{
    Plan *plan = d->b->plan;
    const Window *w = d->w;
    for (int i = 0; w->end - w->first >= ABSENCE_STEPS && i < d->b->s->n_batches; i++) {
        bool told = !is_thirsty(d, i, -1) || !batch_is_here(d->b, w, d->schedule, i);
        for (int n = 0; n < plan->n_notes; n++)
            told = told || (plan->notes[n].limit == LIMIT_WATER && plan->notes[n].batch == i);
        if (told)
            continue;
        const Thirst t = thirst_of(d, i, w->first, w->end, 0.0);
        if (t.dry >= 0)
            give_reason(d, &t, place_at(d, i, t.dry), t.dry, &plan->notes[plan->n_notes++]);
    }
}

/* What each batch has used as the next window begins. */
static void carry(Decision *d, bool near)
{
    double *used_mm = d->b->stand.used_mm;
    for (int i = 0; i < d->b->s->n_batches; i++) {
        if (!batch_is_here(d->b, d->w, d->schedule, i))
            continue;
        used_mm[i] = near && is_thirsty(d, i, -1)
                         ? thirst_of(d, i, d->w->first, d->w->end, used_mm[i]).used_mm
                         : 0.0;
    }
}

void water_jobs(Decision *d)
{
    const bool near = d->w->ordinal < WATER_WINDOWS;
    bool morning = false;
    const int v = watering_visit(d, &morning);
    for (int p = 0; near && p < d->b->s->garden->n_places; p++) {
        if (board_site(d->b, p) != d->w->site || board_place(d->b, p)->indoors)
            continue;
        if (v >= 0)
            water_place(d, p, v, morning);
        cry_out_dry(d, p);
    }
    if (!near)
        note_absence(d);
    carry(d, near);
}
