/* SPDX-License-Identifier: MIT */
#include "service/advice.h"

#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "plan/plan.h"
#include "ramp/ramp.h"
#include "service/api-day.h"
#include "service/api-json.h"
#include "service/foresee.h"
#include "service/holding.h"
#include "service/ramp-days.h"
#include "service/wording-names.h"
#include "service/wording-sow.h"

#define DAY_S 86400
#define WAIT_S (7 * DAY_S) /* shorter waits are not spoken of; chosen */
#define TOLD_S (7 * DAY_S) /* a check is told of so long; chosen */
#define OPEN_ENOUGH 0.5    /* an hour there counts for half of one in the open; chosen */
#define OTHERS_MOST 3      /* alternatives told; chosen */

static const Batch *batch_of(const Service *s, int batch)
{
    return &g_array_index(s->current.batches, Batch, batch);
}

/* ---- a check ---- */

/* "The frost of the night to Tue 14 Apr was a check ...": the last one, while it is felt. */
static char *set_back(const Service *s, const Batch *batch, GError **error)
{
    const int site = api_site_of(s, batch->place);
    const WordingContext words = service_wording(s);
    const PastDay *last = NULL;
    g_autoptr(GArray) days = NULL;

    if (!ramp_days_load(s, batch, &days, error))
        return NULL;
    for (guint i = 0; i < days->len; i++) {
        const PastDay *day = &g_array_index(days, PastDay, i);
        if (day->check && day->end_utc > words.now_utc - TOLD_S)
            last = day;
    }
    if (last == NULL || batch->ramp.hold_days <= 0)
        return g_strdup("");
    g_autofree char *day = api_day_short(api_day(s, site, last->end_utc));
    g_autofree char *until = api_day_short(api_today(s, site) + batch->ramp.hold_days);
    g_autofree char *low = wording_temperature(s->garden, last->cold_c);
    g_autofree char *allowed = wording_temperature(s->garden, last->allowed_c);
    const int rest = batch->ramp.hold_days;
    return g_strdup_printf("The %s of the night to %s puts it back: its coldest ten hours were %s, "
                           "and %s was allowed. It rests %d more %s, to about %s, and is ready as "
                           "much later.",
                           last->low_c < 0.0 ? "frost" : "cold", day, low, allowed, rest,
                           rest == 1 ? "day" : "days", until);
}

/* ---- waiting ---- */

/* From when on nights are mild enough, as found for one batch, holds for all of its crop. */
typedef struct SeasonKey {
    int crop, place;
    bool fleece; /* over a bed that has none */
    int64_t utc; /* looked at from */
} SeasonKey;

static guint season_hash(gconstpointer key)
{
    const SeasonKey *k = key;
    return (((guint)k->crop * 509 + (guint)k->place) * 2 + k->fleece) * 31 + g_int64_hash(&k->utc);
}

static gboolean season_equal(gconstpointer a, gconstpointer b)
{
    const SeasonKey *x = a, *y = b;
    return x->utc == y->utc && x->place == y->place && x->crop == y->crop && x->fleece == y->fleece;
}

GHashTable *advice_seasons_new(void)
{
    return g_hash_table_new_full(season_hash, season_equal, g_free, g_free);
}

/* With a fleece to lay over the place where it is to be planted. */
static int64_t season_under_fleece(const Garden *garden, const Batch *batch, int64_t utc)
{
    g_autofree Place *places = g_new(Place, (gsize)garden->n_places + 1);
    Garden with = *garden;

    memcpy(places, garden->places, (gsize)garden->n_places * sizeof *places);
    places[with.n_places++] = (Place){.kind = PLACE_FLEECE,
                                      .site = places[batch->destination].site,
                                      .parent = batch->destination};
    with.places = places;
    return plan_season_from(&with, batch, utc);
}

static int64_t season_from(GHashTable *seasons, const Garden *garden, const Batch *batch,
                           bool fleece, int64_t utc)
{
    const SeasonKey key = {batch->crop, batch->destination, fleece, utc};
    const int64_t *found = g_hash_table_lookup(seasons, &key);
    if (found != NULL)
        return *found;
    const int64_t from_utc =
        fleece ? season_under_fleece(garden, batch, utc) : plan_season_from(garden, batch, utc);
    g_hash_table_insert(seasons, g_memdup2(&key, sizeof key),
                        g_memdup2(&from_utc, sizeof from_utc));
    return from_utc;
}

/* When it could be planted in another place, by the ramp and what is normal; 0 it is no place for
 * that. */
