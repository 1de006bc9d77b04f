/* SPDX-License-Identifier: MIT */
#include "service/api-json.h"

#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "ramp/ramp.h"
#include "service/absence.h"
#include "service/api-day.h"

/* In the order of the enumerations. */
static const char *const limit_names[] = {
    "none",     "damage",   "check",       "chill",         "heat",   "gust", "scorch",   "frozen",
    "capacity", "no visit", "progress",    "exposure",      "nights", "hold", "settling", "size",
    "soil",     "ground",   "destination", "held too long", "water",  "damp", "daylight",
};
static const char *const job_names[] = {"set cover", "move",       "transfer",
                                        "plant out", "leave shut", "rescue",
                                        "choose",    "water",      "protect"};
static const char *const stage_names[] = {"sown",      "emerged", "growing on",  "settling",
                                          "hardening", "ready",   "planted out", "ended"};

G_STATIC_ASSERT(G_N_ELEMENTS(limit_names) == LIMIT_DAYLIGHT + 1);
G_STATIC_ASSERT(G_N_ELEMENTS(job_names) == JOB_PROTECT + 1);
G_STATIC_ASSERT(G_N_ELEMENTS(stage_names) == STAGE_ENDED + 1);

/* ---- members ---- */

void api_set_text(JsonObject *object, const char *name, const char *text)
{
    if (text == NULL)
        json_object_set_null_member(object, name);
    else
        json_object_set_string_member(object, name, text);
}

void api_take_text(JsonObject *object, const char *name, char *text)
{
    api_set_text(object, name, text);
    g_free(text);
}

void api_set_number(JsonObject *object, const char *name, double value)
{
    if (isfinite(value))
        json_object_set_double_member(object, name, round(value * 1000.0) / 1000.0 + 0.0);
    else
        json_object_set_null_member(object, name);
}

void api_set_odds(JsonObject *object, const char *name, double odds)
{
    if (isfinite(odds))
        json_object_set_double_member(object, name, CLAMP(odds, 0.0, 1.0));
    else
        json_object_set_null_member(object, name);
}

void api_set_utc(JsonObject *object, const char *name, int64_t utc)
{
    api_take_text(object, name, utc != 0 ? utc_format(utc) : NULL);
}

void api_set_units(JsonObject *object, const Garden *garden)
{
    api_set_text(object, "units", garden->fahrenheit ? "F" : "C");
}

void api_set_estimated(JsonObject *object, uint32_t estimated)
{
    static const struct {
        uint32_t bit;
        const char *name;
    } names[] = {{EST_DEW_POINT, "dew point"},
                 {EST_CLOUD, "cloud"},
                 {EST_WIND, "wind"},
                 {EST_RADIATION, "radiation"},
                 {EST_TEMPERATURE, "temperature"},
                 {EST_WARNING, "warning"},
                 {EST_INTERPOLATED, "interpolated"},
                 {EST_PRECIPITATION, "rain"}};
    JsonArray *array = json_array_new();

    for (guint i = 0; i < G_N_ELEMENTS(names); i++)
        if (estimated & names[i].bit)
            json_array_add_string_element(array, names[i].name);
    json_object_set_array_member(object, "estimated", array);
}

JsonNode *api_reply(JsonObject *object)
{
    JsonNode *node = json_node_new(JSON_NODE_OBJECT);

    json_node_take_object(node, object);
    return node;
}

void api_add_number(JsonArray *numbers, const char *name, double value, const char *unit,
                    double spread)
{
    JsonObject *number = json_object_new();

    api_set_text(number, "name", name);
    api_set_number(number, "value", value);
    api_set_text(number, "unit", unit);
    api_set_number(number, "spread", spread);
    json_array_add_object_element(numbers, number);
}

/* ---- names ---- */

const char *api_place_name(const Service *service, int place)
{
    return place >= 0 && place < service->garden->n_places ? service->garden->places[place].name
                                                           : NULL;
}

const char *api_batch_name(const Service *service, int batch)
{
    const GArray *batches = service->current.batches;

    return batch >= 0 && batch < (int)batches->len ? g_array_index(batches, Batch, batch).name
                                                   : NULL;
}

