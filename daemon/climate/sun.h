/* SPDX-License-Identifier: MIT */
/* Where the sun is, when it rises and sets, and what a clear sky gives. Pure. */
#pragma once

#include <stdbool.h>
#include <stdint.h>

/* The sun's upper limb on the horizon: 34' of refraction and 16' of semi-diameter. */
#define SUN_HORIZON_DEG (-0.8333)
#define SUN_CIVIL_DEG (-6.0) /* end of civil twilight */

typedef struct SunPosition {
    double elevation_deg; /* geometric, of the centre */
    double azimuth_deg;   /* clockwise from north */
    double declination_deg, equation_of_time_min, distance_au;
} SunPosition;

/* Low-precision solar coordinates (Meeus, Astronomical Algorithms, ch. 25), good to 0.01 degree. */
SunPosition sun_position(int64_t utc, double latitude, double longitude);

/* Solar noon nearest to `utc`. */
int64_t sun_noon_utc(int64_t utc, double longitude);

/*
 * The instants at which the sun's centre passes `elevation_deg` before and after solar noon
 * `noon_utc`. False, and nothing written, where it does not (polar day or night).
 */
bool sun_rise_set(int64_t noon_utc, double latitude, double longitude, double elevation_deg,
                  int64_t *ret_rise_utc, int64_t *ret_set_utc);

/* Irradiance of a clear sky on a level surface, W/m², by the cosine of the zenith angle (> 0);
 * Haurwitz 1945. */
double sun_haurwitz_wm2(double cosine_zenith);

/* Clear-sky irradiance on a level surface, W/m² (Haurwitz 1945). 0 at night. */
double sun_clear_sky_wm2(int64_t utc, double latitude, double longitude);

/* Mean of the clear-sky irradiance over [from, to), W/m². */
double sun_clear_sky_mean_wm2(int64_t from_utc, int64_t to_utc, double latitude, double longitude);

/*
 * Daily extraterrestrial radiation, MJ/m²; FAO-56 eq. 21. `day_of_year` 1..366. Not for the
 * service: the hindcast goes by it, and the checks hold it to FAO-56's worked examples.
 */
double sun_extraterrestrial_mj(double latitude, int day_of_year);
