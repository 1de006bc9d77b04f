/* SPDX-License-Identifier: MIT */
#include "control/control-request.h"

#include <math.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"

#define SEEN_MAX 60 /* letters of a refused value that are repeated; chosen */

static gboolean G_GNUC_PRINTF(2, 3) refuse(GError **error, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    g_autofree char *message = g_strdup_vprintf(format, args);
    va_end(args);
    g_set_error_literal(error, THOLE_ERROR, THOLE_ERROR_INVALID, message);
    return FALSE;
}

/* The start of a text that is refused. The caller owns it. */
static char *clip(const char *text)
{
    if (g_utf8_strlen(text, -1) <= SEEN_MAX)
        return g_strdup(text);
    g_autofree char *start = g_utf8_substring(text, 0, SEEN_MAX);
    return g_strconcat(start, "…", NULL);
}

static gboolean refuse_node(GError **error, const char *name, JsonNode *node, const char *accepted)
{
    g_autofree char *text = json_to_string(node, FALSE);
    g_autofree char *seen = clip(text);

    return refuse(error, "%s: %s is not accepted; give %s", name, seen, accepted);
}

static void ask(const ControlRequest *request, const char *name)
{
    if (!g_ptr_array_find_with_equal_func(request->asked, name, g_str_equal, NULL))
        g_ptr_array_add(request->asked, g_strdup(name));
}

/* A null counts as missing. */
static JsonNode *find(const ControlRequest *request, const char *name)
{
    ask(request, name);
    JsonNode *node = request->body ? json_object_get_member(request->body, name) : NULL;
    return node && JSON_NODE_HOLDS_NULL(node) ? NULL : node;
}

/* Gives the member, or NULL: then the function's result is what it was to be without one. */
static JsonNode *get(const ControlRequest *request, const char *name, gboolean required,
                     const char *accepted, gboolean *ret_result, GError **error)
{
    JsonNode *node = find(request, name);

    if (!node)
        *ret_result = !required || refuse(error, "%s is missing; give %s", name, accepted);
    return node;
}

const char *control_param(const ControlRequest *request, const char *name)
{
    const char *value = g_hash_table_lookup(request->params, name);

    g_assert(value != NULL);
    return value;
}

const char *control_query(const ControlRequest *request, const char *name)
{
    ask(request, name);
    return g_hash_table_lookup(request->query, name);
}

gboolean control_query_flag(const ControlRequest *request, const char *name, gboolean *ret,
                            GError **error)
{
    const char *value = control_query(request, name);
    g_autofree char *seen = clip(value ? value : "");

    if (!value || g_str_equal(value, "false") || g_str_equal(value, "0"))
        *ret = FALSE;
    else if (g_str_equal(value, "true") || g_str_equal(value, "1"))
        *ret = TRUE;
    else
        return refuse(error, "%s=%s is not accepted; give true or false", name, seen);
    return TRUE;
}

static gboolean refuse_unknown(const ControlRequest *request, const char *kind, const char *name,
                               GError **error)
{
    g_autoptr(GString) accepted = g_string_new(NULL);

    for (guint i = 0; i < request->asked->len; i++)
        g_string_append_printf(accepted, "%s%s", i > 0 ? ", " : "",
                               (const char *)request->asked->pdata[i]);
    g_autofree char *start = clip(name);
    return refuse(error, "%s %s is not known; accepted: %s", kind, start,
                  accepted->len > 0 ? accepted->str : "none");
}

gboolean control_reject_rest(const ControlRequest *request, GError **error)
{
    GHashTableIter iter;
    gpointer key;

    g_hash_table_iter_init(&iter, request->query);
    while (g_hash_table_iter_next(&iter, &key, NULL))
        if (!g_ptr_array_find_with_equal_func(request->asked, key, g_str_equal, NULL))
            return refuse_unknown(request, "the query's", key, error);
    if (!request->body)
        return TRUE;
    g_autoptr(GList) members = json_object_get_members(request->body);
    for (GList *l = members; l; l = l->next)
        if (!g_ptr_array_find_with_equal_func(request->asked, l->data, g_str_equal, NULL))
            return refuse_unknown(request, "the member", l->data, error);
    return TRUE;
}

gboolean control_body_has(const ControlRequest *request, const char *name)
{
    return find(request, name) != NULL;
}

