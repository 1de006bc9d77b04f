/* SPDX-License-Identifier: MIT */
/* Beyond any forecast: when a batch may leave the heat, and when nights are mild enough to plant
 * it. */
#include "plan/plan.h"
#include "plan/season.h"
#include "plan/sowing.h"

#include <math.h>

#define WEEK_S (7 * 86400)
#define RAMP_AHEAD_S                                                                               \
    (14 * 86400) /* hardening begins at most so long before planting could; chosen */
#define DAY_S 86400
#define SLOPE_S (15 * DAY_S) /* either side: how fast normal nights get milder; chosen */
#define DAYS_AHEAD_MOST 366  /* normal nights are the same every year */

double season_of_year(int64_t utc)
{
    double year = fmod((double)utc, YEAR_S);
    return (year < 0.0 ? year + YEAR_S : year) / YEAR_S;
}

/* Between the middles of which two months. */
typedef struct Month {
    int before, after;
    double part; /* of the way, 0..1 */
} Month;

static Month month_of(int64_t utc)
{
    double month = fmod(season_of_year(utc) * 12.0 + 11.5, 12.0);
    int before = (int)month % 12;
    return (Month){before, (before + 1) % 12, month - floor(month)};
}

static double in_month(const double *value, const Month *month)
{
    return value[month->before] + month->part * (value[month->after] - value[month->before]);
}

double season_monthly(const double *value, int64_t utc)
{
    const Month month = month_of(utc);
    return in_month(value, &month);
}

/* Normal night minimum at `utc`. */
static double normal_low_c(const Normals *normals, int64_t utc)
{
    const Month month = month_of(utc);
    return in_month(normals->mean_c, &month) - in_month(normals->daily_range_k, &month) / 2.0;
}

/* What a place lifts the low of a night by. */
static double shelter_k(const Place *place)
{
    if (!place->covered)
        return 0.0;
    return place->cover.porous ? UNDER_FLEECE_LOW_K : UNDER_COVER_LOW_K;
}

static const Place *planted_in(const Garden *garden, const Batch *batch)
{
    return &garden->places[batch->destination >= 0 ? batch->destination : batch->place];
}

/* What one batch is asked about day after day: the same for the whole year. */
typedef struct Planted {
    const Site *site;
    double shelter_k, lift_k; /* the cover over it; that, or a fleece to lay over it */
    double floor_c;
    bool frosts; /* a late frost would harm it, and when they come is known */
} Planted;

static Planted planted_of(const Garden *garden, const Batch *batch)
{
    const Place *place = planted_in(garden, batch);
    const Crop *crop = &garden->crops[batch->crop];
    const Site *site = &garden->sites[place->site];
    Planted planted = {.site = site,
                       .shelter_k = shelter_k(place),
                       .lift_k = shelter_k(place),
                       .floor_c = crop->floor_hardened_c,
                       .frosts =
                           !(crop->damage_hardened_c < TENDER_C || !(site->last_frost_sd_d > 0.0))};
    for (int p = 0; p < garden->n_places && planted.frosts && !place->covered; p++) {
        if (garden->places[p].kind == PLACE_FLEECE && garden->places[p].parent >= 0 &&
            &garden->places[garden->places[p].parent] == place)
            planted.lift_k = UNDER_FLEECE_LOW_K; /* there is one to lay over them */
    }
    return planted;
}

static double frost_odds_of(const Planted *planted, int64_t utc)
{
    const Normals *normals = &planted->site->normals;
    if (!planted->frosts)
        return 0.0;
    /* Under cover it is as late as it is outdoors when nights are normally so much milder. */
    const double rise_k = planted->lift_k > 0.0 ? normal_low_c(normals, utc + SLOPE_S) -
                                                      normal_low_c(normals, utc - SLOPE_S)
                                                : 0.0;
    if (rise_k > 0.0)
        utc += (int64_t)(fmin(planted->lift_k / rise_k, 1.0) * 2.0 * SLOPE_S);
    const double odds = sowing_frost_odds(planted->site, utc);
    return odds > 0.0 ? odds : 0.0;
}

static bool is_in_season(const Planted *planted, int64_t utc)
{
    return normal_low_c(&planted->site->normals, utc) + planted->shelter_k >= planted->floor_c &&
           frost_odds_of(planted, utc) <= LATE_FROST_ODDS;
}

double plan_normal_low_c(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Place *place = planted_in(garden, batch);
    return normal_low_c(&garden->sites[place->site].normals, utc) + shelter_k(place);
}

double plan_late_frost_odds(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Planted planted = planted_of(garden, batch);
    return frost_odds_of(&planted, utc);
}

bool plan_in_season(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Planted planted = planted_of(garden, batch);
    return is_in_season(&planted, utc);
}

int64_t plan_season_from(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Planted planted = planted_of(garden, batch);
    for (int day = 0; day < DAYS_AHEAD_MOST; day++) {
        int64_t then = utc + (int64_t)day * DAY_S;
        if (is_in_season(&planted, then))
            return then;
    }
    return utc;
}

int64_t plan_weeks_from(const Garden *garden, const Batch *batch)
{
    const Crop *crop = &garden->crops[batch->crop];
    if (batch->bought || batch->emerged_utc == 0)
        return batch->sown_utc;
    const double days = emergence_days(crop, SOWING_RECKONED_C, SOWING_RECKONED_C);
    const double late_s = (double)(batch->emerged_utc - batch->sown_utc) - days * DAY_S;
    return batch->sown_utc + (late_s > 0.0 ? (int64_t)late_s : 0);
}

bool plan_may_harden(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Crop *crop = &garden->crops[batch->crop];
    if (batch->stage != STAGE_GROWING_ON || batch->settled_utc > utc)
        return false;
    if (!batch->bought &&
        utc - plan_weeks_from(garden, batch) < (int64_t)(crop->weeks_to_harden * WEEK_S))
        return false;
    return plan_normal_low_c(garden, batch, utc + RAMP_AHEAD_S) >= crop->floor_hardened_c;
}
