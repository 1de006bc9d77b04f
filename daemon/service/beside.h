/* SPDX-License-Identifier: MIT */
/*
 * Plans of what is only supposed, beside the real one: one after the other, each in a thread of its
 * own, and none while a real one is asked for or in the making. One that is in the making when
 * something it is made from changes is begun again after the real plan.
 */
#pragma once

#include "service/making.h"

#define BESIDE_MOST                                                                                \
    4 /* wait at most; chosen: a plan takes seconds, and a reply no longer than 20 */

typedef struct Beside Beside;

/*
 * What is to be planned. `look` puts it together from how things stand, perhaps more than once;
 * NULL and an error: it makes no sense any more. `done` is called once, from the main loop: with
 * the plan, or with why there is none. `destroy` comes last, also where the service ends before.
 */
typedef struct BesideAsked {
    Situation *(*look)(gpointer data, GError **error);
    void (*done)(gpointer data, const Making *making, const GError *error);
    GDestroyNotify destroy;
    gpointer data;
} BesideAsked;

Beside *beside_new(Service *service, const MakingGate *gate) G_GNUC_WARN_UNUSED_RESULT;
void beside_free(Beside *beside);

/* TRUE and an error: so many wait that one more would wait too long. */
gboolean beside_is_full(Beside *beside, GError **error);

/* Asks for one. */
void beside_ask(Beside *beside, const BesideAsked *asked);

/* Something that plans are made from is no longer what it was. */
void beside_interrupt(Beside *beside);

/* Begins the next one, if nothing is in its way. */
void beside_go_on(Beside *beside);
