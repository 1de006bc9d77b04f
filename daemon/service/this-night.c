/* SPDX-License-Identifier: MIT */
#include "service/this-night.h"

#include <math.h>

#include "odds/cover-error.h"
#include "weather/forecast.h"

#define HOUR_S 3600.0
#define NOT_FORECAST (EST_TEMPERATURE | EST_WARNING) /* normals, and what the grower heard */

static OutdoorStep *step_at(const SiteWeather *weather, guint i)
{
    return &g_array_index(weather->steps, OutdoorStep, i);
}

static void shift(OutdoorStep *step, double shift_k)
{
    step->air_c += shift_k;
    step->sky_c += shift_k; /* a sky as clear as it was */
}

double this_night_bias_k(const Learned *learned, int site, int64_t issued_utc, int64_t utc,
                         const OutdoorStep *step)
{
    if (step->estimated & NOT_FORECAST)
        return 0.0;
    CoverError error = learned_open_air(learned, site, (double)(utc - issued_utc) / HOUR_S);
    return cover_error_at(&error, step->radiation_wm2).bias_k;
}

static void add_learned(const Learned *learned, int site, SiteWeather *w)
{
    for (guint i = 0; i < w->steps->len; i++) {
        OutdoorStep *step = step_at(w, i);
        int64_t utc = w->first_utc + (int64_t)i * STEP_S;
        double lead_h = (double)(utc - w->issued_utc) / HOUR_S;
        if (step->estimated & NOT_FORECAST)
            continue;
        CoverError error = learned_open_air(learned, site, lead_h);
        CoverErrorAt at = cover_error_at(&error, step->radiation_wm2);
        shift(step, at.bias_k);
        step->spread_k *= at.spread_k / weather_spread_k(lead_h);
    }
}

double this_night_outdoors_c(const SiteWeather *w, int64_t utc)
{
    int64_t i = (utc - w->first_utc) / STEP_S;
    if (utc < w->first_utc || i + 1 >= (int64_t)w->steps->len)
        return NAN;
    double share = (double)(utc - w->first_utc - i * STEP_S) / STEP_S;
    const OutdoorStep *step = step_at(w, (guint)i);
    return step->air_c + share * (step[1].air_c - step->air_c);
}

/* What a place was last read in: readings in another position say nothing of this one. */
static int last_position(const Learned *learned, int place)
{
    int position = -1;
    for (guint i = 0; i < learned->readings->len; i++) {
        const StoreReading *r = &g_array_index(learned->readings, StoreReading, i);
        if (r->reading.place == place && r->kind == STORE_READING_INSTANT)
            position = r->basis.position;
    }
    return position;
}

/* What of the open air's error comes into a place, its covers as they are. */
static double share_of(const Service *s, int place)
{
    for (int c = 0; c < s->current.n_chains; c++) {
        const Chain *chain = &s->current.chains[c];
        int positions[CHAIN_LAYERS_MAX], layer = -1;
        for (int l = 0; l < chain->n; l++) {
            positions[l] = s->current.positions[chain->layers[l].place];
            layer = chain->layers[l].place == place ? l : layer;
        }
        if (layer >= 0)
            return chain_open_share(chain, positions, layer);
    }
    return 1.0;
}

/* One reading beside what is now expected of that time, without any reading of this night. */
static gboolean as_tonight(const Service *s, const Learned *learned, const StoreReading *reading,
                           const SiteWeather *w, TonightReading *ret)
{
    const StoreBasis *b = &reading->basis;
    double outdoors_c = this_night_outdoors_c(w, reading->reading.time_utc);
    *ret = (TonightReading){.time_utc = reading->reading.time_utc, .place = TONIGHT_OUTDOORS};
    if (!learned_judge(learned, s, reading, reading->reading.time_utc).tonight ||
        isnan(outdoors_c) || isnan(b->computed_c))
        return FALSE;
    ret->outdoor_spread_k = step_at(w, (guint)((ret->time_utc - w->first_utc) / STEP_S))->spread_k;
    if (learned_is_open_air(s, reading)) {
        ret->error_k = reading->reading.value_c - outdoors_c;
        return TRUE;
    }
    ret->place = reading->reading.place;
    ret->place_spread_k = b->spread_k;
    double share = share_of(s, ret->place);
    ret->outdoor_spread_k *= share;
    if (b->position < 0 || b->position != last_position(learned, ret->place))
        return FALSE;
    /* What has been learned, and forecast, since it was told. */
    const CoverError *error = &learned->covers[(ptrdiff_t)ret->place * POSITIONS_MAX + b->position];
    double since_k = cover_error_at(error, b->light_wm2).bias_k - b->bias_k +
                     (isnan(b->outdoor_c) ? 0.0 : share * (outdoors_c - b->outdoor_c));
    ret->error_k = reading->reading.value_c - (b->computed_c + since_k);
    return isfinite(ret->error_k);
}

