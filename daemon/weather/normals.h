/* SPDX-License-Identifier: MIT */
/* Hours made from a site's monthly normals: what is planned on where no forecast reaches. */
#pragma once

#include "garden/types.h"

#define NORMALS_SPREAD_K 4.0 /* spread of a normal hour; about a week's climatology, chosen */
/* A low with one chance in ten of 0 °C at that spread: 1.2816 standard deviations; chosen. */
#define NORMALS_CAUTIOUS_LOW_C (1.2816 * NORMALS_SPREAD_K)
#define NORMALS_CLOUD_PCT 50.0 /* chosen */
#define NORMALS_WIND_MS 2.0    /* chosen; FAO-56 takes the same where wind is not known */

/* Normal daily mean, °C, and daily range, K, at `utc`: linear between the middles of months. */
double weather_normals_mean_c(const Normals *normals, int64_t utc);
double weather_normals_range_k(const Normals *normals, int64_t utc);

/*
 * The normal hour at `time_utc`, all of it estimated (EST_TEMPERATURE and the rest); gust and
 * precipitation NAN. Cautious: while a night frost must be reckoned with, the day's low is at most
 * NORMALS_CAUTIOUS_LOW_C, the high keeping its place.
 */
WeatherHour weather_normals_hour(const Site *site, int64_t time_utc, bool cautious);

/*
 * Whether a night frost must still be reckoned with at `utc`: within the half-year before the mean
 * date of the last frost, or within two standard deviations after it. True where the date is
 * unknown.
 */
bool weather_frost_season(const Site *site, int64_t utc);
