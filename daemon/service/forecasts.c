/* SPDX-License-Identifier: MIT */
#include "service/forecasts.h"

#include <limits.h>
#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "base/log.h"
#include "climate/air.h"
#include "climate/sun.h"
#include "service/sources.h"
#include "service/this-night.h"
#include "store/store-garden-events.h"
#include "store/store-weather.h"
#include "weather/fields.h"
#include "weather/normals.h"
#include "weather/warning.h"

#define HOUR_S 3600
#define DAY_S 86400
#define PAST_KEPT_S (32 * DAY_S) /* the ground remembers a month */
#define OLD_S DAY_S
#define MISSING_S (3 * DAY_S)
#define RECORD "record" /* the source, as it were, of hours that have passed */

typedef struct SiteForecasts {
    Service *service; /* (unowned) */
    int site;
    Sources *sources; /* (owned) */
    GPtrArray *
        shown; /* (owned) (element-type Forecast) past hours first, then what is in use, by issue */
    GPtrArray *due; /* (owned) (element-type Forecast) issued later than now, by issue */
} SiteForecasts;

struct Forecasts {
    Service *service; /* (unowned) */
    SiteForecasts *sites;
    int n;
    Learned *learned; /* (owned) */
};

static gint by_issue(gconstpointer a, gconstpointer b)
{
    const Forecast *x = *(const Forecast *const *)a, *y = *(const Forecast *const *)b;
    return x->issued_utc < y->issued_utc ? -1 : x->issued_utc > y->issued_utc;
}

/* ---- the hours that have passed ---- */

/* Every hour of the month before `now_utc`, none known: as one forecast, in which no hour may be
 * left out. */
static Forecast *record_new(const char *site, int64_t now_utc)
{
    int64_t from_utc = (now_utc - PAST_KEPT_S) / HOUR_S * HOUR_S;
    Forecast *record = forecast_new(site, RECORD, from_utc, now_utc);
    for (int64_t utc = from_utc; utc <= now_utc; utc += HOUR_S) {
        WeatherHour hour = weather_hour_missing(utc);
        g_array_append_val(record->hours, hour);
    }
    return record;
}

/* Takes the hours that the record does not know yet. */
static void record_take(Forecast *record, const GArray *hours)
{
    int64_t from_utc = g_array_index(record->hours, WeatherHour, 0).time_utc;
    for (guint i = 0; i < hours->len; i++) {
        const WeatherHour *hour = &g_array_index(hours, WeatherHour, i);
        int64_t slot = (hour->time_utc - from_utc) / HOUR_S;
        if (hour->time_utc < from_utc || slot >= record->hours->len || isnan(hour->temperature_c))
            continue;
        WeatherHour *known = &g_array_index(record->hours, WeatherHour, slot);
        if (isnan(known->temperature_c))
            *known = *hour;
    }
}

/*
 * What the store remembers of a site: the newest forecast, and one of a source further in front
 * that is not old; and the hours that have passed, each as the newest forecast has it that tells of
 * it, just as they are told while the service runs.
 */
static gboolean load_known(SiteForecasts *f, GError **error)
{
    Service *s = f->service;
    const char *name = s->garden->sites[f->site].name;
    int64_t now_utc = clock_now(s->clk), at_utc = now_utc;
    int best = INT_MAX;
    g_autoptr(Forecast) record = record_new(name, now_utc);
    while (at_utc >= now_utc - PAST_KEPT_S - (int64_t)SERVICE_HORIZON_D * DAY_S) {
        g_autoptr(StoreForecast) next = NULL;
        if (!store_load_forecast(s->store, name, at_utc, &next, error))
            return FALSE;
        if (next == NULL)
            break;
        at_utc = next->issued_utc - 1;
        record_take(record, next->hours);
        int rank = sources_rank(f->sources, next->source);
        int64_t issued_utc = MAX(next->issued_utc, next->confirmed_utc);
        if (best != INT_MAX && (rank >= best || now_utc - issued_utc > OLD_S))
            continue;
        Forecast *kept = forecast_new(name, next->source, issued_utc, next->fetched_utc);
        g_array_append_vals(kept->hours, next->hours->data, next->hours->len);
        g_ptr_array_add(f->shown, kept);
        sources_held(f->sources, kept->source, issued_utc, best == INT_MAX);
        record->issued_utc = MIN(record->issued_utc, issued_utc - 1);
        best = rank;
    }
    g_ptr_array_sort(f->shown, by_issue);
    if (f->shown->len > 0)
        g_ptr_array_insert(f->shown, 0, g_steal_pointer(&record));
    return TRUE;
}

