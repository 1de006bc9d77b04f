/* SPDX-License-Identifier: MIT */
/*
 * A second solver of the air under covers, for tests: the equations of docs/climate.md written once
 * more, as a list of flows between nodes, with radiation as 0.95 σ (Ta⁴ − Tb⁴), air and covers
 * solved by Newton's method wherever the floors' rate of change is asked for, and the floors by
 * SUNDIALS CVODE. It takes a Chain and nothing else from daemon/climate. Every law can be changed:
 * a garden that the product does not know.
 *
 * Whatever goes wrong inside prints why and aborts.
 */
#pragma once

#include "climate/chain.h"

/* The constants of docs/climate.md; W, m, K, s unless named. Doubles only. */
typedef struct ReferenceLaws {
    double surface_emissivity; /* floor, leaf and cover to each other */
    double cover_outside, cover_outside_per_ms, cover_inside, cover_inside_all, wet_below_wm2;
    double floor_air, floor_air_per_ms;
    double wind_at_cover; /* share of the 10 m wind */
    double leaf, leaf_width_m, leaf_wind_min_ms, leaf_sun, leaf_latent;
    double sun_absorbed, sun_latent, sun_air, sun_cover;
    double soil_upper_kj, soil_lower_kj, soil_between, deep;
    double tray_kj, slab_kj, slab_contact;
    double under_shelf_kj, under_shelf_air;
    double water_j_lk, water_wlk;
    double opener_range_k;
} ReferenceLaws;

typedef struct ReferenceSetup {
    ReferenceLaws laws;
    /*
     * The linear equations instead: wind at its mean over each half-hour, radiative coefficients
     * from temperatures foreseen for its middle, both held, and at its end air and covers once more
     * with those of the end, as docs/climate.md says. What is left between this and the product is
     * the error of stepping alone.
     */
    bool held;
    bool openers_free; /* openers follow the air at every instant, not held for the half-hour */
    bool adams;        /* for BDF */
    double relative, absolute_k; /* tolerances of CVODE */
} ReferenceSetup;

typedef struct ReferenceChain ReferenceChain;

/* The laws as they are documented, full radiation, openers held, BDF with tolerances far below what
 * is looked for. */
ReferenceSetup reference_setup(void);

/*
 * Multiplies each law and each figure of the chain's covers (transmittances, emissivity, area
 * ratio, exchange) by a factor that `draw` gives, once each, in the order of the structs: uniform
 * in 0.7 … 1.3, say. Shares stay at most 1, with infrared transmitted and emitted together.
 */
void reference_vary(ReferenceLaws *laws, Chain *chain, double (*draw)(void *), void *data);

/* A chain that starts from `start`; both are copied. Free it with reference_free(). */
ReferenceChain *reference_new(const Chain *chain, const ReferenceSetup *setup,
                              const ChainState *start);
void reference_free(ReferenceChain *reference);

/* One half-hour, arguments as chain_step(). Only the floors are remembered from step to step. */
void reference_step(ReferenceChain *reference, const int *positions, const ChainForcing *forcing,
                    PlaceStep *steps);

/*
 * `n` half-hours in one go, for timing: positions stay, there are no openers, and CVODE goes on
 * across the half-hours, but for a new start every `restart` of them (0: none). `weather` has n + 1
 * entries. Returns how often the floors' rate of change was asked for.
 */
long reference_run(ReferenceChain *reference, const int *positions, const OutdoorStep *weather,
                   int n, double deep_c, int restart, double (*ret_air_c)[CHAIN_LAYERS_MAX]);

/* Asks for the floors' rate of change alone, `times` times along that weather after such a run. */
void reference_rates(ReferenceChain *reference, int times);

/* Floors and covers as they are now. */
void reference_state(const ReferenceChain *reference, ChainState *ret);
