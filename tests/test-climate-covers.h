/* SPDX-License-Identifier: MIT */
/* Covers and chains made by hand for the tests of climate/: typical figures, all chosen unless
 * said. */
#pragma once

#include <math.h>
#include <stdlib.h>

#include "climate/chain.h"

enum { SHUT, PROPPED, OPEN };

static inline Cover cover_of(double solar, double ir, double emissivity, double ratio,
                             double shut_wm2k, double shut_per_ms, double propped_wm2k)
{
    return (Cover){
        .solar_transmittance = solar,
        .ir_transmittance = ir,
        .ir_emissivity = emissivity,
        .area_ratio = ratio,
        .opener_from_c = NAN,
        .n_positions = 3,
        .positions =
            {
                {.name = "closed",
                 .exchange_wm2k = shut_wm2k,
                 .exchange_per_ms = shut_per_ms,
                 .shelter = 1},
                {.name = "10 cm",
                 .exchange_wm2k = propped_wm2k,
                 .exchange_per_ms = 3,
                 .exposure_weight = 0.5,
                 .shelter = 0.5},
                {.name = "open", .exposure_weight = 1, .open = true},
            },
    };
}

/* Exchange of shut covers from one air change an hour: 0.34 W h/m³K times the height. */
static inline Cover polythene(double ratio) /* wet; high tunnel, 2 m */
{
    return cover_of(0.85, 0.2, 0.7, ratio, 0.34 * 2.0, 0.1, 15);
}

static inline Cover glass(void) /* light 0.88: Hanson 1963; frame, 0.3 m */
{
    return cover_of(0.88, 0.03, 0.87, 1.3, 0.34 * 0.3, 0.05, 12);
}

static inline Cover box_cover(void) /* twin-wall, light 0.80: Sanford; box, 0.4 m */
{
    return cover_of(0.80, 0.03, 0.87, 2.0, 0.34 * 0.4, 0.05, 12);
}

static inline Cover fleece(void)
{
    Cover cover = cover_of(0.85, 0.5, 0.4, 1.2, 2, 1.5, 10);

    cover.porous = true;
    cover.positions[SHUT].exposure_weight = 0.4;
    return cover;
}

static inline ChainLayer layer_of(int parent, double footprint, Cover cover)
{
    return (ChainLayer){
        .parent = parent,
        .depth = parent < 0 ? 1 : 2,
        .footprint = parent < 0 ? 1 : footprint,
        .set_point_c = NAN,
        .floor = FLOOR_SOIL,
        .covered = true,
        .cover = cover,
    };
}

/* An uncovered place: standing ground or a bed. */
static inline ChainLayer bare_layer(int parent, double footprint)
{
    return (ChainLayer){.parent = parent,
                        .footprint = parent < 0 ? 1 : footprint,
                        .set_point_c = NAN,
                        .floor = FLOOR_SOIL};
}
