/* SPDX-License-Identifier: MIT */
/* Which planned visit continues which former one, so that its calendar event moves and stays. */
#pragma once

#include "garden/types.h"

#define CALENDAR_MATCH_MAX_S (3 * 3600) /* further away it is another visit; chosen */

/*
 * For each planned visit the index of the former visit that it continues, -1 for a new one, into
 * ret_former_of[n_planned]. One to one. Visits that carry the same id belong together, whatever
 * their times. The others pair by grower, site and start, at most CALENDAR_MATCH_MAX_S apart (that
 * itself included): first those on the same local day, then the rest, nearest first; of equals the
 * first in the arrays. A planned visit with an id of its own pairs by that id only.
 *
 * former_day, planned_day: local day number of each visit; both NULL: nearest time alone decides.
 * former must hold only visits whose events are not cancelled or gone (calendar_visit_ended()).
 */
void calendar_match(const Visit *former, const int32_t *former_day, int n_former,
                    const Visit *planned, const int32_t *planned_day, int n_planned,
                    int *ret_former_of);
