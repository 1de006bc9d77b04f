/* SPDX-License-Identifier: MIT */
#include "service/api-batch-change.h"
#include "service/wording-names.h"

#include <math.h>

#include "grow/growth.h"
#include "plan/sowing.h"
#include "service/api-change.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/api-report.h"
#include "service/growing.h"
#include "service/jobs.h"
#include "store/store-batches.h"

#define DAY_S 86400
#define HEIGHT_LEAST_CM 0.5 /* of a plant in a tray; chosen, as the most */
#define HEIGHT_MOST_CM 300.0
#define NUMBER_MAX 10000 /* plants of a batch; chosen */

/* ---- the change ---- */

gboolean batch_change_begin(const Service *service, int index, BatchChange *ret, GError **error)
{
    const Batch *current = &g_array_index(service->current.batches, Batch, index);
    int settled = -1;
    const Batch *batch = state_find_batch(&service->settled, current->id, &settled);

    if (batch == NULL)
        return api_refuse(error, THOLE_ERROR_FAILED, "%s is not in the last settled state",
                          current->name);
    *ret = (BatchChange){.batch = *batch,
                         .as_of_utc =
                             MAX(service->settled.as_of_utc,
                                 g_array_index(service->settled.batch_as_of, int64_t, settled)),
                         .place = -1};
    return TRUE;
}

gboolean batch_change_write(Service *service, gpointer change, GError **error)
{
    BatchChange *c = change;
    Store *store = service->store;

    if (!store_put_batch(store, service->garden, &c->batch, c->as_of_utc, error))
        return FALSE;
    if (c->place >= 0 &&
        !store_put_placement(store, service->garden, c->batch.id, c->place, c->placed_utc, error))
        return FALSE;
    if (c->lost > 0 && !store_put_loss(store, c->batch.id, c->at_utc, c->lost,
                                       c->cause != NULL ? c->cause : "", error))
        return FALSE;
    if (c->note != NULL && !store_put_note(store, c->batch.id, c->at_utc, c->note, error))
        return FALSE;
    return !c->end || store_end_batch(store, c->batch.id, c->at_utc, error);
}

int batch_trays(const Garden *garden, int container, int number)
{
    const int per_tray = container >= 0 ? MAX(garden->containers[container].per_tray, 1) : 1;

    return (number + per_tray - 1) / per_tray;
}

/* Why a batch that was carried out of the heat is not hardening yet. */
static void tell_early(const Service *service, const Batch *batch, int64_t at_utc, GString *text)
{
    const Crop *crop = &service->garden->crops[batch->crop];
    const WordingContext words = service_wording(service);
    const int site = api_site_of(service, batch->place);
    const int64_t fit_utc =
        plan_weeks_from(service->garden, batch) + (int64_t)(crop->weeks_to_harden * 7 * DAY_S);

    g_string_append(text, " It is early to leave the heat: ");
    if (batch->settled_utc > at_utc) {
        g_autofree char *when = wording_when(&words, site, batch->settled_utc);
        g_string_append_printf(text, "it settles until %s.", when);
    } else if (!batch->bought && fit_utc > at_utc) {
        g_autofree char *day = api_day_short(api_day(service, site, fit_utc));
        g_string_append_printf(text, "it is large enough about %s.", day);
    } else if (batch->stage != STAGE_GROWING_ON) {
        g_string_append_printf(text, "it is only %s.", wording_stage(batch->stage));
    } else {
        g_string_append(text, "the nights to come are usually too cold for it at its destination.");
    }
    g_string_append(text, " Hardening has not begun.");
}

gboolean batch_change_place(const Service *service, BatchChange *change, int index, int place,
                            int64_t at_utc, GString *text, GError **error)
{
    Batch *batch = &change->batch;
    const Place *to = &service->garden->places[place];
    Batch now = *batch;

    if (batch->stage < STAGE_PLANTED_OUT &&
        !api_check_room(service, place, batch->trays, index, batch->name, error))
        return FALSE;
    change->place = place;
    change->placed_utc = api_grid(at_utc);
    batch->position_unknown = false;
    /* Later moves are history by themselves. */
    if (change->placed_utc <= change->as_of_utc)
        batch->place = place;
    now.place = place;
    if (to->indoors || batch->stage >= STAGE_HARDENING)
        return TRUE;
    if (plan_may_harden(service->garden, &now, at_utc)) {
        batch->stage = STAGE_HARDENING;
        g_string_append(text, " Hardening begins.");
    } else {
        tell_early(service, &now, at_utc, text);
    }
    return TRUE;
}

