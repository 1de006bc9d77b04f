/* SPDX-License-Identifier: MIT */
#include "service/wording-growth.h"

#include <math.h>

#include "service/wording-names.h"
#include "service/wording-sow.h"

static char *day_at(const WordingContext *context, const Batch *batch, int64_t utc)
{
    return wording_sow_day(context, context->garden->places[batch->place].site, utc);
}

/* "12 cm"; a tall plant is not known to the centimetre. */
static char *words_cm(double cm)
{
    return g_strdup_printf("%d cm", (int)lround(cm));
}

char *wording_growth_prick_out(const WordingContext *context, const Batch *batch,
                               const Growing *growing)
{
    if (growing->prick_out_utc == 0 || growing->prick_out_utc > context->now_utc)
        return NULL;
    const int leaves = context->garden->crops[batch->crop].prick_out_leaves;
    return g_strdup_printf("%s should have %d true %s by now: it is ready to prick out. When it is "
                           "done: tholectl batch prick-out %s.",
                           batch->name, leaves, leaves == 1 ? "leaf" : "leaves", batch->name);
}

char *wording_growth_touches(const WordingContext *context, const Batch *batch,
                             const Growing *growing)
{
    if (growing->touches_utc == 0 ||
        growing->touches_utc > context->now_utc + INT64_C(86400) * WORDING_TOUCH_AHEAD_D)
        return NULL;
    g_autofree char *day = day_at(context, batch, growing->touches_utc);
    g_autofree char *place = wording_place_words(context, batch->place);
    g_autofree char *room = words_cm(growing->room_cm);
    g_autofree char *when = growing->touches_utc <= context->now_utc
                                ? g_strdup("by now")
                                : g_strdup_printf("about %s", day);
    return g_strdup_printf("%s should touch the cover of %s %s, %s above its compost: raise the "
                           "cover, lift it off, or move the batch. If it is not so high: tholectl "
                           "batch height %s CM.",
                           batch->name, place, when, room, batch->name);
}

static void add_ahead(const WordingContext *context, const Batch *batch, const Growing *growing,
                      GString *text)
{
    if (growing->prick_out_utc > context->now_utc) {
        g_autofree char *day = day_at(context, batch, growing->prick_out_utc);
        g_string_append_printf(text, " Ready to prick out about %s.", day);
    } else if (growing->prick_out_utc != 0) {
        g_string_append(text, " Ready to prick out.");
    }
    if (growing->touches_utc > context->now_utc) {
        g_autofree char *day = day_at(context, batch, growing->touches_utc);
        g_string_append_printf(text, " It touches the cover about %s.", day);
    } else if (growing->touches_utc != 0) {
        g_string_append(text, " It touches the cover by now.");
    }
}

char *wording_growth(const WordingContext *context, const Batch *batch, const Growing *growing)
{
    if (!growing->growth.known || batch->stage >= STAGE_PLANTED_OUT)
        return NULL;
    const int leaves = (int)floor(growing->growth.leaves);
    g_autofree char *height = words_cm(growing->height_cm);
    g_autoptr(GString) text = g_string_new(NULL);

    if (leaves == 0)
        g_string_append(text, "It has no true leaf yet, by the warmth it has had");
    else
        g_string_append_printf(text,
                               "It has about %d true %s and is %s high, by the warmth it has "
                               "had",
                               leaves, leaves == 1 ? "leaf" : "leaves", height);
    g_string_append(text, growing->growth.height_factor > 0.0 ? " and as it was measured." : ".");
    if (batch->place >= 0)
        add_ahead(context, batch, growing, text);
    return g_string_free(g_steal_pointer(&text), FALSE);
}
