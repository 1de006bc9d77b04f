/* SPDX-License-Identifier: MIT */
/* A sowing that is thought of: forwards from its day, backwards from a day of planting. */
#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "garden/config.h"
#include "service/api-batch-change.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/foresee.h"
#include "service/wording-names.h"
#include "service/wording-sow.h"

#define DAY_S 86400
#define AHEAD_D 366 /* as far as a sowing or a planting is foreseen; chosen */
#define BACK_D 60   /* a sowing that was forgotten; chosen */
#define NOON_MIN (12 * 60)
#define NUMBER_MAX 10000 /* plants; as of a batch */
#define USUAL_CONTAINER "cells-40"

typedef struct Sow {
    Service *service;
    WordingContext words;
    Sowing sowing;
    SowingCourse course;
    int64_t out_utc;
    int trays;
} Sow;

/* A place of the query; left as it is where it is not given. */
static gboolean query_place(const Sow *sow, const ControlRequest *request, const char *name,
                            int *ret, GError **error)
{
    const char *text = control_query(request, name);
    if (text == NULL)
        return TRUE;
    const int place = garden_find_place(sow->service->garden, text);
    if (place < 0) {
        g_autofree char *shown = config_clip(text, NAME_SIZE);
        g_autofree char *hint = garden_suggest(sow->service->garden, GARDEN_PLACE, text);
        return api_refuse(error, THOLE_ERROR_NOT_FOUND, "no place is called \"%s\"; %s", shown,
                          hint);
    }
    *ret = place;
    return TRUE;
}

static gboolean read_places(Sow *sow, const ControlRequest *request, GError **error)
{
    const Garden *garden = sow->service->garden;
    const int64_t now_utc = clock_now(sow->service->clk);
    Sowing *s = &sow->sowing;

    s->seed_place = foresee_seed_place(garden, now_utc);
    s->destination = foresee_destination(garden);
    if (!query_place(sow, request, "place", &s->seed_place, error) ||
        !query_place(sow, request, "destination", &s->destination, error))
        return FALSE;
    if (s->seed_place < 0)
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "place is missing, and nothing is indoors; give the place to sow in");
    if (s->destination >= 0 && garden->places[s->destination].indoors)
        return api_refuse(error, THOLE_ERROR_CONFLICT,
                          "destination: %s is indoors; a batch ends in a bed, under fleece, or in "
                          "a tunnel or greenhouse",
                          garden->places[s->destination].name);
    s->raised_place = foresee_raised_place(garden, s->seed_place, now_utc);
    return TRUE;
}

static gboolean read_number(Sow *sow, const ControlRequest *request, GError **error)
{
    const Garden *garden = sow->service->garden;
    const char *container = control_query(request, "container");
    const char *number = control_query(request, "number");
    guint64 plants = 1;

    sow->sowing.container =
        garden_find_container(garden, container != NULL ? container : USUAL_CONTAINER);
    if (container != NULL && sow->sowing.container < 0) {
        g_autofree char *shown = config_clip(container, NAME_SIZE);
        g_autofree char *hint = garden_suggest(garden, GARDEN_CONTAINER, container);
        return api_refuse(error, THOLE_ERROR_INVALID, "no container is called \"%s\"; %s", shown,
                          hint);
    }
    if (number != NULL && !g_ascii_string_to_unsigned(number, 10, 1, NUMBER_MAX, &plants, NULL)) {
        g_autofree char *shown = config_clip(number, NAME_SIZE);
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "number: \"%s\" is not accepted; give a whole number from 1 to %d", shown,
                          NUMBER_MAX);
    }
    sow->trays = batch_trays(garden, sow->sowing.container, (int)plants);
    return TRUE;
}

/* The noon of a day of the query, within what is accepted. */
static gboolean read_day(const Sow *sow, const char *name, const char *text, int site, int back_d,
                         int64_t *ret_utc, GError **error)
{
    GTimeZone *zone = sow->service->zones[site];
    const int today = api_today(sow->service, site);
    int day;

    if (!control_day_from_text(name, text, zone, clock_now(sow->service->clk), &day, error))
        return FALSE;
    if (day < today - back_d || day > today + AHEAD_D) {
        g_autofree char *from = local_day_format(today - back_d);
        g_autofree char *to = local_day_format(today + AHEAD_D);
        return api_refuse(error, THOLE_ERROR_INVALID, "%s: %s is %s; give a day from %s to %s",
                          name, text,
                          day > today   ? "too far ahead"
                          : back_d == 0 ? "past"
                                        : "too long ago",
                          from, to);
    }
    *ret_utc = local_time_on_day(zone, day, NOON_MIN);
    return TRUE;
}

