/* SPDX-License-Identifier: MIT */
/* Inside the chain: how each layer stands, and the laws of one layer alone. */
#pragma once

#include "climate/chain.h"
#include "climate/chain-laws.h"

#include <math.h>

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

const FloorLaw *chain_floor_law(const ChainLayer *layer);

/* What times the difference of two temperatures gives that of their fourth powers, for surfaces. */
static inline double chain_radiative_wm2k(double one_c, double other_c)
{
    const double one = one_c + LAW_KELVIN, other = other_c + LAW_KELVIN;

    return LAW_SURFACE_EMISSIVITY * LAW_STEFAN_BOLTZMANN * (one * one + other * other) *
           (one + other);
}

/* What cover `i` is in: the one asked for, or shut where its opener takes over. */
static inline const CoverPosition *chain_position(const ChainLayer *layer, const int *positions,
                                                  int i)
{
    const Cover *cover = &layer->cover;
    int position = cover->n_positions > 1 ? positions[i] : 0;

    if (position < 0 || position >= cover->n_positions)
        position = 0;
    /* an opener takes over between shut and propped; it cannot act on a light that is off */
    if (!isnan(cover->opener_from_c) && !cover->positions[position].open)
        position = 0;
    return &cover->positions[position];
}

/* `opening[i]` 0..1 of automatic openers. */
void chain_stand(const Chain *chain, const int *positions, const double *opening,
                 double wind_10m_ms, double radiation_wm2, Standing *ret);

/* The same with another wind. */
void chain_stand_in_wind(const Chain *chain, const int *positions, const double *opening,
                         double wind_10m_ms, Standing *standing);
