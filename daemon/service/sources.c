/* SPDX-License-Identifier: MIT */
#include "service/sources.h"

#include <string.h>

#include "base/log.h"
#include "store/store-weather.h"
#include "weather/source.h"

typedef struct Link {
    Sources *sources;      /* (unowned) */
    WeatherSource *source; /* (owned) */
    char *title;           /* (owned) */
    WeatherMemory *memory; /* (owned) of a file it lives as long as this */
    bool service, always;  /* always: planned on normals, nothing better is wanted */
    bool asking, again;    /* again: it changed while it was asked */
    int64_t newest_utc;    /* issue of the newest forecast that it gave; 0 none */
} Link;

struct Sources {
    Service *service; /* (unowned) */
    int site;
    Site as_read; /* what the requests are made from */
    WeatherService services[WEATHER_SERVICES];
    Link *links;
    int n;
    char *in_use; /* (owned) (nullable) title of the forecast in use */
    GCancellable *cancel;
    SourcesGiven given;
    gpointer data;
    guint alarm; /* 0 none */
};

static const char *site_name(const Sources *self)
{
    return self->as_read.name;
}

static const Site *site_of(const Sources *self)
{
    return &self->service->garden->sites[self->site];
}

/* ---- what is remembered over restarts ---- */

static void keep(const Link *link)
{
    const WeatherMemory *m = link->memory;
    const StoreService kept = {.what = m->what,
                               .asked_utc = m->asked_utc,
                               .next_utc = m->next_utc,
                               .good_utc = m->good_utc,
                               .failures = m->failures,
                               .problem = m->problem,
                               .notice = m->notice,
                               .last_modified = m->last_modified};
    g_autoptr(GError) error = NULL;
    if (link->service && !store_put_service(link->sources->service->store, site_name(link->sources),
                                            link->title, &kept, &error))
        log_warning("weather", site_name(link->sources),
                    "when %s was asked is not kept: %s, ignoring", link->title, error->message);
}

static gboolean load_memory(Link *link, GError **error)
{
    g_autoptr(StoreService) kept = NULL;
    link->memory = weather_memory_new();
    if (!link->service)
        return TRUE;
    if (!store_load_service(link->sources->service->store, site_name(link->sources), link->title,
                            &kept, error))
        return FALSE;
    if (kept == NULL)
        return TRUE;
    link->memory->what = g_steal_pointer(&kept->what);
    link->memory->asked_utc = kept->asked_utc;
    link->memory->next_utc = kept->next_utc;
    link->memory->good_utc = kept->good_utc;
    link->memory->failures = kept->failures;
    link->memory->problem = g_steal_pointer(&kept->problem);
    link->memory->notice = g_steal_pointer(&kept->notice);
    link->memory->last_modified = g_steal_pointer(&kept->last_modified);
    return TRUE;
}

/* ---- good or not ---- */

/* When it stops being good, if nothing new comes; 0: it is not, or never will. */
static int64_t good_until_utc(const Link *link)
{
    if (link->newest_utc == 0)
        return 0;
    return link->newest_utc + (link->memory->failures > 0 ? SOURCE_FAILING_S : SOURCE_GOOD_S);
}

static bool is_good(const Link *link)
{
    return link->always || clock_now(link->sources->service->clk) < good_until_utc(link);
}

int sources_best(const Sources *self)
{
    for (int i = 0; i < self->n; i++) {
        if (is_good(&self->links[i]))
            return i;
    }
    return -1;
}

int sources_n(const Sources *self)
{
    return self->n;
}

SourceState sources_state(const Sources *self, int i)
{
    const Link *link = &self->links[i];
    return (SourceState){.title = link->title,
                         .credit = weather_credit(link->title),
                         .service = link->service,
                         .good = is_good(link),
                         .memory = link->memory};
}

int sources_rank(const Sources *self, const char *title)
{
    int i = 0;
    while (i < self->n && strcmp(self->links[i].title, title) != 0)
        i++;
    return i;
}

