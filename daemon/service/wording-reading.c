/* SPDX-License-Identifier: MIT */
#include "service/wording-reading.h"

#include <math.h>

#include "service/api-day.h"
#include "service/api-input.h"

#define AS_MODELLED_K 0.05

const char *reading_where(const Service *s, const StoreReading *reading)
{
    return reading->site >= 0 ? s->garden->sites[reading->site].name
                              : s->garden->places[reading->reading.place].name;
}

static double shown_k(const Garden *garden, double k)
{
    return garden->fahrenheit ? k * 1.8 : k;
}

static const char *unit(const Garden *garden)
{
    return garden->fahrenheit ? "°F" : "°C";
}

/* "−0.6" */
static char *number(const Garden *garden, double c)
{
    g_autofree char *digits =
        g_strdup_printf("%.1f", fabs(garden->fahrenheit ? c * 1.8 + 32.0 : c));
    gboolean negative = (garden->fahrenheit ? c * 1.8 + 32.0 : c) < 0.0;

    return g_strdup_printf("%s%s", negative && !g_str_equal(digits, "0.0") ? "−" : "", digits);
}

char *wording_tenths(const Garden *garden, double c)
{
    g_autofree char *digits = number(garden, c);

    return g_strdup_printf("%s %s", digits, unit(garden));
}

static char *percent(double odds)
{
    if (odds < 0.01)
        return g_strdup("under 1 %");
    return odds > 0.99 ? g_strdup("over 99 %") : g_strdup_printf("%.0f %%", 100.0 * odds);
}

/* "frame", "the open air at plot" */
static char *where_words(const Service *s, const StoreReading *reading)
{
    if (reading->site >= 0)
        return g_strdup_printf("the open air at %s", s->garden->sites[reading->site].name);
    return g_strdup(s->garden->places[reading->reading.place].name);
}

static void add_reckoned(const Service *s, const ReadingTaken *taken, GString *text)
{
    static const char *const kinds[] = {"", " minimum", " maximum"};
    const StoreReading *r = &taken->reading;
    g_autofree char *value = wording_tenths(s->garden, r->reading.value_c);

    g_string_append_printf(text, "%s%s %s", reading_where(s, r), kinds[r->kind], value);
    if (isnan(r->basis.computed_c)) {
        g_string_append(text, "; nothing was reckoned for that time.");
        return;
    }
    g_autofree char *expected = wording_tenths(s->garden, taken->reckoned_c);
    g_string_append_printf(text, "; reckoned %s ± %.1f.", expected,
                           shown_k(s->garden, taken->reckoned_spread_k));
}

static void add_doubt(const Service *s, const ReadingTaken *taken, GString *text)
{
    const WordingContext words = service_wording(s);
    const StoreReading *r = &taken->reading;
    const gboolean is_high = r->kind == STORE_READING_MAXIMUM;

    switch (taken->judged.verdict) {
    case VERDICT_DOUBTFUL:
        g_string_append_printf(text, " That is far off: %s%s?",
                               taken->judged.off_k > 0.0 ? "is the thermometer in the shade"
                                                         : "is the thermometer right",
                               learned_is_open_air(s, r) ? ""
                                                         : ", and the cover as the plan has it");
        break;
    case VERDICT_STUCK:
        g_string_append(text, " It has shown the same five times running: is it stuck?");
        break;
    case VERDICT_RESET: {
        g_autofree char *when = wording_when(&words, learned_site(s, r), taken->former_utc);
        g_string_append_printf(text,
                               " It is since %s: it may be of an older %s, and none of them was "
                               "reckoned clearly the %s.",
                               when, is_high ? "day" : "night", is_high ? "hottest" : "coldest");
        break;
    }
    default:
        return;
    }
    g_string_append(text, taken->judged.tonight
                              ? " It counts for tonight, in case it is right; nothing else is "
                                "learned from it."
                              : " It is kept; nothing is learned from it.");
}

