/* SPDX-License-Identifier: MIT */
/*
 * Inside the chain, for climate/ and its tests: one linear system of conductances. Nodes of layer i
 * are 4i + {0 lower floor, 1 upper floor, 2 air, 3 cover}, the last two only under a cover.
 */
#pragma once

#include "climate/chain.h"
#include "climate/chain-laws.h"
#include "climate/leaf.h"

enum { NODE_LOWER, NODE_UPPER, NODE_AIR, NODE_COVER, NODES };

#define NODES_MAX (NODES * CHAIN_LAYERS_MAX)
#define PATH_MAX_NODES (2 * CHAIN_LAYERS_MAX + 2)
/* Σ (4 + 2d)² for d = 0 … 11: all layers nested in one another */
#define POOL_SIZE 3272

/* A layer with the position of its cover taken, and its share of sun and wind. */
typedef struct Standing {
    bool present;      /* covered and not open */
    int up;            /* nearest present layer outside it; -1 outdoors */
    int lid;           /* nearest cover above its plants: itself where present, else up */
    double area;       /* per m² of the outermost floor */
    double floor_area; /* of that, with its own floor in it */
    double lit_area;   /* of that, with its own light on it */
    double exchange_wm2k, ir_transmittance, ir_emissivity; /* of its cover now, wet or dry */
    double inside;  /* of the exchange with its cover from within, what passes to the outer face */
    double wind_ms; /* outside it; for an absent layer also at its plants */
    double light_wm2, light_above_wm2; /* on its plants, and on its cover */
} Standing;

typedef struct FloorLaw {
    double upper_kj, lower_kj, between_wm2k, deep_wm2k, lower_air_wm2k;
    double faces; /* of the upper node that meet the air */
} FloorLaw;

/* Conductances by fronts: front i has the nodes of layer i, then those of the covers above it. */
typedef struct System {
    int n;
    int first; /* own nodes from here on are unknown: 0, or NODE_AIR with the floors given */
    int own[CHAIN_LAYERS_MAX], length[CHAIN_LAYERS_MAX], start[CHAIN_LAYERS_MAX];
    uint8_t node[CHAIN_LAYERS_MAX][PATH_MAX_NODES];
    double pool[POOL_SIZE];
} System;

/* What drives the nodes from outside, W per m² of the outermost floor (per kelvin). */
typedef struct Drive {
    double to_air[NODES_MAX], to_sky[NODES_MAX], to_deep[NODES_MAX];
    double source[NODES_MAX];
    double capacity[NODES_MAX]; /* J/K */
    double deep_c, water_c[CHAIN_LAYERS_MAX];
} Drive;

const FloorLaw *chain_floor_law(const ChainLayer *layer);
/* What times the difference of two temperatures gives that of their fourth powers, for surfaces. */
double chain_radiative_wm2k(double one_c, double other_c);
const CoverPosition *chain_position(const ChainLayer *layer, const int *positions, int i);

/* `opening[i]` 0..1 of automatic openers. */
void chain_stand(const Chain *chain, const int *positions, const double *opening,
                 double wind_10m_ms, double radiation_wm2, Standing *ret);

/* The system of conductances, radiative ones from `state` and `sky_c`. */
void chain_assemble(const Chain *chain, const Standing *standing, const ChainState *state,
                    double sky_c, double deep_c, System *ret, Drive *ret_drive);

/* Factors in place, with 2C/dt on the floors; dt_s 0: floors given, their rows left as they were.
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
