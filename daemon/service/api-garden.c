/* SPDX-License-Identifier: MIT */
/* Places, crops and weather: what the garden has and what is ahead of it. */
#include <math.h>

#include "base/local-time.h"
#include "garden/crop-sources.h"
#include "garden/kinds.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-learned.h"
#include "service/visit-minutes.h"
#include "service/waiting.h"
#include "service/api-nights.h"
#include "service/api-sources.h"
#include "service/forecasts.h"
#include "service/wording-names.h"
#include "store/store-garden-events.h"
#include "store/store-readings.h"

#define DAY_S 86400

/* ---- places ---- */

typedef struct PlaceFacts {
    const Service *service;
    bool *known;   /* (owned) per place: its position was reported */
    int *readings; /* (owned) per place */
} PlaceFacts;

static void place_facts_clear(PlaceFacts *facts)
{
    g_free(facts->known);
    g_free(facts->readings);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(PlaceFacts, place_facts_clear)

static gboolean read_facts(const Service *service, PlaceFacts *facts, GError **error)
{
    const Garden *garden = service->garden;
    g_autofree int *positions = g_new0(int, garden->n_places);
    g_autoptr(GArray) readings = NULL;

    facts->service = service;
    facts->known = g_new0(bool, garden->n_places);
    facts->readings = g_new0(int, garden->n_places);
    if (!store_load_positions(service->store, garden, positions, facts->known, error) ||
        !store_load_readings(service->store, garden, 0, clock_now(service->clk) + 1, &readings,
                             error))
        return FALSE;
    for (guint i = 0; i < readings->len; i++) {
        const int place = g_array_index(readings, StoreReading, i).reading.place;
        if (place >= 0)
            facts->readings[place]++;
    }
    return TRUE;
}

static void set_extreme(const Service *service, JsonObject *object, const char *name, int site,
                        double value_c, double spread_k, int64_t at_utc)
{
    const WordingContext words = service_wording(service);
    JsonObject *extreme = json_object_new();

    api_set_number(extreme, "value_c", value_c);
    api_set_number(extreme, "spread_k", spread_k);
    api_set_utc(extreme, "at_utc", at_utc);
    api_take_text(extreme, "when", wording_when(&words, site, at_utc));
    json_object_set_object_member(object, name, extreme);
}

/* The low and the high that come next, as planned. */
static void set_predictions(const Service *service, JsonObject *object, int place)
{
    const Plan *plan = &service->plan;
    const int64_t now_utc = clock_now(service->clk);
    const PlacePrediction *low = NULL, *high = NULL;
    const int site = service->garden->places[place].site;

    for (int i = 0; i < plan->n_predictions; i++) {
        const PlacePrediction *p = &plan->predictions[i];
        if (p->place != place)
            continue;
        if (p->low_utc >= now_utc && isfinite(p->low_c) &&
            (low == NULL || p->low_utc < low->low_utc))
            low = p;
        if (p->high_utc >= now_utc && isfinite(p->high_c) &&
            (high == NULL || p->high_utc < high->high_utc))
            high = p;
    }
    if (low != NULL)
        set_extreme(service, object, "low", site, low->low_c, low->low_spread_k, low->low_utc);
    else
        json_object_set_null_member(object, "low");
    api_set_odds(object, "leaf_frost_odds", low != NULL ? low->leaf_frost_odds : NAN);
    api_set_number(object, "allowed_low_c", api_allowed_low_c(service, place));
    if (high != NULL)
        set_extreme(service, object, "high", site, high->high_c, high->high_spread_k,
                    high->high_utc);
    else
        json_object_set_null_member(object, "high");
    api_set_odds(object, "heat_odds", high != NULL ? api_heat_odds(service, high) : NAN);
}

static void set_contents(const Service *service, JsonObject *object, int place)
{
    const GArray *batches = service->current.batches;
    JsonArray *names = json_array_new();
    int trays = 0;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->place != place)
            continue;
        json_array_add_string_element(names, batch->name);
        trays += batch->stage < STAGE_PLANTED_OUT ? batch->trays : 0;
    }
    json_object_set_int_member(object, "trays_used", trays);
    json_object_set_array_member(object, "batches", names);
}

static void set_cover(const PlaceFacts *facts, JsonObject *object, int place)
{
    const Place *p = &facts->service->garden->places[place];
    JsonArray *positions = json_array_new();

    for (int i = 0; p->covered && i < p->cover.n_positions; i++)
        json_array_add_string_element(positions, p->cover.positions[i].name);
    api_set_text(object, "position", api_position_name(facts->service, place));
    json_object_set_boolean_member(object, "position_known", facts->known[place]);
    json_object_set_array_member(object, "positions", positions);
}

