/* SPDX-License-Identifier: MIT */
/*
 * Why a batch stays: the place that was considered, the night, what is expected there, and what it
 * may be given. Whole degrees, so that it reads the same with every forecast that means the same.
 */
#include "service/wording-stays.h"
#include "service/wording-private.h"

#include <string.h>

typedef struct Staying {
    const WordingContext *context;
    const Reason *reason;
    int site;
    char *there, *what, *moment, *night; /* "in the frame at the plot"; "the frame at the plot" */
} Staying;

static void staying_clear(Staying *s)
{
    g_free(s->there);
    g_free(s->what);
    g_free(s->moment);
    g_free(s->night);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(Staying, staying_clear)

static Staying staying(const WordingContext *context, const Reason *reason, const Batch *batch,
                       const Place *place)
{
    const Place *here = wording_place(context, batch->place);
    g_autofree char *site = here != NULL && here->site != place->site
                                ? wording_site_words(context, place->site)
                                : g_strdup("");
    g_autofree char *where = wording_where(context, reason->place),
                    *words = wording_place_words(context, reason->place);
    const char *at = *site != '\0' ? " at " : "";

    return (Staying){.context = context,
                     .reason = reason,
                     .site = place->site,
                     .there = g_strconcat(where, at, site, NULL),
                     .what = g_strconcat(words, at, site, NULL),
                     .moment = wording_moment(context, place->site, reason->at_utc),
                     .night = wording_night(context, place->site, reason->at_utc)};
}

static char *damage_clause(const Staying *s)
{
    const Garden *garden = s->context->garden;
    g_autofree char *low = wording_temperature(garden, s->reason->predicted_c);
    g_autofree char *least = wording_temperature(garden, s->reason->limit_c);
    const char *odds = wording_odds(s->reason->odds);

    return g_strdup_printf("%s its leaves may fall to about %s %s, and %s damages them%s%s",
                           s->there, low, s->moment, least, *odds != '\0' ? ": odds " : "", odds);
}

static char *check_clause(const Staying *s)
{
    const Garden *garden = s->context->garden;
    g_autofree char *low = wording_temperature(garden, s->reason->predicted_c);
    g_autofree char *least = wording_temperature(garden, s->reason->limit_c);

    if (strcmp(low, least) == 0)
        return g_strdup_printf(
            "%s the coldest ten hours may average %s %s, just what it may be given now", s->there,
            low, s->night);
    if (s->reason->predicted_c > s->reason->limit_c)
        return g_strdup_printf("%s the coldest ten hours may average %s %s, too near the %s it may "
                               "be given now",
                               s->there, low, s->night, least);
    return g_strdup_printf("%s the coldest ten hours may average %s %s; it may be given %s now",
                           s->there, low, s->night, least);
}

static char *heat_clause(const Staying *s)
{
    const Garden *garden = s->context->garden;
    g_autofree char *high = wording_temperature(garden, s->reason->predicted_c);
    g_autofree char *most = wording_temperature(garden, s->reason->limit_c);

    return g_strdup_printf("%s the air may reach %s %s; it bears no more than %s", s->there, high,
                           s->moment, most);
}

static char *gust_clause(const Staying *s)
{
    g_autofree char *gust = wording_whole(s->reason->predicted_c);
    g_autofree char *most = wording_whole(s->reason->limit_c);

    return g_strdup_printf("%s gusts of about %s m/s reach it %s; so far it stands up to %s m/s",
                           s->there, gust, s->moment, most);
}

static char *room_clause(const Staying *s)
{
    const bool some = s->reason->predicted_c > 0.0;
    g_autofree char *free = some ? wording_whole(s->reason->predicted_c) : g_strdup("no");
    g_autofree char *needed = wording_whole(s->reason->limit_c);

    return g_strdup_printf("%s has %s %s free, and it fills %s", s->what, free,
                           !some || s->reason->predicted_c > 1.0 ? "trays" : "tray", needed);
}

static char *work_clause(const Staying *s)
{
    g_autofree char *when = wording_when(s->context, s->site, s->reason->at_utc);

    return g_strdup_printf("carried to %s on %s it would gain less than the way is worth", s->what,
                           when);
}

/* NULL where the limit is none that keeps a batch. */
static char *clause(const Staying *s)
{
    switch (s->reason->limit) {
    case LIMIT_DAMAGE:
        return damage_clause(s);
    case LIMIT_CHECK:
        return check_clause(s);
    case LIMIT_CHILL:
        return g_strdup_printf("it has had its hours of cold, and more %s %s would spoil its "
                               "harvest",
                               s->there, s->night);
    case LIMIT_HEAT:
        return heat_clause(s);
    case LIMIT_GUST:
        return gust_clause(s);
    case LIMIT_SCORCH:
        return g_strdup_printf("%s it would have more light and wind in one day than it bears yet",
                               s->there);
    case LIMIT_EXPOSURE:
        return g_strdup_printf("it is too early for a night in the open %s", s->there);
    case LIMIT_CAPACITY:
        return room_clause(s);
    case LIMIT_NO_VISIT:
        return g_strdup_printf("no visit leaves the time to carry it to %s", s->what);
    case LIMIT_PROGRESS:
        return work_clause(s);
    case LIMIT_NONE:
    case LIMIT_FROZEN:
    case LIMIT_NIGHTS:
    case LIMIT_HOLD:
    case LIMIT_SETTLING:
    case LIMIT_SIZE:
    case LIMIT_SOIL:
    case LIMIT_GROUND:
    case LIMIT_DESTINATION:
    case LIMIT_HELD_TOO_LONG:
    case LIMIT_WATER:
    case LIMIT_DAMP:
    case LIMIT_DAYLIGHT:
        break;
    }
    return NULL;
}

char *wording_stays(const WordingContext *context, const Reason *reason, bool named)
{
    const Batch *batch = wording_batch(context, reason->batch);
    const Place *place = wording_place(context, reason->place);

    if (batch == NULL || place == NULL)
        return g_strdup("");
    g_auto(Staying) s = staying(context, reason, batch, place);
    g_autofree char *why = clause(&s);
    g_autofree char *name = wording_name(batch->name, sizeof batch->name);
    g_autofree char *here = wording_where(context, batch->place);
    if (why == NULL)
        return g_strdup("");
    return g_strdup_printf("%s stays %s: %s.", named ? name : "It", here, why);
}
