/* SPDX-License-Identifier: MIT */
/* What would differ if something were otherwise. Reads only: nothing is kept, published or shown.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/local-time.h"
#include "garden/config.h"
#include "garden/kinds.h"
#include "service/ahead.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/planner.h"
#include "service/what-if.h"
#include "service/wording-what-if.h"

#define DAY_S 86400
#define TRAYS_MOST 1000  /* of one more place; as in thole.conf */
#define NEAR_S (15 * 60) /* a visit moved by no more is the same visit; as in docs/plan.md */

/* What is asked, which outlives its request, and where what `supposed` points to lives. */
typedef struct Asked {
    Service *service;
    guint64 gardens; /* of which the numbers of places and sites are */
    ControlOwed *owed;
    Supposed supposed;
    int64_t handle; /* of a job of the visit that nobody makes; 0 none */
    char *batch_id; /* (owned) (nullable) of the one that was sown at another time */
    StoreWarning frost;
    Place place;
    char *text;      /* (owned) what is supposed, in words */
    WhatIf *what_if; /* (owned) (nullable) being planned */
} Asked;

/* ---- what is asked ---- */

static gboolean find_visit(const Service *s, int64_t handle, const OpenVisit **ret, GError **error)
{
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *visit = s->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++) {
            if (g_array_index(visit->jobs, OpenJob, k).handle != handle)
                continue;
            if (visit->begun)
                return api_refuse(error, THOLE_ERROR_CONFLICT,
                                  "job %d: its visit has begun; say that it was not done: tholectl "
                                  "missed %d",
                                  (int)handle, (int)handle);
            *ret = visit;
            return TRUE;
        }
    }
    return api_refuse(error, THOLE_ERROR_NOT_FOUND,
                      "no open job has the number %d; tholectl week lists them", (int)handle);
}

static gboolean read_skip(const Service *s, const ControlRequest *request, Asked *asked,
                          GError **error)
{
    const WordingContext words = service_wording(s);

    if (!control_body_int(request, "job", TRUE, 1, G_MAXINT32, &asked->handle, error) ||
        !control_reject_rest(request, error) ||
        !find_visit(s, asked->handle, &asked->supposed.without, error))
        return FALSE;
    asked->text = wording_supposed_skip(&words, &asked->supposed.without->visit);
    return TRUE;
}

static gboolean read_frost(const Service *s, const ControlRequest *request, Asked *asked,
                           GError **error)
{
    const WordingContext words = service_wording(s);

    if (!api_frost_members(s, request, &asked->frost, error) ||
        !control_reject_rest(request, error))
        return FALSE;
    g_autofree char *night = api_day_short(asked->frost.night_day);
    asked->supposed.frost = &asked->frost;
    asked->text = wording_supposed_frost(&words, asked->frost.site, night, asked->frost.low_c);
    return TRUE;
}

/* A name that no place has: new-cold-frame, new-cold-frame-2. */
static void name_place(const Service *s, const Kind *kind, Place *place)
{
    (void)g_snprintf(place->name, sizeof place->name, "new-%s", kind->word);
    for (int n = 2; garden_find_place(s->garden, place->name) >= 0; n++)
        (void)g_snprintf(place->name, sizeof place->name, "new-%s-%d", kind->word, n);
}

static gboolean read_place(const Service *s, const ControlRequest *request, Asked *asked,
                           GError **error)
{
    const WordingContext words = service_wording(s);
    const char *word = NULL, *site = NULL;
    int64_t trays = 0;
    int at = -1;

    if (!control_body_string(request, "kind", TRUE, &word, error) ||
        !control_body_string(request, "site", TRUE, &site, error) ||
        !api_site_named(s, site, &at, error) ||
        !control_body_int(request, "trays", FALSE, 1, TRAYS_MOST, &trays, error) ||
        !control_reject_rest(request, error))
        return FALSE;
    const Kind *kind = kind_find(word);
    if (kind == NULL) {
        g_autofree char *shown = config_clip(word, NAME_SIZE);
        g_autofree char *hint = config_suggest("accepted", word, kind_words());
        return api_refuse(error, THOLE_ERROR_INVALID, "kind: \"%s\" is not accepted; %s", shown,
                          hint);
    }
    if (kind->kind == PLACE_BED)
        return api_refuse(
            error, THOLE_ERROR_CONFLICT,
            "kind: plants stay in a bed, so one more hardens nothing; see what another "
            "destination does: tholectl batch destination");
    kind_usual_place(kind, &asked->place);
    asked->place.site = at;
    if (trays > 0)
        asked->place.trays = (int)trays;
    name_place(s, kind, &asked->place);
    asked->supposed.place = &asked->place;
    asked->text = wording_supposed_place(&words, &asked->place);
    return TRUE;
}

