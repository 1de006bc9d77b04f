/* SPDX-License-Identifier: MIT */
/* `batch add`: a new batch from little more than a crop and a number. */
#include "garden/config.h"
#include "ramp/ramp.h"
#include "service/api-batch-change.h"
#include "service/wording-names.h"
#include "service/api-change.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/situation.h"
#include "store/store-batches.h"

#define NUMBER_MAX 10000           /* plants of a batch; chosen */
#define USUAL_CONTAINER "cells-40" /* where none is named; chosen */

gboolean batch_check_name(const Service *service, const char *name, GError **error)
{
    if (!config_is_name(name)) {
        g_autofree char *shown = config_clip(name, NAME_SIZE);
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "name: \"%s\" is not accepted; give letters, digits, - and _, no spaces, "
                          "at most %d bytes",
                          shown, NAME_SIZE - 1);
    }
    return state_find_batch(&service->current, name, NULL) == NULL ||
           api_refuse(error, THOLE_ERROR_CONFLICT,
                      "a batch is called \"%s\" already; give another name", name);
}

static gboolean read_crop(const Service *service, const ControlRequest *request, int *ret,
                          GError **error)
{
    const char *text = NULL;

    if (!control_body_string(request, "crop", TRUE, &text, error))
        return FALSE;
    int crop = garden_find_crop(service->garden, text);
    if (crop < 0) {
        g_autofree char *shown = config_clip(text, NAME_SIZE);
        g_autofree char *hint = garden_suggest(service->garden, GARDEN_CROP, text);
        return api_refuse(error, THOLE_ERROR_INVALID, "no crop is called \"%s\"; %s", shown, hint);
    }
    *ret = crop;
    return TRUE;
}

static gboolean read_cultivar(const ControlRequest *request, Batch *batch, GError **error)
{
    const char *text = NULL;

    if (!control_body_string(request, "cultivar", FALSE, &text, error))
        return FALSE;
    if (text != NULL && g_strlcpy(batch->cultivar, text, NAME_SIZE) >= NAME_SIZE)
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "cultivar: the name is too long; give at most %d bytes", NAME_SIZE - 1);
    return TRUE;
}

/* The one indoor place with room; a refusal lists those to choose from. */
static gboolean default_place(const Service *service, int trays, int *ret, GError **error)
{
    const Garden *garden = service->garden;
    g_autoptr(GString) names = g_string_new(NULL);
    int found = -1, n = 0;

    for (int p = 0; p < garden->n_places; p++) {
        if (!garden->places[p].indoors || !api_has_room(service, p, trays, -1))
            continue;
        g_string_append_printf(names, "%s%s", n > 0 ? ", " : "", garden->places[p].name);
        found = p;
        n++;
    }
    if (n == 0)
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "place is missing, and no place indoors has room for %d %s; give the "
                          "place where it stands",
                          trays, trays == 1 ? "tray" : "trays");
    if (n > 1)
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "place is missing; give the place where it stands, such as %s",
                          names->str);
    *ret = found;
    return TRUE;
}

/* Open ground first; without a bed it is asked for. */
static int default_destination(const Garden *garden)
{
    for (int p = 0; p < garden->n_places; p++)
        if (garden->places[p].kind == PLACE_BED)
            return p;
    return -1;
}

static gboolean read_destination(const Service *service, const ControlRequest *request,
                                 Batch *batch, GError **error)
{
    batch->destination = default_destination(service->garden);
    if (!api_place_member(service, request, "destination", FALSE, &batch->destination, error))
        return FALSE;
    if (batch->destination >= 0 && service->garden->places[batch->destination].indoors)
        return api_refuse(error, THOLE_ERROR_CONFLICT,
                          "destination: %s is indoors; a batch ends in a bed, under fleece, or in "
                          "a tunnel or greenhouse",
                          service->garden->places[batch->destination].name);
    return TRUE;
}

