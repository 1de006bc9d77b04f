/* SPDX-License-Identifier: MIT */
/* What was predicted, and everything carried to the window's end. */
#include "plan/errors.h"
#include "plan/search.h"

#include <math.h>

/* How the covers stand over a chain at a step, by layer. */
static void positions_at(const Decision *d, const Chain *chain, int step, int *ret)
{
    int k = 0;
    while (k < d->schedule->n_visits && d->schedule->visit_step[k] <= step)
        k++;
    for (int l = 0; l < chain->n; l++)
        ret[l] = d->schedule->positions[k][chain->layers[l].place];
}

static PredictionBasis basis_at(const Decision *d, const CoverError *error, double share,
                                int position, int i, const PlaceStep *step)
{
    const Snapshot *s = d->b->s;
    return (PredictionBasis){.position = position,
                             .bias_k = cover_error_at(error, step->light_wm2).bias_k,
                             .outdoor_spread_k = share * s->sites[d->w->site].steps[i].spread_k,
                             .light_wm2 = step->light_wm2,
                             .tonight = i < s->n_tonight};
}

/* One half-hour of a prediction; the margins in spreads are the least so far. */
static void add_step(const Decision *d, int chain, int layer, int i, PlacePrediction *p,
                     double *air_margin, double *leaf_margin)
{
    const Snapshot *s = d->b->s;
    const Chain *c = &s->chains[chain];
    Track track = d->tracks.of[0][chain];
    const PlaceStep *step = &track.steps[(i - track.first) * c->n + layer];
    int at[CHAIN_LAYERS_MAX];
    positions_at(d, c, i, at);
    CoverError error = errors_of(s, c, at, layer);
    double share = chain_open_share(c, at, layer);
    double outside = share * errors_outdoor_k(s, d->w->site, i);
    double low = error.of[EXTREME_LOW].spread_k;
    int position = cover_error_position(c, at, layer);
    double spread = errors_sum_k(outside, errors_own_k2(s, p->place, position, i, low));
    d->b->plan->course[p->place * s->n_steps + i] =
        (CourseStep){.air_c = (float)step->air_c,
                     .leaf_c = (float)step->leaf_c,
                     .spread_k = (float)spread,
                     .position = board_place(d->b, p->place)->covered ? (int8_t)at[layer] : -1};
    if (step->air_c < p->low_c) {
        p->low_c = step->air_c;
        p->low_utc = board_utc(d->b, i);
        p->low_spread_k = spread;
        p->basis[EXTREME_LOW] = basis_at(d, &error, share, position, i, step);
    }
    if (step->air_c > p->high_c) {
        p->high_c = step->air_c;
        p->high_utc = board_utc(d->b, i);
        p->high_spread_k = hypot(outside, error.of[EXTREME_HIGH].spread_k);
        p->basis[EXTREME_HIGH] = basis_at(d, &error, share, position, i, step);
    }
    p->leaf_low_c = fmin(p->leaf_low_c, step->leaf_c);
    *air_margin = fmin(*air_margin, odds_margin(step->air_c, spread, ODDS_FROST_C));
    *leaf_margin = fmin(*leaf_margin, odds_margin(step->leaf_c, spread, ODDS_FROST_C));
}

/* Lows and highs of the chains that were simulated. */
static void add_predictions(Decision *d)
{
    Board *b = d->b;
    const Window *w = d->w;
    for (int p = 0; p < b->s->garden->n_places; p++) {
        if (board_place(b, p)->site != w->site || w->end <= w->first ||
            b->plan->n_predictions == b->predictions_size)
            continue;
        PlacePrediction out = {.place = p,
                               .day = w->day,
                               .low_c = INFINITY,
                               .leaf_low_c = INFINITY,
                               .high_c = -INFINITY};
        double air = INFINITY, leaf = INFINITY;
        for (int i = w->first; i < w->end; i++)
            add_step(d, b->chain_of[p], b->layer_of[p], i, &out, &air, &leaf);
        out.air_frost_odds = odds_of_margin(air);
        out.leaf_frost_odds = odds_of_margin(leaf);
        b->plan->predictions[b->plan->n_predictions++] = out;
    }
}

/* Tonight, for each batch: the first night, and the first ramp day that ends. */
static void note_tonight(Decision *d)
{
    for (int i = 0; i < d->b->s->n_batches; i++) {
        BatchOutlook *o = &d->b->plan->outlooks[i];
        const BatchResult *r = &d->results[i];
        int last = d->schedule->n_visits;
        /* The ramp of planted batches is over: theirs is the night alone. */
        bool known = !isnan(o->tonight_cold_c) || !isnan(o->tonight_leaf_c);
        if (board_site(d->b, d->schedule->places[last][i]) != d->w->site || known ||
            isnan(r->tonight.value) ||
            (isnan(r->ramp_day_cold_c) && d->b->stand.stages[i] != STAGE_PLANTED_OUT))
            continue;
        o->tonight_cold_c = r->ramp_day_cold_c;
        o->tonight_leaf_c = r->tonight.value;
        o->tonight_spread_k = r->tonight.spread;
        o->damage_odds = r->tonight.odds;
    }
}

void note_predictions(Decision *d)
{
    add_predictions(d);
    note_tonight(d);
}

