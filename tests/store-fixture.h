/* SPDX-License-Identifier: MIT */
/* A temporary folder, a store in it and a small invented garden, for the tests of the store. */
#pragma once

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <glib.h>
#include <math.h>
#include <string.h>

#include "store/store-private.h"

#define T0 INT64_C(1776643200) /* 2026-04-20 00:00 UTC */
#define SEED 20260420          /* of the random loops, which print it */
#define HOUR 3600
#define DAY 86400

#define assert_ok(call)                                                                            \
    do {                                                                                           \
        g_autoptr(GError) failure_ = NULL;                                                         \
        gboolean done_ = (call);                                                                   \
        if (!done_)                                                                                \
            fail_msg("%s: %s", #call, failure_ != NULL ? failure_->message : "no error set");      \
        assert_null(failure_);                                                                     \
    } while (0)
#define E (&failure_)

/* The call must fail with CODE, and its message must hold TEXT. */
#define assert_refused(call, code_wanted, text)                                                    \
    do {                                                                                           \
        g_autoptr(GError) failure_ = NULL;                                                         \
        assert_false((call));                                                                      \
        assert_non_null(failure_);                                                                 \
        if (!g_error_matches(failure_, STORE_ERROR, (code_wanted)) ||                              \
            strstr(failure_->message, (text)) == NULL)                                             \
            fail_msg("%s: %d, %s", #call, failure_->code, failure_->message);                      \
    } while (0)

typedef struct Fixture {
    char *folder, *path;
    Store *store;
    Site sites[2];
    Place places[3];
    Container containers[1];
    Crop crops[2];
    Grower growers[1];
    Garden garden;
} Fixture;

int set_up(void **state);
int tear_down(void **state);

/* Closes the store and opens it again. */
void reopen(Fixture *f);

/* A number as a setting; one never put is 0. */
gboolean put_number(Store *store, const char *key, int64_t number, GError **error);
gboolean get_number(Store *store, const char *key, int64_t *ret_number, GError **error);

/* How many rows SQL counts. */
int64_t count(Store *store, const char *sql);

/* A living batch, not yet in the store. */
Batch a_batch(const char *name);
