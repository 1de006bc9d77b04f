/* SPDX-License-Identifier: MIT */
/* How a batch stands, in one line, and what holds it back. */
#include "service/wording-private.h"

#include <math.h>

static char *subject(const WordingContext *context, const Batch *batch)
{
    g_autofree char *noun = wording_crop_words(wording_crop(context, batch), batch->number != 1);
    g_autofree char *name = wording_name(batch->name, sizeof batch->name);
    g_autofree char *plants =
        batch->number > 0 ? g_strdup_printf("%d %s", batch->number, noun) : g_strdup(noun);

    return *name == '\0' ? g_steal_pointer(&plants) : g_strdup_printf("%s, %s", name, plants);
}

static void add_tonight(const WordingContext *context, const Batch *batch,
                        const BatchOutlook *outlook, GString *text)
{
    const Garden *garden = context->garden;
    g_autofree char *bears = wording_temperature(garden, batch->ramp.hardened_to_c);
    g_autofree char *allowed = wording_temperature(garden, outlook->allowed_low_c);
    g_autofree char *cold = wording_temperature(garden, outlook->tonight_cold_c);
    g_autofree char *leaf = wording_temperature(garden, outlook->tonight_leaf_c);
    g_autofree char *damage = wording_temperature(garden, outlook->damage_c);
    g_autofree char *odds = wording_odds_of("damage", outlook->damage_odds);

    if (batch->stage == STAGE_PLANTED_OUT) {
        if (*leaf != '\0' && *damage != '\0')
            g_string_append_printf(text, "; tonight leaves about %s, damage below %s", leaf,
                                   damage);
    } else {
        if (*bears != '\0')
            g_string_append_printf(text, ", bears %s", bears);
        if (*allowed != '\0')
            g_string_append_printf(text, "; tonight %s is allowed", allowed);
        if (*cold != '\0')
            g_string_append_printf(text, "%s about %s expected",
                                   *allowed != '\0' ? "," : "; tonight", cold);
    }
    if (*leaf != '\0' && wording_odds_band(outlook->damage_odds, -1) > 0)
        g_string_append_printf(text, ", %s", odds);
}

/* What a batch waits for, behind its ready date. */
static const char *waiting_words(LimitKind limit)
{
    switch (limit) {
    case LIMIT_EXPOSURE:
        return "it needs more days in the open";
    case LIMIT_NIGHTS:
        return "it needs more nights under less cover";
    case LIMIT_HOLD:
        return "it rests after a check";
    case LIMIT_SETTLING:
        return "it settles after potting on";
    case LIMIT_SIZE:
        return "it is too small yet";
    case LIMIT_SOIL:
        return "the ground is too cold yet";
    case LIMIT_GROUND:
        return "the ground is too wet or it blows too hard";
    case LIMIT_DESTINATION:
        return "the nights there are too cold yet";
    case LIMIT_HELD_TOO_LONG:
        return "it has been too long in its container";
    case LIMIT_CAPACITY:
        return "there is no room";
    case LIMIT_NO_VISIT:
        return "nobody can be there";
    case LIMIT_DAMAGE:
        return "frost might damage it";
    case LIMIT_CHILL:
        return "the nights would spoil its harvest";
    case LIMIT_CHECK:
        return "the nights are colder than it bears";
    case LIMIT_HEAT:
    case LIMIT_GUST:
    case LIMIT_SCORCH:
    case LIMIT_FROZEN:
    case LIMIT_PROGRESS:
    case LIMIT_WATER:
    case LIMIT_DAMP:
    case LIMIT_DAYLIGHT:
    case LIMIT_NONE:
        break;
    }
    return "it is not hard enough yet";
}

static void add_ready(const WordingContext *context, const Batch *batch,
                      const BatchOutlook *outlook, GString *text)
{
    const Reason *bound = &outlook->bound;
    const Place *to = wording_place(context, batch->destination),
                *here = wording_place(context, batch->place);
    const int site = to != NULL ? to->site : here != NULL ? here->site : -1;
    g_autofree char *date = wording_date(context, site, outlook->ready_utc);
    const bool bound_known = bound->limit != LIMIT_NONE;

    if (batch->stage == STAGE_PLANTED_OUT || batch->stage == STAGE_ENDED)
        return;
    if (*date == '\0') {
        g_string_append_printf(text, "; no ready date yet");
    } else if (outlook->not_before) {
        g_string_append_printf(text, "; ready not before %s", date);
    } else if (outlook->ready_utc <= context->now_utc) {
        g_string_append(text, "; ready to plant");
        return;
    } else {
        g_string_append_printf(text, "; ready about %s", date);
    }
    if (bound->limit == LIMIT_DESTINATION && wording_place(context, bound->place) == NULL)
        g_string_append(text, ": say where it is to be planted");
    else if (bound_known)
        g_string_append_printf(text, ": %s", waiting_words(bound->limit));
}

char *wording_outlook(const WordingContext *context, const Batch *batch,
                      const BatchOutlook *outlook)
{
    g_autofree char *who = subject(context, batch);
    GString *text = g_string_new(who);

    g_string_append_printf(text, ": %s", wording_stage(batch->stage));
    if (outlook->may_harden && batch->stage < STAGE_HARDENING)
        g_string_append(text, ", fit to leave the heat");
    if (batch->stage != STAGE_ENDED) {
        add_tonight(context, batch, outlook, text);
        add_ready(context, batch, outlook, text);
    }
    g_string_append_c(text, '.');
    return g_string_free(text, FALSE);
}

char *wording_bound(const WordingContext *context, const Batch *batch, const BatchOutlook *outlook)
{
    const Reason *bound = &outlook->bound;
    const Place *to = wording_place(context, batch->destination),
                *here = wording_place(context, batch->place);
    const int site = to != NULL ? to->site : here != NULL ? here->site : -1;

    if (batch->stage == STAGE_PLANTED_OUT)
        return g_strdup("It is planted out: only frost counts now.");
    if (batch->stage == STAGE_ENDED)
        return g_strdup("It has ended.");
    if (bound->limit == LIMIT_NONE)
        return g_strdup("Nothing holds it back.");
    return wording_reason_plain(context, bound, site);
}

char *wording_established(const WordingContext *context, const Batch *batch)
{
    const int days = (int)((context->now_utc - batch->planted_utc) / 86400);

    return g_strdup_printf("Established: planted out %d days ago and past danger of frost. It is "
                           "watched no more.",
                           days);
}
