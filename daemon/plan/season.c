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

double season_monthly(const double *value, int64_t utc)
{
    double month = fmod(season_of_year(utc) * 12.0 + 11.5, 12.0);
    int before = (int)month % 12, after = (before + 1) % 12;
    return value[before] + (month - floor(month)) * (value[after] - value[before]);
}

/* Normal night minimum at `utc`. */
static double normal_low_c(const Normals *normals, int64_t utc)
{
    return season_monthly(normals->mean_c, utc) - season_monthly(normals->daily_range_k, utc) / 2.0;
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

double plan_normal_low_c(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Place *place = planted_in(garden, batch);
    return normal_low_c(&garden->sites[place->site].normals, utc) + shelter_k(place);
}

double plan_late_frost_odds(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Place *place = planted_in(garden, batch);
    const Site *site = &garden->sites[place->site];
    if (garden->crops[batch->crop].damage_hardened_c < TENDER_C || !(site->last_frost_sd_d > 0.0))
        return 0.0;
    /* Under cover it is as late as it is outdoors when nights are normally so much milder. */
    const double rise_k =
        normal_low_c(&site->normals, utc + SLOPE_S) - normal_low_c(&site->normals, utc - SLOPE_S);
    double lift_k = shelter_k(place);
    for (int p = 0; p < garden->n_places && !place->covered; p++) {
        if (garden->places[p].kind == PLACE_FLEECE && garden->places[p].parent >= 0 &&
            &garden->places[garden->places[p].parent] == place)
            lift_k = UNDER_FLEECE_LOW_K; /* there is one to lay over them */
    }
    if (lift_k > 0.0 && rise_k > 0.0)
        utc += (int64_t)(fmin(lift_k / rise_k, 1.0) * 2.0 * SLOPE_S);
    const double odds = sowing_frost_odds(site, utc);
    return odds > 0.0 ? odds : 0.0;
}

bool plan_in_season(const Garden *garden, const Batch *batch, int64_t utc)
{
    return plan_normal_low_c(garden, batch, utc) >= garden->crops[batch->crop].floor_hardened_c &&
           plan_late_frost_odds(garden, batch, utc) <= LATE_FROST_ODDS;
}

int64_t plan_season_from(const Garden *garden, const Batch *batch, int64_t utc)
{
    for (int day = 0; day < DAYS_AHEAD_MOST; day++) {
        int64_t then = utc + (int64_t)day * DAY_S;
        if (plan_in_season(garden, batch, then))
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
