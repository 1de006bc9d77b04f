/* SPDX-License-Identifier: MIT */
#include "plan/trips.h"

#include <math.h>

#define SUN_WM2 350.0                 /* as for planting out (docs/plan.md); chosen */
#define GUST_MS 11.0                  /* as for planting out; chosen */
#define SUN_STEPS (3 * STEPS_PER_H)   /* over which it is looked at; chosen */
#define WAIT_STEPS (36 * STEPS_PER_H) /* a milder time is waited for; chosen */

int trips_of(const Garden *garden, int grower, int trays)
{
    int most = garden->growers[grower].trays_per_trip;
    return most <= 0 || trays <= most ? 1 : (trays + most - 1) / most;
}

/* Trays that come to the site at a visit, and those that leave it. */
static void carried(const Board *b, const Window *w, const Schedule *s, int visit, int *ret_in,
                    int *ret_out)
{
    *ret_in = *ret_out = 0;
    for (int i = 0; i < b->s->n_batches; i++) {
        bool was_here = board_site(b, s->places[visit][i]) == w->site,
             is_here = board_site(b, s->places[visit + 1][i]) == w->site;
        if (was_here != is_here)
            *(is_here ? ret_in : ret_out) += b->s->batches[i].trays;
    }
}

double trips_extra_min(const Board *b, const Window *w, const Schedule *s, int visit)
{
    const Grower *grower = &b->s->garden->growers[s->grower[visit]];
    int in, out;
    if (grower->trays_per_trip <= 0 || grower->home_site == w->site)
        return 0.0;
    carried(b, w, s, visit, &in, &out);
    int trips = int_max(trips_of(b->s->garden, s->grower[visit], in),
                        trips_of(b->s->garden, s->grower[visit], out));
    return 2.0 * grower->travel_min * (trips - 1);
}

bool trips_fit(const Board *b, const Window *w, const Schedule *s, int visit)
{
    double extra_s = trips_extra_min(b, w, s, visit) * 60.0;
    for (int i = 0; extra_s > 0.0 && i < w->n_slots; i++) {
        const Slot *slot = &w->slots[i];
        if (slot->grower == s->grower[visit] && s->visit_step[visit] >= slot->from &&
            s->visit_step[visit] <= slot->to)
            return extra_s <= (double)(slot->to - s->visit_step[visit]) * STEP_S;
    }
    return extra_s <= 0.0;
}

static bool is_harsh(const Board *b, int site, int step)
{
    const OutdoorStep *o = b->s->sites[site].steps;
    double sun = 0.0, gust = 0.0;
    for (int i = step; i < step + SUN_STEPS && i < b->s->n_steps; i++) {
        sun += o[i].radiation_wm2 / SUN_STEPS;
        gust = fmax(gust, o[i].gust_ms);
    }
    return sun > SUN_WM2 || gust > GUST_MS;
}

bool trips_should_wait(const Board *b, const Window *window, int step)
{
    if (!is_harsh(b, window->site, step))
        return false;
    for (int n = 0; n < b->n_windows; n++) {
        const Window *w = &b->windows[n];
        for (int i = 0; w->site == window->site && i < w->n_slots; i++) {
            int at = w->slots[i].step;
            if (at > step && at <= step + WAIT_STEPS && !is_harsh(b, w->site, at))
                return true;
        }
    }
    return false;
}
