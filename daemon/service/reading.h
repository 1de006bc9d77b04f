/* SPDX-License-Identifier: MIT */
/*
 * A reading is taken: judged, kept, learned from. Whoever hears it (a request, later a telephone)
 * calls reading_take(), asks for a plan, and tells what changed by wording-reading.h.
 */
#pragma once

#include "service/learned.h"

typedef struct ReadingAsked {
    int place; /* -1: the open air of `site` */
    int site;
    StoreReadingKind kind;
    int64_t time_utc;
    double value_c;
    int64_t since_utc; /* an extreme: when the thermometer was set back; 0: when it was last read */
    gboolean moved;    /* the thermometer hangs elsewhere from now on */
} ReadingAsked;

/* Tonight in a place or the open air, as planned; `low_c` NAN not known. */
typedef struct ReadingNight {
    double low_c, frost_odds;
} ReadingNight;

typedef struct ReadingTaken {
    StoreReading reading;                 /* with what was computed for it */
    double reckoned_c, reckoned_spread_k; /* with earlier readings of this night too; NAN */
    Judgement judged;
    ReadingUse use;
    LearnedError learned; /* of what was read, now: the place in that position, or the open air */
    LearnedError learned_before;
    int64_t former_utc; /* it is since then: as told, or the extreme read before it; 0 none */
    int nights;         /* or days, that it may be of since then; 0 not known */
    ReadingNight before;
} ReadingTaken;

/* FALSE: refused, nothing is kept; the message says what would be accepted. */
gboolean reading_take(Service *service, const ReadingAsked *asked, ReadingTaken *ret,
                      GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The same in the caller's transaction; where that is rolled back, forecasts_learn() forgets it. */
gboolean reading_take_within(Service *service, const ReadingAsked *asked, ReadingTaken *ret,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Tonight where `reading` was taken, as the plan has it now. */
ReadingNight reading_night(const Service *service, const StoreReading *reading);
