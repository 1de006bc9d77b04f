/* SPDX-License-Identifier: MIT */
#include "service/predictions.h"

#include <math.h>

#include "base/local-time.h"
#include "service/api-day.h"
#include "service/forecasts.h"
#include "service/this-night.h"
#include "store/store-plan-records.h"

#define PREDICTED_NIGHTS 3 /* whose predictions are kept with each plan; chosen */

static gboolean put_prediction(Service *s, const PlacePrediction *p, Extreme which, GError **error)
{
    int site = s->garden->places[p->place].site;
    gboolean is_low = which == EXTREME_LOW;
    const PredictionBasis *basis = &p->basis[which];
    StorePrediction out = {.made_utc = clock_now(s->clk),
                           .place = p->place,
                           .site = -1,
                           .night_day = p->day,
                           .what = is_low ? STORE_PREDICTED_MIN : STORE_PREDICTED_MAX,
                           .mean_c = is_low ? p->low_c : p->high_c,
                           .spread_k = is_low ? p->low_spread_k : p->high_spread_k,
                           .forecast_issued_utc = s->weather[site].issued_utc,
                           .bias_k = basis->bias_k,
                           .outdoor_spread_k =
                               s->garden->places[p->place].indoors ? 0.0 : basis->outdoor_spread_k,
                           .light_wm2 = basis->light_wm2,
                           .position = basis->position,
                           .tonight = basis->tonight && s->weather[site].tonight_to_utc != 0};
    return store_put_prediction(s->store, s->garden, &out, error);
}

/* The open air of one day, as forecast and corrected; not where readings of the night or a frost
 * heard of are in it, nor normals. */
static gboolean put_outdoors(Service *s, int site, int day, Extreme which, GError **error)
{
    const SiteWeather *w = &s->weather[site];
    ApiNight span;
    gboolean is_low = which == EXTREME_LOW,
             known = is_low ? api_night(s, site, day, &span) : api_noon(s, site, day, &span);
    if (!known || span.low_estimated & (EST_TEMPERATURE | EST_WARNING) ||
        (w->tonight_to_utc != 0 && span.low_utc <= w->tonight_to_utc))
        return TRUE;
    guint step = (guint)((span.low_utc - w->first_utc) / STEP_S);
    StorePrediction out = {.made_utc = w->issued_utc,
                           .place = -1,
                           .open_air = true,
                           .site = site,
                           .night_day = day,
                           .what = is_low ? STORE_PREDICTED_MIN : STORE_PREDICTED_MAX,
                           .mean_c = span.low_c,
                           .spread_k = span.spread_k,
                           .forecast_issued_utc = w->issued_utc,
                           .bias_k = this_night_bias_k(forecasts_learned(s->forecasts), site,
                                                       w->issued_utc, span.low_utc,
                                                       &g_array_index(w->steps, OutdoorStep, step)),
                           .outdoor_spread_k = span.spread_k,
                           .light_wm2 = NAN,
                           .position = -1};
    return store_put_prediction(s->store, s->garden, &out, error);
}

static gboolean put_open_air(Service *s, GError **error)
{
    for (int site = 0; site < s->garden->n_sites; site++) {
        int first = api_tonight(s, site);
        for (int day = first; s->weather[site].issued_utc != 0 && day < first + SERVICE_HORIZON_D;
             day++) {
            if (!put_outdoors(s, site, day, EXTREME_LOW, error) ||
                !put_outdoors(s, site, day, EXTREME_HIGH, error))
                return FALSE;
        }
    }
    return TRUE;
}

gboolean predictions_keep(Service *s, GError **error)
{
    for (int i = 0; i < s->plan.n_predictions; i++) {
        const PlacePrediction *p = &s->plan.predictions[i];
        int site = s->garden->places[p->place].site;
        if (p->day >= local_day(s->zones[site], clock_now(s->clk)) + PREDICTED_NIGHTS)
            continue;
        if (!put_prediction(s, p, EXTREME_LOW, error) || !put_prediction(s, p, EXTREME_HIGH, error))
            return FALSE;
    }
    return put_open_air(s, error);
}
