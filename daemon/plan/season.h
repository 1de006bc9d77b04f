/* SPDX-License-Identifier: MIT */
/* What is normal for a day of the year. Internal to plan/. */
#pragma once

#include "garden/types.h"

#define YEAR_S 31556952.0 /* mean Gregorian year */
/* An unheated film tunnel: mean rise of the night minimum and of the maximum, Savage 1980,
 * Agrochemophysica 12:5-13. */
#define UNDER_COVER_LOW_K 1.3
#define UNDER_COVER_HIGH_K 4.2
/* A thin fleece, least of what FAO, Frost protection (2005), vol. 1 ch. 6, gives for row covers. */
#define UNDER_FLEECE_LOW_K 1.0

/* Share of the year that has gone at `utc`, 0..1. */
double season_of_year(int64_t utc);

/* Of twelve months, linear between their middles. */
double season_monthly(const double *value, int64_t utc);
