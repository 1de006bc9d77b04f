/* SPDX-License-Identifier: MIT */
/* Heaters and soil-warming cables of a chain, for climate/ and its tests. */
#pragma once

#include "climate/chain-internal.h"

#define HEATERS_MAX (2 * CHAIN_LAYERS_MAX) /* of the air, and cables in the floor */

typedef struct Heater {
    int node;
    double least_w, limit_w, set_point_c;
    double response[NODES_MAX]; /* temperatures that one watt gives */
} Heater;

typedef struct Heaters {
    int n;
    Heater of[HEATERS_MAX];
} Heaters;

/* Of the air under covers that are on, and where the system has the floors unknown also those in
 * floors: where they are given a cable changes nothing. */
void chain_heaters(const Chain *chain, const Standing *standing, const System *factored,
                   Heaters *ret);

/*
 * A cable holds the floor at the end of a sub-step, so the middle is half way there. Where the
 * floor warms through the set point by itself, the cable was on until then. `nodes` are without it.
 */
void chain_set_cables(const Chain *chain, const ChainState *state, const double *nodes,
                      Heaters *heaters);

/* Adds the least heat, within each heater's power, that holds the set points; watts by heater. */
void chain_hold_set_points(const Heaters *heaters, int n, double *nodes, double *ret_watts);