static gboolean read_sow(Sow *sow, const ControlRequest *request, GError **error)
{
    const Garden *garden = sow->service->garden;
    const char *crop = control_param(request, "crop");
    const char *out = control_query(request, "out"), *day = control_query(request, "sow");
    Sowing *s = &sow->sowing;

    s->garden = garden;
    s->crop = garden_find_crop(garden, crop);
    if (s->crop < 0) {
        g_autofree char *shown = config_clip(crop, NAME_SIZE);
        g_autofree char *hint = garden_suggest(garden, GARDEN_CROP, crop);
        return api_refuse(error, THOLE_ERROR_NOT_FOUND, "no crop is called \"%s\"; %s", shown,
                          hint);
    }
    if (!read_places(sow, request, error) || !read_number(sow, request, error) ||
        !control_reject_rest(request, error))
        return FALSE;
    if ((out == NULL) == (day == NULL))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "%s; give either out, the day to plant, or sow, the day to sow",
                          out == NULL ? "out and sow are missing" : "out and sow are both given");
    const int site = garden->places[s->destination >= 0 ? s->destination : s->seed_place].site;
    return out != NULL ? read_day(sow, "out", out, site, 0, &sow->out_utc, error)
                       : read_day(sow, "sow", day, garden->places[s->seed_place].site, BACK_D,
                                  &s->sown_utc, error);
}

/* ---- the reply ---- */

static void add_step(const Sow *sow, JsonArray *steps, const char *title, int site, int64_t utc,
                     double spread_d, char *note)
{
    JsonObject *step = json_object_new();
    g_autofree char *when = utc != 0 ? wording_sow_day(&sow->words, site, utc) : NULL;
    g_autofree char *date = utc != 0 ? local_day_format(api_day(sow->service, site, utc)) : NULL;

    api_set_text(step, "step", title);
    api_set_text(step, "date", date);
    api_set_text(step, "when", when);
    api_set_number(step, "spread_d", spread_d > 0.0 ? spread_d : (double)NAN);
    api_take_text(step, "note", note);
    json_array_add_object_element(steps, step);
}

static JsonArray *steps_of(const Sow *sow)
{
    const Sowing *s = &sow->sowing;
    const SowingCourse *c = &sow->course;
    const Garden *garden = s->garden;
    const Crop *crop = &garden->crops[s->crop];
    const int home = garden->places[s->seed_place].site;
    const int plot = s->destination >= 0 ? garden->places[s->destination].site : home;
    JsonArray *steps = json_array_new();
    g_autofree char *seed = wording_where(&sow->words, s->seed_place);
    g_autofree char *raised = wording_where(&sow->words, s->raised_place);
    g_autofree char *warmth = wording_sow_warmth(&sow->words, c->low_c, c->high_c);

    add_step(sow, steps, "sow", home, s->sown_utc, NAN, g_strdup_printf("%s, %s", seed, warmth));
    if (c->emerged_utc == 0)
        return steps;
    add_step(sow, steps, "up", home, c->emerged_utc, c->spread_d,
             s->raised_place != s->seed_place ? g_strdup_printf("then %s", raised) : NULL);
    if (c->prick_out_utc != 0)
        add_step(sow, steps, "prick out", home, c->prick_out_utc, NAN,
                 g_strdup_printf("%d true leaves; %d days to settle", crop->prick_out_leaves,
                                 crop->settle_days));
    if (garden->places[s->raised_place].indoors)
        add_step(sow, steps, "leave the heat", home, c->leave_utc, NAN,
                 c->leave_waits ? g_strdup("when nights to come are mild enough") : NULL);
    add_step(sow, steps, "harden off", home, c->leave_utc, NAN,
             g_strdup_printf("%d days at the least", c->harden_days));
    const int64_t plant_utc =
        sow->out_utc != 0 && c->plant_utc <= sow->out_utc + DAY_S / 2 ? sow->out_utc : c->plant_utc;
    add_step(sow, steps, "plant out", plot, c->never_mild ? 0 : plant_utc, NAN,
             c->never_mild               ? g_strdup("nights there are never mild enough")
             : plant_utc == sow->out_utc ? NULL
                                         : g_strdup("not before"));
    return steps;
}

static void add_note(JsonArray *notes, char *text)
{
    if (text != NULL)
        json_array_add_string_element(notes, text);
    g_free(text);
}

