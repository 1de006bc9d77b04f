/* SPDX-License-Identifier: MIT */
/* Days, clocks and nights of a site, for the replies. Texts are the caller's. Internal to api*.c.
 */
#pragma once

#include "service/service.h"

/* The local day at a site, now or at `utc`. */
int api_today(const Service *service, int site);
int api_day(const Service *service, int site, int64_t utc);

/* The day on which the night that matters now begins: before sunrise it began yesterday. */
int api_tonight(const Service *service, int site);

char *api_day_long(int day);  /* "Sunday 12 April" */
char *api_day_short(int day); /* "Sun 12 Apr" */
char *api_clock(const Service *service, int site,
                int64_t utc); /* "18:30"; NULL for a missing time */

/* The night that begins on a day, outdoors: sunset to one hour after sunrise. */
typedef struct ApiNight {
    int day;
    int64_t low_utc;
    double low_c, spread_k, frost_odds; /* odds of an air frost at the low */
    double cloud_pct, wind_ms;          /* means */
    double dew_point_c;                 /* at the low; NAN where it is an estimate */
    double gust_ms, rain_mm;            /* NAN not known */
    uint32_t estimated;                 /* EST_ bits of all of it */
    uint32_t low_estimated;             /* of the low */
} ApiNight;

/* FALSE where the weather in use does not hold the whole night (its past part may be missing). */
gboolean api_night(const Service *service, int site, int day, ApiNight *ret);

/* The hottest of a day outdoors, five hours either side of 14:00: low_c is the high, at low_utc. */
gboolean api_noon(const Service *service, int site, int day, ApiNight *ret);

/* As many as GET /v1/today tells. */
guint api_count_alerts(const Service *service);
