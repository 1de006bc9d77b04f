/* SPDX-License-Identifier: MIT */
#include "service/wording-advice.h"

#include "ramp/ramp.h"
#include "service/api-day.h"
#include "service/wording-names.h"
#include "service/wording-sow.h"

char *wording_set_back(const WordingContext *context, const WordingCheck *check)
{
    g_autofree char *day = api_day_short(check->night_day);
    g_autofree char *until = api_day_short(check->until_day);
    g_autofree char *low = wording_temperature(context->garden, check->cold_c);
    g_autofree char *allowed = wording_temperature(context->garden, check->allowed_c);

    return g_strdup_printf("The %s of the night to %s puts it back: its coldest ten hours were %s, "
                           "and %s was allowed. It rests %d more %s, to about %s, and is ready as "
                           "much later.",
                           check->low_c < 0.0 ? "frost" : "cold", day, low, allowed,
                           check->rest_days, check->rest_days == 1 ? "day" : "days", until);
}

/* "Else pot on by 28 Apr", where it cannot wait so long. */
static void add_outgrown(const WordingContext *context, const Batch *batch, int site,
                         int64_t held_utc, GString *text)
{
    g_autofree char *held = wording_sow_day(context, site, held_utc);
    const char *container = batch->container >= 0
                                ? context->garden->containers[batch->container].name
                                : "its container";

    if (held_utc <= context->now_utc)
        g_string_append_printf(text, " It outgrew %s by %s: pot it on.", container, held);
    else
        g_string_append_printf(text, " Else pot on by %s: it outgrows %s then.", held, container);
}

char *wording_wait(const WordingContext *context, const Batch *batch, const WordingWait *wait)
{
    const int site = context->garden->places[batch->destination].site;
    g_autofree char *fit = wording_sow_day(context, site, wait->fit_utc);
    g_autofree char *ready = wording_sow_day(context, site, wait->ready_utc);
    g_autofree char *where = wording_where(context, batch->destination);
    GString *text = g_string_new(NULL);

    g_string_printf(text,
                    "%s will have to wait: large and hard enough by %s, and %s it is normally %s "
                    "before %s.",
                    batch->name, fit, where, wait->cold ? "too cold" : "too early for late frosts",
                    ready);
    for (int i = 0; i < wait->n_others; i++) {
        const WordingOther *other = &wait->others[i];
        g_autofree char *there = wording_where(context, other->place);
        g_autofree char *day =
            wording_sow_day(context, context->garden->places[other->place].site, other->utc);
        *there = g_ascii_toupper(*there);
        g_string_append_printf(text, " %s it could go from %s.", there, day);
    }
    if (wait->fleece_utc != 0) {
        g_autofree char *day = wording_sow_day(context, site, wait->fleece_utc);
        g_string_append_printf(
            text, " With a fleece to lay over the bed it could go from about %s.", day);
    }
    if (wait->held_utc != 0)
        add_outgrown(context, batch, site, wait->held_utc, text);
    return g_string_free(text, FALSE);
}

char *wording_no_open_place(const WordingContext *context, const Batch *batch, int best,
                            double weight)
{
    g_autofree char *to = wording_place_words(context, batch->destination);
    g_autofree char *where = best >= 0 ? wording_where(context, best) : NULL;
    g_autofree char *here =
        best >= 0
            ? g_strdup_printf("%s, as far open as it goes, an hour counts for %.1f", where, weight)
            : g_strdup("there is no place outdoors for its trays");

    return g_strdup_printf("Nothing in this garden gives %s enough hours in the open for %s: %s. "
                           "What would help: a spot outdoors to stand the trays on by day, in "
                           "thole.conf a place of kind=standing.",
                           batch->name, to, here);
}

char *wording_forward(const WordingContext *context, const Batch *batch, const Reason *bound)
{
    if (bound->limit == LIMIT_EXPOSURE && batch->ramp.hold_days == 0)
        return g_strdup_printf("It comes forward by each day with %.1f hours in the open or more.",
                               ramp_allowance_h(&batch->ramp) / 2.0); /* what makes it used */
    if (bound->limit == LIMIT_NIGHTS && batch->destination >= 0) {
        g_autofree char *where = wording_place_words(context, batch->destination);
        return g_strdup_printf("It comes forward by each night under no more cover than %s has.",
                               where);
    }
    if (bound->limit == LIMIT_SOIL)
        return g_strdup("Fleece or film laid over the bed now warms it, and brings it forward.");
    return NULL;
}
