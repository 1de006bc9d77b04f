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
#include "service/wording-advice.h"

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
    const WordingCheck check = {.night_day = api_day(s, site, last->end_utc),
                                .until_day = api_today(s, site) + batch->ramp.hold_days,
                                .low_c = last->low_c,
                                .cold_c = last->cold_c,
                                .allowed_c = last->allowed_c,
                                .rest_days = batch->ramp.hold_days};
    return wording_set_back(&words, &check);
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

/* Places that are a week earlier at least. */
static int find_others(const Service *s, const Batch *batch, int64_t ready_utc, GHashTable *seasons,
                       WordingOther *ret)
{
    int n = 0;

    for (int p = 0; p < s->garden->n_places && n < OTHERS_MOST; p++) {
        const int64_t utc = p == batch->destination ? 0 : ready_in(s, batch, p, seasons);
        if (utc != 0 && utc <= ready_utc - WAIT_S)
            ret[n++] = (WordingOther){.place = p, .utc = utc};
    }
    return n;
}

/* Where no fleece is at hand for its bed: from when it could go with one; 0 it would win nothing.
 */
static int64_t with_fleece_utc(const Service *s, const Batch *batch, int64_t fit_utc,
                               int64_t ready_utc, GHashTable *seasons)
{
    const Garden *garden = s->garden;

    if (garden->places[batch->destination].covered)
        return 0;
    for (int p = 0; p < garden->n_places; p++) {
        if (garden->places[p].kind == PLACE_FLEECE &&
            garden->places[p].parent == batch->destination)
            return 0;
    }
    const int64_t utc = season_from(seasons, garden, batch, true, fit_utc);
    return utc > ready_utc - WAIT_S ? 0 : utc;
}

char *advice_wait(const Service *s, int index, GHashTable *seasons)
{
    const Batch *batch = batch_of(s, index);
    const BatchOutlook *outlook = api_outlook(s, index);
    const WordingContext words = service_wording(s);
    SowingCourse course;

    if (outlook == NULL || batch->destination < 0 || batch->stage >= STAGE_PLANTED_OUT ||
        outlook->bound.limit != LIMIT_DESTINATION || !outlook->not_before)
        return NULL;
    foresee_batch(s, batch, &course);
    if (course.fit_utc == 0)
        return NULL;
    const int64_t ready_utc = MAX(outlook->ready_utc, course.plant_utc);
    const int64_t fit_utc = MAX(course.fit_utc, words.now_utc);
    const gboolean outgrows = course.held_utc != 0 && course.held_utc < ready_utc;
    if (ready_utc < fit_utc + WAIT_S && !outgrows)
        return NULL;
    WordingOther others[OTHERS_MOST];
    WordingWait wait = {.fit_utc = fit_utc,
                        .ready_utc = ready_utc,
                        .cold = isfinite(outlook->bound.predicted_c),
                        .others = others,
                        .n_others = find_others(s, batch, ready_utc, seasons, others),
                        .fleece_utc = with_fleece_utc(s, batch, fit_utc, ready_utc, seasons)};
    /* Within a week of that day the choice is put by itself, with its odds. */
    Holding holding;
    if (outgrows && !holding_due(s, batch, &holding))
        wait.held_utc = course.held_utc;
    return wording_wait(&words, batch, &wait);
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
    return wording_no_open_place(&words, batch, best, best >= 0 ? open_weight(garden, best) : 0.0);
}

/* ---- forward ---- */

static char *forward(const Service *s, const Batch *batch, const BatchOutlook *outlook)
{
    const WordingContext words = service_wording(s);

    if (outlook == NULL || batch->stage >= STAGE_PLANTED_OUT || batch->stage < STAGE_HARDENING)
        return NULL;
    return wording_forward(&words, batch, &outlook->bound);
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
