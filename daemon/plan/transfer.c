/* SPDX-License-Identifier: MIT */
/*
 * What crosses between sites, decided after a window's own schedule: batches brought to this site
 * to go on hardening, ready ones planted out here, and, where nothing here keeps a batch within its
 * damage limit, home with it. Trays travel with the grower: leave the other site, arrive
 * `travel_min` later.
 */
#include "plan/stays.h"
#include "plan/trips.h"

#include <math.h>

#define SURE_NIGHTS 3       /* nights that a batch brought here must be safe, all shut */
#define PLANT_SUN_WM2 350.0 /* brighter hours after planting are avoided; chosen */
#define PLANT_SUN_STEPS (3 * STEPS_PER_H) /* how long after; chosen */
#define PLANT_PATIENCE_S (2 * 86400)      /* longest wait for a duller hour; chosen */
#define LEAST_GAIN 0.25                   /* batch-days that a change of site must bring; chosen */
#define SODDEN_MM 15.0                    /* in 24 h; chosen */
#define PLANT_GUST_MS 11.0                /* chosen */

enum { UNASKED, SURE, UNSURE };

typedef struct Transfer {
    Board *b;
    const Window *w;
    Schedule *schedule, *trial, *spare;
    BatchResult *results;
    PlanValue value;
    Search search;
    int *shut;     /* positions per place, all closed */
    double *gain;  /* (nullable) nothing is brought: what would be gained is put here */
    Track *nights; /* per chain, all shut, when first asked for */
    uint8_t *sure; /* per place, for the batch at hand */
    Stay stay;     /* of the batch at hand */
} Transfer;

/* Steps at which somebody could be here: visits of the schedule first, then, within the cap,
 * stretches, in their middle and, where it matters, at their end. */
static bool opportunity(const Transfer *t, int k, bool late_too, int *ret_grower, int *ret_step)
{
    const Board *b = t->b;
    int n = t->schedule->n_visits;
    if (k < n) {
        *ret_grower = t->schedule->grower[k];
        *ret_step = t->schedule->visit_step[k];
        return true;
    }
    for (int i = 0; n < t->w->cap && i < 2 * t->w->n_slots; i += late_too ? 1 : 2) {
        const Slot *slot = &t->w->slots[i / 2];
        int step = i % 2 == 0 ? slot->step : slot->to;
        if (!grower_can_be(b, t->w->site, slot->grower, step) || k-- > n)
            continue;
        *ret_grower = slot->grower;
        *ret_step = step;
        return true;
    }
    return false;
}

static int travel_steps(const Board *b, int grower)
{
    return (int)ceil(b->s->garden->growers[grower].travel_min * 60.0 / STEP_S);
}

/* Whether plants that stand at the other site are frozen at `step`. */
static bool frozen_there(const BatchPast *past, int step)
{
    for (int k = 0; k < past->n_segments; k++) {
        const Segment *s = &past->segments[k];
        if (step > s->from && step <= s->to)
            return s->track.steps[(step - 1 - s->track.first) * s->stride + s->layer].leaf_c <=
                   FROZEN_C;
    }
    return false;
}

/* The batch as it is when it gets here at `step`; false where it cannot leave in time, or that is
 * not known. */
static bool leave_at(Transfer *t, int batch, int grower, int step, RampState *ret)
{
    Board *b = t->b;
    const BatchPast *past = &b->past[batch];
    int leave = step - travel_steps(b, grower), last = past->n_segments - 1;
    if (board_site(b, b->stand.places[batch]) != b->s->garden->growers[grower].home_site ||
        last < 0 || leave < past->segments[0].from || leave >= past->window.end ||
        frozen_there(past, leave))
        return false;
    /* A move at home after they have left cannot be made. */
    if (past->segments[last].from > leave && last > 0)
        return false;
    Segment segments[SEGMENTS_MAX + 1];
    Window until = past->window;
    until.end = until.eval_end = int_min(step, past->window.end);
    until.joins = false;
    for (int k = 0; k <= last; k++) {
        segments[k] = past->segments[k];
        segments[k].to = int_min(segments[k].to, until.end);
    }
    BatchResult result;
    walk_batch(b, &until, batch, &past->start, segments, past->n_segments, &result);
    *ret = result.ramp_at_end;
    return true;
}

