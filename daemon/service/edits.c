/* SPDX-License-Identifier: MIT */
#include "service/edits.h"

#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "base/log.h"
#include "garden/config.h"
#include "service/event-text.h"
#include "service/forecasts.h"
#include "service/jobs.h"
#include "service/publish.h"
#include "service/wishes.h"
#include "service/wording-reading.h"
#include "store/store-batches.h"

#define KEPT_S (30 * 86400) /* answers, and wishes that are over; chosen */
#define NOTE_MAX 200        /* characters of the grower's line in an answer; chosen */

/* One edit, and what it is about. */
typedef struct Edit {
    Service *service;
    const CaldavEdit *edit;
    int grower;
    char uid[STORE_UID_SIZE]; /* as the store names its event; "" none */
    const EventMemory *event; /* (nullable) ours */
    OpenVisit *open;          /* (nullable) its visit, if that is open */
    Visit visit;              /* as it is, or was; site -1: the event stands for none */
} Edit;

static gboolean answer(const Edit *e, gboolean refused, char *text, GError **error)
{
    StoreAnswer kept = {.at_utc = clock_now(e->service->clk), .refused = refused, .text = text};
    const char *where = e->visit.site >= 0 ? e->service->garden->sites[e->visit.site].name : NULL;

    g_strlcpy(kept.uid, e->uid, sizeof kept.uid);
    log_info("edits", where, "%s", text);
    const gboolean ok = store_put_answer(e->service->store, &kept, error);
    g_free(text);
    return ok;
}

static gboolean refuse(const Edit *e, EditRefusal why, int site, GError **error)
{
    const WordingContext words = service_wording(e->service);

    return answer(e, TRUE, wording_edit_refused(&words, why, MAX(site, 0), e->edit->start_utc),
                  error);
}

/* ---- what it is about ---- */

static const EventMemory *find_event(const Service *s, const char *uid)
{
    for (guint i = 0; uid != NULL && i < s->memory->len; i++) {
        const EventMemory *event = s->memory->pdata[i];
        if (g_str_equal(event->uid, uid))
            return event;
    }
    return NULL;
}

static OpenVisit *find_open(const Service *s, const char *visit_id)
{
    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *open = s->visits->pdata[i];
        if (g_str_equal(open->visit.id, visit_id))
            return open;
    }
    return NULL;
}

static gboolean find(Edit *e, GError **error)
{
    const StoreScope scope = {.garden = e->service->garden};
    g_autofree StoreVisit *stored = NULL;

    e->event = find_event(e->service, e->edit->uid);
    e->visit.site = -1;
    if (e->event == NULL)
        return TRUE;
    const char *id = e->event->visit_id;
    if (g_str_has_prefix(id, EVENT_ASK_PREFIX)) {
        g_autofree char *asked = g_strndup(id + strlen(EVENT_ASK_PREFIX), 32);
        g_strlcpy(e->visit.id, asked, sizeof e->visit.id);
        id = e->visit.id;
    }
    e->open = find_open(e->service, id);
    if (e->open == NULL && !store_get_visit(e->service->store, &scope, id, &stored, error))
        return FALSE;
    if (e->open != NULL)
        e->visit = e->open->visit;
    else if (stored != NULL && stored->visit.site >= 0 && stored->visit.grower >= 0)
        e->visit = stored->visit;
    return TRUE;
}

/* A question or an alert has a time of its own, which is not that of a visit. */
static gboolean is_visit(const Edit *e)
{
    return e->event != NULL && e->visit.site >= 0 &&
           !g_str_has_prefix(e->event->visit_id, EVENT_ASK_PREFIX);
}

/* ---- moved, left out, taken back ---- */

static gboolean refused_or(const Edit *e, char *refused, GError **error)
{
    return refused == NULL || answer(e, TRUE, refused, error);
}

static gboolean move(const Edit *e, GError **error)
{
    char *refused = NULL;

    if (!is_visit(e))
        return refuse(e, EDIT_NO_VISIT, e->visit.site, error);
    if (e->edit->all_day || e->edit->repeats)
        return refuse(e, e->edit->all_day ? EDIT_ALL_DAY : EDIT_REPEATS, e->visit.site, error);
    return wishes_fix(e->service, &e->visit, e->open, e->edit->start_utc, e->uid, &refused,
                      error) &&
           refused_or(e, refused, error);
}

/* All jobs of its visit that are open, as tholectl has them reported. */
static gboolean report(const Edit *e, gboolean done, int *ret_n, GError **error)
{
    *ret_n = 0;
    for (guint i = 0; e->open != NULL && i < e->open->jobs->len; i++) {
        OpenJob *job = &g_array_index(e->open->jobs, OpenJob, i);
        if (job->state != STORE_JOB_PLANNED)
            continue;
        if (!jobs_report(e->service, e->open, job, done, 0, error))
            return FALSE;
        ++*ret_n;
    }
    return TRUE;
}

