/* SPDX-License-Identifier: MIT */
#include "store/store-reason.h"

#include "base/json-text.h"
#include "store/store-private.h"

#include <json-glib/json-glib.h>
#include <math.h>
#include <string.h>

static const char *const limit_words[] = {
    [LIMIT_NONE] = "none",
    [LIMIT_DAMAGE] = "damage",
    [LIMIT_CHECK] = "check",
    [LIMIT_CHILL] = "chill",
    [LIMIT_HEAT] = "heat",
    [LIMIT_GUST] = "gust",
    [LIMIT_SCORCH] = "scorch",
    [LIMIT_FROZEN] = "frozen",
    [LIMIT_CAPACITY] = "capacity",
    [LIMIT_NO_VISIT] = "no-visit",
    [LIMIT_PROGRESS] = "progress",
    [LIMIT_EXPOSURE] = "exposure",
    [LIMIT_NIGHTS] = "nights",
    [LIMIT_HOLD] = "hold",
    [LIMIT_SETTLING] = "settling",
    [LIMIT_SIZE] = "size",
    [LIMIT_SOIL] = "soil",
    [LIMIT_GROUND] = "ground",
    [LIMIT_DESTINATION] = "destination",
    [LIMIT_HELD_TOO_LONG] = "held-too-long",
    [LIMIT_WATER] = "water",
    [LIMIT_DAMP] = "damp",
    [LIMIT_DAYLIGHT] = "daylight",
};

int store_find_batch(const StoreScope *scope, const char *batch_id)
{
    for (int i = 0; batch_id != NULL && batch_id[0] != '\0' && i < scope->n_batches; i++) {
        if (strcmp(scope->batches[i].id, batch_id) == 0)
            return i;
    }
    return -1;
}

gboolean store_reason_to_json(const StoreScope *scope, const Reason *reason, char **ret_json,
                              GError **error)
{
    const Garden *garden = scope->garden;
    if (!store_check_index("limit", (int)reason->limit, STORE_N(limit_words), error) ||
        (reason->batch != -1 &&
         !store_check_index("batch of a reason", reason->batch, scope->n_batches, error)) ||
        (reason->place != -1 &&
         !store_check_index("place of a reason", reason->place, garden->n_places, error)))
        return FALSE;
    GString *text = g_string_new(NULL);
    JsonText to = {.text = text};
    json_text_begin_object(&to, NULL);
    json_text_string(&to, "limit", limit_words[reason->limit]);
    json_text_string(&to, "batch", reason->batch >= 0 ? scope->batches[reason->batch].id : NULL);
    json_text_string(&to, "place", reason->place >= 0 ? garden->places[reason->place].name : NULL);
    json_text_int(&to, "at_utc", reason->at_utc);
    json_text_double(&to, "predicted_c", reason->predicted_c);
    json_text_double(&to, "spread_k", reason->spread_k);
    json_text_double(&to, "limit_c", reason->limit_c);
    json_text_double(&to, "odds", reason->odds);
    json_text_double(&to, "otherwise_odds", reason->otherwise_odds);
    json_text_double(&to, "otherwise_c", reason->otherwise_c);
    json_text_int(&to, "estimated", reason->estimated);
    json_text_end_object(&to);
    *ret_json = g_string_free(text, FALSE);
    return TRUE;
}

/* A member that must be there and be a scalar (or null); NULL otherwise. */
static JsonNode *member(JsonObject *object, const char *key)
{
    JsonNode *node = json_object_get_member(object, key);
    return node != NULL && (JSON_NODE_HOLDS_VALUE(node) || JSON_NODE_HOLDS_NULL(node)) ? node
                                                                                       : NULL;
}

static double get_number(JsonObject *object, const char *key)
{
    JsonNode *node = member(object, key);
    return node == NULL || JSON_NODE_HOLDS_NULL(node) ? NAN : json_node_get_double(node);
}

static int64_t get_int(JsonObject *object, const char *key)
{
    JsonNode *node = member(object, key);
    return node == NULL || JSON_NODE_HOLDS_NULL(node) ? 0 : json_node_get_int(node);
}

static const char *get_text(JsonObject *object, const char *key)
{
    JsonNode *node = member(object, key);
    return node == NULL || JSON_NODE_HOLDS_NULL(node) ? NULL : json_node_get_string(node);
}

gboolean store_reason_from_json(const StoreScope *scope, const char *json, Reason *ret_reason,
                                GError **error)
{
    g_autoptr(JsonNode) node = json_from_string(json, NULL);
    JsonObject *object =
        node != NULL && JSON_NODE_HOLDS_OBJECT(node) ? json_node_get_object(node) : NULL;
    const char *word = object != NULL ? get_text(object, "limit") : NULL;
    int limit = store_word_index(limit_words, STORE_N(limit_words), word);
    if (limit < 0) {
        g_set_error(error, STORE_ERROR, STORE_ERROR_INVALID,
                    "the reason of a job cannot be read: %s", json);
        return FALSE;
    }
    *ret_reason = (Reason){
        .limit = (LimitKind)limit,
        .batch = store_find_batch(scope, get_text(object, "batch")),
        .place = store_find_place(scope->garden, get_text(object, "place")),
        .at_utc = get_int(object, "at_utc"),
        .predicted_c = get_number(object, "predicted_c"),
        .spread_k = get_number(object, "spread_k"),
        .limit_c = get_number(object, "limit_c"),
        .odds = get_number(object, "odds"),
        .otherwise_odds = get_number(object, "otherwise_odds"),
        .otherwise_c = get_number(object, "otherwise_c"),
        .estimated = (uint32_t)get_int(object, "estimated"),
    };
    return TRUE;
}