static gboolean is_plain_text(const char *text)
{
    for (const char *p = text; *p; p = g_utf8_next_char(p))
        if (g_unichar_iscntrl(g_utf8_get_char(p)))
            return FALSE;
    return TRUE;
}

gboolean control_body_string(const ControlRequest *request, const char *name, gboolean required,
                             const char **ret, GError **error)
{
    static const char accepted[] = "text of 1 to 2000 bytes in one line";
    gboolean result = FALSE;
    JsonNode *node = get(request, name, required, accepted, &result, error);

    G_STATIC_ASSERT(CONTROL_TEXT_MAX == 2000);
    if (!node)
        return result;
    const char *text =
        json_node_get_value_type(node) == G_TYPE_STRING ? json_node_get_string(node) : NULL;
    if (!text || !*text || strlen(text) > CONTROL_TEXT_MAX || !is_plain_text(text))
        return refuse_node(error, name, node, accepted);
    *ret = text;
    return TRUE;
}

/* Whether the node is a finite number. */
static gboolean node_number(JsonNode *node, double *ret)
{
    const GType type = json_node_get_value_type(node);

    if (!JSON_NODE_HOLDS_VALUE(node) || (type != G_TYPE_INT64 && type != G_TYPE_DOUBLE))
        return FALSE;
    const double value = json_node_get_double(node);
    if (!isfinite(value))
        return FALSE;
    *ret = value;
    return TRUE;
}

gboolean control_body_double(const ControlRequest *request, const char *name, gboolean required,
                             double least, double most, double *ret, GError **error)
{
    g_autofree char *accepted = g_strdup_printf("a number from %g to %g", least, most);
    gboolean result = FALSE;
    JsonNode *node = get(request, name, required, accepted, &result, error);
    double value;

    if (!node)
        return result;
    if (!node_number(node, &value) || value < least || value > most)
        return refuse_node(error, name, node, accepted);
    *ret = value;
    return TRUE;
}

gboolean control_body_int(const ControlRequest *request, const char *name, gboolean required,
                          int64_t least, int64_t most, int64_t *ret, GError **error)
{
    g_autofree char *accepted = g_strdup_printf(
        "a whole number from %" G_GINT64_FORMAT " to %" G_GINT64_FORMAT, least, most);
    gboolean result = FALSE;
    JsonNode *node = get(request, name, required, accepted, &result, error);
    double value;

    if (!node)
        return result;
    /* Whole numbers of up to 15 digits, which json_check() sees to, are exact in a double. */
    if (!node_number(node, &value) || value != floor(value) || value < (double)least ||
        value > (double)most || fabs(value) >= 1e15)
        return refuse_node(error, name, node, accepted);
    *ret = (int64_t)value;
    return TRUE;
}

gboolean control_body_bool(const ControlRequest *request, const char *name, gboolean required,
                           gboolean *ret, GError **error)
{
    gboolean result = FALSE;
    JsonNode *node = get(request, name, required, "true or false", &result, error);

    if (!node)
        return result;
    if (json_node_get_value_type(node) != G_TYPE_BOOLEAN)
        return refuse_node(error, name, node, "true or false");
    *ret = json_node_get_boolean(node);
    return TRUE;
}

gboolean control_body_handles(const ControlRequest *request, const char *name, gboolean required,
                              guint most_n, GArray **ret, GError **error)
{
    g_autofree char *accepted =
        g_strdup_printf("an array of 1 to %u whole numbers above 0, each once", most_n);
    g_autoptr(GArray) handles = g_array_new(FALSE, FALSE, sizeof(int64_t));
    gboolean result = FALSE;
    JsonNode *node = get(request, name, required, accepted, &result, error);

    if (!node)
        return result;
    JsonArray *array = JSON_NODE_HOLDS_ARRAY(node) ? json_node_get_array(node) : NULL;
    const guint n = array ? json_array_get_length(array) : 0;
    if (n < 1 || n > most_n)
        return refuse_node(error, name, node, accepted);
    for (guint i = 0; i < n; i++) {
        double value;
        if (!node_number(json_array_get_element(array, i), &value) || value != floor(value) ||
            value < 1 || value >= 1e15)
            return refuse_node(error, name, node, accepted);
        const int64_t handle = (int64_t)value;
        for (guint k = 0; k < i; k++)
            if (g_array_index(handles, int64_t, k) == handle)
                return refuse_node(error, name, node, accepted);
        g_array_append_val(handles, handle);
    }
    *ret = g_steal_pointer(&handles);
    return TRUE;
}