static char *rests_on(const PlaceFacts *facts, int place)
{
    const Place *p = &facts->service->garden->places[place];
    const SiteWeather *weather = facts->service->weather;
    const int n = facts->readings[place];
    const char *basis = "forecast";

    if (p->indoors)
        basis = "indoors";
    else if (weather == NULL || weather[p->site].quality == WEATHER_MISSING)
        basis = "normals";
    else if (weather[p->site].quality == WEATHER_OLD)
        basis = "an old forecast";
    return n > 0 ? g_strdup_printf("%s, %d %s", basis, n, n == 1 ? "reading" : "readings")
                 : g_strdup(basis);
}

/* A cover that damp asks to be lifted, and nobody can. */
static void set_damp(const Service *service, JsonObject *object, int place)
{
    const WordingContext words = service_wording(service);
    const int site = service->garden->places[place].site;

    json_object_set_null_member(object, "damp");
    for (int i = 0; i < service->plan.n_notes; i++)
        if (service->plan.notes[i].limit == LIMIT_DAMP && service->plan.notes[i].place == place)
            api_take_text(object, "damp",
                          wording_reason_plain(&words, &service->plan.notes[i], site));
}

/* Batches that would stand there, had it room. */
static void set_waiting(const Service *service, JsonObject *object, int place)
{
    g_autoptr(GPtrArray) texts = waiting_for(service, place);
    JsonArray *waits = json_array_new();

    for (guint i = 0; i < texts->len; i++) {
        JsonObject *one = json_object_new();
        api_set_text(one, "text", g_ptr_array_index(texts, i));
        json_array_add_object_element(waits, one);
    }
    json_object_set_array_member(object, "waits", waits);
}

/* The place, then what is inside it. */
static void add_place(const PlaceFacts *facts, int place, int depth, JsonArray *places)
{
    const Service *service = facts->service;
    const Place *p = &service->garden->places[place];
    JsonObject *object = json_object_new();

    api_set_text(object, "name", p->name);
    api_set_text(object, "kind", kind_get(p->kind)->word);
    api_set_text(object, "site", service->garden->sites[p->site].name);
    api_set_text(object, "inside", api_place_name(service, p->parent));
    json_object_set_int_member(object, "depth", depth);
    json_object_set_boolean_member(object, "indoors", p->indoors);
    set_cover(facts, object, place);
    api_take_text(object, "devices", wording_devices(service->garden, p));
    api_set_number(object, "trays", NAN);
    if (p->trays >= 0)
        json_object_set_int_member(object, "trays", p->trays);
    set_contents(service, object, place);
    set_predictions(service, object, place);
    api_take_text(object, "rests_on", rests_on(facts, place));
    set_damp(service, object, place);
    set_waiting(service, object, place);
    JsonArray *learned = json_array_new();
    api_add_learned_place(service, place, learned);
    json_object_set_array_member(object, "learned", learned);
    json_array_add_object_element(places, object);
    for (int child = 0; child < service->garden->n_places; child++)
        if (service->garden->places[child].parent == place)
            add_place(facts, child, depth + 1, places);
}

static JsonNode *get_places(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    g_auto(PlaceFacts) facts = {0};

    if (!control_reject_rest(request, error) || !read_facts(service, &facts, error))
        return NULL;
    JsonArray *places = json_array_new();
    for (int place = 0; place < service->garden->n_places; place++)
        if (service->garden->places[place].parent < 0)
            add_place(&facts, place, 0, places);
    JsonObject *object = json_object_new();
    api_set_units(object, service->garden);
    api_take_text(object, "headline", api_tonight_headline(service));
    json_object_set_array_member(object, "places", places);
    return api_reply(object);
}

/* ---- crops ---- */

static JsonObject *crop_object(const Service *service, int crop)
{
    const Crop *c = &service->crops->crops[crop];
    JsonArray *figures = json_array_new();
    JsonObject *object = json_object_new();

    for (int i = 0; i < CROP_FIELDS; i++) {
        const CropField *field = &crop_fields[i];
        const char *source = service->crops->sources[crop].of[i];
        if (source == NULL) /* one that may be left out, and is */
            continue;
        const double value = crop_field_value(c, field);
        const char *title = crops_source_title(service->crops, source);
        JsonObject *figure = json_object_new();
        api_set_text(figure, "key", field->key);
        api_set_text(figure, "meaning", field->meaning);
        api_set_number(figure, "value", value);
        api_set_text(figure, "unit", field->unit);
        api_set_text(figure, "text", field->words != NULL ? field->words[(int)value] : "");
        api_set_text(figure, "source", source);
        api_set_text(figure, "title", title != NULL ? title : "");
        json_object_set_boolean_member(figure, "derived", service->crops->sources[crop].derived[i]);
        json_array_add_object_element(figures, figure);
    }
    api_set_text(object, "name", c->name);
    api_set_text(object, "title", c->title);
    api_set_text(object, "group", crop_group_words[c->group]);
    json_object_set_array_member(object, "figures", figures);
    return object;
}