static double batch_cost(const BatchResult *r)
{
    return r->loss + r->checks + r->delay;
}

static Window nights_ahead(const Transfer *t)
{
    Window nights = *t->w;
    nights.end = nights.eval_end =
        int_min(nights.first + SURE_NIGHTS * 24 * STEPS_PER_H, t->b->s->n_steps);
    nights.joins = false;
    return nights;
}

/* With every cover shut, the next nights here must be within the damage limit, and within the
 * horizon: of others nothing is known. Asked once for a batch and place. */
static bool sure_here(Transfer *t, int batch, int place, const RampState *ramp)
{
    Board *b = t->b;
    int chain = b->chain_of[place];
    Window nights = nights_ahead(t);
    if (nights.end - nights.first < SURE_NIGHTS * 24 * STEPS_PER_H)
        return false;
    if (t->sure[place] != UNASKED)
        return t->sure[place] == SURE;
    if (t->nights[chain].steps == NULL) {
        TrackCourse course = track_course_fixed(b, chain, t->shut);
        t->nights[chain] = track_run(b, chain, &nights, &b->stand.chains[chain], &course, NULL);
        if (t->nights[chain].steps == NULL)
            return false;
    }
    Segment segment;
    BatchResult result;
    BatchStart start = {.ramp = *ramp,
                        .stage = b->stand.stages[batch],
                        .chill_left_h = b->stand.chill_left_h[batch]};
    segment_fill(b, place, t->shut, t->nights[chain], nights.first, nights.end, &segment);
    walk_batch(b, &nights, batch, &start, &segment, 1, &result);
    t->sure[place] = result.damage.odds > b->s->garden->risk.damage ? UNSURE : SURE;
    if (t->sure[place] == SURE)
        return true;
    const Reason reason = reason_of_finding(b, t->w, LIMIT_DAMAGE, batch, &result.damage);
    stay_refused(&t->stay, STAY_SAFE_SHUT, result.damage.odds, &reason);
    return false;
}

/* The batch's own state, as it stands and as it would get here. */
typedef struct Arrival {
    RampState ramp;
    double judged;
    int since;
} Arrival;

static Arrival swap_arrival(Board *b, int batch, Arrival new)
{
    Arrival old = {b->stand.ramps[batch], b->stand.judged[batch], b->stand.since[batch]};
    b->stand.ramps[batch] = new.ramp;
    b->stand.judged[batch] = new.judged;
    b->stand.since[batch] = new.since;
    board_group_again(b, batch);
    evaluate_forget(b, batch);
    return old;
}

/* The trial with the batch in `place` after visit `v`, covers set anew where that is of use. */
static bool try_arrival(Transfer *t, int batch, int place, int v, PlanValue *ret)
{
    PlanValue stitched;
    for (int k = v + 1; k <= t->trial->n_visits; k++)
        t->trial->places[k][batch] = place;
    improve_covers(&t->search, t->trial, place, &stitched);
    schedule_leave_idle_covers(t->b, t->w, t->trial);
    return evaluate_exact(t->b, t->w, t->trial, t->results, NULL, ret);
}

static void accept(Transfer *t, const PlanValue *value)
{
    schedule_copy(t->b, t->trial, t->schedule);
    t->value = *value;
}

/* Carrying that is owed sooner or later, since the batch is to be planted here: it does not weigh
 * against going now, or a batch that gains a day each day would never go. */
static double owed(const Transfer *t, int batch, int grower)
{
    const Board *b = t->b;
    int place = b->s->batches[batch].destination;
    if (place < 0 || board_site(b, place) != t->w->site)
        return 0.0;
    return b->s->weights.transfer +
           b->s->weights.move_min / b->s->garden->growers[grower].minutes_per_batch_day;
}

/* More journeys than one only where they leave time for the work, but for a batch that needs them
 * by itself: it would never come. The others come another day. */
