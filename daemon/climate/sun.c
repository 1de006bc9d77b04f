/* SPDX-License-Identifier: MIT */
/*
 * The sun's place by the low-precision series of Meeus (Astronomical Algorithms, ch. 22, 25 and
 * 28): 0.01 degree, which is a few seconds of sunrise. The difference of ephemeris and universal
 * time (about 70 s, 0.001 degree of solar longitude) is left out.
 */
#include "climate/sun.h"

#include <math.h>

#define DAY_S 86400.0
#define J2000_UTC 946728000   /* 2000-01-01 12:00 UTC */
#define SECONDS_PER_DEG 240.0 /* the earth turns a degree in four minutes */
#define EVENT_ITERATIONS 8    /* chosen: enough up to the polar circles; elsewhere three do */
#define EVENT_SETTLED_S 0.1   /* chosen: and then no further step is made */
#define HOUR_S 3600
#define MEAN_STEP_S 300 /* chosen: midpoint rule for the mean of a clear sky */

static const double radian = 3.14159265358979323846 / 180.0;

static double turn_deg(double deg)
{
    return deg - 360.0 * floor(deg / 360.0);
}

static double half_turn_deg(double deg)
{
    return deg - 360.0 * floor(deg / 360.0 + 0.5);
}

SunPosition sun_position(int64_t utc, double latitude, double longitude)
{
    const double days = (double)(utc - J2000_UTC) / DAY_S;
    const double t = days / 36525.0;

    /* Meeus 25.2-25.5: mean longitude, mean anomaly, eccentricity, equation of the centre */
    const double mean_longitude = turn_deg(280.46646 + t * (36000.76983 + t * 0.0003032));
    const double anomaly_deg = 357.52911 + t * (35999.05029 - t * 0.0001537);
    const double anomaly = anomaly_deg * radian;
    const double eccentricity = 0.016708634 - t * (0.000042037 + t * 0.0000001267);
    const double centre = (1.914602 - t * (0.004817 + t * 0.000014)) * sin(anomaly) +
                          (0.019993 - t * 0.000101) * sin(2 * anomaly) +
                          0.000289 * sin(3 * anomaly);
    const double true_anomaly = anomaly + centre * radian;

    /* apparent longitude and obliquity (25.8, 22.2), with the moon's node for the nutation */
    const double node = (125.04 - 1934.136 * t) * radian;
    const double nutation_deg = -0.00478 * sin(node);
    const double longitude_sun = (mean_longitude + centre - 0.00569 + nutation_deg) * radian;
    const double obliquity = (23.4392911 - 0.0130042 * t + 0.00256 * cos(node)) * radian;
    const double ascension_deg =
        atan2(cos(obliquity) * sin(longitude_sun), cos(longitude_sun)) / radian;
    const double declination = asin(sin(obliquity) * sin(longitude_sun));

    /* sidereal time (12.4), with the same nutation as the longitude, then the hour angle */
    const double sidereal_deg =
        280.46061837 + 360.98564736629 * days + 0.000387933 * t * t + nutation_deg * cos(obliquity);
    const double hour_angle = (sidereal_deg + longitude - ascension_deg) * radian;
    const double phi = latitude * radian;
    const double sine = sin(phi) * sin(declination) + cos(phi) * cos(declination) * cos(hour_angle);
    const double from_south =
        atan2(sin(hour_angle), cos(hour_angle) * sin(phi) - tan(declination) * cos(phi));

    return (SunPosition){
        .elevation_deg = asin(fmax(-1.0, fmin(1.0, sine))) / radian,
        .azimuth_deg = turn_deg(from_south / radian + 180.0),
        .declination_deg = declination / radian,
        /* 28.1; a degree is four minutes */
        .equation_of_time_min = 4.0 * half_turn_deg(mean_longitude - 0.0057183 - ascension_deg +
                                                    nutation_deg * cos(obliquity)),
        .distance_au = 1.000001018 * (1 - eccentricity * eccentricity) /
                       (1 + eccentricity * cos(true_anomaly)),
    };
}

/* Equation of time, s. It does not depend on where one stands. */
static double equation_of_time_s(int64_t utc)
{
    return 60.0 * sun_position(utc, 0, 0).equation_of_time_min;
}

int64_t sun_noon_utc(int64_t utc, double longitude)
{
    /* the noon of the mean solar day that holds the apparent solar time of `utc` */
    const double solar = (double)utc + longitude * SECONDS_PER_DEG + equation_of_time_s(utc);
    const double mean_noon = floor(solar / DAY_S) * DAY_S + DAY_S / 2 - longitude * SECONDS_PER_DEG;
    const double first = mean_noon - equation_of_time_s((int64_t)mean_noon);

    return (int64_t)floor(mean_noon - equation_of_time_s((int64_t)first) + 0.5);
}