static void given(const GPtrArray *forecasts, gpointer data);

Forecasts *forecasts_new(Service *service, GError **error)
{
    Forecasts *self = g_new0(Forecasts, 1);
    self->service = service;
    self->n = service->garden->n_sites;
    self->sites = g_new0(SiteForecasts, self->n);
    for (int i = 0; i < self->n; i++) {
        SiteForecasts *f = &self->sites[i];
        f->service = service;
        f->site = i;
        f->shown = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
        f->due = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
        f->sources = sources_new(service, i, given, f, error);
        if (f->sources == NULL || !load_known(f, error)) {
            forecasts_free(self);
            return NULL;
        }
    }
    if (!forecasts_learn(self, error)) {
        forecasts_free(self);
        return NULL;
    }
    return self;
}

gboolean forecasts_learn(Forecasts *self, GError **error)
{
    Learned *learned = learned_new(self->service, error);
    if (learned == NULL)
        return FALSE;
    learned_free(self->learned);
    self->learned = learned;
    return TRUE;
}

const Learned *forecasts_learned(const Forecasts *self)
{
    return self->learned;
}

void forecasts_free(Forecasts *self)
{
    if (self == NULL)
        return;
    for (int i = 0; i < self->n; i++) {
        SiteForecasts *f = &self->sites[i];
        sources_free(f->sources);
        g_clear_pointer(&f->shown, g_ptr_array_unref);
        g_clear_pointer(&f->due, g_ptr_array_unref);
    }
    g_free(self->sites);
    learned_free(self->learned);
    g_free(self);
}

/* Older forecasts become one record of the hours that have passed; the newest two are kept whole.
 */
static void fold(SiteForecasts *f, int64_t now_utc)
{
    if (f->shown->len <= 3)
        return;
    Forecast *record = record_new(((Forecast *)g_ptr_array_index(f->shown, 0))->site, now_utc);
    guint n = f->shown->len - 2;
    for (guint i = n; i-- > 0;)
        record_take(record, ((Forecast *)g_ptr_array_index(f->shown, i))->hours);
    record->issued_utc =
        MIN(record->issued_utc, ((Forecast *)g_ptr_array_index(f->shown, n))->issued_utc - 1);
    g_ptr_array_remove_range(f->shown, 0, n);
    g_ptr_array_insert(f->shown, 0, record);
}

static gboolean is_known(const SiteForecasts *f, const Forecast *forecast)
{
    for (guint i = 0; i < f->shown->len + f->due->len; i++) {
        const Forecast *old = i < f->shown->len ? g_ptr_array_index(f->shown, i)
                                                : g_ptr_array_index(f->due, i - f->shown->len);
        if (g_strcmp0(old->source, forecast->source) == 0 &&
            old->issued_utc == forecast->issued_utc)
            return TRUE;
    }
    return FALSE;
}

static const Forecast *in_use(const SiteForecasts *f)
{
    return f->shown->len > 0 ? g_ptr_array_index(f->shown, f->shown->len - 1) : NULL;
}

static int rank_of(const SiteForecasts *f, const Forecast *forecast)
{
    return sources_rank(f->sources, forecast->source);
}

/*
 * Whether one as good or better is held that was issued later. A source that stands further behind
 * gives way, unless what comes is old.
 */