/* ---- what the handlers share ---- */

typedef struct Asked {
    Service *service;
    const ControlRequest *request;
    int index; /* of the batch in the present state */
    const Batch *current;
    int site; /* whose clock times are read by */
    int64_t at_utc;
    BatchChange change;
} Asked;

/* The batch of the path and the member `at` where the route has one. */
static gboolean begin(Service *service, const ControlRequest *request, gboolean has_at, Asked *ret,
                      GError **error)
{
    Asked a = {.service = service, .request = request, .at_utc = clock_now(service->clk)};

    a.current = api_batch_named(service, request, "name", &a.index, error);
    if (a.current == NULL)
        return FALSE;
    a.site = api_site_of(service, a.current->place);
    if (has_at && !api_past_time(service, request, "at", a.site, &a.at_utc, error))
        return FALSE;
    if (!batch_change_begin(service, a.index, &a.change, error))
        return FALSE;
    a.change.at_utc = a.at_utc;
    *ret = a;
    return TRUE;
}

static gboolean refuse_planted(const Asked *a, GError **error)
{
    return a->current->stage < STAGE_PLANTED_OUT ||
           api_refuse(error, THOLE_ERROR_CONFLICT, "%s is planted out already", a->current->name);
}

/* Commits the change; `text` is what was done. */
static JsonNode *finish(Asked *a, const char *trigger, const GString *text, const char *id,
                        GError **error)
{
    g_autoptr(ApiBefore) before = api_before_new(a->service);
    const ApiDone done = {
        .trigger = trigger, .text = text->str, .batch = a->change.batch.name, .id = id};

    if (!api_commit(a->service, batch_change_write, &a->change, error))
        return NULL;
    return api_done(a->service, before, &done);
}

static const char *plants(int number)
{
    return number == 1 ? "plant" : "plants";
}

/* ---- places ---- */

/* Whether an open job asked for it: then it is done with that, and *ret is the reply. */
static gboolean finish_job(const Asked *a, JobKind kind, int place, const GString *text,
                           JsonNode **ret, GError **error)
{
    const Job what = {.kind = kind, .batch = a->index, .place = place};

    return api_report_asking(a->service, &what, a->at_utc, text->str, ret, error);
}

/* "cabbage-1 moved from the sill to the frame." */
static void tell_move(const Asked *a, int place, GString *text)
{
    const WordingContext words = service_wording(a->service);
    const Job what = {.kind = JOB_MOVE, .batch = a->index, .place = place};
    OpenVisit *visit = NULL;
    const OpenJob *asking = jobs_asking(a->service, &what, a->at_utc, &visit);
    /* Taken as under way, it stands there already. */
    const int from = asking != NULL ? asking->job.from_place : a->current->place;
    g_autofree char *there = wording_place_words(&words, place);

    g_string_append_printf(text, "%s moved", a->current->name);
    if (from >= 0) {
        g_autofree char *here = wording_place_words(&words, from);
        g_string_append_printf(text, " from %s", here);
    }
    g_string_append_printf(text, " to %s.", there);
}

static JsonNode *post_move(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    JsonNode *reply = NULL;
    int place = -1;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, TRUE, &a, error) ||
        !api_place_member(a.service, request, "place", TRUE, &place, error) ||
        !control_reject_rest(request, error) || !refuse_planted(&a, error))
        return NULL;
    tell_move(&a, place, text);
    if (finish_job(&a, JOB_MOVE, place, text, &reply, error))
        return reply;
    if (a.current->place == place) {
        const WordingContext words = service_wording(a.service);
        g_autofree char *where = wording_where(&words, place);
        api_refuse(error, THOLE_ERROR_CONFLICT, "%s stands %s already", a.current->name, where);
        return NULL;
    }
    if (!batch_change_place(a.service, &a.change, a.index, place, a.at_utc, text, error))
        return NULL;
    return finish(&a, "batch moved", text, NULL, error);
}