/* How many figures have a published source: of each group, then of all. */
static JsonArray *share_array(const Crops *crops)
{
    JsonArray *shares = json_array_new();

    for (int i = 0; i <= CROP_GROUPS; i++) {
        const int group = i < CROP_GROUPS ? i : CROP_ALL;
        const CropShare all = crops_share(crops, group, CROP_ALL);
        const CropShare main_kinds = crops_kind_share(crops, group, CROP_ALL);
        JsonObject *share = json_object_new();
        api_set_text(share, "group", i < CROP_GROUPS ? crop_group_words[i] : "all");
        json_object_set_int_member(share, "published_pct", crop_share_percent(all));
        json_object_set_int_member(share, "main_published_pct", crop_share_percent(main_kinds));
        json_array_add_object_element(shares, share);
    }
    return shares;
}

typedef struct NamedCrop {
    const char *name;
    int crop;
} NamedCrop;

static gint by_name(gconstpointer a, gconstpointer b)
{
    return strcmp(((const NamedCrop *)a)->name, ((const NamedCrop *)b)->name);
}

static JsonNode *get_crops(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const char *name = control_query(request, "name");
    g_autoptr(GArray) named = g_array_new(FALSE, FALSE, sizeof(NamedCrop));

    if (!control_reject_rest(request, error))
        return NULL;
    const int only = name != NULL ? crops_find(service->crops, name) : -1;
    for (int i = 0; i < service->crops->n; i++) {
        const Crop *c = &service->crops->crops[i];
        const NamedCrop crop = {.name = c->name, .crop = i};
        if (name == NULL || only == i || (only < 0 && crop_matches(c, name)))
            g_array_append_val(named, crop);
    }
    if (name != NULL && named->len == 0) {
        g_autofree char *shown = config_clip(name, NAME_SIZE);
        g_autofree char *hint = garden_suggest(service->garden, GARDEN_CROP, name);
        api_refuse(error, THOLE_ERROR_NOT_FOUND, "no crop is called \"%s\"; %s", shown, hint);
        return NULL;
    }
    g_array_sort(named, by_name);
    JsonArray *crops = json_array_new();
    for (guint i = 0; i < named->len; i++)
        json_array_add_object_element(
            crops, crop_object(service, g_array_index(named, NamedCrop, i).crop));
    JsonObject *object = json_object_new();
    api_set_units(object, service->garden);
    json_object_set_array_member(object, "crops", crops);
    json_object_set_array_member(object, "shares", share_array(service->crops));
    return api_reply(object);
}

/* ---- weather ---- */

/* The day of the forecast on which the low is, from 1. */
static void set_lead(JsonObject *object, const SiteWeather *weather, const ApiNight *night)
{
    if (weather->issued_utc == 0 || night->low_utc < weather->issued_utc ||
        night->low_estimated & EST_TEMPERATURE)
        json_object_set_null_member(object, "lead_day");
    else
        json_object_set_int_member(object, "lead_day",
                                   (night->low_utc - weather->issued_utc) / DAY_S + 1);
}

static JsonObject *night_object(const Service *service, int site, const ApiNight *night)
{
    JsonObject *object = json_object_new();
    ApiNight noon = {.low_c = NAN};
    const char *basis = night->low_estimated & EST_WARNING       ? "warning"
                        : night->low_estimated & EST_TEMPERATURE ? "normals"
                                                                 : "forecast";

    api_take_text(object, "date", local_day_format(night->day));
    api_take_text(object, "when",
                  night->day == api_tonight(service, site) ? g_strdup("tonight")
                                                           : api_day_short(night->day));
    api_set_number(object, "low_c", night->low_c);
    api_set_number(object, "spread_k", night->spread_k);
    api_set_utc(object, "low_utc", night->low_utc);
    api_take_text(object, "low_when", api_clock(service, site, night->low_utc));
    const gboolean has_noon =
        api_noon(service, site, night->day + 1, &noon) && isfinite(noon.low_c);
    api_set_number(object, "high_c", has_noon ? noon.low_c : NAN);
    api_set_number(object, "high_spread_k", has_noon ? noon.spread_k : NAN);
    api_set_odds(object, "frost_odds", night->frost_odds);
    api_set_text(object, "odds", wording_odds(night->frost_odds));
    api_set_text(object, "sky", wording_sky(night->cloud_pct));
    api_set_number(object, "cloud_pct", night->cloud_pct);
    api_set_number(object, "dew_point_c", night->dew_point_c);
    api_set_number(object, "wind_ms", night->wind_ms);
    api_set_number(object, "gust_ms", night->gust_ms);
    api_set_number(object, "rain_mm", night->rain_mm);
    api_set_text(object, "basis", basis);
    set_lead(object, &service->weather[site], night);
    api_set_estimated(object, night->estimated);
    json_object_set_array_member(object, "places", api_place_nights(service, site, night->day));
    return object;
}