static gboolean is_passed(const SiteForecasts *f, const Forecast *one)
{
    gboolean is_old = clock_now(f->service->clk) - one->issued_utc > OLD_S;
    for (guint i = 0; i < f->shown->len; i++) {
        const Forecast *held = g_ptr_array_index(f->shown, i);
        if (held->issued_utc > one->issued_utc && (is_old || rank_of(f, held) <= rank_of(f, one)))
            return TRUE;
    }
    return FALSE;
}

/* From the hour of now on. */
static gboolean are_same_hours(const GArray *a, const GArray *b, int64_t now_utc)
{
    guint i = 0, k = 0;
    while (i < a->len && g_array_index(a, WeatherHour, i).time_utc < now_utc - HOUR_S)
        i++;
    while (k < b->len && g_array_index(b, WeatherHour, k).time_utc < now_utc - HOUR_S)
        k++;
    if (a->len - i != b->len - k)
        return FALSE;
    for (; i < a->len; i++, k++) {
        WeatherHour x = g_array_index(a, WeatherHour, i), y = g_array_index(b, WeatherHour, k);
        if (x.time_utc != y.time_utc)
            return FALSE;
        for (int n = 0; n < WEATHER_FIELDS; n++) {
            double p = *weather_field(&x, (WeatherFieldKind)n);
            double q = *weather_field(&y, (WeatherFieldKind)n);
            if (p != q && !(isnan(p) && isnan(q)))
                return FALSE;
        }
    }
    return TRUE;
}

/*
 * The same once more, only issued later: what is in use becomes younger by it, and that is all.
 * Nothing is planned anew, and the store needs no second copy.
 */
static gboolean confirm(SiteForecasts *f, Forecast *one)
{
    Service *s = f->service;
    g_autoptr(GError) error = NULL;
    const Forecast *held = in_use(f);
    int64_t now_utc = clock_now(s->clk);
    if (held == NULL || now_utc - held->issued_utc > OLD_S || f->due->len > 0 ||
        one->issued_utc > now_utc || g_strcmp0(held->source, one->source) != 0 ||
        !are_same_hours(held->hours, one->hours, now_utc))
        return FALSE;
    if (!store_confirm_forecast(s->store, one->site, one->source, one->issued_utc, &error))
        log_warning("weather", one->site, "that a forecast still holds is not kept: %s, ignoring",
                    error->message);
    g_ptr_array_remove_index(f->shown, f->shown->len - 1);
    g_ptr_array_add(f->shown, forecast_copy(one));
    return TRUE;
}

/* Whether there is anything new in it. */
static gboolean take(SiteForecasts *f, const GPtrArray *forecasts)
{
    Service *s = f->service;
    const Site *at = &s->garden->sites[f->site];
    guint before = f->due->len;
    for (guint i = 0; i < forecasts->len; i++) {
        const Forecast *one = g_ptr_array_index(forecasts, i);
        if (is_passed(f, one) || is_known(f, one))
            continue;
        g_autoptr(Forecast) mine = forecast_copy(one);
        weather_complete(mine, at, s->zones[f->site]);
        if (mine->hours->len > 0 && !confirm(f, mine))
            g_ptr_array_add(f->due, g_steal_pointer(&mine));
    }
    g_ptr_array_sort(f->due, by_issue);
    return f->due->len > before;
}

void forecasts_take(Forecasts *self, int site, const GPtrArray *given)
{
    (void)take(&self->sites[site], given);
}

/* The newest one of the first source that is good; NULL none is held. */
static const Forecast *preferred(const SiteForecasts *f)
{
    int best = sources_best(f->sources);
    for (guint i = f->shown->len; best >= 0 && i-- > 0;) {
        const Forecast *held = g_ptr_array_index(f->shown, i);
        if (rank_of(f, held) == best)
            return held;
    }
    return NULL;
}

/* Whether a source that stands further behind issued later than the one to be used. */
static gboolean is_behind(const SiteForecasts *f, const Forecast *held, const Forecast *best)
{
    return rank_of(f, held) > rank_of(f, best) && held->issued_utc >= best->issued_utc;
}