/* An "ok" days ahead means that it was read; kept as done, plants would stand where they do not. */
static gboolean is_of_a_later_day(const Edit *e)
{
    if (!is_visit(e) || e->open == NULL || e->open->begun)
        return FALSE;
    GTimeZone *zone = e->service->zones[e->visit.site];
    return local_day(zone, e->visit.start_utc) > local_day(zone, clock_now(e->service->clk));
}

static gboolean say_reported(const Edit *e, gboolean done, GError **error)
{
    const WordingContext words = service_wording(e->service);
    int n;

    if (done && is_of_a_later_day(e))
        return answer(e, TRUE,
                      wording_edit_refused(&words, EDIT_EARLY, e->visit.site, e->visit.start_utc),
                      error);
    return report(e, done, &n, error) && answer(e, FALSE, wording_edit_reported(n, done), error);
}

/* Before it begins it is not made; in a phone's lag after that it was not made; later the grower
 * only tidies up, unless the event was marked. */
static gboolean leave_out(const Edit *e, GError **error)
{
    const Service *s = e->service;
    const WordingContext words = service_wording(s);
    const gboolean marked = e->edit->kind == CALDAV_CANCELLED;
    char *refused = NULL;

    if (!is_visit(e))
        return TRUE;
    const gboolean begun = e->visit.start_utc <= clock_now(s->clk);
    if (begun && e->open == NULL)
        return TRUE;
    if (begun && (marked || clock_now(s->clk) - e->visit.start_utc <= s->garden->server_lag_s))
        return say_reported(e, FALSE, error);
    if (begun)
        return answer(e, FALSE, wording_edit_late(&words, e->visit.site, e->visit.start_utc),
                      error);
    return wishes_drop(e->service, &e->visit, e->open, e->uid, &refused, error) &&
           refused_or(e, refused, error);
}

/* Only that it is left out; one that was set to a time stays so. */
static gboolean restore(const Edit *e, GError **error)
{
    g_autoptr(GArray) wishes = NULL;

    if (!wishes_load(e->service, &wishes, error))
        return FALSE;
    const StoreWish *wish = wishes_about(wishes, &e->visit, e->uid);
    return wish == NULL || wish->kind != STORE_WISH_DROPPED ||
           store_remove_wish(e->service->store, wish->n, error);
}

/* ---- lines in the notes ---- */

/* Now, while it can be of the visit; later its end. */
static int64_t said_utc(const Edit *e)
{
    const int64_t now_utc = clock_now(e->service->clk);
    const int64_t end_utc = e->event != NULL ? e->event->end_utc : now_utc;

    return now_utc <= end_utc + e->service->garden->server_lag_s ? now_utc : end_utc;
}

/* Whether something that is watered stood there, by the record. */
static gboolean grows_in_trays(const Service *s, const GArray *placements, int place,
                               int64_t at_utc)
{
    for (guint i = 0; i < s->current.batches->len; i++) {
        const Batch *batch = &g_array_index(s->current.batches, Batch, i);
        if (batch->stage < STAGE_PLANTED_OUT && jobs_place_then(placements, batch, at_utc) == place)
            return TRUE;
    }
    return FALSE;
}

static gboolean is_asked(const Edit *e, int place)
{
    for (guint i = 0; e->open != NULL && i < e->open->jobs->len; i++) {
        const Job *job = &g_array_index(e->open->jobs, OpenJob, i).job;
        if (job->kind == JOB_WATER && (place < 0 || job->place == place))
            return TRUE;
    }
    return FALSE;
}

/* The places of the visit's watering, else all of its site where something grows in trays. */
static int places_to_water(const Edit *e, const GArray *placements, int64_t at_utc, int *ret)
{
    const Garden *garden = e->service->garden;
    const gboolean any = is_asked(e, -1);
    int n = 0;

    for (int p = 0; p < garden->n_places; p++) {
        if ((any ? is_asked(e, p) : garden->places[p].site == e->visit.site) &&
            grows_in_trays(e->service, placements, p, at_utc))
            ret[n++] = p;
    }
    return n;
}

