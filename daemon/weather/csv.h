/* SPDX-License-Identifier: MIT */
/*
 * Forecasts from a table of comma-separated values. The first line names the columns, in any order:
 * time, temperature_c (both required), dew_point_c, cloud_pct, wind_ms, gust_ms, radiation_wm2,
 * precipitation_mm, issued, site. Times are ISO 8601 in UTC with Z, `time` on full hours; an empty
 * field is missing. Gust, radiation and precipitation are for the hour ending at `time`. Rows
 * without a site hold for all sites; rows without `issued` were issued when the file was written.
 */
#pragma once

#include <glib.h>

#include "weather/forecast.h"

#define WEATHER_CSV_BYTES_MAX (8 * 1024 * 1024) /* chosen */
#define WEATHER_CSV_ROWS_MAX 200000             /* over twenty years of hours; chosen */

/*
 * Forecasts in `length` bytes at `data` (no terminating zero needed), one for each site and issue,
 * sorted by site, then by issued_utc: (element-type Forecast), owned by the caller, never empty.
 * `name` stands in errors and as the source; `modified_utc` is the issue of rows that give none.
 * NULL and an error (invalid, or limit) on the first fault, as "NAME:LINE: column=value: what is
 * wrong; accepted …".
 */
GPtrArray *weather_csv_parse(const char *name, const char *data, gsize length, int64_t modified_utc,
                             int64_t fetched_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;
