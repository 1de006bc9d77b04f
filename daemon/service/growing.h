/* SPDX-License-Identifier: MIT */
/* How a batch grows, as tracked, and what of that the grower must know. docs/growth.md. */
#pragma once

#include "service/service.h"

typedef struct Growing {
    Growth growth;         /* as it stands now; not known: all below is missing too */
    double height_cm;      /* NAN not known */
    bool prick_out;        /* it has still to be pricked out, if that is done at all */
    int64_t prick_out_utc; /* when it has the leaves for it, at the earliest now; 0 not told */
    double room_cm;        /* from the compost to the cover over it; NAN no cover that it harms */
    int64_t touches_utc;   /* when it is so high, at the earliest now; 0 not told */
    double chill_had_d;    /* days of cold that spoils the harvest; NAN none counts yet */
    double hardening_d;    /* days since hardening began */
} Growing;

/* As it stands now: the state is as old as the last plan, the hours since are usual ones. */
Growth growing_now(const Service *service, const Batch *batch);

void growing_of(const Service *service, const Batch *batch, Growing *ret);

/* What is to be done about it by now or soon, a sentence each; (transfer full) (element-type char*)
 * empty: nothing. */
GPtrArray *growing_told(const Service *service, const Batch *batch);

/* All that is known of it, in a few sentences; NULL nothing. (transfer full) */
char *growing_text(const Service *service, const Batch *batch);
