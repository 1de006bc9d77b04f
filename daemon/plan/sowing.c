/* SPDX-License-Identifier: MIT */
#include "plan/sowing.h"

#include <math.h>

#include "odds/odds.h"
#include "plan/outlook.h"
#include "plan/plan.h"
#include "plan/season.h"
#include "ramp/ramp.h"

#define DAY_S 86400
#define WEEK_S (7 * DAY_S)
#define COUNT_MOST_D 180 /* days of rates added up; chosen */
#define BACK_D 90        /* seed that is slow and a plant that waits, on top of its weeks; chosen */

/* Of an indoor range, with what a heater makes of it; as step_indoors() of climate/chain.c. */
static double heated_c(const Place *place, double room_c)
{
    if (isnan(place->set_point_c))
        return room_c;
    const double lift_k = place->lift_k > 0.0 ? place->lift_k : INFINITY;
    return fmax(room_c, fmin(place->set_point_c, room_c + lift_k));
}

void sowing_warmth(const Garden *garden, int place, int64_t utc, double *ret_low_c,
                   double *ret_high_c)
{
    const Place *p = &garden->places[place];
    if (p->indoors) {
        *ret_low_c = heated_c(p, p->indoor_night_c);
        *ret_high_c = heated_c(p, p->indoor_day_c);
        return;
    }
    const Normals *normals = &garden->sites[p->site].normals;
    const double mean_c = season_monthly(normals->mean_c, utc);
    const double range_k = season_monthly(normals->daily_range_k, utc);
    bool sheltered = false;
    for (int q = place; q >= 0; q = garden->places[q].parent)
        sheltered |= garden->places[q].covered && !garden->places[q].cover.porous;
    *ret_low_c = mean_c - range_k / 2.0 + (sheltered ? UNDER_COVER_LOW_K : 0.0);
    *ret_high_c = mean_c + range_k / 2.0 + (sheltered ? UNDER_COVER_HIGH_K : 0.0);
    const double soil_c = p->cable_w > 0.0 ? p->soil_set_point_c : NAN;
    *ret_low_c = fmax(*ret_low_c, soil_c); /* fmax passes over NAN */
    *ret_high_c = fmax(*ret_high_c, soil_c);
}

typedef double (*DayRate)(const Crop *crop, double low_c, double high_c);

/* Days of a place from `utc` on until the rates come to `whole`; INFINITY where they do not. */
static double count_days(const Sowing *s, int place, int64_t utc, DayRate rate, double whole)
{
    const Crop *crop = &s->garden->crops[s->crop];
    double had = 0.0;
    for (int day = 0; day < COUNT_MOST_D; day++) {
        double low_c, high_c;
        sowing_warmth(s->garden, place, utc + (int64_t)day * DAY_S, &low_c, &high_c);
        const double step = rate(crop, low_c, high_c);
        if (had + step >= whole)
            return day + (step > 0.0 ? (whole - had) / step : 0.0);
        had += step;
    }
    return INFINITY;
}

