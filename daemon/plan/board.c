/* SPDX-License-Identifier: MIT */
/*
 * Sets the board: which steps are day or night, when somebody can be where, what each destination expects.
 */
#include "plan/board.h"
#include "plan/marks.h"

#include <math.h>

#define FAR_APART_STEPS (4 * STEPS_PER_H) /* a longer stretch is tried at both of its ends */
#define JOIN_RAMP_DAY_STEPS 6             /* a ramp day that ends so soon after a window is judged with it */
#define DESTINATION_NIGHTS 5              /* nights whose mean a destination is expected to give */

PlanWeights plan_weights_default(void)
{
    return (PlanWeights){.lost_batch = 60.0,
                         .check = 5.0,
                         .visit_min = 15.0,
                         .cover_min = 1.0,
                         .move_min = 5.0,
                         .moved_visit = 0.1,
                         .dropped_visit = 0.2,
                         .transfer = 0.5};
}

static int step_at_or_after(const Snapshot *s, int64_t utc)
{
    int64_t d = utc - s->start_utc;
    if (d <= 0)
        return 0;
    int64_t step = (d + STEP_S - 1) / STEP_S;
    return step > s->n_steps ? s->n_steps : (int)step;
}

static void mark_site(const Snapshot *s, int site, uint8_t *marks)
{
    for (int i = 0; i <= s->n_steps; i++)
        marks[i] = marks_at(&s->sites[site], s->garden->sites[site].latitude, s->start_utc + (int64_t)i * STEP_S);
}

static bool map_places(Board *b)
{
    int n = b->s->garden->n_places;
    b->chain_of = ARENA_NEW(b->arena, n, int);
    b->layer_of = ARENA_NEW(b->arena, n, int);
    if (b->chain_of == NULL || b->layer_of == NULL)
        return false;
    for (int c = 0; c < b->s->n_chains; c++) {
        for (int l = 0; l < b->s->chains[c].n; l++) {
            b->chain_of[b->s->chains[c].layers[l].place] = c;
            b->layer_of[b->s->chains[c].layers[l].place] = l;
        }
    }
    return true;
}

/* One stretch of a visit window; a published visit in it is where it is tried first. */
static void slot_add(const Board *b, Window *w, int grower, int from, int to)
{
    if (w->n_slots == SLOTS_MAX || to < from)
        return;
    Slot slot = {.grower = grower, .from = from, .to = to, .step = from + (to - from) / 2};
    for (int i = 0; i < b->s->n_former; i++) {
        const Visit *f = &b->s->former[i];
        if (f->site != w->site || f->grower != grower)
            continue;
        int step = step_at_or_after(b->s, f->start_utc);
        if (step >= from && step <= to && f->start_utc >= b->s->start_utc) {
            slot.step = step;
            slot.published = true;
        }
    }
    int at = w->n_slots++;
    while (at > 0 && w->slots[at - 1].step > slot.step) {
        w->slots[at] = w->slots[at - 1];
        at--;
    }
    w->slots[at] = slot;
}

static void slots_from(const Board *b, Window *w, const VisitWindow *v)
{
    int from = step_at_or_after(b->s, v->from_utc > b->s->now_utc ? v->from_utc : b->s->now_utc);
    int64_t span = v->to_utc - b->s->start_utc;
    if (span < 0)
        return;
    int to = (int)(span / STEP_S);
    if (to >= b->s->n_steps)
        to = b->s->n_steps - 1;
    if (to - from > FAR_APART_STEPS) {
        int middle = from + (to - from) / 2;
        slot_add(b, w, v->grower, from, middle - 1);
        slot_add(b, w, v->grower, middle, to);
    } else {
        slot_add(b, w, v->grower, from, to);
    }
}

static int cap_of(const Board *b, int site, int grower)
{
    const Grower *g = &b->s->garden->growers[grower];
    return g->home_site == site ? g->visits_a_day_home : g->visits_a_day_away;
}

static void window_open(Board *b, int site, int first, int32_t day)
{
    b->windows[b->n_windows++] = (Window){.site = site, .day = day, .first = first};
}

