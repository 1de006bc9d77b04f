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

/* What too much of that cold comes to, after "or"; the crop's `chill-does`. */
static const char *chill_does(const Crop *crop)
{
    switch ((ChillHarm)crop->chill_does) {
    case CHILL_BOLTS:
        return "it may run to seed";
    case CHILL_BUTTONS:
        return "it may make a small head too soon";
    case CHILL_CATFACES:
        return "its first fruit may be misshapen (catfaced)";
    }
    return "its harvest may be spoilt";
}

static char *chill_count(const WordingContext *context, const Crop *crop, const Growing *growing)
{
    g_autofree char *below = wording_temperature(context->garden, crop->chill_below_c);
    return g_strdup_printf("%.1f of the %g days below %s", growing->chill_had_d, crop->chill_days,
                           below);
}

char *wording_growth_chill(const WordingContext *context, const Batch *batch,
                           const Growing *growing)
{
    const Crop *crop = &context->garden->crops[batch->crop];
    if (!(growing->chill_had_d >= WORDING_CHILL_SHARE * crop->chill_days) ||
        batch->stage >= STAGE_PLANTED_OUT)
        return NULL;
    g_autofree char *count = chill_count(context, crop, growing);
    if (growing->chill_had_d >= crop->chill_days)
        return g_strdup_printf("%s has had %s that it may have, and %s: keep it as warm as you can "
                               "until it is planted.",
                               batch->name, count, chill_does(crop));
    return g_strdup_printf("%s has had %s that it may have; with more %s: keep the nights warmer, "
                           "and harden it by air, light and drier compost.",
                           batch->name, count, chill_does(crop));
}

char *wording_growth_hardened(const WordingContext *context, const Batch *batch,
                              const Growing *growing)
{
    const Crop *crop = &context->garden->crops[batch->crop];
    const bool spoils = crop->chill_days > 0.0 && crop->chill_does != CHILL_CATFACES;
    if (!spoils || batch->stage < STAGE_HARDENING || batch->stage >= STAGE_PLANTED_OUT ||
        growing->hardening_d < WORDING_HARDENED_D || growing->hardening_d > WORDING_HARDENED_MOST_D)
        return NULL;
    return g_strdup_printf("%s has been hardening for %d days, and a fortnight is enough: kept so "
                           "longer %s. Plant it out as soon as it is ready, or keep it warmer "
                           "until then.",
                           batch->name, (int)growing->hardening_d, chill_does(crop));
}

/* "Planted out under fleece now, …": nothing where no night there is planned. */
static void add_planted(const WordingContext *context, const Batch *batch, const Holding *holding,
                        GString *text)
{
    if (holding->nights == 0)
        return;
    g_autofree char *where = wording_where(context, holding->destination);
    g_autofree char *there =
        holding->fleece ? g_strdup("out under fleece") : g_steal_pointer(&where);
    g_string_append_printf(text,
                           " Planted %s now (tholectl batch plant-out %s), the odds of damage in "
                           "the next %d %s: %s.",
                           there, batch->name, holding->nights,
                           holding->nights == 1 ? "night" : "nights",
                           wording_odds(holding->planted_odds));
}

static void add_potted(const WordingContext *context, const Batch *batch, const Holding *holding,
                       GString *text)
{
    if (holding->container < 0)
        return;
    const char *container = context->garden->containers[holding->container].name;
    g_autofree char *day = day_at(context, batch, holding->potted_utc);
    g_string_append_printf(text,
                           " Potted on into %s (tholectl batch pot-on %s %s) it can wait until %s",
                           container, batch->name, container, day);
    if (isfinite(holding->potted_odds))
        g_string_append_printf(text, ", the odds of a frost after that: %s",
                               wording_odds(holding->potted_odds));
    g_string_append_c(text, '.');
}

char *wording_growth_outgrown(const WordingContext *context, const Batch *batch,
                              const Holding *holding)
{
    const Container *container = &context->garden->containers[batch->container];
    g_autofree char *day = day_at(context, batch, holding->outgrown_utc);
    g_autoptr(GString) text = g_string_new(NULL);

    if (holding->outgrown_utc > context->now_utc)
        g_string_printf(text, "%s outgrows %s by %s: plant it out, or pot it on.", batch->name,
                        container->name, day);
    else
        g_string_printf(text, "%s has outgrown %s: plant it out, or pot it on.", batch->name,
                        container->name);
    add_planted(context, batch, holding, text);
    add_potted(context, batch, holding, text);
    return g_string_free(g_steal_pointer(&text), FALSE);
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
    if (isfinite(growing->chill_had_d)) {
        const Crop *crop = &context->garden->crops[batch->crop];
        g_autofree char *count = chill_count(context, crop, growing);
        g_string_append_printf(text, " It has had %s that it may have.", count);
    }
    if (batch->place >= 0)
        add_ahead(context, batch, growing, text);
    return g_string_free(g_steal_pointer(&text), FALSE);
}
