/* SPDX-License-Identifier: MIT */
/*
 * Why, in one sentence. A job's reason says what would come about without it, then what its doing
 * leaves of the risk. Where two figures are the same whole degree, the second is not said: "just
 * below what they take".
 */
#include "ramp/ramp.h"
#include "service/wording-private.h"

#include <math.h>
#include <string.h>

/* What the sentences of one reason share. */
typedef struct Telling {
    const WordingContext *context;
    const Reason *reason;
    const Job *job; /* (nullable) */
    int site;
    bool one;       /* the plants are a single one */
    bool otherwise; /* what comes without the job is known */
    char *plants, *place, *moment, *night;
} Telling;

static void telling_clear(Telling *t)
{
    g_free(t->plants);
    g_free(t->place);
    g_free(t->moment);
    g_free(t->night);
}
G_DEFINE_AUTO_CLEANUP_CLEAR_FUNC(Telling, telling_clear)

static Telling telling(const WordingContext *context, const Reason *reason, const Job *job,
                       int site)
{
    return (Telling){
        .context = context,
        .reason = reason,
        .job = job,
        .site = site,
        .one = wording_is_one(context, reason->batch),
        .otherwise = job != NULL && !isnan(reason->otherwise_c),
        .plants = wording_plants_words(context, reason->batch),
        .place = wording_place_words(context, reason->place),
        .moment = wording_moment(context, site, reason->at_utc),
        .night = wording_night(context, site, reason->at_utc),
    };
}

/* The first letter as a capital. */
static char *capital(const char *sentence)
{
    const char *rest = g_utf8_next_char(sentence);
    g_autofree char *first = g_utf8_strup(sentence, (gssize)(rest - sentence));

    return g_strconcat(first, rest, NULL);
}

static bool same_degree(const Telling *t, double a, double b)
{
    g_autofree char *first = wording_degrees(t->context->garden, a);
    g_autofree char *second = wording_degrees(t->context->garden, b);

    return strcmp(first, second) == 0;
}

static double told(const Telling *t)
{
    return t->otherwise ? t->reason->otherwise_c : t->reason->predicted_c;
}

/* ": odds of damage 50–75 %, with this done 1–5 %": of what the sentence tells, and what the job
 * leaves. */
static char *risks(const Telling *t, const char *what)
{
    const Reason *r = t->reason;
    g_autofree char *told_odds = wording_odds_of(what, t->otherwise ? r->otherwise_odds : r->odds);
    const bool changes =
        t->otherwise && wording_odds_band(r->odds, -1) != wording_odds_band(r->otherwise_odds, -1);
    const char *left = changes ? wording_odds(r->odds) : "";

    if (*told_odds == '\0')
        return g_strdup("");
    return g_strdup_printf(": %s%s%s", told_odds, *left != '\0' ? ", with this done " : "", left);
}

static char *damage_reason(const Telling *t)
{
    g_autofree char *low = wording_temperature(t->context->garden, told(t));
    g_autofree char *odds = risks(t, "damage");
    const Place *to = t->job != NULL ? wording_place(t->context, t->job->place) : NULL;

    if (t->job != NULL && t->job->kind == JOB_RESCUE && !t->job->urgent)
        return *low != '\0'
                   ? g_strdup_printf("Their leaves may fall to about %s %s", low, t->moment)
                   : g_strdup_printf("Frost may touch them %s", t->moment);
    if (t->job != NULL && t->job->kind == JOB_RESCUE)
        return g_strdup_printf(
            "No planned visit keeps %s safe, as leaves may fall to about %s %s%s", t->plants,
            *low != '\0' ? low : "freezing", t->moment, odds);
    if (t->job != NULL && !t->otherwise && to != NULL && to->indoors)
        return g_strdup_printf("The nights ahead are too cold for %s out there", t->plants);
    if (*low == '\0')
        return g_strdup_printf("Frost may damage %s %s%s", t->plants, t->moment, odds);
    return g_strdup_printf("%s of %s may fall to about %s %s%s",
                           t->otherwise ? "Otherwise the leaves" : "The leaves", t->plants, low,
                           t->moment, odds);
}

