/* SPDX-License-Identifier: MIT */
#include "service/api-nights.h"

#include <math.h>

#include "odds/odds.h"
#include "ramp/ramp.h"
#include "service/api-day.h"
#include "service/forecasts.h"
#include "service/wording-names.h"
#include "service/wording-reading.h"

#define WORTH_NAMING 0.01 /* odds of frost on leaves below which a place is safe; chosen */
#define NAMED_MOST 4      /* places in one sentence; chosen */

static const PlacePrediction *day_of(const Service *service, int place, int day)
{
    for (int i = 0; i < service->plan.n_predictions; i++) {
        const PlacePrediction *p = &service->plan.predictions[i];
        if (p->place == place && p->day == day)
            return p;
    }
    return NULL;
}

/* Where its night is known. */
static const PlacePrediction *prediction_of(const Service *service, int place, int day)
{
    const PlacePrediction *p = day_of(service, place, day);

    return p != NULL && isfinite(p->low_c) ? p : NULL;
}

/* What frost would do to those who stand there now, as hard as they are now. */
static JsonArray *limits_array(const Service *service, const PlacePrediction *p)
{
    const GArray *batches = service->current.batches;
    JsonArray *limits = json_array_new();

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->place != p->place)
            continue;
        const Crop *crop = &service->garden->crops[batch->crop];
        const double damage_c = ramp_damage_c(crop, &batch->ramp);
        const double odds = odds_of_margin(odds_margin(p->leaf_low_c, p->low_spread_k, damage_c));
        JsonObject *limit = json_object_new();
        api_set_text(limit, "batch", batch->name);
        api_set_number(limit, "damage_c", damage_c);
        api_set_odds(limit, "damage_odds", odds);
        json_array_add_object_element(limits, limit);
    }
    return limits;
}

double api_allowed_low_c(const Service *service, int place)
{
    const GArray *batches = service->current.batches;
    double allowed_c = NAN;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->place == place && batch->stage < STAGE_PLANTED_OUT)
            allowed_c = fmax(
                allowed_c, ramp_allowed_low_c(&service->garden->crops[batch->crop], &batch->ramp));
    }
    return allowed_c;
}

double api_heat_odds(const Service *service, const PlacePrediction *p)
{
    const GArray *batches = service->current.batches;
    const Place *at = &service->garden->places[p->place];
    double odds = NAN;

    for (guint i = 0; i < batches->len && at->covered && !at->indoors; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->place != p->place || isnan(p->high_c))
            continue;
        const double limit_c =
            ramp_heat_limit_c(&service->garden->crops[batch->crop], batch->stage);
        odds = fmax(odds, odds_of_margin(odds_margin(-p->high_c, p->high_spread_k, -limit_c)));
    }
    return odds;
}

JsonArray *api_place_nights(const Service *service, int site, int day)
{
    JsonArray *places = json_array_new();

    for (int place = 0; place < service->garden->n_places; place++) {
        const Place *at = &service->garden->places[place];
        const PlacePrediction *p =
            at->site == site && !at->indoors ? prediction_of(service, place, day) : NULL;
        if (p == NULL)
            continue;
        JsonObject *object = json_object_new();
        api_set_text(object, "place", at->name);
        api_set_number(object, "low_c", p->low_c);
        api_set_number(object, "spread_k", p->low_spread_k);
        api_set_number(object, "leaf_low_c", p->leaf_low_c);
        api_set_odds(object, "air_frost_odds", p->air_frost_odds);
        api_set_odds(object, "leaf_frost_odds", p->leaf_frost_odds);
        const PlacePrediction *after = day_of(service, place, day + 1);
        api_set_number(object, "allowed_low_c", api_allowed_low_c(service, place));
        api_set_number(object, "high_c", after != NULL ? after->high_c : NAN);
        api_set_number(object, "high_spread_k", after != NULL ? after->high_spread_k : NAN);
        api_set_odds(object, "heat_odds", after != NULL ? api_heat_odds(service, after) : NAN);
        json_object_set_array_member(object, "batches", limits_array(service, p));
        json_array_add_object_element(places, object);
    }
    return places;
}

static int by_odds(gconstpointer a, gconstpointer b)
{
    const PlacePrediction *const *x = a, *const *y = b;

    return (*x)->leaf_frost_odds < (*y)->leaf_frost_odds   ? 1
           : (*x)->leaf_frost_odds > (*y)->leaf_frost_odds ? -1
                                                           : 0;
}

static gboolean stands_there(const Service *service, int place)
{
    for (guint i = 0; i < service->current.batches->len; i++)
        if (g_array_index(service->current.batches, Batch, i).place == place)
            return TRUE;
    return FALSE;
}

