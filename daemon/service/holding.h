/* SPDX-License-Identifier: MIT */
/* A batch that outgrows its container, and what can be done about it. docs/growth.md. */
#pragma once

#include "service/service.h"

#define HOLDING_AHEAD_D 7 /* the choice is put so long before; chosen */
#define HOLDING_PAST_D 14 /* and so long after: then it was made, by waiting; chosen */

typedef struct Holding {
    int64_t outgrown_utc; /* from sowing or the last potting on, by the container; 0 not asked */
    int destination;      /* -1: not told yet; where, by `fleece` under fleece */
    bool fleece;
    int nights;          /* that the plan has of it there */
    double planted_odds; /* of damage in any of them, planted now; NAN none is planned */
    int container;       /* the next larger one; -1 none */
    int64_t potted_utc;  /* that one is outgrown, potted on now; 0 none */
    double potted_odds;  /* of an air frost at its site after that; NAN not known, or none */
} Holding;

/* `ret->outgrown_utc` is 0 where nothing can be outgrown: planted out, not up, no container. */
void holding_of(const Service *service, const Batch *batch, Holding *ret);

/* Whether the choice is put now: within HOLDING_AHEAD_D of the day, at most HOLDING_PAST_D past it,
 * and not to be planted before. */
gboolean holding_is_due(const Service *service, const Batch *batch, const Holding *holding);

/* The same, with holding_of() where it is. */
gboolean holding_due(const Service *service, const Batch *batch, Holding *ret);