static bool can_carry(const Transfer *t, int batch, int v)
{
    const Board *b = t->b;
    return trips_fit(b, t->w, t->trial, v) ||
           trips_of(b->s->garden, t->trial->grower[v], b->s->batches[batch].trays) > 1;
}

/* Refused, and why, where that can be told. */
static bool refuse(Transfer *t, StayCheck check, LimitKind limit, int batch, int place, int step)
{
    const Reason reason = stay_reason(t->b, t->w, limit, batch, place, step);
    stay_refused(&t->stay, check, 0.0, &reason);
    return false;
}

/* No room for its trays there: how many are free, and how many are needed. */
static bool refuse_room(Transfer *t, int batch, int place, int v)
{
    const Board *b = t->b;
    Reason reason = stay_reason(b, t->w, LIMIT_CAPACITY, batch, place, t->trial->visit_step[v]);
    int taken = 0;
    for (int i = 0; i < b->s->n_batches; i++)
        taken += i != batch && t->trial->places[v + 1][i] == place ? b->s->batches[i].trays : 0;
    reason.predicted_c = int_max(board_place(b, place)->trays - taken, 0);
    reason.limit_c = b->s->batches[batch].trays;
    stay_refused(&t->stay, STAY_ROOM, reason.limit_c - reason.predicted_c, &reason);
    return false;
}

/* Judged here and there, it is not worth it: by a limit of its own, by the cold it is expected to
 * feel, or by the work. Where others would suffer nothing is told. */
static void refuse_value(Transfer *t, int batch, int place, int step, const BatchResult *there,
                         double missing)
{
    const BatchResult *here = &t->results[batch];
    Reason reason;
    if (here->broken > there->broken + 1e-9) {
        if (stay_limit(t->b, t->w, batch, here, there, &reason))
            stay_refused(&t->stay, STAY_LIMITS, here->broken - there->broken, &reason);
    } else if (missing > 0.0) {
        const double cold = here->checks - there->checks, harm = here->loss - there->loss;
        if (cold >= missing || harm >= missing)
            reason = reason_of_finding(t->b, t->w, cold >= harm ? LIMIT_CHECK : LIMIT_DAMAGE, batch,
                                       cold >= harm ? &here->check : &here->damage);
        else
            reason = stay_reason(t->b, t->w, LIMIT_PROGRESS, batch, place, step);
        stay_refused(&t->stay, STAY_GAIN, missing, &reason);
    }
}

/* Here instead of there: what it costs or gains over this window. */
static bool bring(Transfer *t, int batch, int place, int grower, int step, const BatchResult *there)
{
    Board *b = t->b;
    Arrival arrival = {.since = step};
    PlanValue value;
    if (window_is_helped(t->w, grower, step) || trips_should_wait(b, t->w, step) ||
        !leave_at(t, batch, grower, step, &arrival.ramp))
        return false;
    schedule_copy(b, t->schedule, t->trial);
    int v = schedule_visit(b, t->trial, grower, step);
    for (int k = v + 1; v >= 0 && k <= t->trial->n_visits; k++)
        t->trial->places[k][batch] = place;
    if (v < 0)
        return false;
    if (!can_carry(t, batch, v))
        return refuse(t, STAY_CARRYING, LIMIT_NO_VISIT, batch, place, step);
    if (!schedule_has_room(b, t->trial, v + 1, place, batch))
        return refuse_room(t, batch, place, v);
    if (!sure_here(t, batch, place, &arrival.ramp))
        return false;
    Arrival kept = swap_arrival(b, batch, arrival);
    bool ok = try_arrival(t, batch, place, v, &value);
    double here = value.number - owed(t, batch, grower), stay = t->value.number + batch_cost(there);
    if (ok && t->results[batch].broken <= there->broken + 1e-9 &&
        value.broken <= t->value.broken + there->broken + 1e-9 && here < stay - LEAST_GAIN) {
        if (t->gain == NULL) {
            accept(t, &value);
            return true;
        }
        *t->gain = stay - here;
        (void)swap_arrival(b, batch, kept);
        return true;
    }
    (void)swap_arrival(b, batch, kept);
    if (ok)
        refuse_value(t, batch, place, step, there, here - (stay - LEAST_GAIN));
    return false;
}