void sources_held(Sources *self, const char *title, int64_t issued_utc, bool in_use)
{
    int i = sources_rank(self, title);
    if (i < self->n)
        self->links[i].newest_utc = MAX(self->links[i].newest_utc, issued_utc);
    if (in_use && g_strcmp0(self->in_use, title) != 0) {
        g_free(self->in_use);
        self->in_use = g_strdup(title);
    }
}

/* ---- asking, one after the other ---- */

static void walk(Sources *self, int from, bool files);

static void alarm_came(gpointer data)
{
    Sources *self = data;
    self->alarm = 0;
    walk(self, 0, false);
}

/* When a source may be asked for this site. Files tell by themselves when they changed. */
static int64_t due_utc(const Link *link)
{
    g_autofree char *what = weather_source_what(link->source, site_of(link->sources));
    return weather_memory_next_utc(link->memory, what, clock_now(link->sources->service->clk));
}

/* The next walk: a service may be asked again, or the source in use turns bad. */
static void set_alarm(Sources *self)
{
    int64_t next_utc = 0, now_utc = clock_now(self->service->clk);
    for (int i = 0; i < self->n; i++) {
        const Link *link = &self->links[i];
        if (link->asking)
            break; /* its end goes on */
        int64_t utc = link->service ? MAX(due_utc(link), now_utc + 1) : 0;
        if (utc != 0)
            next_utc = next_utc == 0 ? utc : MIN(next_utc, utc);
        if (!is_good(link))
            continue;
        utc = i + 1 < self->n ? good_until_utc(link) : 0;
        if (utc > now_utc)
            next_utc = next_utc == 0 ? utc : MIN(next_utc, utc);
        break;
    }
    clock_remove_alarm(self->service->clk, self->alarm);
    self->alarm =
        next_utc != 0 ? clock_add_alarm(self->service->clk, next_utc, alarm_came, self) : 0;
}

/* The newest that is not of the future: tables may hold those too. */
static int64_t newest_utc(const GPtrArray *forecasts, int64_t now_utc)
{
    int64_t utc = 0;
    for (guint i = 0; i < forecasts->len; i++) {
        const Forecast *forecast = g_ptr_array_index(forecasts, i);
        if (forecast->issued_utc <= now_utc)
            utc = MAX(utc, forecast->issued_utc);
    }
    return utc;
}

static void tell(const Link *link, const char *problem_before)
{
    const WeatherMemory *memory = link->memory;
    if (memory->problem != NULL && g_strcmp0(problem_before, memory->problem) != 0)
        log_warning("weather", site_name(link->sources),
                    "no new forecast: %s; planning goes on with the last", memory->problem);
    else if (memory->problem == NULL && problem_before != NULL)
        log_info("weather", site_name(link->sources), "%s gives forecasts again", link->title);
}

static void ended(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    g_autoptr(GError) error = NULL;
    g_autoptr(WeatherMemory) memory = NULL;
    g_autoptr(GPtrArray) given = weather_source_fetch_finish(result, &memory, &error);
    if (g_error_matches(error, G_IO_ERROR, G_IO_ERROR_CANCELLED))
        return; /* `data` may be gone */
    Link *link = data;
    Sources *self = link->sources;
    const int64_t now_utc = clock_now(self->service->clk);
    WeatherMemory *before = link->memory;
    link->asking = false;
    link->memory = g_steal_pointer(&memory);
    weather_memory_end(link->memory, error, now_utc);
    keep(link);
    tell(link, before->problem);
    weather_memory_free(before);
    if (given != NULL) {
        /* "Nothing new" of a service means that its last forecast still holds. */
        link->newest_utc = MAX(link->newest_utc, newest_utc(given, now_utc));
        self->given(given, self->data);
    }
    const bool again = link->again;
    link->again = false;
    walk(self, (int)(link - self->links) + (again ? 0 : 1), again);
}

static void ask(Link *link)
{
    Sources *self = link->sources;
    g_autofree char *what = weather_source_what(link->source, site_of(self));
    link->asking = true;
    weather_memory_begin(link->memory, what, clock_now(self->service->clk));
    /* It must not answer "nothing new" when what it gave is not at hand any more. */
    if (g_strcmp0(self->in_use, link->title) != 0)
        g_clear_pointer(&link->memory->last_modified, g_free);
    keep(link);
    weather_source_fetch(link->source, site_of(self), link->memory, self->cancel, ended, link);
}

