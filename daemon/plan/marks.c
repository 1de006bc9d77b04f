/* SPDX-License-Identifier: MIT */
#include "plan/marks.h"

#include <math.h>

#define AFTER_SUNRISE_S 3600           /* the ramp day ends one hour after sunrise */
#define NO_SUNRISE_CLOSES_S (7 * 3600) /* where the sun does not rise: 07:00; chosen */
#define SOLAR_DEGREES_PER_H 15.0
#define SPRING_EQUINOX_DAY 79 /* of the year */
#define AUTUMN_EQUINOX_DAY 266

/* Where the sun neither rises nor sets, the half of the year tells which. */
static bool polar_day(double latitude, int32_t day)
{
    int32_t day_of_year = (int32_t)fmod(fmod((double)day, 365.2425) + 365.2425, 365.2425);
    bool northern_summer = day_of_year > SPRING_EQUINOX_DAY && day_of_year < AUTUMN_EQUINOX_DAY;
    return (latitude >= 0.0) == northern_summer;
}

uint8_t marks_at(const SiteOutlook *outlook, double latitude, int64_t utc)
{
    bool daylight = false, settled_day = false, closes = false;
    for (int d = 0; d < outlook->n_days; d++) {
        const SolarDay *day = &outlook->days[d];
        int64_t rise = day->sunrise_utc, set = day->sunset_utc, close = rise + AFTER_SUNRISE_S;
        if (rise == 0) {
            bool light = polar_day(latitude, day->day);
            rise = day->midnight_utc;
            set = light ? rise + 86400 : rise;
            close = day->midnight_utc + NO_SUNRISE_CLOSES_S;
        }
        daylight = daylight || (utc >= rise && utc < set);
        settled_day = settled_day || (utc >= close && utc < set);
        closes = closes || (close <= utc && close > utc - STEP_S);
    }
    return (uint8_t)((daylight ? MARK_DAYLIGHT : 0) | (settled_day ? 0 : MARK_NIGHT) |
                     (closes ? MARK_CLOSES : 0));
}

double marks_solar_hour(int64_t utc, double longitude)
{
    double hour =
        (double)(((utc % 86400) + 86400) % 86400) / 3600.0 + longitude / SOLAR_DEGREES_PER_H;
    return fmod(hour + 24.0, 24.0);
}
