/* SPDX-License-Identifier: MIT */
/* What must be remembered of each calendar event, so that it is changed in place. */
#pragma once

#include "store/store.h"

#define STORE_UID_SIZE 64    /* bytes of an event's UID, with its zero */
#define STORE_HASH_SIZE 72   /* a SHA-256 as hexadecimal text, and room */
#define STORE_STATUS_SIZE 16 /* "TENTATIVE", "CONFIRMED", "CANCELLED" (RFC 5545 §3.8.1.11) */

typedef struct StoreEvent {
    char uid[STORE_UID_SIZE];
    char visit_id[ID_SIZE]; /* empty: no visit, such as a digest */
    int sequence;           /* never lowered: refused */
    int64_t dtstamp_utc, created_utc, last_modified_utc;
    char content_hash[STORE_HASH_SIZE];
    char status[STORE_STATUS_SIZE];
    int64_t start_utc, end_utc;
    bool ended; /* published no more; kept so that its UID is not used again */
} StoreEvent;

gboolean store_put_event(Store *store, const StoreEvent *event,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The event of a UID; NULL where there is none. Free with g_free(). */
gboolean store_get_event(Store *store, const char *uid, StoreEvent **ret_event,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The event of a visit that was made last and is not ended; NULL where there is none. Free with
 * g_free().
 */
gboolean store_get_event_of_visit(Store *store, const char *visit_id, StoreEvent **ret_event,
                                  GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* All events in order of start, then UID. */
gboolean store_load_events(Store *store, gboolean include_ended,
                           GArray **ret_events /* StoreEvent */,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;
