/* SPDX-License-Identifier: MIT */
/*
 * The air under covers. A chain is an outermost place and all that stands inside it, solved as one
 * system: what one layer loses enters the next. Pure: nothing is allocated, the caller owns all
 * memory.
 */
#pragma once

#include "garden/types.h"

#define CHAIN_LAYERS_MAX 12 /* places in one chain */

/* One place of a chain; parents come before what stands inside them. */
typedef struct ChainLayer {
    int place;  /* index in the garden */
    int parent; /* layer index; -1 outdoors */
    int depth;  /* covered layers from here to the sky, this one included */
    double footprint;
    double heater_wm2, set_point_c;     /* per m² of its floor */
    double cable_wm2, soil_set_point_c; /* soil-warming cable, likewise; 0 none */
    double water_lm2;                   /* barrels of water, litres per m²; 0 none */
    FloorKind floor;
    bool covered;
    Cover cover;
} ChainLayer;

typedef struct Chain {
    int n;
    bool indoors; /* one place in a building, its air given by its range */
    double indoor_night_c, indoor_day_c;
    double lift_k; /* most that a heater warms it above its room; 0 as much as is wanted */
    ChainLayer layers[CHAIN_LAYERS_MAX];
} Chain;

/* What a chain remembers from step to step, per layer. */
typedef struct ChainState {
    double surface_c[CHAIN_LAYERS_MAX]; /* upper soil, or the tray on a shelf or slab */
    double deep_c[CHAIN_LAYERS_MAX];    /* lower soil or slab */
    double cover_c[CHAIN_LAYERS_MAX];   /* of the step before: radiative coefficients use it */
    double water_c[CHAIN_LAYERS_MAX];   /* of its barrels */
} ChainState;

/* What a batch in a layer meets. Temperatures at the end of the step, light over it. */
typedef struct PlaceStep {
    double air_c, leaf_c, surface_c;
    double light_wm2; /* solar, on the plants */
    double wind_ms;   /* at the plants */
} PlaceStep;

/* What drives a chain over one half-hour: the outdoors at both ends, and the ground far below. */
typedef struct ChainForcing {
    const OutdoorStep *now, *next;
    double deep_c;     /* mean of the last 30 days */
    double solar_hour; /* local solar time at the end of the step, 0..24: indoor range only */
} ChainForcing;

/* Chain of the outermost or indoor place `root`. False where it has more than CHAIN_LAYERS_MAX
 * places. */
bool chain_build(const Garden *garden, int root, Chain *ret);

/* A state at rest: floor and cover at `air_c`, the deep layers between it and `deep_c`. Spin up
 * from it. */
void chain_rest(const Chain *chain, double air_c, double deep_c, ChainState *ret);

/*
 * One half-hour. `positions[i]` is the position of layer i's cover during it, ignored where it has
 * none. An automatic opener decides itself between shut and its widest prop, unless the position is
 * open: then the light is off and it has nothing to lift. `radiation_wm2` is taken from
 * forcing->now, wind as the mean of both ends. Writes `steps[i]` for each layer.
 */
void chain_step(const Chain *chain, const int *positions, const ChainForcing *forcing,
                ChainState *state, PlaceStep *steps);

/* Standard deviation of the model's own error in layer `i`, K, before anything is learned. */
double chain_spread_k(const Chain *chain, int i, Extreme which);

/* What of an error of the open air that lasts a night comes into layer `i`, 0..1; 0 indoors. */
double chain_open_share(const Chain *chain, const int *positions, int i);

/*
 * How much of an hour's daylight counts for the ramp in layer `i`: the least over it and all above,
 * 0..1. Under an automatic opener, which is not followed here, that of shut.
 */
double chain_exposure_weight(const Chain *chain, const int *positions, int i, double cloud);

/* How much cover layer `i` has: the sum over it and all above; indoors 99. */
double chain_shelter(const Chain *chain, const int *positions, int i);
