/* SPDX-License-Identifier: MIT */
/* What would differ if something were otherwise, in sentences. */
#pragma once

#include "service/wording.h"

/* Of one batch, before and after. */
typedef struct WhatIfBatch {
    const Batch *batch;
    double odds_before,
        odds_after; /* of damage, in the night that differs most; both 0 none does */
    int64_t night_utc;
    int site;
    char *ready_before, *ready_after; /* (owned) as api_ready_words() has them */
    int days_later;                   /* below 0 sooner; 0 the same, or not known in days */
    bool ready_differs;
} WhatIfBatch;

/* All that differs; `batches` (element-type WhatIfBatch) are those that do. */
typedef struct WhatIfSum {
    const GArray *batches;
    int visits_more, visits_fewer, visits_other; /* other: another time, or other jobs */
    int limits_more;
    double minutes_more; /* of all visits */
} WhatIfSum;

/* The first line: what it would mean, for plants, dates and work. */
char *wording_what_if(const WordingContext *context, const WhatIfSum *sum);

/* "leek-1: odds of damage 5–10 % in the night to Sun, instead of practically none." NULL the same.
 */
char *wording_what_if_odds(const WordingContext *context, const WhatIfBatch *differs);

/* "leek-1: ready Fri 24 Apr, 3 days later, instead of Tue 21 Apr." NULL the same. */
char *wording_what_if_ready(const WhatIfBatch *differs);

/* What is supposed. */
char *wording_supposed_skip(const WordingContext *context, const Visit *visit);
char *wording_supposed_frost(const WordingContext *context, int site, const char *night,
                             double low_c);
char *wording_supposed_place(const WordingContext *context, const Place *place);
char *wording_supposed_sown(const Batch *batch, const char *day);
