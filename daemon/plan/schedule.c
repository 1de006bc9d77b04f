/* SPDX-License-Identifier: MIT */
#include "plan/schedule.h"
#include "plan/trips.h"

Schedule *schedule_new(const Board *b, const Stand *stand)
{
    int n_places = b->s->garden->n_places, n_batches = b->s->n_batches;
    Schedule *schedule = ARENA_NEW(b->arena, 1, Schedule);
    int *planted = ARENA_NEW(b->arena, n_batches, int);
    if (b->arena->failed)
        return NULL;
    schedule->planted_at = planted;
    for (int i = 0; i < n_batches; i++)
        planted[i] = -1;
    for (int seg = 0; seg < SEGMENTS_MAX; seg++) {
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
    memcpy(to->planted_at, from->planted_at, (size_t)b->s->n_batches * sizeof(int));
    for (int seg = 0; seg <= from->n_visits; seg++) {
        memcpy(to->positions[seg], from->positions[seg],
               (size_t)b->s->garden->n_places * sizeof(int));
        memcpy(to->places[seg], from->places[seg], (size_t)b->s->n_batches * sizeof(int));
    }
}

int schedule_jobs(const Board *b, const Window *w, const Schedule *s, int visit,
                  double *ret_minutes)
{
    int covers = 0, moves = 0;
    for (int p = 0; p < b->s->garden->n_places; p++)
        covers +=
            s->positions[visit][p] != s->positions[visit + 1][p] && board_site(b, p) == w->site;
    for (int i = 0; i < b->s->n_batches; i++)
        moves += s->places[visit][i] != s->places[visit + 1][i] || s->planted_at[i] == visit;
    if (ret_minutes != NULL)
        *ret_minutes = board_visit_min(b, w->site) + b->s->weights.cover_min * covers +
                       b->s->weights.move_min * moves + trips_extra_min(b, w, s, visit);
    return covers + moves;
}

static void copy_segment(const Board *b, Schedule *s, int to, int from)
{
    memcpy(s->positions[to], s->positions[from], (size_t)b->s->garden->n_places * sizeof(int));
    memcpy(s->places[to], s->places[from], (size_t)b->s->n_batches * sizeof(int));
}

int schedule_visit(const Board *b, Schedule *s, int grower, int step)
{
    int at = 0;
    while (at < s->n_visits && s->visit_step[at] < step)
        at++;
    if (at < s->n_visits && s->visit_step[at] == step)
        return at;
    if (s->n_visits == VISITS_MAX)
        return -1;
    for (int v = s->n_visits++; v > at; v--) {
        s->visit_step[v] = s->visit_step[v - 1];
        s->grower[v] = s->grower[v - 1];
    }
    s->visit_step[at] = step;
    s->grower[at] = grower;
    for (int k = s->n_visits; k > at; k--)
        copy_segment(b, s, k, k - 1);
    for (int i = 0; i < b->s->n_batches; i++)
        s->planted_at[i] += s->planted_at[i] >= at;
    return at;
}

void schedule_drop_idle(const Board *b, const Window *w, Schedule *s)
{
    for (int v = s->n_visits - 1; v >= 0; v--) {
        if (schedule_jobs(b, w, s, v, NULL) > 0 ||
            window_fixed(w, s->grower[v], s->visit_step[v]) != NULL)
            continue;
        for (int k = v + 1; k < s->n_visits; k++) {
            s->visit_step[k - 1] = s->visit_step[k];
            s->grower[k - 1] = s->grower[k];
            copy_segment(b, s, k, k + 1);
        }
        s->n_visits--;
        for (int i = 0; i < b->s->n_batches; i++)
            s->planted_at[i] -= s->planted_at[i] > v;
    }
}

bool schedule_shelters(const Board *b, const Schedule *s, int segment, int place)
{
    for (int i = 0; i < b->s->n_batches; i++) {
        for (int p = s->places[segment][i]; p >= 0; p = board_place(b, p)->parent) {
            if (p == place)
                return true;
        }
    }
    return false;
}

void schedule_leave_idle_covers(const Board *b, const Window *w, Schedule *s)
{
    for (int k = 1; k <= s->n_visits; k++) {
        for (int p = 0; p < b->s->garden->n_places; p++) {
            if (s->positions[k][p] != s->positions[k - 1][p] && board_site(b, p) == w->site &&
                !schedule_shelters(b, s, k, p))
                s->positions[k][p] = s->positions[k - 1][p];
        }
    }
}

bool schedule_has_room(const Board *b, const Schedule *s, int segment, int place, int batch)
{
    int room = board_place(b, place)->trays;
    if (room < 0)
        return true;
    for (int k = segment; k <= s->n_visits; k++) {
        int taken = batch < 0 ? 0 : b->s->batches[batch].trays;
        for (int i = 0; i < b->s->n_batches; i++) {
            if (i != batch && s->places[k][i] == place && b->stand.stages[i] != STAGE_PLANTED_OUT)
                taken += b->s->batches[i].trays;
        }
        if (taken > room)
            return false;
    }
    return true;
}

bool place_takes_trays(const Board *b, int place)
{
    int root = place;
    while (board_place(b, root)->parent >= 0)
        root = board_place(b, root)->parent;
    return board_place(b, root)->kind != PLACE_BED &&
           board_place(b, place)->kind != PLACE_PROPAGATOR;
}

bool grower_can_be(const Board *b, int site, int grower, int step)
{
    int64_t start = board_utc(b, step);
    double travel_s = b->s->garden->growers[grower].travel_min * 60.0;
    /* What the grower fixed is made; nothing else comes in its way. */
    for (int i = 0; i < b->n_fixed; i++) {
        const FixedVisit *f = &b->fixed[i];
        if (f->grower == grower && f->site == site && f->step == step)
            return true;
    }
    for (int i = 0; i < b->n_fixed; i++) {
        const FixedVisit *f = &b->fixed[i];
        int first = f->step < step ? f->site : site;
        double apart_s = (double)int_abs(f->step - step) * STEP_S;
        if (f->grower == grower && f->site != site &&
            apart_s < travel_s + board_visit_min(b, first) * 60.0)
            return false;
    }
    for (int i = 0; i < b->plan->n_visits; i++) {
        const Visit *v = &b->plan->visits[i];
        if (v->grower != grower || v->site == site)
            continue;
        double there_s = (v->start_utc < start ? v->minutes : board_visit_min(b, site)) * 60.0;
        double apart_s =
            (double)(v->start_utc < start ? start - v->start_utc : v->start_utc - start);
        if (apart_s < travel_s + there_s)
            return false;
    }
    return true;
}
