/* SPDX-License-Identifier: MIT */
/* One batch as it is to be kept, and what happened to it: written together. Internal to
 * api-batch*.c. */
#pragma once

#include "control/control.h"
#include "service/service.h"

/*
 * A change is made to the batch as it stood when everything was settled, where its ramp state
 * belongs to; where it stands is history by itself, with a time.
 */
typedef struct BatchChange {
    Batch batch;
    int64_t as_of_utc; /* of its ramp state */
    int place;         /* -1: it stays */
    int64_t placed_utc;
    int lost;                 /* plants; 0 none */
    const char *cause, *note; /* (unowned) (nullable) */
    gboolean end;
    int64_t at_utc; /* of loss, note and end */
} BatchChange;

/* The change of the batch at `index` of the present state, with nothing changed yet. FALSE: it is
 * not settled. */
gboolean batch_change_begin(const Service *service, int index, BatchChange *ret,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Writes a BatchChange: an ApiWrite. */
gboolean batch_change_write(Service *service, gpointer change,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Trays that `number` plants fill in a container. */
int batch_trays(const Garden *garden, int container, int number);

/*
 * Puts it into a place: out of the heat a batch that is fit begins hardening. What there is to say
 * of that is added to `text`. `index` -1: a new batch.
 */
gboolean batch_change_place(const Service *service, BatchChange *change, int index, int place,
                            int64_t at_utc, GString *text,
                            GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Whether `name` may be that of a new batch: 400 or 409 where not. */
gboolean batch_check_name(const Service *service, const char *name,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;
