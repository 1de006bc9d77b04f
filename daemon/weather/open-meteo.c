/* SPDX-License-Identifier: MIT */
#include "weather/open-meteo.h"

#include <math.h>

#include "base/error.h"
#include "weather/coordinate.h"
#include "weather/http.h"
#include "weather/source-backend.h"

#define URL_USUAL "https://api.open-meteo.com/v1/forecast"
/*
 * Days before and from today, UTC: enough past for the ground under covers to start from, and the
 * horizon of a plan. Together 14, up to which the service counts a request as one (its pricing
 * page).
 */
#define PAST_DAYS 3
#define FORECAST_DAYS 11

typedef struct OpenMeteo {
    char *url; /* (owned) */
    char *key; /* (owned) "" none; never shown */
} OpenMeteo;

typedef struct Fetch {
    char *site;            /* (owned) */
    Clock *clk;            /* (unowned) */
    WeatherMemory *memory; /* (unowned) the task's */
} Fetch;

static void fetch_free(gpointer data)
{
    Fetch *fetch = data;
    g_free(fetch->site);
    g_free(fetch);
}

static bool om_open(const char *rest, const WeatherService *service, gpointer *ret_data,
                    const char **ret_wrong)
{
    if (rest[0] != '\0') {
        *ret_wrong = "nothing may follow; its address stands in [weather open-meteo]";
        return false;
    }
    OpenMeteo *self = g_new0(OpenMeteo, 1);
    self->url = g_strdup(service->url[0] != '\0' ? service->url : URL_USUAL);
    self->key = g_strdup(service->key);
    *ret_data = self;
    return true;
}

static void om_close(gpointer data)
{
    OpenMeteo *self = data;
    g_free(self->url);
    g_free(self->key);
    g_free(self);
}

/* What tells one place from another in a request. */
static char *place_query(const Site *site)
{
    g_autofree char *latitude = coordinate_text(site->latitude);
    g_autofree char *longitude = coordinate_text(site->longitude);
    GString *query = g_string_new(NULL);
    g_string_append_printf(query, "latitude=%s&longitude=%s", latitude, longitude);
    if (!site->altitude_estimated)
        g_string_append_printf(query, "&elevation=%d", (int)lround(site->altitude_m));
    return g_string_free(query, FALSE);
}

static char *om_what(gpointer data, const Site *site)
{
    const OpenMeteo *self = data;
    g_autofree char *place = place_query(site);
    return g_strdup_printf("%s?%s", self->url, place);
}

static char *request_url(const OpenMeteo *self, const Site *site)
{
    g_autofree char *what = om_what((gpointer)self, site);
    g_autofree char *columns = open_meteo_columns();
    g_autofree char *key = g_uri_escape_string(self->key, NULL, FALSE);
    return g_strdup_printf("%s&hourly=%s&timeformat=unixtime&wind_speed_unit=ms&past_days=%d"
                           "&forecast_days=%d%s%s",
                           what, columns, PAST_DAYS, FORECAST_DAYS, *key != '\0' ? "&apikey=" : "",
                           key);
}

static GError *status_error(const HttpReply *reply)
{
    gsize length = 0;
    const char *text = g_bytes_get_data(reply->body, &length);
    g_autofree char *reason = open_meteo_reason(text, length);
    const char *what = reply->status == 429   ? "asks us to wait"
                       : reply->status >= 500 ? "is in trouble"
                       : reply->status == 400 ? "refused the request"
                                              : "answered, but not with a forecast";
    return g_error_new(THOLE_ERROR, THOLE_ERROR_IO, OPEN_METEO_TITLE " %s (HTTP %u)%s%s", what,
                       reply->status, reason != NULL ? ": " : "", reason != NULL ? reason : "");
}

static void replied(GObject *object, GAsyncResult *result, gpointer data)
{
    (void)object;
    g_autoptr(GTask) task = data;
    const Fetch *fetch = g_task_get_task_data(task);
    GError *error = NULL;
    g_autoptr(HttpReply) reply = http_get_finish(result, &error);
    if (reply == NULL) {
        g_prefix_error(&error, OPEN_METEO_TITLE ": ");
        g_task_return_error(task, error);
        return;
    }
    fetch->memory->told_utc = reply->retry_utc;
    if (reply->status != 200) {
        g_task_return_error(task, status_error(reply));
        return;
    }
    gsize length = 0;
    const char *text = g_bytes_get_data(reply->body, &length);
    g_autoptr(Forecast) forecast =
        open_meteo_parse(text, length, 0, fetch->site, clock_now(fetch->clk), &error);
    if (forecast == NULL) {
        /* Also a fault on the way: the service ends a reply it cannot finish with a sentence. */
        g_prefix_error(&error, OPEN_METEO_TITLE ": ");
        g_task_return_error(task, error);
        return;
    }
    GPtrArray *forecasts = g_ptr_array_new_with_free_func((GDestroyNotify)forecast_free);
    g_ptr_array_add(forecasts, g_steal_pointer(&forecast));
    g_task_return_pointer(task, forecasts, (GDestroyNotify)g_ptr_array_unref);
}

static void om_fetch(gpointer data, const Site *site, Clock *clk, WeatherMemory *memory,
                     GTask *task)
{
    Fetch *fetch = g_new0(Fetch, 1);
    fetch->site = g_strdup(site->name);
    fetch->clk = clk;
    fetch->memory = memory;
    g_task_set_task_data(task, fetch, fetch_free);
    g_autofree char *url = request_url(data, site);
    const HttpRequest request = {.url = url, .user_agent = "thole/" PACKAGE_VERSION};
    http_get(&request, clk, g_task_get_cancellable(task), replied, g_object_ref(task));
}

const WeatherBackend weather_backend_open_meteo = {
    .scheme = "open-meteo",
    .accepted = "open-meteo",
    .title = OPEN_METEO_TITLE,
    .credit = "Weather data by Open-Meteo.com (CC BY 4.0)",
    .open = om_open,
    .close = om_close,
    .what = om_what,
    .fetch = om_fetch,
};