static gboolean watered(const Edit *e, GError **error)
{
    Service *s = e->service;
    const WordingContext words = service_wording(s);
    g_autofree int *places = g_new(int, (gsize)s->garden->n_places + 1);
    g_autoptr(GArray) placements = NULL;
    const int64_t at_utc = said_utc(e);

    if (!store_load_placements(s->store, s->garden, NULL, at_utc, &placements, error))
        return FALSE;
    const int n = places_to_water(e, placements, at_utc, places);
    for (guint i = 0; e->open != NULL && i < e->open->jobs->len; i++) {
        OpenJob *job = &g_array_index(e->open->jobs, OpenJob, i);
        if (job->job.kind == JOB_WATER && job->state == STORE_JOB_PLANNED &&
            !jobs_report(s, e->open, job, TRUE, 0, error))
            return FALSE;
    }
    for (int i = 0; i < n; i++) {
        if (!jobs_water(s, places[i], -1, at_utc, error))
            return FALSE;
    }
    return answer(e, FALSE, wording_edit_watered(&words, places, n), error);
}

/* As written, or in other letters: phones begin a line with a capital. */
static int find_name(const void *items, int n, gsize size, const char *name)
{
    g_autofree char *folded = g_utf8_casefold(name, -1);

    for (int i = 0; i < n; i++) {
        g_autofree char *other =
            g_utf8_casefold((const char *)items + (gsize)i * size, -1); /* they begin with it */
        if (g_str_equal(folded, other))
            return i;
    }
    return -1;
}

static gboolean is_of_store(const GError *fault)
{
    return fault->domain == STORE_ERROR;
}

/* A grower with a phone in hand gave no "value: ". */
static const char *without_key(const char *message)
{
    static const char key[] = "value: ";
    return g_str_has_prefix(message, key) ? message + strlen(key) : message;
}

static gboolean take_reading(const Edit *e, int place, int site, GError **error)
{
    Service *s = e->service;
    const WordingContext words = service_wording(s);
    const char *line = e->edit->text != NULL ? e->edit->text : "";
    const char last = *line != '\0' ? g_ascii_toupper(line[strlen(line) - 1]) : '\0';
    ReadingAsked asked = {.place = place,
                          .site = place >= 0 ? s->garden->places[place].site : site,
                          .kind = STORE_READING_INSTANT,
                          .time_utc = said_utc(e),
                          .value_c = e->edit->temperature_c};
    ReadingTaken taken;
    g_autoptr(GError) fault = NULL;

    if (last == 'F' || (s->garden->fahrenheit && last != 'C')) /* as the thermometer shows it */
        asked.value_c = (asked.value_c - 32.0) / 1.8;
    if (!reading_take_within(s, &asked, &taken, &fault)) {
        if (!is_of_store(fault))
            return answer(e, TRUE, wording_edit_not_taken(line, without_key(fault->message)),
                          error);
        g_propagate_error(error, g_steal_pointer(&fault));
        return FALSE;
    }
    g_autofree char *value = wording_tenths(s->garden, asked.value_c);
    return answer(e, FALSE,
                  wording_edit_reading(&words, asked.site, reading_where(s, &taken.reading), value,
                                       asked.time_utc),
                  error);
}

static gboolean reading(const Edit *e, GError **error)
{
    const Garden *garden = e->service->garden;
    const char *name = e->edit->place != NULL ? e->edit->place : "";
    const int site = find_name(garden->sites, garden->n_sites, sizeof *garden->sites, name),
              place = find_name(garden->places, garden->n_places, sizeof *garden->places, name);

    if (site >= 0 || place >= 0)
        return take_reading(e, place, site, error);
    g_autofree const char **names = g_new0(const char *, (gsize)garden->n_places + 1);
    for (int i = 0; i < garden->n_places; i++)
        names[i] = garden->places[i].name;
    g_autofree char *hint = config_suggest("places", name, names);
    g_autofree char *why = g_strdup_printf("no place or site has that name; %s", hint);
    return answer(e, TRUE, wording_edit_not_taken(e->edit->text, why), error);
}

static gboolean note(const Edit *e, GError **error)
{
    g_autofree char *line = g_utf8_make_valid(e->edit->text != NULL ? e->edit->text : "", -1);

    if (g_utf8_strlen(line, -1) > NOTE_MAX)
        *g_utf8_offset_to_pointer(line, NOTE_MAX) = '\0';
    return answer(e, FALSE, wording_edit_note(line), error);
}

/* ---- plain events ---- */

/* A site whose name is the title or the place of a plain event. */
static int offered_site(const Edit *e)
{
    const Garden *garden = e->service->garden;
    const char *texts[] = {e->edit->text, e->edit->location};

    for (gsize i = 0; i < G_N_ELEMENTS(texts); i++) {
        g_autofree char *name = g_strstrip(g_strdup(texts[i] != NULL ? texts[i] : ""));
        const int site = find_name(garden->sites, garden->n_sites, sizeof *garden->sites, name);
        if (site >= 0)
            return site;
    }
    return -1;
}

