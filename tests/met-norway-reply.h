/* SPDX-License-Identifier: MIT */
/*
 * Replies in the shape of MET Norway's Locationforecast 2.0, written by hand after the service's
 * pages (ForecastJSON, datamodel). Single quotes stand for double ones.
 */
#pragma once

#include <glib.h>

#include "garden/types.h"

#define REPLY_UTC G_GINT64_CONSTANT(1775088000) /* 2026-04-02T00:00:00Z, GNU date */
#define REPLY_UPDATED "2026-04-02T00:30:57Z"
#define REPLY_UPDATED_UTC (REPLY_UTC + 1857)

/* In a format, so that %% is a per cent. */
#define REPLY_UNITS                                                                                \
    "'air_pressure_at_sea_level':'hPa','air_temperature':'celsius',"                               \
    "'air_temperature_max':'celsius','air_temperature_min':'celsius',"                             \
    "'air_temperature_percentile_10':'celsius','air_temperature_percentile_90':'celsius',"         \
    "'cloud_area_fraction':'%%','dew_point_temperature':'celsius','precipitation_amount':'mm',"    \
    "'relative_humidity':'%%','wind_from_direction':'degrees','wind_speed':'m/s',"                 \
    "'wind_speed_of_gust':'m/s'"

/* A site of the tests: 52° north, 13° east. */
Site reply_site(double latitude, double longitude);

/*
 * Adds a row to a time series. `instant`, `next_1` and `next_6` are what stands in their `details`;
 * NULL leaves the period out.
 */
void reply_row(GString *series, int64_t time_utc, const char *instant, const char *next_1,
               const char *next_6);

/* The whole reply for `site`, issued REPLY_UPDATED. The caller owns it. */
char *reply_whole(const Site *site, const char *series);

/*
 * Two days of hours, from REPLY_UTC on, then `days` of steps of six hours, as recorded: no
 * next_6_hours in the last hours, only instants in the last row. Each night's low, `low_c`, lies
 * between two rows. The caller owns it.
 */
char *reply_season(const Site *site, int days, double low_c);