static gboolean is_settled(const SiteForecasts *f)
{
    const Forecast *best = preferred(f), *held = in_use(f);
    return best == NULL || !is_behind(f, held, best);
}

/* A source that recovered is used again: of what stood in for it, only hours that passed stay. */
static void settle(SiteForecasts *f, int64_t now_utc)
{
    const Forecast *best = preferred(f);
    if (best != NULL && !is_settled(f)) {
        Forecast *record = record_new(best->site, now_utc);
        int64_t before_utc = best->issued_utc;
        for (guint i = f->shown->len; i-- > 0;) {
            Forecast *held = g_ptr_array_index(f->shown, i);
            if (strcmp(held->source, RECORD) == 0 || is_behind(f, held, best)) {
                record_take(record, held->hours);
                g_ptr_array_remove_index(f->shown, i);
            } else {
                before_utc = MIN(before_utc, held->issued_utc);
            }
        }
        record->issued_utc = MIN(record->issued_utc, before_utc - 1);
        g_ptr_array_insert(f->shown, 0, record);
    }
    if (in_use(f) != NULL)
        sources_held(f->sources, in_use(f)->source, in_use(f)->issued_utc, true);
}

gboolean forecasts_are_due(const Forecasts *self)
{
    int64_t now_utc = clock_now(self->service->clk);
    for (int i = 0; i < self->n; i++) {
        const GPtrArray *due = self->sites[i].due;
        if (due->len > 0 && ((Forecast *)g_ptr_array_index(due, 0))->issued_utc <= now_utc)
            return TRUE;
    }
    return FALSE;
}

gboolean forecasts_show_due(Forecasts *self, GError **error)
{
    Service *s = self->service;
    int64_t now_utc = clock_now(s->clk);
    for (int i = 0; i < self->n; i++) {
        SiteForecasts *f = &self->sites[i];
        /* Started before the clock was set, nothing was known of the time. */
        if (f->shown->len == 0 && !load_known(f, error))
            return FALSE;
        while (f->due->len > 0 &&
               ((Forecast *)g_ptr_array_index(f->due, 0))->issued_utc <= now_utc) {
            Forecast *next = g_ptr_array_steal_index(f->due, 0);
            g_ptr_array_add(f->shown, next);
            g_ptr_array_sort(f->shown, by_issue);
            if (!store_put_forecast(s->store, next->site, next->source, next->issued_utc,
                                    next->fetched_utc,
                                    (const WeatherHour *)(gconstpointer)next->hours->data,
                                    (int)next->hours->len, error))
                return FALSE;
        }
        settle(f, now_utc);
        fold(f, now_utc);
    }
    return TRUE;
}

static void sooner(int64_t utc, int64_t now_utc, int64_t *ret_next_utc)
{
    if (utc > now_utc && (*ret_next_utc == 0 || utc < *ret_next_utc))
        *ret_next_utc = utc;
}

int64_t forecasts_next_utc(const Forecasts *self)
{
    int64_t next_utc = 0, now_utc = clock_now(self->service->clk);
    for (int i = 0; i < self->n; i++) {
        const SiteForecasts *f = &self->sites[i];
        if (f->due->len > 0)
            sooner(((Forecast *)g_ptr_array_index(f->due, 0))->issued_utc, now_utc, &next_utc);
        if (in_use(f) != NULL) {
            sooner(in_use(f)->issued_utc + OLD_S + 1, now_utc, &next_utc);
            sooner(in_use(f)->issued_utc + MISSING_S + 1, now_utc, &next_utc);
        }
    }
    return next_utc;
}

const Forecast *forecasts_in_use(const Forecasts *self, int site)
{
    return in_use(&self->sites[site]);
}

const Sources *forecasts_sources(const Forecasts *self, int site)
{
    return self->sites[site].sources;
}

