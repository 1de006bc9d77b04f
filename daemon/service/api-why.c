/* SPDX-License-Identifier: MIT */
/* Why: from the forecast to what is to be done about one batch on one day. */
#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "odds/odds.h"
#include "ramp/ramp.h"
#include "service/api-day.h"
#include "service/api-groups.h"
#include "service/api-input.h"
#include "service/api-json.h"
#include "service/waiting.h"
#include "service/api-learned.h"
#include "service/wording-names.h"
#include "service/wording-reading.h"

typedef struct Why {
    const Service *service;
    WordingContext words;
    const Batch *batch;
    int index, place, site, day; /* place: where it is to stand that night */
    const BatchOutlook *outlook; /* (nullable) */
    gboolean tonight;            /* the day is the one whose night comes next */
    JsonArray *steps;
    JsonArray *numbers; /* of the step being made */
} Why;

static void number(Why *why, const char *name, double value, const char *unit, double spread)
{
    api_add_number(why->numbers, name, value, unit, spread);
}

/* Ends a step: takes `text` over, and begins the next one's numbers. */
static void step(Why *why, const char *about, char *text)
{
    JsonObject *object = json_object_new();

    api_set_text(object, "about", about);
    api_take_text(object, "text", text);
    json_object_set_array_member(object, "numbers", why->numbers);
    json_array_add_object_element(why->steps, object);
    why->numbers = json_array_new();
}

static char *temperature(const Why *why, double c)
{
    return wording_temperature(why->service->garden, c);
}

/* "± 1.3", in the degrees shown. */
static char *spread(const Why *why, double k)
{
    return g_strdup_printf("± %.1f", k * (why->service->garden->fahrenheit ? 1.8 : 1.0));
}

/* What readings have taught of the figure just told; place -1: of the open air. It is in it. */
static void tell_learned(Why *why, int place, const LearnedError *error, GString *text)
{
    g_autofree char *learned = wording_learned(why->service, why->site, place, EXTREME_LOW, error);

    if (learned == NULL)
        return;
    g_string_append_printf(text, " %s That is reckoned with.", learned);
    number(why, place >= 0 ? "learned of the place" : "learned of the forecast", error->bias_k, "K",
           error->spread_k);
    number(why, "readings learned from", error->n, "", NAN);
}

static void tell_forecast(Why *why)
{
    const SiteWeather *weather =
        why->service->weather != NULL ? &why->service->weather[why->site] : NULL;
    g_autofree char *site = wording_site_words(&why->words, why->site);
    ApiNight night;

    if (weather == NULL || !api_night(why->service, why->site, why->day, &night)) {
        step(why, "forecast", g_strdup_printf("No weather is known for that night at %s.", site));
        return;
    }
    g_autofree char *low = temperature(why, night.low_c), *give = spread(why, night.spread_k);
    g_autofree char *at = api_clock(why->service, why->site, night.low_utc);
    g_autofree char *issued = wording_when(&why->words, why->site, weather->issued_utc);
    g_autoptr(GString) text = g_string_new(NULL);
    g_string_printf(text, "Outdoors at %s the low is about %s %s at %s; air frost: %s. ", site, low,
                    give, at, wording_odds(night.frost_odds));
    if (night.low_estimated & EST_WARNING)
        g_string_append(text, "By the warning that you passed on.");
    else if (night.low_estimated & EST_TEMPERATURE || weather->issued_utc == 0)
        g_string_append(text, "By what is normal for the season, as no forecast reaches that far.");
    else
        g_string_append_printf(text, "Forecast of %s.", issued);
    if (weather->note != NULL)
        g_string_append_printf(text, " (%s)", weather->note);
    g_autofree char *estimates =
        night.estimated & EST_TEMPERATURE ? NULL : wording_estimates(night.estimated);
    if (estimates != NULL)
        g_string_append_printf(text, " %s", estimates);
    const gboolean of_forecast = !(night.low_estimated & (EST_WARNING | EST_TEMPERATURE));
    const LearnedError learned =
        of_forecast ? api_learned_open_air(why->service, why->site, EXTREME_LOW, night.low_utc)
                    : (LearnedError){0};
    tell_learned(why, -1, &learned, text);
    number(why, "low outdoors", night.low_c, "°C", night.spread_k);
    number(why, "odds of an air frost", night.frost_odds, "", NAN);
    step(why, "forecast", g_strdup(text->str));
}