/* One event: `side` -1 before noon, +1 after. The declination is taken at the event itself. */
static bool passing(double mean_noon, double latitude, double elevation_deg, int side,
                    int64_t *ret_utc)
{
    const double phi = latitude * radian;
    double event = mean_noon;
    double cosine = 0;

    for (int i = 0; i < EVENT_ITERATIONS; i++) {
        const SunPosition sun = sun_position((int64_t)floor(event + 0.5), 0, 0);
        const double delta = sun.declination_deg * radian;

        cosine = (sin(elevation_deg * radian) - sin(phi) * sin(delta)) / (cos(phi) * cos(delta));
        const double hour_angle_deg = acos(fmax(-1.0, fmin(1.0, cosine))) / radian;
        const double before = event;
        event =
            mean_noon - 60.0 * sun.equation_of_time_min + side * hour_angle_deg * SECONDS_PER_DEG;
        if (fabs(event - before) < EVENT_SETTLED_S)
            break;
    }
    if (!(fabs(cosine) <= 1.0))
        return false;
    *ret_utc = (int64_t)floor(event + 0.5);
    return true;
}

bool sun_rise_set(int64_t noon_utc, double latitude, double longitude, double elevation_deg,
                  int64_t *ret_rise_utc, int64_t *ret_set_utc)
{
    const int64_t noon = sun_noon_utc(noon_utc, longitude);
    const double mean_noon = (double)noon + equation_of_time_s(noon);
    int64_t rise = 0, set = 0;

    if (!passing(mean_noon, latitude, elevation_deg, -1, &rise) ||
        !passing(mean_noon, latitude, elevation_deg, +1, &set))
        return false;
    *ret_rise_utc = rise;
    *ret_set_utc = set;
    return true;
}

double sun_clear_sky_wm2(int64_t utc, double latitude, double longitude)
{
    const double sine = sin(sun_position(utc, latitude, longitude).elevation_deg * radian);

    return sine > 0 ? sun_haurwitz_wm2(sine) : 0;
}

/* Sum over `n` midpoints of [from, to), at most an hour: in that the sun only turns, it does not
 * climb. */
static double clear_sky_sum(int64_t from_utc, int64_t span, int64_t n, double latitude,
                            double longitude)
{
    const double middle = (double)from_utc + (double)span / 2;
    const SunPosition sun = sun_position((int64_t)middle, latitude, longitude);
    const double solar_s = middle - DAY_S * floor(middle / DAY_S) + 60.0 * sun.equation_of_time_min;
    const double hour_angle_deg = solar_s / SECONDS_PER_DEG + longitude - 180.0;
    const double phi = latitude * radian, declination = sun.declination_deg * radian;
    const double up = sin(phi) * sin(declination), across = cos(phi) * cos(declination);
    double sum = 0;

    for (int64_t i = 0; i < n; i++) {
        const double off_s = (double)((2 * i + 1) * span) / (double)(2 * n) - (double)span / 2;
        const double sine = up + across * cos((hour_angle_deg + off_s / SECONDS_PER_DEG) * radian);
        sum += sine > 0 ? sun_haurwitz_wm2(sine) : 0;
    }
    return sum;
}

double sun_clear_sky_mean_wm2(int64_t from_utc, int64_t to_utc, double latitude, double longitude)
{
    double sum = 0;

    if (to_utc <= from_utc)
        return sun_clear_sky_wm2(from_utc, latitude, longitude);
    for (int64_t at = from_utc; at < to_utc; at += HOUR_S) {
        const int64_t span = to_utc - at < HOUR_S ? to_utc - at : HOUR_S;
        const int64_t n = span <= MEAN_STEP_S ? 1 : (span + MEAN_STEP_S - 1) / MEAN_STEP_S;
        sum += clear_sky_sum(at, span, n, latitude, longitude) / (double)n * (double)span;
    }
    return sum / (double)(to_utc - from_utc);
}

double sun_haurwitz_wm2(double cosine_zenith)
{
    return 1098.0 * cosine_zenith * exp(-0.059 / cosine_zenith);
}

double sun_extraterrestrial_mj(double latitude, int day_of_year)
{
    const double year = 2 * 180.0 * radian * day_of_year / 365.0;
    const double distance = 1 + 0.033 * cos(year);
    const double delta = 0.409 * sin(year - 1.39);
    const double phi = latitude * radian;
    /* beyond the polar circles the sun stays up or down: the angle ends at half a turn or none */
    const double sunset = acos(fmax(-1.0, fmin(1.0, -tan(phi) * tan(delta))));
    const double solar_constant_mj = 0.0820 * 24 * 60; /* MJ/m² a day */

    return solar_constant_mj / (180.0 * radian) * distance *
           (sunset * sin(phi) * sin(delta) + cos(phi) * cos(delta) * sin(sunset));
}