static gboolean read_sown(const Service *s, const ControlRequest *request, Asked *asked,
                          GError **error)
{
    const char *name = NULL;
    int index = -1;

    if (!control_body_string(request, "batch", TRUE, &name, error))
        return FALSE;
    const Batch *batch = api_batch_called(s, name, &index, error);
    if (batch == NULL)
        return FALSE;
    const int site = api_site_of(s, batch->place);
    if (!control_body_has(request, "sown"))
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "sown is missing; give a day such as 2026-03-10");
    if (!api_past_time(s, request, "sown", site, &asked->supposed.sown_utc, error) ||
        !control_reject_rest(request, error))
        return FALSE;
    if (batch->bought || batch->stage > STAGE_GROWING_ON)
        return api_refuse(error, THOLE_ERROR_CONFLICT,
                          "%s is %s: when it was sown decides nothing any more", batch->name,
                          batch->bought ? "bought" : wording_stage(batch->stage));
    g_autofree char *day = api_day_short(api_day(s, site, asked->supposed.sown_utc));
    asked->supposed.batch = index;
    asked->batch_id = g_strdup(batch->id);
    asked->text = wording_supposed_sown(batch, day);
    return TRUE;
}

static gboolean read_asked(const Service *s, const ControlRequest *request, Asked *asked,
                           GError **error)
{
    const char *change = NULL;

    asked->supposed.batch = -1;
    if (!control_body_string(request, "change", TRUE, &change, error))
        return FALSE;
    if (g_str_equal(change, "skip"))
        return read_skip(s, request, asked, error);
    if (g_str_equal(change, "frost"))
        return read_frost(s, request, asked, error);
    if (g_str_equal(change, "place"))
        return read_place(s, request, asked, error);
    if (g_str_equal(change, "sown"))
        return read_sown(s, request, asked, error);
    return api_refuse(error, THOLE_ERROR_INVALID,
                      "change: \"%.20s\" is not accepted; give skip, frost, place or sown", change);
}

/* ---- visits ---- */

/* Two plans beside each other; `after` is the service that is only supposed. */
typedef struct Compare {
    const Service *before, *after;
    WhatIfSum sum;
    GArray *visits; /* (element-type VisitDiffers) */
} Compare;

typedef struct VisitDiffers {
    int64_t utc;
    JsonObject *object; /* (owned) */
} VisitDiffers;

/* Those that are published are told of, not those that only lie in the plan. */
static gboolean counts(const Compare *c, const Visit *v)
{
    const int64_t now_utc = clock_now(c->before->clk);

    return v->start_utc >= now_utc && v->start_utc < now_utc + (int64_t)SERVICE_PUBLISH_D * DAY_S;
}

/* The visit nearest in time on that day by that grower; -1 none is left. */
static int counterpart(const Compare *c, const Visit *v, const bool *taken)
{
    const Plan *plan = &c->after->plan;
    const int day = api_day(c->before, v->site, v->start_utc);
    int found = -1;

    for (int i = 0; i < plan->n_visits; i++) {
        const Visit *x = &plan->visits[i];
        if (taken[i] || x->grower != v->grower || x->site != v->site || !counts(c, x) ||
            api_day(c->before, x->site, x->start_utc) != day)
            continue;
        if (found < 0 || llabs(x->start_utc - v->start_utc) <
                             llabs(plan->visits[found].start_utc - v->start_utc))
            found = i;
    }
    return found;
}

/* What a job comes to, whatever its deadline. */
static char *key_of(const WordingContext *words, const Job *job)
{
    Job plain = *job;

    plain.deadline_utc = 0;
    return wording_substance(words, NULL, &plain, 1);
}

/* The jobs of a visit of one plan that are not among those of a visit (nullable) of the other. */
static JsonArray *jobs_beyond(const Service *a, const Visit *visit, const Service *b,
                              const Visit *other)
{
    const WordingContext words = service_wording(a), others = service_wording(b);
    g_autoptr(GHashTable) known = g_hash_table_new_full(g_str_hash, g_str_equal, g_free, NULL);
    JsonArray *array = json_array_new();

    for (int k = 0; other != NULL && k < other->n_jobs; k++)
        g_hash_table_add(known, key_of(&others, &b->plan.jobs[other->first_job + k]));
    for (int k = 0; visit != NULL && k < visit->n_jobs; k++) {
        const Job *job = &a->plan.jobs[visit->first_job + k];
        g_autofree char *key = key_of(&words, job);
        g_autofree char *text = wording_visit_job(&words, visit, job);
        if (!g_hash_table_contains(known, key))
            json_array_add_string_element(array, text);
    }
    return array;
}