/* "18:30", two digits each. */
static gboolean clock_from_text(const char *text, int *ret_minute)
{
    if (strlen(text) != 5 || text[2] != ':')
        return FALSE;
    for (int i = 0; i < 5; i++)
        if (i != 2 && !g_ascii_isdigit(text[i]))
            return FALSE;
    const int hour = (text[0] - '0') * 10 + text[1] - '0';
    const int minute = (text[3] - '0') * 10 + text[4] - '0';
    if (hour > 23 || minute > 59)
        return FALSE;
    *ret_minute = hour * 60 + minute;
    return TRUE;
}

static gboolean time_from_text(const char *text, GTimeZone *zone, int64_t now_utc, int64_t *ret)
{
    int day, minute = 0;

    if (utc_parse(text, ret, NULL))
        return TRUE;
    if (!zone)
        return FALSE;
    if (clock_from_text(text, &minute)) {
        *ret = local_time_on_day(zone, local_day(zone, now_utc), minute);
        return TRUE;
    }
    const gsize length = strlen(text);
    if (length != 10 && !(length == 16 && (text[10] == ' ' || text[10] == 'T')))
        return FALSE;
    g_autofree char *date = g_strndup(text, 10);
    if (!local_day_parse(date, &day, NULL))
        return FALSE;
    if (length == 10) {
        *ret = local_midnight(zone, day);
        return TRUE;
    }
    if (!clock_from_text(text + 11, &minute))
        return FALSE;
    *ret = local_time_on_day(zone, day, minute);
    return TRUE;
}

gboolean control_body_time(const ControlRequest *request, const char *name, gboolean required,
                           GTimeZone *zone, int64_t now_utc, int64_t *ret, GError **error)
{
    const char *accepted = zone ? "a time like 18:30, \"2026-04-12 18:30\", 2026-04-12 or "
                                  "2026-04-12T17:30:00Z"
                                : "a time like 2026-04-12T17:30:00Z";
    gboolean result = FALSE;
    JsonNode *node = get(request, name, required, accepted, &result, error);
    int64_t time_utc;

    if (!node)
        return result;
    if (json_node_get_value_type(node) != G_TYPE_STRING ||
        !time_from_text(json_node_get_string(node), zone, now_utc, &time_utc))
        return refuse_node(error, name, node, accepted);
    *ret = time_utc;
    return TRUE;
}

#define DAY_ACCEPTED "a day like 2026-04-12, or yesterday, today, tonight, tomorrow"

gboolean control_day_from_text(const char *name, const char *text, GTimeZone *zone, int64_t now_utc,
                               int *ret, GError **error)
{
    static const struct {
        const char *word;
        int offset;
    } words[] = {{"yesterday", -1}, {"today", 0}, {"tonight", 0}, {"tomorrow", 1}};
    int day;

    for (guint i = 0; i < G_N_ELEMENTS(words); i++) {
        if (g_str_equal(text, words[i].word)) {
            *ret = local_day(zone, now_utc) + words[i].offset;
            return TRUE;
        }
    }
    if (!local_day_parse(text, &day, NULL)) {
        g_autofree char *start = clip(text);
        return refuse(error, "%s: \"%s\" is not accepted; give " DAY_ACCEPTED, name, start);
    }
    *ret = day;
    return TRUE;
}

gboolean control_body_day(const ControlRequest *request, const char *name, gboolean required,
                          GTimeZone *zone, int64_t now_utc, int *ret, GError **error)
{
    const char *text = NULL;

    if (!control_body_string(request, name, required, &text, error))
        return FALSE;
    return !text || control_day_from_text(name, text, zone, now_utc, ret, error);
}

void control_request_free(ControlRequest *request)
{
    if (!request)
        return;
    g_clear_pointer(&request->params, g_hash_table_unref);
    g_clear_pointer(&request->query, g_hash_table_unref);
    g_clear_pointer(&request->body, json_object_unref);
    g_clear_pointer(&request->asked, g_ptr_array_unref);
    g_free(request);
}