/* The windows of one site, in time; the days on which nobody can come belong to the window before. */
static void site_windows(Board *b, int site)
{
    const Snapshot *s = b->s;
    int begin = b->n_windows, growers_seen = -1;
    for (int i = 0; i < s->n_windows; i++) {
        const VisitWindow *v = &s->windows[i];
        if (v->site != site || v->to_utc < s->now_utc || v->from_utc >= s->start_utc + (int64_t)s->n_steps * STEP_S)
            continue;
        Window *w = b->n_windows > begin ? &b->windows[b->n_windows - 1] : NULL;
        if (w == NULL || w->day != v->day || w->n_slots == 0) {
            int first = step_at_or_after(s, v->from_utc);
            if (w == NULL && first > 0)
                window_open(b, site, 0, v->day - 1);
            if (w == NULL || w->n_slots > 0 || w->day != v->day)
                window_open(b, site, first, v->day);
            w = &b->windows[b->n_windows - 1];
            growers_seen = -1;
        }
        slots_from(b, w, v);
        if (v->grower != growers_seen)
            w->cap += cap_of(b, site, v->grower);
        growers_seen = v->grower;
    }
    if (b->n_windows == begin)
        window_open(b, site, 0, s->sites[site].n_days > 0 ? s->sites[site].days[0].day : 0);
    for (int i = begin; i < b->n_windows; i++) {
        Window *w = &b->windows[i];
        w->ordinal = i - begin;
        w->cap = w->cap > VISITS_MAX ? VISITS_MAX : w->cap;
        w->end = i + 1 < b->n_windows ? b->windows[i + 1].first : s->n_steps;
        w->eval_end = w->end;
        for (int k = w->end; k < w->end + JOIN_RAMP_DAY_STEPS && k < s->n_steps; k++) {
            if ((b->marks[site][k] & MARK_CLOSES) && w->end > w->first)
                w->eval_end = k;
        }
    }
}

static void sort_windows(Board *b)
{
    for (int i = 1; i < b->n_windows; i++) {
        Window w = b->windows[i];
        int at = i;
        while (at > 0 && b->windows[at - 1].first > w.first) {
            b->windows[at] = b->windows[at - 1];
            at--;
        }
        b->windows[at] = w;
    }
}

static bool make_windows(Board *b)
{
    size_t room = (size_t)b->s->n_windows + 2u * (size_t)b->s->garden->n_sites;
    b->windows = ARENA_NEW(b->arena, room, Window);
    if (b->windows == NULL)
        return false;
    for (int site = 0; site < b->s->garden->n_sites; site++)
        site_windows(b, site);
    sort_windows(b);
    return true;
}

Stand stand_new(Board *b)
{
    const Snapshot *s = b->s;
    Stand stand = {.chains = ARENA_NEW(b->arena, s->n_chains, ChainState),
                   .positions = ARENA_NEW(b->arena, s->garden->n_places, int),
                   .places = ARENA_NEW(b->arena, s->n_batches, int),
                   .ramps = ARENA_NEW(b->arena, s->n_batches, RampState),
                   .stages = ARENA_NEW(b->arena, s->n_batches, Stage)};
    return stand;
}

void stand_copy(const Board *b, const Stand *from, Stand *to)
{
    const Snapshot *s = b->s;
    memcpy(to->chains, from->chains, (size_t)s->n_chains * sizeof *to->chains);
    memcpy(to->positions, from->positions, (size_t)s->garden->n_places * sizeof *to->positions);
    memcpy(to->places, from->places, (size_t)s->n_batches * sizeof *to->places);
    memcpy(to->ramps, from->ramps, (size_t)s->n_batches * sizeof *to->ramps);
    memcpy(to->stages, from->stages, (size_t)s->n_batches * sizeof *to->stages);
}

Schedule *schedule_new(const Board *b, const Stand *stand)
{
    int n_places = b->s->garden->n_places, n_batches = b->s->n_batches;
    Schedule *schedule = ARENA_NEW(b->arena, 1, Schedule);
    for (int seg = 0; schedule != NULL && seg < SEGMENTS_MAX; seg++) {
        schedule->positions[seg] = ARENA_NEW(b->arena, n_places, int);
        schedule->places[seg] = ARENA_NEW(b->arena, n_batches, int);
        if (b->arena->failed)
            return NULL;
        memcpy(schedule->positions[seg], stand->positions, (size_t)n_places * sizeof(int));
        memcpy(schedule->places[seg], stand->places, (size_t)n_batches * sizeof(int));
    }
    return schedule;
}

void schedule_copy(const Board *b, const Schedule *from, Schedule *to)
{
    to->n_visits = from->n_visits;
    memcpy(to->visit_step, from->visit_step, sizeof to->visit_step);
    memcpy(to->grower, from->grower, sizeof to->grower);
    memcpy(to->published, from->published, sizeof to->published);
    for (int seg = 0; seg < SEGMENTS_MAX; seg++) {
        memcpy(to->positions[seg], from->positions[seg], (size_t)b->s->garden->n_places * sizeof(int));
        memcpy(to->places[seg], from->places[seg], (size_t)b->s->n_batches * sizeof(int));
    }
}

bool board_is_hardening(const Board *b, int batch)
{
    Stage stage = b->s->batches[batch].stage;
    return stage == STAGE_HARDENING || stage == STAGE_READY || b->may_harden[batch];
}

