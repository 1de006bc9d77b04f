/* SPDX-License-Identifier: MIT */
/* The feed server as set up in thole.conf. Plain data; "" and NULL where not given. */
#pragma once

#include "garden/types.h"

#define FEED_LISTEN_USUAL "127.0.0.1:8650" /* port: chosen, of those that no service is given */
#define FEED_REFRESH_USUAL_H 1             /* chosen */

typedef struct FeedSetup {
    char host[48];     /* a numeric address, of IPv6 without brackets */
    int port;          /* 0: any, for tests */
    bool plain;        /* without TLS beyond loopback: others see to it */
    char outside[256]; /* what a phone is told, without a slash at its end; "": where it listens */
    int refresh_h;     /* how often a phone is asked to look */
    char *certificate; /* (owned) (nullable) PEM, with what leads to its root; NULL: no TLS */
    char *key;         /* (owned) (nullable) PEM. Never shown */
} FeedSetup;

/* Overwrites the key first. NULL is ignored. */
void feed_setup_free(FeedSetup *setup);

/* The caller owns it. */
FeedSetup *feed_setup_copy(const FeedSetup *setup);

/* The same in everything. */
bool feed_setup_equal(const FeedSetup *a, const FeedSetup *b);
