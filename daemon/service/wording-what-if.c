/* SPDX-License-Identifier: MIT */
#include "service/wording-what-if.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "service/wording-private.h"

#define WORTH_SAYING_MIN 5 /* of all visits together; chosen */

static int band(double odds)
{
    return wording_odds_band(odds, -1);
}

static bool is_worse(const WhatIfBatch *b)
{
    return band(b->odds_after) > band(b->odds_before);
}

static bool is_safer(const WhatIfBatch *b)
{
    return band(b->odds_after) < band(b->odds_before);
}

static char *days_words(int days)
{
    return days == 1 ? g_strdup("a day") : g_strdup_printf("%d days", days);
}

static void add_risk(const WordingContext *context, const WhatIfSum *sum, GString *text)
{
    const WhatIfBatch *worst = NULL, *safest = NULL;
    int n_worse = 0, n_safer = 0;

    for (guint i = 0; i < sum->batches->len; i++) {
        const WhatIfBatch *b = &g_array_index(sum->batches, WhatIfBatch, i);
        n_worse += is_worse(b) ? 1 : 0;
        n_safer += is_safer(b) ? 1 : 0;
        if (is_worse(b) && (worst == NULL || b->odds_after > worst->odds_after))
            worst = b;
        if (is_safer(b) && (safest == NULL || b->odds_before > safest->odds_before))
            safest = b;
    }
    const WhatIfBatch *told = worst != NULL ? worst : safest;
    if (told == NULL) {
        g_string_append(text, "No batch would be at more risk");
        return;
    }
    g_autofree char *night = wording_night(context, told->site, told->night_utc);
    const int n = worst != NULL ? n_worse : n_safer;
    const char *how = worst != NULL ? "at more risk" : "safer";
    if (n > 1)
        g_string_append_printf(text, "%d batches would be %s, %s most", n, how, told->batch->name);
    else
        g_string_append_printf(text, "%s would be %s", told->batch->name, how);
    g_string_append_printf(text, ": odds of damage %s %s, instead of %s",
                           wording_odds(told->odds_after), night, wording_odds(told->odds_before));
}

/* The batch that is moved most, one way; NULL none is. */
static const WhatIfBatch *most(const WhatIfSum *sum, int way, int *ret_n)
{
    const WhatIfBatch *found = NULL;

    *ret_n = 0;
    for (guint i = 0; i < sum->batches->len; i++) {
        const WhatIfBatch *b = &g_array_index(sum->batches, WhatIfBatch, i);
        if (way * b->days_later <= 0)
            continue;
        ++*ret_n;
        if (found == NULL || abs(b->days_later) > abs(found->days_later))
            found = b;
    }
    return found;
}

static void add_dates(const WhatIfSum *sum, GString *text)
{
    for (int way = 1; way >= -1; way -= 2) {
        int n = 0;
        const WhatIfBatch *b = most(sum, way, &n);
        if (b == NULL)
            continue;
        g_autofree char *days = days_words(abs(b->days_later));
        const char *when = way > 0 ? "later" : "sooner";
        if (n > 1)
            g_string_append_printf(text, ". %d batches would be ready %s, %s by %s", n, when,
                                   b->batch->name, days);
        else
            g_string_append_printf(text, ". %s would be ready %s %s", b->batch->name, days, when);
    }
}

static void add_work(const WhatIfSum *sum, GString *text)
{
    const int more = sum->visits_more - sum->visits_fewer;

    const int minutes = (int)lround(fabs(sum->minutes_more));

    if (more != 0)
        g_string_append_printf(text, ". %d %s %s", abs(more), abs(more) == 1 ? "visit" : "visits",
                               more > 0 ? "more" : "fewer");
    else if (sum->visits_more + sum->visits_other > 0)
        g_string_append(text, ". As many visits, but not the same");
    else
        return;
    if (minutes >= WORTH_SAYING_MIN)
        g_string_append_printf(text, ", %d min %s in all", minutes,
                               sum->minutes_more > 0 ? "more" : "less");
}

char *wording_what_if(const WordingContext *context, const WhatIfSum *sum)
{
    GString *text = g_string_new(NULL);

    if (sum->batches->len == 0 && sum->limits_more == 0 &&
        sum->visits_more + sum->visits_fewer + sum->visits_other == 0) {
        g_string_append(text, "Nothing would differ: the same visits and ready dates, no batch at "
                              "more risk.");
        return g_string_free(text, FALSE);
    }
    add_risk(context, sum, text);
    add_dates(sum, text);
    add_work(sum, text);
    g_string_append_c(text, '.');
    return g_string_free(text, FALSE);
}

char *wording_what_if_odds(const WordingContext *context, const WhatIfBatch *b)
{
    if (!is_worse(b) && !is_safer(b))
        return NULL;
    g_autofree char *night = wording_night(context, b->site, b->night_utc);
    return g_strdup_printf("%s: odds of damage %s %s, instead of %s.", b->batch->name,
                           wording_odds(b->odds_after), night, wording_odds(b->odds_before));
}

/* "Fri 24 Apr", "not before 28 Apr", "now"; NULL there is none. */
static char *ready_words(const char *ready)
{
    if (g_strcmp0(ready, "–") == 0)
        return NULL;
    return g_str_has_prefix(ready, "from ")
               ? g_strdup_printf("not before %s", ready + strlen("from "))
               : g_strdup(ready);
}

char *wording_what_if_ready(const WhatIfBatch *b)
{
    if (!b->ready_differs)
        return NULL;
    g_autofree char *was = ready_words(b->ready_before), *is = ready_words(b->ready_after);
    g_autofree char *days = days_words(abs(b->days_later));
    GString *text = g_string_new(b->batch->name);

    if (is == NULL)
        g_string_append(text, ": no ready date");
    else
        g_string_append_printf(text, ": ready %s", is);
    if (b->days_later != 0)
        g_string_append_printf(text, ", %s %s", days, b->days_later > 0 ? "later" : "sooner");
    g_string_append_printf(text, ", instead of %s.", was != NULL ? was : "none");
    return g_string_free(text, FALSE);
}

char *wording_supposed_skip(const WordingContext *context, const Visit *visit)
{
    g_autofree char *when = wording_when(context, visit->site, visit->start_utc);
    g_autofree char *site = wording_site_words(context, visit->site);

    return g_strdup_printf("If nobody is at %s around %s:", site, when);
}

char *wording_supposed_frost(const WordingContext *context, int site, const char *night,
                             double low_c)
{
    g_autofree char *low = wording_temperature(context->garden, low_c);
    g_autofree char *where = wording_site_words(context, site);

    return g_strdup_printf("If it goes down to %s at %s in the night that begins %s:", low, where,
                           night);
}

char *wording_supposed_place(const WordingContext *context, const Place *place)
{
    g_autofree char *site = wording_site_words(context, place->site);
    g_autofree char *trays =
        place->trays < 0
            ? g_strdup("")
            : g_strdup_printf(" for %d %s", place->trays, place->trays == 1 ? "tray" : "trays");

    return g_strdup_printf("With one %s more at %s%s, called %s here:",
                           wording_place_kind(place->kind), site, trays, place->name);
}

char *wording_supposed_sown(const Batch *batch, const char *day)
{
    return g_strdup_printf("If %s had been sown %s:", batch->name, day);
}
