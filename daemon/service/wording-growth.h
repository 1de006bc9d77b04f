/* SPDX-License-Identifier: MIT */
/* What is said of growth. Every text is the caller's; NULL where there is nothing to say. */
#pragma once

#include "service/growing.h"
#include "service/holding.h"
#include "service/wording.h"

#define WORDING_TOUCH_AHEAD_D 5 /* that it will touch the cover is told so long before; chosen */

/* It has the leaves for pricking out, from that day on. */
char *wording_growth_prick_out(const WordingContext *context, const Batch *batch,
                               const Growing *growing);

/* It touches the cover, or will soon. */
char *wording_growth_touches(const WordingContext *context, const Batch *batch,
                             const Growing *growing);

#define WORDING_CHILL_SHARE 0.6 /* of its days, from which on it is warned of; chosen */
/* Hardening takes one or two weeks (umd-hardening): from the first day on it is warned of, until
 * the last, when nothing is to be saved any more; chosen. */
#define WORDING_HARDENED_D 12
#define WORDING_HARDENED_MOST_D 28

/* It has had most of the cold that spoils its harvest. */
char *wording_growth_chill(const WordingContext *context, const Batch *batch,
                           const Growing *growing);

/* It has been hardening too long, of a crop that this spoils. */
char *wording_growth_hardened(const WordingContext *context, const Batch *batch,
                              const Growing *growing);

/* Its container is outgrown on a day: planted out now or potted on, with the odds of each. */
char *wording_growth_outgrown(const WordingContext *context, const Batch *batch,
                              const Holding *holding);

/* Leaves and height, and the days ahead. */
char *wording_growth(const WordingContext *context, const Batch *batch, const Growing *growing);