static JsonNode *post_destination(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    int place = -1;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, FALSE, &a, error) ||
        !api_place_member(a.service, request, "place", TRUE, &place, error) ||
        !control_reject_rest(request, error) || !refuse_planted(&a, error))
        return NULL;
    const Place *to = &a.service->garden->places[place];
    if (to->indoors) {
        api_refuse(error, THOLE_ERROR_CONFLICT,
                   "%s is indoors; a batch ends in a bed, under fleece, or in a tunnel or "
                   "greenhouse",
                   to->name);
        return NULL;
    }
    const WordingContext words = service_wording(a.service);
    g_autofree char *where = wording_where(&words, place);
    a.change.batch.destination = place;
    g_string_printf(text, "%s is to be planted %s.", a.current->name, where);
    return finish(&a, "destination changed", text, NULL, error);
}

static JsonNode *post_plant_out(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    JsonNode *reply = NULL;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, TRUE, &a, error))
        return NULL;
    int place = a.current->destination;
    if (!api_place_member(a.service, request, "place", FALSE, &place, error) ||
        !control_reject_rest(request, error))
        return NULL;
    const WordingContext words = service_wording(a.service);
    g_autofree char *where = wording_where(&words, place);
    g_string_printf(text, "%s is planted out %s: only frost is watched from now on.",
                    a.current->name, where);
    if (finish_job(&a, JOB_PLANT_OUT, place, text, &reply, error))
        return reply;
    if (!refuse_planted(&a, error))
        return NULL;
    if (place < 0) {
        api_refuse(error, THOLE_ERROR_INVALID,
                   "place is missing, and %s has no destination; give the place where it "
                   "was planted",
                   a.current->name);
        return NULL;
    }
    if (a.service->garden->places[place].indoors) {
        api_refuse(error, THOLE_ERROR_CONFLICT, "%s is indoors; nothing is planted out there",
                   a.service->garden->places[place].name);
        return NULL;
    }
    a.change.batch.stage = STAGE_PLANTED_OUT;
    a.change.batch.planted_utc = a.at_utc;
    a.change.batch.destination = place;
    if (!batch_change_place(a.service, &a.change, a.index, place, a.at_utc, text, error))
        return NULL;
    return finish(&a, "batch planted out", text, NULL, error);
}

/* ---- coming up, pricking out, potting on ---- */

static JsonNode *post_emerged(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    const WordingContext words = service_wording(data);
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, TRUE, &a, error) || !control_reject_rest(request, error))
        return NULL;
    if (a.current->stage != STAGE_SOWN) {
        api_refuse(error, THOLE_ERROR_CONFLICT, "%s is %s already; only what is sown comes up",
                   a.current->name, wording_stage(a.current->stage));
        return NULL;
    }
    if (a.at_utc < a.current->sown_utc) {
        g_autofree char *sown = wording_when(&words, a.site, a.current->sown_utc);
        api_refuse(error, THOLE_ERROR_INVALID, "at: %s was sown %s; give a time after that",
                   a.current->name, sown);
        return NULL;
    }
    g_autofree char *when = wording_when(&words, a.site, a.at_utc);
    a.change.batch.stage = STAGE_EMERGED;
    a.change.batch.emerged_utc = a.at_utc;
    a.change.batch.growth = (Growth){0}; /* counted from that moment on */
    a.change.note = "The seedlings are up.";
    g_string_printf(text, "%s is up since %s.", a.current->name, when);
    return finish(&a, "batch emerged", text, NULL, error);
}

static JsonNode *post_height(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    double height_cm = NAN;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, FALSE, &a, error) ||
        !control_body_double(request, "cm", TRUE, HEIGHT_LEAST_CM, HEIGHT_MOST_CM, &height_cm,
                             error) ||
        !control_reject_rest(request, error) || !refuse_planted(&a, error))
        return NULL;
    if (a.current->stage == STAGE_SOWN) {
        api_refuse(error, THOLE_ERROR_CONFLICT,
                   "%s is not up yet; if it is: tholectl batch emerged %s", a.current->name,
                   a.current->name);
        return NULL;
    }
    /* Measured now: what the settled state has of it grows on from there to what it is now. */
    const Growth now = growing_now(a.service, a.current);
    Growth growth = now;
    growth_measured(&a.service->garden->crops[a.current->crop], height_cm, &growth);
    if (now.known) {
        a.change.batch.growth.height_factor = growth.height_factor;
        a.change.batch.growth.height_cm += growth.height_cm - now.height_cm;
    } else {
        a.change.batch.growth = growth;
    }
    g_autofree char *note = g_strdup_printf("Measured: %g cm high.", height_cm);
    a.change.note = note;
    g_string_printf(text, "%s is %g cm high; it is reckoned on from there.", a.current->name,
                    height_cm);
    return finish(&a, "height measured", text, NULL, error);
}

