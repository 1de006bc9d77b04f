/* SPDX-License-Identifier: MIT */
/*
 * The sources of one site, in the grower's order: the first good one is used, and those after it
 * are left alone. A source is good while its newest forecast is less than a day old; one that fails
 * has six hours, in which its last forecast is not worse than another's (both chosen). The first is
 * asked again all the while, so that it is taken again when it recovers.
 */
#pragma once

#include "service/service.h"
#include "weather/forecast.h"
#include "weather/memory.h"

#define SOURCE_GOOD_S 86400 /* as long as a forecast is not old */
#define SOURCE_FAILING_S 21600

typedef struct Sources Sources;

/* A source answered: its forecasts (element-type Forecast), none where there is nothing new. */
typedef void (*SourcesGiven)(const GPtrArray *forecasts, gpointer data);

/* What `tholectl check` tells of one. */
typedef struct SourceState {
    const char *title;  /* as Forecast.source */
    const char *credit; /* (nullable) to be shown beside its data */
    bool service;       /* on the network: asked by itself, at memory->next_utc */
    bool good;
    const WeatherMemory *memory; /* when it was asked, and what came of it */
} SourceState;

/* Of site SITE of the service's garden; what the store remembers of them is loaded. */
Sources *sources_new(Service *service, int site, SourcesGiven given, gpointer data,
                     GError **error) G_GNUC_WARN_UNUSED_RESULT;
void sources_free(Sources *sources);

/* Whether both ask the same of the same; the one then goes on as the sources of site SITE. */
bool sources_are_same(const Sources *one, const Sources *other);
void sources_move(Sources *sources, int site, gpointer data);

/* Asks files now, services as soon as they may be. */
void sources_ask(Sources *sources);

/* A forecast of TITLE is held, and whether it is the one in use. */
void sources_held(Sources *sources, const char *title, int64_t issued_utc, bool in_use);

int sources_n(const Sources *sources);
SourceState sources_state(const Sources *sources, int i);

/* The place of TITLE in the order; sources_n() where it is none of them. */
int sources_rank(const Sources *sources, const char *title);

/* The first good one, or -1. */
int sources_best(const Sources *sources);
