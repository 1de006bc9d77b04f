/* SPDX-License-Identifier: MIT */
/* What a grower should know of a batch beyond its jobs, and nobody asked for: what a frost did to
 * it, that it will have to wait and what else there is, what would bring it forward. */
#pragma once

#include "service/service.h"

/* Sentences, the most pressing first (element-type char *); the caller's. NULL on error. */
GPtrArray *advice_of(const Service *service, int batch, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* That it will have to wait, with what else there is and from when; NULL where it need not. The
 * caller's. `seasons` keeps what was found for batches alike, as long as neither the garden's file
 * nor a batch changes. */
char *advice_wait(const Service *service, int batch, GHashTable *seasons);
GHashTable *advice_seasons_new(void);

/* That nothing in the garden gives trays enough hours in the open for a batch that ends in one, and
 * what would; NULL where something does. The caller's. */
char *advice_no_open_place(const Service *service, int batch);
