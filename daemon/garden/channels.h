/* SPDX-License-Identifier: MIT */
/* A way to reach a grower, as set up in thole.conf. Plain data; "" where not given. */
#pragma once

#include "garden/types.h"

/* Never change the order: the words are an array. */
typedef enum ChannelKind {
    CHANNEL_DESKTOP,
    CHANNEL_MAIL,
    CHANNEL_WEBHOOK,
    CHANNEL_COMMAND,
} ChannelKind;

#define CHANNEL_LIMIT_USUAL_S 30                    /* chosen */
#define CHANNEL_ORDER_USUAL 5                       /* in the middle of 1 to 9; chosen */
#define CHANNEL_SENDMAIL_USUAL "/usr/sbin/sendmail" /* FHS 3.0, 4.10 */

typedef struct ChannelSetup {
    char name[NAME_SIZE];
    ChannelKind kind;
    int grower;                       /* whose; -1: every grower's */
    int order;                        /* the lowest is asked first */
    int quiet_from_min, quiet_to_min; /* minutes of the local day; both the same: never quiet */
    int digest_min;                   /* of the local day, for what comes tomorrow; -1: none */
    int limit_s;                      /* a message that takes longer is given up */
    char ca_file[256];                /* MAIL, WEBHOOK: who vouches for the server */
    char secret[256];                 /* MAIL: password; WEBHOOK: shared secret. Never shown */
    /* MAIL */
    char to[256], from[256]; /* addresses; in `to` with blanks between */
    char server[256];        /* smtps://HOST[:PORT] or smtp://HOST[:PORT]; "": sendmail */
    char user[128];
    char sendmail[256]; /* a path */
    /* WEBHOOK */
    char url[512]; /* safe (base/url.h) */
    /* COMMAND */
    char command[512]; /* words as a shell would read them; no shell reads them */
} ChannelSetup;
