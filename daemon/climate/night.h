/* SPDX-License-Identifier: MIT */
/*
 * A second opinion on the night's minimum in the open, by two methods of Snyder and de Melo-Abreu
 * 2005, Frost protection: fundamentals, practice and economics (FAO), vol. 1, ch. 5. Both are for
 * nights of radiation frost: hardly any wind, a clear sky, no fog or rain. Pure.
 */
#pragma once

#include "garden/types.h"

#define NIGHT_EVENING_H 2.0 /* hours after sunset at which both methods begin; FAO ch. 5 */

/* One such night as it was: air and dew point NIGHT_EVENING_H after sunset, and the minimum. */
typedef struct NightRecord {
    double evening_c, dew_point_c, low_c;
} NightRecord;

/* low = on_evening · evening + on_dew_point · dew point + constant */
typedef struct NightRegression {
    double on_evening, on_dew_point, constant_c;
    double rmse_k; /* over the nights it was fitted to */
    int n;
} NightRegression;

/* Whether the weather from `now` is that of a radiation frost: wind at 10 m under 2 m/s, cloud
 * under 2/8 (chosen; the book says "clear"), no rain. */
bool night_is_radiative(const OutdoorStep *now);

/*
 * The least squares of the minimum on the evening's temperature, then of what remains on its dew
 * point, one after the other as the book does (not both at once, which gives other numbers). Of
 * more than NIGHT_RECORDS_MAX the last count. False, and nothing written, for fewer than
 * NIGHT_RECORDS_MIN, or where they are all alike.
 */
#define NIGHT_RECORDS_MIN 8   /* chosen */
#define NIGHT_RECORDS_MAX 100 /* chosen */
bool night_fit(const NightRecord *records, int n, NightRegression *ret);

/* The minimum, °C. */
double night_predict_c(const NightRegression *regression, double evening_c, double dew_point_c);

/*
 * Temperature `since_h` hours after the evening's, on the curve that falls with the square root of
 * time and meets `low_c` after `length_h` hours, at sunrise.
 */
double night_trend_c(double evening_c, double low_c, double since_h, double length_h);

/*
 * The minimum to which the same curve leads, from the evening's temperature and one read
 * `since_h` (> 0) hours later, at most `length_h`.
 */
double night_trend_low_c(double evening_c, double read_c, double since_h, double length_h);
