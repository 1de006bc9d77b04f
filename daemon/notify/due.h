/* SPDX-License-Identifier: MIT */
/*
 * What becomes of every alarm on the desktop. Decides only; shows nothing, reads no clock.
 *
 *  - An alarm is shown once, from its time on, as long as it is of use: never again for the same
 *    key, whatever else happens, unless its time moved to later, or the grower asked for that.
 *  - What could not be shown waits, and is tried again; when it is of no more use it is let go.
 *  - On the screen it says what holds: other words replace it, and it goes with what it is about.
 */
#pragma once

#include <glib.h>
#include <stdint.h>

#define NOTICE_LATER_S (15 * 60)      /* "Later" is so much later; chosen */
#define NOTICE_RETRY_S 60             /* after the first failure, then twice as long; chosen */
#define NOTICE_RETRY_MOST_S (15 * 60) /* chosen */

/* An alarm as it should be on the desktop. */
typedef struct NoticeWanted {
    char *key;            /* (owned) stays the same as long as it is the same alarm */
    int64_t due_utc;      /* shown from here on */
    int64_t last_utc;     /* later it is of no more use to begin with */
    gboolean critical;    /* a miss does harm */
    gboolean once;        /* shown once however its time moves */
    char *summary, *body; /* (owned) */
    char *sense;          /* (owned) changes when what is on the screen is no longer true */
    char *visit_id;       /* (owned) (nullable) whose jobs can be reported */
} NoticeWanted;

/* Never change the number of one: the store keeps it by its word, in this order. */
typedef enum NoticeState {
    NOTICE_WAITING, /* fell due, could not be shown yet */
    NOTICE_HANDED,  /* given to a server that has not answered */
    NOTICE_SHOWN,
    NOTICE_LATER,    /* to be shown again */
    NOTICE_ANSWERED, /* the grower said done */
    NOTICE_MISSED,   /* was never shown, and is of no more use */
} NoticeState;

/* An alarm that fell due, as it was left. */
typedef struct NoticeMemory {
    char *key; /* (owned) */
    NoticeState state;
    int64_t due_utc;   /* as it was when it was last shown, or tried */
    int64_t shown_utc; /* 0: not yet */
    int64_t again_utc; /* LATER: when; 0 otherwise */
    /* What only this run knows. */
    gboolean this_run; /* HANDED by it, so that an answer may still come */
    gboolean open;     /* on the screen */
    char *sense;       /* (owned) (nullable) of what is on the screen */
    char *visit_id;    /* (owned) (nullable) */
    int64_t retry_utc; /* WAITING: not tried before; INT64_MAX: once a server has come */
    int tries;
    int64_t last_utc; /* of the alarm as it was wanted last */
} NoticeMemory;

typedef enum NoticeActKind {
    NOTICE_SHOW,    /* bring it to the grower's eyes */
    NOTICE_REPLACE, /* the words on the screen, quietly */
    NOTICE_CLOSE,   /* take it from the screen */
    NOTICE_SAID,    /* asked for later, which is too late now: it counts as shown */
    NOTICE_LET_GO,  /* it waited until it was of no more use */
} NoticeActKind;

typedef struct NoticeAct {
    NoticeActKind kind;
    const NoticeWanted *wanted; /* (unowned) (nullable) CLOSE, LET_GO: no longer wanted */
    NoticeMemory *memory;       /* (unowned) (nullable) SHOW: seen first */
} NoticeAct;

/*
 * wanted: (element-type NoticeWanted), each key once; memory: (element-type NoticeMemory). The
 * acts, in the order of wanted, then of memory; caller-owned (element-type NoticeAct).
 */
GArray *notices_decide(const GPtrArray *wanted, const GPtrArray *memory, int64_t now_utc);

/* When to decide again, where nothing else happens; 0 never. */
int64_t notices_next_utc(const GPtrArray *wanted, const GPtrArray *memory, int64_t now_utc);

/* When to try again after so many failures. */
int64_t notices_retry_utc(int tries, int64_t now_utc);

NoticeMemory *notices_find(const GPtrArray *memory, const char *key); /* (nullable) */

NoticeWanted *notice_wanted_new(const char *key, int64_t due_utc, int64_t last_utc);
void notice_wanted_free(NoticeWanted *wanted);
NoticeMemory *notice_memory_new(const char *key);
void notice_memory_free(NoticeMemory *memory);
