/* SPDX-License-Identifier: MIT */
#include "weather/reply.h"

#include <math.h>

#include "base/error.h"
#include "base/json-check.h"
#include "weather/csv-line.h"

JsonNode *reply_parse(const char *text, gsize length, GError **error)
{
    g_autoptr(JsonParser) parser = json_parser_new_immutable();
    g_autoptr(GError) refused = NULL;

    if (!json_check(text, length, REPLY_DEPTH_MAX, error))
        return NULL;
    if (!json_parser_load_from_data(parser, text, (gssize)length, &refused)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "not JSON: %s", refused->message);
        return NULL;
    }
    return json_parser_steal_root(parser);
}

static JsonNode *member(JsonObject *in, const char *name, JsonNodeType type)
{
    JsonNode *node = in != NULL ? json_object_get_member(in, name) : NULL;
    return node != NULL && json_node_get_node_type(node) == type ? node : NULL;
}

JsonObject *reply_object(JsonObject *in, const char *name)
{
    JsonNode *node = member(in, name, JSON_NODE_OBJECT);
    return node != NULL ? json_node_get_object(node) : NULL;
}

JsonArray *reply_array(JsonObject *in, const char *name)
{
    JsonNode *node = member(in, name, JSON_NODE_ARRAY);
    return node != NULL ? json_node_get_array(node) : NULL;
}

const char *reply_text(JsonObject *in, const char *name)
{
    JsonNode *node = member(in, name, JSON_NODE_VALUE);
    return node != NULL && json_node_get_value_type(node) == G_TYPE_STRING
               ? json_node_get_string(node)
               : NULL;
}

char *reply_shown(JsonNode *node)
{
    if (JSON_NODE_HOLDS_OBJECT(node) || JSON_NODE_HOLDS_ARRAY(node))
        return g_strdup(JSON_NODE_HOLDS_OBJECT(node) ? "{…}" : "[…]");
    g_autofree char *text = json_to_string(node, FALSE);
    return csv_shown(text);
}

static gboolean refuse(JsonNode *node, const char *where, const char *wrong, WeatherFieldKind kind,
                       GError **error)
{
    g_autofree char *shown = reply_shown(node);
    g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID, "%s=%s: %s; accepted %s", where, shown,
                wrong, weather_fields[kind].accepted);
    return FALSE;
}

gboolean reply_number(JsonNode *node, const char *where, WeatherFieldKind kind, WeatherHour *hour,
                      GError **error)
{
    const WeatherField *field = &weather_fields[kind];
    double value = NAN;

    if (node != NULL && !JSON_NODE_HOLDS_NULL(node)) {
        GType type = JSON_NODE_HOLDS_VALUE(node) ? json_node_get_value_type(node) : G_TYPE_NONE;
        if (type != G_TYPE_INT64 && type != G_TYPE_DOUBLE)
            return refuse(node, where, "not a number", kind, error);
        value = json_node_get_double(node) + 0.0; /* -0 is 0 */
        if (!(value >= field->low && value <= field->high))
            return refuse(node, where, "not plausible", kind, error);
        if (kind == WEATHER_RADIATION)
            value = fmax(value, 0);
    }
    *weather_field(hour, kind) = value;
    return TRUE;
}
