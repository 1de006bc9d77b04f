/* SPDX-License-Identifier: MIT */
/* The Done links that messages carried. A token itself is never kept, only its hash. */
#pragma once

#include "store/store.h"

#define STORE_LINK_HASH_SIZE 65 /* a SHA-256 as hexadecimal text, with its zero */

typedef struct StoreDoneLink {
    char hash[STORE_LINK_HASH_SIZE];
    char visit_id[ID_SIZE];
    int64_t expires_utc;
    int64_t used_utc; /* 0 not yet */
} StoreDoneLink;

/* A new link; those that expired before NOW_UTC are let go. */
gboolean store_put_done_link(Store *store, const StoreDoneLink *link, int64_t now_utc,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* It has been used; TRUE also where it was already, or is none. */
gboolean store_use_done_link(Store *store, const char *hash, int64_t now_utc,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The link of HASH; none: *RET_FOUND is FALSE. */
gboolean store_get_done_link(Store *store, const char *hash, StoreDoneLink *ret,
                             gboolean *ret_found, GError **error) G_GNUC_WARN_UNUSED_RESULT;
