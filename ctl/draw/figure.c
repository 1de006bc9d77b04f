/* SPDX-License-Identifier: MIT */
#include "ctl/draw/figure.h"

#include <math.h>

#include "ctl/read.h"

#define STEPS_MOST 2000 /* more than any horizon; a reply is not believed */

static void panel_clear(gpointer data)
{
    FigurePanel *panel = data;

    g_free(panel->air_c);
    g_free(panel->spread_k);
    g_clear_pointer(&panel->stretches, g_array_unref);
    g_clear_pointer(&panel->frosts, g_array_unref);
}

void figure_free(Figure *figure)
{
    if (figure == NULL)
        return;
    g_clear_pointer(&figure->days, g_array_unref);
    g_clear_pointer(&figure->visits, g_array_unref);
    g_clear_pointer(&figure->panels, g_array_unref);
    g_clear_pointer(&figure->reply, json_object_unref);
    g_free(figure);
}

/* Hours from the start; NAN for no time. */
static double hours(JsonObject *object, const char *name, GDateTime *start)
{
    g_autoptr(GDateTime) at = g_date_time_new_from_iso8601(read_text(object, name), NULL);

    return at != NULL ? (double)g_date_time_difference(at, start) / (double)G_TIME_SPAN_HOUR : NAN;
}

/* `n` numbers of an array; null is NAN. Where it has another length all are. */
static double *read_numbers(JsonObject *object, const char *name, int n)
{
    double *numbers = g_new(double, (gsize)n);
    JsonNode *node = object != NULL ? json_object_get_member(object, name) : NULL;
    JsonArray *array =
        node != NULL && JSON_NODE_HOLDS_ARRAY(node) ? json_node_get_array(node) : NULL;
    const bool whole = array != NULL && json_array_get_length(array) == (guint)n;

    for (int i = 0; i < n; i++) {
        JsonNode *item = whole ? json_array_get_element(array, (guint)i) : NULL;
        numbers[i] = item != NULL && JSON_NODE_HOLDS_VALUE(item) ? json_node_get_double(item) : NAN;
        if (!isfinite(numbers[i]) || fabs(numbers[i]) > 200)
            numbers[i] = NAN;
    }
    return numbers;
}

static void add_panel(Figure *figure, JsonObject *object, const char *name, GDateTime *start)
{
    JsonObject *limit = read_object(object, "limit");
    FigurePanel panel = {
        .name = name,
        .air_c = read_numbers(object, "air_c", figure->n_steps),
        .spread_k = read_numbers(object, "spread_k", figure->n_steps),
        .stretches = g_array_new(FALSE, FALSE, sizeof(FigureStretch)),
        .frosts = g_array_new(FALSE, FALSE, sizeof(FigureFrost)),
        .limit_batch = limit != NULL ? read_text(limit, "batch") : NULL,
        .limit_c = limit != NULL ? read_number(limit, "damage_c") : NAN,
    };

    for (guint i = 0; i < read_count(object, "positions"); i++) {
        JsonObject *item = read_item(object, "positions", i);
        const FigureStretch stretch = {.from_h = hours(item, "from_utc", start),
                                       .to_h = hours(item, "to_utc", start),
                                       .open = read_number(item, "open"),
                                       .position = read_text(item, "position")};
        if (stretch.to_h > stretch.from_h && stretch.from_h >= 0)
            g_array_append_val(panel.stretches, stretch);
    }
    for (guint i = 0; i < read_count(object, "frosts"); i++) {
        JsonObject *item = read_item(object, "frosts", i);
        const FigureFrost frost = {hours(item, "at_utc", start), read_number(item, "odds")};
        if (frost.at_h >= 0 && isfinite(frost.odds))
            g_array_append_val(panel.frosts, frost);
    }
    g_array_append_val(figure->panels, panel);
}

Figure *figure_new(JsonObject *reply, char **ret_why)
{
    g_autoptr(GDateTime) start = g_date_time_new_from_iso8601(read_text(reply, "start_utc"), NULL);
    JsonObject *outdoors = read_object(reply, "outdoors");
    JsonNode *air = outdoors != NULL ? json_object_get_member(outdoors, "air_c") : NULL;
    const guint n = air != NULL && JSON_NODE_HOLDS_ARRAY(air)
                        ? json_array_get_length(json_node_get_array(air))
                        : 0;
    const double step_s = read_number(reply, "step_s");

    if (start == NULL || n < 2 || n > STEPS_MOST || !(step_s > 0)) {
        *ret_why = g_strdup("the daemon's reply is no course of days");
        return NULL;
    }
    Figure *figure = g_new0(Figure, 1);
    figure->reply = json_object_ref(reply);
    figure->n_steps = (int)n;
    figure->step_h = step_s / 3600;
    figure->normals_from_h = hours(reply, "normals_from_utc", start);
    figure->site = read_text(reply, "site");
    figure->forecast = read_text(reply, "forecast");
    figure->fahrenheit = g_str_equal(read_text(reply, "units"), "F");
    figure->days = g_array_new(FALSE, FALSE, sizeof(FigureDay));
    figure->visits = g_array_new(FALSE, FALSE, sizeof(FigureVisit));
    figure->panels = g_array_new(FALSE, FALSE, sizeof(FigurePanel));
    g_array_set_clear_func(figure->panels, panel_clear);
    for (guint i = 0; i < read_count(reply, "days"); i++) {
        JsonObject *item = read_item(reply, "days", i);
        const FigureDay day = {read_text(item, "when"), hours(item, "midnight_utc", start),
                               hours(item, "sunrise_utc", start), hours(item, "sunset_utc", start)};
        if (isfinite(day.midnight_h))
            g_array_append_val(figure->days, day);
    }
    for (guint i = 0; i < read_count(reply, "visits"); i++) {
        JsonObject *item = read_item(reply, "visits", i);
        const FigureVisit visit = {hours(item, "start_utc", start), read_text(item, "clock")};
        if (visit.at_h >= 0)
            g_array_append_val(figure->visits, visit);
    }
    add_panel(figure, outdoors, "outdoors", start);
    for (guint i = 0; i < read_count(reply, "places"); i++) {
        JsonObject *item = read_item(reply, "places", i);
        add_panel(figure, item, read_text(item, "place"), start);
    }
    return figure;
}
