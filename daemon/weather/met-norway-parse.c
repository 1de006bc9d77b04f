/* SPDX-License-Identifier: MIT */
/*
 * A reply is taken whole or not at all: a unit, a figure or a time that surprises refuses it, and
 * whoever asked keeps the forecast held before. What is not there is missing, as the service says
 * that some members are not given everywhere.
 */
#include "weather/met-norway-parse.h"

#include <math.h>
#include <stddef.h>

#include "base/error.h"
#include "base/local-time.h"
#include "weather/csv-line.h"
#include "weather/reply.h"

#define S_PER_H 3600
#define S_PER_DAY 86400
/* A reply tells for which place it is; the models' cells are 0.1° wide at most. Chosen. */
#define PLACE_APART_DEG 0.5
#define AHEAD_MAX_S S_PER_DAY /* of an issue before this machine's clock; chosen */

/* Damp air over ice or in fog is told as a little more than 100 %. Chosen. */
static const WeatherField humidity = {.low = 0, .high = 110, .accepted = "0 to 110 %"};

/* A member that is read: where it stands in a row's data, and where it goes. */
typedef struct Member {
    const char *period, *name, *unit;
    const WeatherField *range;
    size_t offset;
} Member;

#define MEMBER(period, name, unit, range, field)                                                   \
    {                                                                                              \
        period, name, unit, range, offsetof(MetNorwayRow, field)                                   \
    }
#define AIR &weather_fields[WEATHER_TEMPERATURE]
#define DEW &weather_fields[WEATHER_DEW_POINT]
#define CLOUD &weather_fields[WEATHER_CLOUD]
#define WIND &weather_fields[WEATHER_WIND]
#define GUST &weather_fields[WEATHER_GUST]
#define RAIN &weather_fields[WEATHER_PRECIPITATION]

static const Member members[] = {
    MEMBER("instant", "air_temperature", "celsius", AIR, temperature_c),
    MEMBER("instant", "air_temperature_percentile_10", "celsius", AIR, p10_c),
    MEMBER("instant", "air_temperature_percentile_90", "celsius", AIR, p90_c),
    MEMBER("instant", "dew_point_temperature", "celsius", DEW, dew_point_c),
    MEMBER("instant", "relative_humidity", "%", &humidity, humidity_pct),
    MEMBER("instant", "cloud_area_fraction", "%", CLOUD, cloud_pct),
    MEMBER("instant", "wind_speed", "m/s", WIND, wind_ms),
    MEMBER("instant", "wind_speed_of_gust", "m/s", GUST, gust_ms),
    MEMBER("next_1_hours", "precipitation_amount", "mm", RAIN, rain_1h_mm),
    MEMBER("next_6_hours", "precipitation_amount", "mm", RAIN, rain_6h_mm),
    MEMBER("next_6_hours", "air_temperature_min", "celsius", AIR, low_c),
    MEMBER("next_6_hours", "air_temperature_max", "celsius", AIR, high_c),
};

typedef struct Reader {
    const char *name; /* of the source */
    guint row;
} Reader;

static gboolean G_GNUC_PRINTF(4, 5)
    refuse(const Reader *reader, GError **error, const char *accepted, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    g_autofree char *wrong = g_strdup_vprintf(format, args);
    va_end(args);
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s: %s; accepted %s", reader->name, wrong,
                accepted);
    return FALSE;
}

/* A member of `parent` fit to stand in an error. */
static char *shown(JsonObject *parent, const char *name)
{
    JsonNode *node = parent != NULL ? json_object_get_member(parent, name) : NULL;
    return node != NULL ? reply_shown(node) : g_strdup("nothing");
}

static gboolean is_number(JsonNode *node)
{
    return JSON_NODE_HOLDS_VALUE(node) && (json_node_get_value_type(node) == G_TYPE_INT64 ||
                                           json_node_get_value_type(node) == G_TYPE_DOUBLE);
}

/* ---- about the whole ---- */

/* Each unit that is told must be the one that is expected; that of the temperature must be told. */
static gboolean check_units(const Reader *reader, JsonObject *meta, GError **error)
{
    JsonObject *units = reply_object(meta, "units");
    for (guint i = 0; i < G_N_ELEMENTS(members); i++) {
        const Member *member = &members[i];
        bool told = units != NULL && json_object_has_member(units, member->name);
        if (told ? g_strcmp0(reply_text(units, member->name), member->unit) == 0 : i > 0)
            continue;
        g_autofree char *value = shown(units, member->name);
        return refuse(reader, error, member->unit,
                      "properties.meta.units.%s=%s: not the unit that is read", member->name,
                      value);
    }
    return TRUE;
}