/* Two within one half-hour are one reading: the later puts the earlier right. */
static gboolean is_read_again(const Learned *learned, guint i)
{
    const StoreReading *a = &g_array_index(learned->readings, StoreReading, i);
    for (guint k = i + 1; k < learned->readings->len; k++) {
        const StoreReading *b = &g_array_index(learned->readings, StoreReading, k);
        if (b->reading.time_utc >= a->reading.time_utc + STEP_S)
            return FALSE;
        if (b->kind == a->kind && b->reading.place == a->reading.place && b->site == a->site)
            return TRUE;
    }
    return FALSE;
}

static void add_readings(const Service *s, const Learned *learned, int site, SiteWeather *w)
{
    int64_t now_utc = clock_now(s->clk);
    tonight_begin(learned->sites[site].decay_h, &w->tonight);
    for (guint i = 0; i < learned->readings->len; i++) {
        const StoreReading *reading = &g_array_index(learned->readings, StoreReading, i);
        TonightReading read;
        if (reading->reading.time_utc <= now_utc - THIS_NIGHT_S ||
            reading->kind != STORE_READING_INSTANT || learned_site(s, reading) != site ||
            is_read_again(learned, i) || !as_tonight(s, learned, reading, w, &read) ||
            !tonight_read(&read, &w->tonight))
            continue;
        w->tonight_to_utc = read.time_utc + THIS_NIGHT_S;
    }
}

void this_night_weather(const Service *s, const Learned *learned, int site, SiteWeather *w)
{
    add_learned(learned, site, w);
    add_readings(s, learned, site, w);
    if (w->tonight_to_utc == 0)
        return;
    w->tonight_spread = g_array_sized_new(FALSE, FALSE, sizeof(double), w->steps->len);
    for (guint i = 0; i < w->steps->len; i++) {
        OutdoorStep *step = step_at(w, i);
        int64_t utc = w->first_utc + (int64_t)i * STEP_S;
        double spread_k = step->spread_k;
        if (utc >= w->tonight.at_utc && utc <= w->tonight_to_utc) {
            TonightError error = tonight_outdoors(&w->tonight, utc, spread_k);
            /* A frost heard of is not made warmer. */
            shift(step, step->estimated & EST_WARNING ? fmin(0.0, error.shift_k) : error.shift_k);
            spread_k = sqrt(fmax(0.0, error.variance_k2));
        }
        g_array_append_val(w->tonight_spread, spread_k);
    }
}

static void fill_place(const Service *s, const Learned *learned, const SiteWeather *w, int place,
                       const ThisNight *night, TonightError *steps)
{
    int position = last_position(learned, place);
    int64_t start_utc = s->current.as_of_utc;
    double share = share_of(s, place);
    const CoverError *error = &learned->covers[(ptrdiff_t)place * POSITIONS_MAX + MAX(position, 0)];
    for (int i = 0; i < night->n; i++) {
        int64_t utc = start_utc + (int64_t)i * STEP_S;
        const OutdoorStep *step = step_at(w, (guint)((utc - w->first_utc) / STEP_S));
        double own_k = cover_error_at(error, step->radiation_wm2).spread_k;
        steps[i] = tonight_place(&w->tonight, place, utc, share * step->spread_k, own_k);
    }
    night->places[place] = (TonightPlace){.position = MAX(position, 0), .steps = steps};
}

void this_night_of(const Service *s, const Learned *learned, int n_steps, ThisNight *ret)
{
    ThisNight night = {0};
    int n_places = s->garden->n_places;
    for (int site = 0; site < s->garden->n_sites; site++) {
        int64_t left_s = s->weather[site].tonight_to_utc - s->current.as_of_utc;
        night.n = MAX(night.n, (int)MIN(left_s / STEP_S, n_steps));
    }
    if (night.n > 0) {
        night.places = g_new0(TonightPlace, n_places);
        night.steps = g_new0(TonightError, (gsize)n_places * (gsize)night.n);
    }
    for (int site = 0; night.n > 0 && site < s->garden->n_sites; site++) {
        const SiteWeather *w = &s->weather[site];
        for (int k = 1; w->tonight_to_utc != 0 && k < w->tonight.n; k++) {
            int place = w->tonight.place[k];
            fill_place(s, learned, w, place, &night, &night.steps[(gsize)place * (gsize)night.n]);
        }
    }
    *ret = night;
}

void this_night_clear(ThisNight *night)
{
    g_clear_pointer(&night->places, g_free);
    g_clear_pointer(&night->steps, g_free);
}