/* Whether a batch could be brought here at all. */
static bool may_come(const Transfer *t, int batch)
{
    const Board *b = t->b;
    return board_site(b, b->stand.places[batch]) != t->w->site && b->past[batch].n_segments > 0 &&
           t->schedule->planted_at[batch] < 0 && board_is_hardening(b, batch, t->w->first) &&
           b->stand.stages[batch] != STAGE_PLANTED_OUT &&
           b->s->batches[batch].settled_utc <= board_utc(b, t->w->first);
}

/* At the first visit and place that will do. */
static void bring_batch(Transfer *t, int batch)
{
    Board *b = t->b;
    const BatchPast *past = &b->past[batch];
    BatchResult there;
    int grower, step;
    bool brought = false;
    walk_batch(b, &past->window, batch, &past->start, past->segments, past->n_segments, &there);
    memset(t->sure, UNASKED, (size_t)b->s->garden->n_places);
    t->stay = (Stay){.check = STAY_UNASKED};
    for (int k = 0; !brought && opportunity(t, k, false, &grower, &step); k++) {
        for (int p = 0; p < b->s->garden->n_places && !brought; p++) {
            if (board_site(b, p) == t->w->site && place_takes_trays(b, p) &&
                !board_place(b, p)->indoors)
                brought = bring(t, batch, p, grower, step, &there);
        }
    }
    if (!brought && t->gain == NULL)
        stays_note(b, batch, &t->stay);
}

/* Whether more trays could come than all places of the site have room for. */
static bool is_short_of_room(const Transfer *t)
{
    const Board *b = t->b;
    int wanted = 0, room = 0;
    for (int i = 0; i < b->s->n_batches; i++) {
        if (may_come(t, i))
            wanted += b->s->batches[i].trays;
        else if (!board_place(b, b->stand.places[i])->indoors &&
                 b->stand.stages[i] != STAGE_PLANTED_OUT &&
                 board_site(b, b->stand.places[i]) == t->w->site)
            room -= b->s->batches[i].trays;
    }
    for (int p = 0; p < b->s->garden->n_places; p++) {
        const Place *place = board_place(b, p);
        if (place->site != t->w->site || place->indoors || !place_takes_trays(b, p))
            continue;
        if (place->trays < 0)
            return false;
        room += place->trays;
    }
    return wanted > room;
}

/* What a batch gains by coming alone, what cannot be sown again counting twice; 0 it does not. */
static double gain_alone(Transfer *t, int batch)
{
    double gain = 0.0;
    t->gain = &gain;
    bring_batch(t, batch);
    t->gain = NULL;
    return gain * walk_worth(t->b, batch) / t->b->s->weights.lost_batch;
}

/* Where not all find room, those that gain most by it come first. */
static void bring_batches(Transfer *t)
{
    Board *b = t->b;
    bool is_short = is_short_of_room(t);
    int *order = ARENA_NEW(b->arena, b->s->n_batches, int), n = 0;
    double *gains = ARENA_NEW(b->arena, b->s->n_batches, double);
    for (int i = 0; !b->arena->failed && i < b->s->n_batches; i++) {
        if (!may_come(t, i))
            continue;
        gains[i] = !is_short ? 0.0 : b->leader[i] < i ? gains[b->leader[i]] : gain_alone(t, i);
        int at = n++;
        for (; at > 0 && gains[order[at - 1]] < gains[i]; at--)
            order[at] = order[at - 1];
        order[at] = i;
    }
    for (int k = 0; k < n; k++) {
        int i = order[k], leader = b->leader[i];
        bool tried = leader != i && b->stand.places[leader] == b->stand.places[i] &&
                     t->schedule->places[t->schedule->n_visits][leader] == b->stand.places[i];
        if (tried)
            stays_with(b, i, leader);
        else if (may_come(t, i))
            bring_batch(t, i);
    }
}