static int64_t ready_in(const Service *s, const Batch *batch, int place, GHashTable *seasons)
{
    const Garden *garden = s->garden;
    const Place *p = &garden->places[place];
    const int64_t now_utc = clock_now(s->clk);
    Batch other = *batch;
    SowingCourse course;

    if (p->indoors || (p->kind != PLACE_FLEECE && p->kind != PLACE_TUNNEL &&
                       p->kind != PLACE_GREENHOUSE && p->kind != PLACE_BED))
        return 0;
    if (p->kind == PLACE_FLEECE && (p->parent < 0 || garden->places[p->parent].kind != PLACE_BED))
        return 0;
    other.destination = place;
    if (batch->stage < STAGE_HARDENING) {
        foresee_batch(s, &other, &course);
        return course.never_mild ? 0 : course.plant_utc;
    }
    const Crop *crop = &garden->crops[batch->crop];
    const int exposure = !p->covered       ? RAMP_EXPOSURE_FULL
                         : p->cover.porous ? RAMP_EXPOSURE_POROUS
                                           : 0;
    const double low_c = fmax(plan_normal_low_c(garden, &other, now_utc), crop->floor_hardened_c);
    const double days = ramp_days_missing(crop, &batch->ramp, low_c, 0.0, exposure);
    const int64_t weeks_s = batch->bought ? 0 : (int64_t)(7 * DAY_S * crop->weeks_to_plant);
    const int64_t hard_utc =
        MAX(now_utc + (int64_t)(ceil(days) * DAY_S), plan_weeks_from(garden, batch) + weeks_s);
    return season_from(seasons, garden, &other, false, hard_utc);
}

/* "In the tunnel: from 28 Apr." of each place that is a week earlier at least. */
static void add_others(const Service *s, const Batch *batch, int64_t ready_utc, GHashTable *seasons,
                       GString *text)
{
    const WordingContext words = service_wording(s);
    int told = 0;

    for (int p = 0; p < s->garden->n_places && told < OTHERS_MOST; p++) {
        const int64_t utc = p == batch->destination ? 0 : ready_in(s, batch, p, seasons);
        if (utc == 0 || utc > ready_utc - WAIT_S)
            continue;
        g_autofree char *where = wording_where(&words, p);
        g_autofree char *day = wording_sow_day(&words, s->garden->places[p].site, utc);
        *where = g_ascii_toupper(*where);
        g_string_append_printf(text, " %s it could go from %s.", where, day);
        told++;
    }
}

/* Where no fleece is at hand for its bed: what one would win. */
static void add_fleece(const Service *s, const Batch *batch, int64_t fit_utc, int64_t ready_utc,
                       GHashTable *seasons, GString *text)
{
    const Garden *garden = s->garden;
    const WordingContext words = service_wording(s);

    if (garden->places[batch->destination].covered)
        return;
    for (int p = 0; p < garden->n_places; p++) {
        if (garden->places[p].kind == PLACE_FLEECE &&
            garden->places[p].parent == batch->destination)
            return;
    }
    const int64_t utc = season_from(seasons, garden, batch, true, fit_utc);
    if (utc > ready_utc - WAIT_S)
        return;
    g_autofree char *day = wording_sow_day(&words, garden->places[batch->destination].site, utc);
    g_string_append_printf(text, " With a fleece to lay over the bed it could go from about %s.",
                           day);
}

char *advice_wait(const Service *s, int index, GHashTable *seasons)
{
    const Batch *batch = batch_of(s, index);
    const BatchOutlook *outlook = api_outlook(s, index);
    const Garden *garden = s->garden;
    const WordingContext words = service_wording(s);
    SowingCourse course;

    if (outlook == NULL || batch->destination < 0 || batch->stage >= STAGE_PLANTED_OUT ||
        outlook->bound.limit != LIMIT_DESTINATION || !outlook->not_before)
        return NULL;
    foresee_batch(s, batch, &course);
    if (course.fit_utc == 0)
        return NULL;
    const int plot = garden->places[batch->destination].site;
    const int64_t ready_utc = MAX(outlook->ready_utc, course.plant_utc);
    const int64_t fit_utc = MAX(course.fit_utc, words.now_utc);
    const gboolean outgrows = course.held_utc != 0 && course.held_utc < ready_utc;
    if (ready_utc < fit_utc + WAIT_S && !outgrows)
        return NULL;
    g_autofree char *fit = wording_sow_day(&words, plot, fit_utc);
    g_autofree char *ready = wording_sow_day(&words, plot, ready_utc);
    g_autofree char *where = wording_where(&words, batch->destination);
    g_autoptr(GString) text = g_string_new(NULL);
    g_string_printf(text,
                    "%s will have to wait: large and hard enough by %s, and %s it is normally %s "
                    "before %s.",
                    batch->name, fit, where,
                    isfinite(outlook->bound.predicted_c) ? "too cold" : "too early for late frosts",
                    ready);
    add_others(s, batch, ready_utc, seasons, text);
    add_fleece(s, batch, fit_utc, ready_utc, seasons, text);
    /* Within a week of that day the choice is put by itself, with its odds. */
    Holding holding = {0};
    if (outgrows)
        holding_of(s, batch, &holding);
    if (outgrows && !holding_is_due(s, batch, &holding)) {
        g_autofree char *held = wording_sow_day(&words, plot, course.held_utc);
        const char *container =
            batch->container >= 0 ? garden->containers[batch->container].name : "its container";
        if (course.held_utc <= words.now_utc)
            g_string_append_printf(text, " It outgrew %s by %s: pot it on.", container, held);
        else
            g_string_append_printf(text, " Else pot on by %s: it outgrows %s then.", held,
                                   container);
    }
    return g_string_free(g_steal_pointer(&text), FALSE);
}

