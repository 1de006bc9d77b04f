/* SPDX-License-Identifier: MIT */
/*
 * MET Norway's Locationforecast 2.0, `complete`: from the bytes of a reply to hours. Pure of I/O.
 * Read by the service's own pages: api.met.no/doc/ForecastJSON, locationforecast/datamodel and
 * TermsOfService.
 */
#pragma once

#include <glib.h>

#include "weather/forecast.h"

/* Ten times a recorded reply with all its members; chosen. */
#define MET_NORWAY_BYTES_MAX (2 * 1024 * 1024)
#define MET_NORWAY_ROWS_MAX 1000 /* recorded: about ninety; chosen */
#define MET_NORWAY_DAYS_MAX 30   /* from the first row to the last; recorded: ten; chosen */
#define MET_NORWAY_STEP_H 6      /* the longest step that is turned into hours */

/*
 * The forecast in `length` bytes at `data` (no terminating zero needed), under the name of `site`
 * and the source `name`, which stands in errors too; owned by the caller. It is issued when the
 * service says that it was (properties.meta.updated_at). Hours run from the first row to the last;
 * an hour of which nothing is known is missing. NULL and an error (invalid, or limit) on the first
 * fault, as "NAME: path.of.the.member=value: what is wrong; accepted …".
 */
Forecast *met_norway_parse(const char *name, const char *data, gsize length, const Site *site,
                           int64_t fetched_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* One entry of the time series. A member that is not there is NAN. */
typedef struct MetNorwayRow {
    int64_t time_utc;
    /* instants; the gust is a maximum around it */
    double temperature_c, p10_c, p90_c, dew_point_c, humidity_pct, cloud_pct, wind_ms, gust_ms;
    double rain_1h_mm;                /* from time_utc on, 1 h */
    double rain_6h_mm, low_c, high_c; /* from time_utc on, 6 h */
} MetNorwayRow;

/*
 * Hours from rows that are sorted, on the hour and not empty: (element-type WeatherHour), owned by
 * the caller. Period values are turned to the hour that ends; rows up to six hours apart, of which
 * the lowest temperature between them is known, are filled with hours that reach it, marked
 * EST_INTERPOLATED and the like. `site` tells where the sun is.
 */
GArray *met_norway_hours(const GArray *rows, const Site *site);
