/* SPDX-License-Identifier: MIT */
/* What is known of batches. */
#include <math.h>

#include "base/local-time.h"
#include "ramp/ramp.h"
#include "service/advice.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-ramp.h"
#include "service/api-sources.h"
#include "service/growing.h"
#include "service/waiting.h"
#include "store/store-batches.h"

static gboolean get_batches(const ControlRequest *request, JsonText *to, gpointer data,
                            GError **error)
{
    const Service *service = data;
    const GArray *current = service->current.batches;
    g_autoptr(GArray) all = NULL;
    gboolean ended = FALSE;

    if (!control_query_flag(request, "ended", &ended, error) ||
        !control_reject_rest(request, error) ||
        (ended && !store_load_batches(service->store, service->garden, TRUE, &all, NULL, error)))
        return FALSE;
    api_write_units(to, service->garden);
    json_text_begin_array(to, "batches");
    for (guint i = 0; i < (ended ? all : current)->len; i++) {
        const Batch *batch = &g_array_index(ended ? all : current, Batch, i);
        const int index = ended ? api_batch_index(service, batch->id) : (int)i;
        api_write_batch(to, NULL, service,
                        index >= 0 ? &g_array_index(current, Batch, index) : batch, index);
    }
    json_text_end_array(to);
    return TRUE;
}

/* ---- one batch ---- */

static void set_time(const Service *service, JsonObject *object, const char *utc_name,
                     const char *text_name, int site, int64_t utc)
{
    const WordingContext words = service_wording(service);
    const int day = api_day(service, site, utc);
    const gboolean whole =
        utc == local_midnight(service->zones[site], day); /* a day was told, no hour */

    api_set_utc(object, utc_name, utc);
    api_take_text(object, text_name,
                  utc == 0 ? NULL
                  : whole  ? api_day_short(day)
                           : wording_when(&words, site, utc));
}

static void set_ramp(const Service *service, JsonObject *object, const Batch *batch)
{
    const RampState *ramp = &batch->ramp;
    const double allowed_h = ramp_allowance_h(ramp);
    g_autofree char *bears = wording_temperature(service->garden, ramp->hardened_to_c);
    g_autoptr(GString) text = g_string_new(NULL);
    JsonObject *object_ramp = json_object_new();
    JsonArray *nights = json_array_new();

    g_string_printf(text,
                    "It bears %s without a check. %d of %d days in the open are used; today %.1f "
                    "of %.1f hours.",
                    bears, ramp->exposure_days, RAMP_EXPOSURE_FULL, fmax(ramp->exposed_h, 0.0),
                    allowed_h);
    if (ramp->hold_days > 0)
        g_string_append_printf(text, " After a check it is held for %d more %s.", ramp->hold_days,
                               ramp->hold_days == 1 ? "day" : "days");
    api_set_number(object_ramp, "hardened_to_c", ramp->hardened_to_c);
    json_object_set_int_member(object_ramp, "exposure_days", ramp->exposure_days);
    api_set_odds(object_ramp, "frost_tolerance", ramp->frost_tolerance);
    json_object_set_int_member(object_ramp, "hold_days", ramp->hold_days);
    json_object_set_int_member(object_ramp, "unused_days", ramp->unused_days);
    api_set_number(object_ramp, "exposed_h", fmax(ramp->exposed_h, 0.0));
    api_set_number(object_ramp, "allowed_h", allowed_h);
    for (int i = 0; i < NIGHTS_KEPT; i++) {
        if (isfinite(ramp->nights_shelter[i]) && ramp->nights_shelter[i] >= 0.0)
            json_array_add_double_element(nights, ramp->nights_shelter[i]);
        else
            json_array_add_null_element(nights);
    }
    json_object_set_array_member(object_ramp, "nights", nights);
    api_set_text(object_ramp, "text", text->str);
    json_object_set_object_member(object, "ramp", object_ramp);
}

/* Null before it is up, and where nothing is known of it. */
static void set_growth(const Service *service, JsonObject *object, const Batch *batch)
{
    g_autofree char *text = growing_text(service, batch);
    Growing growing;

    if (text == NULL) {
        json_object_set_null_member(object, "growth");
        return;
    }
    JsonObject *growth = json_object_new();
    growing_of(service, batch, &growing);
    api_set_number(growth, "leaves", growing.growth.leaves);
    api_set_number(growth, "height_cm", growing.height_cm);
    json_object_set_boolean_member(growth, "measured", growing.growth.height_factor > 0.0);
    api_set_utc(growth, "prick_out_utc", growing.prick_out_utc);
    api_set_utc(growth, "touches_utc", growing.touches_utc);
    api_set_text(growth, "text", text);
    json_object_set_object_member(object, "growth", growth);
}

static gboolean set_placements(const Service *service, JsonObject *object, const Batch *batch,
                               int site, GError **error)
{
    g_autoptr(GArray) placements = NULL;

    if (!store_load_placements(service->store, service->garden, batch->id, 0, &placements, error))
        return FALSE;
    JsonArray *array = json_array_new();
    for (guint i = placements->len; i-- > 0;) {
        const StorePlacement *p = &g_array_index(placements, StorePlacement, i);
        JsonObject *placement = json_object_new();
        api_set_text(placement, "place", api_place_name(service, p->place));
        set_time(service, placement, "from_utc", "from", site, p->from_utc);
        json_array_add_object_element(array, placement);
    }
    json_object_set_array_member(object, "placements", array);
    return TRUE;
}

