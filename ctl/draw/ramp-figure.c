/* SPDX-License-Identifier: MIT */
#include "ctl/draw/ramp-figure.h"

#include <math.h>
#include <string.h>

#include "ctl/read.h"

#define MOST 200.0 /* no figure of a batch is larger; a reply is not believed */

void ramp_figure_free(RampFigure *figure)
{
    if (figure == NULL)
        return;
    g_clear_pointer(&figure->days, g_array_unref);
    g_free(figure->ready);
    g_clear_pointer(&figure->reply, json_object_unref);
    g_free(figure);
}

static double number(JsonObject *object, const char *name)
{
    const double value = read_number(object, name);

    return isfinite(value) && fabs(value) <= MOST ? value : NAN;
}

static RampFigureDay day_of(JsonObject *object)
{
    return (RampFigureDay){.date = read_text(object, "date"),
                           .when = read_text(object, "when"),
                           .place = read_text(object, "place"),
                           .planned = read_flag(object, "planned"),
                           .check = read_flag(object, "check"),
                           .estimated = read_flag(object, "estimated"),
                           .low_c = number(object, "low_c"),
                           .cold_c = number(object, "cold_c"),
                           .spread_k = number(object, "spread_k"),
                           .allowed_low_c = number(object, "allowed_low_c"),
                           .hardened_to_c = number(object, "hardened_to_c"),
                           .damage_c = number(object, "damage_c"),
                           .odds = number(object, "damage_odds"),
                           .exposed_h = number(object, "exposed_h"),
                           .allowed_h = number(object, "allowed_h")};
}

/* The table's words, "from 27 Apr", as a sentence. */
static char *ready_sentence(JsonObject *batch)
{
    const char *ready = read_text(batch, "ready");

    if (g_str_equal(read_text(batch, "stage"), "planted out"))
        return g_strdup("Planted out");
    if (*ready == '\0' || g_str_equal(ready, "–"))
        return g_strdup("No ready date yet");
    const char *range = read_text(batch, "ready_range");
    const bool not_before = g_str_has_prefix(ready, "from ");
    return g_strdup_printf("Ready %s%s%s%s%s", not_before ? "not before " : "",
                           ready + (not_before ? strlen("from ") : 0), *range ? " (" : "", range,
                           *range ? ")" : "");
}

static void read_days(RampFigure *figure)
{
    const guint n = read_count(figure->reply, "days");
    guint past = 0;

    while (past < n && !read_flag(read_item(figure->reply, "days", past), "planned"))
        past++;
    const guint first = past > RAMP_PAST_MOST ? past - RAMP_PAST_MOST : 0;
    for (guint i = first; i < MIN(n, past + RAMP_AHEAD_MOST); i++) {
        const RampFigureDay day = day_of(read_item(figure->reply, "days", i));
        g_array_append_val(figure->days, day);
    }
}

RampFigure *ramp_figure_new(JsonObject *reply, char **ret_why)
{
    JsonObject *batch = read_object(reply, "batch");
    g_autoptr(RampFigure) figure = g_new0(RampFigure, 1);

    figure->reply = json_object_ref(reply);
    figure->days = g_array_new(FALSE, FALSE, sizeof(RampFigureDay));
    read_days(figure);
    if (batch == NULL || figure->days->len == 0) {
        *ret_why = g_strdup("nothing is known yet of that batch's days; ask again after the next "
                            "plan");
        return NULL;
    }
    figure->name = read_text(batch, "name");
    figure->crop = read_text(batch, "crop");
    figure->stage = read_text(batch, "stage");
    figure->place = read_text(batch, "place");
    figure->site = read_text(batch, "site");
    figure->bound = read_text(read_object(batch, "bound"), "text");
    figure->ready = ready_sentence(batch);
    figure->ready_date = read_text(batch, "ready_utc");
    figure->fahrenheit = g_str_equal(read_text(reply, "units"), "F");
    return g_steal_pointer(&figure);
}
