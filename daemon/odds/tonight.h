/* SPDX-License-Identifier: MIT */
/*
 * The rest of a night after readings of it: the error of the open air and those of the places read,
 * each fading towards 0 with the site's decay. Gaussian, closed form (docs/odds.md). Pure.
 */
#pragma once

#include "odds/odds.h"

#define TONIGHT_ERRORS_MAX 16 /* the open air and the places read in one night */
#define TONIGHT_OUTDOORS (-1)
#define TONIGHT_DECAY_H 12.0 /* until learned; chosen */

/* Errors in units of their spreads, as they stand at `at_utc`. */
typedef struct Tonight {
    double decay_h;
    int64_t at_utc; /* of the last reading; 0 none */
    int n;          /* errors[0] is the open air's */
    int place[TONIGHT_ERRORS_MAX];
    double mean[TONIGHT_ERRORS_MAX];
    double covariance[TONIGHT_ERRORS_MAX][TONIGHT_ERRORS_MAX];
} Tonight;

/* The air at a time of this night, not an extreme. */
typedef struct TonightReading {
    int64_t time_utc;
    int place;      /* TONIGHT_OUTDOORS: the open air */
    double error_k; /* read less expected, with every bias learned before this night */
    double outdoor_spread_k, place_spread_k; /* then; the place's own, cover_error_at() */
} TonightReading;

typedef struct TonightError {
    double shift_k;     /* to be added to what is expected */
    double variance_k2; /* of what remains */
} TonightError;

/* What the readings of this night say of one place, a half-hour each, while the cover over it stays
 * in the position in which it was read. */
typedef struct TonightPlace {
    int position;
    const TonightError *steps; /* NULL: it was not read */
} TonightPlace;

/* One past evening: what the reading of it was off, and the minimum some hours later. */
typedef struct EveningPair {
    double evening_k, minimum_k, hours;
} EveningPair;

/* Hours in which an error falls to 1/e: from past evenings in the open air of a site whose forecast
 * for a first night has `spread_k`; TONIGHT_DECAY_H where there are none. */
double tonight_decay_h(const EveningPair *pairs, int n, double spread_k);

void tonight_begin(double decay_h, Tonight *ret);

/* Takes a reading in, the oldest first. False, and nothing changes, where it is older than the last
 * one, a number is missing, or too many places were read. */
bool tonight_read(const TonightReading *reading, Tonight *tonight);

/* The open air at `utc`, whose forecast had `spread_k`. Before the reading: no shift. */
TonightError tonight_outdoors(const Tonight *tonight, int64_t utc, double spread_k);

/*
 * A place's own part at `utc`, beside that of the open air: the shift, and what is to be added to
 * the open air's variance. After a reading under the cover that may be below 0, since what is too
 * much in one is too little in the other; the sum is not.
 */
TonightError tonight_place(const Tonight *tonight, int place, int64_t utc, double outdoor_spread_k,
                           double place_spread_k);
