/* SPDX-License-Identifier: MIT */
/*
 * A reply holds one array for each column, all as long as that of the times. Row t has instants of
 * t, and gust, radiation and precipitation of the hour that ends at t, as WeatherHour wants them.
 */
#include "weather/open-meteo.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "weather/csv-line.h"
#include "weather/reply.h"

#define S_PER_H 3600
#define END_UTC G_GINT64_CONSTANT(7258118400) /* 2200-01-01; chosen: later ones are mistakes */

/* Asked for in this order. Fewer than 10, so that a request counts as one for the service. */
static const struct {
    const char *name, *unit;
} columns[WEATHER_FIELDS] = {
    [WEATHER_TEMPERATURE] = {"temperature_2m", "°C"},
    [WEATHER_DEW_POINT] = {"dew_point_2m", "°C"},
    [WEATHER_CLOUD] = {"cloud_cover", "%"},
    [WEATHER_WIND] = {"wind_speed_10m", "m/s"},
    [WEATHER_GUST] = {"wind_gusts_10m", "m/s"},
    [WEATHER_RADIATION] = {"shortwave_radiation", "W/m²"},
    [WEATHER_PRECIPITATION] = {"precipitation", "mm"},
};

char *open_meteo_columns(void)
{
    GString *names = g_string_new(NULL);
    for (int i = 0; i < WEATHER_FIELDS; i++)
        g_string_append_printf(names, "%s%s", i > 0 ? "," : "", columns[i].name);
    return g_string_free(names, FALSE);
}

static gboolean refuse(GError **error, const char *format, ...) G_GNUC_PRINTF(2, 3);

static gboolean refuse(GError **error, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    g_autofree char *text = g_strdup_vprintf(format, args);
    va_end(args);
    g_set_error_literal(error, THOLE_ERROR, THOLE_ERROR_INVALID, text);
    return FALSE;
}

/* The object of one place: the root, or its element where several places were asked for. */
static JsonObject *place_object(JsonNode *root, guint place, GError **error)
{
    if (JSON_NODE_HOLDS_OBJECT(root) && place == 0)
        return json_node_get_object(root);
    if (JSON_NODE_HOLDS_ARRAY(root)) {
        JsonArray *all = json_node_get_array(root);
        JsonNode *node =
            place < json_array_get_length(all) ? json_array_get_element(all, place) : NULL;
        if (node != NULL && JSON_NODE_HOLDS_OBJECT(node))
            return json_node_get_object(node);
    }
    refuse(error, "no forecast for place %u; accepted an object, or an array of them", place + 1);
    return NULL;
}

static gboolean check_unit(JsonObject *units, const char *name, const char *unit, GError **error)
{
    const char *seen = reply_text(units, name);
    if (g_strcmp0(seen, unit) == 0)
        return TRUE;
    g_autofree char *shown = csv_shown(seen != NULL ? seen : "(none)");
    return refuse(error, "hourly_units.%s=%s: another unit than was asked for; accepted %s", name,
                  shown, unit);
}

static gboolean read_times(JsonObject *hourly, GArray *hours, GError **error)
{
    JsonArray *times = reply_array(hourly, "time");
    guint n = times != NULL ? json_array_get_length(times) : 0;
    if (n == 0 || n > REPLY_ROWS_MAX)
        return refuse(error, "hourly.time: %u hours; accepted 1 to %d", n, REPLY_ROWS_MAX);
    int64_t before_utc = -1;
    for (guint i = 0; i < n; i++) {
        JsonNode *node = json_array_get_element(times, i);
        int64_t utc = JSON_NODE_HOLDS_VALUE(node) && json_node_get_value_type(node) == G_TYPE_INT64
                          ? json_node_get_int(node)
                          : -1;
        if (utc <= before_utc || utc >= END_UTC || utc % S_PER_H != 0) {
            g_autofree char *shown = reply_shown(node);
            return refuse(error,
                          "hourly.time[%u]=%s: not a later hour; accepted full hours in seconds "
                          "since 1970, rising",
                          i, shown);
        }
        before_utc = utc;
        WeatherHour hour = weather_hour_missing(utc);
        g_array_append_val(hours, hour);
    }
    return TRUE;
}

/* Counts what was below 0 in the radiation. */
static gboolean read_column(JsonObject *hourly, WeatherFieldKind kind, GArray *hours,
                            guint *ret_below, GError **error)
{
    const char *name = columns[kind].name;
    JsonArray *values = reply_array(hourly, name);
    guint n = values != NULL ? json_array_get_length(values) : 0;
    if (n != hours->len)
        return refuse(error, "hourly.%s: %u values; accepted %u, one for each hour", name, n,
                      hours->len);
    for (guint i = 0; i < n; i++) {
        JsonNode *node = json_array_get_element(values, i);
        g_autofree char *where = g_strdup_printf("hourly.%s[%u]", name, i);
        if (!reply_number(node, where, kind, &g_array_index(hours, WeatherHour, i), error))
            return FALSE;
        if (kind == WEATHER_RADIATION && JSON_NODE_HOLDS_VALUE(node))
            *ret_below += json_node_get_double(node) < 0;
    }
    return TRUE;
}

static gboolean has_temperature(const GArray *hours)
{
    for (guint i = 0; i < hours->len; i++) {
        if (!isnan(g_array_index(hours, WeatherHour, i).temperature_c))
            return TRUE;
    }
    return FALSE;
}

static gboolean read_hours(JsonObject *reply, Forecast *forecast, GError **error)
{
    JsonObject *hourly = reply_object(reply, "hourly"),
               *units = reply_object(reply, "hourly_units");
    guint below = 0;
    if (hourly == NULL || units == NULL)
        return refuse(error, "no hourly and hourly_units; accepted a forecast by the hour");
    if (!check_unit(units, "time", "unixtime", error) ||
        !read_times(hourly, forecast->hours, error))
        return FALSE;
    for (int i = 0; i < WEATHER_FIELDS; i++) {
        if (!check_unit(units, columns[i].name, columns[i].unit, error) ||
            !read_column(hourly, (WeatherFieldKind)i, forecast->hours, &below, error))
            return FALSE;
    }
    if (!has_temperature(forecast->hours))
        return refuse(error, "hourly.temperature_2m: all null; accepted at least one number");
    if (below > 0)
        g_ptr_array_add(
            forecast->notes,
            g_strdup_printf("%u slightly negative values of shortwave_radiation are taken as 0",
                            below));
    return TRUE;
}

Forecast *open_meteo_parse(const char *text, gsize length, guint place, const char *site,
                           int64_t fetched_utc, GError **error)
{
    g_autoptr(JsonNode) root = reply_parse(text, length, error);
    g_autoptr(Forecast) forecast = forecast_new(site, OPEN_METEO_TITLE, fetched_utc, fetched_utc);
    JsonObject *reply = root != NULL ? place_object(root, place, error) : NULL;
    return reply != NULL && read_hours(reply, forecast, error) ? g_steal_pointer(&forecast) : NULL;
}

char *open_meteo_reason(const char *text, gsize length)
{
    g_autoptr(JsonNode) root = reply_parse(text, length, NULL);
    const char *reason = root != NULL && JSON_NODE_HOLDS_OBJECT(root)
                             ? reply_text(json_node_get_object(root), "reason")
                             : NULL;
    return reason != NULL ? csv_shown(reason) : NULL;
}
