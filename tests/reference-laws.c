/* SPDX-License-Identifier: MIT */
/* The laws of docs/climate.md as the reference has them, and gardens whose laws are others. */
#include "reference-chain.h"

#include <math.h>
#include <stddef.h>

ReferenceSetup reference_setup(void)
{
    return (ReferenceSetup){
        .laws =
            {
                .surface_emissivity = 0.95,
                .cover_outside = 5.7,
                .cover_outside_per_ms = 3.8,
                .cover_inside = 5,
                .cover_inside_all = 9,
                .wet_below_wm2 = 20,
                .floor_air = 5,
                .floor_air_per_ms = 3,
                .wind_at_cover = 0.5,
                .leaf = 6.6,
                .leaf_width_m = 0.04,
                .leaf_wind_min_ms = 0.2,
                .leaf_sun = 0.5,
                .leaf_latent = 0.6,
                .sun_absorbed = 0.77,
                .sun_latent = 0.2,
                .sun_air = 0.5,
                .sun_cover = 0.06,
                .soil_upper_kj = 80,
                .soil_lower_kj = 350,
                .soil_between = 10,
                .deep = 2.6,
                .tray_kj = 64,
                .slab_kj = 310,
                .slab_contact = 6,
                .under_shelf_kj = 430,
                .under_shelf_air = 4,
                .water_j_lk = 4180,
                .water_wlk = 0.06,
                .opener_range_k = 8,
            },
        .relative = 1e-9,
        .absolute_k = 1e-8,
    };
}

void reference_vary(ReferenceLaws *laws, Chain *chain, double (*draw)(void *), void *data)
{
    double *law = (double *)laws;

    for (size_t i = 0; i < sizeof *laws / sizeof *law; i++)
        law[i] *= draw(data);
    laws->surface_emissivity = fmin(laws->surface_emissivity, 1);
    laws->sun_absorbed = fmin(laws->sun_absorbed, 1);
    for (int i = 0; i < chain->n; i++) {
        Cover *cover = &chain->layers[i].cover;

        if (!chain->layers[i].covered)
            continue;
        cover->solar_transmittance = fmin(1, cover->solar_transmittance * draw(data));
        cover->ir_transmittance *= draw(data);
        cover->ir_emissivity *= draw(data);
        const double both = cover->ir_transmittance + cover->ir_emissivity;
        if (both > 1) {
            cover->ir_transmittance /= both;
            cover->ir_emissivity /= both;
        }
        cover->wet_ir_transmittance *= draw(data);
        cover->wet_ir_emissivity *= draw(data);
        const double wet = cover->wet_ir_transmittance + cover->wet_ir_emissivity;
        if (wet > 1) {
            cover->wet_ir_transmittance /= wet;
            cover->wet_ir_emissivity /= wet;
        }
        cover->insulation_m2kw *= draw(data);
        cover->area_ratio *= draw(data);
        for (int p = 0; p < cover->n_positions; p++) {
            cover->positions[p].exchange_wm2k *= draw(data);
            cover->positions[p].exchange_per_ms *= draw(data);
        }
    }
}