/* A batch that is carried to another site that day: the night it is taken away from. */
static void tell_left(Why *why, int from_site)
{
    g_autofree char *site = wording_site_words(&why->words, from_site);
    ApiNight night;

    if (!api_night(why->service, from_site, why->day, &night))
        return;
    g_autofree char *low = temperature(why, night.low_c), *give = spread(why, night.spread_k);
    step(why, "forecast",
         g_strdup_printf(
             "It is taken away from %s, where the low outdoors is about %s %s; air frost: %s.",
             site, low, give, wording_odds(night.frost_odds)));
}

/* The position that the plan has a cover in when the night of the day begins. */
static int position_by_plan(const Why *why, int place)
{
    int position = why->service->current.positions[place];

    for (guint i = 0; i < why->service->visits->len; i++) {
        const OpenVisit *visit = why->service->visits->pdata[i];
        if (api_day(why->service, visit->visit.site, visit->visit.start_utc) > why->day)
            break;
        for (guint k = 0; k < visit->jobs->len; k++) {
            const Job *job = &g_array_index(visit->jobs, OpenJob, k).job;
            if (job->kind == JOB_SET_COVER && job->place == place)
                position = job->position;
        }
    }
    return position;
}

static void follow_moves(Why *why)
{
    for (guint i = 0; i < why->service->visits->len; i++) {
        const OpenVisit *visit = why->service->visits->pdata[i];
        if (api_day(why->service, visit->visit.site, visit->visit.start_utc) > why->day)
            break;
        for (guint k = 0; k < visit->jobs->len; k++) {
            const Job *job = &g_array_index(visit->jobs, OpenJob, k).job;
            if (job->batch == why->index && job->place >= 0 &&
                (job->kind == JOB_MOVE || job->kind == JOB_TRANSFER || job->kind == JOB_PLANT_OUT))
                why->place = job->place;
        }
    }
}

/* "light off", "20 cm", "closed": as a cover will be when the night begins. */
static const char *position_words(const Why *why, int place)
{
    const Place *at = &why->service->garden->places[place];
    const CoverPosition *position =
        &at->cover.positions[CLAMP(position_by_plan(why, place), 0, at->cover.n_positions - 1)];

    if (!position->open || at->cover.porous)
        return position->name;
    return at->kind == PLACE_COLD_FRAME ? "light off" : position->name;
}

static void tell_place(Why *why)
{
    const Garden *garden = why->service->garden;
    g_autoptr(GString) text = g_string_new(NULL);
    const PlacePrediction *found = NULL;

    if (why->place < 0) {
        step(why, "place",
             g_strdup_printf("%s has no place: where does it stand?", why->batch->name));
        return;
    }
    g_autofree char *where = wording_where(&why->words, why->place);
    g_string_printf(text, "As planned it spends the night %s", where);
    for (int p = why->place; p >= 0; p = garden->places[p].parent) {
        g_autofree char *name = wording_place_words(&why->words, p);
        if (garden->places[p].covered)
            g_string_append_printf(text, ", %s%s%s", p == why->place ? "" : name,
                                   p == why->place ? "" : " ", position_words(why, p));
    }
    for (int i = 0; i < why->service->plan.n_predictions; i++) {
        const PlacePrediction *p = &why->service->plan.predictions[i];
        if (p->place == why->place && p->day == why->day && isfinite(p->low_c))
            found = p;
    }
    if (found != NULL) {
        g_autofree char *low = temperature(why, found->low_c),
                        *leaf = temperature(why, found->leaf_low_c);
        g_autofree char *give = spread(why, found->low_spread_k);
        g_string_append_printf(text, ": air down to about %s %s, leaves to %s", low, give, leaf);
        if (!garden->places[why->place].indoors) {
            g_string_append_printf(text, "; frost on leaves: %s",
                                   wording_odds(found->leaf_frost_odds));
            number(why, "odds of frost on leaves", found->leaf_frost_odds, "", NAN);
        }
        number(why, "low in the place", found->low_c, "°C", found->low_spread_k);
        number(why, "lowest leaf temperature", found->leaf_low_c, "°C", found->low_spread_k);
    }
    g_string_append_c(text, '.');
    if (found != NULL) {
        const LearnedError learned = api_learned_place(why->service, found, EXTREME_LOW);
        tell_learned(why, why->place, &learned, text);
    }
    step(why, "place", g_strdup(text->str));
}

