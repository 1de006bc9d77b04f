/* SPDX-License-Identifier: MIT */
/* A small calendar server in the test's own process, which breaks the rules when it is told to. */
#pragma once

#include <libsoup/soup.h>

typedef enum Fault {
    FAULT_NONE,
    FAULT_STATUS,         /* `status` */
    FAULT_APPLIED_STATUS, /* done, and yet `status` */
    FAULT_MULTISTATUS,    /* 207 around `status` */
    FAULT_SILENT,         /* never answers */
    FAULT_TRUNCATED,      /* half of the reply, then the connection is closed */
    FAULT_HUGE,           /* more than anybody wants */
    FAULT_XML,            /* `body` instead of a multistatus */
    FAULT_REDIRECT,       /* to `body` */
    FAULT_RAISED,         /* the object is changed by another just before */
} Fault;

typedef struct BadServer {
    SoupServer *server;
    char *url;           /* (owned) "http://127.0.0.1:PORT" */
    GHashTable *objects; /* path → text */
    GHashTable *tags;    /* path → GUINT_TO_POINTER */
    GPtrArray *log;      /* "METHOD path status" of each request */
    gboolean made;       /* the calendar is there */
    guint count;
    const char *secret; /* NULL: anybody */
    char etags;         /* 's' strong, 'w' weak, 'n' none, 'l' one that lies */
    gboolean no_sync;   /* REPORT is not known */
    /* The fault: from now on, `times` requests of METHOD (NULL: any). */
    Fault fault;
    const char *method, *body;
    guint status, times;
    guint hits;
    guint empty_bodies;      /* requests that should have had a body and came without */
    gboolean told_elsewhere; /* a secret came to a path that is not ours */
    GSList *held;
} BadServer;

BadServer *bad_server_new(void);
void bad_server_free(BadServer *server);

/* The next TIMES requests of METHOD go wrong. */
void bad_server_fault(BadServer *server, Fault fault, const char *method, guint status,
                      const char *body, guint times);
