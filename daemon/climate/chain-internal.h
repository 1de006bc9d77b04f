/* SPDX-License-Identifier: MIT */
/*
 * Inside the chain, for climate/ and its tests: one linear system of conductances. Nodes of layer i
 * are 4i + {0 lower floor, 1 upper floor, 2 air, 3 cover}, the last two only under a cover.
 */
#pragma once

#include "climate/chain-stand.h"
#include "climate/leaf.h"

enum { NODE_LOWER, NODE_UPPER, NODE_AIR, NODE_COVER, NODES };

#define NODES_MAX (NODES * CHAIN_LAYERS_MAX)

/* What joins the nodes of a pair to those of a cover further out; no conductance is positive here.
 * Once its pair is eliminated, the same times the inverse of the pair's own block. */
typedef struct Joint {
    double one_air, two_air, one_cover, two_cover;
} Joint;

/* Two nodes of a layer: its lower and upper floor, or its air and cover. */
typedef struct Pair {
    double one, both, two;      /* a symmetric block; its inverse once the pair is eliminated */
    Joint to[CHAIN_LAYERS_MAX]; /* by the layer of the cover; those on its path to the sky */
} Pair;

/* Conductances, by pairs; those of covers that are not there are not set. */
typedef struct System {
    int n;
    bool floors_given; /* once factored: floors are not unknowns of it */
    int lid[CHAIN_LAYERS_MAX], up[CHAIN_LAYERS_MAX]; /* as in Standing */
    Pair floor[CHAIN_LAYERS_MAX], cover[CHAIN_LAYERS_MAX];
} System;

/* What drives the nodes from outside, W per m² of the outermost floor (per kelvin). */
typedef struct Drive {
    double to_air[NODES_MAX], to_sky[NODES_MAX], to_deep[NODES_MAX];
    double source[NODES_MAX];
    double capacity[NODES_MAX]; /* J/K */
    double deep_c, water_c[CHAIN_LAYERS_MAX];
} Drive;

/* The system of conductances, radiative ones from `state` and `sky_c`. */
void chain_assemble(const Chain *chain, const Standing *standing, const ChainState *state,
                    double sky_c, double deep_c, System *ret, Drive *ret_drive);

/* Factors in place, with 2C/dt on the floors; dt_s 0: floors given, their pairs left as they were.
 */
void chain_factor(System *system, const Standing *standing, const Drive *drive, double dt_s);

/* Solves in place: heat (given floors: their temperatures) on entry, temperatures on return. */
void chain_solve(const System *factored, double *nodes);

/* Heat that outdoors at air_c and sky_c and the sources bring to each node. */
void chain_drive_heat(const Drive *drive, int n, double air_c, double sky_c, double *ret);

/* What chain_step() holds over a half-hour: openers, covers, the system not yet factored. */
void chain_hold(const Chain *chain, const int *positions, const ChainForcing *forcing,
                const ChainState *state, double *ret_opening, Standing *ret_standing, System *ret,
                Drive *ret_drive);
int chain_substeps(const Chain *chain, const Standing *standing, const System *system,
                   const Drive *drive);
