/* SPDX-License-Identifier: MIT */
/*
 * What climate/night.h says of the next minimum in the open, beside the forecast: from the grower's
 * own evenings, and from how the air has fallen this evening. For clear, calm nights only.
 */
#pragma once

#include "service/learned.h"

typedef struct SecondOpinion {
    int nights; /* past ones that the regression rests on; 0: it says nothing */
    double regression_c,
        regression_spread_k;  /* of those nights, as many freedoms as it took away */
    int64_t from_utc, to_utc; /* readings of the fall; 0: it says nothing */
    double fall_c;
} SecondOpinion;

/*
 * The night of a site that begins on `day`. All of it is 0 where there is no basis: the open air
 * was not read about NIGHT_EVENING_H after sunset, the night is not forecast to be a clear and calm
 * one, or too few such nights were read, evening and minimum both. FALSE: the store cannot be read.
 */
gboolean second_opinion(const Service *service, const Learned *learned, int site, int day,
                        SecondOpinion *ret, GError **error) G_GNUC_WARN_UNUSED_RESULT;