/* The places that it would stand in, and whether there is room for it. */
static void add_room(const Sow *sow, const WordingSowing *w, JsonArray *notes)
{
    const Sowing *s = &sow->sowing;
    g_autoptr(GArray) spans = foresee_heat(sow->service);
    const guint others = spans->len;

    foresee_add_heat(spans, s->garden, s, &sow->course, -1, sow->trays, s->sown_utc);
    for (guint i = others; i < spans->len; i++) {
        const HeatSpan span = g_array_index(spans, HeatSpan, i);
        const int capacity = s->garden->places[span.place].trays;
        int64_t day_utc = span.from_utc;
        const int trays =
            foresee_most_trays(spans, span.place, span.from_utc,
                               MIN(span.to_utc, span.from_utc + AHEAD_D * DAY_S), &day_utc);
        if (capacity < 0 || trays <= capacity)
            continue;
        g_autofree char *who = foresee_who(sow->service, spans, span.place, day_utc);
        add_note(notes, wording_sow_room(w, span.place, day_utc, trays, who));
    }
}

static JsonArray *notes_of(const Sow *sow, const WordingSowing *w)
{
    JsonArray *notes = json_array_new();
    Sowing today = sow->sowing;
    SowingCourse then;
    int64_t latest_utc = 0;

    add_note(notes, wording_sow_fit(w));
    if (sow->course.emerged_utc == 0)
        return notes;
    today.sown_utc = clock_now(sow->service->clk);
    sowing_course(&today, &then);
    add_note(notes, wording_sow_past(w, then.fit_utc));
    if (!sowing_for(&sow->sowing, sow->course.plant_utc, &latest_utc, &then))
        latest_utc = 0;
    add_note(notes, wording_sow_season(w, latest_utc));
    if (!sow->course.never_mild || sow->out_utc != 0)
        add_note(notes, wording_sow_frost(w));
    add_note(notes, wording_sow_held(w));
    add_room(sow, w, notes);
    return notes;
}

/* By when it must be sown; refused where no day of the year before is early enough. */
static gboolean go_back(Sow *sow, GError **error)
{
    Sowing *s = &sow->sowing;
    SowingCourse course;

    if (sowing_for(s, sow->out_utc, &s->sown_utc, &sow->course))
        return TRUE;
    const Crop *crop = &s->garden->crops[s->crop];
    s->sown_utc = clock_now(sow->service->clk);
    sowing_course(s, &course);
    const WordingSowing w = {&sow->words, s, &course, sow->out_utc};
    g_autofree char *why = wording_sow_fit(&w);
    return api_refuse(error, THOLE_ERROR_CONFLICT,
                      "out: no day of sowing %s in %s is early enough%s%s Give a warmer place",
                      crop->name, s->garden->places[s->seed_place].name, why != NULL ? ". " : ".",
                      why != NULL ? why : "");
}

static JsonNode *get_sow(const ControlRequest *request, gpointer data, GError **error)
{
    Sow sow = {.service = data, .words = service_wording(data)};

    if (!read_sow(&sow, request, error))
        return NULL;
    if (sow.out_utc == 0)
        sowing_course(&sow.sowing, &sow.course);
    else if (!go_back(&sow, error))
        return NULL;
    static const char *const fits[] = {"fits", "too cold", "too hot"};
    const Sowing *s = &sow.sowing;
    const Garden *garden = s->garden;
    const WordingSowing w = {&sow.words, s, &sow.course, sow.out_utc};
    const int plot = api_site_of(sow.service, s->destination >= 0 ? s->destination : s->seed_place);
    const int64_t plant_utc = sow.out_utc != 0 ? sow.out_utc : sow.course.plant_utc;
    JsonObject *object = json_object_new();
    g_autoptr(JsonNode) reply = api_reply(object);

    api_set_units(object, garden);
    api_set_text(object, "crop", garden->crops[s->crop].name);
    api_set_text(object, "place", api_place_name(sow.service, s->seed_place));
    api_set_text(object, "raised", api_place_name(sow.service, s->raised_place));
    api_set_text(object, "destination", api_place_name(sow.service, s->destination));
    json_object_set_int_member(object, "trays", sow.trays);
    api_take_text(object, "out",
                  sow.out_utc != 0 ? local_day_format(api_day(sow.service, plot, sow.out_utc))
                                   : NULL);
    api_set_text(object, "fit", fits[sow.course.fit]);
    api_set_number(object, "days_to_emerge", sow.course.days_to_emerge);
    const double odds = plant_utc != 0 ? sowing_frost_odds(&garden->sites[plot], plant_utc) : NAN;
    if (isfinite(odds))
        api_set_odds(object, "frost_odds", odds);
    else
        json_object_set_null_member(object, "frost_odds");
    api_take_text(object, "headline", wording_sow_headline(&w));
    json_object_set_array_member(object, "steps", steps_of(&sow));
    json_object_set_array_member(object, "notes", notes_of(&sow, &w));
    return g_steal_pointer(&reply);
}

void api_add_sow(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/sow/{crop}", get_sow, service);
}