const char *forecasts_problem(const Forecasts *self, int site, int64_t *ret_fetched_utc)
{
    const SiteForecasts *f = &self->sites[site];
    const char *problem = NULL;
    int64_t fetched_utc = 0;
    for (int i = 0; i < sources_n(f->sources); i++) {
        SourceState state = sources_state(f->sources, i);
        if (problem == NULL)
            problem = state.memory->problem;
        if (in_use(f) != NULL && strcmp(in_use(f)->source, state.title) == 0)
            fetched_utc = state.memory->good_utc;
    }
    if (ret_fetched_utc != NULL)
        *ret_fetched_utc = fetched_utc;
    return problem;
}

char *forecasts_credits(const Forecasts *self)
{
    g_autoptr(GPtrArray) credits = g_ptr_array_new();
    for (int i = 0; i < self->n; i++) {
        for (int k = 0; k < sources_n(self->sites[i].sources); k++) {
            const char *credit = sources_state(self->sites[i].sources, k).credit;
            if (credit != NULL && !g_ptr_array_find(credits, credit, NULL))
                g_ptr_array_add(credits, (gpointer)credit);
        }
    }
    g_ptr_array_add(credits, NULL);
    return credits->len > 1 ? g_strjoinv(". ", (char **)credits->pdata) : NULL;
}

static void given(const GPtrArray *forecasts, gpointer data)
{
    SiteForecasts *f = data;
    if (take(f, forecasts) || !is_settled(f))
        service_ask_plan(f->service, "forecast");
}

void forecasts_fetch(Forecasts *self)
{
    for (int i = 0; i < self->n; i++)
        sources_ask(self->sites[i].sources);
}

void forecasts_go_on(Forecasts *self, Forecasts *former)
{
    for (int i = 0; i < self->n; i++) {
        for (int k = 0; former != NULL && k < former->n; k++) {
            SiteForecasts *f = &self->sites[i], *old = &former->sites[k];
            if (!sources_are_same(f->sources, old->sources))
                continue;
            Sources *sources = old->sources;
            old->sources = f->sources;
            f->sources = sources;
            sources_move(f->sources, i, f);
            sources_move(old->sources, k, old);
        }
    }
}

/* ---- half-hours ---- */

static SolarDay solar_day(const Site *site, GTimeZone *zone, int day)
{
    int64_t midnight_utc = local_midnight(zone, day);
    SolarDay out = {.day = day, .midnight_utc = midnight_utc};
    int64_t noon_utc = sun_noon_utc(midnight_utc + DAY_S / 2, site->longitude), dawn_utc;
    (void)sun_rise_set(noon_utc, site->latitude, site->longitude, SUN_HORIZON_DEG, &out.sunrise_utc,
                       &out.sunset_utc);
    if (!sun_rise_set(noon_utc, site->latitude, site->longitude, SUN_CIVIL_DEG, &dawn_utc,
                      &out.dusk_utc))
        out.dusk_utc = out.sunset_utc;
    return out;
}

static GArray *solar_days(const Site *site, GTimeZone *zone, int64_t from_utc, int64_t to_utc)
{
    GArray *days = g_array_new(FALSE, FALSE, sizeof(SolarDay));
    for (int day = local_day(zone, from_utc) - 1; day <= local_day(zone, to_utc) + 1; day++) {
        SolarDay one = solar_day(site, zone, day);
        g_array_append_val(days, one);
    }
    return days;
}

static const SolarDay *find_day(const GArray *days, int day)
{
    for (guint i = 0; i < days->len; i++) {
        if (g_array_index(days, SolarDay, i).day == day)
            return &g_array_index(days, SolarDay, i);
    }
    return NULL;
}

