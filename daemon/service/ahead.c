/* SPDX-License-Identifier: MIT */
#include "service/ahead.h"

#include <math.h>

#include "base/local-time.h"
#include "odds/odds.h"
#include "ramp/ramp.h"

typedef struct Walk {
    const Snapshot *snapshot;
    GTimeZone *const *zones;
    const Plan *plan;
    Batch *batches;     /* (owned) moved on from the snapshot's, as the next two */
    ChainState *states; /* (owned) */
    int *positions;     /* (owned) */
    GPtrArray *days;    /* (owned) the result */
    AheadDay *open;     /* (owned) per batch, the day that is under way */
    double *margin;     /* (owned) per batch: spreads to damage, the least of that day */
    bool *checked;      /* (owned) asked for by plan_advance() */
    PastDay *ended;     /* (owned) room for one a batch */
} Walk;

static Batch *batch_at(const Walk *w, guint i)
{
    return &w->batches[i];
}

/* What has been of the ramp day that is under way. */
static double low_so_far(const RampState *ramp)
{
    double low_c = INFINITY;

    for (int i = 0; i < ramp->day_steps; i++)
        low_c = fmin(low_c, ramp->day_air_c[i]);
    return low_c;
}

/* At `utc`; the first one may be under way. */
static void begin_day(Walk *w, guint i, int64_t utc, bool first)
{
    const Batch *batch = batch_at(w, i);
    const Garden *garden = w->snapshot->garden;
    const Crop *crop = &garden->crops[batch->crop];
    const int site = batch->place >= 0 ? garden->places[batch->place].site : 0;
    /* by when it began, which may be yesterday morning */
    const int64_t from_utc = batch->ramp.day_steps > 0 ? batch->ramp.day_start_utc : utc;

    w->margin[i] = INFINITY;
    w->open[i] = (AheadDay){.day = local_day(w->zones[site], from_utc),
                            .end_utc = utc,
                            .place = batch->place,
                            .low_c = first ? low_so_far(&batch->ramp) : INFINITY,
                            .cold_c = NAN,
                            .leaf_low_c = NAN,
                            .spread_k = NAN,
                            .exposed_h = fmax(batch->ramp.exposed_h, 0.0),
                            .allowance_h = ramp_allowance_h(&batch->ramp),
                            .allowed_c = ramp_allowed_low_c(crop, &batch->ramp),
                            .hardened_to_c = batch->ramp.hardened_to_c,
                            .damage_c = ramp_damage_c(crop, &batch->ramp),
                            .damage_odds = NAN};
}

/* `ended` (nullable): as it was closed; without it the plan ends first. */
static void end_day(Walk *w, guint i, const PastDay *ended)
{
    AheadDay *day = &w->open[i];
    const RampState *ramp = &batch_at(w, i)->ramp;

    if (!isfinite(day->low_c))
        return; /* no place, so nothing is known of it */
    day->closed = ended != NULL;
    if (ended != NULL &&
        day->place >= 0) /* one that was told before sunrise is of the day before */
        day->day =
            local_day(w->zones[w->snapshot->garden->places[day->place].site], ended->end_utc) - 1;
    day->place = batch_at(w, i)->place;
    day->hardened_to_c = ramp->hardened_to_c;
    day->cold_c = ended != NULL
                      ? ended->cold_c
                      : ramp_cold_c(ramp->day_air_c, ramp->day_steps, ramp->hardened_to_c);
    day->check = ended != NULL && ended->check;
    if (isfinite(w->margin[i]))
        day->damage_odds = odds_of_margin(w->margin[i]);
    g_array_append_val((GArray *)w->days->pdata[i], *day);
}

/* What the half-hour before `utc` was for a batch. */
static void add_step(Walk *w, guint i, int step, int64_t utc)
{
    const Plan *plan = w->plan;
    const Batch *batch = batch_at(w, i);
    const RampState *ramp = &batch->ramp;
    AheadDay *day = &w->open[i];

    if (batch->place < 0 || ramp->day_steps == 0)
        return;
    const CourseStep *course = &plan->course[(ptrdiff_t)batch->place * plan->n_steps + step];
    const OutdoorStep *outdoor =
        &w->snapshot->sites[w->snapshot->garden->places[batch->place].site].steps[step];
    const double air_c = ramp->day_air_c[ramp->day_steps - 1];
    day->end_utc = utc;
    day->exposed_h = fmax(ramp->exposed_h, 0.0);
    if (air_c < day->low_c) {
        day->low_c = air_c;
        day->low_utc = utc;
        day->spread_k = isfinite(course->air_c) ? course->spread_k : NAN;
        day->estimated = outdoor->estimated & EST_TEMPERATURE;
    }
    if (!isfinite(course->leaf_c) || w->snapshot->garden->places[batch->place].indoors)
        return;
    const double damage_c = ramp_damage_c(&w->snapshot->garden->crops[batch->crop], ramp),
                 margin = odds_margin(course->leaf_c, course->spread_k, damage_c);
    day->leaf_low_c = fmin(day->leaf_low_c, course->leaf_c); /* fmin passes over NAN */
    if (margin < w->margin[i]) {
        w->margin[i] = margin;
        day->damage_c = damage_c;
        day->worst_utc = utc;
    }
}

