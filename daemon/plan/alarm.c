/* SPDX-License-Identifier: MIT */
/* No limit is passed silently: what the plan cannot keep is named, and the near of it cried out. */
#include "odds/odds.h"
#include "plan/marks.h"
#include "plan/search.h"

#include <math.h>

#define RESCUE_WINDOWS 2     /* windows of a site in which a lost cause is cried out now; chosen */
#define RESCUE_FAR_H 96      /* and this far ahead, while something can still be found; chosen */
#define RESCUE_FAR_ODDS 0.25 /* of damage there: below it the forecast may yet turn; chosen */
#define URGENT_ODDS 0.05     /* of damage: below it is said calmly; chosen */
#define RESCUE_HEAT_KH 1.0   /* beyond the heat limit: less is a trifle; chosen */
#define RESCUE_CHECK_SHARE 1.0          /* an expected check of a whole ramp-day budget; chosen */
#define SAME_NIGHT_S (16 * 3600)        /* a winter night, and no two nights; chosen */
#define MORNING_STEPS (6 * STEPS_PER_H) /* not thawed by then it stays frozen; chosen */

/* The worst of each batch and limit is kept: the likeliest, else the first. */
static bool breach_add(Board *b, Reason reason)
{
    Plan *plan = b->plan;
    for (int i = 0; i < plan->n_breaches; i++) {
        Reason *r = &plan->breaches[i];
        if (r->batch == reason.batch && r->limit == reason.limit &&
            (r->batch >= 0 || r->place == reason.place)) {
            if (reason.odds > r->odds)
                *r = reason;
            return true;
        }
    }
    if (plan->n_breaches == b->breaches_size) {
        b->arena->failed = 1;
        return false;
    }
    plan->breaches[plan->n_breaches++] = reason;
    return true;
}

bool alarm_breaches(Decision *d)
{
    Board *b = d->b;
    for (int i = 0; i < b->s->n_batches; i++) {
        const BatchResult *r = &d->results[i];
        const struct {
            LimitKind limit;
            const Finding *finding;
        } rows[] = {{LIMIT_DAMAGE, &r->damage},     {LIMIT_CHECK, &r->check},
                    {LIMIT_HEAT, &r->heat},         {LIMIT_GUST, &r->gust},
                    {LIMIT_SCORCH, &r->scorch},     {LIMIT_EXPOSURE, &r->open_night},
                    {LIMIT_SETTLING, &r->settling}, {LIMIT_FROZEN, &r->frozen},
                    {LIMIT_CHILL, &r->chill}};
        if (!batch_is_here(b, d->w, d->schedule, i))
            continue;
        for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
            if (rows[k].finding->harm > 0.0 &&
                !breach_add(b, reason_of_finding(b, d->w, rows[k].limit, i, rows[k].finding)))
                return false;
        }
    }
    for (int p = 0; p < b->s->garden->n_places; p++) {
        int step = 0;
        if (evaluate_cover_gust(b, d->w, d->schedule, p, &step) <= 0.0)
            continue;
        Finding gust = {.step = step,
                        .place = p,
                        .value = b->s->sites[d->w->site].steps[step].gust_ms,
                        .limit = board_place(b, p)->cover.gust_limit_ms,
                        .spread = NAN,
                        .odds = NAN};
        if (!breach_add(b, reason_of_finding(b, d->w, LIMIT_GUST, -1, &gust)))
            return false;
    }
    return true;
}

/* The last visit at the site before `utc`, -1 none. */
static int visit_before(const Board *b, int site, int64_t utc)
{
    int found = -1;
    for (int i = 0; i < b->plan->n_visits; i++) {
        const Visit *v = &b->plan->visits[i];
        if (v->site == site && v->start_utc < utc &&
            (found < 0 || v->start_utc > b->plan->visits[found].start_utc))
            found = i;
    }
    return found;
}

/* The job that cries it out already: at the same visit, or about the same night. NULL none. */
static Job *cried_out(const Board *b, int batch, LimitKind limit, int visit, int64_t utc)
{
    for (int j = 0; j < b->plan->n_jobs; j++) {
        Job *job = &b->plan->jobs[j];
        if (job->kind == JOB_RESCUE && job->batch == batch && job->reason.limit == limit &&
            ((visit >= 0 && job->visit == visit) || utc - job->deadline_utc < SAME_NIGHT_S))
            return job;
    }
    return NULL;
}

/* The step by which half of a night's danger has come: later, less than half can be saved. */
static int half_come(const Decision *d, const Finding *f)
{
    const Board *b = d->b;
    int chain = b->chain_of[f->place];
    Track track = d->tracks.of[0][chain];
    for (int i = int_max(track.first, d->w->first); i < track.first + track.n && i < f->step; i++) {
        const PlaceStep *met =
            &track.steps[(i - track.first) * b->s->chains[chain].n + b->layer_of[f->place]];
        if (odds_of_margin(odds_margin(met->leaf_c, f->spread, f->limit)) >= 0.5 * f->odds)
            return i;
    }
    return f->step;
}

