/* SPDX-License-Identifier: MIT */
/*
 * Every constant of the air under covers, in one table. "chosen" has no source; docs/climate.md
 * says what the values give beside published measurements.
 */
#pragma once

#define LAW_KELVIN 273.15
#define LAW_STEFAN_BOLTZMANN 5.670374419e-8 /* W/m²K⁴; CODATA 2018 */
#define LAW_SURFACE_EMISSIVITY 0.95         /* floor, leaf, cover to each other; chosen */

/* convection, W/m²K */
#define LAW_COVER_OUTSIDE 5.7        /* in still air; McAdams, Heat Transmission */
#define LAW_COVER_OUTSIDE_PER_MS 3.8 /* McAdams, per m/s of wind */
#define LAW_COVER_INSIDE 5.0         /* chosen */
#define LAW_COVER_INSIDE_ALL 9.0     /* with radiation, for what insulation leaves of it; chosen */
#define LAW_FLOOR 5.0                /* floor to air, still; chosen */
#define LAW_FLOOR_PER_MS 3.0         /* its rise with wind, uncovered; chosen */
#define LAW_LEAF 6.6 /* flat leaf of 4 cm: 6.6 √(u/0.04); Campbell and Norman 1998, from memory */
#define LAW_LEAF_WIDTH_M 0.04    /* chosen */
#define LAW_LEAF_WIND_MIN_MS 0.2 /* chosen */
#define LAW_WIND_AT_COVER 0.5    /* of the 10 m wind, at the height of covers and plants; chosen */

#define LAW_WET_BELOW_WM2 20.0 /* of sun: above it film that is not shut dries; chosen */

/* sun, shares */
#define LAW_SUN_ABSORBED 0.77   /* floor and plants, albedo 0.23; FAO-56 */
#define LAW_SUN_LATENT 0.2      /* of that, spent on evaporation; chosen */
#define LAW_SUN_AIR 0.5         /* of the rest, given to the air at once; chosen */
#define LAW_SUN_COVER 0.06      /* absorbed by a cover, per m² of it; chosen */
#define LAW_SUN_LEAF 0.5        /* absorbed by a leaf; chosen */
#define LAW_SUN_LEAF_LATENT 0.6 /* of that, spent on transpiration; chosen */

/* floors: heat capacity kJ/m²K, conductances W/m²K */
#define LAW_SOIL_UPPER_KJ 80.0  /* 4 cm at 2.0 MJ/m³K; Moene and van Dam 2014, table 2.2 */
#define LAW_SOIL_LOWER_KJ 350.0 /* to 20 cm, moist; same source */
#define LAW_SOIL_BETWEEN 10.0   /* chosen */
#define LAW_DEEP 2.6            /* to the soil far below; chosen */
#define LAW_TRAY_KJ 64.0  /* 3 cm of moist mix at 2.13 MJ/m³K; Moene and van Dam 2014 (peat) */
#define LAW_SLAB_KJ 310.0 /* 5 cm concrete at 2.1 MJ/m³K (from memory) and 10 cm of soil below */
#define LAW_SLAB_CONTACT 6.0     /* tray to slab, points of contact and thin air; chosen */
#define LAW_UNDER_SHELF_KJ 430.0 /* ground under an outermost shelf, both soil layers as one */
#define LAW_UNDER_SHELF_AIR 4.0  /* its surface to the air, 1 / (1/5 + 1/20); chosen */

/* devices */
#define LAW_WATER_J_LK 4180.0 /* heat capacity of a litre; Moene and van Dam 2014, table 2.2 */
#define LAW_WATER_WLK 0.06 /* a litre to the air: drums have 8 m²/m³, 7.5 W/m²K; chosen */

/* an automatic opener goes from shut to its largest prop over this many kelvin; chosen */
#define LAW_OPENER_RANGE_K 8.0

/* time */
#define LAW_SUBSTEP_MAX_S 900.0
#define LAW_SUBSTEP_CABLE_S 450.0  /* its thermostat switches within a sub-step; chosen */
#define LAW_SUBSTEP_OF_FASTEST 0.5 /* of the fastest floor's time constant */

/* indoors, local solar time; chosen */
#define LAW_INDOOR_LOW_H 6.0
#define LAW_INDOOR_HIGH_H 15.0

/* the model's own spread to start with, K; chosen */
#define LAW_SPREAD_OUTDOORS_K 0.5
#define LAW_SPREAD_ONE_K 1.2
#define LAW_SPREAD_NESTED_K 2.0
#define LAW_SPREAD_ONE_HIGH_K 4.0 /* at noon in the sun */
#define LAW_SPREAD_NESTED_HIGH_K 5.0
#define LAW_SPREAD_INDOORS_K 0.5

/* exposure under an overcast sky, and from where it counts as one */
#define LAW_EXPOSURE_OVERCAST 0.5      /* chosen */
#define LAW_OVERCAST_CLOUD (7.0 / 8.0) /* oktas of the observing practice: 7 or 8 is overcast */
#define LAW_SHELTER_INDOORS 99.0

/* a floor wholly under other layers keeps this share, so that its own equation can be solved */
#define LAW_FLOOR_SHARE_MIN 1e-6
