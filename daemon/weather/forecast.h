/* SPDX-License-Identifier: MIT */
/* One forecast as a source issued it, and what is filled in where the source left something out. */
#pragma once

#include <glib.h>

#include "garden/types.h"

#define FORECAST_HOLE_H 3 /* missing hours in a row that are interpolated; chosen */

typedef struct Forecast {
    char *site;          /* (owned) name of the site; "" holds for every site */
    char *source;        /* (owned) where it came from, for the grower to read */
    int64_t issued_utc;  /* when the source made it */
    int64_t fetched_utc; /* when we read it */
    GArray *hours;       /* (owned) (element-type WeatherHour) by time, each time once */
    GPtrArray *notes; /* (owned) (element-type utf8) what was mended or left out, plain sentences */
} Forecast;

/* An empty forecast; the texts are copied. */
Forecast *forecast_new(const char *site, const char *source, int64_t issued_utc,
                       int64_t fetched_utc);

/* A copy of all of it. */
Forecast *forecast_copy(const Forecast *forecast);

/* Frees it. NULL is ignored. */
void forecast_free(Forecast *forecast);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Forecast, forecast_free)

/* An hour at `time_utc` in which everything is missing (NAN). */
WeatherHour weather_hour_missing(int64_t time_utc);

/*
 * Standard deviation, K, of the error of a temperature forecast `lead_h` hours ahead:
 * min(4.0, 1.34 + 0.35·(d − 1)), d the lead in days, at least 1. 1.34 follows from the Met Office's
 * published 86.5 % of first-night minima within ±2 °C, if errors are normal; the growth and the
 * ceiling are an assumption until the error is learned.
 */
double weather_spread_k(double lead_h);

/*
 * Fills what is missing, marks it with EST_ bits, and sets spread_k by the lead from issued_utc;
 * where the source gives a larger one it stays (a smaller one does not: an ensemble is mostly surer
 * than it has a right to be). Up to FORECAST_HOLE_H missing hours in a row are interpolated; a
 * larger hole ends the forecast, and hours before the first temperature are left out (a note says
 * so). Then dew point = the lowest temperature of the local day (FAO-56 eq. 48: Tdew near Tmin),
 * cloud 50 %, wind 2 m/s (chosen), radiation from the clear sky and the cloud. Afterwards the hours
 * follow each other without a gap, and only gust and precipitation may still be NAN. Doing it twice
 * changes nothing.
 */
void weather_complete(Forecast *forecast, const Site *site, GTimeZone *zone);

/*
 * Mean radiation, W/m², of the hour ending at `end_utc` under a sky with `cloud_pct`:
 * clear sky × (1 − 0.75·n^3.4), n 0..1 (Kasten and Czeplak 1980, from memory).
 */
double weather_radiation_wm2(int64_t end_utc, double latitude, double longitude, double cloud_pct);
