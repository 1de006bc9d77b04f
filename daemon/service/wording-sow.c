/* SPDX-License-Identifier: MIT */
#include "service/wording-sow.h"

#include <math.h>
#include <string.h>

#include "base/local-time.h"
#include "plan/plan.h"
#include "service/api-day.h"
#include "service/wording-names.h"

#define DAY_S 86400
#define RARE LATE_FROST_ODDS
#define LEAST_TOLD 0.01 /* odds of a frost below it are not spoken of; chosen */

static const Crop *crop_of(const WordingSowing *w)
{
    return &w->sowing->garden->crops[w->sowing->crop];
}

static int seed_site(const WordingSowing *w)
{
    return w->sowing->garden->places[w->sowing->seed_place].site;
}

static int planting_site(const WordingSowing *w)
{
    return w->sowing->destination >= 0 ? w->sowing->garden->places[w->sowing->destination].site
                                       : seed_site(w);
}

static char *temperature(const WordingSowing *w, double c)
{
    return wording_temperature(w->sowing->garden, c);
}

/* "in the bed"; "outdoors" where no destination is known. */
static char *planted_where(const WordingSowing *w)
{
    return w->sowing->destination >= 0 ? wording_where(w->context, w->sowing->destination)
                                       : g_strdup("outdoors");
}

static int local_year(const WordingContext *context, int site, int64_t utc, int *ret_day)
{
    int year, month, day_of_month;
    *ret_day = local_day(context->zones[site], utc);
    local_day_to_date(*ret_day, &year, &month, &day_of_month);
    return year;
}

char *wording_sow_day(const WordingContext *context, int site, int64_t utc)
{
    int today, day;
    if (utc == 0)
        return g_strdup("");
    const int this_year = local_year(context, site, context->now_utc, &today);
    const int year = local_year(context, site, utc, &day);
    g_autofree char *text = api_day_short(day);
    return year == this_year ? g_steal_pointer(&text) : g_strdup_printf("%s %d", text, year);
}

char *wording_sow_warmth(const WordingContext *context, double low_c, double high_c)
{
    g_autofree char *low = wording_temperature(context->garden, low_c);
    g_autofree char *high = wording_temperature(context->garden, high_c);
    if (g_str_equal(low, high))
        return g_steal_pointer(&low);
    *strchr(low, ' ') = '\0'; /* its unit stands behind the second */
    return g_strdup_printf("%s to %s", low, high);
}

char *wording_sow_headline(const WordingSowing *w)
{
    const char *title = crop_of(w)->title;
    g_autofree char *seed = wording_where(w->context, w->sowing->seed_place);
    g_autofree char *where = planted_where(w);
    g_autofree char *sown = wording_sow_day(w->context, seed_site(w), w->sowing->sown_utc);
    if (w->course->emerged_utc == 0)
        return g_strdup_printf("%s: sown %s %s it does not come up.", title, sown, seed);
    const int64_t plant_utc = w->out_utc != 0 ? w->out_utc : w->course->plant_utc;
    g_autofree char *planted = wording_sow_day(w->context, planting_site(w), plant_utc);
    if (w->out_utc != 0)
        return g_strdup_printf("%s: sow by %s %s, to plant %s on %s.", title, sown, seed, where,
                               planted);
    if (w->course->never_mild)
        return g_strdup_printf("%s: sown %s %s, no night %s is mild enough to plant it.", title,
                               sown, seed, where);
    return g_strdup_printf("%s: sown %s %s, to plant %s not before %s.", title, sown, seed, where,
                           planted);
}

char *wording_sow_fit(const WordingSowing *w)
{
    const Crop *crop = crop_of(w);
    if (w->course->fit == SEED_FITS)
        return NULL;
    g_autofree char *place = wording_place_words(w->context, w->sowing->seed_place);
    g_autofree char *has = wording_sow_warmth(w->context, w->course->low_c, w->course->high_c);
    if (w->course->fit == SEED_TOO_HOT) {
        g_autofree char *limit = temperature(w, crop->germinate_below_c);
        return g_strdup_printf("Too hot to germinate: %s has %s, and at %s no seed came up.", place,
                               has, limit);
    }
    if (isfinite(crop->germinate_from_c)) {
        g_autofree char *limit = temperature(w, crop->germinate_from_c);
        return g_strdup_printf("Too cold to germinate: %s has %s, and the seed asks at least %s on "
                               "average.",
                               place, has, limit);
    }
    return g_strdup_printf("Too cold to germinate: %s has %s, and the seed would lie there for "
                           "more than %.0f days.",
                           place, has, EMERGENCE_MOST_D);
}

char *wording_sow_past(const WordingSowing *w, int64_t fit_utc)
{
    if (w->out_utc == 0 || w->sowing->sown_utc > w->context->now_utc - DAY_S / 2)
        return NULL;
    g_autofree char *fit = wording_sow_day(w->context, planting_site(w), fit_utc);
    return fit_utc == 0 ? g_strdup("That day of sowing is past.")
                        : g_strdup_printf("That day of sowing is past. Sown today they are large "
                                          "and hard enough on %s.",
                                          fit);
}

