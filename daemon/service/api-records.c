/* SPDX-License-Identifier: MIT */
/* Readings, frosts heard of elsewhere, absences. */
#include <math.h>

#include "base/local-time.h"
#include "service/api-change.h"
#include "service/absence.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/wording-names.h"
#include "service/wording-reading.h"
#include "store/store-garden-events.h"

#define AWAY_MOST_D 366 /* chosen */

/* ---- readings ---- */

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

/* A place, or a site for the open air there. */
static gboolean read_where(const Service *service, const ControlRequest *request,
                           ReadingAsked *asked, GError **error)
{
    const char *name = NULL;

    if (!control_body_string(request, "place", TRUE, &name, error))
        return FALSE;
    asked->place = -1;
    asked->site = garden_find_site(service->garden, name);
    if (asked->site >= 0)
        return TRUE;
    if (!api_place_member(service, request, "place", TRUE, &asked->place, error))
        return FALSE;
    asked->site = api_site_of(service, asked->place);
    return TRUE;
}

/* When the thermometer was set back. */
static gboolean read_since(const Service *service, const ControlRequest *request,
                           ReadingAsked *asked, GError **error)
{
    const char *told = NULL;

    if (!control_body_string(request, "since", FALSE, &told, error))
        return FALSE;
    if (told == NULL)
        return TRUE;
    if (asked->kind == STORE_READING_INSTANT)
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "since: only a minimum or maximum is since a time; give kind min or max");
    if (!api_past_time(service, request, "since", asked->site, &asked->since_utc, error))
        return FALSE;
    if (asked->since_utc < asked->time_utc)
        return TRUE;
    const WordingContext words = service_wording(service);
    g_autofree char *when = wording_when(&words, asked->site, asked->since_utc);
    return api_refuse(error, THOLE_ERROR_INVALID,
                      "since: %s is not before the reading; give when the thermometer was reset",
                      when);
}

static void tell_night(const Service *service, gconstpointer taken, GString *text)
{
    g_autofree char *line = wording_reading_night(service, taken);

    if (line != NULL)
        g_string_append_printf(text, "\n%s", line);
}

static const char *const kind_words[] = {"now", "min", "max"};

/* The numbers of it; those of a night are before and after. */
static JsonObject *reading_object(const Service *service, gconstpointer told)
{
    const ReadingTaken *taken = told;
    const StoreReading *reading = &taken->reading;
    const ReadingNight now = reading_night(service, reading);
    const gboolean is_open = learned_is_open_air(service, reading);
    JsonObject *object = json_object_new();

    api_set_text(object, "place", api_place_name(service, reading->reading.place));
    api_set_text(object, "site", service->garden->sites[learned_site(service, reading)].name);
    json_object_set_boolean_member(object, "open_air", is_open);
    api_set_text(object, "kind", kind_words[reading->kind]);
    api_set_utc(object, "at_utc", reading->reading.time_utc);
    api_set_utc(object, "since_utc",
                reading->kind != STORE_READING_INSTANT ? taken->former_utc : 0);
    if (reading->day != 0)
        api_take_text(object, "date", local_day_format(reading->day));
    else
        json_object_set_null_member(object, "date");
    api_set_number(object, "read_c", reading->reading.value_c);
    api_set_number(object, "computed_c", taken->reckoned_c);
    api_set_number(object, "spread_k",
                   isfinite(taken->reckoned_c) ? taken->reckoned_spread_k : NAN);
    json_object_set_boolean_member(object, "learned", taken->use == USE_LEARNED);
    api_set_number(object, "bias_before_k", taken->learned_before.bias_k);
    api_set_number(object, "bias_after_k", taken->learned.bias_k);
    json_object_set_int_member(object, "readings", taken->learned.n);
    api_set_number(object, "tonight_before_c", taken->before.low_c);
    api_set_number(object, "tonight_after_c", now.low_c);
    api_set_odds(object, "frost_odds_before", taken->before.frost_odds);
    api_set_odds(object, "frost_odds_after", now.frost_odds);
    return object;
}