/* `visit` (nullable): there is none. */
static void set_visit_time(const Service *s, JsonObject *object, const char *utc_name,
                           const char *text_name, const Visit *visit)
{
    const WordingContext words = service_wording(s);

    api_set_utc(object, utc_name, visit != NULL ? visit->start_utc : 0);
    api_take_text(object, text_name,
                  visit != NULL ? wording_when(&words, visit->site, visit->start_utc) : NULL);
}

/* One visit that differs, `one` of the two; `was` or `is` NULL: there is none. */
static void add_visit(Compare *c, const char *change, const Visit *one, const Visit *was,
                      const Visit *is)
{
    JsonObject *object = json_object_new();

    api_set_text(object, "change", change);
    api_set_text(object, "site", c->before->garden->sites[one->site].name);
    api_set_text(object, "grower", c->before->garden->growers[one->grower].name);
    set_visit_time(c->before, object, "was_utc", "was", was);
    set_visit_time(c->before, object, "start_utc", "when", is);
    api_set_number(object, "minutes", is != NULL ? fmax(is->minutes, 0.0) : NAN);
    json_object_set_array_member(object, "jobs", jobs_beyond(c->after, is, c->before, was));
    json_object_set_array_member(object, "jobs_left_out",
                                 jobs_beyond(c->before, was, c->after, is));
    g_array_append_val(c->visits, ((VisitDiffers){one->start_utc, object}));
}

static gint by_time(gconstpointer a, gconstpointer b)
{
    const VisitDiffers *x = a, *y = b;

    return x->utc < y->utc ? -1 : x->utc > y->utc;
}

static double minutes_of(const Compare *c, const Plan *plan)
{
    double minutes = 0.0;

    for (int i = 0; i < plan->n_visits; i++)
        minutes += counts(c, &plan->visits[i]) ? fmax(plan->visits[i].minutes, 0.0) : 0.0;
    return minutes;
}

static void compare_visits(Compare *c)
{
    const Plan *before = &c->before->plan, *after = &c->after->plan;
    g_autofree bool *taken = g_new0(bool, after->n_visits + 1);

    for (int i = 0; i < before->n_visits; i++) {
        const Visit *v = &before->visits[i];
        const int k = counts(c, v) ? counterpart(c, v, taken) : -1;
        if (k < 0) {
            if (counts(c, v)) {
                c->sum.visits_fewer++;
                add_visit(c, "gone", v, v, NULL);
            }
            continue;
        }
        const Visit *x = &after->visits[k];
        g_autoptr(JsonArray) more = jobs_beyond(c->after, x, c->before, v),
                             fewer = jobs_beyond(c->before, v, c->after, x);
        const gboolean moved = llabs(x->start_utc - v->start_utc) > NEAR_S;
        taken[k] = true;
        if (!moved && json_array_get_length(more) + json_array_get_length(fewer) == 0)
            continue;
        c->sum.visits_other++;
        add_visit(c, moved ? "moved" : "other jobs", x, v, x);
    }
    for (int k = 0; k < after->n_visits; k++) {
        if (taken[k] || !counts(c, &after->visits[k]))
            continue;
        c->sum.visits_more++;
        add_visit(c, "new", &after->visits[k], NULL, &after->visits[k]);
    }
    c->sum.minutes_more = minutes_of(c, after) - minutes_of(c, before);
    g_array_sort(c->visits, by_time);
}

static JsonArray *visits_array(const Compare *c)
{
    JsonArray *array = json_array_new();

    for (guint i = 0; i < c->visits->len; i++)
        json_array_add_object_element(array, g_array_index(c->visits, VisitDiffers, i).object);
    return array;
}

/* ---- batches ---- */

static double odds_on(const GArray *days, guint k)
{
    const double odds = k < days->len ? g_array_index(days, AheadDay, k).damage_odds : NAN;

    return isfinite(odds) ? odds : 0.0;
}

