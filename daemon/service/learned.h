/* SPDX-License-Identifier: MIT */
/*
 * What the grower's thermometer has taught: worked out anew from the readings in the store, each
 * beside what was computed for it when it was told (docs/odds.md, "In the service").
 */
#pragma once

#include "odds/forecast-error.h"
#include "odds/verdict.h"
#include "service/service.h"
#include "store/store-readings.h"

#define LEARNED_BACK_S 86400 /* weather is held so long before the settled state */

/* What became of a reading. */
typedef enum ReadingUse {
    USE_LEARNED,
    USE_NOW,       /* the air at a time: it tells of that night alone */
    USE_UNKNOWN,   /* nothing was computed for it */
    USE_EARLY,     /* an extreme of a night or day that was not over */
    USE_CORRECTED, /* a later reading of the same night or day counts */
    USE_DOUBT,     /* the verdict says why */
    USE_LIGHT,     /* not telling: a minimum in the sun, a maximum without */
    USE_MOVED,     /* a cover over it changed position meanwhile, or it is not known */
    USE_OTHERWISE, /* the cover did not stand as the prediction had it */
} ReadingUse;

typedef struct LearnedCount {
    int used;         /* readings that something was learned from */
    int64_t last_utc; /* of them; 0 none */
} LearnedCount;

typedef struct LearnedSite {
    LearnedError lead[FORECAST_LEADS][EXTREMES];
    double decay_h;
    LearnedCount open_air;
} LearnedSite;

typedef struct Learned {
    CoverError *covers;   /* (owned) [place · POSITIONS_MAX + position], as in a Snapshot */
    LearnedCount *places; /* (owned) per place */
    LearnedSite *sites;   /* (owned) per site */
    GArray *readings;     /* (owned) (element-type StoreReading) of the last 400 days, by time */
    GArray *uses;         /* (owned) (element-type ReadingUse) parallel */
} Learned;

/* From the store's readings. Needs the service's garden, zones and store. */
Learned *learned_new(const Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;
void learned_free(Learned *learned);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Learned, learned_free)

/* What the open air's forecast `lead_h` ahead is off; spreads are those of a forecast whose own is
 * the one assumed, weather_spread_k(). */
CoverError learned_open_air(const Learned *learned, int site, double lead_h);

/* The night or day that an extreme read at `utc` belongs to, and when it is told of. */
typedef struct ReadingSpan {
    int32_t day;
    int64_t from_utc, to_utc; /* in which the covers must stand still */
    int64_t made_by_utc;      /* a prediction made later knew too much of it */
    int64_t over_utc;         /* not to be read before */
    int64_t reset_utc;        /* a thermometer set back before may show an older one */
} ReadingSpan;
ReadingSpan learned_span(const Service *service, const StoreReading *reading);

/* Sunset of a site's local day, and the sunrise after it; of six hours to noon where there is none.
 */
void learned_night(const Service *service, int site, int day, int64_t *ret_sunset_utc,
                   int64_t *ret_sunrise_utc);

/* The site that a reading is of, and whether it is of the open air there. */
int learned_site(const Service *service, const StoreReading *reading);
gboolean learned_is_open_air(const Service *service, const StoreReading *reading);

/* Whether it can be, beside the readings before it. */
Judgement learned_judge(const Learned *learned, const Service *service, const StoreReading *reading,
                        int64_t now_utc);

/* What became of a reading that is in the store; *ret_verdict beside USE_DOUBT. */
ReadingUse learned_use(const Learned *learned, const StoreReading *reading);