/* Batches are carried at the visit's half-hour, covers stand as the course says. */
static void apply_plan(Walk *w, int step, int64_t utc)
{
    const Plan *plan = w->plan;

    for (int p = 0; p < w->snapshot->garden->n_places; p++) {
        const int position = plan->course[(ptrdiff_t)p * plan->n_steps + step].position;
        if (position >= 0)
            w->positions[p] = position;
    }
    for (int j = 0; j < plan->n_jobs; j++) {
        const Job *job = &plan->jobs[j];
        const bool carries =
            job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT;
        if (!carries || job->visit < 0 || job->batch < 0 || job->place < 0 ||
            plan->visits[job->visit].start_utc / STEP_S != utc / STEP_S)
            continue;
        Batch *batch = batch_at(w, (guint)job->batch);
        batch->place = job->place;
        if (job->kind == JOB_PLANT_OUT)
            batch->stage = STAGE_PLANTED_OUT;
    }
}

/* Gives the number of ramp days that ended at its start. */
static int advance(Walk *w, int step, int64_t utc)
{
    const Snapshot *s = w->snapshot;
    int n_ended = 0;

    for (int site = 0; site < s->garden->n_sites; site++) {
        SiteOutlook outlook = s->sites[site];
        outlook.steps += step;
        PlanPast past = {.garden = s->garden,
                         .site = site,
                         .n = 1,
                         .start_utc = utc,
                         .outlook = &outlook,
                         .chains = s->chains,
                         .n_chains = s->n_chains,
                         .positions = w->positions,
                         .n_batches = s->n_batches,
                         .cover_errors = s->cover_errors,
                         .days = w->ended,
                         .days_size = s->n_batches,
                         .n_days = &n_ended};
        plan_advance(&past, w->states, w->batches, w->checked);
    }
    return n_ended;
}

static void walk(Walk *w)
{
    const Plan *plan = w->plan;
    const int64_t start_utc = w->snapshot->start_utc;
    const guint n = w->days->len;

    for (guint i = 0; i < n; i++)
        begin_day(w, i, start_utc, true);
    for (int step = 0; step < plan->n_steps; step++) {
        const int64_t utc = start_utc + (int64_t)step * STEP_S;
        apply_plan(w, step, utc);
        const int n_ended = advance(w, step, utc);
        for (int k = 0; k < n_ended; k++) {
            const guint i = (guint)w->ended[k].batch;
            end_day(w, i, &w->ended[k]);
            begin_day(w, i, utc, false);
        }
        for (guint i = 0; i < n; i++)
            add_step(w, i, step, utc + STEP_S);
    }
    for (guint i = 0; i < n; i++)
        end_day(w, i, NULL);
}

GPtrArray *ahead_none(guint n_batches)
{
    GPtrArray *days = g_ptr_array_new_with_free_func((GDestroyNotify)g_array_unref);

    for (guint i = 0; i < n_batches; i++)
        g_ptr_array_add(days, g_array_new(FALSE, FALSE, sizeof(AheadDay)));
    return days;
}

GPtrArray *ahead_new(const Snapshot *s, GTimeZone *const *zones, const Plan *plan)
{
    const gsize n = (gsize)s->n_batches, n_places = (gsize)s->garden->n_places;
    Walk w = {.snapshot = s,
              .zones = zones,
              .plan = plan,
              .batches = g_memdup2(s->batches, n * sizeof *s->batches),
              .states = g_memdup2(s->states, (gsize)s->n_chains * sizeof *s->states),
              .positions = g_memdup2(s->positions, n_places * sizeof *s->positions),
              .days = ahead_none((guint)n),
              .open = g_new0(AheadDay, n + 1),
              .margin = g_new0(double, n + 1),
              .checked = g_new0(bool, n + 1),
              .ended = g_new0(PastDay, n + 1)};

    walk(&w);
    g_free(w.batches);
    g_free(w.states);
    g_free(w.positions);
    g_free(w.open);
    g_free(w.margin);
    g_free(w.checked);
    g_free(w.ended);
    return w.days;
}
