/* SPDX-License-Identifier: MIT */
/* An invented garden with a whole service on a virtual clock, asked over its socket; replies are
 * kept. */
#pragma once

#include "control-client.h"

#include "control/wire.h"
#include "service/service.h"

typedef struct ApiGarden {
    char *folder, *socket, *replies; /* (owned) */
    Clock *clk;
    Service *service;
    guint asked;         /* requests so far */
    GHashTable *good;    /* (owned) "METHOD PATTERN" that was answered, and ... */
    GHashTable *refused; /* ... refused */
} ApiGarden;

/* Thursday 16 April 2026, 16:00 UTC. */
#define API_NOW_UTC 1776355200

/* A garden as set up: a sill, a small frame, a tunnel, a bed; frost forecast for the third night.
 */
ApiGarden *api_garden_new(void);
void api_garden_free(ApiGarden *garden);
int api_garden_tear_down(void **state); /* frees the one that `state` points to */

/* Lets the clock run on to a time. */
void api_garden_run_to(ApiGarden *garden, int64_t utc);

/* One request and its reply, which is kept. The root is valid until `parser` is used again. */
JsonObject *api_ask(ApiGarden *garden, JsonParser *parser, const char *method, const char *target,
                    const char *body, int *ret_status);

/* One row of a table: what is asked, the status, and the whole `detail` or the first line of
 * `text`. */
typedef struct ApiRow {
    const char *sentence, *method, *target, *body;
    int status;
    const char *says; /* (nullable); one that ends in "…" is how it begins */
} ApiRow;
void api_rows(ApiGarden *garden, const ApiRow *rows, gsize n);
#define ROWS(garden, rows) api_rows((garden), (rows), G_N_ELEMENTS(rows))