static const char *position_name(const Service *service, int place, int position)
{
    if (api_place_name(service, place) == NULL || !service->garden->places[place].covered)
        return NULL;
    const Cover *cover = &service->garden->places[place].cover;
    return position >= 0 && position < cover->n_positions ? cover->positions[position].name : NULL;
}

const char *api_position_name(const Service *service, int place)
{
    return api_place_name(service, place) != NULL
               ? position_name(service, place, service->current.positions[place])
               : NULL;
}

int api_site_of(const Service *service, int place)
{
    return api_place_name(service, place) != NULL ? service->garden->places[place].site : 0;
}

int api_batch_index(const Service *service, const char *id)
{
    const GArray *batches = service->current.batches;

    for (guint i = 0; i < batches->len; i++)
        if (g_str_equal(g_array_index(batches, Batch, i).id, id))
            return (int)i;
    return -1;
}

const BatchOutlook *api_outlook(const Service *service, int index)
{
    if (service->plan.outlooks == NULL || index < 0 ||
        index >= (int)service->current.batches->len || service->plans == 0)
        return NULL;
    return &service->plan.outlooks[index];
}

/* ---- reasons, jobs, visits ---- */

/* What the figures of a limit are in; NULL where it has none. */
static const char *limit_unit(LimitKind limit)
{
    switch (limit) {
    case LIMIT_DAMAGE:
    case LIMIT_CHECK:
    case LIMIT_CHILL:
    case LIMIT_HEAT:
    case LIMIT_FROZEN:
    case LIMIT_PROGRESS:
    case LIMIT_SOIL:
    case LIMIT_DESTINATION:
        return "°C";
    case LIMIT_GUST:
        return "m/s";
    case LIMIT_SCORCH:
        return "h";
    case LIMIT_EXPOSURE:
    case LIMIT_NIGHTS:
        return "days";
    case LIMIT_HELD_TOO_LONG:
        return "weeks";
    case LIMIT_WATER:
        return "l";
    case LIMIT_DAMP:
        return "nights";
    case LIMIT_NONE:
    case LIMIT_CAPACITY:
    case LIMIT_NO_VISIT:
    case LIMIT_HOLD:
    case LIMIT_SETTLING:
    case LIMIT_SIZE:
    case LIMIT_GROUND:
    case LIMIT_DAYLIGHT:
        break;
    }
    return NULL;
}

JsonObject *api_reason(const Service *service, const Reason *reason, const Job *job, int site)
{
    const WordingContext words = service_wording(service);
    const char *unit = limit_unit(reason->limit);
    JsonObject *object = json_object_new();

    api_take_text(object, "text",
                  job != NULL ? wording_reason(&words, job)
                              : wording_reason_plain(&words, reason, site));
    api_set_text(object, "limit", limit_names[reason->limit]);
    api_set_text(object, "batch", api_batch_name(service, reason->batch));
    api_set_text(object, "place", api_place_name(service, reason->place));
    api_set_utc(object, "at_utc", reason->at_utc);
    api_set_number(object, "predicted", unit != NULL ? reason->predicted_c : NAN);
    api_set_number(object, "spread", unit != NULL ? reason->spread_k : NAN);
    api_set_number(object, "limit_value", unit != NULL ? reason->limit_c : NAN);
    api_set_text(object, "unit", unit);
    api_set_odds(object, "odds", reason->odds);
    api_set_odds(object, "otherwise_odds", reason->otherwise_odds);
    api_set_estimated(object, reason->estimated);
    return object;
}

JsonObject *api_job(const Service *service, const OpenVisit *visit, const OpenJob *open)
{
    const WordingContext words = service_wording(service);
    const Job *job = &open->job;
    const int site = visit->visit.site;
    JsonObject *object = json_object_new();

    json_object_set_int_member(object, "handle", open->handle);
    api_set_text(object, "id", job->id);
    api_set_text(object, "kind", job_names[job->kind]);
    api_set_text(object, "state", store_job_state_name(open->state));
    api_take_text(object, "text", wording_visit_job(&words, &visit->visit, job));
    api_set_text(object, "batch", api_batch_name(service, job->batch));
    api_set_text(object, "place", api_place_name(service, job->place));
    api_set_text(object, "from_place", api_place_name(service, job->from_place));
    api_set_text(object, "position",
                 job->kind == JOB_SET_COVER ? position_name(service, job->place, job->position)
                                            : NULL);
    api_set_utc(object, "deadline_utc", job->deadline_utc);
    api_take_text(object, "deadline", api_clock(service, site, job->deadline_utc));
    json_object_set_boolean_member(object, "guard", job->guard);
    json_object_set_boolean_member(object, "urgent", job->urgent);
    json_object_set_object_member(object, "reason", api_reason(service, &job->reason, job, site));
    return object;
}

