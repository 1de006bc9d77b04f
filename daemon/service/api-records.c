/* SPDX-License-Identifier: MIT */
/* Readings, frosts heard of elsewhere, absences. */
#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "climate/chain.h"
#include "plan/marks.h"
#include "service/api-change.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/wording-names.h"
#include "store/store-garden-events.h"
#include "store/store-plan-records.h"

/* What a thermometer may show; chosen. */
#define READING_LEAST_C (-40.0)
#define READING_MOST_C 60.0
#define INDOORS_LEAST_C (-5.0)
#define INDOORS_MOST_C 50.0
#define OPEN_AIR_MOST_C 45.0
#define FAR_OFF                                                                                    \
    3.0 /* spreads between a reading and what was reckoned that are worth a word; chosen */
#define HALF_DAY_S 43200
#define AWAY_MOST_D 366 /* chosen */
#define FROST_MOST_C 30.0

/* ---- readings ---- */

typedef struct ReadingAsked {
    Reading reading;
    StoreReadingKind kind;
} ReadingAsked;

/* What was reckoned for it; NAN not known. */
typedef struct Reckoned {
    double value_c, spread_k;
} Reckoned;

static gboolean read_kind(const ControlRequest *request, StoreReadingKind *ret, GError **error)
{
    const char *kind = "now";

    if (!control_body_string(request, "kind", FALSE, &kind, error))
        return FALSE;
    if (g_str_equal(kind, "now"))
        *ret = STORE_READING_INSTANT;
    else if (g_str_equal(kind, "min"))
        *ret = STORE_READING_MINIMUM;
    else if (g_str_equal(kind, "max"))
        *ret = STORE_READING_MAXIMUM;
    else
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "kind: \"%.20s\" is not accepted; give now, min or max", kind);
    return TRUE;
}

/* A value that the place cannot have is a slip, or hangs elsewhere. */
static gboolean check_value(const Service *service, const Reading *reading, GError **error)
{
    const Place *place = &service->garden->places[reading->place];
    g_autofree char *shown = wording_temperature(service->garden, reading->value_c);
    const double least = place->indoors ? INDOORS_LEAST_C : READING_LEAST_C;
    const double most = place->indoors    ? INDOORS_MOST_C
                        : !place->covered ? OPEN_AIR_MOST_C
                                          : READING_MOST_C;

    if (reading->value_c >= least && reading->value_c <= most)
        return TRUE;
    g_autofree char *least_words = wording_temperature(service->garden, least);
    g_autofree char *most_words = wording_temperature(service->garden, most);
    return api_refuse(error, THOLE_ERROR_INVALID,
                      "value: %s is not likely in %s, which is %s; give %s to %s, or the place "
                      "where the thermometer is",
                      shown, place->name,
                      place->indoors   ? "indoors"
                      : place->covered ? "under cover"
                                       : "in the open",
                      least_words, most_words);
}

/* The model's air in a place in the half-hour that holds now. */
static Reckoned reckon_now(const Service *service, int place)
{
    const State *state = &service->current;
    const int site = service->garden->places[place].site;
    const SiteWeather *weather = service->weather != NULL ? &service->weather[site] : NULL;
    const int64_t step = weather != NULL ? (state->as_of_utc - weather->first_utc) / STEP_S : -1;
    Reckoned reckoned = {.value_c = NAN, .spread_k = NAN};

    if (step < 0 || step + 1 >= (int64_t)weather->steps->len)
        return reckoned;
    const OutdoorStep *steps = &g_array_index(weather->steps, OutdoorStep, step);
    const ChainForcing forcing = {
        .now = steps,
        .next = steps + 1,
        .deep_c = weather->deep_c,
        .solar_hour =
            marks_solar_hour(state->as_of_utc + STEP_S, service->garden->sites[site].longitude)};
    for (int c = 0; c < state->n_chains; c++) {
        const Chain *chain = &state->chains[c];
        for (int l = 0; l < chain->n; l++) {
            if (chain->layers[l].place != place)
                continue;
            int positions[CHAIN_LAYERS_MAX];
            PlaceStep met[CHAIN_LAYERS_MAX];
            ChainState moved = state->chain_states[c];
            for (int i = 0; i < chain->n; i++)
                positions[i] = state->positions[chain->layers[i].place];
            chain_step(chain, positions, &forcing, &moved, met);
            reckoned.value_c = met[l].air_c;
            reckoned.spread_k = hypot(chain->indoors ? 0.0 : steps->spread_k,
                                      chain_spread_k(chain, l, EXTREME_LOW));
        }
    }
    return reckoned;
}