/* Whose it is where nobody is said: of somebody who visits the site, else the first. */
static int grower_of(const Edit *e, int site)
{
    const Garden *garden = e->service->garden;

    if (e->grower >= 0)
        return e->grower;
    for (int g = 0; g < garden->n_growers; g++) {
        for (int r = 0; r < garden->growers[g].n_rules; r++)
            if (garden->growers[g].rules[r].site == site)
                return g;
    }
    return 0;
}

static gboolean withdraw_offer(const Edit *e, GError **error)
{
    const Visit none = {.site = -1};
    g_autoptr(GArray) wishes = NULL;

    if (!wishes_load(e->service, &wishes, error))
        return FALSE;
    const StoreWish *wish = wishes_about(wishes, &none, e->uid);
    return wish == NULL || store_remove_wish(e->service->store, wish->n, error);
}

static gboolean offer(const Edit *e, GError **error)
{
    const WordingContext words = service_wording(e->service);
    const CaldavEdit *edit = e->edit;
    const int site = offered_site(e);
    char *refused = NULL;

    /* Whatever it said before, it says this now. */
    if (!withdraw_offer(e, error))
        return FALSE;
    if (site < 0 || e->service->garden->n_growers == 0)
        return TRUE;
    if (edit->all_day || edit->repeats)
        return refuse(e, edit->all_day ? EDIT_ALL_DAY : EDIT_REPEATS, site, error);
    if (!wishes_offer(e->service, grower_of(e, site), site, edit->start_utc,
                      MAX(edit->end_utc, edit->start_utc), e->uid, &refused, error))
        return FALSE;
    if (refused != NULL)
        return answer(e, TRUE, refused, error);
    return answer(
        e, FALSE,
        wording_edit_offered(&words, site, edit->start_utc, MAX(edit->end_utc, edit->start_utc)),
        error);
}

/* ---- one after the other ---- */

static gboolean take(const Edit *e, GError **error)
{
    switch (e->edit->kind) {
    case CALDAV_MOVED:
        return move(e, error);
    case CALDAV_DELETED:
    case CALDAV_CANCELLED:
        return leave_out(e, error);
    case CALDAV_DONE:
    case CALDAV_SAID_OK:
        return say_reported(e, TRUE, error);
    case CALDAV_SAID_MISSED:
        return say_reported(e, FALSE, error);
    case CALDAV_RESTORED:
        return restore(e, error);
    case CALDAV_SAID_WATERED:
        return watered(e, error);
    case CALDAV_SAID_READING:
        return reading(e, error);
    case CALDAV_SAID_OTHER:
        return note(e, error);
    case CALDAV_OTHER_SEEN:
        return offer(e, error);
    case CALDAV_OTHER_GONE:
        return withdraw_offer(e, error);
    case CALDAV_RENAMED: /* the merge keeps it */
        return TRUE;
    case CALDAV_LOST:
        return answer(e, TRUE, wording_edit_lost(), error);
    }
    return TRUE;
}

gboolean edits_take(Service *s, int grower, const GPtrArray *edits, GError **error)
{
    const int64_t now_utc = clock_now(s->clk);

    if (!store_forget_wishes(s->store, now_utc - KEPT_S, error))
        return FALSE;
    for (guint i = 0; i < edits->len; i++) {
        Edit e = {.service = s, .edit = edits->pdata[i], .grower = grower};
        store_name_event(e.edit->uid, e.uid);
        if (!find(&e, error) || !take(&e, error))
            return FALSE;
        if (e.edit->edits > 0 &&
            !store_put_edits_taken(s->store, e.edit->uid, e.edit->edits, now_utc, error))
            return FALSE;
    }
    if (edits->len > 0)
        service_ask_plan(s, "calendar");
    return TRUE;
}

void edits_undo(Service *s)
{
    g_autoptr(GError) error = NULL;

    if (!service_refresh(s, &error) || !publish_load_visits(s, &error) ||
        !forecasts_learn(s->forecasts, &error))
        log_warning("edits", NULL, "the record cannot be read: %s", error->message);
    service_ask_plan(s, "calendar, once more");
}

guint edits_seen(const Service *s, const char *uid)
{
    g_autoptr(GError) error = NULL;
    guint edits = 0;

    if (!store_get_edits_planned(s->store, uid, &edits, &error))
        log_warning("edits", NULL, "the record cannot be read: %s", error->message);
    return edits;
}

gboolean edits_answered(Service *s, const GArray *costs, GError **error)
{
    const WordingContext words = service_wording(s);

    for (guint i = 0; costs != NULL && i < costs->len; i++) {
        const EditCost *cost = &g_array_index(costs, EditCost, i);
        g_autofree char *text = wording_edit_cost(&words, cost);
        if (!store_set_wish_cost(s->store, cost->n, text, error))
            return FALSE;
    }
    return store_set_edits_planned(s->store, error);
}