static char *check_reason(const Telling *t)
{
    g_autofree char *low = wording_temperature(t->context->garden, told(t));
    g_autofree char *least = wording_temperature(t->context->garden, t->reason->limit_c);
    g_autofree char *odds = risks(t, "a check");
    const char *take = t->one ? "bears" : "bear";

    if (*low == '\0' || *least == '\0')
        return g_strdup_printf("It gets colder %s than %s %s so far%s", t->night, t->plants, take,
                               odds);
    if (same_degree(t, told(t), t->reason->limit_c))
        return g_strdup_printf(
            "%s ten hours %s may average about %s, about as low as %s %s so far%s",
            t->otherwise ? "Otherwise the coldest" : "The coldest", t->night, low, t->plants, take,
            odds);
    return g_strdup_printf("%s ten hours %s may average about %s, and %s %s %s so far%s",
                           t->otherwise ? "Otherwise the coldest" : "The coldest", t->night, low,
                           t->plants, take, least, odds);
}

/* Its days of that cold are used up: what more of it does. */
static char *chill_reason(const Telling *t)
{
    static const char *const does[] = {[CHILL_BOLTS] = "bolts",
                                       [CHILL_BUTTONS] = "heads too soon",
                                       [CHILL_CATFACES] = "has catfaced fruit"};
    static const char *const many_do[] = {[CHILL_BOLTS] = "bolt",
                                          [CHILL_BUTTONS] = "head too soon",
                                          [CHILL_CATFACES] = "have catfaced fruit"};
    const Batch *batch = wording_batch(t->context, t->reason->batch);
    const int harm = batch != NULL ? t->context->garden->crops[batch->crop].chill_does : -1;
    const gboolean known = harm >= 0 && harm < (int)G_N_ELEMENTS(does);
    g_autofree char *least = wording_temperature(t->context->garden, t->reason->limit_c);

    const char *spoilt = !known   ? (t->one ? "is spoilt" : "are spoilt")
                         : t->one ? does[harm]
                                  : many_do[harm];

    return g_strdup_printf("%s %s had as many hours below %s as %s may have: with more %s %s",
                           t->plants, t->one ? "has" : "have", *least != '\0' ? least : "its limit",
                           t->one ? "it" : "they", t->one ? "it" : "they", spoilt);
}

static char *heat_reason(const Telling *t)
{
    g_autofree char *high = wording_temperature(t->context->garden, told(t));
    g_autofree char *most = wording_temperature(t->context->garden, t->reason->limit_c);
    const Place *place = wording_place(t->context, t->reason->place);
    g_autofree char *where =
        place != NULL ? g_strdup_printf(" %s %s", wording_in(place), t->place) : g_strdup("");

    if (*high == '\0')
        return g_strdup_printf("%s gets too hot for %s %s", t->otherwise ? "Otherwise it" : "It",
                               t->plants, t->moment);
    return g_strdup_printf("%s%s may reach about %s %s; %s %s no more than %s",
                           t->otherwise ? "Otherwise the air" : "The air", where, high, t->moment,
                           t->plants, t->one ? "bears" : "bear",
                           *most == '\0' || same_degree(t, told(t), t->reason->limit_c) ? "that"
                                                                                        : most);
}

static char *gust_reason(const Telling *t)
{
    g_autofree char *gust = wording_whole(told(t));
    g_autofree char *most = wording_whole(t->reason->limit_c);

    if (*gust == '\0' || *most == '\0')
        return g_strdup_printf("The wind is too strong for %s %s", t->plants, t->moment);
    if (strcmp(gust, most) == 0)
        return g_strdup_printf("%susts of about %s m/s come %s, more than %s %s so far",
                               t->otherwise ? "Otherwise g" : "G", gust, t->moment, t->plants,
                               t->one ? "stands" : "stand");
    return g_strdup_printf("%susts of about %s m/s reach %s %s; so far %s %s up to %s m/s",
                           t->otherwise ? "Otherwise g" : "G", gust, t->plants, t->moment,
                           t->one ? "it" : "they", t->one ? "stands" : "stand", most);
}

static char *scorch_reason(const Telling *t)
{
    g_autofree char *most = wording_whole(t->reason->limit_c);

    if (*most == '\0')
        return g_strdup_printf("So much light and wind in one day is too much for %s yet",
                               t->plants);
    return g_strdup_printf(
        "More than %s hours of full light and wind in one day is too much for %s yet", most,
        t->plants);
}

/* Days used, from the batch itself: as it is now. */
static int days_used(const Telling *t)
{
    const Batch *batch = wording_batch(t->context, t->reason->batch);

    return batch != NULL ? CLAMP(batch->ramp.exposure_days, 0, RAMP_EXPOSURE_FULL) : -1;
}