/* What was last said, up to the reading's time, of the night or day that a minimum or maximum
 * belongs to. */
static gboolean reckon_extreme(const Service *service, const ReadingAsked *asked, Reckoned *ret,
                               GError **error)
{
    const Reading *reading = &asked->reading;
    const int site = service->garden->places[reading->place].site;
    const int day = api_day(service, site, reading->time_utc - HALF_DAY_S);
    const StorePredicted what =
        asked->kind == STORE_READING_MINIMUM ? STORE_PREDICTED_MIN : STORE_PREDICTED_MAX;
    g_autoptr(GArray) predictions = NULL;

    if (!store_load_predictions(service->store, service->garden, day, day, &predictions, error))
        return FALSE;
    for (guint i = 0; i < predictions->len; i++) {
        const StorePrediction *p = &g_array_index(predictions, StorePrediction, i);
        if (p->place == reading->place && p->what == what && p->made_utc <= reading->time_utc)
            *ret = (Reckoned){.value_c = p->mean_c, .spread_k = p->spread_k};
    }
    return TRUE;
}

/* "3.1 °C": a thermometer shows tenths. */
static char *tenths(const Service *service, double c)
{
    const gboolean fahrenheit = service->garden->fahrenheit;
    const double value = fahrenheit ? c * 1.8 + 32.0 : c;
    g_autofree char *number = g_strdup_printf("%.1f", fabs(value));

    return g_strdup_printf("%s%s %s", value < 0.0 && !g_str_equal(number, "0.0") ? "−" : "", number,
                           fahrenheit ? "°F" : "°C");
}

static void tell_reading(const Service *service, const ReadingAsked *asked,
                         const Reckoned *reckoned, GString *text)
{
    static const char *const kinds[] = {"", " minimum", " maximum"};
    const Reading *reading = &asked->reading;
    g_autofree char *value = tenths(service, reading->value_c);

    g_string_printf(text, "%s%s %s", service->garden->places[reading->place].name,
                    kinds[asked->kind], value);
    if (!isfinite(reckoned->value_c) || !isfinite(reckoned->spread_k)) {
        g_string_append(text, "; nothing was reckoned for that time.");
        return;
    }
    g_autofree char *expected = tenths(service, reckoned->value_c);
    g_string_append_printf(text, "; reckoned %s ± %.1f.", expected,
                           reckoned->spread_k * (service->garden->fahrenheit ? 1.8 : 1.0));
    if (fabs(reading->value_c - reckoned->value_c) > FAR_OFF * reckoned->spread_k)
        g_string_append(
            text,
            " That is far off: is the thermometer in the shade, and the cover as the plan has it?");
}

static gboolean write_reading(Service *service, gpointer change, GError **error)
{
    const ReadingAsked *asked = change;

    return store_put_reading(service->store, service->garden, &asked->reading, asked->kind, error);
}

static JsonNode *post_reading(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    ReadingAsked asked = {0};
    Reckoned reckoned = {.value_c = NAN, .spread_k = NAN};
    g_autoptr(GString) text = g_string_new(NULL);

    if (!api_place_member(service, request, "place", TRUE, &asked.reading.place, error) ||
        !api_temperature_member(service, request, "value", READING_LEAST_C, READING_MOST_C,
                                &asked.reading.value_c, error) ||
        !read_kind(request, &asked.kind, error) ||
        !api_past_time(service, request, "at", api_site_of(service, asked.reading.place),
                       &asked.reading.time_utc, error) ||
        !control_reject_rest(request, error) || !check_value(service, &asked.reading, error))
        return NULL;
    if (asked.kind != STORE_READING_INSTANT) {
        if (!reckon_extreme(service, &asked, &reckoned, error))
            return NULL;
    } else if (asked.reading.time_utc >= service->current.as_of_utc) {
        reckoned = reckon_now(service, asked.reading.place);
    }
    tell_reading(service, &asked, &reckoned, text);
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, write_reading, &asked, error))
        return NULL;
    const ApiDone done = {.trigger = "reading", .text = text->str, .keep_states = TRUE};
    return api_done(service, before, &done);
}

