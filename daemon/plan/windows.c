/* SPDX-License-Identifier: MIT */
/* When somebody can be where: the windows of each site, and the stretches of a visit in them. */
#include "plan/board.h"
#include "plan/marks.h"

#define FAR_APART_STEPS                                                                            \
    (4 * STEPS_PER_H) /* a longer stretch is tried at both of its ends; chosen */
#define JOIN_RAMP_DAY_STEPS                                                                        \
    6 /* a ramp day that ends so soon after a window is judged with it; chosen */

/* One stretch of a visit window; tried first in its middle, whatever is published, so that the
 * search is the same. */
static void slot_add(Window *w, const VisitWindow *v, int from, int to)
{
    int fixed = 0;
    for (int i = 0; i < w->n_slots; i++)
        fixed += w->slots[i].fixed_utc != 0;
    if ((v->fixed ? fixed == VISITS_MAX : w->n_slots - fixed == STRETCHES_MAX) || to < from)
        return;
    int at = w->n_slots++, step = from + (to - from) / 2;
    while (at > 0 && w->slots[at - 1].step > step) {
        w->slots[at] = w->slots[at - 1];
        at--;
    }
    w->slots[at] = (Slot){.grower = v->grower,
                          .from = from,
                          .to = to,
                          .step = step,
                          .helped = v->helped,
                          .fixed_utc = v->fixed ? v->from_utc : 0};
}

/* A longer stretch as two. */
static void stretch_add(Window *w, const VisitWindow *v, int from, int to)
{
    int middle = from + (to - from) / 2;
    if (to - from > FAR_APART_STEPS) {
        slot_add(w, v, from, middle - 1);
        slot_add(w, v, middle, to);
    } else {
        slot_add(w, v, from, to);
    }
}

/* When the grower can be there at the earliest: now, at home; elsewhere after the way, unless a
 * visit that is published already has them on it. */
static int64_t earliest_utc(const Snapshot *s, const VisitWindow *v)
{
    const Grower *grower = &s->garden->growers[v->grower];
    if (v->site == grower->home_site || v->helped)
        return s->now_utc;
    int64_t there_utc = s->now_utc + (int64_t)(grower->travel_min * 60.0);
    for (int i = 0; i < s->n_former; i++) {
        const Visit *f = &s->former[i];
        if (f->grower == v->grower && f->site == v->site && f->start_utc >= s->now_utc &&
            f->start_utc < there_utc)
            there_utc = f->start_utc;
    }
    return there_utc;
}

static void slots_from(const Board *b, Window *w, const VisitWindow *v)
{
    const Snapshot *s = b->s;
    int64_t earliest = earliest_utc(s, v);
    int from = board_step_at_or_after(s, v->from_utc > earliest ? v->from_utc : earliest);
    if (v->fixed) {
        from = board_step_at_or_after(s, v->from_utc);
        for (int i = 0; i < w->n_slots; i++)
            from = w->slots[i].fixed_utc != 0 && w->slots[i].step == from ? s->n_steps : from;
        if (from < s->n_steps) /* and not two at once */
            slot_add(w, v, from, from);
        return;
    }
    int64_t span = v->to_utc - s->start_utc,
            visit_s = (int64_t)(board_visit_min(b, w->site) * 60.0);
    if (span < 0 || from >= s->n_steps || (int64_t)from * STEP_S > span)
        return;
    /* The work is done before the grower must leave, but where the stretch is shorter than that. */
    int64_t latest = (span - visit_s) / STEP_S;
    int to = latest >= s->n_steps ? s->n_steps - 1 : int_max((int)latest, from);
    /* Other visits are before a fixed one or after it: slots follow each other. */
    for (int i = 0; i < b->n_fixed; i++) {
        const FixedVisit *fixed = &b->fixed[i];
        if (fixed->site != w->site || fixed->step < from || fixed->step > to)
            continue;
        stretch_add(w, v, from, fixed->step - 1);
        from = fixed->step + 1;
    }
    stretch_add(w, v, from, to);
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

/* The windows of one site, in time; the days on which nobody can come belong to the window before.
 */
static void site_windows(Board *b, int site)
{
    const Snapshot *s = b->s;
    int begin = b->n_windows;
    uint64_t growers_seen = 0;
    bool offered = false;
    for (int i = 0; i < s->n_windows; i++) {
        const VisitWindow *v = &s->windows[i];
        if (v->site != site || v->to_utc < s->now_utc ||
            v->from_utc >= s->start_utc + (int64_t)s->n_steps * STEP_S)
            continue;
        Window *w = b->n_windows > begin ? &b->windows[b->n_windows - 1] : NULL;
        if (w == NULL || w->day != v->day || w->n_slots == 0) {
            int first = board_step_at_or_after(s, v->from_utc);
            if (w == NULL && first > 0)
                window_open(b, site, 0, v->day - 1);
            if (w == NULL || w->n_slots > 0 || w->day != v->day)
                window_open(b, site, first, v->day);
            w = &b->windows[b->n_windows - 1];
            growers_seen = 0;
            offered = false;
        }
        slots_from(b, w, v);
        w->cap += v->offered && !offered;
        offered = offered || v->offered;
        uint64_t grower = (uint64_t)1 << (v->grower & 63);
        if (!(growers_seen & grower))
            w->cap += cap_of(b, site, v->grower);
        growers_seen |= grower;
    }
    if (b->n_windows == begin)
        window_open(b, site, 0, s->sites[site].n_days > 0 ? s->sites[site].days[0].day : 0);
    for (int i = begin; i < b->n_windows; i++) {
        Window *w = &b->windows[i];
        int fixed = 0;
        for (int k = 0; k < w->n_slots; k++) {
            w->fixed |= w->slots[k].fixed_utc != 0 ? 1u << k : 0u;
            fixed += w->slots[k].fixed_utc != 0;
        }
        w->ordinal = i - begin;
        w->cap = int_max(w->cap > VISITS_MAX ? VISITS_MAX : w->cap, fixed);
        w->end = i + 1 < b->n_windows ? b->windows[i + 1].first : s->n_steps;
        w->eval_end = w->end;
        for (int k = w->end; k < w->end + JOIN_RAMP_DAY_STEPS && k < s->n_steps; k++) {
            if ((b->marks[site][k] & MARK_CLOSES) && w->end > w->first) {
                w->joins = true;
                w->eval_end = k;
            }
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

/* By time, as the windows are. */
static bool open_fixed(Board *b)
{
    const Snapshot *s = b->s;
    b->fixed = ARENA_NEW(b->arena, s->n_windows, FixedVisit);
    for (int i = 0; b->fixed != NULL && i < s->n_windows; i++) {
        const VisitWindow *v = &s->windows[i];
        int step = board_step_at_or_after(s, v->from_utc);
        if (v->fixed && v->from_utc >= s->now_utc && step < s->n_steps)
            b->fixed[b->n_fixed++] = (FixedVisit){v->grower, v->site, step};
    }
    return b->fixed != NULL;
}

bool board_open_windows(Board *b)
{
    size_t room = (size_t)b->s->n_windows + 2u * (size_t)b->s->garden->n_sites;
    b->windows = ARENA_NEW(b->arena, room, Window);
    if (b->windows == NULL || !open_fixed(b))
        return false;
    for (int site = 0; site < b->s->garden->n_sites; site++)
        site_windows(b, site);
    sort_windows(b);
    return true;
}
