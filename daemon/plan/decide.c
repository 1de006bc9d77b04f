/* SPDX-License-Identifier: MIT */
/*
 * A window's schedule becomes visits, jobs and reasons, and everything is moved on to the window's
 * end. The reason of a job is what would come about without it: the same window is evaluated once
 * more, that one change left out.
 */
#include "plan/search.h"
#include "plan/stays.h"

#include <math.h>

Job *job_add(Board *b, int visit)
{
    if (b->plan->n_jobs == b->jobs_size) {
        b->arena->failed = 1;
        return NULL;
    }
    Job *job = &b->plan->jobs[b->plan->n_jobs++];
    *job = (Job){.visit = visit,
                 .batch = -1,
                 .place = -1,
                 .from_place = -1,
                 .position = -1,
                 .from_position = -1};
    job->reason = (Reason){.batch = -1,
                           .place = -1,
                           .odds = NAN,
                           .otherwise_odds = NAN,
                           .predicted_c = NAN,
                           .limit_c = NAN,
                           .otherwise_c = NAN,
                           .spread_k = NAN};
    return job;
}

static bool otherwise(Decision *d, int visit)
{
    PlanValue value;
    d->b->crossing_from = d->schedule->visit_step[visit] + 1;
    bool ok = evaluate_exact(d->b, d->w, d->spare, d->otherwise, NULL, &value);
    d->b->crossing_from = 0;
    return ok;
}

static bool without_cover(Decision *d, int visit, int place)
{
    schedule_copy(d->b, d->schedule, d->spare);
    int after = d->schedule->positions[visit + 1][place];
    for (int k = visit + 1; k <= d->schedule->n_visits && d->schedule->positions[k][place] == after;
         k++)
        d->spare->positions[k][place] = d->schedule->positions[visit][place];
    return otherwise(d, visit);
}

static bool without_move(Decision *d, int visit, int batch)
{
    int before = d->schedule->places[visit][batch], after = d->schedule->places[visit + 1][batch];
    schedule_copy(d->b, d->schedule, d->spare);
    if (board_site(d->b, before) != d->w->site) {
        memcpy(d->otherwise, d->results, (size_t)d->b->s->n_batches * sizeof *d->otherwise);
        return true;
    }
    d->spare->planted_at[batch] = -1;
    for (int k = visit + 1; k <= d->schedule->n_visits && d->schedule->places[k][batch] == after;
         k++)
        d->spare->places[k][batch] = before;
    return otherwise(d, visit);
}

/* Planted in open ground, and a fleece laid over it at once: a job by itself. */
static bool add_sheet(Decision *d, int visit, int v, int batch)
{
    Board *b = d->b;
    const int bed = b->s->batches[batch].destination, sheet = d->schedule->places[v + 1][batch];
    Job *job = job_add(b, visit);
    if (job == NULL)
        return false;
    schedule_copy(b, d->schedule, d->spare);
    for (int k = v + 1; k <= d->schedule->n_visits && d->schedule->places[k][batch] == sheet; k++)
        d->spare->places[k][batch] = bed;
    if (!otherwise(d, v))
        return false;
    job->kind = JOB_MOVE;
    job->batch = batch;
    job->from_place = bed;
    job->place = sheet;
    reason_give(d, job, d->schedule->visit_step[v], batch);
    return true;
}

static bool add_move(Decision *d, int visit, int v, int batch)
{
    Board *b = d->b;
    int from = d->schedule->places[v][batch], to = d->schedule->places[v + 1][batch];
    Job *job = job_add(b, visit);
    if (job == NULL || !without_move(d, v, batch))
        return false;
    bool planting =
        d->schedule->planted_at[batch] == v && board_place(b, to)->kind != PLACE_STANDING;
    job->kind = planting                                   ? JOB_PLANT_OUT
                : board_site(b, from) != board_site(b, to) ? JOB_TRANSFER
                                                           : JOB_MOVE;
    job->batch = batch;
    job->from_place = from;
    job->place = planting ? b->s->batches[batch].destination : to;
    reason_give(d, job, d->schedule->visit_step[v], batch);
    daylight_reason(d, job);
    return !planting || job->place == to || add_sheet(d, visit, v, batch);
}

static bool add_cover(Decision *d, int visit, int v, int place)
{
    Job *job = job_add(d->b, visit);
    if (job == NULL || !without_cover(d, v, place))
        return false;
    job->kind = JOB_SET_COVER;
    job->place = place;
    job->position = d->schedule->positions[v + 1][place];
    job->from_position = d->schedule->positions[v][place];
    job->reason.place = place;
    reason_give(d, job, d->schedule->visit_step[v], -1);
    damp_reason(d, job, v);
    return true;
}

