/* SPDX-License-Identifier: MIT */
/* One calendar as it is served: its bytes, the same packed, and what tells them apart. */
#pragma once

#include <libsoup/soup.h>
#include <stdint.h>

#include "feed/token.h"

typedef struct Served {
    char *name;                        /* (owned) the caller's: whose it is */
    char token[FEED_TOKEN_LENGTH + 1]; /* never logged */
    GBytes *bytes, *packed;            /* (owned) (nullable) both or none: nothing yet */
    char *tag, *packed_tag;            /* (owned) strong ETags (RFC 9110 §8.8.3) */
    int64_t changed_utc;
} Served;

Served *served_new(const char *name);
void served_free(Served *served);

/* BYTES are what is served from now on; TRUE: they are others than before. */
gboolean served_put(Served *served, GBytes *bytes, int64_t now_utc);

/* The answer to a GET or HEAD: 200, 304, or 503 as long as there is nothing. */
void served_answer(const Served *served, SoupServerMessage *message);