char *wording_learned(const Service *s, int site, int place, Extreme which,
                      const LearnedError *error)
{
    const gboolean is_high = which == EXTREME_HIGH;
    const char *count = place >= 0 ? "reading" : is_high ? "day" : "night";
    const char *beside = place >= 0 ? "modelled" : "forecast";
    g_autofree char *of = g_strdup_printf("%d %s%s", error->n, count, error->n == 1 ? "" : "s");
    g_autofree char *head = place >= 0
                                ? g_strdup_printf("By %s %s runs", is_high ? "day" : "night",
                                                  s->garden->places[place].name)
                                : g_strdup_printf("The %s at %s are", is_high ? "days" : "nights",
                                                  s->garden->sites[site].name);

    if (error->n == 0)
        return NULL;
    if (fabs(error->bias_k) < AS_MODELLED_K)
        return g_strdup_printf("%s as %s (%s).", head, beside, of);
    return g_strdup_printf("%s %.1f %s %s than %s (%s).", head,
                           shown_k(s->garden, fabs(error->bias_k)), unit(s->garden),
                           error->bias_k > 0.0 ? "warmer" : "colder", beside, of);
}

static void add_learned(const Service *s, const ReadingTaken *taken, GString *text)
{
    const StoreReading *r = &taken->reading;
    const int place = learned_is_open_air(s, r) ? -1 : r->reading.place;
    g_autofree char *learned = wording_learned(
        s, learned_site(s, r), place, r->kind == STORE_READING_MAXIMUM ? EXTREME_HIGH : EXTREME_LOW,
        &taken->learned);

    if (learned != NULL)
        g_string_append_printf(text, " %s", learned);
}

/* Which of several nights it is of. */
static void add_night(const ReadingTaken *taken, GString *text)
{
    const gboolean is_high = taken->reading.kind == STORE_READING_MAXIMUM;

    if (taken->reading.day == 0)
        return;
    g_autofree char *day = api_day_short(taken->reading.day);
    g_string_append_printf(
        text, " Of the %d %s since it was reset, %s %s was reckoned clearly the %s.", taken->nights,
        is_high ? "days" : "nights", is_high ? "that of" : "the one that began on", day,
        is_high ? "hottest" : "coldest");
}

char *wording_reading(const Service *s, const ReadingTaken *taken)
{
    g_autoptr(GString) text = g_string_new(NULL);
    const char *span = taken->reading.kind == STORE_READING_MAXIMUM ? "day" : "night";
    static const char nothing[] = " It is kept; nothing is learned from it.";

    add_reckoned(s, taken, text);
    add_night(taken, text);
    switch (taken->use) {
    case USE_LEARNED:
        add_learned(s, taken, text);
        break;
    case USE_NOW:
    case USE_DOUBT:
        add_doubt(s, taken, text);
        break;
    case USE_EARLY:
        g_string_append_printf(text,
                               " The %s is not over: it is kept, and learned from what it shows "
                               "afterwards.",
                               span);
        break;
    case USE_LIGHT:
        g_string_append_printf(text, " The %s was reckoned %s.%s",
                               taken->reading.kind == STORE_READING_MAXIMUM ? "highest" : "lowest",
                               taken->reading.kind == STORE_READING_MAXIMUM
                                   ? "without sun, which tells little of sunny days"
                                   : "in daylight, which tells little of nights",
                               nothing);
        break;
    case USE_MOVED:
        g_string_append_printf(text,
                               " A cover over it was set differently during that %s, or it is not "
                               "known how it stood.%s",
                               span, nothing);
        break;
    case USE_OTHERWISE:
        g_string_append_printf(text, " The cover stood otherwise than was planned.%s", nothing);
        break;
    case USE_CORRECTED:
        g_string_append_printf(text, " One told later of the same %s counts.", span);
        break;
    case USE_UNKNOWN:
        g_string_append(text, nothing);
        break;
    }
    if (taken->reading.moved)
        g_string_append_printf(text,
                               "\nThe thermometer hangs elsewhere now: what was learned of %s "
                               "before is laid aside.",
                               reading_where(s, &taken->reading));
    return g_string_free(g_steal_pointer(&text), FALSE);
}

