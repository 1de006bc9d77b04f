/* SPDX-License-Identifier: MIT */
/* Day, night and the end of the ramp day, on the half-hour grid. Internal to plan/. */
#pragma once

#include "plan/snapshot.h"

enum {
    MARK_DAYLIGHT = 1 << 0,
    MARK_NIGHT = 1 << 1,  /* sunset to one hour after sunrise */
    MARK_CLOSES = 1 << 2, /* a ramp day ends as the step begins */
};

/* The marks of the step that begins at `utc`; `outlook->days` must hold its day and both
 * neighbours. */
uint8_t marks_at(const SiteOutlook *outlook, double latitude, int64_t utc);

/* Local solar time, 0..24. */
double marks_solar_hour(int64_t utc, double longitude);