static char *quality_words(const Service *service, int site)
{
    const char *note = service_weather_note(service, site);
    const WordingContext words = service_wording(service);
    int64_t fetched_utc = 0;

    (void)forecasts_problem(service->forecasts, site, &fetched_utc);
    g_autofree char *issued = wording_when(&words, site, service->weather[site].issued_utc);
    g_autofree char *fetched = wording_when(&words, site, fetched_utc);
    g_autofree char *trouble = api_source_trouble(service, site);
    g_autoptr(GString) text = g_string_new(NULL);
    if (note != NULL)
        g_string_append(text, note);
    else
        g_string_append_printf(text, "forecast of %s", issued);
    if (fetched_utc != 0 && service->weather[site].issued_utc != 0)
        g_string_append_printf(text, ", fetched %s", fetched);
    if (trouble != NULL)
        g_string_append_printf(text, "; %s", trouble);
    return g_strdup(text->str);
}

/* NULL where nobody has reported how long a visit took. */
static char *minutes_words(const Service *service, int site)
{
    const WordingContext words = service_wording(service);
    VisitMinutes minutes;
    g_autoptr(GError) error = NULL;

    if (!visit_minutes_of(service, site, &minutes, &error))
        return NULL;
    return wording_visit_minutes(&words, site, minutes.set_min, minutes.min, minutes.reports);
}

static JsonNode *get_weather(const ControlRequest *request, gpointer data, GError **error)
{
    static const char *const qualities[] = {"fresh", "old", "missing"};
    Service *service = data;
    int site = 0;

    if (!api_site_named(service, control_param(request, "site"), &site, error) ||
        !control_reject_rest(request, error))
        return NULL;
    if (service->weather == NULL) {
        api_refuse(error, THOLE_ERROR_CONFLICT,
                   "no plan has been made yet, so there is no weather to show%s%s",
                   service->store_problem != NULL ? ": " : "",
                   service->store_problem != NULL ? service->store_problem
                                                  : "; ask again in a moment");
        return NULL;
    }
    const SiteWeather *weather = &service->weather[site];
    const int first = api_tonight(service, site);
    g_autoptr(JsonObject) object = json_object_new();
    if (!api_set_second_opinion(service, site, object, error))
        return NULL;
    JsonArray *nights = json_array_new();
    uint32_t estimated = 0;
    for (int day = first; day < first + SERVICE_HORIZON_D; day++) {
        ApiNight night;
        if (!api_night(service, site, day, &night))
            continue;
        json_array_add_object_element(nights, night_object(service, site, &night));
        if (!(night.estimated & EST_TEMPERATURE)) /* no forecast: nothing is left out of it */
            estimated |= night.estimated;
    }
    api_set_units(object, service->garden);
    api_set_text(object, "site", service->garden->sites[site].name);
    api_set_text(object, "source", service->garden->sites[site].weather);
    api_set_text(object, "quality", qualities[weather->quality]);
    api_set_utc(object, "issued_utc", weather->issued_utc);
    api_set_utc(object, "valid_to_utc", weather->valid_to_utc);
    api_take_text(object, "text", quality_words(service, site));
    api_take_text(object, "headline", api_nights_headline(service, site));
    api_take_text(object, "estimates", wording_estimates(estimated));
    json_object_set_array_member(object, "nights", nights);
    json_object_set_array_member(object, "learned", api_learned_site(service, site));
    api_take_text(object, "visit_minutes", minutes_words(service, site));
    json_object_set_array_member(object, "sources", api_sources(service, site));
    json_object_set_array_member(object, "credits", api_credits(service, site));
    return api_reply(g_steal_pointer(&object));
}

void api_add_garden(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/places", get_places, service);
    control_add(control, "GET", "/v1/crops", get_crops, service);
    control_add(control, "GET", "/v1/weather/{site}", get_weather, service);
}