char *wording_reading_night(const Service *s, const ReadingTaken *taken)
{
    const ReadingNight now = reading_night(s, &taken->reading);
    const ReadingNight *before = &taken->before;

    if (isnan(now.low_c) || isnan(before->low_c))
        return NULL;
    g_autofree char *where = where_words(s, &taken->reading);
    g_autofree char *was = number(s->garden, before->low_c);
    g_autofree char *is = wording_tenths(s->garden, now.low_c);
    g_autofree char *was_odds = percent(before->frost_odds);
    g_autofree char *odds = percent(now.frost_odds);
    g_autofree char *was_unit = wording_tenths(s->garden, before->low_c);
    gboolean same = g_str_equal(was_unit, is), same_odds = g_str_equal(was_odds, odds);
    if (same && same_odds)
        return g_strdup_printf("Tonight in %s stays at %s, odds of frost %s.", where, is, odds);
    return g_strdup_printf("Tonight in %s: %s%s%s, odds of frost %s%s%s.", where, same ? "" : was,
                           same ? "" : " → ", is, same_odds ? "" : was_odds, same_odds ? "" : " → ",
                           odds);
}

static char *spread_words(const Garden *garden, double c, double spread_k)
{
    g_autofree char *value = wording_tenths(garden, c);

    return g_strdup_printf("%s ± %.1f", value, shown_k(garden, spread_k));
}

char *wording_second_opinion(const Service *s, int site, const SecondOpinion *opinion,
                             double planned_c, double planned_spread_k)
{
    g_autoptr(GString) text = g_string_new(NULL);

    if (opinion->nights == 0 && opinion->from_utc == 0)
        return NULL;
    g_string_append(text, "Second opinion on tonight's low outdoors: ");
    if (opinion->nights > 0) {
        g_autofree char *value =
            spread_words(s->garden, opinion->regression_c, opinion->regression_spread_k);
        g_string_append_printf(text, "%s by your own %d clear, calm evenings", value,
                               opinion->nights);
    }
    if (opinion->from_utc != 0) {
        g_autofree char *value = wording_tenths(s->garden, opinion->fall_c);
        g_autofree char *from = api_clock(s, site, opinion->from_utc);
        g_autofree char *to = api_clock(s, site, opinion->to_utc);
        g_string_append_printf(text, "%s%s by its fall from %s to %s",
                               opinion->nights > 0 ? "; " : "", value, from, to);
    }
    g_autofree char *planned = spread_words(s->garden, planned_c, planned_spread_k);
    g_string_append_printf(text, "; the forecast says %s.", planned);
    return g_string_free(g_steal_pointer(&text), FALSE);
}

gboolean reading_refuse(const Service *s, const ReadingTaken *taken, GError **error)
{
    const StoreReading *r = &taken->reading;
    g_autofree char *value = wording_tenths(s->garden, r->reading.value_c);
    g_autofree char *low = wording_tenths(s->garden, taken->judged.low_c);
    g_autofree char *high = wording_tenths(s->garden, taken->judged.high_c);
    g_autofree char *where = where_words(s, r);

    if (taken->judged.verdict == VERDICT_RANGE)
        return api_refuse(error, THOLE_ERROR_INVALID,
                          "value: %s cannot be in %s; give %s to %s, or the place where the "
                          "thermometer is",
                          value, where, low, high);
    g_autofree char *expected = wording_tenths(s->garden, r->basis.computed_c);
    return api_refuse(error, THOLE_ERROR_INVALID,
                      "value: %s cannot be in %s then: %s ± %.1f was reckoned; give %s to %s, or "
                      "the place where the thermometer is",
                      value, where, expected,
                      shown_k(s->garden, hypot(r->basis.spread_k, r->basis.outdoor_spread_k)), low,
                      high);
}