static gboolean set_notes(const Service *service, JsonObject *object, const Batch *batch, int site,
                          GError **error)
{
    g_autoptr(GArray) notes = NULL;

    if (!store_load_notes(service->store, batch->id, &notes, error))
        return FALSE;
    JsonArray *array = json_array_new();
    for (guint i = notes->len; i-- > 0;) {
        const StoreNote *n = &g_array_index(notes, StoreNote, i);
        JsonObject *note = json_object_new();
        set_time(service, note, "time_utc", "when", site, n->time_utc);
        api_set_text(note, "text", n->text);
        json_array_add_object_element(array, note);
    }
    json_object_set_array_member(object, "notes", array);
    return TRUE;
}

static gboolean set_losses(const Service *service, JsonObject *object, const Batch *batch, int site,
                           GError **error)
{
    g_autoptr(GArray) losses = NULL;

    if (!store_load_losses(service->store, batch->id, &losses, error))
        return FALSE;
    JsonArray *array = json_array_new();
    for (guint i = losses->len; i-- > 0;) {
        const StoreLoss *l = &g_array_index(losses, StoreLoss, i);
        JsonObject *loss = json_object_new();
        set_time(service, loss, "time_utc", "when", site, l->time_utc);
        json_object_set_int_member(loss, "number", l->number);
        api_set_text(loss, "cause", l->cause != NULL && *l->cause != '\0' ? l->cause : NULL);
        json_array_add_object_element(array, loss);
    }
    json_object_set_array_member(object, "losses", array);
    return TRUE;
}

static void set_jobs(const Service *service, JsonObject *object, int index)
{
    JsonArray *jobs = json_array_new();

    for (guint i = 0; i < service->visits->len; i++) {
        const OpenVisit *visit = service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            if (job->state == STORE_JOB_PLANNED &&
                (job->job.batch == index || job->job.reason.batch == index))
                json_array_add_object_element(jobs, api_job(service, visit, job));
        }
    }
    json_object_set_array_member(object, "jobs", jobs);
}

static JsonNode *get_batch(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    int index = -1;
    const Batch *batch = api_batch_named(service, request, "name", &index, error);

    if (batch == NULL || !control_reject_rest(request, error))
        return NULL;
    const Crop *crop = &service->garden->crops[batch->crop];
    const BatchOutlook *outlook = api_outlook(service, index);
    const int site = api_site_of(service, batch->place);
    JsonObject *object = json_object_new();
    g_autoptr(JsonNode) reply = api_reply(object);
    api_set_units(object, service->garden);
    json_object_set_object_member(object, "batch", api_batch(service, batch, index));
    api_set_text(object, "id", batch->id);
    json_object_set_boolean_member(object, "bought", batch->bought);
    set_time(service, object, "sown_utc", "sown", site, batch->sown_utc);
    set_time(service, object, "emerged_utc", "emerged", site, batch->emerged_utc);
    set_time(service, object, "planted_utc", "planted", site, batch->planted_utc);
    set_time(service, object, "settled_utc", "settled", site, batch->settled_utc);
    json_object_set_boolean_member(
        object, "may_harden", plan_may_harden(service->garden, batch, clock_now(service->clk)));
    api_set_number(object, "floor_c", ramp_floor_c(crop, &batch->ramp));
    api_set_number(object, "damage_c", ramp_damage_c(crop, &batch->ramp));
    api_set_number(object, "missing_days",
                   outlook != NULL ? fmax(outlook->missing_days, 0.0) : NAN);
    api_take_text(object, "waits", waiting_text(service, index));
    api_take_text(object, "stays", waiting_stays(service, index, FALSE));
    set_ramp(service, object, batch);
    set_growth(service, object, batch);
    set_jobs(service, object, index);
    api_set_utc(object, "now_utc", clock_now(service->clk));
    json_object_set_array_member(object, "credits", api_credits(service, site));
    JsonArray *days = api_ramp_days(service, batch, index, error);
    if (days == NULL)
        return NULL;
    json_object_set_array_member(object, "days", days);
    g_autoptr(GPtrArray) advice = advice_of(service, index, error);
    if (advice == NULL)
        return NULL;
    JsonArray *texts = json_array_new();
    for (guint i = 0; i < advice->len; i++)
        json_array_add_string_element(texts, advice->pdata[i]);
    json_object_set_array_member(object, "advice", texts);
    if (!set_placements(service, object, batch, site, error) ||
        !set_notes(service, object, batch, site, error) ||
        !set_losses(service, object, batch, site, error))
        return NULL;
    return g_steal_pointer(&reply);
}

void api_add_batches(Service *service, Control *control)
{
    control_add_text(control, "GET", "/v1/batches", get_batches, service);
    control_add(control, "GET", "/v1/batches/{name}", get_batch, service);
}
