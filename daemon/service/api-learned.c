/* SPDX-License-Identifier: MIT */
#include "service/api-learned.h"

#include <math.h>

#include "service/api-day.h"
#include "service/forecasts.h"
#include "service/wording-reading.h"

#define HOUR_S 3600

static const char *const extreme_words[EXTREMES] = {"low", "high"};

LearnedError api_learned_open_air(const Service *service, int site, Extreme which, int64_t utc)
{
    const Learned *learned = forecasts_learned(service->forecasts);
    const int64_t issued_utc = service->weather != NULL ? service->weather[site].issued_utc : 0;

    if (learned == NULL || issued_utc == 0)
        return (LearnedError){0};
    return learned_open_air(learned, site, (double)(utc - issued_utc) / HOUR_S).of[which];
}

LearnedError api_learned_place(const Service *service, const PlacePrediction *prediction,
                               Extreme which)
{
    const Learned *learned = forecasts_learned(service->forecasts);
    const int position = CLAMP(prediction->basis[which].position, 0, POSITIONS_MAX - 1);

    if (learned == NULL || learned->covers == NULL)
        return (LearnedError){0};
    return learned->covers[prediction->place * POSITIONS_MAX + position].of[which];
}

static void add_learned(const Service *service, int site, int place, Extreme which,
                        const LearnedError *error, int64_t last_utc, JsonArray *learned)
{
    char *text = wording_learned(service, site, place, which, error);

    if (text == NULL)
        return;
    JsonObject *object = json_object_new();
    api_set_text(object, "place", api_place_name(service, place));
    api_set_text(object, "of", extreme_words[which]);
    api_set_number(object, "bias_k", error->bias_k);
    api_set_number(object, "spread_k", error->spread_k);
    json_object_set_int_member(object, "readings", error->n);
    api_set_utc(object, "last_utc", last_utc);
    api_take_text(object, "text", text);
    json_array_add_object_element(learned, object);
}

/* The next one that is planned. */
static const PlacePrediction *next_prediction(const Service *service, int place, Extreme which)
{
    const int64_t now_utc = clock_now(service->clk);
    const PlacePrediction *next = NULL;

    for (int i = 0; i < service->plan.n_predictions; i++) {
        const PlacePrediction *p = &service->plan.predictions[i];
        const int64_t utc = which == EXTREME_LOW ? p->low_utc : p->high_utc;
        if (p->place == place && utc >= now_utc &&
            isfinite(which == EXTREME_LOW ? p->low_c : p->high_c) &&
            (next == NULL || p->day < next->day))
            next = p;
    }
    return next;
}

void api_add_learned_place(const Service *service, int place, JsonArray *array)
{
    const Learned *learned = forecasts_learned(service->forecasts);

    for (int which = 0; which < EXTREMES; which++) {
        const PlacePrediction *p = next_prediction(service, place, (Extreme)which);
        if (p == NULL)
            continue;
        const LearnedError error = api_learned_place(service, p, (Extreme)which);
        add_learned(service, service->garden->places[place].site, place, (Extreme)which, &error,
                    learned != NULL ? learned->places[place].last_utc : 0, array);
    }
}

JsonArray *api_learned_site(const Service *service, int site)
{
    const Learned *learned = forecasts_learned(service->forecasts);
    const int64_t now_utc = clock_now(service->clk);
    JsonArray *array = json_array_new();

    for (int which = 0; which < EXTREMES; which++) {
        const LearnedError error = api_learned_open_air(service, site, (Extreme)which, now_utc);
        add_learned(service, site, -1, (Extreme)which, &error,
                    learned != NULL ? learned->sites[site].open_air.last_utc : 0, array);
    }
    for (int place = 0; place < service->garden->n_places; place++)
        if (service->garden->places[place].site == site)
            api_add_learned_place(service, place, array);
    return array;
}
