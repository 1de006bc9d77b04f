/* SPDX-License-Identifier: MIT */
/* A server on loopback that answers each connection with bytes as they are, good or not. */
#pragma once

#include <gio/gio.h>

typedef enum RawThen {
    RAW_CLOSE,  /* the connection ends */
    RAW_HOLD,   /* silence */
    RAW_REPEAT, /* `more` again and again, as fast as it is taken */
    RAW_DRIP,   /* `more` again and again, five times a second */
} RawThen;

typedef struct RawServer RawServer;

struct RawServer {
    char *url; /* (owned) of a page on it */
    /* Called before each answer, which it may choose; (nullable). */
    void (*before)(RawServer *server, gpointer data);
    gpointer data;
    /* what it answers; (unowned) */
    const char *bytes, *more;
    gsize length; /* of `bytes`; 0: up to their zero */
    RawThen then;
    /* what it was asked */
    int asked;
    char *request; /* (owned) (nullable) the last one, as it came */
    GSocketService *service;
    GPtrArray *connections; /* (owned) */
    GCancellable *end;
};

/* CERTIFICATE (nullable): it speaks TLS with it. */
RawServer *raw_server_new(GTlsCertificate *certificate);
void raw_server_free(RawServer *server);