/* The air at a destination with its covers shut, split into ramp days. */
static bool destination_open(Board *b, int place, DestinationNights *ret)
{
    const Snapshot *s = b->s;
    int site = board_place(b, place)->site, chain = b->chain_of[place], layer = b->layer_of[place];
    int room = s->n_steps / 40 + 3;
    double *air = ARENA_NEW(b->arena, room * RAMP_DAY_STEPS_MAX, double);
    double *leaf = ARENA_NEW(b->arena, room, double), *spread = ARENA_NEW(b->arena, room, double);
    double *soil = ARENA_NEW(b->arena, room, double);
    int *steps = ARENA_NEW(b->arena, room, int), *ends = ARENA_NEW(b->arena, room, int);
    Window whole = {.site = site, .first = 0, .end = s->n_steps, .eval_end = s->n_steps};
    Stand stand = b->start;
    Schedule *shut = schedule_new(b, &stand);
    if (b->arena->failed)
        return false;
    memset(shut->positions[0], 0, (size_t)s->garden->n_places * sizeof(int));
    Track track = track_run(b, chain, &whole, &stand, shut, NULL);
    if (track.steps == NULL)
        return false;
    double model = chain_spread_k(&s->chains[chain], layer);
    *ret = (DestinationNights){.place = place, .air_c = air, .steps = steps, .ends = ends, .leaf_low_c = leaf,
                               .spread_k = spread, .soil_at_eight_c = soil,
                               .shelter = chain_shelter(&s->chains[chain], shut->positions[0], layer),
                               .under_cover = board_place(b, place)->covered};
    int k = 0;
    leaf[0] = INFINITY;
    for (int i = 0; i < s->n_steps && k < room - 1; i++) {
        const PlaceStep *step = &track.steps[(size_t)i * (size_t)s->chains[chain].n + (size_t)layer];
        if ((b->marks[site][i] & MARK_CLOSES) && steps[k] > 0) {
            ends[k] = i;
            soil[k] = step->surface_c;
            k++;
            leaf[k] = INFINITY;
        }
        if (steps[k] < RAMP_DAY_STEPS_MAX)
            air[k * RAMP_DAY_STEPS_MAX + steps[k]++] = step->air_c;
        if (step->leaf_c < leaf[k]) {
            leaf[k] = step->leaf_c;
            spread[k] = hypot(s->sites[site].steps[i].spread_k, model);
        }
    }
    ret->n = k;
    return true;
}

static bool open_destinations(Board *b)
{
    const Snapshot *s = b->s;
    b->destinations = ARENA_NEW(b->arena, s->garden->n_places, DestinationNights);
    b->destination_of = ARENA_NEW(b->arena, s->n_batches, int);
    b->destination_cold_c = ARENA_NEW(b->arena, s->n_batches, double);
    if (b->arena->failed)
        return false;
    for (int i = 0; i < s->n_batches; i++) {
        int place = s->batches[i].destination;
        b->destination_of[i] = -1;
        b->destination_cold_c[i] = board_crop(b, i)->floor_hardened_c;
        if (place < 0)
            continue;
        int d = 0;
        while (d < b->n_destinations && b->destinations[d].place != place)
            d++;
        if (d == b->n_destinations && !destination_open(b, place, &b->destinations[b->n_destinations++]))
            return false;
        b->destination_of[i] = d;
        const DestinationNights *nights = &b->destinations[d];
        double sum = 0.0;
        int n = nights->n < DESTINATION_NIGHTS ? nights->n : DESTINATION_NIGHTS;
        for (int k = 0; k < n; k++)
            sum += ramp_cold_c(nights->air_c + (ptrdiff_t)k * RAMP_DAY_STEPS_MAX, nights->steps[k],
                               s->batches[i].ramp.hardened_to_c);
        if (n > 0)
            b->destination_cold_c[i] = fmax(sum / n, board_crop(b, i)->floor_hardened_c);
    }
    return true;
}

bool board_open(Board *b, const Snapshot *s, uint64_t budget, Arena *arena, Plan *plan)
{
    *b = (Board){.s = s, .arena = arena, .budget = budget, .plan = plan};
    b->marks = ARENA_NEW(arena, s->garden->n_sites, uint8_t *);
    for (int site = 0; b->marks != NULL && site < s->garden->n_sites; site++) {
        b->marks[site] = ARENA_NEW(arena, s->n_steps + 1, uint8_t);
        if (b->marks[site] == NULL)
            return false;
        mark_site(s, site, b->marks[site]);
    }
    b->may_harden = ARENA_NEW(arena, s->n_batches, bool);
    b->ready_utc = ARENA_NEW(arena, s->n_batches, int64_t);
    b->start = stand_new(b);
    b->stand = stand_new(b);
    if (arena->failed || !map_places(b) || !make_windows(b))
        return false;
    memcpy(b->start.chains, s->states, (size_t)s->n_chains * sizeof *s->states);
    memcpy(b->start.positions, s->positions, (size_t)s->garden->n_places * sizeof *s->positions);
    for (int i = 0; i < s->n_batches; i++) {
        b->start.places[i] = s->batches[i].place;
        b->start.ramps[i] = s->batches[i].ramp;
        b->start.stages[i] = s->batches[i].stage;
        b->may_harden[i] = plan_may_harden(s->garden, &s->batches[i], s->now_utc);
    }
    stand_copy(b, &b->start, &b->stand);
    return open_destinations(b);
}