/* What the jobs still open ask to be taken; "" nothing. */
static char *take_along(const WordingContext *words, const OpenVisit *open)
{
    g_autoptr(GArray) jobs = g_array_new(FALSE, FALSE, sizeof(Job));

    for (guint i = 0; i < open->jobs->len; i++) {
        const OpenJob *job = &g_array_index(open->jobs, OpenJob, i);
        if (job->state == STORE_JOB_PLANNED)
            g_array_append_val(jobs, job->job);
    }
    return wording_take_along(words, &open->visit, (const Job *)(gconstpointer)jobs->data,
                              (int)jobs->len);
}

JsonObject *api_visit(const Service *service, const OpenVisit *open)
{
    const WordingContext words = service_wording(service);
    const Visit *visit = &open->visit;
    const Grower *grower = &service->garden->growers[visit->grower];
    g_autofree char *helper = absence_helper(service, visit);
    const gboolean away = visit->site != grower->home_site && helper == NULL;
    const int64_t leave_utc = away ? visit->start_utc - (int64_t)(grower->travel_min * 60.0) : 0;
    JsonArray *jobs = json_array_new();
    JsonObject *object = json_object_new();

    api_set_text(object, "id", visit->id);
    api_set_text(object, "grower", grower->name);
    api_set_text(object, "site", service->garden->sites[visit->site].name);
    api_set_utc(object, "start_utc", visit->start_utc);
    api_take_text(object, "when", wording_when(&words, visit->site, visit->start_utc));
    api_set_utc(object, "leave_utc", leave_utc);
    api_take_text(object, "leave", api_clock(service, grower->home_site, leave_utc));
    api_set_number(object, "minutes", fmax(visit->minutes, 0.0));
    g_autofree char *take = take_along(&words, open);
    api_set_text(object, "take_along", take[0] != '\0' ? take : NULL);
    api_set_text(object, "helper", helper);
    api_take_text(object, "helper_text", absence_helper_text(service, open));
    api_take_text(object, "note", absence_note(service, visit));
    json_object_set_boolean_member(object, "beyond_cap", visit->beyond_cap);
    json_object_set_boolean_member(object, "fixed", visit->fixed);
    for (guint i = 0; i < open->jobs->len; i++)
        json_array_add_object_element(
            jobs, api_job(service, open, &g_array_index(open->jobs, OpenJob, i)));
    json_object_set_array_member(object, "jobs", jobs);
    return object;
}

/* ---- batches ---- */

/* "20–29 Apr": eight cases of ten; NULL where they are one day. */
static char *ready_range(const Service *service, const Batch *batch, const BatchOutlook *outlook)
{
    if (outlook == NULL || outlook->early_utc == 0 || batch->stage >= STAGE_PLANTED_OUT)
        return NULL;
    const int site =
        api_site_of(service, batch->destination >= 0 ? batch->destination : batch->place);
    const int from = api_day(service, site, outlook->early_utc);
    const int to = api_day(service, site, outlook->late_utc);
    if (from >= to)
        return NULL;
    g_autofree char *first = api_day_short(from), *last = api_day_short(to);
    /* the month once, where it is the same */
    const gboolean same = g_str_equal(strrchr(first, ' '), strrchr(last, ' '));
    return g_strdup_printf("%.*s–%s", same ? (int)(strrchr(first, ' ') - first - 4) : 99, first + 4,
                           last + 4);
}

char *api_ready_words(const Service *service, const Batch *batch, const BatchOutlook *outlook)
{
    const int site =
        api_site_of(service, batch->destination >= 0 ? batch->destination : batch->place);

    if (outlook == NULL || outlook->ready_utc == 0 || batch->stage >= STAGE_PLANTED_OUT)
        return g_strdup("–");
    if (outlook->ready_utc <= clock_now(service->clk))
        return g_strdup("now");
    g_autofree char *date = api_day_short(api_day(service, site, outlook->ready_utc));
    return outlook->not_before ? g_strdup_printf("from %s", date + 4) : g_steal_pointer(&date);
}

