/* SPDX-License-Identifier: MIT */
#include "store/store-export.h"

#include "store/store-private.h"

#include <json-glib/json-glib.h>
#include <math.h>
#include <string.h>

/* One array of the export. The names of the columns are the keys; one called `reason` is JSON. */
static const struct {
    const char *key, *sql;
} parts[] = {
    {"batches", "SELECT id, name, crop, cultivar, container, number, trays, bought, resowable,"
                " sown_utc, settled_utc, potted_utc, planted_utc, stage, place, destination,"
                " ended_utc, emerged_utc FROM batch ORDER BY n"},
    {"placements", "SELECT batch_id, place, from_utc FROM placement ORDER BY n"},
    {"waterings", "SELECT batch_id, time_utc, known FROM watering ORDER BY n"},
    {"losses", "SELECT batch_id, time_utc, number, cause FROM loss ORDER BY n"},
    {"notes", "SELECT batch_id, time_utc, text FROM note ORDER BY n"},
    {"positions", "SELECT place, position, known, from_utc FROM position ORDER BY n"},
    {"readings", "SELECT place, time_utc, value_c, kind, moved FROM reading ORDER BY n"},
    {"visit_minutes", "SELECT visit_id, site, time_utc, minutes, jobs_minutes FROM visit_minutes"
                      " ORDER BY n"},
    {"aways", "SELECT id, grower, from_utc, to_utc, ended_utc, helper, helper_site,"
              " helper_from_min, helper_to_min FROM away ORDER BY n"},
    {"warnings", "SELECT site, night_day, low_c, heard_utc FROM warning ORDER BY n"},
    {"visit_wishes", "SELECT kind, site, grower, start_utc, end_utc, visit_id FROM visit_wish"
                     " ORDER BY n"},
    {"visits", "SELECT id, grower, site, start_utc, minutes, fixed, state, first_published_utc"
               " FROM visit ORDER BY n"},
    {"jobs",
     "SELECT id, visit_id, kind, batch_id, place, from_place, position, deadline_utc, guard,"
     " urgent, reason, state, reported_utc FROM job ORDER BY n"},
};

static const char *const flags[] = {"bought", "resowable", "known", "moved",
                                    "fixed",  "guard",     "urgent"};

static JsonNode *column_node(StoreRows *rows, int i)
{
    const char *key = sqlite3_column_name(rows, i);
    if (strcmp(key, "reason") == 0) {
        JsonNode *reason = json_from_string((const char *)sqlite3_column_text(rows, i), NULL);
        if (reason != NULL)
            return reason;
    }
    JsonNode *node = json_node_new(JSON_NODE_VALUE);
    switch (sqlite3_column_type(rows, i)) {
    case SQLITE_INTEGER:
        if (store_word_index(flags, STORE_N(flags), key) >= 0)
            json_node_set_boolean(node, sqlite3_column_int(rows, i) != 0);
        else
            json_node_set_int(node, sqlite3_column_int64(rows, i));
        return node;
    case SQLITE_FLOAT:
        if (isfinite(sqlite3_column_double(rows, i))) {
            json_node_set_double(node, sqlite3_column_double(rows, i));
            return node;
        }
        break;
    case SQLITE_TEXT:
        json_node_set_string(node, (const char *)sqlite3_column_text(rows, i));
        return node;
    }
    return json_node_init_null(node);
}

static gboolean add_part(Store *store, JsonObject *root, const char *key, const char *sql,
                         GError **error)
{
    JsonArray *array = json_array_new();
    json_object_set_array_member(root, key, array);
    g_autoptr(StoreRows) rows = store_query_values(store, sql, NULL, 0, error);
    if (rows == NULL)
        return FALSE;
    int step;
    while ((step = store_step(store, rows, error)) > 0) {
        JsonObject *object = json_object_new();
        for (int i = 0; i < sqlite3_column_count(rows); i++)
            json_object_set_member(object, sqlite3_column_name(rows, i), column_node(rows, i));
        json_array_add_object_element(array, object);
    }
    return step == 0;
}

char *store_export(Store *store, GError **error)
{
    g_autoptr(JsonNode) node = json_node_new(JSON_NODE_OBJECT);
    JsonObject *root = json_object_new();
    json_node_take_object(node, root);
    json_object_set_int_member(root, "thole-export", STORE_EXPORT_VERSION);
    for (size_t i = 0; i < G_N_ELEMENTS(parts); i++) {
        if (!add_part(store, root, parts[i].key, parts[i].sql, error))
            return NULL;
    }
    return json_to_string(node, TRUE);
}
