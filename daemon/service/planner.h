/* SPDX-License-Identifier: MIT */
/*
 * The making of a plan, beside the main loop. What it is made from is copied, a thread of its own
 * makes it, and the loop goes on meanwhile with the plan and the state that it had. When the plan
 * arrives, it and the state it was made from take their place in one commit of the store. A plan
 * that was overtaken - anything it was made from has changed since - is thrown away and made anew.
 */
#pragma once

#include "service/beside.h"
#include "service/service.h"

typedef struct Planner Planner;

Planner *planner_new(Service *service) G_GNUC_WARN_UNUSED_RESULT;

/* A plan in the making is stopped and waited for; who waited for it is forgotten. NULL is ignored.
 */
void planner_free(Planner *planner);

/*
 * Something that plans are made from is no longer what it was: one in the making is thrown away.
 * service_ask_plan() says so too.
 */
void planner_overtake(Service *service);

/*
 * Begins with the plan that was asked for, and calls FN from the main loop when it is in place
 * (MADE) or could not be made; maybe before it returns. DESTROY is called with DATA instead where
 * the service ends before.
 */
typedef void (*PlannerFunc)(Service *service, gboolean made, gpointer data);
void planner_then(Service *service, PlannerFunc fn, gpointer data, GDestroyNotify destroy);

/* Per batch of service->current its days ahead, as the plan in place has them (ahead.h); none where
 * there is no plan. Owned by the caller. */
GPtrArray *planner_ahead(const Service *service) G_GNUC_WARN_UNUSED_RESULT;

/* What plans of what is only supposed are asked of. */
Beside *planner_beside(const Service *service);

/* For tests: called in the thread before it begins; it may wait there. */
void planner_set_gate(Service *service, void (*gate)(gpointer data), gpointer data);

/* Whether one is in the making. */
gboolean planner_is_busy(const Service *service);

/*
 * Whether the one in the making was overtaken so often in a row that this one must come to its end:
 * requests that change something wait for it, and who can wait otherwise should.
 */
gboolean planner_is_finishing(const Service *service);

/* Plans that were thrown away. */
guint64 planner_thrown_away(const Service *service);