static char *exposure_reason(const Telling *t)
{
    const int used = days_used(t);

    if (t->job != NULL)
        return used < 0 ? g_strdup("It is too early for a night in the open")
                        : g_strdup_printf(
                              "It is too early for a night in the open: %d %s used so far, and "
                              "it takes %d",
                              used, used == 1 ? "day" : "days", RAMP_NIGHTS_FROM);
    return used < 0 ? g_strdup_printf("%d days in the open are needed", RAMP_EXPOSURE_FULL)
                    : g_strdup_printf("It needs %d days in the open: %d used so far",
                                      RAMP_EXPOSURE_FULL, used);
}

static bool shuts(const Telling *t)
{
    const Place *place = t->job != NULL ? wording_place(t->context, t->job->place) : NULL;

    return t->job != NULL && t->job->kind == JOB_SET_COVER && place != NULL &&
           t->job->position == 0;
}

static bool goes_inside(const Telling *t)
{
    const Place *to = t->job != NULL ? wording_place(t->context, t->job->place) : NULL;

    return to != NULL && to->indoors && (t->job->kind == JOB_MOVE || t->job->kind == JOB_TRANSFER);
}

static char *progress_reason(const Telling *t)
{
    const Batch *batch = wording_batch(t->context, t->reason->batch);
    const bool moves = t->job != NULL && t->job->kind != JOB_SET_COVER;
    const int used = days_used(t);
    g_autofree char *low = wording_temperature(t->context->garden, t->reason->predicted_c);

    if (t->job != NULL && t->job->kind == JOB_PLANT_OUT)
        return g_strdup_printf("%s %s ready, and the nights ahead there are mild enough", t->plants,
                               t->one ? "is" : "are");
    if (goes_inside(t))
        return g_strdup_printf("It is milder for %s there", t->plants);
    if (shuts(t) && *low != '\0')
        return g_strdup_printf("It keeps the warmth in: the leaves of %s stay at about %s %s",
                               t->plants, low, t->moment);
    if (moves && batch != NULL && batch->stage < STAGE_HARDENING)
        return g_strdup_printf("%s %s fit to leave the heat: hardening off begins", t->plants,
                               t->one ? "is" : "are");
    if (batch != NULL && (batch->stage < STAGE_HARDENING || batch->stage >= STAGE_PLANTED_OUT))
        return g_strdup_printf("Air and light do %s good", t->plants);
    if (used >= RAMP_EXPOSURE_FULL)
        return g_strdup("The days in the open are complete: now nights under less cover count");
    if (used < 0)
        return g_strdup("A day in the open counts");
    return g_strdup_printf("A day in the open counts: %d of %d used so far", used,
                           RAMP_EXPOSURE_FULL);
}

static char *frozen_reason(const Telling *t)
{
    g_autofree char *leaf = wording_temperature(t->context->garden, t->reason->predicted_c);
    g_autofree char *thawed = wording_clock(t->context, t->site, t->reason->at_utc);

    if (*leaf == '\0')
        return g_strdup("A frozen leaf breaks at a touch");
    return g_strdup_printf("The leaves of %s are at about %s; left alone they thaw%s%s", t->plants,
                           leaf, *thawed != '\0' ? " by about " : "", thawed);
}

/* ---- what keeps a batch from being ready ---- */

static char *nights_reason(const Telling *t)
{
    const Batch *batch = wording_batch(t->context, t->reason->batch);
    const int to = t->reason->place >= 0 ? t->reason->place
                   : batch != NULL       ? batch->destination
                                         : -1;
    g_autofree char *there = wording_place_words(t->context, to);
    g_autofree char *had = wording_whole(t->reason->predicted_c);
    const bool known = wording_place(t->context, to) != NULL;

    return g_strdup_printf("It needs %d nights of the last %d with no more cover than %s%s%s%s",
                           RAMP_NIGHTS_NEEDED, NIGHTS_KEPT, known ? "in " : "",
                           known ? there : "at the destination",
                           *had != '\0' ? "; as planned it has had " : "", had);
}