/* The air as decided, where it outlives the window. */
static Track held_track(Decision *d, int chain)
{
    Track track = d->tracks.of[0][chain];
    size_t count = (size_t)track.n * (size_t)d->b->s->chains[chain].n;
    if (d->b->hold[chain] == NULL || track.steps == NULL)
        return track;
    memcpy(d->b->hold[chain], track.steps, count * sizeof *track.steps);
    track.steps = d->b->hold[chain];
    return track;
}

static void past_note(Decision *d, const Track *held, int batch)
{
    Board *b = d->b;
    BatchPast *past = &b->past[batch];
    const Schedule *s = d->schedule;
    past->window = *d->w;
    past->start = (BatchStart){b->stand.ramps[batch], b->stand.stages[batch],
                               b->stand.judged[batch], b->stand.chill_left_h[batch]};
    past->n_segments = 0;
    for (int k = 0; k <= s->n_visits; k++) {
        int place = s->places[k][batch],
            from = int_max(segment_start(d->w, s, k), b->stand.since[batch]);
        int to = k == s->n_visits ? d->w->end : s->visit_step[k];
        if (board_site(b, place) == d->w->site && from < to)
            segment_fill(b, place, s->positions[k], held[b->chain_of[place]], from, to,
                         &past->segments[past->n_segments++]);
    }
}

/* A batch taken to a building at home lives there from its arrival; where that site's window is
 * decided already, it is carried to its end. */
static void arrive(Decision *d, int batch, int visit, RampState ramp)
{
    Board *b = d->b;
    int place = d->schedule->places[d->schedule->n_visits][batch], site = board_site(b, place);
    double travel_s = b->s->garden->growers[d->schedule->grower[visit]].travel_min * 60.0;
    int arrival = d->schedule->visit_step[visit] + (int)ceil(travel_s / STEP_S),
        end = b->decided_to[site];
    b->stand.ramps[batch] = ramp;
    b->stand.since[batch] = arrival;
    b->stand.judged[batch] = 0.0;
    b->stand.leaf_c[batch] = NAN;
    if (arrival >= end)
        return;
    Window rest = {.site = site, .first = arrival, .end = end, .eval_end = end};
    int chain = b->chain_of[place];
    TrackCourse course = track_course_fixed(b, chain, b->stand.positions);
    Track track = track_run(b, chain, &rest, &b->stand.chains[chain], &course, NULL);
    if (track.steps == NULL)
        return;
    Segment segment;
    BatchResult result;
    BatchStart start = {.ramp = ramp,
                        .stage = b->stand.stages[batch],
                        .chill_left_h = b->stand.chill_left_h[batch]};
    segment_fill(b, place, b->stand.positions, track, arrival, end, &segment);
    walk_batch(b, &rest, batch, &start, &segment, 1, &result);
    b->stand.ramps[batch] = result.ramp_at_end;
    b->stand.since[batch] = end;
    b->stand.leaf_c[batch] = NAN;
    b->past[batch].n_segments = 0; /* it leaves again from the next window on */
}

static void move_batch(Decision *d, const Track *held, int i)
{
    Board *b = d->b;
    const Schedule *s = d->schedule;
    int last = s->n_visits, is = s->places[last][i], left_at = -1;
    past_note(d, held, i);
    b->survive[i] *= d->results[i].survive;
    for (int k = 0; k <= last; k++) {
        if (b->hardens_from[i] <= d->w->first && board_site(b, s->places[k][i]) == d->w->site &&
            !board_place(b, s->places[k][i])->indoors && b->stand.stages[i] < STAGE_HARDENING)
            b->stand.stages[i] = STAGE_HARDENING;
        if (k > 0 && board_site(b, s->places[k][i]) != d->w->site &&
            board_site(b, s->places[k - 1][i]) == d->w->site)
            left_at = k - 1;
    }
    b->stand.places[i] = is;
    b->stand.ramps[i] = d->results[i].ramp_at_end;
    b->stand.judged[i] = d->results[i].joined_share;
    b->stand.chill_left_h[i] = d->results[i].chill_left_h;
    b->stand.since[i] = d->w->end;
    const BatchPast *past = &b->past[i];
    const Segment *stood = past->n_segments > 0 ? &past->segments[past->n_segments - 1] : NULL;
    b->stand.leaf_c[i] = NAN;
    if (stood != NULL)
        b->stand.leaf_c[i] =
            stood->track.steps[(stood->to - 1 - stood->track.first) * stood->stride + stood->layer]
                .leaf_c;
    if (s->planted_at[i] >= 0)
        b->stand.stages[i] = STAGE_PLANTED_OUT;
    if (left_at >= 0)
        arrive(d, i, left_at, d->results[i].ramp_at_end);
}

void move_on(Decision *d)
{
    Board *b = d->b;
    int last = d->schedule->n_visits;
    Track *held = ARENA_NEW(b->arena, b->s->n_chains, Track);
    if (held == NULL)
        return;
    for (int c = 0; c < b->s->n_chains; c++) {
        if (board_site(b, b->s->chains[c].layers[0].place) != d->w->site)
            continue;
        held[c] = held_track(d, c);
        b->stand.chains[c] = d->ends[c];
    }
    for (int p = 0; p < b->s->garden->n_places; p++) {
        if (board_site(b, p) == d->w->site)
            b->stand.positions[p] = d->schedule->positions[last][p];
    }
    b->decided_to[d->w->site] = d->w->end;
    for (int i = 0; i < b->s->n_batches; i++) {
        if (batch_is_here(b, d->w, d->schedule, i) && b->stand.since[i] < d->w->end)
            move_batch(d, held, i);
    }
    board_group(b);
}