/* From source FROM on, to the first good one; waits for each that is asked. */
static void walk(Sources *self, int from, bool files)
{
    const int64_t now_utc = clock_now(self->service->clk);
    const int best = sources_best(self);
    for (int i = from; i < self->n && (best < 0 || best >= i); i++) {
        Link *link = &self->links[i];
        if (link->asking) {
            link->again = link->again || (files && !link->service);
            break;
        }
        /* A file is read again where it is to stand in: what it held was passed over so far. */
        const bool stands_in = i > 0 && g_strcmp0(self->in_use, link->title) != 0;
        if (link->service ? due_utc(link) <= now_utc
                          : files || stands_in || link->newest_utc == 0) {
            ask(link);
            break;
        }
    }
    set_alarm(self);
}

void sources_ask(Sources *self)
{
    walk(self, 0, true);
}

/* ---- life ---- */

static void changed(WeatherSource *source, gpointer data)
{
    (void)source;
    Link *link = data;
    link->again = link->asking;
    if (!link->asking)
        ask(link);
}

static gboolean open_link(Sources *self, Link *link, const char *address, GError **error)
{
    Service *s = self->service;
    g_autoptr(GError) unwatched = NULL;
    link->sources = self;
    link->source = weather_source_new(address, s->garden, s->clk, error);
    if (link->source == NULL)
        return FALSE;
    const char *title = weather_source_title(link->source), *rest = strchr(address, ':');
    link->service = title != NULL;
    link->always = strcmp(address, "none") == 0;
    link->title = g_strdup(title != NULL ? title : rest != NULL ? rest + 1 : address);
    if (!load_memory(link, error))
        return FALSE;
    if (!weather_source_set_changed(link->source, changed, link, &unwatched))
        log_warning("weather", site_name(self), "cannot watch the forecast: %s, ignoring",
                    unwatched->message);
    return TRUE;
}

Sources *sources_new(Service *service, int site, SourcesGiven given, gpointer data, GError **error)
{
    Sources *self = g_new0(Sources, 1);
    self->service = service;
    self->site = site;
    self->as_read = service->garden->sites[site];
    memcpy(self->services, service->garden->services, sizeof self->services);
    self->given = given;
    self->data = data;
    self->cancel = g_cancellable_new();
    g_auto(GStrv) addresses = g_strsplit(self->as_read.weather, "; ", -1);
    self->links = g_new0(Link, g_strv_length(addresses) + 1);
    for (int i = 0; addresses[i] != NULL; i++) {
        self->n++;
        if (!open_link(self, &self->links[i], addresses[i], error)) {
            sources_free(self);
            return NULL;
        }
    }
    return self;
}

void sources_free(Sources *self)
{
    if (self == NULL)
        return;
    clock_remove_alarm(self->service->clk, self->alarm);
    g_cancellable_cancel(self->cancel);
    g_object_unref(self->cancel);
    for (int i = 0; i < self->n; i++) {
        weather_source_free(self->links[i].source);
        weather_memory_free(self->links[i].memory);
        g_free(self->links[i].title);
    }
    g_free(self->links);
    g_free(self->in_use);
    g_free(self);
}

bool sources_are_same(const Sources *one, const Sources *other)
{
    const Site *a = &one->as_read, *b = &other->as_read;
    bool services = true;
    for (int i = 0; i < WEATHER_SERVICES; i++) {
        const WeatherService *x = &one->services[i], *y = &other->services[i];
        services = services && strcmp(x->url, y->url) == 0 && strcmp(x->key, y->key) == 0 &&
                   strcmp(x->contact, y->contact) == 0;
    }
    return services && strcmp(a->name, b->name) == 0 && strcmp(a->weather, b->weather) == 0 &&
           a->latitude == b->latitude && a->longitude == b->longitude &&
           a->altitude_m == b->altitude_m && a->altitude_estimated == b->altitude_estimated;
}

void sources_move(Sources *self, int site, gpointer data)
{
    self->site = site;
    self->data = data;
}
