/* SPDX-License-Identifier: MIT */
/* What thermometers showed, and what was computed for it. */
#pragma once

#include "store/store.h"

typedef enum StoreReadingKind {
    STORE_READING_INSTANT,
    STORE_READING_MINIMUM, /* since the thermometer was last reset */
    STORE_READING_MAXIMUM,
} StoreReadingKind;

/* What was computed for a reading when it was told, and what that rests on; NAN not known. */
typedef struct StoreBasis {
    double computed_c;       /* with all that was learned before, without readings of that night */
    double spread_k;         /* the place's own; 0 of the open air */
    double bias_k;           /* of the place, in `computed_c`; of the open air, the site's */
    double outdoor_c;        /* the open air as forecast, corrected; NAN for an extreme */
    double outdoor_spread_k; /* 0 indoors */
    double light_wm2;        /* on the plants */
    int position;            /* of the nearest cover over the place; -1 not known */
} StoreBasis;

typedef struct StoreReading {
    Reading reading; /* place -1: the open air, or the garden no longer has it */
    StoreReadingKind kind;
    int site;          /* read in the open air of a site; else -1 */
    bool moved;        /* the thermometer hangs elsewhere from this reading on */
    int64_t since_utc; /* of an extreme: the thermometer was set back then; 0 not told */
    /* of one over several nights or days, the local day that it is of, where that is sure; 0: that
     * before it was read */
    int32_t day;
    StoreBasis basis;
} StoreReading;

/* One reading per place, time and kind: put again it replaces the value (a slip corrected). */
gboolean store_put_reading(Store *store, const Garden *garden, const StoreReading *reading,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Readings with FROM_UTC <= time < TO_UTC, in order of time. */
gboolean store_load_readings(Store *store, const Garden *garden, int64_t from_utc, int64_t to_utc,
                             GArray **ret_readings /* StoreReading */,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;
