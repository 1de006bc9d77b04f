/* SPDX-License-Identifier: MIT */
/* Whether a reading can be what it says, and what it is good for. Pure; wording is made elsewhere.
 */
#pragma once

#include "odds/odds.h"

typedef enum Verdict {
    VERDICT_FINE,
    VERDICT_RANGE,    /* refused: no air is so cold or so hot there */
    VERDICT_FAR,      /* refused: too many spreads from what is computed */
    VERDICT_DOUBTFUL, /* kept, not learned from: far, but it can be */
    VERDICT_STUCK,    /* kept, not learned from: the same to the tenth for many nights */
    VERDICT_RESET,    /* kept, not learned from: set back before this night began */
} Verdict;

/* A reading and what is known beside it. */
typedef struct ReadingCase {
    double value_c;
    bool covered;                /* under a cover: it may be far hotter than the open air */
    bool extreme;                /* a minimum or maximum; else the air at that time */
    double computed_c, spread_k; /* with what was learned, of all of it; NAN not computed */
    int same_before;         /* readings just before it, of its kind, with its value to the tenth */
    double computed_range_k; /* of what was computed for those and this one; NAN */
    int64_t time_utc, now_utc;         /* read; asked */
    int64_t reset_utc, night_from_utc; /* of an extreme; 0 not said, not known */
} ReadingCase;

typedef struct Judgement {
    Verdict verdict;
    bool keep, learn;
    bool tonight;         /* recent and sure enough to change what is expected of this night */
    double low_c, high_c; /* what would be accepted: the range, and near what is computed */
    double off_k;         /* read less computed; NAN not computed */
    double spreads;       /* as many spreads; NAN */
} Judgement;

#define VERDICT_TONIGHT_S (6 * 3600) /* older readings say nothing of tonight; chosen */

Judgement verdict_reading(const ReadingCase *reading);