/* The night that is worse by most; where none is worse, the one that is better by most. */
static void compare_nights(const GArray *before, const GArray *after, WhatIfBatch *ret)
{
    double worse = 0.0, better = 0.0;

    for (guint k = 0; k < MIN(before->len, after->len); k++) {
        const double was = odds_on(before, k), is = odds_on(after, k);
        const int bands = wording_odds_band(is, -1) - wording_odds_band(was, -1);
        if ((bands <= 0 || is - was <= worse) && (bands >= 0 || worse > 0.0 || was - is <= better))
            continue;
        worse = bands > 0 ? is - was : worse;
        better = bands < 0 ? was - is : better;
        ret->odds_before = was;
        ret->odds_after = is;
        ret->night_utc = g_array_index(is > was ? after : before, AheadDay, k).worst_utc;
    }
}

static void compare_ready(const Compare *c, int index, WhatIfBatch *ret)
{
    const BatchOutlook *was = api_outlook(c->before, index), *is = api_outlook(c->after, index);
    const int site = api_site_of(c->before, ret->batch->destination >= 0 ? ret->batch->destination
                                                                         : ret->batch->place);

    ret->ready_before = api_ready_words(c->before, ret->batch, was);
    ret->ready_after = api_ready_words(c->after, ret->batch, is);
    ret->ready_differs = !g_str_equal(ret->ready_before, ret->ready_after);
    if (ret->ready_differs && was != NULL && is != NULL && was->ready_utc != 0 &&
        is->ready_utc != 0)
        ret->days_later = api_day(c->before, site, MAX(is->ready_utc, clock_now(c->before->clk))) -
                          api_day(c->before, site, MAX(was->ready_utc, clock_now(c->before->clk)));
}

static void clear_batch(gpointer data)
{
    WhatIfBatch *batch = data;

    g_free(batch->ready_before);
    g_free(batch->ready_after);
}

static GArray *compare_batches(const Compare *c, const GPtrArray *after)
{
    GArray *differing = g_array_new(FALSE, FALSE, sizeof(WhatIfBatch));
    g_autoptr(GPtrArray) before = planner_ahead(c->before);

    g_array_set_clear_func(differing, clear_batch);
    for (guint i = 0; i < before->len; i++) {
        const Batch *batch = &g_array_index(c->before->current.batches, Batch, i);
        WhatIfBatch one = {.batch = batch, .site = api_site_of(c->before, batch->place)};
        compare_nights(before->pdata[i], after->pdata[i], &one);
        compare_ready(c, (int)i, &one);
        if (one.night_utc == 0 && !one.ready_differs)
            clear_batch(&one);
        else
            g_array_append_val(differing, one);
    }
    return differing;
}

static JsonArray *batches_array(const Compare *c)
{
    const WordingContext words = service_wording(c->before);
    JsonArray *array = json_array_new();

    for (guint i = 0; i < c->sum.batches->len; i++) {
        const WhatIfBatch *b = &g_array_index(c->sum.batches, WhatIfBatch, i);
        const bool nights = b->night_utc != 0;
        JsonObject *object = json_object_new();
        api_set_text(object, "batch", b->batch->name);
        api_set_utc(object, "night_utc", b->night_utc);
        api_set_odds(object, "odds_before", nights ? b->odds_before : NAN);
        api_set_odds(object, "odds_after", nights ? b->odds_after : NAN);
        api_take_text(object, "odds", wording_what_if_odds(&words, b));
        api_set_text(object, "ready_before", b->ready_before);
        api_set_text(object, "ready_after", b->ready_after);
        json_object_set_int_member(object, "days_later", b->days_later);
        api_take_text(object, "ready", wording_what_if_ready(b));
        json_array_add_object_element(array, object);
    }
    return array;
}

/* ---- limits ---- */

/* The breaches of a plan, then what no visit can help; NULL after the last. */
static const Reason *passed_of(const Plan *plan, int i)
{
    return i < plan->n_breaches                   ? &plan->breaches[i]
           : i < plan->n_breaches + plan->n_notes ? &plan->notes[i - plan->n_breaches]
                                                  : NULL;
}

/* Whether a plan passes the same limit somewhere: it tells of each once, where it is worst. On
 * which night that is, the odds of the batches say. */
static gboolean passes(const Plan *plan, const Reason *r)
{
    const Reason *x;

    for (int i = 0; (x = passed_of(plan, i)) != NULL; i++)
        if (x->limit == r->limit && x->batch == r->batch && (r->batch >= 0 || x->place == r->place))
            return TRUE;
    return FALSE;
}