/* Into another container, perhaps at another place, and settling begins. */
static JsonNode *repot(Asked *a, int container, int number, const char *done, GError **error)
{
    Batch *batch = &a->change.batch;
    const Garden *garden = a->service->garden;
    const Crop *crop = &garden->crops[batch->crop];
    const WordingContext words = service_wording(a->service);
    g_autoptr(GString) text = g_string_new(NULL);
    int place = a->current->place;

    if (!api_place_member(a->service, a->request, "place", FALSE, &place, error) ||
        !control_reject_rest(a->request, error) || !refuse_planted(a, error))
        return NULL;
    batch->container = container;
    batch->number = number;
    batch->trays = batch_trays(garden, container, number);
    batch->potted_utc = a->at_utc;
    batch->used_mm = 0.0; /* watered in */
    batch->settled_utc = a->at_utc + (int64_t)crop->settle_days * DAY_S;
    batch->stage = STAGE_SETTLING;
    if (batch->growth.known) /* nobody pricks out what has no leaves yet */
        batch->growth.leaves = fmax(batch->growth.leaves, crop->prick_out_leaves);
    g_autofree char *until = wording_when(&words, a->site, batch->settled_utc);
    g_autofree char *which = wording_plants(&words, batch);
    g_string_printf(text, "%s %s into %d %s of %s. Settling until %s, shaded, without a ramp.",
                    which, done, batch->trays, batch->trays == 1 ? "tray" : "trays",
                    garden->containers[container].name, until);
    if (place < 0 || place == a->current->place) {
        if (place >= 0 &&
            !api_check_room(a->service, place, batch->trays, a->index, batch->name, error))
            return NULL;
    } else if (!batch_change_place(a->service, &a->change, a->index, place, a->at_utc, text,
                                   error)) {
        return NULL;
    }
    return finish(a, done, text, NULL, error);
}

static JsonNode *post_prick_out(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;

    if (!begin(data, request, TRUE, &a, error))
        return NULL;
    int container = a.current->container;
    int64_t number = a.current->number;
    if (!api_container_member(a.service, request, FALSE, &container, error) ||
        !control_body_int(request, "number", FALSE, 1, NUMBER_MAX, &number, error))
        return NULL;
    return repot(&a, container, (int)number, "pricked out", error);
}

static JsonNode *post_pot_on(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    int container = -1;

    if (!begin(data, request, TRUE, &a, error) ||
        !api_container_member(a.service, request, TRUE, &container, error))
        return NULL;
    return repot(&a, container, a.current->number, "potted on", error);
}

/* ---- numbers, notes, the end ---- */

static JsonNode *post_losses(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    int64_t number = 0;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, TRUE, &a, error) ||
        !control_body_int(request, "number", TRUE, 1, NUMBER_MAX, &number, error) ||
        !control_body_string(request, "cause", FALSE, &a.change.cause, error) ||
        !control_reject_rest(request, error))
        return NULL;
    if (number > a.current->number) {
        api_refuse(error, THOLE_ERROR_CONFLICT, "%s has %d %s; %d cannot be lost", a.current->name,
                   a.current->number, plants(a.current->number), (int)number);
        return NULL;
    }
    Batch *batch = &a.change.batch;
    a.change.lost = (int)number;
    batch->number -= (int)number;
    batch->trays =
        batch->number > 0 ? batch_trays(a.service->garden, batch->container, batch->number) : 0;
    a.change.end = batch->number == 0;
    g_string_printf(text, "%d of %s lost; %d left.", (int)number, batch->name, batch->number);
    if (a.change.end)
        g_string_append(text, " The batch has ended; its records stay.");
    return finish(&a, "plants lost", text, NULL, error);
}

static JsonNode *post_notes(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, TRUE, &a, error) ||
        !control_body_string(request, "text", TRUE, &a.change.note, error) ||
        !control_reject_rest(request, error))
        return NULL;
    g_string_printf(text, "Noted for %s.", a.current->name);
    return finish(&a, "note", text, NULL, error);
}

static JsonNode *post_end(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, TRUE, &a, error) || !control_reject_rest(request, error))
        return NULL;
    a.change.end = TRUE;
    g_string_printf(text, "%s has ended; its records stay.", a.current->name);
    return finish(&a, "batch ended", text, NULL, error);
}

