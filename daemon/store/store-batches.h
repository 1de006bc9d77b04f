/* SPDX-License-Identifier: MIT */
/* Batches, their ramp state as a checkpoint, where they stood, and what was lost of them. */
#pragma once

#include "store/store.h"

/* A batch began to stand in a place. */
typedef struct StorePlacement {
    char batch_id[ID_SIZE];
    int place; /* -1: the garden no longer has it */
    int64_t from_utc;
} StorePlacement;

typedef struct StoreLoss {
    char batch_id[ID_SIZE];
    int64_t time_utc;
    int number;  /* plants */
    char *cause; /* (owned) */
} StoreLoss;

typedef struct StoreNote {
    char batch_id[ID_SIZE];
    int64_t time_utc;
    char *text; /* (owned) */
} StoreNote;

/*
 * A name for a new batch of CROP, free among the living batches: "tomato-1", "tomato-2" …, the
 * lowest number that is free. The caller frees it.
 */
char *store_new_batch_name(Store *store, const Crop *crop,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Keeps BATCH as it stands; its ramp state is a checkpoint of AS_OF_UTC. An empty id is new: it is
 * filled in. The name must be unique among living batches, or STORE_ERROR_NAME_TAKEN. One put with
 * STAGE_ENDED is ended as of AS_OF_UTC; one that was ended stays ended. Does not write a placement.
 */
gboolean store_put_batch(Store *store, const Garden *garden, Batch *batch, int64_t as_of_utc,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * Ends a batch: its stage becomes STAGE_ENDED and its name is free again. Ended twice: the first
 * counts.
 */
gboolean store_end_batch(Store *store, const char *batch_id, int64_t at_utc,
                         GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The batches in the order they were made. A living batch that names a crop, container, place or
 * destination which GARDEN lacks: STORE_ERROR_MISSING, naming both. In an ended one such an index
 * is -1, the crop too.
 */
gboolean store_load_batches(Store *store, const Garden *garden, gboolean include_ended,
                            GArray **ret_batches /* Batch */,
                            GArray **ret_as_of_utc /* int64_t, parallel (optional: may be NULL) */,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Names of the places where living batches stand or are to go, sorted, each once. */
gboolean store_places_in_use(Store *store, GStrv *ret_names,
                             GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Two placements of one batch at the same second: the later call counts. */
gboolean store_put_placement(Store *store, const Garden *garden, const char *batch_id, int place,
                             int64_t from_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The placements from FROM_UTC on, with the one in force at FROM_UTC for each batch, in order of
 * time. BATCH_ID NULL: of every batch.
 */
gboolean store_load_placements(Store *store, const Garden *garden, const char *batch_id,
                               int64_t from_utc, GArray **ret_placements /* StorePlacement */,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* NUMBER plants (above 0) of a batch are lost. Batch.number is the caller's to lower. */
gboolean store_put_loss(Store *store, const char *batch_id, int64_t time_utc, int number,
                        const char *cause, GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_load_losses(Store *store, const char *batch_id /* NULL: all */,
                           GArray **ret_losses /* StoreLoss */,
                           GError **error) G_GNUC_WARN_UNUSED_RESULT;

gboolean store_put_note(Store *store, const char *batch_id, int64_t time_utc, const char *text,
                        GError **error) G_GNUC_WARN_UNUSED_RESULT;
gboolean store_load_notes(Store *store, const char *batch_id /* NULL: all */,
                          GArray **ret_notes /* StoreNote */,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;
