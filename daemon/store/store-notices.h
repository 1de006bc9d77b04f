/* SPDX-License-Identifier: MIT */
/* What became of each alarm on the desktop, so that none is shown twice. */
#pragma once

#include "store/store.h"

#define STORE_NOTICE_KEY_SIZE 96 /* bytes, with its zero */

typedef enum StoreNoticeState {
    STORE_NOTICE_WAITING, /* fell due, could not be shown yet */
    STORE_NOTICE_HANDED,  /* given to a server that has not answered */
    STORE_NOTICE_SHOWN,
    STORE_NOTICE_LATER,    /* to be shown again */
    STORE_NOTICE_ANSWERED, /* the grower said done */
    STORE_NOTICE_MISSED,   /* never shown, of no more use */
} StoreNoticeState;

typedef struct StoreNotice {
    char key[STORE_NOTICE_KEY_SIZE]; /* of the alarm */
    StoreNoticeState state;
    int64_t due_utc;   /* the alarm's time when it was last shown, or tried */
    int64_t shown_utc; /* 0: not yet */
    int64_t again_utc; /* LATER: when; otherwise 0 */
} StoreNotice;

/* Put again, a key's former row is replaced. */
gboolean store_put_notice(Store *store, const StoreNotice *notice,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those due at or after FROM_UTC, in the order in which they fell due. */
gboolean store_load_notices(Store *store, int64_t from_utc, GArray **ret_notices /* StoreNotice */,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;