/* ---- frosts ---- */

static gboolean write_warning(Service *service, gpointer change, GError **error)
{
    return store_put_warning(service->store, service->garden, change, error);
}

static JsonNode *post_frost(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    StoreWarning warning = {.heard_utc = clock_now(service->clk)};
    const char *name = NULL;
    g_autoptr(GString) text = g_string_new(NULL);
    ApiNight night;
    int day = 0;

    if (!control_body_string(request, "site", TRUE, &name, error) ||
        !api_site_named(service, name, &warning.site, error) ||
        !control_body_day(request, "night", TRUE, service->zones[warning.site], warning.heard_utc,
                          &day, error) ||
        !api_temperature_member(service, request, "low", READING_LEAST_C, FROST_MOST_C,
                                &warning.low_c, error) ||
        !control_reject_rest(request, error))
        return NULL;
    const int first = api_tonight(service, warning.site),
              last = api_today(service, warning.site) + SERVICE_HORIZON_D - 1;
    g_autofree char *date = api_day_short(day);
    if (day < first || day > last) {
        g_autofree char *from = local_day_format(first), *to = local_day_format(last);
        api_refuse(error, THOLE_ERROR_INVALID,
                   "night: %s is %s; give a day from %s to %s, on which the night begins", date,
                   day < first ? "over" : "too far ahead", from, to);
        return NULL;
    }
    warning.night_day = day;
    g_autofree char *low = wording_temperature(service->garden, warning.low_c);
    const WordingContext words = service_wording(service);
    g_autofree char *where = wording_site_words(&words, warning.site);
    g_string_printf(text, "Noted: a low of %s at %s in the night that begins %s.", low, where,
                    date);
    if (api_night(service, warning.site, day, &night)) {
        g_autofree char *expected = tenths(service, night.low_c);
        g_string_append_printf(
            text, " The forecast said %s ± %.1f.%s", expected,
            night.spread_k * (service->garden->fahrenheit ? 1.8 : 1.0),
            night.low_c <= warning.low_c ? " That is as cold already: it is not made warmer." : "");
    }
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, write_warning, &warning, error))
        return NULL;
    const ApiDone done = {.trigger = "frost warning", .text = text->str, .keep_states = TRUE};
    return api_done(service, before, &done);
}

/* ---- absences ---- */

static JsonObject *away_object(const Service *service, const StoreAway *away)
{
    const WordingContext words = service_wording(service);
    const Grower *grower = away->grower >= 0 ? &service->garden->growers[away->grower] : NULL;
    const int site = grower != NULL ? grower->home_site : 0;
    g_autofree char *from = wording_when(&words, site, away->from_utc);
    g_autofree char *to = wording_when(&words, site, away->to_utc);
    JsonObject *object = json_object_new();

    api_set_text(object, "id", away->id);
    api_set_utc(object, "from_utc", away->from_utc);
    api_set_utc(object, "to_utc", away->to_utc);
    /* Whole days are said as days; who, only where there are several. */
    GTimeZone *zone = service->zones[site];
    const int first = local_day(zone, away->from_utc), last = local_day(zone, away->to_utc - 1);
    const gboolean whole = away->from_utc == local_midnight(zone, first) &&
                           away->to_utc == local_midnight(zone, last + 1);
    g_autofree char *first_day = api_day_short(first), *last_day = api_day_short(last);
    const char *who = grower == NULL                   ? "A former grower: "
                      : service->garden->n_growers > 1 ? grower->name
                                                       : "";
    const char *colon = grower != NULL && *who != '\0' ? ": " : "";
    api_take_text(object, "text",
                  whole ? g_strdup_printf("%s%saway from %s to the end of %s", who, colon,
                                          first_day, last_day)
                        : g_strdup_printf("%s%saway from %s to %s", who, colon, from, to));
    return object;
}