static char *destination_reason(const Telling *t)
{
    g_autofree char *low = wording_temperature(t->context->garden, t->reason->predicted_c);
    g_autofree char *least = wording_temperature(t->context->garden, t->reason->limit_c);
    g_autofree char *where = wording_where(t->context, t->reason->place);

    if (wording_place(t->context, t->reason->place) == NULL)
        return g_strdup("No destination has been named yet");
    if (*low == '\0' && isfinite(t->reason->odds)) {
        g_autofree char *date = wording_date(
            t->context, wording_site(t->context, t->reason->place, -1), t->reason->at_utc);
        g_autofree char *from =
            *date != '\0' ? g_strdup_printf(", under 10 %% from about %s", date) : g_strdup("");
        return g_strdup_printf("A late frost would harm %s %s: odds of one %s%s", t->plants, where,
                               wording_odds(t->reason->odds), from);
    }
    if (*low == '\0' || *least == '\0')
        return g_strdup_printf("The nights %s are still too cold", where);
    if (same_degree(t, t->reason->predicted_c, t->reason->limit_c))
        return g_strdup_printf("%s it may be %s %s, just what %s %s, and that leaves no margin",
                               where, low, t->night, t->plants, t->one ? "bears" : "bear");
    if (t->reason->predicted_c > t->reason->limit_c)
        return g_strdup_printf("%s it may be %s %s, too near the %s that %s %s", where, low,
                               t->night, least, t->plants, t->one ? "bears" : "bear");
    return g_strdup_printf("%s it may be %s %s, and %s %s %s", where, low, t->night, t->plants,
                           t->one ? "bears" : "bear", least);
}

static char *soil_reason(const Telling *t)
{
    g_autofree char *soil = wording_temperature(t->context->garden, t->reason->predicted_c);
    g_autofree char *least = wording_temperature(t->context->garden, t->reason->limit_c);

    if (*soil == '\0' || *least == '\0')
        return g_strdup_printf("The ground of %s is too cold for planting", t->place);
    if (same_degree(t, t->reason->predicted_c, t->reason->limit_c))
        return g_strdup_printf("The ground of %s is just below the %s it needs at 08:00", t->place,
                               least);
    return g_strdup_printf("The ground of %s is about %s at 08:00 and must be %s for planting",
                           t->place, soil, least);
}

static char *held_reason(const Telling *t)
{
    const Batch *batch = wording_batch(t->context, t->reason->batch);
    const bool known = batch != NULL && batch->container >= 0 &&
                       batch->container < t->context->garden->n_containers;
    const Container *container = known ? &t->context->garden->containers[batch->container] : NULL;
    g_autofree char *weeks = known ? wording_whole(container->hold_max_weeks) : g_strdup("");
    g_autofree char *name = known ? wording_name(container->name, NAME_SIZE) : g_strdup("");

    if (*weeks == '\0' || *name == '\0')
        return g_strdup_printf("%s cannot stay in the same container much longer", t->plants);
    return g_strdup_printf("%s should stay in %s no longer than %s weeks", t->plants, name, weeks);
}

/* "LEAD until Thu 24 Apr", or the lead alone. */
static char *until_date(const Telling *t, const char *lead, const char *joint)
{
    g_autofree char *date = wording_date(t->context, t->site, t->reason->at_utc);

    return g_strdup_printf("%s%s%s", lead, *date != '\0' ? joint : "", date);
}

/* Without figures: litres to a tenth would change the text with every forecast. */
static char *water_reason(const Telling *t)
{
    if (t->job == NULL)
        return g_strdup_printf(
            "The trays of %s hold too little water to last until somebody comes: "
            "they may be dry %s",
            t->plants, t->moment);
    return g_strdup_printf("The day may take most of the water that the trays of %s hold, or all",
                           t->plants);
}

/* Of a job, what it is for; else why it cannot be done. */
static char *damp_reason(const Telling *t)
{
    const double nights = t->reason->predicted_c;
    g_autofree char *count = nights >= 2.5 ? wording_whole(nights) : g_strdup("two");
    g_autofree char *air = wording_temperature(t->context->garden, t->reason->otherwise_c);

    if (t->job != NULL)
        return g_strdup_printf("After %s nights shut the air over %s is damp, and that is how grey "
                               "mould and damping off begin",
                               count, t->plants);
    if (*air == '\0')
        return g_strdup_printf("%s stays shut for %s nights running and grows damp, and no visit "
                               "airs it: lift the cover for an hour if you pass on a mild day",
                               t->place, count);
    return g_strdup_printf("%s stays shut for %s nights running and grows damp, but with about %s "
                           "outdoors airing it does more harm: the plants come first",
                           t->place, count, air);
}

static char *daylight_reason(const Telling *t)
{
    const char *up = t->one ? "is" : "are", *grow = t->one ? "grows" : "grow";

    if (t->job != NULL)
        return g_strdup_printf("%s %s up: now light and cooler air, or %s %s long and weak",
                               t->plants, up, t->one ? "it" : "they", grow);
    return g_strdup_printf("%s %s up and want%s light, and there is no room for %s out of %s: make "
                           "some, or take its lid off by day",
                           t->plants, up, t->one ? "s" : "", t->one ? "it" : "them", t->place);
}

