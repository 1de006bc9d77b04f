/* SPDX-License-Identifier: MIT */
/*
 * MET Norway's Locationforecast 2.0 by its terms of service (api.met.no/doc/TermsOfService): it is
 * told who asks, is asked again only after Expires, with the Last-Modified of the reply held, to
 * the letter, and gets coordinates of few decimals.
 */
#include <math.h>

#include "base/error.h"
#include "weather/coordinate.h"
#include "weather/http.h"
#include "weather/met-norway-parse.h"
#include "weather/source-backend.h"

#define TITLE "MET Norway"
#define URL_USUAL "https://api.met.no/weatherapi/locationforecast/2.0/complete"

typedef struct MetNorway {
    char *url;        /* (owned) */
    char *user_agent; /* (owned) */
} MetNorway;

typedef struct Fetch {
    Site site;
    Clock *clk;            /* (unowned) the task's */
    WeatherMemory *memory; /* (unowned) likewise */
    bool conditional;      /* it was said what we have */
} Fetch;

static bool mn_open(const char *rest, const WeatherService *service, gpointer *ret_data,
                    const char **ret_wrong)
{
    if (rest[0] != '\0') {
        *ret_wrong = "nothing may follow; its address stands in [weather met-norway]";
        return false;
    }
    if (service->contact[0] == '\0') {
        *ret_wrong = "MET Norway answers only those who say who they are: put contact= with a "
                     "mail or web address of yours into [weather met-norway]";
        return false;
    }
    MetNorway *self = g_new0(MetNorway, 1);
    self->url = g_strdup(service->url[0] != '\0' ? service->url : URL_USUAL);
    self->user_agent = g_strconcat("thole/" PACKAGE_VERSION " ", service->contact, NULL);
    *ret_data = self;
    return true;
}

static void mn_close(gpointer data)
{
    MetNorway *self = data;
    g_free(self->url);
    g_free(self->user_agent);
    g_free(self);
}

static char *mn_what(gpointer data, const Site *site)
{
    const MetNorway *self = data;
    g_autofree char *latitude = coordinate_text(site->latitude);
    g_autofree char *longitude = coordinate_text(site->longitude);
    GString *url = g_string_new(NULL);
    g_string_append_printf(url, "%s?lat=%s&lon=%s", self->url, latitude, longitude);
    if (!site->altitude_estimated)
        g_string_append_printf(url, "&altitude=%d", (int)lround(site->altitude_m));
    return g_string_free(url, FALSE);
}

/* What a status that brings no forecast means, and what the grower can do (doc/StatusCodes). */
static GError *status_error(guint status)
{
    static const struct {
        guint status;
        const char *what;
    } known[] = {
        {304, "says that nothing is new, though it was not asked so; asked again later"},
        {400, "does not understand the request; look at url= in [weather met-norway]"},
        {401, "wants a key; look at url= in [weather met-norway]"},
        {403, "refuses who asks; look whether contact= in [weather met-norway] is an address "
              "where you can be reached"},
        {404, "has nothing at this address; look at url= in [weather met-norway]"},
        {422, "has no forecast for this place; look at latitude= and longitude= of the site"},
        {429, "is asked too often, or does not know who asks; look at contact= in "
              "[weather met-norway]. Asked again later"},
    };
    const char *what =
        status >= 500 ? "is in trouble; asked again later" : "answered, but not with a forecast";
    for (gsize i = 0; i < G_N_ELEMENTS(known); i++)
        if (known[i].status == status)
            what = known[i].what;
    return g_error_new(THOLE_ERROR, THOLE_ERROR_IO, TITLE " %s (HTTP %u)", what, status);
}

/* Keeps what the next request must know of a good reply. */
static void remember(WeatherMemory *memory, const HttpReply *reply)
{
    g_free(memory->last_modified);
    memory->last_modified = g_strdup(reply->last_modified);
    g_clear_pointer(&memory->notice, g_free);
    if (reply->status == 203)
        memory->notice = g_strdup(TITLE " will end this version of its forecast soon (HTTP 203); "
                                        "look for a newer thole");
}

static GPtrArray *forecasts_of(const Fetch *fetch, const HttpReply *reply, GError **error)
{
    GPtrArray *forecasts = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
    if (reply->status == 304)
        return forecasts;
    gsize length = 0;
    const char *text = g_bytes_get_data(reply->body, &length);
    Forecast *forecast =
        met_norway_parse(TITLE, text, length, &fetch->site, clock_now(fetch->clk), error);
    if (forecast == NULL) {
        g_ptr_array_unref(forecasts);
        return NULL;
    }
    g_ptr_array_add(forecasts, forecast);
    return forecasts;
}

static void replied(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    g_autoptr(GTask) task = data;
    const Fetch *fetch = g_task_get_task_data(task);
    GError *error = NULL;
    g_autoptr(HttpReply) reply = http_get_finish(result, &error);
    if (reply == NULL) {
        g_prefix_error(&error, TITLE ": ");
        g_task_return_error(task, error);
        return;
    }
    fetch->memory->told_utc = MAX(reply->expires_utc, reply->retry_utc);
    bool good = reply->status == 200 || reply->status == 203 ||
                (reply->status == 304 && fetch->conditional);
    GPtrArray *forecasts = good ? forecasts_of(fetch, reply, &error) : NULL;
    if (forecasts == NULL) {
        g_task_return_error(task, error != NULL ? error : status_error(reply->status));
        return;
    }
    if (reply->status != 304)
        remember(fetch->memory, reply);
    g_task_return_pointer(task, forecasts, (GDestroyNotify)g_ptr_array_unref);
}

static void mn_fetch(gpointer data, const Site *site, Clock *clk, WeatherMemory *memory,
                     GTask *task)
{
    const MetNorway *self = data;
    Fetch *fetch = g_new0(Fetch, 1);
    fetch->site = *site;
    fetch->clk = clk;
    fetch->memory = memory;
    fetch->conditional = memory->last_modified != NULL;
    g_task_set_task_data(task, fetch, g_free);
    g_autofree char *url = mn_what(data, site);
    const HttpRequest request = {.url = url,
                                 .user_agent = self->user_agent,
                                 .if_modified_since = memory->last_modified,
                                 .bytes_max = MET_NORWAY_BYTES_MAX};
    http_get(&request, clk, g_task_get_cancellable(task), replied, g_object_ref(task));
}

const WeatherBackend weather_backend_met_norway = {
    .scheme = "met-norway",
    .accepted = "met-norway",
    .title = TITLE,
    .credit = "Based on data from MET Norway (CC BY 4.0)",
    .open = mn_open,
    .close = mn_close,
    .what = mn_what,
    .fetch = mn_fetch,
};