static gboolean apply_warnings(Service *s, int site, WeatherSeries *series, const GArray *days,
                               GError **error)
{
    g_autoptr(GArray) warnings = NULL;
    int32_t from_day = local_day(s->zones[site], clock_now(s->clk)) - 1;
    if (!store_load_warnings(s->store, s->garden, from_day, &warnings, error))
        return FALSE;
    for (guint i = 0; i < warnings->len; i++) {
        const StoreWarning *w = &g_array_index(warnings, StoreWarning, i);
        const SolarDay *evening = find_day(days, w->night_day),
                       *morning = find_day(days, w->night_day + 1);
        if (w->site != site || evening == NULL || morning == NULL || evening->sunset_utc == 0 ||
            morning->sunrise_utc == 0)
            continue;
        WeatherWarning warning = {
            .night_day = w->night_day, .low_c = w->low_c, .heard_utc = w->heard_utc};
        g_strlcpy(warning.site, s->garden->sites[site].name, sizeof warning.site);
        (void)weather_apply_warning(series, &warning, evening->sunset_utc, morning->sunrise_utc);
    }
    return TRUE;
}

/* The ground remembers a month, which the series of the plan does not reach back to. */
static double deep_c(const SiteForecasts *f, const Site *site, int64_t now_utc)
{
    g_autoptr(Forecast) month = record_new(site->name, now_utc);
    for (guint i = f->shown->len; i-- > 0;)
        record_take(month, ((const Forecast *)g_ptr_array_index(f->shown, i))->hours);
    for (guint i = 0; i < month->hours->len; i++) {
        WeatherHour *hour = &g_array_index(month->hours, WeatherHour, i);
        if (isnan(hour->temperature_c))
            hour->temperature_c = weather_normals_mean_c(&site->normals, hour->time_utc);
    }
    const WeatherSeries series = {.hours = month->hours};
    return weather_deep_c(&series, site, now_utc);
}

static gboolean site_weather(SiteForecasts *f, int64_t from_utc, int64_t now_utc, SiteWeather *ret,
                             GError **error)
{
    Service *s = f->service;
    const Site *site = &s->garden->sites[f->site];
    int64_t to_utc = now_utc + (int64_t)SERVICE_HORIZON_D * DAY_S;
    g_autoptr(WeatherSeries) series =
        weather_series_new(site, f->shown, clock_now(s->clk), from_utc, to_utc + 3600);
    g_autoptr(GArray) days = solar_days(site, s->zones[f->site], from_utc, to_utc);
    if (!apply_warnings(s, f->site, series, days, error))
        return FALSE;
    gsize n = (gsize)((to_utc - from_utc) / STEP_S);
    g_autoptr(GArray) steps = g_array_sized_new(FALSE, TRUE, sizeof(OutdoorStep), (guint)n + 1);
    g_array_set_size(steps, (guint)n + 1);
    if (!air_outdoor_steps((const WeatherHour *)(gconstpointer)series->hours->data,
                           series->hours->len, from_utc, n, (OutdoorStep *)(gpointer)steps->data)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_FAILED,
                    "site %s: the weather series does not reach over the horizon", site->name);
        return FALSE;
    }
    *ret = (SiteWeather){.first_utc = from_utc,
                         .deep_c = deep_c(f, site, now_utc),
                         .quality = series->quality,
                         .issued_utc = series->issued_utc,
                         .valid_to_utc = series->valid_to_utc};
    if (series->quality != WEATHER_FRESH)
        ret->note = weather_quality_text(series, clock_now(s->clk), s->zones[f->site]);
    ret->steps = g_steal_pointer(&steps);
    ret->days = g_steal_pointer(&days);
    return TRUE;
}

gboolean forecasts_weather(Forecasts *self, int64_t from_utc, int64_t now_utc, SiteWeather **ret,
                           GError **error)
{
    SiteWeather *weather = g_new0(SiteWeather, self->n);
    for (int i = 0; i < self->n; i++) {
        if (!site_weather(&self->sites[i], from_utc, now_utc, &weather[i], error)) {
            site_weather_free(weather, self->n);
            return FALSE;
        }
        this_night_weather(self->service, self->learned, i, &weather[i]);
    }
    *ret = weather;
    return TRUE;
}