/* Limits of one plan that the other keeps. */
static JsonArray *limits_array(const Service *a, const Service *b)
{
    const WordingContext words = service_wording(a);
    JsonArray *array = json_array_new();
    const Reason *r;

    for (int i = 0; (r = passed_of(&a->plan, i)) != NULL; i++) {
        if (passes(&b->plan, r))
            continue;
        Reason plain = *r;
        plain.estimated &= ~(uint32_t)EST_WARNING; /* nobody has heard of what is only supposed */
        g_autofree char *text = wording_reason_plain(&words, &plain, api_site_of(a, r->place));
        gboolean told = FALSE;
        for (guint k = 0; k < json_array_get_length(array); k++)
            told = told || g_str_equal(json_array_get_string_element(array, k), text);
        if (!told)
            json_array_add_string_element(array, text);
    }
    return array;
}

/* ---- the reply ---- */

static JsonNode *reply_of(const Service *s, const Asked *asked, const GPtrArray *ahead)
{
    const WordingContext words = service_wording(s);
    const WhatIf *w = asked->what_if;
    Compare c = {.before = s, .after = &w->service};
    JsonObject *object = json_object_new();
    JsonArray *passed = limits_array(c.after, c.before);
    g_autoptr(GArray) differing = compare_batches(&c, ahead);
    g_autoptr(GArray) visits = g_array_new(FALSE, FALSE, sizeof(VisitDiffers));

    c.visits = visits;
    c.sum.batches = differing;
    c.sum.limits_more = (int)json_array_get_length(passed);
    compare_visits(&c);
    api_set_units(object, s->garden);
    api_set_text(object, "supposed", asked->text);
    api_take_text(object, "text",
                  asked->supposed.frost != NULL && !w->colder
                      ? g_strdup("Nothing would differ: the forecast is as cold already.")
                      : wording_what_if(&words, &c.sum));
    api_set_number(object, "minutes_more", c.sum.minutes_more);
    json_object_set_array_member(object, "batches", batches_array(&c));
    json_object_set_array_member(object, "visits", visits_array(&c));
    json_object_set_array_member(object, "limits_passed", passed);
    json_object_set_array_member(object, "limits_kept", limits_array(c.before, c.after));
    return api_reply(object);
}

/* ---- planned, and answered ---- */

/* The visit and the batch as they are called now: both may have gone meanwhile. */
static gboolean find_again(Asked *asked, GError **error)
{
    const Service *s = asked->service;

    if (asked->gardens != s->gardens)
        return api_refuse(error, THOLE_ERROR_CONFLICT,
                          "the garden's file was read again meanwhile; ask again");
    if (asked->handle != 0 && !find_visit(s, asked->handle, &asked->supposed.without, error))
        return FALSE;
    if (asked->batch_id == NULL)
        return TRUE;
    asked->supposed.batch = api_batch_index(s, asked->batch_id);
    return asked->supposed.batch >= 0 ||
           api_refuse(error, THOLE_ERROR_NOT_FOUND, "the batch has ended meanwhile");
}

static Situation *look(gpointer data, GError **error)
{
    Asked *asked = data;
    const Service *s = asked->service;

    g_clear_pointer(&asked->what_if, what_if_free);
    if (s->plan.outlooks == NULL || s->weather == NULL) {
        api_refuse(error, THOLE_ERROR_CONFLICT,
                   "no plan has been made yet, so there is nothing to compare with; ask again in a "
                   "moment");
        return NULL;
    }
    if (!find_again(asked, error) ||
        (asked->what_if = what_if_new(s, &asked->supposed, error)) == NULL)
        return NULL;
    return what_if_look(asked->what_if, error);
}

static void answer(gpointer data, const Making *making, const GError *error)
{
    Asked *asked = data;
    JsonNode *reply = NULL;

    if (making != NULL) {
        asked->what_if->service.plan = making->plan;
        reply = reply_of(asked->service, asked, making->ahead);
    }
    control_answer(g_steal_pointer(&asked->owed), reply, error);
}

static void asked_free(gpointer data)
{
    Asked *asked = data;

    if (asked->owed != NULL)
        control_answer(asked->owed, NULL, NULL);
    what_if_free(asked->what_if);
    g_free(asked->batch_id);
    g_free(asked->text);
    g_free(asked);
}

static JsonNode *post_what_if(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    Asked *asked = g_new0(Asked, 1);
    const BesideAsked beside = {look, answer, asked_free, asked};

    asked->service = service;
    asked->gardens = service->gardens;
    if (!read_asked(service, request, asked, error) ||
        beside_is_full(planner_beside(service), error)) {
        asked_free(asked);
        return NULL;
    }
    asked->owed = control_owe(request);
    beside_ask(planner_beside(service), &beside);
    return NULL;
}

void api_add_what_if(Service *service, Control *control)
{
    control_add(control, "POST", "/v1/what-if", post_what_if, service);
}