/* Everything that the body says; the place is -1 where it says none. */
static gboolean read_batch(Service *service, const ControlRequest *request, Batch *ret,
                           GError **error)
{
    Batch batch = {.crop = -1, .place = -1, .container = -1, .destination = -1};
    int64_t number = 0;
    gboolean bought = FALSE;
    const char *name = NULL;
    int usual = garden_find_container(service->garden, USUAL_CONTAINER);

    batch.container = MAX(usual, 0);
    if (!read_crop(service, request, &batch.crop, error) ||
        !control_body_int(request, "number", TRUE, 1, NUMBER_MAX, &number, error) ||
        !api_place_member(service, request, "place", FALSE, &batch.place, error) ||
        !control_body_string(request, "name", FALSE, &name, error) ||
        !read_cultivar(request, &batch, error) ||
        !api_container_member(service, request, FALSE, &batch.container, error) ||
        !api_past_time(service, request, "sown", api_site_of(service, batch.place), &batch.sown_utc,
                       error) ||
        !control_body_bool(request, "bought", FALSE, &bought, error) ||
        !read_destination(service, request, &batch, error) ||
        !control_reject_rest(request, error) ||
        (name != NULL && !batch_check_name(service, name, error)))
        return FALSE;
    batch.number = (int)number;
    batch.trays = batch_trays(service->garden, batch.container, batch.number);
    batch.bought = bought;
    batch.resowable = !bought;
    if (batch.place < 0 && !default_place(service, batch.trays, &batch.place, error))
        return FALSE;
    g_autofree char *made =
        name == NULL
            ? store_new_batch_name(service->store, &service->garden->crops[batch.crop], error)
            : g_strdup(name);
    if (made == NULL)
        return FALSE;
    g_strlcpy(batch.name, made, NAME_SIZE);
    *ret = batch;
    return TRUE;
}

static void tell_new(const Service *service, const Batch *batch, GString *text)
{
    const Garden *garden = service->garden;
    const WordingContext words = service_wording(service);
    g_autofree char *day =
        api_day_short(api_day(service, garden->places[batch->place].site, batch->sown_utc));
    g_autofree char *plants = wording_plants(&words, batch);
    g_autofree char *where = wording_where(&words, batch->place);

    g_string_printf(text, "%s in %d %s of %s, %s %s, %s", plants, batch->trays,
                    batch->trays == 1 ? "tray" : "trays", garden->containers[batch->container].name,
                    batch->bought ? "bought" : "sown", day, where);
    if (batch->destination >= 0) {
        g_autofree char *end = wording_where(&words, batch->destination);
        g_string_append_printf(text, "; to be planted %s.", end);
    } else {
        g_string_append_printf(text,
                               ". Where is it to be planted? Say so: "
                               "tholectl batch destination %s PLACE.",
                               batch->name);
    }
}

static JsonNode *post_batch(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    const int64_t now_utc = clock_now(service->clk);
    BatchChange change = {.place = -1};
    g_autoptr(GString) text = g_string_new(NULL);

    if (!read_batch(service, request, &change.batch, error))
        return NULL;
    Batch *batch = &change.batch;
    const Crop *crop = &service->garden->crops[batch->crop];
    change.as_of_utc = api_grid(now_utc);
    batch->stage = situation_grown_stage(crop, batch, now_utc);
    ramp_begin(crop, change.as_of_utc, &batch->ramp);
    tell_new(service, batch, text);
    if (!batch_change_place(service, &change, -1, batch->place, now_utc, text, error))
        return NULL;
    g_autoptr(ApiBefore) before = api_before_new(service);
    if (!api_commit(service, batch_change_write, &change, error))
        return NULL;
    const ApiDone done = {
        .trigger = "batch added", .text = text->str, .batch = batch->name, .id = batch->id};
    return api_done(service, request, g_steal_pointer(&before), &done);
}

void api_add_batch_new(Service *service, Control *control)
{
    control_add(control, "POST", "/v1/batches", post_batch, service);
}
