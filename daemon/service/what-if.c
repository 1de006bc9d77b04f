/* SPDX-License-Identifier: MIT */
#include "service/what-if.h"

#include <string.h>

#include "base/error.h"
#include "climate/chain.h"
#include "odds/cover-filter.h"
#include "ramp/ramp.h"
#include "service/forecasts.h"
#include "weather/normals.h"
#include "weather/warning.h"

static GArray *copy_of(const GArray *from)
{
    GArray *to =
        g_array_sized_new(FALSE, FALSE, g_array_get_element_size((GArray *)from), from->len);

    return from->len > 0 ? g_array_append_vals(to, from->data, from->len) : to;
}

/* Nobody can be anywhere in the past, but where a visit is under way: from its start on. */
static int64_t begins_utc(const Service *s, const VisitWindow *window)
{
    int64_t from_utc = MAX(window->from_utc, clock_now(s->clk));

    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *open = s->visits->pdata[i];
        if (open->begun && !open->closed && open->visit.grower == window->grower &&
            open->visit.site == window->site && open->visit.start_utc >= window->from_utc)
            from_utc = MIN(from_utc, open->visit.start_utc);
    }
    return from_utc;
}

/* What is left of the windows of the last plan, but for those that hold the visit that nobody
 * makes.
 */
static GArray *windows_of(const Service *s, const OpenVisit *without)
{
    GArray *windows = copy_of(s->windows);

    for (guint i = windows->len; i-- > 0;) {
        VisitWindow *w = &g_array_index(windows, VisitWindow, i);
        const gboolean skipped = without != NULL && w->grower == without->visit.grower &&
                                 w->site == without->visit.site &&
                                 w->from_utc <= without->visit.start_utc &&
                                 w->to_utc >= without->visit.start_utc;
        w->from_utc = begins_utc(s, w);
        if (skipped || w->from_utc > w->to_utc)
            g_array_remove_index(windows, i);
    }
    return windows;
}

/* What was published for the time after the last plan: a visit that began since had not then. */
static GPtrArray *visits_of(const Service *s, const OpenVisit *without)
{
    GPtrArray *visits = g_ptr_array_new_with_free_func(g_free);

    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *visit = s->visits->pdata[i];
        if (visit == without || (visit->begun && visit->visit.start_utc < s->planned_utc))
            continue;
        OpenVisit *copy = g_memdup2(visit, sizeof *visit); /* its jobs stay the service's */
        copy->begun = FALSE;
        g_ptr_array_add(visits, copy);
    }
    return visits;
}

/* What readings have taught of all places, and the prior of one more. */
static CoverError *covers_of(const Service *s, const Chain *more)
{
    const gsize n = (gsize)s->garden->n_places * POSITIONS_MAX;
    CoverError *covers = g_new0(CoverError, n + POSITIONS_MAX);

    memcpy(covers, forecasts_learned(s->forecasts)->covers, n * sizeof *covers);
    for (int which = 0; more != NULL && which < EXTREMES; which++) {
        const ChainLayer *layer = &more->layers[0];
        CoverFilter filter;
        cover_filter_begin(chain_spread_k(more, 0, (Extreme)which),
                           layer->covered ? &layer->cover : NULL, &filter);
        for (int p = 0; p < POSITIONS_MAX; p++)
            covers[n + (gsize)p].of[which] = cover_filter_now(&filter, p);
    }
    return covers;
}

/* One more place, shut and empty, at rest as a place is that was never seen. */
static gboolean add_place(WhatIf *w, const Place *place)
{
    State *state = &w->service.current;
    const int p = w->garden.n_places;
    Place *places = g_new0(Place, (gsize)p + 1);

    memcpy(places, w->garden.places, (gsize)p * sizeof *places);
    places[p] = *place;
    w->garden.places = places;
    w->own_places = TRUE;
    w->garden.n_places = p + 1;
    state->chains = g_renew(Chain, state->chains, p + 1);
    state->chain_states = g_renew(ChainState, state->chain_states, p + 1);
    state->positions = g_renew(int, state->positions, p + 1);
    state->positions[p] = 0;
    Chain *chain = &state->chains[state->n_chains];
    if (!chain_build(&w->garden, p, chain))
        return FALSE;
    const double mean_c =
        weather_normals_mean_c(&w->garden.sites[place->site].normals, w->service.current.as_of_utc);
    chain_rest(chain, mean_c, mean_c, &state->chain_states[state->n_chains++]);
    return TRUE;
}

