/* SPDX-License-Identifier: MIT */
/* All batches with the dates ahead of them, and the room on the heat week by week. */
#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "service/advice.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-json.h"
#include "service/foresee.h"
#include "service/wording-season.h"
#include "service/wording-sow.h"

#define DAY_S 86400
#define WEEK_D 7
#define WEEKS_MOST 26 /* shown; chosen */

typedef struct Season {
    Service *service;
    WordingContext words;
    GArray *spans; /* (element-type HeatSpan) */
    JsonArray *notes;
    int site, monday; /* of the first week; days are counted at the first site */
    int weeks;
} Season;

/* Members NAME (a day) and NAME_text, both null where there is none. */
static void set_day(const Season *s, JsonObject *object, const char *name, const char *words_name,
                    int site, int64_t utc, char *instead)
{
    api_take_text(object, name, utc != 0 ? local_day_format(api_day(s->service, site, utc)) : NULL);
    api_take_text(object, words_name,
                  instead != NULL ? instead
                  : utc != 0      ? wording_sow_day(&s->words, site, utc)
                                  : NULL);
}

static void take_note(const Season *s, char *text)
{
    json_array_add_string_element(s->notes, text);
    g_free(text);
}

/* "from 25 May", as in the list of batches, where it is by normals; "Mon 25 May", "now", "–". */
static char *plant_words(const Season *s, const Batch *batch, const BatchOutlook *outlook, int site,
                         int64_t utc, gboolean by_normals)
{
    if (!by_normals)
        return api_ready_words(s->service, batch, outlook);
    g_autofree char *day = wording_sow_day(&s->words, site, utc);
    return g_strdup_printf("from %s", day + strlen("Mon "));
}

/* "Wed 1 Apr ± 2 d" of what is to come up. */
static char *up_words(const Season *s, int site, const SowingCourse *course)
{
    if (course->emerged_utc == 0)
        return g_strdup("never there");
    if (course->late_utc < s->words.now_utc)
        return g_strdup("late");
    if (course->emerged_utc <= s->words.now_utc)
        return g_strdup("any day");
    g_autofree char *day = wording_sow_day(&s->words, site, course->emerged_utc);
    return g_strdup_printf("%s ± %.0f d", day, fmax(1.0, round(course->spread_d)));
}

static JsonObject *batch_object(const Season *s, int index)
{
    const Batch *batch = &g_array_index(s->service->current.batches, Batch, index);
    const Garden *garden = s->service->garden;
    const BatchOutlook *outlook = api_outlook(s->service, index);
    const int home = garden->places[batch->place].site;
    const int plot = batch->destination >= 0 ? garden->places[batch->destination].site : home;
    const gboolean on_heat = batch->stage < STAGE_HARDENING && garden->places[batch->place].indoors;
    JsonObject *object = json_object_new();
    SowingCourse course;

    foresee_batch(s->service, batch, &course);
    const gboolean sown = batch->stage == STAGE_SOWN;
    api_set_text(object, "batch", batch->name);
    api_set_text(object, "crop", garden->crops[batch->crop].name);
    api_set_text(object, "stage", wording_stage(batch->stage));
    api_set_text(object, "place", api_place_name(s->service, batch->place));
    json_object_set_int_member(object, "trays", batch->trays);
    set_day(s, object, "up", "up_words", home, sown ? course.emerged_utc : 0,
            sown ? up_words(s, home, &course) : g_strdup("up"));
    set_day(s, object, "leave", "leave_words", home, on_heat ? course.leave_utc : 0,
            on_heat && course.leave_utc != 0 && course.leave_utc <= s->words.now_utc + DAY_S
                ? g_strdup("now")
                : NULL);
    int64_t plant_utc = outlook != NULL ? outlook->ready_utc : 0;
    gboolean not_before = outlook != NULL && outlook->not_before;
    if (batch->stage < STAGE_HARDENING && course.plant_utc > plant_utc) {
        plant_utc = course.plant_utc;
        not_before = TRUE;
    }
    set_day(s, object, "plant", "plant_words", plot, plant_utc,
            plant_words(s, batch, outlook, plot, plant_utc, not_before));
    const double odds = plant_utc != 0 ? sowing_frost_odds(&garden->sites[plot], plant_utc) : NAN;
    if (isfinite(odds))
        api_set_odds(object, "frost_odds", odds);
    else
        json_object_set_null_member(object, "frost_odds");
    api_set_text(object, "odds", isfinite(odds) ? wording_odds(odds) : NULL);
    char *asked = sown ? wording_season_up(&s->words, batch, &course) : NULL;
    if (asked != NULL)
        take_note(s, asked);
    return object;
}

static int64_t week_start(const Season *s, int week)
{
    return local_midnight(s->service->zones[s->site], s->monday + week * WEEK_D);
}

/* Weeks until the last batch has left the heat. */
static void count_weeks(Season *s)
{
    while (s->weeks < WEEKS_MOST) {
        gboolean standing = FALSE;
        for (guint i = 0; i < s->spans->len; i++)
            standing |= g_array_index(s->spans, HeatSpan, i).to_utc > week_start(s, s->weeks);
        if (!standing)
            return;
        s->weeks++;
    }
}