/* Until when going is worth it: until the danger begins; where it has begun, until half has come.
 */
static int worth_until(const Decision *d, LimitKind limit, const Finding *f)
{
    int first = d->w->first;
    if (limit == LIMIT_DAMAGE && first == 0 && f->crossing <= first && f->crossing >= 0)
        return half_come(d, f);
    return f->crossing >= 0 ? f->crossing : int_max(f->step, first);
}

static void rescue(Decision *d, int batch, LimitKind limit, const Finding *f)
{
    Board *b = d->b;
    int64_t starts = board_utc(b, worth_until(d, limit, f));
    int visit = visit_before(b, d->w->site, starts);
    Job *job = cried_out(b, batch, limit, visit, starts);
    if (job != NULL) {
        if (!(f->odds > job->reason.odds))
            return; /* the graver of two is told, by the earlier hour */
    } else {
        job = job_add(b, visit);
        if (job == NULL)
            return;
        job->deadline_utc = starts;
    }
    job->kind = JOB_RESCUE;
    job->batch = batch;
    job->place = f->place;
    job->position = limit == LIMIT_HEAT ? f->position : -1;
    job->guard = limit == LIMIT_DAMAGE;
    job->urgent = limit != LIMIT_DAMAGE || f->odds > URGENT_ODDS;
    job->reason = reason_of_finding(b, d->w, limit, batch, f);
}

/* Batches that no visit keeps within their limits are cried out at once, with when it begins. */
void alarm_rescues(Decision *d)
{
    Board *b = d->b;
    const bool near = d->w->ordinal < RESCUE_WINDOWS;
    for (int i = 0; i < b->s->n_batches && d->w->first < RESCUE_FAR_H * STEPS_PER_H; i++) {
        const BatchResult *r = &d->results[i];
        if (!batch_is_here(b, d->w, d->schedule, i))
            continue;
        if (r->damage.harm > 0.0 && (near || r->damage.odds > RESCUE_FAR_ODDS))
            rescue(d, i, LIMIT_DAMAGE, &r->damage);
        if (!near)
            continue;
        if (r->heat_kh > RESCUE_HEAT_KH)
            rescue(d, i, LIMIT_HEAT, &r->heat);
        if (r->damage.harm <= 0.0 && r->check.harm > 0.0 && r->check_share >= RESCUE_CHECK_SHARE)
            rescue(d, i, LIMIT_CHECK, &r->check);
    }
}

/* When the batch's place, frozen at the instant `at`, has thawed; -1 where it is not frozen, or
 * stays so. */
static int thawed_at(const Decision *d, int batch, int at)
{
    const Board *b = d->b;
    int place = d->schedule->places[0][batch], chain = b->chain_of[place], step = at;
    Track track = d->tracks.of[0][chain];
    if (board_site(b, place) != d->w->site || board_place(b, place)->indoors || at <= track.first ||
        b->stand.since[batch] >= at)
        return -1;
    const PlaceStep *steps = track.steps + b->layer_of[place];
    int stride = b->s->chains[chain].n;
    while (step - 1 - track.first < track.n &&
           steps[(step - 1 - track.first) * stride].leaf_c <= FROZEN_C)
        step++;
    return step == at || step - at > MORNING_STEPS || step - 1 - track.first >= track.n ? -1 : step;
}

static void leave_shut(Decision *d, int batch, int at, int thawed)
{
    Board *b = d->b;
    int place = d->schedule->places[0][batch], chain = b->chain_of[place];
    Job *job = job_add(b, visit_before(b, d->w->site, board_utc(b, thawed)));
    if (job == NULL)
        return;
    Track track = d->tracks.of[0][chain];
    Finding frozen = {
        .step = thawed, .place = place, .limit = FROZEN_C, .spread = NAN, .odds = NAN};
    frozen.value =
        track.steps[(at - 1 - track.first) * b->s->chains[chain].n + b->layer_of[place]].leaf_c;
    job->kind = JOB_LEAVE_SHUT;
    job->place = place;
    job->batch = batch;
    job->reason = reason_of_finding(b, d->w, LIMIT_FROZEN, batch, &frozen);
}

/* Plants frozen when somebody could first come in daylight: what to leave alone, and until when.
 * One for each chain, by the batch that thaws last. */
void alarm_frosty_morning(Decision *d)
{
    Board *b = d->b;
    const Window *w = d->w;
    int slot = 0;
    while (slot < w->n_slots && !(b->marks[w->site][w->slots[slot].from] & MARK_DAYLIGHT))
        slot++;
    if (slot == w->n_slots || w->ordinal > RESCUE_WINDOWS)
        return;
    int at = int_max(w->slots[slot].from, w->first + 1);
    for (int c = 0; c < b->s->n_chains; c++) {
        int last = -1, thawed = -1;
        for (int i = 0; i < b->s->n_batches; i++) {
            int t = b->chain_of[d->schedule->places[0][i]] == c ? thawed_at(d, i, at) : -1;
            if (t > thawed) {
                thawed = t;
                last = i;
            }
        }
        if (last >= 0)
            leave_shut(d, last, at, thawed);
    }
}
