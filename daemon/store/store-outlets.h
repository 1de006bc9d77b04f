/* SPDX-License-Identifier: MIT */
/* What each calendar that is kept remembers, and what growers did in it. */
#pragma once

#include "store/store.h"

#define STORE_WORD_SIZE 24 /* bytes of a word of the caller's, with its zero */

typedef struct StoreOutlet {
    char name[NAME_SIZE]; /* in thole.conf */
    char kind[STORE_WORD_SIZE];
    char *state;           /* (owned) the kind's own text */
    char *problem;         /* (owned) why the last try failed; "" it did not */
    bool refused;          /* a login was */
    int failures;          /* in a row */
    int pending;           /* events that were not there as wanted */
    int64_t delivered_utc; /* all stood there as wanted; 0 never */
    int64_t tried_utc;     /* 0 never */
} StoreOutlet;

void store_outlet_clear(StoreOutlet *outlet);

/* Put again, the former row of a name is replaced. */
gboolean store_put_outlet(Store *store, const StoreOutlet *outlet,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Of a name never put all is empty, and its texts "". */
gboolean store_get_outlet(Store *store, const char *name, StoreOutlet *ret_outlet,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The last thing that a grower did to an event there. */
typedef struct StoreOutletEdit {
    char outlet[NAME_SIZE];
    char *uid; /* (owned) of the event */
    char kind[STORE_WORD_SIZE];
    int64_t start_utc;         /* to which it was moved; 0 it was not */
    char *text;                /* (owned) a title or a line; "" none */
    int edits, number, answer; /* service/outlet-edits.c */
    int64_t at_utc;            /* when it was found */
} StoreOutletEdit;

void store_outlet_edit_clear(StoreOutletEdit *edit);

/* Put again, the former row of an outlet and UID is replaced. */
gboolean store_put_outlet_edit(Store *store, const StoreOutletEdit *edit,
                               GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The highest `number` that any outlet has for the event; 0 none. */
gboolean store_last_outlet_edit(Store *store, const char *uid, int *ret_number,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Those of an outlet, in the order in which they were found; the array frees their texts. */
gboolean store_load_outlet_edits(Store *store, const char *outlet,
                                 GArray **ret_edits /* StoreOutletEdit */,
                                 GError **error) G_GNUC_WARN_UNUSED_RESULT;