/* ---- splitting ---- */

typedef struct Split {
    BatchChange from, to;
} Split;

/* The new batch stood where the old one stood, and was hardened with it. */
static gboolean write_split(Service *service, gpointer change, GError **error)
{
    Split *split = change;
    g_autoptr(GArray) placements = NULL;

    if (!batch_change_write(service, &split->from, error) ||
        !store_put_batch(service->store, service->garden, &split->to.batch, split->to.as_of_utc,
                         error) ||
        !store_load_placements(service->store, service->garden, split->from.batch.id,
                               split->to.as_of_utc, &placements, error))
        return FALSE;
    for (guint i = 0; i < placements->len; i++) {
        const StorePlacement *p = &g_array_index(placements, StorePlacement, i);
        if (p->place >= 0 && !store_put_placement(service->store, service->garden,
                                                  split->to.batch.id, p->place, p->from_utc, error))
            return FALSE;
    }
    return split->to.place < 0 ||
           store_put_placement(service->store, service->garden, split->to.batch.id, split->to.place,
                               split->to.placed_utc, error);
}

static JsonNode *post_split(const ControlRequest *request, gpointer data, GError **error)
{
    Asked a;
    int64_t number = 0;
    const char *name = NULL;
    int place = -1;
    g_autofree char *made = NULL;
    g_autoptr(GString) text = g_string_new(NULL);

    if (!begin(data, request, FALSE, &a, error) ||
        !control_body_int(request, "number", TRUE, 1, NUMBER_MAX, &number, error) ||
        !control_body_string(request, "name", FALSE, &name, error) ||
        !api_place_member(a.service, request, "place", FALSE, &place, error) ||
        !control_reject_rest(request, error) ||
        (name != NULL && !batch_check_name(a.service, name, error)))
        return NULL;
    if (number >= a.current->number) {
        api_refuse(error, THOLE_ERROR_CONFLICT, "%s has %d %s; give a number below that",
                   a.current->name, a.current->number, plants(a.current->number));
        return NULL;
    }
    const Garden *garden = a.service->garden;
    if (name == NULL) {
        made = store_new_batch_name(a.service->store, &garden->crops[a.current->crop], error);
        if (made == NULL)
            return NULL;
        name = made;
    }
    Split split = {.from = a.change, .to = a.change};
    split.from.batch.number -= (int)number;
    split.from.batch.trays = batch_trays(garden, a.current->container, split.from.batch.number);
    split.to.batch.number = (int)number;
    split.to.batch.trays = batch_trays(garden, a.current->container, (int)number);
    split.to.batch.id[0] = '\0';
    g_strlcpy(split.to.batch.name, name, NAME_SIZE);
    g_string_printf(text, "%d of %s %s now %s; %d stay.", (int)number, a.current->name,
                    number == 1 ? "is" : "are", name, split.from.batch.number);
    if (place >= 0 && place != a.current->place &&
        !batch_change_place(a.service, &split.to, a.index, place, a.at_utc, text, error))
        return NULL;
    g_autoptr(ApiBefore) before = api_before_new(a.service);
    if (!api_commit(a.service, write_split, &split, error))
        return NULL;
    const ApiDone done = {.trigger = "batch split",
                          .text = text->str,
                          .batch = split.to.batch.name,
                          .id = split.to.batch.id};
    return api_done(a.service, before, &done);
}

void api_add_batch_changes(Service *service, Control *control)
{
    control_add(control, "POST", "/v1/batches/{name}/destination", post_destination, service);
    control_add(control, "POST", "/v1/batches/{name}/emerged", post_emerged, service);
    control_add(control, "POST", "/v1/batches/{name}/end", post_end, service);
    control_add(control, "POST", "/v1/batches/{name}/height", post_height, service);
    control_add(control, "POST", "/v1/batches/{name}/losses", post_losses, service);
    control_add(control, "POST", "/v1/batches/{name}/move", post_move, service);
    control_add(control, "POST", "/v1/batches/{name}/notes", post_notes, service);
    control_add(control, "POST", "/v1/batches/{name}/plant-out", post_plant_out, service);
    control_add(control, "POST", "/v1/batches/{name}/pot-on", post_pot_on, service);
    control_add(control, "POST", "/v1/batches/{name}/prick-out", post_prick_out, service);
    control_add(control, "POST", "/v1/batches/{name}/split", post_split, service);
}
