/* SPDX-License-Identifier: MIT */
#include "ctl/read.h"

#include <math.h>

static JsonNode *find(JsonObject *object, const char *name)
{
    return object ? json_object_get_member(object, name) : NULL;
}

static JsonArray *find_array(JsonObject *object, const char *name)
{
    JsonNode *node = find(object, name);

    return node && JSON_NODE_HOLDS_ARRAY(node) ? json_node_get_array(node) : NULL;
}

const char *read_text(JsonObject *object, const char *name)
{
    JsonNode *node = find(object, name);

    return node && json_node_get_value_type(node) == G_TYPE_STRING ? json_node_get_string(node) : "";
}

double read_number(JsonObject *object, const char *name)
{
    JsonNode *node = find(object, name);

    if (!node || !JSON_NODE_HOLDS_VALUE(node))
        return NAN;
    const GType type = json_node_get_value_type(node);
    return type == G_TYPE_INT64 || type == G_TYPE_DOUBLE ? json_node_get_double(node) : NAN;
}

bool read_flag(JsonObject *object, const char *name)
{
    JsonNode *node = find(object, name);

    return node && json_node_get_value_type(node) == G_TYPE_BOOLEAN && json_node_get_boolean(node);
}

JsonObject *read_object(JsonObject *object, const char *name)
{
    JsonNode *node = find(object, name);

    return node && JSON_NODE_HOLDS_OBJECT(node) ? json_node_get_object(node) : NULL;
}

guint read_count(JsonObject *object, const char *name)
{
    JsonArray *array = find_array(object, name);

    return array ? json_array_get_length(array) : 0;
}

JsonObject *read_item(JsonObject *object, const char *name, guint i)
{
    JsonArray *array = find_array(object, name);
    JsonNode *node = array && i < json_array_get_length(array) ? json_array_get_element(array, i) : NULL;

    return node && JSON_NODE_HOLDS_OBJECT(node) ? json_node_get_object(node) : NULL;
}

char *read_joined(JsonObject *object, const char *name, const char *separator)
{
    JsonArray *array = find_array(object, name);
    GString *joined = g_string_new(NULL);

    for (guint i = 0; array && i < json_array_get_length(array); i++) {
        JsonNode *node = json_array_get_element(array, i);
        if (json_node_get_value_type(node) != G_TYPE_STRING)
            continue;
        g_string_append_printf(joined, "%s%s", joined->len > 0 ? separator : "",
                               json_node_get_string(node));
    }
    return g_string_free(joined, FALSE);
}