/* "frost on leaves: frame 10–25 %, bed over 75 %": places with plants, the worst first. */
static char *frost_words(const Service *service, int site, int day)
{
    g_autoptr(GPtrArray) found = g_ptr_array_new();
    g_autoptr(GString) text = g_string_new(NULL);
    gboolean any = FALSE;

    for (int place = 0; place < service->garden->n_places; place++) {
        const Place *at = &service->garden->places[place];
        const PlacePrediction *p = at->site == site && !at->indoors && stands_there(service, place)
                                       ? prediction_of(service, place, day)
                                       : NULL;
        any = any || p != NULL;
        if (p != NULL && p->leaf_frost_odds >= WORTH_NAMING)
            g_ptr_array_add(found, (gpointer)p);
    }
    g_ptr_array_sort(found, by_odds);
    for (guint i = 0; i < found->len && i < NAMED_MOST; i++) {
        const PlacePrediction *p = found->pdata[i];
        g_string_append_printf(text, "%s%s %s", i > 0 ? ", " : "",
                               service->garden->places[p->place].name,
                               wording_odds(p->leaf_frost_odds));
    }
    if (found->len > 0)
        return g_strdup_printf(" Frost on leaves, as planned: %s.", text->str);
    return g_strdup(any ? " No frost on leaves where plants stand, as planned." : "");
}

char *api_nights_headline(const Service *service, int site)
{
    const int first = api_tonight(service, site);
    ApiNight coldest = {.low_c = NAN};

    for (int day = first; day < first + SERVICE_HORIZON_D; day++) {
        ApiNight night;
        if (api_night(service, site, day, &night) &&
            (isnan(coldest.low_c) || night.low_c < coldest.low_c))
            coldest = night;
    }
    if (isnan(coldest.low_c))
        return NULL;
    g_autofree char *when = coldest.day == first ? g_strdup("tonight") : api_day_short(coldest.day);
    g_autofree char *low = wording_temperature(service->garden, coldest.low_c);
    g_autofree char *frost = frost_words(service, site, coldest.day);
    return g_strdup_printf("Coldest night ahead: %s, %s ± %.1f outdoors.%s", when, low,
                           coldest.spread_k * (service->garden->fahrenheit ? 1.8 : 1.0), frost);
}

static gboolean has_outdoors(const Service *service, int site)
{
    for (int place = 0; place < service->garden->n_places; place++)
        if (service->garden->places[place].site == site && !service->garden->places[place].indoors)
            return TRUE;
    return FALSE;
}

char *api_tonight_headline(const Service *service)
{
    g_autoptr(GString) text = g_string_new(NULL);

    for (int site = 0; site < service->garden->n_sites; site++) {
        const int day = api_tonight(service, site);
        ApiNight night;
        if (!has_outdoors(service, site) || !api_night(service, site, day, &night))
            continue;
        g_autofree char *low = wording_temperature(service->garden, night.low_c);
        g_autofree char *frost = frost_words(service, site, day);
        g_string_append_printf(text, "%sTonight at %s: %s ± %.1f outdoors.%s",
                               text->len > 0 ? "\n" : "", service->garden->sites[site].name, low,
                               night.spread_k * (service->garden->fahrenheit ? 1.8 : 1.0), frost);
    }
    return text->len > 0 ? g_strdup(text->str) : NULL;
}

static JsonObject *opinion_object(const SecondOpinion *opinion, char *text)
{
    JsonObject *object = json_object_new();

    if (opinion->nights > 0) {
        JsonObject *evenings = json_object_new();
        api_set_number(evenings, "low_c", opinion->regression_c);
        api_set_number(evenings, "spread_k", opinion->regression_spread_k);
        json_object_set_int_member(evenings, "nights", opinion->nights);
        json_object_set_object_member(object, "evenings", evenings);
    } else {
        json_object_set_null_member(object, "evenings");
    }
    if (opinion->from_utc != 0) {
        JsonObject *fall = json_object_new();
        api_set_number(fall, "low_c", opinion->fall_c);
        api_set_utc(fall, "from_utc", opinion->from_utc);
        api_set_utc(fall, "to_utc", opinion->to_utc);
        json_object_set_object_member(object, "fall", fall);
    } else {
        json_object_set_null_member(object, "fall");
    }
    api_take_text(object, "text", text);
    return object;
}

gboolean api_set_second_opinion(const Service *service, int site, JsonObject *object,
                                GError **error)
{
    const int day = api_tonight(service, site);
    const Learned *learned = forecasts_learned(service->forecasts);
    SecondOpinion opinion = {0};
    ApiNight night;
    char *text = NULL;

    if (learned != NULL && api_night(service, site, day, &night)) {
        if (!second_opinion(service, learned, site, day, &opinion, error))
            return FALSE;
        text = wording_second_opinion(service, site, &opinion, night.low_c, night.spread_k);
    }
    if (text != NULL)
        json_object_set_object_member(object, "second_opinion", opinion_object(&opinion, text));
    else
        json_object_set_null_member(object, "second_opinion");
    return TRUE;
}