/* Nights are mild enough, but a late frost is too likely. */
static char *waits_for_frost(const WordingSowing *w, const char *rare)
{
    const int64_t asked_utc = w->out_utc != 0 ? w->out_utc : w->course->fit_utc;
    g_autofree char *asked = wording_sow_day(w->context, planting_site(w), asked_utc);
    if (w->out_utc != 0)
        return g_strdup_printf("On %s a late frost is still too likely. The plan would not plant "
                               "it before %s.",
                               asked, rare);
    return g_strdup_printf("Large and hard enough on %s, they wait until a late frost is unlikely, "
                           "about %s.",
                           asked, rare);
}

char *wording_sow_season(const WordingSowing *w, int64_t latest_utc)
{
    const SowingCourse *c = w->course;
    const int64_t asked_utc = w->out_utc != 0 ? w->out_utc : c->fit_utc;
    g_autofree char *where = planted_where(w);
    g_autofree char *asks = temperature(w, crop_of(w)->floor_hardened_c);
    if (c->never_mild)
        return g_strdup_printf("Hardened it asks nights of %s; %s they are never normally so mild. "
                               "Under a tunnel or greenhouse they may be.",
                               asks, where);
    if (c->plant_utc <= asked_utc + DAY_S)
        return NULL;
    g_autofree char *mild = wording_sow_day(w->context, planting_site(w), c->plant_utc);
    if (c->normal_low_c >= crop_of(w)->floor_hardened_c)
        return waits_for_frost(w, mild);
    g_autofree char *asked = wording_sow_day(w->context, planting_site(w), asked_utc);
    g_autofree char *low = temperature(w, c->normal_low_c);
    if (w->out_utc != 0)
        return g_strdup_printf("On %s nights %s are normally about %s; hardened it asks %s. The "
                               "plan would not plant it before %s.",
                               asked, where, low, asks, mild);
    g_autofree char *latest = wording_sow_day(w->context, seed_site(w), latest_utc);
    g_autofree char *later = latest_utc > w->sowing->sown_utc + DAY_S
                                 ? g_strdup_printf(" Sown by %s they lose nothing.", latest)
                                 : g_strdup("");
    return g_strdup_printf("Large and hard enough on %s, they wait for mild nights: %s it is "
                           "normally about %s then, and hardened it asks %s.%s",
                           asked, where, low, asks, later);
}

/* "the last is about 2 May, give or take 12 days": of spring frosts. */
static char *last_frost(const Site *site)
{
    static const char *const months[] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    return g_strdup_printf("the last is about %d %s, give or take %.0f days%s",
                           site->last_frost_day, months[(site->last_frost_month + 11) % 12],
                           site->last_frost_sd_d, site->last_frost_estimated ? " (estimated)" : "");
}

char *wording_sow_frost(const WordingSowing *w)
{
    const int plot = planting_site(w);
    const Site *site = &w->sowing->garden->sites[plot];
    const int64_t utc = w->out_utc != 0 ? w->out_utc : w->course->plant_utc;
    const double odds = sowing_frost_odds(site, utc), harm_c = crop_of(w)->damage_hardened_c;
    if (!(odds >= LEAST_TOLD))
        return NULL;
    g_autofree char *where = wording_site_words(w->context, plot);
    g_autofree char *last = last_frost(site), *harm = temperature(w, harm_c);
    g_autofree char *told = g_strdup_printf("Odds of an air frost at %s after that: %s; %s.", where,
                                            wording_odds(odds), last);
    if (harm_c < TENDER_C)
        return g_strdup_printf("%s Hardened leaves bear %s.", told, harm);
    if (odds <= RARE)
        return g_strdup_printf("%s It would harm them, hardened or not (leaves below %s).", told,
                               harm);
    g_autofree char *rare = wording_sow_day(w->context, plot, sowing_frost_rare(site, utc, RARE));
    return g_strdup_printf("%s It would harm them, hardened or not (leaves below %s): have fleece "
                           "at hand, or plant from %s, when it is under 10 %%.",
                           told, harm, rare);
}

char *wording_sow_held(const WordingSowing *w)
{
    const SowingCourse *c = w->course;
    const int64_t plant_utc = w->out_utc != 0 ? w->out_utc : c->plant_utc;
    if (c->held_utc == 0 || c->never_mild || plant_utc <= c->held_utc + DAY_S)
        return NULL;
    g_autofree char *held = wording_sow_day(w->context, seed_site(w), c->held_utc);
    return g_strdup_printf("They outgrow %s by %s: pot on then%s.",
                           w->sowing->garden->containers[w->sowing->container].name, held,
                           w->out_utc != 0 ? "" : ", or sow later");
}

char *wording_sow_room(const WordingSowing *w, int place, int64_t day_utc, int trays,
                       const char *who)
{
    const Place *p = &w->sowing->garden->places[place];
    g_autofree char *where = wording_where(w->context, place);
    g_autofree char *day = wording_sow_day(w->context, p->site, day_utc);
    return g_strdup_printf("No room %s on %s: with this %d %s, and it holds %d%s%s%s.", where, day,
                           trays, trays == 1 ? "tray" : "trays", p->trays, *who != '\0' ? " (" : "",
                           who, *who != '\0' ? ")" : "");
}
