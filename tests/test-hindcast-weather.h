/* SPDX-License-Identifier: MIT */
/*
 * Daily weather of Seattle made hourly, for the hindcast. What is measured, what is made from it
 * and what is assumed is said in docs/hindcast.md.
 */
#pragma once

#include <glib.h>

#include "garden/types.h"

#define SEATTLE_LATITUDE 47.6
#define SEATTLE_LONGITUDE (-122.3)
#define SEATTLE_DAYLIGHT_SAVING_S (-7 * 3600) /* local time less UTC, from March to November */

/* One row of the file. */
typedef struct DailyWeather {
    int32_t day; /* days since 1970-01-01 */
    double precipitation_mm, high_c, low_c, wind_ms;
} DailyWeather;

/*
 * Reads the rows of a file with the columns date, precipitation, temp_max, temp_min, wind, weather.
 * NULL, with `ret_problem` (owned) set, where a row cannot be read or a day is missing.
 */
GArray *hindcast_read_days(const char *path, char **ret_problem) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Hourly weather of the local days `first` to `last`, both of which, with a day before and one
 * after, are in `days`; every temperature shifted by `shift_k`. spread_k is left at 0.
 */
GArray *hindcast_hours(const GArray *days, int32_t first, int32_t last,
                       double shift_k) G_GNUC_WARN_UNUSED_RESULT;

/* Sunrise, sunset and dusk of a local day. */
SolarDay hindcast_solar_day(int32_t day);

/* Mean temperature of the thirty days before `day`, °C. */
double hindcast_month_mean_c(const GArray *days, int32_t day, double shift_k);

/* Days since 1970-01-01. */
int32_t hindcast_day(int year, int month, int day_of_month);