/* A reply for somewhere else, or with the coordinates the other way round, is none of ours. */
static gboolean check_place(const Reader *reader, JsonObject *root, const Site *site,
                            GError **error)
{
    JsonObject *geometry = reply_object(root, "geometry");
    JsonArray *pair = reply_array(geometry, "coordinates");
    if (geometry == NULL)
        return TRUE;
    if (pair != NULL && json_array_get_length(pair) >= 2 &&
        is_number(json_array_get_element(pair, 0)) && is_number(json_array_get_element(pair, 1))) {
        double east = fabs(json_array_get_double_element(pair, 0) - site->longitude);
        double north = fabs(json_array_get_double_element(pair, 1) - site->latitude);
        if (fmin(east, fabs(east - 360)) <= PLACE_APART_DEG && north <= PLACE_APART_DEG)
            return TRUE;
    }
    g_autofree char *value = shown(geometry, "coordinates");
    return refuse(reader, error, "longitude and latitude of the site",
                  "geometry.coordinates=%s: another place", value);
}

static gboolean read_issue(const Reader *reader, JsonObject *meta, int64_t fetched_utc,
                           int64_t *ret_issued_utc, GError **error)
{
    int64_t issued_utc = 0;
    const char *text = reply_text(meta, "updated_at");
    g_autofree char *value = shown(meta, "updated_at");
    if (text == NULL || !csv_time(text, &issued_utc))
        return refuse(reader, error, "a time in UTC like 2026-05-04T18:00:00Z",
                      "properties.meta.updated_at=%s: not a time", value);
    if (issued_utc > fetched_utc + AHEAD_MAX_S)
        return refuse(reader, error, "a time that has come; is this machine's clock right?",
                      "properties.meta.updated_at=%s: more than a day ahead", value);
    *ret_issued_utc = issued_utc;
    return TRUE;
}

/* ---- row after row ---- */

static gboolean read_member(const Reader *reader, const Member *member, JsonObject *data,
                            MetNorwayRow *row, GError **error)
{
    JsonObject *details = reply_object(reply_object(data, member->period), "details");
    JsonNode *node = details != NULL ? json_object_get_member(details, member->name) : NULL;
    double *value = (double *)(void *)((char *)row + member->offset);
    *value = NAN;
    if (node == NULL || JSON_NODE_HOLDS_NULL(node))
        return TRUE;
    bool number = is_number(node);
    if (number)
        *value = json_node_get_double(node) + 0.0; /* -0 is 0 */
    if (*value >= member->range->low && *value <= member->range->high)
        return TRUE;
    g_autofree char *text = shown(details, member->name);
    return refuse(reader, error, member->range->accepted,
                  "properties.timeseries[%u].data.%s.details.%s=%s: %s", reader->row,
                  member->period, member->name, text, number ? "not plausible" : "not a number");
}

static gboolean read_time(const Reader *reader, JsonObject *entry, const GArray *rows,
                          int64_t *ret_utc, GError **error)
{
    const char *text = reply_text(entry, "time"), *wrong = NULL;
    const char *accepted = "a full hour in UTC like 2026-05-04T18:00:00Z";
    if (text == NULL || !csv_time(text, ret_utc))
        wrong = "not a time";
    else if (*ret_utc % S_PER_H != 0)
        wrong = "not on the hour";
    else if (rows->len > 0) {
        int64_t first_utc = g_array_index(rows, MetNorwayRow, 0).time_utc;
        if (*ret_utc <= g_array_index(rows, MetNorwayRow, rows->len - 1).time_utc) {
            wrong = "not after the row before";
            accepted = "rows in the order of time, each hour once";
        } else if (*ret_utc - first_utc > (int64_t)MET_NORWAY_DAYS_MAX * S_PER_DAY) {
            wrong = "far beyond the first row";
            accepted = "at most " G_STRINGIFY(MET_NORWAY_DAYS_MAX) " days";
        }
    }
    if (wrong == NULL)
        return TRUE;
    g_autofree char *value = shown(entry, "time");
    return refuse(reader, error, accepted, "properties.timeseries[%u].time=%s: %s", reader->row,
                  value, wrong);
}

/* Figures that contradict each other. */
static gboolean check_row(const Reader *reader, const MetNorwayRow *row, GError **error)
{
    if (row->low_c > row->high_c)
        return refuse(reader, error, "a lowest temperature that is at most the highest",
                      "properties.timeseries[%u].data.next_6_hours.details.air_temperature_min=%g: "
                      "above air_temperature_max=%g",
                      reader->row, row->low_c, row->high_c);
    if (row->p10_c > row->p90_c)
        return refuse(reader, error, "a 10th percentile that is at most the 90th",
                      "properties.timeseries[%u].data.instant.details."
                      "air_temperature_percentile_10=%g: above air_temperature_percentile_90=%g",
                      reader->row, row->p10_c, row->p90_c);
    return TRUE;
}

