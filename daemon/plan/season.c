/* SPDX-License-Identifier: MIT */
/* When a batch may leave the heat: large enough, settled, and not long before it could be planted. */
#include "plan/plan.h"

#include <math.h>

#define WEEK_S (7 * 86400)
#define RAMP_AHEAD_S (14 * 86400) /* hardening begins at most so long before planting could; chosen */
#define YEAR_S 31556952.0         /* mean Gregorian year */

/* Normal night minimum at `utc`: monthly means and ranges, linear between the middles of months. */
static double normal_low_c(const Normals *normals, int64_t utc)
{
    double year = fmod((double)utc, YEAR_S);
    double month = fmod((year < 0.0 ? year + YEAR_S : year) / YEAR_S * 12.0 + 11.5, 12.0);
    int before = (int)month % 12, after = (before + 1) % 12;
    double share = month - floor(month);
    double mean = normals->mean_c[before] + share * (normals->mean_c[after] - normals->mean_c[before]);
    double range =
        normals->daily_range_k[before] + share * (normals->daily_range_k[after] - normals->daily_range_k[before]);
    return mean - range / 2.0;
}

bool plan_may_harden(const Garden *garden, const Batch *batch, int64_t utc)
{
    const Crop *crop = &garden->crops[batch->crop];
    if (batch->stage != STAGE_GROWING_ON || batch->settled_utc > utc)
        return false;
    if (!batch->bought && utc - batch->sown_utc < (int64_t)(crop->weeks_to_harden * WEEK_S))
        return false;
    int place = batch->destination >= 0 ? batch->destination : batch->place;
    const Site *site = &garden->sites[garden->places[place].site];
    return normal_low_c(&site->normals, utc + RAMP_AHEAD_S) >= crop->floor_hardened_c;
}