static JsonNode *post_reading(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    ReadingAsked asked = {0};
    ReadingTaken taken;

    if (!read_where(service, request, &asked, error) ||
        !api_temperature_member(service, request, "value", READING_LEAST_C, READING_MOST_C,
                                &asked.value_c, error) ||
        !read_kind(request, &asked.kind, error) ||
        !control_body_bool(request, "moved", FALSE, &asked.moved, error) ||
        !api_past_time(service, request, "at", asked.site, &asked.time_utc, error) ||
        !read_since(service, request, &asked, error) || !control_reject_rest(request, error))
        return NULL;
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!reading_take(service, &asked, &taken, error))
        return NULL;
    g_autofree char *text = wording_reading(service, &taken);
    const ApiDone done = {.trigger = "reading",
                          .text = text,
                          .keep_states = TRUE,
                          .tell = tell_night,
                          .reading = reading_object,
                          .told = &taken};
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
    g_autoptr(GString) text = g_string_new(NULL);
    ApiNight night;

    if (!api_frost_members(service, request, &warning, error) ||
        !control_reject_rest(request, error))
        return NULL;
    const int day = warning.night_day;
    g_autofree char *date = api_day_short(day);
    g_autofree char *low = wording_temperature(service->garden, warning.low_c);
    const WordingContext words = service_wording(service);
    g_autofree char *where = wording_site_words(&words, warning.site);
    g_string_printf(text, "Noted: a low of %s at %s in the night that begins %s.", low, where,
                    date);
    if (api_night(service, warning.site, day, &night)) {
        g_autofree char *expected = wording_tenths(service->garden, night.low_c);
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
    JsonObject *object = json_object_new();

    api_set_text(object, "id", away->id);
    api_set_utc(object, "from_utc", away->from_utc);
    api_set_utc(object, "to_utc", away->to_utc);
    api_set_text(object, "helper", away->helper[0] != '\0' ? away->helper : NULL);
    api_take_text(object, "text", absence_words(service, away));
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

/* "08:00-09:00". */
static gboolean read_span(const char *text, StoreAway *away, GError **error)
{
    g_autoptr(GRegex) form = g_regex_new("^(\\d\\d?):([0-5]\\d)-(\\d\\d?):([0-5]\\d)$", 0, 0, NULL);
    g_autoptr(GMatchInfo) match = NULL;
    int n[4] = {0};

    for (int i = 0; i < 4 && g_regex_match(form, text, 0, &match); i++) {
        g_autofree char *part = g_match_info_fetch(match, i + 1);
        n[i] = (int)g_ascii_strtoll(part, NULL, 10);
        g_clear_pointer(&match, g_match_info_unref);
    }
    away->helper_from_min = n[0] * 60 + n[1];
    away->helper_to_min = n[2] * 60 + n[3];
    if (away->helper_from_min < away->helper_to_min && away->helper_to_min <= 24 * 60)
        return TRUE;
    return api_refuse(error, THOLE_ERROR_INVALID,
                      "visits: \"%.20s\" is not accepted; give hours such as 08:00-09:00", text);
}

/* Who is away, and who comes meanwhile. The grower whom the garden's file names first, where no
 * other is said, and a helper comes to that grower's home. */
static gboolean read_people(const Service *service, const ControlRequest *request, StoreAway *away,
                            GError **error)
{
    const Garden *garden = service->garden;
    const char *grower = NULL, *helper = NULL, *visits = NULL, *site = NULL;

    if (!control_body_string(request, "grower", FALSE, &grower, error) ||
        !control_body_string(request, "helper", FALSE, &helper, error) ||
        !control_body_string(request, "visits", FALSE, &visits, error) ||
        !control_body_string(request, "site", FALSE, &site, error))
        return FALSE;
    if (garden->n_growers == 0)
        return api_refuse(error, THOLE_ERROR_CONFLICT,
                          "the garden's file has no grower who could be away");
    for (int i = 0; grower != NULL && i < garden->n_growers; i++)
        if (g_str_equal(garden->growers[i].name, grower))
            away->grower = i;
    if (grower != NULL && !g_str_equal(garden->growers[away->grower].name, grower))
        return api_refuse(error, THOLE_ERROR_NOT_FOUND, "there is no grower \"%.40s\"", grower);
    if ((helper != NULL) != (visits != NULL) || (site != NULL && helper == NULL))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "give helper, who comes, and visits, the hours, together");
    away->helper_site = garden->growers[away->grower].home_site;
    if (helper == NULL)
        return TRUE;
    if (g_strlcpy(away->helper, helper, sizeof away->helper) >= sizeof away->helper)
        return api_refuse(error, THOLE_ERROR_LIMIT, "helper: the name is longer than %d bytes",
                          NAME_SIZE - 1);
    return (site == NULL || api_site_named(service, site, &away->helper_site, error)) &&
           read_span(visits, away, error);
}

static JsonNode *post_away(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const int64_t now_utc = clock_now(service->clk);
    GTimeZone *zone = service->zones[0];
    StoreAway away = {.grower = 0};

    if (!control_body_time(request, "from", TRUE, zone, now_utc, &away.from_utc, error) ||
        !read_to(request, zone, now_utc, &away.to_utc, error) ||
        !read_people(service, request, &away, error) || !control_reject_rest(request, error))
        return NULL;
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
