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

/* The names of the bits, one after the other; NULL there are no more. */
static const char *estimated_name(uint32_t estimated, guint *next)
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

    while (*next < G_N_ELEMENTS(names)) {
        const guint at = (*next)++;
        if (estimated & names[at].bit)
            return names[at].name;
    }
    return NULL;
}

void api_set_estimated(JsonObject *object, uint32_t estimated)
{
    JsonArray *array = json_array_new();
    const char *name;
    guint next = 0;

    while ((name = estimated_name(estimated, &next)) != NULL)
        json_array_add_string_element(array, name);
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

/* ---- the same, written ---- */

void api_write_taken(JsonText *to, const char *name, char *text)
{
    json_text_string(to, name, text);
    g_free(text);
}

void api_write_odds(JsonText *to, const char *name, double odds)
{
    json_text_double(to, name, isfinite(odds) ? CLAMP(odds, 0.0, 1.0) : odds);
}

void api_write_utc(JsonText *to, const char *name, int64_t utc)
{
    api_write_taken(to, name, utc != 0 ? utc_format(utc) : NULL);
}

void api_write_units(JsonText *to, const Garden *garden)
{
    json_text_string(to, "units", garden->fahrenheit ? "F" : "C");
}

void api_write_estimated(JsonText *to, uint32_t estimated)
{
    const char *name;
    guint next = 0;

    json_text_begin_array(to, "estimated");
    while ((name = estimated_name(estimated, &next)) != NULL)
        json_text_string(to, NULL, name);
    json_text_end_array(to);
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

/* `text` is taken over. */
static void write_reason(JsonText *to, const char *name, const Service *service,
                         const Reason *reason, char *text)
{
    const char *unit = limit_unit(reason->limit);

    json_text_begin_object(to, name);
    api_write_taken(to, "text", text);
    json_text_string(to, "limit", limit_names[reason->limit]);
    json_text_string(to, "batch", api_batch_name(service, reason->batch));
    json_text_string(to, "place", api_place_name(service, reason->place));
    api_write_utc(to, "at_utc", reason->at_utc);
    json_text_thousandths(to, "predicted", unit != NULL ? reason->predicted_c : NAN);
    json_text_thousandths(to, "spread", unit != NULL ? reason->spread_k : NAN);
    json_text_thousandths(to, "limit_value", unit != NULL ? reason->limit_c : NAN);
    json_text_string(to, "unit", unit);
    api_write_odds(to, "odds", reason->odds);
    api_write_odds(to, "otherwise_odds", reason->otherwise_odds);
    api_write_estimated(to, reason->estimated);
    json_text_end_object(to);
}

void api_write_job(JsonText *to, const char *name, const Service *service, const OpenVisit *visit,
                   const OpenJob *open)
{
    const WordingContext words = service_wording(service);
    const Job *job = &open->job;
    const int site = visit->visit.site;

    json_text_begin_object(to, name);
    json_text_int(to, "handle", open->handle);
    json_text_string(to, "id", job->id);
    json_text_string(to, "kind", job_names[job->kind]);
    json_text_string(to, "state", store_job_state_name(open->state));
    api_write_taken(to, "text", wording_visit_job(&words, &visit->visit, job));
    json_text_string(to, "batch", api_batch_name(service, job->batch));
    json_text_string(to, "place", api_place_name(service, job->place));
    json_text_string(to, "from_place", api_place_name(service, job->from_place));
    json_text_string(to, "position",
                     job->kind == JOB_SET_COVER ? position_name(service, job->place, job->position)
                                                : NULL);
    api_write_utc(to, "deadline_utc", job->deadline_utc);
    api_write_taken(to, "deadline", api_clock(service, site, job->deadline_utc));
    json_text_bool(to, "guard", job->guard);
    json_text_bool(to, "urgent", job->urgent);
    write_reason(to, "reason", service, &job->reason, wording_reason(&words, job));
    json_text_end_object(to);
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

void api_write_visit(JsonText *to, const char *name, const Service *service, const OpenVisit *open)
{
    const WordingContext words = service_wording(service);
    const Visit *visit = &open->visit;
    const Grower *grower = &service->garden->growers[visit->grower];
    g_autofree char *helper = absence_helper(service, visit);
    const gboolean away = visit->site != grower->home_site && helper == NULL;
    const int64_t leave_utc = away ? visit->start_utc - (int64_t)(grower->travel_min * 60.0) : 0;
    g_autofree char *take = take_along(&words, open);

    json_text_begin_object(to, name);
    json_text_string(to, "id", visit->id);
    json_text_string(to, "grower", grower->name);
    json_text_string(to, "site", service->garden->sites[visit->site].name);
    api_write_utc(to, "start_utc", visit->start_utc);
    api_write_taken(to, "when", wording_when(&words, visit->site, visit->start_utc));
    api_write_utc(to, "leave_utc", leave_utc);
    api_write_taken(to, "leave", api_clock(service, grower->home_site, leave_utc));
    json_text_thousandths(to, "minutes", fmax(visit->minutes, 0.0));
    json_text_string(to, "take_along", take[0] != '\0' ? take : NULL);
    json_text_string(to, "helper", helper);
    api_write_taken(to, "helper_text", absence_helper_text(service, open));
    api_write_taken(to, "note", absence_note(service, visit));
    json_text_bool(to, "beyond_cap", visit->beyond_cap);
    json_text_bool(to, "fixed", visit->fixed);
    json_text_begin_array(to, "jobs");
    for (guint i = 0; i < open->jobs->len; i++)
        api_write_job(to, NULL, service, open, &g_array_index(open->jobs, OpenJob, i));
    json_text_end_array(to);
    json_text_end_object(to);
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

static void write_tonight(JsonText *to, const BatchOutlook *outlook)
{
    if (outlook == NULL || !isfinite(outlook->tonight_leaf_c) ||
        !isfinite(outlook->tonight_spread_k) || !isfinite(outlook->damage_odds)) {
        json_text_string(to, "tonight", NULL);
        return;
    }
    json_text_begin_object(to, "tonight");
    json_text_thousandths(to, "expected_c", outlook->tonight_cold_c);
    json_text_thousandths(to, "leaf_c", outlook->tonight_leaf_c);
    json_text_thousandths(to, "spread_k", outlook->tonight_spread_k);
    api_write_odds(to, "damage_odds", outlook->damage_odds);
    json_text_string(to, "odds", wording_odds(outlook->damage_odds));
    json_text_end_object(to);
}

static void write_bound(JsonText *to, const Service *service, const Batch *batch,
                        const BatchOutlook *outlook)
{
    const WordingContext words = service_wording(service);

    if (outlook == NULL || outlook->bound.limit == LIMIT_NONE || batch->stage >= STAGE_PLANTED_OUT)
        json_text_string(to, "bound", NULL);
    else
        write_reason(to, "bound", service, &outlook->bound, wording_bound(&words, batch, outlook));
}

void api_write_batch(JsonText *to, const char *name, const Service *service, const Batch *batch,
                     int index)
{
    const Garden *garden = service->garden;
    const gboolean ended = batch->stage == STAGE_ENDED;
    const int place = ended ? -1 : batch->place;
    const BatchOutlook *outlook = ended ? NULL : api_outlook(service, index);
    /* Once planted only damage counts. */
    const gboolean ramps = !ended && batch->stage != STAGE_PLANTED_OUT;

    json_text_begin_object(to, name);
    json_text_string(to, "name", batch->name);
    json_text_string(
        to, "crop", batch->crop >= 0 ? garden->crops[batch->crop].title : "a crop no longer known");
    json_text_string(to, "cultivar", batch->cultivar[0] != '\0' ? batch->cultivar : NULL);
    json_text_int(to, "number", batch->number);
    json_text_string(to, "container",
                     batch->container >= 0 ? garden->containers[batch->container].name : NULL);
    json_text_int(to, "trays", batch->trays);
    json_text_string(to, "site",
                     api_place_name(service, place) != NULL
                         ? garden->sites[garden->places[place].site].name
                         : NULL);
    json_text_string(to, "place", api_place_name(service, place));
    json_text_string(to, "position", api_position_name(service, place));
    json_text_bool(to, "position_known", !batch->position_unknown);
    json_text_string(to, "destination", api_place_name(service, batch->destination));
    json_text_string(to, "stage", stage_names[batch->stage]);
    json_text_thousandths(to, "hardened_to_c", ramps ? batch->ramp.hardened_to_c : NAN);
    json_text_thousandths(to, "allowed_low_c",
                          ramps && batch->crop >= 0
                              ? ramp_allowed_low_c(&garden->crops[batch->crop], &batch->ramp)
                              : NAN);
    write_tonight(to, outlook);
    api_write_utc(to, "ready_utc", outlook != NULL ? outlook->ready_utc : 0);
    json_text_bool(to, "not_before", outlook != NULL && outlook->not_before);
    api_write_utc(to, "early_utc", outlook != NULL ? outlook->early_utc : 0);
    api_write_utc(to, "late_utc", outlook != NULL ? outlook->late_utc : 0);
    api_write_taken(to, "ready", api_ready_words(service, batch, outlook));
    api_write_taken(to, "ready_range", ready_range(service, batch, outlook));
    write_bound(to, service, batch, outlook);
    json_text_end_object(to);
}

/* ---- as objects, where there are few ---- */

static JsonObject *object_of(const GString *text)
{
    g_autoptr(JsonNode) node = json_from_string(text->str, NULL);

    return json_node_dup_object(node);
}

JsonObject *api_job(const Service *service, const OpenVisit *visit, const OpenJob *job)
{
    g_autoptr(GString) text = g_string_new(NULL);

    api_write_job(&(JsonText){.text = text}, NULL, service, visit, job);
    return object_of(text);
}

JsonObject *api_batch(const Service *service, const Batch *batch, int index)
{
    g_autoptr(GString) text = g_string_new(NULL);

    api_write_batch(&(JsonText){.text = text}, NULL, service, batch, index);
    return object_of(text);
}
