/* SPDX-License-Identifier: MIT */
#include "service/wording-season.h"

#include "service/wording-names.h"
#include "service/wording-sow.h"

#define DAY_S 86400

char *wording_season_up(const WordingContext *context, const Batch *batch,
                        const SowingCourse *course)
{
    const int site = context->garden->places[batch->place].site;
    if (course->emerged_utc == 0 || course->fit != SEED_FITS) {
        g_autofree char *where = wording_where(context, batch->place);
        g_autofree char *has = wording_sow_warmth(context, course->low_c, course->high_c);
        const bool hot = course->fit == SEED_TOO_HOT;
        return g_strdup_printf("%s stands too %s to germinate, %s at %s: move it somewhere %s.",
                               batch->name, hot ? "hot" : "cold", where, has,
                               hot ? "cooler" : "warmer");
    }
    if (context->now_utc < course->emerged_utc)
        return NULL;
    if (context->now_utc <= course->late_utc)
        return g_strdup_printf("Is %s up? It may be by now. If so: tholectl batch emerged %s.",
                               batch->name, batch->name);
    g_autofree char *day = wording_sow_day(context, site, course->late_utc);
    return g_strdup_printf("Is %s up? It should have been by %s. If so: tholectl batch emerged %s. "
                           "If not, dig up a seed, and sow again while there is time.",
                           batch->name, day, batch->name);
}

char *wording_season_full(const WordingContext *context, const WordingFull *full)
{
    const Place *place = &context->garden->places[full->place];
    g_autofree char *name = wording_place_words(context, full->place);
    g_autofree char *week = wording_sow_day(context, place->site, full->week_utc);
    g_autofree char *until = wording_sow_day(context, place->site, full->until_utc);
    g_autoptr(GString) text = g_string_new(NULL);

    g_string_printf(text, "Over full: %s, week of %s", name, week);
    if (full->until_utc > full->week_utc + INT64_C(8) * DAY_S)
        g_string_append_printf(text, " to %s", until);
    g_string_append_printf(text, ", %d of %d trays: %s.", full->trays, place->trays, full->who);
    if (full->batch == NULL)
        return g_string_free(g_steal_pointer(&text), FALSE);
    if (full->to >= 0) {
        g_autofree char *where = wording_where(context, full->to);
        g_string_append_printf(text, " Shift %s: %s there is room, and it bears the nights.",
                               full->batch, where);
    } else {
        g_autofree char *leave = wording_sow_day(context, place->site, full->leave_utc);
        g_string_append_printf(text,
                               " Nothing else indoors has room. The first to leave is %s, from %s; "
                               "until then keep fewer, or prick out later.",
                               full->batch, leave);
    }
    return g_string_free(g_steal_pointer(&text), FALSE);
}
