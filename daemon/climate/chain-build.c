/* SPDX-License-Identifier: MIT */
/* Making a chain from the garden, and what can be asked of it without running it. */
#include "climate/chain-internal.h"

#include <math.h>

static int layer_of(const Chain *chain, int place)
{
    for (int i = 0; i < chain->n; i++)
        if (chain->layers[i].place == place)
            return i;
    return -1;
}

/* A cable lies under the whole soil of its place, also where the last layer stands on that soil. */
static void pass_cable_on(Chain *chain)
{
    ChainLayer *layer = &chain->layers[chain->n - 1];
    const ChainLayer *above = layer->parent < 0 ? NULL : &chain->layers[layer->parent];

    if (above == NULL || layer->cable_wm2 > 0 || above->floor != FLOOR_SOIL ||
        layer->floor != FLOOR_SOIL)
        return;
    layer->cable_wm2 = above->cable_wm2;
    layer->soil_set_point_c = above->soil_set_point_c;
}

bool chain_build(const Garden *garden, int root, Chain *ret)
{
    const Place *outermost = &garden->places[root];
    Chain chain = {
        .indoors = outermost->indoors,
        .indoor_night_c = outermost->indoor_night_c,
        .indoor_day_c = outermost->indoor_day_c,
        .lift_k = outermost->lift_k,
    };

    for (int p = root; p < garden->n_places; p++) {
        const Place *place = &garden->places[p];
        const int parent = p == root ? -1 : layer_of(&chain, place->parent);

        if (p != root && (place->parent < 0 || parent < 0))
            continue;
        if (chain.n == CHAIN_LAYERS_MAX)
            return false;
        const double per_m2 = place->floor_m2 > 0 ? 1 / place->floor_m2 : 0;

        chain.layers[chain.n++] = (ChainLayer){
            .place = p,
            .parent = parent,
            .depth = (parent < 0 ? 0 : chain.layers[parent].depth) + (place->covered ? 1 : 0),
            .footprint = parent < 0 ? 1 : place->footprint,
            .heater_wm2 = fmax(0, place->heater_w * per_m2),
            .set_point_c = place->set_point_c,
            .cable_wm2 = fmax(0, place->cable_w * per_m2),
            .soil_set_point_c = place->soil_set_point_c,
            .water_lm2 = fmax(0, place->water_l * per_m2),
            .floor = place->floor,
            .covered = place->covered,
            .cover = place->cover,
        };
        pass_cable_on(&chain);
    }
    *ret = chain;
    return true;
}

const FloorLaw *chain_floor_law(const ChainLayer *layer)
{
    static const FloorLaw soil = {
        LAW_SOIL_UPPER_KJ, LAW_SOIL_LOWER_KJ, LAW_SOIL_BETWEEN, LAW_DEEP, 0, 1};
    static const FloorLaw slab = {LAW_TRAY_KJ, LAW_SLAB_KJ, LAW_SLAB_CONTACT, LAW_DEEP, 0, 1};
    /* the parent keeps its floor under the shelf; an outermost place has the ground for one */
    static const FloorLaw shelf = {LAW_TRAY_KJ, LAW_UNDER_SHELF_KJ, 0, 0, 0, 2};
    static const FloorLaw shelf_on_ground = {LAW_TRAY_KJ, LAW_UNDER_SHELF_KJ,  0,
                                             LAW_DEEP,    LAW_UNDER_SHELF_AIR, 2};

    switch (layer->floor) {
    case FLOOR_SOIL:
        return &soil;
    case FLOOR_SLAB:
        return &slab;
    case FLOOR_SHELF:
        return layer->parent < 0 ? &shelf_on_ground : &shelf;
    }
    return &soil;
}

void chain_rest(const Chain *chain, double air_c, double deep_c, ChainState *ret)
{
    for (int i = 0; i < CHAIN_LAYERS_MAX; i++) {
        double lower_c = air_c;

        if (i < chain->n) {
            const FloorLaw *law = chain_floor_law(&chain->layers[i]);
            const double above = law->between_wm2k + law->lower_air_wm2k;

            if (above + law->deep_wm2k > 0)
                lower_c = (above * air_c + law->deep_wm2k * deep_c) / (above + law->deep_wm2k);
        }
        ret->surface_c[i] = air_c;
        ret->water_c[i] = air_c;
        ret->cover_c[i] = air_c;
        ret->deep_c[i] = lower_c;
    }
}

double chain_spread_k(const Chain *chain, int i, Extreme which)
{
    const bool low = which == EXTREME_LOW;

    if (chain->indoors)
        return LAW_SPREAD_INDOORS_K;
    if (chain->layers[i].depth == 0)
        return LAW_SPREAD_OUTDOORS_K;
    if (chain->layers[i].depth == 1)
        return low ? LAW_SPREAD_ONE_K : LAW_SPREAD_ONE_HIGH_K;
    return low ? LAW_SPREAD_NESTED_K : LAW_SPREAD_NESTED_HIGH_K;
}

double chain_exposure_weight(const Chain *chain, const int *positions, int i, double cloud)
{
    double weight = cloud >= LAW_OVERCAST_CLOUD ? LAW_EXPOSURE_OVERCAST : 1;

    if (chain->indoors)
        return 0;
    for (; i >= 0; i = chain->layers[i].parent)
        if (chain->layers[i].covered)
            weight = fmin(weight, chain_position(&chain->layers[i], positions, i)->exposure_weight);
    return weight;
}

double chain_shelter(const Chain *chain, const int *positions, int i)
{
    double shelter = 0;

    if (chain->indoors)
        return LAW_SHELTER_INDOORS;
    for (; i >= 0; i = chain->layers[i].parent)
        if (chain->layers[i].covered)
            shelter += chain_position(&chain->layers[i], positions, i)->shelter;
    return shelter;
}
