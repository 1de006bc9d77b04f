/* SPDX-License-Identifier: MIT */
/*
 * When a service on the network may be asked again. What a source of one site must remember from
 * one request to the next, also over restarts (who asks keeps it in the store), and the rules:
 * at most one request an hour, at a minute of our own, later the more often it failed, and never
 * before the service said so.
 */
#pragma once

#include <glib.h>
#include <stdbool.h>
#include <stdint.h>

#define WEATHER_ASK_S 3600 /* between two requests, at least */
#define WEATHER_ASK_SPREAD_S                                                                       \
    600                          /* and up to this at random, so that not all ask at once; chosen  \
                                  */
#define WEATHER_BACKOFF_S 21600  /* longest wait after failures in a row; chosen */
#define WEATHER_OFFLINE_S 600    /* when the request could not leave this network; chosen */
#define WEATHER_TOLD_MAX_S 86400 /* a service that says "later" is obeyed so long; chosen */

typedef struct WeatherMemory {
    char *what;          /* (owned) (nullable) what was asked: address and rounded coordinates */
    int64_t asked_utc;   /* last request begun; 0 never */
    int64_t next_utc;    /* none before; 0 any time */
    int64_t good_utc;    /* last reply that was good, also "nothing new"; 0 never */
    int failures;        /* in a row */
    char *problem;       /* (owned) (nullable) why the last request failed */
    char *notice;        /* (owned) (nullable) it worked, but the grower should know this */
    char *last_modified; /* (owned) (nullable) of the last good reply, to the letter */
    int64_t told_utc;    /* of one request: the service said not before; 0 nothing said */
} WeatherMemory;

WeatherMemory *weather_memory_new(void);
WeatherMemory *weather_memory_copy(const WeatherMemory *memory);

/* Frees it. NULL is ignored. */
void weather_memory_free(WeatherMemory *memory);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(WeatherMemory, weather_memory_free)

/*
 * When it may be asked for WHAT; not after NOW_UTC means now. Asking for something else than before
 * is never late: a corrected address or place counts at once.
 */
int64_t weather_memory_next_utc(const WeatherMemory *memory, const char *what, int64_t now_utc);

/* A request for WHAT begins. To be kept before it is sent, so that a crash loop stays polite. */
void weather_memory_begin(WeatherMemory *memory, const char *what, int64_t now_utc);

/*
 * It ended, well (ERROR NULL) or not; WEATHER_ASK_S and the back-off count from its beginning. A
 * request that was cancelled says nothing and must not be told.
 */
void weather_memory_end(WeatherMemory *memory, const GError *error, int64_t now_utc);