/* What goes with planting out; common practice, no source. */
static char *planting_reason(const Telling *t)
{
    if (t->job->kind == JOB_PROTECT)
        return g_strdup("Young plants are eaten in their first nights out");
    g_autofree char *when = wording_when(t->context, t->site, t->reason->at_utc);
    return g_strdup_printf("%s %s planted out%s%s: wet roots come out whole and take sooner",
                           t->plants, t->one ? "is" : "are", *when != '\0' ? " on " : "", when);
}

static char *sentence(const Telling *t)
{
    const bool goes_with_planting =
        t->job != NULL && (t->job->kind == JOB_PROTECT ||
                           (t->job->kind == JOB_WATER && t->reason->limit == LIMIT_PROGRESS));

    if (goes_with_planting)
        return planting_reason(t);
    switch (t->reason->limit) {
    case LIMIT_NONE:
        return g_strdup(t->job != NULL ? "It is best done on the same visit"
                                       : "Nothing holds it back");
    case LIMIT_DAMAGE:
        return damage_reason(t);
    case LIMIT_CHECK:
        return check_reason(t);
    case LIMIT_CHILL:
        return chill_reason(t);
    case LIMIT_HEAT:
        return heat_reason(t);
    case LIMIT_GUST:
        return gust_reason(t);
    case LIMIT_SCORCH:
        return scorch_reason(t);
    case LIMIT_FROZEN:
        return frozen_reason(t);
    case LIMIT_CAPACITY:
        return g_strdup_printf("There is no room for %s", t->plants);
    case LIMIT_NO_VISIT:
        return g_strdup("Nobody can be there in time");
    case LIMIT_PROGRESS:
        return progress_reason(t);
    case LIMIT_EXPOSURE:
        return exposure_reason(t);
    case LIMIT_NIGHTS:
        return nights_reason(t);
    case LIMIT_HOLD:
        return until_date(t, "It had a check and rests, with no colder nights", ", until ");
    case LIMIT_SETTLING:
        return until_date(t, "It settles after pricking out or potting on", " until ");
    case LIMIT_SIZE:
        return until_date(t, "The plants are not large enough to plant", " before ");
    case LIMIT_SOIL:
        return soil_reason(t);
    case LIMIT_GROUND:
        return g_strdup("The ground is too wet or the wind too strong for planting");
    case LIMIT_DESTINATION:
        return destination_reason(t);
    case LIMIT_HELD_TOO_LONG:
        return held_reason(t);
    case LIMIT_WATER:
        return water_reason(t);
    case LIMIT_DAMP:
        return damp_reason(t);
    case LIMIT_DAYLIGHT:
        return daylight_reason(t);
    }
    return g_strdup("It is best done on the same visit");
}

/* The weather it rests on, where that is not an ordinary forecast. The result is the caller's. */
static char *footing(const Reason *reason)
{
    const bool of_normals = reason->limit == LIMIT_DESTINATION && isnan(reason->predicted_c);
    const bool by_day =
        reason->limit == LIMIT_HEAT || reason->limit == LIMIT_GUST || reason->limit == LIMIT_SCORCH;

    if (of_normals) /* odds of a late frost rest on nothing else, and are of many nights */
        return g_strdup("");
    if (reason->estimated & EST_TEMPERATURE)
        return g_strdup_printf(
            "; no forecast reaches this %s: planned on normals%s", by_day ? "day" : "night",
            reason->estimated & EST_WARNING ? " and the frost warning you gave" : "");
    return g_strdup(reason->estimated & EST_WARNING ? "; on the frost warning you gave" : "");
}

static char *tell(const Telling *t)
{
    g_autofree char *text = sentence(t);
    g_autofree char *on = footing(t->reason);

    g_autofree char *whole = capital(text);

    return g_strconcat(whole, on, ".", NULL);
}

char *wording_reason(const WordingContext *context, const Job *job)
{
    int site = wording_site(context, job->reason.place, job->reason.batch);
    if (site < 0)
        site = wording_site(context, job->place, job->batch);
    g_auto(Telling) t = telling(context, &job->reason, job, site);

    return tell(&t);
}

char *wording_reason_plain(const WordingContext *context, const Reason *reason, int site)
{
    g_auto(Telling) t = telling(context, reason, NULL, site);

    return tell(&t);
}