static gboolean read_row(const Reader *reader, JsonNode *node, GArray *rows, GError **error)
{
    MetNorwayRow row;
    JsonObject *entry = JSON_NODE_HOLDS_OBJECT(node) ? json_node_get_object(node) : NULL;
    JsonObject *data = reply_object(entry, "data");
    if (data == NULL) {
        g_autofree char *value = reply_shown(node);
        return refuse(reader, error, "an object with time and data",
                      "properties.timeseries[%u]=%s: not a row", reader->row, value);
    }
    if (!read_time(reader, entry, rows, &row.time_utc, error))
        return FALSE;
    for (guint i = 0; i < G_N_ELEMENTS(members); i++)
        if (!read_member(reader, &members[i], data, &row, error))
            return FALSE;
    if (!check_row(reader, &row, error))
        return FALSE;
    g_array_append_val(rows, row);
    return TRUE;
}

static GArray *read_rows(Reader *reader, JsonObject *properties, GError **error)
{
    JsonArray *series = reply_array(properties, "timeseries");
    guint n = series != NULL ? json_array_get_length(series) : 0;
    bool temperature = false;
    if (n == 0 || n > MET_NORWAY_ROWS_MAX) {
        g_autofree char *count = g_strdup_printf("%u rows", n);
        (void)refuse(reader, error, "1 to " G_STRINGIFY(MET_NORWAY_ROWS_MAX) " rows",
                     "properties.timeseries: %s", series != NULL ? count : "not a list of rows");
        return NULL;
    }
    g_autoptr(GArray) rows = g_array_sized_new(FALSE, FALSE, sizeof(MetNorwayRow), n);
    for (reader->row = 0; reader->row < n; reader->row++) {
        if (!read_row(reader, json_array_get_element(series, reader->row), rows, error))
            return NULL;
        temperature =
            temperature || !isnan(g_array_index(rows, MetNorwayRow, reader->row).temperature_c);
    }
    if (!temperature) {
        (void)refuse(reader, error, "rows with data.instant.details.air_temperature",
                     "properties.timeseries: no row has a temperature");
        return NULL;
    }
    return g_steal_pointer(&rows);
}

/* The root of the reply, owned by the caller. */
static JsonNode *parse_object(const Reader *reader, const char *data, gsize length, GError **error)
{
    g_autoptr(GError) refused = NULL;
    if (length > MET_NORWAY_BYTES_MAX) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_LIMIT,
                    "%s: %" G_GSIZE_FORMAT " bytes; accepted at most %d", reader->name, length,
                    MET_NORWAY_BYTES_MAX);
        return NULL;
    }
    g_autoptr(JsonNode) root = length > 0 ? reply_parse(data, length, &refused) : NULL;
    if (root != NULL && JSON_NODE_HOLDS_OBJECT(root))
        return g_steal_pointer(&root);
    g_autofree char *value = root != NULL ? reply_shown(root) : NULL;
    if (root != NULL)
        (void)refuse(reader, error, "a forecast in GeoJSON", "the reply is %s", value);
    else
        (void)refuse(reader, error, "a forecast in GeoJSON", "%s",
                     refused != NULL ? refused->message : "an empty reply");
    return NULL;
}

Forecast *met_norway_parse(const char *name, const char *data, gsize length, const Site *site,
                           int64_t fetched_utc, GError **error)
{
    Reader reader = {.name = name};
    int64_t issued_utc = 0;
    g_autoptr(JsonNode) node = parse_object(&reader, data, length, error);
    if (node == NULL)
        return NULL;
    JsonObject *root = json_node_get_object(node);
    JsonObject *properties = reply_object(root, "properties");
    JsonObject *meta = reply_object(properties, "meta");
    if (!check_units(&reader, meta, error) || !check_place(&reader, root, site, error) ||
        !read_issue(&reader, meta, fetched_utc, &issued_utc, error))
        return NULL;
    g_autoptr(GArray) rows = read_rows(&reader, properties, error);
    if (rows == NULL)
        return NULL;
    Forecast *forecast = forecast_new(site->name, name, issued_utc, fetched_utc);
    g_array_unref(forecast->hours);
    forecast->hours = met_norway_hours(rows, site);
    return forecast;
}
