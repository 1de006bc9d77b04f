/* SPDX-License-Identifier: MIT */
/* The balance of a leaf: convection on both faces, the sky above, the floor below, half of the sun.
 */
#include "climate/chain-internal.h"

#include <math.h>

double leaf_c(double air_c, double sky_c, double floor_c, double light_wm2, double wind_ms)
{
    const double wind = wind_ms > LAW_LEAF_WIND_MIN_MS ? wind_ms : LAW_LEAF_WIND_MIN_MS;
    const double to_air = 2 * LAW_LEAF * sqrt(wind / LAW_LEAF_WIDTH_M);
    const double sun = LAW_SUN_LEAF * light_wm2 * (1 - LAW_SUN_LEAF_LATENT);
    double leaf = air_c;

    /* close to the air: its radiative coefficients are taken from there, then from what comes out
     */
    for (int pass = 0; pass < 2; pass++) {
        const double to_sky = LAW_SURFACE_EMISSIVITY * chain_radiative_wm2k(leaf, sky_c);
        const double to_floor = LAW_SURFACE_EMISSIVITY * chain_radiative_wm2k(leaf, floor_c);

        leaf = (to_air * air_c + to_sky * sky_c + to_floor * floor_c + sun) /
               (to_air + to_sky + to_floor);
    }
    return leaf;
}