/* Whether the ground and the hours after `step` are fit for planting. */
static bool fit_to_plant(const Transfer *t, int batch, int step)
{
    const Board *b = t->b;
    const OutdoorStep *o = b->s->sites[t->w->site].steps;
    double rain = 0.0, gust = 0.0, sun = 0.0;
    for (int i = step - 24 * STEPS_PER_H; i < step; i++)
        rain += i >= 0 ? o[i].precipitation_mm : 0.0;
    for (int i = step; i < step + PLANT_SUN_STEPS && i < b->s->n_steps; i++) {
        gust = fmax(gust, o[i].gust_ms);
        sun += o[i].radiation_wm2 / PLANT_SUN_STEPS;
    }
    bool waited = board_utc(b, step) - b->ready_utc[batch] >= PLANT_PATIENCE_S;
    return rain <= SODDEN_MM && gust <= PLANT_GUST_MS && (sun <= PLANT_SUN_WM2 || waited);
}

/* The fleece that can be laid over the ground of a place; -1 none. */
static int sheet_over(const Board *b, int ground)
{
    for (int p = 0; p < b->s->garden->n_places; p++) {
        if (board_place(b, p)->kind == PLACE_FLEECE && board_place(b, p)->parent == ground)
            return p;
    }
    return -1;
}

/* Planted out at visit `v` of the trial, `place` over it from then on; false where it is not safe
 * there. */
static bool try_planting(Transfer *t, int batch, int place, int v, PlanValue *ret)
{
    t->trial->planted_at[batch] = v;
    return (place == t->b->s->batches[batch].destination ||
            schedule_has_room(t->b, t->trial, v + 1, place, batch)) &&
           try_arrival(t, batch, place, v, ret) &&
           !(t->results[batch].damage.odds > t->b->s->garden->risk.damage) &&
           ret->broken <= t->value.broken + 1e-9;
}

static bool plant(Transfer *t, int batch, int grower, int step)
{
    Board *b = t->b;
    int place = b->s->batches[batch].destination, from = b->stand.places[batch];
    int over[2] = {place, sheet_over(b, place)};
    bool away = board_site(b, from) != t->w->site, planted = false;
    const Arrival was = {b->stand.ramps[batch], b->stand.judged[batch], b->stand.since[batch]};
    Arrival now = was;
    PlanValue value, best = {0};
    if (away) {
        now = (Arrival){.since = step};
        if (!leave_at(t, batch, grower, step, &now.ramp))
            return false;
    }
    if (window_is_helped(t->w, grower, step) || step < now.since)
        return false; /* a helper is not asked to plant */
    (void)swap_arrival(b, batch, now);
    Schedule *before = t->spare;
    schedule_copy(b, t->schedule, before);
    for (int i = 0; i < 2 && over[i] >= 0; i++) {
        schedule_copy(b, before, t->trial);
        int v = schedule_visit(b, t->trial, grower, step);
        if (v < 0 || !try_planting(t, batch, over[i], v, &value) ||
            (planted && !(value.number < best.number)))
            continue;
        planted = true;
        best = value;
        schedule_copy(b, t->trial, t->schedule);
    }
    if (planted)
        t->value = best;
    else
        (void)swap_arrival(b, batch, was);
    return planted;
}

static void plant_ready(Transfer *t)
{
    Board *b = t->b;
    for (int i = 0; i < b->s->n_batches; i++) {
        int place = b->s->batches[i].destination, grower, step;
        bool leaves = board_site(b, t->schedule->places[t->schedule->n_visits][i]) !=
                      board_site(b, b->stand.places[i]);
        if (b->ready_utc[i] == 0 || place < 0 || leaves || board_site(b, place) != t->w->site ||
            b->stand.stages[i] == STAGE_PLANTED_OUT)
            continue;
        for (int k = 0; opportunity(t, k, true, &grower, &step); k++) {
            if (board_utc(b, step) >= b->ready_utc[i] && fit_to_plant(t, i, step) &&
                plant(t, i, grower, step))
                break;
        }
    }
}

/* Room at home when it gets there, and ever after: what leaves only later in the day still takes
 * its own. */
