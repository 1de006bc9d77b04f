/* SPDX-License-Identifier: MIT */
#include "control/control-reply.h"

#include <math.h>

#include "base/error.h"

static void send_node(SoupServerMessage *message, unsigned int status, const char *type,
                      JsonNode *node)
{
    gsize length;
    g_autoptr(JsonGenerator) generator = json_generator_new();

    json_object_set_int_member(json_node_get_object(node), WIRE_VERSION_MEMBER, WIRE_API_VERSION);
    json_generator_set_root(generator, node);
    char *text = json_generator_to_data(generator, &length);
    soup_server_message_set_status(message, status, NULL);
    soup_server_message_set_response(message, type, SOUP_MEMORY_TAKE, text, length);
}

void control_reply_problem(SoupServerMessage *message, WireProblem problem, const char *detail)
{
    g_autofree char *type = g_strconcat(WIRE_PROBLEM_PREFIX, wire_problem_name(problem), NULL);
    g_autofree char *valid = g_utf8_make_valid(detail, -1);
    g_autoptr(JsonNode) node = json_node_new(JSON_NODE_OBJECT);
    g_autoptr(JsonObject) object = json_object_new();

    json_object_set_string_member(object, "type", type);
    json_object_set_string_member(object, "title", wire_problem_title(problem));
    json_object_set_int_member(object, "status", wire_problem_status(problem));
    json_object_set_string_member(object, "detail", valid);
    json_node_set_object(node, object);
    send_node(message, wire_problem_status(problem), WIRE_PROBLEM_JSON, node);
}

WireProblem control_problem_of(const GError *error)
{
    if (error->domain != THOLE_ERROR)
        return WIRE_PROBLEM_FAILED;
    switch ((TholeError)error->code) {
    case THOLE_ERROR_INVALID:
        return WIRE_PROBLEM_INVALID;
    case THOLE_ERROR_NOT_FOUND:
        return WIRE_PROBLEM_NOT_FOUND;
    case THOLE_ERROR_CONFLICT:
        return WIRE_PROBLEM_CONFLICT;
    case THOLE_ERROR_LIMIT:
        return WIRE_PROBLEM_TOO_LARGE;
    case THOLE_ERROR_IO:
    case THOLE_ERROR_STALE:
    case THOLE_ERROR_FAILED:
        break;
    }
    return WIRE_PROBLEM_FAILED;
}

/* JSON has no number that is not finite: it becomes null, which is how a missing one is written. */
static void null_missing_numbers(JsonNode *node)
{
    switch (json_node_get_node_type(node)) {
    case JSON_NODE_OBJECT: {
        JsonObjectIter members; /* no list of names is made: a nursery's reply has 100,000 */
        JsonNode *member;
        json_object_iter_init(&members, json_node_get_object(node));
        while (json_object_iter_next(&members, NULL, &member))
            null_missing_numbers(member);
        break;
    }
    case JSON_NODE_ARRAY: {
        JsonArray *array = json_node_get_array(node);
        for (guint i = 0; i < json_array_get_length(array); i++)
            null_missing_numbers(json_array_get_element(array, i));
        break;
    }
    case JSON_NODE_VALUE:
        if (json_node_get_value_type(node) == G_TYPE_DOUBLE &&
            !isfinite(json_node_get_double(node)))
            json_node_init_null(node);
        break;
    case JSON_NODE_NULL:
        break;
    }
}

void control_reply(SoupServerMessage *message, JsonNode *node)
{
    null_missing_numbers(node);
    send_node(message, SOUP_STATUS_OK, WIRE_JSON, node);
}

void control_reply_text(SoupServerMessage *message, GString *text)
{
    const gsize length = text->len;

    soup_server_message_set_status(message, SOUP_STATUS_OK, NULL);
    soup_server_message_set_response(message, WIRE_JSON, SOUP_MEMORY_TAKE,
                                     g_string_free(text, FALSE), length);
}