static int week_trays(const Season *s, int place, int week, int64_t *ret_day_utc)
{
    const int64_t from_utc = MAX(week_start(s, week), s->words.now_utc);
    return foresee_most_trays(s->spans, place, from_utc, week_start(s, week + 1), ret_day_utc);
}

/* Who of those in a place on a day is best shifted, and where to: the hardiest that finds room,
 * else the first to leave. */
static void find_shift(const Season *s, WordingFull *full, int64_t day_utc)
{
    const Garden *garden = s->service->garden;
    double hardiest_c = INFINITY;
    int64_t first_utc = INT64_MAX;

    full->to = -1;
    for (guint i = 0; i < s->spans->len; i++) {
        const HeatSpan *span = &g_array_index(s->spans, HeatSpan, i);
        if (span->place != full->place || span->from_utc > day_utc || span->to_utc <= day_utc)
            continue;
        const Batch *batch = &g_array_index(s->service->current.batches, Batch, span->batch);
        const double night_c = garden->crops[batch->crop].growing_on_night_c;
        const int to = foresee_room_for(s->service, s->spans, span, day_utc);
        if (to >= 0 && night_c < hardiest_c) {
            hardiest_c = night_c;
            full->batch = batch->name;
            full->to = to;
        } else if (full->to < 0 && span->to_utc < first_utc) {
            first_utc = full->leave_utc = span->to_utc;
            full->batch = batch->name;
        }
    }
}

/* Runs of weeks in which a place is over full, a note each. */
static void note_full(const Season *s, int place)
{
    const int capacity = s->service->garden->places[place].trays;

    for (int week = 0; week < s->weeks; week++) {
        WordingFull full = {.place = place, .week_utc = week_start(s, week)};
        int64_t day_utc = 0;
        full.trays = week_trays(s, place, week, &day_utc);
        if (full.trays <= capacity)
            continue;
        g_autofree char *who = foresee_who(s->service, s->spans, place, day_utc);
        full.who = who;
        find_shift(s, &full, day_utc);
        while (week + 1 < s->weeks && week_trays(s, place, week + 1, NULL) > capacity)
            week++;
        full.until_utc = week_start(s, week + 1) - DAY_S;
        take_note(s, wording_season_full(&s->words, &full));
    }
}

/* The places indoors that have a number of trays, in one week. */
static JsonArray *week_places(const Season *s, int week)
{
    const Garden *garden = s->service->garden;
    JsonArray *places = json_array_new();

    for (int p = 0; p < garden->n_places; p++) {
        if (!garden->places[p].indoors || garden->places[p].trays < 0)
            continue;
        JsonObject *place = json_object_new();
        api_set_text(place, "place", garden->places[p].name);
        json_object_set_int_member(place, "trays", week_trays(s, p, week, NULL));
        json_object_set_int_member(place, "of", garden->places[p].trays);
        json_array_add_object_element(places, place);
    }
    return places;
}

/* Batches that will have to wait; and once, that the garden has nowhere open enough. */
static void note_waits(const Season *s)
{
    g_autoptr(GHashTable) seasons = advice_seasons_new();
    gboolean told = FALSE;

    for (guint i = 0; i < s->service->current.batches->len; i++) {
        char *wait = advice_wait(s->service, (int)i, seasons);
        char *nowhere = told ? NULL : advice_no_open_place(s->service, (int)i);
        told = told || nowhere != NULL;
        if (wait != NULL)
            take_note(s, wait);
        if (nowhere != NULL)
            take_note(s, nowhere);
    }
}

static JsonNode *get_season(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    Season s = {.service = service, .words = service_wording(service)};

    if (!control_reject_rest(request, error))
        return NULL;
    g_autoptr(GArray) spans = s.spans = foresee_heat(service);
    const int today = api_today(service, s.site);
    s.monday = today - (local_weekday(today) - 1);
    s.notes = json_array_new();
    count_weeks(&s);
    JsonObject *object = json_object_new();
    JsonArray *batches = json_array_new(), *weeks = json_array_new();
    for (guint i = 0; i < service->current.batches->len; i++)
        if (g_array_index(service->current.batches, Batch, i).stage < STAGE_PLANTED_OUT)
            json_array_add_object_element(batches, batch_object(&s, (int)i));
    for (int week = 0; week < s.weeks; week++) {
        JsonObject *one = json_object_new();
        set_day(&s, one, "from", "words", s.site, week_start(&s, week), NULL);
        json_object_set_array_member(one, "places", week_places(&s, week));
        json_array_add_object_element(weeks, one);
    }
    for (int p = 0; p < service->garden->n_places; p++)
        if (service->garden->places[p].indoors && service->garden->places[p].trays >= 0)
            note_full(&s, p);
    note_waits(&s);
    api_set_units(object, service->garden);
    json_object_set_array_member(object, "batches", batches);
    json_object_set_array_member(object, "weeks", weeks);
    json_object_set_array_member(object, "notes", s.notes);
    return api_reply(object);
}

void api_add_season(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/season", get_season, service);
}