static void set_tonight(JsonObject *object, const BatchOutlook *outlook)
{
    if (outlook == NULL || !isfinite(outlook->tonight_leaf_c) ||
        !isfinite(outlook->tonight_spread_k) || !isfinite(outlook->damage_odds)) {
        json_object_set_null_member(object, "tonight");
        return;
    }
    JsonObject *tonight = json_object_new();
    api_set_number(tonight, "expected_c", outlook->tonight_cold_c);
    api_set_number(tonight, "leaf_c", outlook->tonight_leaf_c);
    api_set_number(tonight, "spread_k", outlook->tonight_spread_k);
    api_set_odds(tonight, "damage_odds", outlook->damage_odds);
    api_set_text(tonight, "odds", wording_odds(outlook->damage_odds));
    json_object_set_object_member(object, "tonight", tonight);
}

static void set_bound(const Service *service, JsonObject *object, const Batch *batch,
                      const BatchOutlook *outlook)
{
    if (outlook == NULL || outlook->bound.limit == LIMIT_NONE ||
        batch->stage >= STAGE_PLANTED_OUT) {
        json_object_set_null_member(object, "bound");
        return;
    }
    const WordingContext words = service_wording(service);
    const int site =
        api_site_of(service, batch->destination >= 0 ? batch->destination : batch->place);
    JsonObject *bound = api_reason(service, &outlook->bound, NULL, site);
    api_take_text(bound, "text", wording_bound(&words, batch, outlook));
    json_object_set_object_member(object, "bound", bound);
}

JsonObject *api_batch(const Service *service, const Batch *batch)
{
    const Garden *garden = service->garden;
    const gboolean ended = batch->stage == STAGE_ENDED;
    const int place = ended ? -1 : batch->place;
    const BatchOutlook *outlook =
        ended ? NULL : api_outlook(service, api_batch_index(service, batch->id));
    JsonObject *object = json_object_new();

    api_set_text(object, "name", batch->name);
    api_set_text(object, "crop",
                 batch->crop >= 0 ? garden->crops[batch->crop].title : "a crop no longer known");
    api_set_text(object, "cultivar", batch->cultivar[0] != '\0' ? batch->cultivar : NULL);
    json_object_set_int_member(object, "number", batch->number);
    api_set_text(object, "container",
                 batch->container >= 0 ? garden->containers[batch->container].name : NULL);
    json_object_set_int_member(object, "trays", batch->trays);
    api_set_text(object, "site",
                 api_place_name(service, place) != NULL
                     ? garden->sites[garden->places[place].site].name
                     : NULL);
    api_set_text(object, "place", api_place_name(service, place));
    api_set_text(object, "position", api_position_name(service, place));
    json_object_set_boolean_member(object, "position_known", !batch->position_unknown);
    api_set_text(object, "destination", api_place_name(service, batch->destination));
    api_set_text(object, "stage", stage_names[batch->stage]);
    /* Once planted only damage counts. */
    const gboolean ramps = !ended && batch->stage != STAGE_PLANTED_OUT;
    api_set_number(object, "hardened_to_c", ramps ? batch->ramp.hardened_to_c : NAN);
    api_set_number(object, "allowed_low_c",
                   ramps && batch->crop >= 0
                       ? ramp_allowed_low_c(&garden->crops[batch->crop], &batch->ramp)
                       : NAN);
    set_tonight(object, outlook);
    api_set_utc(object, "ready_utc", outlook != NULL ? outlook->ready_utc : 0);
    json_object_set_boolean_member(object, "not_before", outlook != NULL && outlook->not_before);
    api_set_utc(object, "early_utc", outlook != NULL ? outlook->early_utc : 0);
    api_set_utc(object, "late_utc", outlook != NULL ? outlook->late_utc : 0);
    api_take_text(object, "ready", api_ready_words(service, batch, outlook));
    api_take_text(object, "ready_range", ready_range(service, batch, outlook));
    set_bound(service, object, batch, outlook);
    return object;
}