/* Batches first, then covers: outer before inner where they are opened, inner before outer where
 * shut. */
static bool add_jobs(Decision *d, int visit, int v)
{
    const Schedule *s = d->schedule;
    int n_places = d->b->s->garden->n_places;
    for (int i = 0; i < d->b->s->n_batches; i++) {
        bool moved = s->places[v][i] != s->places[v + 1][i] || s->planted_at[i] == v;
        if (moved && !add_move(d, visit, v, i))
            return false;
    }
    for (int p = 0; p < n_places; p++) {
        if (board_site(d->b, p) == d->w->site && s->positions[v + 1][p] > s->positions[v][p] &&
            !add_cover(d, visit, v, p))
            return false;
    }
    for (int p = n_places - 1; p >= 0; p--) {
        if (board_site(d->b, p) == d->w->site && s->positions[v + 1][p] < s->positions[v][p] &&
            !add_cover(d, visit, v, p))
            return false;
    }
    return true;
}

static bool add_visits(Decision *d)
{
    Board *b = d->b;
    int made = 0;
    for (int v = 0; v < d->schedule->n_visits; v++) {
        double minutes;
        const Slot *fixed = window_fixed(d->w, d->schedule->grower[v], d->schedule->visit_step[v]);
        if (schedule_jobs(b, d->w, d->schedule, v, &minutes) == 0 && fixed == NULL)
            continue;
        if (b->plan->n_visits == b->visits_size)
            return false;
        int index = b->plan->n_visits++;
        Visit *visit = &b->plan->visits[index];
        *visit = (Visit){
            .grower = d->schedule->grower[v],
            .site = d->w->site,
            .start_utc =
                fixed != NULL ? fixed->fixed_utc : board_utc(b, d->schedule->visit_step[v]),
            .fixed = fixed != NULL,
            .minutes = minutes,
            .first_job = b->plan->n_jobs,
            .beyond_cap = ++made > d->w->cap,
            .helped = window_is_helped(d->w, d->schedule->grower[v], d->schedule->visit_step[v])};
        if (!add_jobs(d, index, v))
            return false;
        visit->n_jobs = b->plan->n_jobs - visit->first_job;
    }
    return true;
}

bool decide_open(Board *b, const Window *w)
{
    for (int c = 0; c < b->s->n_chains; c++) {
        if (board_site(b, b->s->chains[c].layers[0].place) == w->site)
            b->hold[c] = ARENA_NEW(
                b->arena, (size_t)(w->eval_end - w->first) * (size_t)b->s->chains[c].n, PlaceStep);
    }
    return !b->arena->failed && tracks_open(b);
}

/* The air of every chain of the site as decided, and where it leads. */
static bool simulate(Decision *d)
{
    Board *b = d->b;
    Track *tracks = ARENA_NEW(b->arena, b->s->n_chains, Track);
    for (int c = 0; tracks != NULL && c < b->s->n_chains; c++) {
        if (board_site(b, b->s->chains[c].layers[0].place) == d->w->site)
            tracks[c] = track_scheduled(b, c, d->w, d->schedule, &d->ends[c]);
    }
    for (int k = 0; k < SEGMENTS_MAX; k++)
        d->tracks.of[k] = tracks;
    return !b->arena->failed && evaluate(b, d->w, d->schedule, &d->tracks, d->results, &d->value);
}

bool decide_window(Board *b, const Window *w, const Schedule *schedule)
{
    Decision d = {.b = b, .w = w, .schedule = schedule, .spare = schedule_new(b, &b->stand)};
    d.ends = ARENA_NEW(b->arena, b->s->n_chains, ChainState);
    d.results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    d.otherwise = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    if (b->arena->failed || !simulate(&d) || !add_visits(&d) || !alarm_breaches(&d))
        return false;
    alarm_rescues(&d);
    alarm_frosty_morning(&d);
    water_jobs(&d);
    if (!stays_within(&d))
        return false;
    note_predictions(&d);
    PlanValue *sum = &b->plan->value;
    sum->broken += d.value.broken;
    sum->checks += d.value.checks;
    sum->visits += d.value.visits;
    sum->disturbance += former_disturbance(b, w, schedule);
    move_on(&d);
    return !b->arena->failed;
}