static const SolarDay *day_of(const SiteWeather *weather, int day)
{
    for (guint i = 0; i < weather->days->len; i++)
        if (g_array_index(weather->days, SolarDay, i).day == day)
            return &g_array_index(weather->days, SolarDay, i);
    return NULL;
}

/* As weather is shifted by a warning that was heard, half-hour by half-hour. */
static void add_frost(WhatIf *w, const StoreWarning *frost)
{
    SiteWeather *weather = &w->weather[frost->site];
    const SolarDay *evening = day_of(weather, frost->night_day),
                   *morning = day_of(weather, frost->night_day + 1);
    g_autoptr(GArray) hours = g_array_new(FALSE, TRUE, sizeof(WeatherHour));
    const WeatherSeries series = {.hours = hours};
    const WeatherWarning warning = {.low_c = frost->low_c};

    if (evening == NULL || morning == NULL || evening->sunset_utc == 0 || morning->sunrise_utc == 0)
        return;
    weather->steps = copy_of(weather->steps);
    w->own_site = frost->site;
    for (guint i = 0; i < weather->steps->len; i++) {
        const OutdoorStep *step = &g_array_index(weather->steps, OutdoorStep, i);
        const WeatherHour hour = {.time_utc = weather->first_utc + (int64_t)i * STEP_S,
                                  .temperature_c = step->air_c,
                                  .dew_point_c = step->dew_point_c,
                                  .spread_k = step->spread_k,
                                  .estimated = step->estimated};
        g_array_append_val(hours, hour);
    }
    w->colder = weather_apply_warning((WeatherSeries *)&series, &warning, evening->sunset_utc,
                                      morning->sunrise_utc);
    for (guint i = 0; i < hours->len; i++) {
        const WeatherHour *hour = &g_array_index(hours, WeatherHour, i);
        OutdoorStep *step = &g_array_index(weather->steps, OutdoorStep, i);
        step->sky_c += hour->temperature_c - step->air_c; /* a sky as clear as it was */
        step->air_c = hour->temperature_c;
        step->dew_point_c = hour->dew_point_c;
        step->spread_k = hour->spread_k;
        step->estimated = hour->estimated;
    }
}

/* As if it had been told so when it was begun. */
static void sow(WhatIf *w, int batch, int64_t sown_utc)
{
    Batch *b = &g_array_index(w->service.current.batches, Batch, batch);
    const Crop *crop = &w->garden.crops[b->crop];

    b->sown_utc = sown_utc;
    b->stage = situation_grown_stage(crop, b, w->service.planned_utc);
    b->growth = (Growth){0};
    ramp_begin(crop, w->service.current.as_of_utc, &b->ramp);
}

WhatIf *what_if_new(const Service *s, const Supposed *supposed, GError **error)
{
    g_autoptr(WhatIf) w = g_new0(WhatIf, 1);

    w->service = *s;
    w->garden = *s->garden;
    w->own_site = -1;
    w->service.garden = &w->garden;
    w->service.plan = (Plan){0};
    w->service.arena = (Arena){0};
    w->service.current = (State){0};
    w->service.windows = windows_of(s, supposed->without);
    w->service.visits = visits_of(s, supposed->without);
    w->weather = g_memdup2(s->weather, (gsize)s->garden->n_sites * sizeof *s->weather);
    w->service.weather = w->weather;
    state_copy(&s->current, &w->service.current, s->garden);
    if (supposed->place != NULL && !add_place(w, supposed->place)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_FAILED, "such a place cannot be reckoned");
        return NULL;
    }
    const int last = w->service.current.n_chains - 1;
    w->covers = covers_of(s, supposed->place != NULL ? &w->service.current.chains[last] : NULL);
    if (supposed->frost != NULL)
        add_frost(w, supposed->frost);
    if (supposed->batch >= 0)
        sow(w, supposed->batch, supposed->sown_utc);
    return g_steal_pointer(&w);
}

Situation *what_if_look(WhatIf *w, GError **error)
{
    return situation_new(&w->service, w->service.planned_utc, w->covers, error);
}

void what_if_free(WhatIf *w)
{
    if (w == NULL)
        return;
    state_clear(&w->service.current);
    g_clear_pointer(&w->service.windows, g_array_unref);
    g_clear_pointer(&w->service.visits, g_ptr_array_unref);
    if (w->own_site >= 0)
        g_array_unref(w->weather[w->own_site].steps);
    g_free(w->weather);
    if (w->own_places)
        g_free(w->garden.places);
    g_free(w->covers);
    g_free(w);
}
