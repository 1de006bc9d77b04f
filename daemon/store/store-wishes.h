/* SPDX-License-Identifier: MIT */
/* What growers say of visits, in the calendar or by hand, and what they were answered. */
#pragma once

#include "store/store-calendar.h"

/* How wishes and answers name the event UID (nullable: none). Those of others may be longer than
 * any of ours (RFC 5545 §3.8.4.7); such a one is named by its checksum. */
void store_name_event(const char *uid, char ret_name[STORE_UID_SIZE]);

typedef enum StoreWishKind {
    STORE_WISH_FIXED,   /* a visit stands at start_utc */
    STORE_WISH_DROPPED, /* the visit of start_utc is not made */
    STORE_WISH_OFFERED, /* the grower can be there from start_utc to end_utc */
} StoreWishKind;

typedef struct StoreWish {
    int64_t n; /* 0: new; what the grower calls it */
    StoreWishKind kind;
    int site, grower; /* -1: the garden no longer has it */
    int64_t start_utc, end_utc;
    int64_t clear_from_utc, clear_to_utc; /* no other visit of the grower there; equal: none */
    char visit_id[ID_SIZE];               /* of a fixed or dropped one; "" none was there */
    char uid[STORE_UID_SIZE]; /* of the event that said so, named as above; "" by hand */
    char *cost;               /* (owned) what it costs as last planned; "" not known */
} StoreWish;

void store_wish_clear(StoreWish *wish);

/* Keeps a wish; a new one gets its number. */
gboolean store_put_wish(Store *store, const Garden *garden, StoreWish *wish,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_set_wish_cost(Store *store, int64_t n, const char *cost,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_remove_wish(Store *store, int64_t n, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those that end at FROM_UTC or later, by time; the array clears them. */
gboolean store_load_wishes(Store *store, const Garden *garden, int64_t from_utc,
                           GArray **ret_wishes /* StoreWish */,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* A sentence that answers what the grower said in or of an event. */
typedef struct StoreAnswer {
    char uid[STORE_UID_SIZE];
    int64_t at_utc;
    bool refused;
    char *text; /* (owned) */
} StoreAnswer;

void store_answer_clear(StoreAnswer *answer);
gboolean store_put_answer(Store *store, const StoreAnswer *answer,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those given at FROM_UTC or later, in order. */
gboolean store_load_answers(Store *store, int64_t from_utc, GArray **ret_answers /* StoreAnswer */,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Wishes that ended, and answers given, before BEFORE_UTC are forgotten. */
gboolean store_forget_wishes(Store *store, int64_t before_utc,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * How many edits of an event were taken, and how many a plan has answered since. Taken is never
 * lowered; planned: all that are taken are answered now.
 */
gboolean store_put_edits_taken(Store *store, const char *uid, guint edits, int64_t at_utc,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_set_edits_planned(Store *store, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_get_edits_planned(Store *store, const char *uid, guint *ret,
                                 GError **error) G_GNUC_WARN_UNUSED_RESULT;