/* ---- places ---- */

/* What an hour of daylight counts in a place with everything over it open as far as it goes. */
static double open_weight(const Garden *garden, int place)
{
    double weight = 1.0;

    for (int p = place; p >= 0; p = garden->places[p].parent) {
        const Place *here = &garden->places[p];
        if (here->covered)
            weight *= here->cover.positions[here->cover.n_positions - 1].exposure_weight;
    }
    return weight;
}

char *advice_no_open_place(const Service *s, int index)
{
    const Batch *batch = batch_of(s, index);
    const Garden *garden = s->garden;
    const WordingContext words = service_wording(s);
    int best = -1;

    if (batch->destination < 0 || batch->stage >= STAGE_READY ||
        garden->places[batch->destination].covered)
        return NULL;
    for (int p = 0; p < garden->n_places; p++) {
        int root = p;
        while (garden->places[root].parent >= 0)
            root = garden->places[root].parent;
        if (garden->places[p].indoors || garden->places[root].kind == PLACE_BED)
            continue;
        if (best < 0 || open_weight(garden, p) > open_weight(garden, best))
            best = p;
    }
    if (best >= 0 && open_weight(garden, best) >= OPEN_ENOUGH)
        return NULL;
    g_autofree char *to = wording_place_words(&words, batch->destination);
    g_autofree char *where = best >= 0 ? wording_where(&words, best) : NULL;
    g_autofree char *here =
        best >= 0 ? g_strdup_printf("%s, as far open as it goes, an hour counts for %.1f", where,
                                    open_weight(garden, best))
                  : g_strdup("there is no place outdoors for its trays");
    return g_strdup_printf("Nothing in this garden gives %s enough hours in the open for %s: %s. "
                           "What would help: a spot outdoors to stand the trays on by day, in "
                           "thole.conf a place of kind=standing.",
                           batch->name, to, here);
}

/* ---- forward ---- */

static char *forward(const Service *s, const Batch *batch, const BatchOutlook *outlook)
{
    const WordingContext words = service_wording(s);

    if (outlook == NULL || batch->stage >= STAGE_PLANTED_OUT || batch->stage < STAGE_HARDENING)
        return NULL;
    if (outlook->bound.limit == LIMIT_EXPOSURE && batch->ramp.hold_days == 0) {
        const double hours = ramp_allowance_h(&batch->ramp) / 2.0; /* what makes it used */
        return g_strdup_printf("It comes forward by each day with %.1f hours in the open or more.",
                               hours);
    }
    if (outlook->bound.limit == LIMIT_NIGHTS && batch->destination >= 0) {
        g_autofree char *where = wording_place_words(&words, batch->destination);
        return g_strdup_printf("It comes forward by each night under no more cover than %s has.",
                               where);
    }
    if (outlook->bound.limit == LIMIT_SOIL)
        return g_strdup("Fleece or film laid over the bed now warms it, and brings it forward.");
    return NULL;
}

static void take(GPtrArray *texts, char *text)
{
    if (text != NULL && *text != '\0')
        g_ptr_array_add(texts, text);
    else
        g_free(text);
}

GPtrArray *advice_of(const Service *s, int index, GError **error)
{
    const Batch *batch = batch_of(s, index);
    g_autoptr(GPtrArray) texts = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GHashTable) seasons = advice_seasons_new();
    char *back = set_back(s, batch, error);

    if (back == NULL)
        return NULL;
    take(texts, back);
    take(texts, advice_wait(s, index, seasons));
    take(texts, advice_no_open_place(s, index));
    take(texts, forward(s, batch, api_outlook(s, index)));
    return g_steal_pointer(&texts);
}
