/* SPDX-License-Identifier: MIT */
/* The days ahead of one site half-hour by half-hour, outdoors and in each place, for a drawing. */
#include <math.h>

#include "base/local-time.h"
#include "ramp/ramp.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-sources.h"
#include "service/wording-names.h"

#define DAYS_USUAL 5 /* chosen */
#define CENTI 100.0  /* hundredths of a degree are enough for a line */

typedef struct Course {
    const Service *service;
    int site, steps; /* half-hours from the plan's start */
    int64_t start_utc;
} Course;

/* NAN becomes null. */
static void add_rounded(JsonArray *array, double value)
{
    if (isfinite(value))
        json_array_add_double_element(array, round(value * CENTI) / CENTI);
    else
        json_array_add_null_element(array);
}

static const OutdoorStep *outdoor_steps(const Course *c)
{
    const SiteWeather *weather = &c->service->weather[c->site];

    return &g_array_index(weather->steps, OutdoorStep,
                          (guint)((c->start_utc - weather->first_utc) / STEP_S));
}

static JsonObject *outdoors_object(const Course *c)
{
    const OutdoorStep *steps = outdoor_steps(c);
    JsonArray *air = json_array_new(), *spread = json_array_new();
    JsonObject *object = json_object_new();

    for (int i = 1; i <= c->steps; i++) {
        add_rounded(air, steps[i].air_c);
        add_rounded(spread, steps[i].spread_k);
    }
    json_object_set_array_member(object, "air_c", air);
    json_object_set_array_member(object, "spread_k", spread);
    return object;
}

static JsonArray *days_array(const Course *c)
{
    const GArray *days = c->service->weather[c->site].days;
    const int64_t end_utc = c->start_utc + (int64_t)c->steps * STEP_S;
    JsonArray *array = json_array_new();

    for (guint i = 0; i < days->len; i++) {
        const SolarDay *day = &g_array_index(days, SolarDay, i);
        if (day->midnight_utc + 86400 <= c->start_utc || day->midnight_utc >= end_utc)
            continue;
        JsonObject *object = json_object_new();
        api_take_text(object, "date", local_day_format(day->day));
        api_take_text(object, "when", api_day_short(day->day));
        api_set_utc(object, "midnight_utc", day->midnight_utc);
        api_set_utc(object, "sunrise_utc", day->sunrise_utc);
        api_set_utc(object, "sunset_utc", day->sunset_utc);
        json_array_add_object_element(array, object);
    }
    return array;
}

/* Stretches in which the place's own cover stays as it is. */
static JsonArray *positions_array(const Course *c, int place, const CourseStep *course)
{
    const Cover *cover = &c->service->garden->places[place].cover;
    JsonArray *array = json_array_new();

    for (int i = 0, from = 0; i < c->steps; i++) {
        if (i + 1 < c->steps && course[i + 1].position == course[from].position)
            continue;
        const int position = course[from].position;
        if (position >= 0 && position < cover->n_positions) {
            JsonObject *object = json_object_new();
            api_set_utc(object, "from_utc", c->start_utc + (int64_t)from * STEP_S);
            api_set_utc(object, "to_utc", c->start_utc + (int64_t)(i + 1) * STEP_S);
            api_set_text(object, "position", cover->positions[position].name);
            api_set_number(object, "open",
                           cover->positions[position].open ? 1.0
                           : position == 0                 ? 0.0
                                                           : 0.5);
            json_array_add_object_element(array, object);
        }
        from = i + 1;
    }
    return array;
}

/* The batch there now that is damaged first, as hard as it is now; none: null. */
static void set_limit(const Course *c, JsonObject *object, int place)
{
    const GArray *batches = c->service->current.batches;
    const Batch *first = NULL;
    double limit_c = NAN;

    for (guint i = 0; i < batches->len; i++) {
        const Batch *batch = &g_array_index(batches, Batch, i);
        if (batch->place != place)
            continue;
        const double damage_c =
            ramp_damage_c(&c->service->garden->crops[batch->crop], &batch->ramp);
        if (first == NULL || damage_c > limit_c) {
            first = batch;
            limit_c = damage_c;
        }
    }
    if (first == NULL) {
        json_object_set_null_member(object, "limit");
        return;
    }
    JsonObject *limit = json_object_new();
    api_set_text(limit, "batch", first->name);
    api_set_number(limit, "damage_c", limit_c);
    json_object_set_object_member(object, "limit", limit);
}

/* Nights in which leaves there may freeze: when it is coldest, and the odds. */
static JsonArray *frosts_array(const Course *c, int place)
{
    const Plan *plan = &c->service->plan;
    JsonArray *array = json_array_new();

    for (int i = 0; i < plan->n_predictions; i++) {
        const PlacePrediction *p = &plan->predictions[i];
        if (p->place != place || p->low_utc < c->start_utc ||
            p->low_utc > c->start_utc + (int64_t)c->steps * STEP_S || !(p->leaf_frost_odds >= 0.01))
            continue;
        JsonObject *object = json_object_new();
        api_set_utc(object, "at_utc", p->low_utc);
        api_set_number(object, "leaf_low_c", p->leaf_low_c);
        api_set_odds(object, "odds", p->leaf_frost_odds);
        json_array_add_object_element(array, object);
    }
    return array;
}

