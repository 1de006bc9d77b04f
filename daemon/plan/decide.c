/* SPDX-License-Identifier: MIT */
/*
 * A window's schedule becomes visits, jobs and reasons, and everything is moved on to the window's end.
 * The reason of a job is what would come about without it: the same window is evaluated once more, that one
 * change left out.
 */
#include "plan/board.h"
#include "plan/marks.h"

#include <math.h>

#define FROZEN_C 1.0
#define RESCUE_WINDOWS 2      /* windows of a site in which a lost cause is cried out now */
#define MORNING_STEPS (6 * STEPS_PER_H)

typedef struct Decision {
    Board *b;
    const Window *w;
    const Schedule *schedule;
    Schedule *spare;
    BatchResult *results, *otherwise;
    PlanValue value;
} Decision;

static Job *job_add(Board *b, int visit)
{
    if (b->plan->n_jobs == b->jobs_size) {
        b->arena->failed = 1;
        return NULL;
    }
    Job *job = &b->plan->jobs[b->plan->n_jobs++];
    *job = (Job){.visit = visit, .batch = -1, .place = -1, .from_place = -1, .position = -1};
    job->reason = (Reason){.batch = -1, .place = -1, .odds = NAN, .otherwise_odds = NAN, .predicted_c = NAN,
                           .limit_c = NAN, .otherwise_c = NAN, .spread_k = NAN};
    return job;
}

static uint32_t estimated_at(const Board *b, int site, int step)
{
    return b->s->sites[site].steps[step < b->s->n_steps ? step : b->s->n_steps].estimated;
}

