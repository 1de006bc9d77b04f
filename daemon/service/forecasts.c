/* SPDX-License-Identifier: MIT */
#include "service/forecasts.h"

#include <math.h>

#include "base/error.h"
#include "base/local-time.h"
#include "base/log.h"
#include "climate/air.h"
#include "climate/sun.h"
#include "store/store-garden-events.h"
#include "store/store-weather.h"
#include "weather/normals.h"
#include "weather/source.h"
#include "weather/warning.h"

#define HOUR_S 3600
#define DAY_S 86400
#define PAST_KEPT_S (32 * DAY_S) /* the ground remembers a month */
#define OLD_S DAY_S
#define MISSING_S (3 * DAY_S)

typedef struct SiteForecasts {
    Service *service; /* (unowned) */
    int site;
    WeatherSource *source; /* (owned) */
    GCancellable *cancel;  /* (owned) */
    GPtrArray *
        shown; /* (owned) (element-type Forecast) past hours first, then what is in use, by issue */
    GPtrArray *due; /* (owned) (element-type Forecast) issued later than now, by issue */
    char *problem;  /* (owned) (nullable) */
    int64_t fetched_utc;
} SiteForecasts;

struct Forecasts {
    Service *service; /* (unowned) */
    SiteForecasts *sites;
    int n;
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
    Forecast *record = forecast_new(site, "record", from_utc, now_utc);
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
 * What the store remembers of a site: the newest forecast, and the hours that have passed, each as
 * the newest forecast has it that tells of it, just as they are told while the service runs.
 */
static gboolean load_known(SiteForecasts *f, GError **error)
{
    Service *s = f->service;
    const char *name = s->garden->sites[f->site].name;
    int64_t now_utc = clock_now(s->clk), at_utc = now_utc;
    g_autoptr(Forecast) record = record_new(name, now_utc), kept = NULL;
    while (at_utc >= now_utc - PAST_KEPT_S - (int64_t)SERVICE_HORIZON_D * DAY_S) {
        g_autoptr(StoreForecast) next = NULL;
        if (!store_load_forecast(s->store, name, at_utc, &next, error))
            return FALSE;
        if (next == NULL)
            break;
        at_utc = next->issued_utc - 1;
        record_take(record, next->hours);
        if (kept == NULL) {
            kept = forecast_new(name, next->source, next->issued_utc, next->fetched_utc);
            g_array_append_vals(kept->hours, next->hours->data, next->hours->len);
        }
    }
    if (kept != NULL) {
        record->issued_utc = MIN(record->issued_utc, kept->issued_utc - 1);
        g_ptr_array_add(f->shown, g_steal_pointer(&record));
        g_ptr_array_add(f->shown, g_steal_pointer(&kept));
    }
    return TRUE;
}

static void source_changed(WeatherSource *source, gpointer data);

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
        f->cancel = g_cancellable_new();
        f->source = weather_source_new(service->garden->sites[i].weather, service->garden,
                                       service->clk, error);
        if (f->source == NULL || !load_known(f, error)) {
            forecasts_free(self);
            return NULL;
        }
        g_autoptr(GError) unwatched = NULL;
        if (!weather_source_set_changed(f->source, source_changed, f, &unwatched))
            log_warning("weather", service->garden->sites[i].name,
                        "cannot watch the forecast: %s, ignoring", unwatched->message);
    }
    return self;
}

void forecasts_free(Forecasts *self)
{
    if (self == NULL)
        return;
    for (int i = 0; i < self->n; i++) {
        SiteForecasts *f = &self->sites[i];
        if (f->cancel != NULL)
            g_cancellable_cancel(f->cancel);
        g_clear_object(&f->cancel);
        weather_source_free(f->source);
        g_clear_pointer(&f->shown, g_ptr_array_unref);
        g_clear_pointer(&f->due, g_ptr_array_unref);
        g_free(f->problem);
    }
    g_free(self->sites);
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

void forecasts_take(Forecasts *self, int site, const GPtrArray *given)
{
    SiteForecasts *f = &self->sites[site];
    Service *s = self->service;
    const Site *at = &s->garden->sites[site];
    for (guint i = 0; i < given->len; i++) {
        const Forecast *one = g_ptr_array_index(given, i);
        gboolean older =
            f->shown->len > 0 &&
            one->issued_utc <
                ((Forecast *)g_ptr_array_index(f->shown, f->shown->len - 1))->issued_utc;
        if (older || is_known(f, one))
            continue;
        g_autoptr(Forecast) mine = forecast_copy(one);
        weather_complete(mine, at, s->zones[site]);
        if (mine->hours->len == 0)
            continue;
        g_ptr_array_add(f->due, g_steal_pointer(&mine));
    }
    g_ptr_array_sort(f->due, by_issue);
    f->fetched_utc = clock_now(s->clk);
    g_clear_pointer(&f->problem, g_free);
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
            if (!store_put_forecast(s->store, next->site, next->source, next->issued_utc,
                                    next->fetched_utc,
                                    (const WeatherHour *)(gconstpointer)next->hours->data,
                                    (int)next->hours->len, error))
                return FALSE;
            fold(f, now_utc);
        }
    }
    return TRUE;
}

static const Forecast *in_use(const SiteForecasts *f)
{
    return f->shown->len > 0 ? g_ptr_array_index(f->shown, f->shown->len - 1) : NULL;
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

const char *forecasts_problem(const Forecasts *self, int site, int64_t *ret_fetched_utc)
{
    if (ret_fetched_utc != NULL)
        *ret_fetched_utc = self->sites[site].fetched_utc;
    return self->sites[site].problem;
}

static void fetched(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) given = weather_source_fetch_finish(result, NULL, &error);
    if (g_error_matches(error, G_IO_ERROR, G_IO_ERROR_CANCELLED))
        return; /* `data` may be gone */
    SiteForecasts *f = data;
    Service *s = f->service;
    if (given == NULL) {
        if (g_strcmp0(f->problem, error->message) != 0) /* once, not at every try */
            log_warning("weather", s->garden->sites[f->site].name,
                        "no new forecast: %s; planning goes on with the last", error->message);
        g_free(f->problem);
        f->problem = g_strdup(error->message);
        return;
    }
    forecasts_take(s->forecasts, f->site, given);
    service_ask_plan(s, "forecast");
}

static void fetch_site(SiteForecasts *f)
{
    weather_source_fetch(f->source, &f->service->garden->sites[f->site], NULL, f->cancel, fetched,
                         f);
}

static void source_changed(WeatherSource *source, gpointer data)
{
    (void)source;
    fetch_site(data);
}

void forecasts_fetch(Forecasts *self)
{
    for (int i = 0; i < self->n; i++)
        fetch_site(&self->sites[i]);
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
    }
    *ret = weather;
    return TRUE;
}

void site_weather_free(SiteWeather *weather, int n_sites)
{
    for (int i = 0; weather != NULL && i < n_sites; i++) {
        g_clear_pointer(&weather[i].steps, g_array_unref);
        g_clear_pointer(&weather[i].days, g_array_unref);
        g_free(weather[i].note);
    }
    g_free(weather);
}
