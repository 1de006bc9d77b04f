/* SPDX-License-Identifier: MIT */
/* What trays lose to the air: FAO-56 (Allen et al. 1998). Pure. */
#pragma once

#include "climate/chain.h"

/* The air over plants for half an hour or an hour. */
typedef struct WaterAir {
    double air_c, vapour_kpa;
    double wind_ms;      /* at 2 m; below 0.5 it counts as 0.5 (FAO-56, chapter 3) */
    double net_wm2;      /* net radiation */
    double pressure_kpa; /* WATER_SEA_LEVEL_KPA where nothing better is known */
    bool daylight;       /* the heat that goes into the ground is a tenth by day, half by night */
} WaterAir;

#define WATER_SEA_LEVEL_KPA 101.3

/* Slope of saturation vapour pressure, kPa/K; FAO-56 eq. 13. */
double water_slope_kpa(double temperature_c);

/* Psychrometric constant, kPa/K; FAO-56 eq. 8. */
double water_psychrometric_kpa(double pressure_kpa);

/* Wind at 2 m from that at 10 m over grass; FAO-56 eq. 47. */
double water_wind_2m(double wind_10m_ms);

/* Reference evapotranspiration, mm an hour, never below 0; FAO-56 eq. 53. */
double water_reference_mm_h(const WaterAir *air);

/*
 * Loss of trays, mm over a half-hour, where they meet `met`. Crop coefficient 1: a tray of leaves
 * or of wet compost (chosen). `sees_sky`: nothing over them holds back long waves; under a cover
 * none are lost, and the vapour is that of outdoors, which errs on the dry side (chosen).
 */
double water_loss_mm(const OutdoorStep *outdoor, const PlaceStep *met, bool sees_sky);

/* What a tray of so many cells or pots holds for its plants, mm of the tray. */
double water_held_mm(double volume_ml, int per_tray);

/* Litres of a tray that `mm` are. */
double water_litres(double mm);