static int64_t later(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static int64_t days_on(int64_t utc, double days)
{
    return utc + (int64_t)llround(days * DAY_S);
}

static void find_emergence(const Sowing *s, SowingCourse *ret)
{
    const Crop *crop = &s->garden->crops[s->crop];
    sowing_warmth(s->garden, s->seed_place, s->sown_utc, &ret->low_c, &ret->high_c);
    ret->fit = emergence_fit(crop, ret->low_c, ret->high_c);
    if (s->emerged_utc != 0) {
        ret->emerged_utc = ret->early_utc = ret->late_utc = s->emerged_utc;
        ret->days_to_emerge = (double)(s->emerged_utc - s->sown_utc) / DAY_S;
        return;
    }
    ret->days_to_emerge = count_days(s, s->seed_place, s->sown_utc, emergence_day_rate, 1.0);
    if (!isfinite(ret->days_to_emerge))
        return;
    ret->spread_d = emergence_spread_d(ret->days_to_emerge);
    ret->emerged_utc = days_on(s->sown_utc, ret->days_to_emerge);
    ret->early_utc = days_on(s->sown_utc, ret->days_to_emerge - ret->spread_d);
    ret->late_utc = days_on(s->sown_utc, ret->days_to_emerge + ret->spread_d);
}

/* The first day from `utc` on that is fit to leave the heat by plan_may_harden(), but for size. */
static int64_t leave_in_season(const Sowing *s, Batch *batch, int64_t utc)
{
    batch->stage = STAGE_GROWING_ON;
    batch->bought = true; /* its size was asked already */
    for (int day = 0; day < 366; day++)
        if (plan_may_harden(s->garden, batch, days_on(utc, day)))
            return days_on(utc, day);
    return utc;
}

/* Days of the ramp: a soft plant, to the normal nights of its destination at that time. */
static int harden_days(const Sowing *s, const Batch *batch, int64_t from_utc)
{
    const Crop *crop = &s->garden->crops[s->crop];
    const double low_c = plan_normal_low_c(s->garden, batch, from_utc);
    const int exposure = s->destination >= 0
                             ? outlook_exposure_needed(&s->garden->places[s->destination])
                             : RAMP_EXPOSURE_FULL;
    RampState soft;
    ramp_begin(crop, from_utc, &soft);
    return (int)ceil(
        ramp_days_missing(crop, &soft, fmax(low_c, crop->floor_hardened_c), 0.0, exposure));
}

/* When the seedlings have settled after it; where it is not done, when they are up. */
static int64_t find_pricking_out(const Sowing *s, SowingCourse *ret)
{
    const Crop *crop = &s->garden->crops[s->crop];
    if (crop->prick_out_leaves < 0 || s->pricked)
        return ret->emerged_utc;
    const int64_t from_utc = s->growth.known ? s->not_before_utc : ret->emerged_utc;
    const double had = s->growth.known ? s->growth.leaves : 0.0;
    const double days = count_days(s, s->raised_place, from_utc, emergence_leaves_a_day,
                                   fmax(0.0, crop->prick_out_leaves - had));
    if (!isfinite(days))
        return ret->emerged_utc;
    ret->prick_out_utc = later(days_on(from_utc, days), s->not_before_utc);
    return days_on(ret->prick_out_utc, crop->settle_days);
}

void sowing_course(const Sowing *s, SowingCourse *ret)
{
    const Crop *crop = &s->garden->crops[s->crop];
    Batch batch = {.crop = s->crop, .place = s->seed_place, .destination = s->destination};
    *ret = (SowingCourse){.days_to_emerge = INFINITY, .normal_low_c = NAN};
    find_emergence(s, ret);
    if (ret->emerged_utc == 0)
        return;
    const int64_t settled_utc = later(find_pricking_out(s, ret), s->not_before_utc);
    const double slow_d =
        fmax(0.0, ret->days_to_emerge - emergence_days(crop, SOWING_RECKONED_C, SOWING_RECKONED_C));
    const int64_t from_utc = days_on(s->sown_utc, slow_d);
    const double weeks_s = s->bought ? 0.0 : WEEK_S;
    const int64_t own_utc =
        later(from_utc + (int64_t)(crop->weeks_to_harden * weeks_s), settled_utc);
    const int64_t large_utc = from_utc + (int64_t)(crop->weeks_to_plant * weeks_s);
    ret->leave_utc = leave_in_season(s, &batch, own_utc);
    ret->leave_waits = ret->leave_utc > own_utc;
    ret->harden_days = harden_days(s, &batch, ret->leave_utc);
    ret->fit_utc = later(days_on(own_utc, harden_days(s, &batch, own_utc)), large_utc);
    ret->normal_low_c = plan_normal_low_c(s->garden, &batch, ret->fit_utc);
    const int64_t hard_utc = later(days_on(ret->leave_utc, ret->harden_days), large_utc);
    ret->plant_utc = plan_season_from(s->garden, &batch, hard_utc);
    ret->never_mild = !plan_in_season(s->garden, &batch, ret->plant_utc);
    if (s->container >= 0)
        ret->held_utc = days_on(ret->prick_out_utc != 0 ? ret->prick_out_utc : s->sown_utc,
                                7.0 * s->garden->containers[s->container].hold_max_weeks);
}

bool sowing_for(const Sowing *s, int64_t plant_utc, int64_t *ret_sown_utc, SowingCourse *ret)
{
    Sowing one = *s;
    const Crop *crop = &s->garden->crops[s->crop];
    const int last = (int)(7.0 * crop->weeks_to_plant) + BACK_D;
    /* it never leaves the heat before its weeks are over */
    for (int day = (int)(7.0 * crop->weeks_to_harden); day <= last; day++) {
        SowingCourse course;
        one.sown_utc = plant_utc - (int64_t)day * DAY_S;
        sowing_course(&one, &course);
        if (course.days_to_emerge > EMERGENCE_MOST_D || course.fit_utc > plant_utc)
            continue;
        *ret_sown_utc = one.sown_utc;
        *ret = course;
        return true;
    }
    return false;
}

double sowing_frost_odds(const Site *site, int64_t utc)
{
    static const int before[] = {0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334};
    const double frost_d = before[(site->last_frost_month + 11) % 12] + site->last_frost_day - 0.5;
    const double year_d = YEAR_S / DAY_S;
    const double after_d = remainder(season_of_year(utc) * year_d - frost_d, year_d);
    if (after_d > SOWING_FROST_AFTER_D)
        return (double)NAN;
    return odds_of_margin(odds_margin(after_d, site->last_frost_sd_d, 0.0));
}

int64_t sowing_frost_rare(const Site *site, int64_t utc, double odds)
{
    int day = 0;
    while (day < 366 && sowing_frost_odds(site, days_on(utc, day)) > odds)
        day++;
    return days_on(utc, day);
}