static void tell_batch(Why *why)
{
    const Crop *crop = &why->service->garden->crops[why->batch->crop];
    const RampState *ramp = &why->batch->ramp;
    const double allowed_c = ramp_allowed_low_c(crop, ramp), damage_c = ramp_damage_c(crop, ramp);
    g_autofree char *bears = temperature(why, ramp->hardened_to_c),
                    *allowed = temperature(why, allowed_c);
    g_autofree char *damage = temperature(why, damage_c);
    g_autofree char *bears_words = g_strdup_printf("It bears %s after %d of %d days in the open.",
                                                   bears, ramp->exposure_days, RAMP_EXPOSURE_FULL);

    number(why, "hardened to", ramp->hardened_to_c, "°C", NAN);
    number(why, "allowed low", allowed_c, "°C", NAN);
    number(why, "damage below (leaf)", damage_c, "°C", NAN);
    step(why, "batch",
         g_strdup_printf("%s %s %s is allowed over the coldest ten hours; leaves are damaged "
                         "below %s.",
                         bears_words, why->tonight ? "Tonight" : "So far", allowed, damage));
}

static void tell_limit(Why *why)
{
    const BatchOutlook *o = why->outlook;

    if (o == NULL || !why->tonight || !isfinite(o->tonight_cold_c) || !isfinite(o->damage_odds))
        return;
    g_autofree char *cold = temperature(why, o->tonight_cold_c),
                    *leaf = temperature(why, o->tonight_leaf_c);
    g_autofree char *give = spread(why, o->tonight_spread_k);
    number(why, "coldest ten hours", o->tonight_cold_c, "°C", o->tonight_spread_k);
    number(why, "odds of damage", o->damage_odds, "", NAN);
    step(why, "limit",
         g_strdup_printf(
             "As planned they average %s %s, leaves fall to %s: odds of damage %s, and at "
             "most %.2g %% are accepted.",
             cold, give, leaf, wording_odds(o->damage_odds),
             100.0 * why->service->garden->risk.damage));
}

/* Limits that the plan passes with this batch because nothing at hand keeps them. */
static void tell_breaches(Why *why)
{
    for (int i = 0; i < why->service->plan.n_breaches; i++) {
        const Reason *reason = &why->service->plan.breaches[i];
        if (reason->batch != why->index ||
            api_day(why->service, why->site, reason->at_utc) < why->day ||
            api_day(why->service, why->site, reason->at_utc) > why->day + 1)
            continue;
        g_autofree char *text = wording_reason_plain(&why->words, reason, why->site);
        step(why, "breach", g_strdup_printf("Nothing at hand keeps this limit: %s", text));
    }
}

/* A cover over it that damp asks to be lifted, or trays that dry out, where no visit can help. */
static void tell_notes(Why *why)
{
    for (int i = 0; i < why->service->plan.n_notes; i++) {
        const Reason *reason = &why->service->plan.notes[i];
        const gboolean damp = reason->limit == LIMIT_DAMP;
        gboolean ours = !damp && reason->batch == why->index;
        for (int p = why->place; damp && p >= 0; p = why->service->garden->places[p].parent)
            ours = ours || p == reason->place;
        if (!ours || (damp && api_day(why->service, why->site, reason->at_utc) > why->day + 1))
            continue;
        if (reason->limit == LIMIT_CAPACITY) {
            step(why, "room", waiting_text(why->service, why->index));
            continue;
        }
        if (damp)
            number(why, "nights shut", reason->predicted_c, "nights", NAN);
        step(why,
             damp                              ? "damp"
             : reason->limit == LIMIT_DAYLIGHT ? "daylight"
                                               : "water",
             wording_reason_plain(&why->words, reason, why->site));
    }
}

