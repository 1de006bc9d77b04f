/* SPDX-License-Identifier: MIT */
/*
 * What of an error of the open air comes in under covers. The equations are those of chain_step()
 * with everything at 0 but the outdoors, a kelvin warmer; the floors follow by one implicit step as
 * long as such errors last. Heaters and openers are left out: they would only let less in.
 */
#include "climate/chain-internal.h"

#include <math.h>

#define SHARE_LASTS_S (16 * 3600.0) /* from an afternoon to the end of the night; chosen */
#define SHARE_AIR_C 3.0             /* a calm, clear night, as the odds of frost need; chosen */
#define SHARE_SKY_K 12.0
#define SHARE_WIND_MS 1.5

double chain_open_share(const Chain *chain, const int *positions, int i)
{
    const double opening[CHAIN_LAYERS_MAX] = {0};
    Standing standing[CHAIN_LAYERS_MAX];
    ChainState state;
    System system;
    Drive drive;
    double nodes[NODES_MAX];

    if (chain->indoors)
        return 0.0;
    chain_rest(chain, SHARE_AIR_C, SHARE_AIR_C, &state);
    chain_stand(chain, positions, opening, SHARE_WIND_MS, 0.0, standing);
    if (standing[i].lid < 0)
        return 1.0;
    chain_assemble(chain, standing, &state, SHARE_AIR_C - SHARE_SKY_K, SHARE_AIR_C, &system,
                   &drive);
    chain_factor(&system, standing, &drive, 2.0 * SHARE_LASTS_S);
    for (int k = 0; k < NODES * chain->n; k++)
        nodes[k] = drive.to_air[k] + drive.to_sky[k];
    chain_solve(&system, nodes);
    return fmax(0.0, fmin(1.0, nodes[NODES * standing[i].lid + NODE_AIR]));
}
