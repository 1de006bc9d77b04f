/* SPDX-License-Identifier: MIT */
/* What became of each news on each channel, so that none is told twice. */
#pragma once

#include "store/store.h"

#define STORE_TOLD_KEY_SIZE 160  /* bytes, with its zero */
#define STORE_TOLD_SENSE_SIZE 48 /* the same; it is a checksum */

typedef enum StoreToldState {
    STORE_TOLD_HANDED, /* to a channel that has not answered */
    STORE_TOLD_DELIVERED,
    STORE_TOLD_FAILED,
    STORE_TOLD_REFUSED,
    STORE_TOLD_MISSED,    /* no channel took it while it was of use */
    STORE_TOLD_PUBLISHED, /* by the calendar, since then */
} StoreToldState;

typedef struct StoreTold {
    char key[STORE_TOLD_KEY_SIZE]; /* of the news */
    char channel[NAME_SIZE];       /* MISSED and PUBLISHED: no name of one */
    StoreToldState state;
    char sense[STORE_TOLD_SENSE_SIZE]; /* of the words that it was given */
    int64_t at_utc;
} StoreTold;

/* Put again, the former row of a key and channel is replaced. */
gboolean store_put_told(Store *store, const StoreTold *told,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those at or after FROM_UTC, in the order in which they came to be. */
gboolean store_load_told(Store *store, int64_t from_utc, GArray **ret_told /* StoreTold */,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;