static bool room_at_home(const Transfer *t, int v, int place, int batch, int arrival)
{
    const Board *b = t->b;
    int taken = b->s->batches[batch].trays;
    if (!schedule_has_room(b, t->trial, v + 1, place, batch))
        return false;
    for (int i = 0; i < b->s->n_batches && board_place(b, place)->trays >= 0; i++) {
        bool there = i != batch && t->trial->places[v + 1][i] == place;
        for (int k = 0; k < b->past[i].n_segments; k++)
            there = there || (i != batch && b->past[i].segments[k].place == place &&
                              b->past[i].segments[k].to > arrival);
        taken += there && b->stand.stages[i] != STAGE_PLANTED_OUT ? b->s->batches[i].trays : 0;
    }
    return board_place(b, place)->trays < 0 || taken <= board_place(b, place)->trays;
}

static bool take_to(Transfer *t, int batch, int place, int grower, int step)
{
    Board *b = t->b;
    PlanValue value;
    schedule_copy(b, t->schedule, t->trial);
    int v = schedule_visit(b, t->trial, grower, step), arrival = step + travel_steps(b, grower);
    if (v < 0 || window_is_helped(t->w, grower, step) || step < b->stand.since[batch] ||
        arrival >= b->s->n_steps || !room_at_home(t, v, place, batch, arrival))
        return false;
    for (int k = v + 1; k <= t->trial->n_visits; k++)
        t->trial->places[k][batch] = place;
    schedule_leave_idle_covers(b, t->w, t->trial);
    if (!evaluate_exact(b, t->w, t->trial, t->results, NULL, &value) ||
        t->results[batch].damage.odds > b->s->garden->risk.damage ||
        value.broken >= t->value.broken - 1e-9)
        return false;
    /* It is carried there and back: a small risk is not worth it. */
    if (value.broken + value.number + b->s->weights.transfer >= t->value.broken + t->value.number)
        return false;
    accept(t, &value);
    return true;
}

/* Home with it: indoors, where there is room, on a visit before the danger. */
static void take_home(Transfer *t, int batch)
{
    Board *b = t->b;
    int grower, step;
    for (int k = 0; opportunity(t, k, true, &grower, &step); k++) {
        int home = b->s->garden->growers[grower].home_site;
        for (int p = 0; p < b->s->garden->n_places && home != t->w->site; p++) {
            const Place *place = board_place(b, p);
            if (place->site == home && place->indoors && place->kind != PLACE_PROPAGATOR &&
                take_to(t, batch, p, grower, step))
                return;
        }
    }
}

bool transfer_window(Board *b, const Window *w, Schedule *schedule)
{
    if (b->s->garden->n_sites < 1 || w->n_slots == 0)
        return true;
    Transfer t = {.b = b,
                  .w = w,
                  .schedule = schedule,
                  .trial = schedule_new(b, &b->stand),
                  .spare = schedule_new(b, &b->stand),
                  .results = ARENA_NEW(b->arena, b->s->n_batches, BatchResult)};
    BatchResult *before = ARENA_NEW(b->arena, b->s->n_batches, BatchResult);
    t.shut = ARENA_NEW(b->arena, b->s->garden->n_places, int);
    t.nights = ARENA_NEW(b->arena, b->s->n_chains, Track);
    t.sure = ARENA_NEW(b->arena, b->s->garden->n_places, uint8_t);
    if (b->arena->failed || !search_open(b, w, &t.search) ||
        !evaluate_exact(b, w, schedule, before, NULL, &t.value))
        return false;
    for (int i = 0; i < b->s->n_batches; i++) {
        bool lost = board_site(b, b->stand.places[i]) == w->site &&
                    before[i].damage.odds > b->s->garden->risk.damage;
        if (lost && b->stand.stages[i] != STAGE_PLANTED_OUT)
            take_home(&t, i);
    }
    plant_ready(&t);
    bring_batches(&t);
    schedule_leave_idle_covers(b, w, schedule);
    schedule_drop_idle(b, w, schedule);
    return !b->arena->failed;
}