static JsonObject *place_object(const Course *c, int place)
{
    const Plan *plan = &c->service->plan;
    const CourseStep *course = &plan->course[place * plan->n_steps];
    JsonArray *air = json_array_new(), *spread = json_array_new();
    JsonObject *object = json_object_new();

    for (int i = 0; i < c->steps; i++) {
        add_rounded(air, course[i].air_c);
        add_rounded(spread, isfinite(course[i].air_c) ? course[i].spread_k : NAN);
    }
    api_set_text(object, "place", c->service->garden->places[place].name);
    json_object_set_array_member(object, "air_c", air);
    json_object_set_array_member(object, "spread_k", spread);
    json_object_set_array_member(object, "positions", positions_array(c, place, course));
    json_object_set_array_member(object, "frosts", frosts_array(c, place));
    set_limit(c, object, place);
    return object;
}

static JsonArray *visits_array(const Course *c)
{
    const int64_t end_utc = c->start_utc + (int64_t)c->steps * STEP_S;
    JsonArray *array = json_array_new();

    for (guint i = 0; i < c->service->visits->len; i++) {
        const OpenVisit *visit = c->service->visits->pdata[i];
        if (visit->visit.site == c->site && visit->visit.start_utc >= c->start_utc &&
            visit->visit.start_utc < end_utc) {
            JsonObject *object = json_object_new();
            api_set_utc(object, "start_utc", visit->visit.start_utc);
            api_take_text(object, "clock", api_clock(c->service, c->site, visit->visit.start_utc));
            json_array_add_object_element(array, object);
        }
    }
    return array;
}

/* From when on the temperature is no forecast but what is normal; 0 never. */
static int64_t normals_from(const Course *c)
{
    const OutdoorStep *steps = outdoor_steps(c);

    for (int i = 0; i < c->steps; i++)
        if (steps[i].estimated & EST_TEMPERATURE)
            return c->start_utc + (int64_t)i * STEP_S;
    return 0;
}

static gboolean read_days(const ControlRequest *request, int *ret_days, GError **error)
{
    const char *text = control_query(request, "days");
    guint64 days = DAYS_USUAL;

    if (text != NULL &&
        !g_ascii_string_to_unsigned(text, 10, 1, SERVICE_HORIZON_D - 1, &days, NULL))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "days: \"%.20s\" is not accepted; give a number from 1 to %d", text,
                          SERVICE_HORIZON_D - 1);
    *ret_days = (int)days;
    return TRUE;
}

static JsonNode *get_course(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    Course c = {.service = service};
    int days = DAYS_USUAL;

    if (!api_site_named(service, control_param(request, "site"), &c.site, error) ||
        !read_days(request, &days, error) || !control_reject_rest(request, error))
        return NULL;
    if (service->weather == NULL || service->plan.course == NULL) {
        api_refuse(error, THOLE_ERROR_CONFLICT,
                   "no plan has been made yet, so there is nothing to draw; ask again in a moment");
        return NULL;
    }
    c.start_utc = service->current.as_of_utc;
    c.steps = MIN(days * 24 * STEPS_PER_H, service->plan.n_steps);
    JsonArray *places = json_array_new();
    for (int place = 0; place < service->garden->n_places; place++)
        if (service->garden->places[place].site == c.site &&
            !service->garden->places[place].indoors)
            json_array_add_object_element(places, place_object(&c, place));
    const WordingContext words = service_wording(service);
    const SiteWeather *weather = &service->weather[c.site];
    JsonObject *object = json_object_new();
    api_set_units(object, service->garden);
    api_set_text(object, "site", service->garden->sites[c.site].name);
    g_autofree char *issued = wording_when(&words, c.site, weather->issued_utc);
    api_take_text(object, "forecast",
                  weather->note != NULL ? g_strdup(weather->note)
                                        : g_strdup_printf("forecast of %s", issued));
    api_set_utc(object, "start_utc", c.start_utc);
    api_set_utc(object, "now_utc", clock_now(service->clk));
    api_set_utc(object, "normals_from_utc", normals_from(&c));
    json_object_set_int_member(object, "step_s", STEP_S);
    json_object_set_array_member(object, "days", days_array(&c));
    json_object_set_object_member(object, "outdoors", outdoors_object(&c));
    json_object_set_array_member(object, "places", places);
    json_object_set_array_member(object, "visits", visits_array(&c));
    json_object_set_array_member(object, "credits", api_credits(service, c.site));
    return api_reply(object);
}

void api_add_course(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/course/{site}", get_course, service);
}