/* Which limit made the difference between how it is planned and how it would be otherwise. */
static LimitKind limit_between(const Board *b, const BatchResult *now, const BatchResult *otherwise,
                               const Finding **ret_now, const Finding **ret_otherwise)
{
    const Risk *risk = &b->s->garden->risk;
    struct {
        LimitKind limit;
        const Finding *now, *otherwise;
        bool differs;
    } rows[] = {
        {LIMIT_DAMAGE, &now->damage, &otherwise->damage,
         otherwise->damage.odds > risk->damage && otherwise->damage.odds > now->damage.odds + 1e-6},
        {LIMIT_HEAT, &now->heat, &otherwise->heat, otherwise->heat.crossing >= 0 && now->heat.crossing < 0},
        {LIMIT_CHECK, &now->check, &otherwise->check,
         otherwise->check.spread > risk->check && otherwise->check.spread > now->check.spread + 1e-6},
        {LIMIT_GUST, &now->gust, &otherwise->gust, otherwise->gust.crossing >= 0 && now->gust.crossing < 0},
        {LIMIT_SCORCH, &now->scorch, &otherwise->scorch, otherwise->scorch.crossing >= 0 && now->scorch.crossing < 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        if (rows[i].differs) {
            *ret_now = rows[i].now;
            *ret_otherwise = rows[i].otherwise;
            return rows[i].limit;
        }
    }
    if (otherwise->open_too_soon && !now->open_too_soon)
        return LIMIT_EXPOSURE;
    return LIMIT_PROGRESS;
}

static double gain(const BatchResult *now, const BatchResult *otherwise)
{
    return 1000.0 * (otherwise->broken - now->broken) + (otherwise->loss + otherwise->checks + otherwise->delay) -
           (now->loss + now->checks + now->delay);
}

/* Fills a job's reason from the window with and without it. */
static void give_reason(Decision *d, Job *job, int only_batch)
{
    Board *b = d->b;
    int bound = only_batch;
    double most = -INFINITY;
    for (int i = 0; i < b->s->n_batches && only_batch < 0; i++) {
        bool here = board_place(b, d->schedule->places[0][i])->site == d->w->site;
        double g = here ? gain(&d->results[i], &d->otherwise[i]) : -INFINITY;
        if (g > most && g > 1e-9) {
            most = g;
            bound = i;
        }
    }
    if (bound < 0)
        return;
    const Finding *now = NULL, *otherwise = NULL;
    Reason *r = &job->reason;
    r->batch = bound;
    r->limit = limit_between(b, &d->results[bound], &d->otherwise[bound], &now, &otherwise);
    if (otherwise == NULL) {
        now = otherwise = &d->results[bound].damage;
        r->odds = now->odds;
        r->predicted_c = now->value;
        r->limit_c = now->limit;
        r->spread_k = now->spread;
        r->at_utc = board_utc(b, now->step);
        r->place = now->place;
    } else {
        r->place = otherwise->place;
        r->at_utc = board_utc(b, otherwise->step);
        r->predicted_c = now->value;
        r->limit_c = otherwise->limit;
        r->spread_k = r->limit == LIMIT_CHECK ? NAN : otherwise->spread;
        r->odds = now->odds;
        r->otherwise_c = otherwise->value;
        r->otherwise_odds = otherwise->odds;
        if (otherwise->crossing >= 0)
            job->deadline_utc = board_utc(b, otherwise->crossing);
    }
    r->estimated = estimated_at(b, d->w->site, (int)((r->at_utc - b->s->start_utc) / STEP_S));
    job->guard = r->limit == LIMIT_DAMAGE;
}

static bool without_cover(Decision *d, int visit, int place)
{
    PlanValue value;
    schedule_copy(d->b, d->schedule, d->spare);
    int after = d->schedule->positions[visit + 1][place];
    for (int k = visit + 1; k <= d->schedule->n_visits && d->schedule->positions[k][place] == after; k++)
        d->spare->positions[k][place] = d->schedule->positions[visit][place];
    return evaluate_exact(d->b, d->w, &d->b->stand, d->spare, d->otherwise, NULL, NULL, &value);
}

static bool without_move(Decision *d, int visit, int batch)
{
    PlanValue value;
    int before = d->schedule->places[visit][batch], after = d->schedule->places[visit + 1][batch];
    if (board_place(d->b, before)->site != board_place(d->b, after)->site) {
        d->otherwise[batch] = d->results[batch];
        return true;
    }
    schedule_copy(d->b, d->schedule, d->spare);
    for (int k = visit + 1; k <= d->schedule->n_visits && d->schedule->places[k][batch] == after; k++)
        d->spare->places[k][batch] = before;
    return evaluate_exact(d->b, d->w, &d->b->stand, d->spare, d->otherwise, NULL, NULL, &value);
}

static bool add_move(Decision *d, int visit, int v, int batch)
{
    Board *b = d->b;
    int from = d->schedule->places[v][batch], to = d->schedule->places[v + 1][batch];
    Job *job = job_add(b, visit);
    if (job == NULL || !without_move(d, v, batch))
        return false;
    bool planting = b->ready_utc[batch] != 0 && to == b->s->batches[batch].destination &&
                    board_place(b, to)->kind != PLACE_STANDING;
    bool elsewhere = board_place(b, from)->site != board_place(b, to)->site;
    job->kind = planting ? JOB_PLANT_OUT : elsewhere ? JOB_TRANSFER : JOB_MOVE;
    job->batch = batch;
    job->from_place = from;
    job->place = to;
    give_reason(d, job, batch);
    if (elsewhere && board_place(b, to)->indoors) {
        job->guard = true;
        job->reason.limit = LIMIT_DAMAGE;
    }
    return true;
}

static bool add_cover(Decision *d, int visit, int v, int place)
{
    Job *job = job_add(d->b, visit);
    if (job == NULL || !without_cover(d, v, place))
        return false;
    job->kind = JOB_SET_COVER;
    job->place = place;
    job->position = d->schedule->positions[v + 1][place];
    job->reason.place = place;
    give_reason(d, job, -1);
    return true;
}

/* Batches first, then covers: outer before inner where they are opened, inner before outer where shut. */
static bool add_jobs(Decision *d, int visit, int v)
{
    const Schedule *s = d->schedule;
    int n_places = d->b->s->garden->n_places;
    for (int i = 0; i < d->b->s->n_batches; i++) {
        if (s->places[v][i] != s->places[v + 1][i] && !add_move(d, visit, v, i))
            return false;
    }
    for (int p = 0; p < n_places; p++) {
        if (board_place(d->b, p)->site == d->w->site && s->positions[v + 1][p] > s->positions[v][p] &&
            !add_cover(d, visit, v, p))
            return false;
    }
    for (int p = n_places - 1; p >= 0; p--) {
        if (board_place(d->b, p)->site == d->w->site && s->positions[v + 1][p] < s->positions[v][p] &&
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
        if (visit_jobs(b, d->w, d->schedule, v, &minutes) == 0)
            continue;
        if (b->plan->n_visits == b->visits_size)
            return false;
        int index = b->plan->n_visits++;
        Visit *visit = &b->plan->visits[index];
        *visit = (Visit){.grower = d->schedule->grower[v], .site = d->w->site,
                         .start_utc = board_utc(b, d->schedule->visit_step[v]),
                         .minutes = minutes,
                         .first_job = b->plan->n_jobs, .beyond_cap = ++made > d->w->cap};
        if (!add_jobs(d, index, v))
            return false;
        visit->n_jobs = b->plan->n_jobs - visit->first_job;
    }
    return true;
}

/* The last visit at the site not after `utc`, -1 none. */
static int visit_before(const Board *b, int site, int64_t utc)
{
    int found = -1;
    for (int i = 0; i < b->plan->n_visits; i++) {
        const Visit *v = &b->plan->visits[i];
        if (v->site == site && v->start_utc <= utc && (found < 0 || v->start_utc > b->plan->visits[found].start_utc))
            found = i;
    }
    return found;
}

/* Batches that no visit keeps within the damage limit are cried out at once. */
static void add_rescues(Decision *d)
{
    Board *b = d->b;
    for (int i = 0; i < b->s->n_batches && d->w->ordinal < RESCUE_WINDOWS; i++) {
        const Finding *f = &d->results[i].damage;
        int last = d->schedule->n_visits;
        if (board_place(b, d->schedule->places[last][i])->site != d->w->site || isnan(f->value) ||
            f->odds <= b->s->garden->risk.damage)
            continue;
        Job *job = job_add(b, visit_before(b, d->w->site, board_utc(b, f->step)));
        if (job == NULL)
            return;
        job->kind = JOB_RESCUE;
        job->batch = i;
        job->place = f->place;
        job->guard = job->urgent = true;
        job->deadline_utc = f->crossing >= 0 ? board_utc(b, f->crossing) : board_utc(b, f->step);
        job->reason = (Reason){.limit = LIMIT_DAMAGE, .batch = i, .place = f->place,
                               .at_utc = board_utc(b, f->step), .predicted_c = f->value, .limit_c = f->limit,
                               .spread_k = f->spread, .odds = f->odds, .otherwise_odds = NAN,
                               .otherwise_c = NAN, .estimated = estimated_at(b, d->w->site, f->step)};
    }
}

/* A morning on which plants are frozen when somebody could first come: what to leave alone, and until when. */
static void add_leave_shut(Decision *d, const Tracks *tracks)
{
    Board *b = d->b;
    const Window *w = d->w;
    if (w->n_slots == 0 || w->ordinal > RESCUE_WINDOWS || w->eval_end - w->first < MORNING_STEPS)
        return;
    int at = w->slots[0].from;
    for (int i = 0; i < b->s->n_batches; i++) {
        int place = d->schedule->places[0][i];
        const Place *p = board_place(b, place);
        if (p->site != w->site || p->indoors || (b->marks[w->site][at] & MARK_DAYLIGHT) == 0)
            continue;
        Track track = tracks->of[0][b->chain_of[place]];
        int stride = b->s->chains[b->chain_of[place]].n, layer = b->layer_of[place], thawed = at;
        while (thawed < w->eval_end && track.steps[(thawed - track.first) * stride + layer].leaf_c <= FROZEN_C)
            thawed++;
        if (thawed == at || thawed - at > MORNING_STEPS)
            continue;
        Job *job = job_add(b, visit_before(b, w->site, board_utc(b, thawed)));
        if (job == NULL)
            return;
        job->kind = JOB_LEAVE_SHUT;
        job->place = place;
        job->batch = i;
        job->reason = (Reason){.limit = LIMIT_FROZEN, .batch = i, .place = place,
                               .at_utc = board_utc(b, thawed),
                               .predicted_c = track.steps[(at - track.first) * stride + layer].leaf_c,
                               .limit_c = FROZEN_C, .odds = NAN, .otherwise_odds = NAN, .otherwise_c = NAN,
                               .spread_k = NAN, .estimated = estimated_at(b, w->site, at)};
        return;
    }
}

/* Lows and highs of the chains that were simulated. */
static void add_predictions(Decision *d, const Tracks *tracks)
{
    Board *b = d->b;
    const Window *w = d->w;
    for (int p = 0; p < b->s->garden->n_places; p++) {
        if (board_place(b, p)->site != w->site || w->end <= w->first || b->plan->n_predictions == b->predictions_size)
            continue;
        int chain = b->chain_of[p], stride = b->s->chains[chain].n, layer = b->layer_of[p];
        Track track = tracks->of[0][chain];
        PlacePrediction out = {.place = p, .day = w->day, .low_c = INFINITY, .leaf_low_c = INFINITY,
                               .high_c = -INFINITY};
        double model = chain_spread_k(&b->s->chains[chain], layer);
        for (int i = w->first; i < w->end; i++) {
            const PlaceStep *step = &track.steps[(i - track.first) * stride + layer];
            double outside = board_place(b, p)->indoors ? 0.0 : b->s->sites[w->site].steps[i].spread_k;
            if (step->air_c < out.low_c) {
                out.low_c = step->air_c;
                out.low_utc = board_utc(b, i);
                out.low_spread_k = hypot(outside, model);
            }
            if (step->air_c > out.high_c) {
                out.high_c = step->air_c;
                out.high_utc = board_utc(b, i);
            }
            out.leaf_low_c = fmin(out.leaf_low_c, step->leaf_c);
        }
        b->plan->predictions[b->plan->n_predictions++] = out;
    }
}

/* Tonight, for each batch: the first ramp day that ends. */
static void note_tonight(Decision *d)
{
    for (int i = 0; i < d->b->s->n_batches; i++) {
        BatchOutlook *o = &d->b->plan->outlooks[i];
        const BatchResult *r = &d->results[i];
        int last = d->schedule->n_visits;
        if (board_place(d->b, d->schedule->places[last][i])->site != d->w->site || !isnan(o->tonight_cold_c) ||
            isnan(r->ramp_day_cold_c))
            continue;
        o->tonight_cold_c = r->ramp_day_cold_c;
        o->tonight_leaf_c = r->damage.value;
        o->tonight_spread_k = r->damage.spread;
        o->damage_odds = r->damage.odds;
    }
}

static void move_on(Decision *d, const ChainState *ends, const Tracks *tracks)
{
    Board *b = d->b;
    int last = d->schedule->n_visits;
    for (int c = 0; c < b->s->n_chains; c++) {
        if (board_place(b, b->s->chains[c].layers[0].place)->site == d->w->site)
            b->stand.chains[c] = ends[c];
    }
    for (int i = 0; i < b->s->n_batches; i++) {
        int was = d->schedule->places[0][i], is = d->schedule->places[last][i];
        if (board_place(b, was)->site != d->w->site && board_place(b, is)->site != d->w->site)
            continue;
        BatchPast *past = &b->past[i];
        past->window = *d->w;
        past->start = b->stand.ramps[i];
        past->n_segments = 0;
        for (int k = 0; k <= last; k++) {
            int place = d->schedule->places[k][i];
            int from = k == 0 ? d->w->first : d->schedule->visit_step[k - 1];
            int to = k == last ? d->w->end : d->schedule->visit_step[k];
            if (board_place(b, place)->site == d->w->site)
                segment_fill(b, place, d->schedule->positions[k], tracks->of[k][b->chain_of[place]], from, to,
                             &past->segments[past->n_segments++]);
        }
        b->stand.ramps[i] = d->results[i].ramp_at_end;
        b->stand.places[i] = is;
        if (b->may_harden[i] && !board_place(b, is)->indoors && b->stand.stages[i] < STAGE_HARDENING)
            b->stand.stages[i] = STAGE_HARDENING;
        if (b->ready_utc[i] != 0 && is == b->s->batches[i].destination && was != is)
            b->stand.stages[i] = STAGE_PLANTED_OUT;
    }
    for (int p = 0; p < b->s->garden->n_places; p++) {
        if (board_place(b, p)->site == d->w->site)
            b->stand.positions[p] = d->schedule->positions[last][p];
    }
}

bool decide_window(Board *b, const Window *w, const Schedule *schedule)
{
    Decision d = {.b = b, .w = w, .schedule = schedule};
    ChainState *ends = ARENA_NEW(b->arena, b->s->n_chains, ChainState);
    d.results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    d.otherwise = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    d.spare = schedule_new(b, &b->stand);
    Tracks tracks;
    if (b->arena->failed ||
        !evaluate_exact(b, w, &b->stand, schedule, d.results, ends, &tracks, &d.value))
        return false;
    size_t mark = b->arena->used;
    if (!add_visits(&d))
        return false;
    b->arena->used = mark;
    add_rescues(&d);
    add_leave_shut(&d, &tracks);
    add_predictions(&d, &tracks);
    note_tonight(&d);
    PlanValue *sum = &b->plan->value;
    sum->broken += d.value.broken;
    sum->loss += d.value.loss;
    sum->checks += d.value.checks;
    sum->visits += d.value.visits;
    sum->disturbance += d.value.disturbance;
    move_on(&d, ends, &tracks);
    return !b->arena->failed;
}
