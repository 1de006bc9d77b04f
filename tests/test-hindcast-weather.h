/* SPDX-License-Identifier: MIT */
/*
 * Daily weather of Seattle made hourly, for the hindcast. What is measured, what is made from it
 * and what is assumed is said in docs/hindcast.md.
 */
#pragma once

#include <glib.h>

#include "garden/types.h"

/* Where the days were measured, and days begin all the year: in daylight saving time. */
typedef struct Station {
    double latitude, longitude;
    int32_t daylight_saving_s; /* local time less UTC */
} Station;

extern const Station seattle, chicago, new_york;

/* One row of the file. */
typedef struct DailyWeather {
    int32_t day; /* days since 1970-01-01 */
    double precipitation_mm, high_c, low_c, wind_ms;
    double dew_point_c, cloud; /* cloud 0..1; NAN where not measured */
} DailyWeather;

/*
 * Reads the rows of a file with the columns date, precipitation, temp_max, temp_min, wind, weather.
 * NULL, with `ret_problem` (owned) set, where a row cannot be read or a day is missing.
 */
GArray *hindcast_read_days(const char *path, char **ret_problem) G_GNUC_WARN_UNUSED_RESULT;

/* The same of the columns date, temp_min, temp, temp_max, dew, wind, weather_cloud. */
GArray *hindcast_read_chicago(const char *path, char **ret_problem) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Hourly weather of the local days `first` to `last`, both of which, with a day before and one
 * after, are in `days`; every temperature shifted by `shift_k`. spread_k is left at 0.
 */
GArray *hindcast_hours(const Station *at, const GArray *days, int32_t first, int32_t last,
                       double shift_k) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The usual course: the same days from `first` to `last`, a day before and one after, with the mean
 * low and high of the days within a week of the date in all years, plus `spreads` of their standard
 * deviations.
 */
GArray *hindcast_usual(const GArray *days, int32_t first, int32_t last,
                       double spreads) G_GNUC_WARN_UNUSED_RESULT;

/* Sunrise, sunset and dusk of a local day. */
SolarDay hindcast_solar_day(const Station *at, int32_t day);

/* Mean temperature of the thirty days before `day`, °C. */
double hindcast_month_mean_c(const GArray *days, int32_t day, double shift_k);

/* Days since 1970-01-01. */
int32_t hindcast_day(int year, int month, int day_of_month);
