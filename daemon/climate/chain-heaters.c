/* SPDX-License-Identifier: MIT */
#include "climate/chain-heaters.h"

#include <math.h>

#define HEATER_SWEEPS 200 /* chosen; one heater needs one, several converge fast */
#define HEATER_CLOSE_K 1e-12

static void add_heater(const System *factored, int node, double limit_w, double set_point_c,
                       Heaters *ret)
{
    Heater *heater = &ret->of[ret->n++];

    heater->node = node;
    heater->least_w = 0;
    heater->limit_w = limit_w;
    heater->set_point_c = set_point_c;
    for (int k = 0; k < NODES * factored->n; k++)
        heater->response[k] = 0;
    heater->response[node] = 1;
    chain_solve(factored, heater->response);
}

void chain_heaters(const Chain *chain, const Standing *standing, const System *factored,
                   Heaters *ret)
{
    ret->n = 0;
    for (int i = 0; i < chain->n; i++) {
        const ChainLayer *layer = &chain->layers[i];

        if (standing[i].present && layer->heater_wm2 > 0 && !isnan(layer->set_point_c))
            add_heater(factored, NODES * i + NODE_AIR, layer->heater_wm2 * standing[i].area,
                       layer->set_point_c, ret);
        /* where floors are given a cable changes nothing */
        if (!factored->floors_given && layer->cable_wm2 > 0 && !isnan(layer->soil_set_point_c))
            add_heater(factored, NODES * i + NODE_UPPER, layer->cable_wm2 * standing[i].floor_area,
                       layer->soil_set_point_c, ret);
    }
}

void chain_set_cables(const Chain *chain, const ChainState *state, const double *nodes,
                      Heaters *heaters)
{
    for (int h = 0; h < heaters->n; h++) {
        Heater *heater = &heaters->of[h];
        const int i = heater->node / NODES;

        if (heater->node % NODES != NODE_UPPER)
            continue;
        const double short_k = chain->layers[i].soil_set_point_c - state->surface_c[i];
        const double alone_k = 2 * (nodes[heater->node] - state->surface_c[i]);
        const double most_k = 2 * heater->response[heater->node] * heater->limit_w;

        heater->set_point_c = state->surface_c[i] + 0.5 * short_k;
        heater->least_w = short_k > 0 && alone_k > 0
                              ? heater->limit_w * fmin(1, short_k / (alone_k + most_k))
                              : 0;
    }
}

void chain_hold_set_points(const Heaters *heaters, int n, double *nodes, double *ret_watts)
{
    for (int h = 0; h < heaters->n; h++)
        ret_watts[h] = 0;
    /* each in turn, within its limits: the responses are all positive, so this settles */
    for (int sweep = 0; sweep < HEATER_SWEEPS && heaters->n > 0; sweep++) {
        double largest_k = 0;

        for (int h = 0; h < heaters->n; h++) {
            const Heater *heater = &heaters->of[h];
            const double own = heater->response[heater->node];
            const double wanted = ret_watts[h] + (heater->set_point_c - nodes[heater->node]) / own;
            const double change =
                fmax(heater->least_w, fmin(heater->limit_w, wanted)) - ret_watts[h];

            ret_watts[h] += change;
            for (int k = 0; k < NODES * n; k++)
                nodes[k] += change * heater->response[k];
            largest_k = fmax(largest_k, fabs(change) * own);
        }
        if (heaters->n == 1 || largest_k < HEATER_CLOSE_K)
            return;
    }
}
