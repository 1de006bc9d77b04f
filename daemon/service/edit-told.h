/* SPDX-License-Identifier: MIT */
/* What growers said of visits, and what became of it: in the events, and by tholectl. */
#pragma once

#include "service/service.h"

/*
 * The text of a visit's event (taken over) with what was said of it: that its time is the grower's,
 * the visit there before it that was left out, each with what it costs; then the answers.
 */
char *edits_described(const Service *service, const Visit *visit, char *description);

/*
 * Events that stand in the calendar as they were published, since their visit has begun or is over:
 * what was said there meanwhile is answered. Put behind those that are wanted anyway.
 */
void edits_add_answered(const Service *service, GPtrArray *wanted /* EventWanted */);

/* (element-type utf8) what was refused in the last two days, and what is left out and its cost. */
GPtrArray *edits_notices(const Service *service);