/* What keeps it where it is; a day on which it has left tells of something else. */
static void tell_stays(Why *why)
{
    const Reason *reason = why->outlook != NULL ? &why->outlook->stays : NULL;
    char *text =
        why->place == why->batch->place ? waiting_stays(why->service, why->index, FALSE) : NULL;

    if (text == NULL || reason == NULL)
        return;
    if (reason->limit == LIMIT_CHECK || reason->limit == LIMIT_DAMAGE) {
        const gboolean leaf = reason->limit == LIMIT_DAMAGE;
        number(why, leaf ? "lowest leaf temperature there" : "coldest ten hours there",
               reason->predicted_c, "°C", reason->spread_k);
        number(why, leaf ? "damage below (leaf)" : "allowed low", reason->limit_c, "°C", NAN);
        number(why, leaf ? "odds of damage there" : "odds of a check there", reason->odds, "", NAN);
    }
    step(why, "stays", text);
}

/* Whether the job is about the batch, or a cover over it. */
static gboolean concerns(const Why *why, const Job *job)
{
    if (job->batch == why->index || job->reason.batch == why->index)
        return TRUE;
    for (int p = why->place; job->kind == JOB_SET_COVER && p >= 0;
         p = why->service->garden->places[p].parent)
        if (p == job->place)
            return TRUE;
    return FALSE;
}

/*
 * How much milder the night would have to be for the job to fall away: its odds without the job are
 * those of one threshold, so the forecast's rise that brings them down to what is accepted is
 * exact. NULL where the job is about something else. The caller's.
 */
static char *falls_away(Why *why, const Reason *reason)
{
    const double accepted = why->service->garden->risk.damage;

    if (reason->limit != LIMIT_DAMAGE || !isfinite(reason->otherwise_c) ||
        !(reason->spread_k > 0.0) || !(reason->otherwise_odds > accepted))
        return NULL;
    const double rise_k =
        reason->limit_c + odds_margin_for(accepted) * reason->spread_k - reason->otherwise_c;
    if (!(rise_k > 0.0))
        return NULL;
    number(why, "rise of the forecast that would spare it", rise_k, "K", NAN);
    const gboolean fahrenheit = why->service->garden->fahrenheit;
    return g_strdup_printf(" Were the night %.1f %s milder, this would fall away.",
                           rise_k * (fahrenheit ? 1.8 : 1.0), fahrenheit ? "°F" : "°C");
}

static void tell_job(Why *why, const OpenVisit *visit, const OpenJob *job)
{
    const Reason *reason = &job->job.reason;
    g_autofree char *when = wording_when(&why->words, visit->visit.site, visit->visit.start_utc);
    g_autofree char *what = wording_visit_job(&why->words, &visit->visit, &job->job),
                    *because = wording_reason(&why->words, &job->job);
    if (isfinite(reason->odds) && isfinite(reason->otherwise_odds)) {
        number(why, "odds with it", reason->odds, "", NAN);
        number(why, "odds without it", reason->otherwise_odds, "", NAN);
    }
    g_autofree char *unless = falls_away(why, reason);
    step(why, "choice",
         g_strdup_printf("%s: %s %s%s", when, what, because, unless != NULL ? unless : ""));
}

/* The first visit after those of the day's own jobs that is at the batch's
 * site or has a job for it: one at the other end may fetch it back. */
static void tell_next_visit(Why *why)
{
    for (guint i = 0; i < why->service->visits->len; i++) {
        const OpenVisit *visit = why->service->visits->pdata[i];
        const int day = api_day(why->service, visit->visit.site, visit->visit.start_utc);
        gboolean for_it = FALSE;

        for (guint k = 0; k < visit->jobs->len; k++)
            for_it |= concerns(why, &g_array_index(visit->jobs, OpenJob, k).job);
        if (day < why->day || (day == why->day && for_it) ||
            (!for_it && visit->visit.site != why->site))
            continue;
        g_autofree char *site = wording_site_words(&why->words, visit->visit.site),
                        *when = wording_when(&why->words, why->site, visit->visit.start_utc);
        step(why, "visit",
             g_strdup_printf("Next visit %s%s after that: %s.",
                             strcmp(site, "home") == 0 ? "" : "to ", site, when));
        return;
    }
    step(why, "visit", g_strdup("No visit is needed for it after that."));
}

