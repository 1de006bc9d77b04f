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
    int64_t start_utc, end_utc, day_end_utc;
    bool ended; /* published no more; kept so that its UID is not used again */
    /* (owned) JSON text: all that is needed to write the event again; "" once ended */
    char *content;
} StoreEvent;

void store_event_clear(StoreEvent *event);

gboolean store_put_event(Store *store, const StoreEvent *event,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* All events in order of start, then UID; the array frees their texts. */
gboolean store_load_events(Store *store, gboolean include_ended,
                           GArray **ret_events /* StoreEvent */,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;