static JsonNode *get_aways(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    g_autoptr(GArray) aways = NULL;

    if (!control_reject_rest(request, error) ||
        !store_load_aways(service->store, service->garden, clock_now(service->clk), &aways, error))
        return NULL;
    JsonArray *array = json_array_new();
    for (guint i = 0; i < aways->len; i++)
        json_array_add_object_element(array,
                                      away_object(service, &g_array_index(aways, StoreAway, i)));
    JsonObject *object = json_object_new();
    json_object_set_array_member(object, "aways", array);
    return api_reply(object);
}

/* A day counts to its end. */
static gboolean read_to(const ControlRequest *request, GTimeZone *zone, int64_t now_utc,
                        int64_t *ret, GError **error)
{
    const char *text = NULL;
    int day;

    if (!control_body_time(request, "to", TRUE, zone, now_utc, ret, error) ||
        !control_body_string(request, "to", TRUE, &text, error))
        return FALSE;
    if (local_day_parse(text, &day, NULL))
        *ret = local_midnight(zone, day + 1);
    return TRUE;
}

static gboolean write_away(Service *service, gpointer change, GError **error)
{
    return store_put_away(service->store, service->garden, change, error);
}

/* The garden's file names the grower who is told first: it is he or she who says so. */
static JsonNode *post_away(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const int64_t now_utc = clock_now(service->clk);
    GTimeZone *zone = service->zones[0];
    StoreAway away = {.grower = 0};

    if (!control_body_time(request, "from", TRUE, zone, now_utc, &away.from_utc, error) ||
        !read_to(request, zone, now_utc, &away.to_utc, error) ||
        !control_reject_rest(request, error))
        return NULL;
    if (service->garden->n_growers == 0) {
        api_refuse(error, THOLE_ERROR_CONFLICT,
                   "the garden's file has no grower who could be away");
        return NULL;
    }
    if (away.to_utc <= away.from_utc || away.to_utc <= now_utc ||
        away.to_utc - away.from_utc > (int64_t)AWAY_MOST_D * 86400) {
        api_refuse(error, THOLE_ERROR_INVALID,
                   "to: it must lie after from, not be past, and at most %d days after from",
                   AWAY_MOST_D);
        return NULL;
    }
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, write_away, &away, error))
        return NULL;
    JsonObject *object = away_object(service, &away);
    g_autofree char *text =
        g_strdup_printf("Noted: %s.", json_object_get_string_member(object, "text"));
    json_object_unref(object);
    const ApiDone done = {.trigger = "away", .text = text, .id = away.id, .keep_states = TRUE};
    return api_done(service, before, &done);
}

typedef struct AwayEnd {
    StoreAway away;
    int64_t at_utc;
} AwayEnd;

static gboolean write_away_end(Service *service, gpointer change, GError **error)
{
    const AwayEnd *end = change;

    return store_end_away(service->store, end->away.id, end->at_utc, error);
}

/* The absence that is now ends; where there is none, the next one does not begin. */
static JsonNode *post_away_end(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    AwayEnd end = {.at_utc = clock_now(service->clk)};
    g_autoptr(GArray) aways = NULL;

    if (!control_reject_rest(request, error) ||
        !store_load_aways(service->store, service->garden, end.at_utc, &aways, error))
        return NULL;
    if (aways->len == 0) {
        api_refuse(error, THOLE_ERROR_CONFLICT, "nobody is away, and no absence is to come");
        return NULL;
    }
    end.away = g_array_index(aways, StoreAway, 0);
    const gboolean begun = end.away.from_utc <= end.at_utc;
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, write_away_end, &end, error))
        return NULL;
    JsonObject *object = away_object(service, &end.away);
    g_autofree char *text = g_strdup_printf("%s: %s.", begun ? "Back now; ended" : "Taken back",
                                            json_object_get_string_member(object, "text"));
    json_object_unref(object);
    const ApiDone done = {.trigger = "back", .text = text, .id = end.away.id, .keep_states = TRUE};
    return api_done(service, before, &done);
}

void api_add_records(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/aways", get_aways, service);
    control_add(control, "POST", "/v1/aways", post_away, service);
    control_add(control, "POST", "/v1/aways/end", post_away_end, service);
    control_add(control, "POST", "/v1/frosts", post_frost, service);
    control_add(control, "POST", "/v1/readings", post_reading, service);
}