/* The jobs of the day, with their reasons, and when somebody is there next. */
static JsonArray *tell_jobs(Why *why)
{
    JsonArray *jobs = json_array_new();

    for (guint i = 0; i < why->service->visits->len; i++) {
        const OpenVisit *visit = why->service->visits->pdata[i];
        const int day = api_day(why->service, visit->visit.site, visit->visit.start_utc);
        for (guint k = 0; day == why->day && k < visit->jobs->len; k++) {
            const OpenJob *job = &g_array_index(visit->jobs, OpenJob, k);
            if (!concerns(why, &job->job))
                continue;
            json_array_add_object_element(jobs, api_job(why->service, visit, job));
            tell_job(why, visit, job);
        }
    }
    if (json_array_get_length(jobs) == 0)
        step(why, "choice", g_strdup("Nothing needs to be done for it on that day."));
    tell_next_visit(why);
    return jobs;
}

/* When it may be planted, and what holds it back most. */
static void tell_outlook(Why *why)
{
    if (why->outlook == NULL)
        return;
    g_autofree char *ready = api_ready_words(why->service, why->batch, why->outlook);
    g_autofree char *bound = wording_bound(&why->words, why->batch, why->outlook);
    const gboolean dated = why->outlook->ready_utc != 0 && why->batch->stage < STAGE_PLANTED_OUT;
    number(why, "days missing", fmax(why->outlook->missing_days, 0.0), "days", NAN);
    step(why, "outlook", dated ? g_strdup_printf("Ready: %s. %s", ready, bound) : g_strdup(bound));
}

static gboolean read_day(const Service *service, const ControlRequest *request, Why *why,
                         GError **error)
{
    const char *text = control_query(request, "date");
    const int today = api_today(service, why->site), last = today + SERVICE_HORIZON_D - 1;

    why->day = today;
    if (text != NULL && !control_day_from_text("date", text, service->zones[why->site],
                                               clock_now(service->clk), &why->day, error))
        return FALSE;
    const int first = MIN(api_tonight(service, why->site), today);
    if (why->day >= first && why->day <= last)
        return TRUE;
    g_autofree char *from = local_day_format(first), *to = local_day_format(last);
    return api_refuse(error, THOLE_ERROR_INVALID, "date: %s is %s; give a day from %s to %s", text,
                      why->day < first ? "past" : "beyond the plan", from, to);
}

static JsonNode *get_why(const ControlRequest *request, gpointer data, GError **error)
{
    Service *service = data;
    Why why = {.service = service, .words = service_wording(service)};

    why.batch = api_batch_named(service, request, "batch", &why.index, error);
    if (why.batch == NULL)
        return NULL;
    why.place = why.batch->place;
    why.site = api_site_of(service, why.place);
    if (!read_day(service, request, &why, error) || !control_reject_rest(request, error))
        return NULL;
    follow_moves(&why);
    const int from_site = why.site;
    why.site = api_site_of(service, why.place);
    why.outlook = api_outlook(service, why.index);
    why.tonight = why.day == api_tonight(service, why.site);
    why.steps = json_array_new();
    why.numbers = json_array_new();
    if (why.site != from_site)
        tell_left(&why, from_site);
    if (why.place < 0 || !service->garden->places[why.place].indoors)
        tell_forecast(&why);
    tell_place(&why);
    tell_batch(&why);
    tell_limit(&why);
    tell_breaches(&why);
    tell_notes(&why);
    tell_stays(&why);
    JsonArray *jobs = tell_jobs(&why);
    tell_outlook(&why);
    json_array_unref(why.numbers);
    JsonObject *object = json_object_new();
    api_set_units(object, service->garden);
    api_set_text(object, "batch", why.batch->name);
    api_take_text(object, "date", local_day_format(why.day));
    api_take_text(object, "when", api_day_long(why.day));
    json_object_set_array_member(object, "steps", why.steps);
    json_object_set_array_member(object, "jobs", jobs);
    return api_reply(object);
}

void api_add_why(Service *service, Control *control)
{
    control_add(control, "GET", "/v1/why/{batch}", get_why, service);
}
