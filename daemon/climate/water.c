/* SPDX-License-Identifier: MIT */
#include "climate/water.h"
#include "climate/air.h"

#include <math.h>

#define KELVIN 273.15
#define STEFAN_BOLTZMANN 5.670374e-8
#define ALBEDO 0.23    /* FAO-56 eq. 38 */
#define LEAST_WIND 0.5 /* m/s; FAO-56, chapter 3 */
#define MJ_H 0.0036    /* MJ/m² an hour per W/m² */
#define LIGHT_WM2 1.0  /* more is day; chosen */
#define TRAY_M2 0.0912 /* 38 by 24 cm, as in garden/read-settings.c */
/* Share of a peat mix that roots draw on freely; from memory: de Boodt and Verdonck 1972 ask for
 * 0.20 to 0.30. */
#define EASY_WATER 0.25

double water_slope_kpa(double temperature_c)
{
    const double from_c = temperature_c + 237.3;

    return 4098 * air_saturation_kpa(temperature_c) / (from_c * from_c);
}

double water_psychrometric_kpa(double pressure_kpa)
{
    return 0.665e-3 * pressure_kpa;
}

double water_wind_2m(double wind_10m_ms)
{
    return wind_10m_ms * 4.87 / log(67.8 * 10 - 5.42);
}

double water_reference_mm_h(const WaterAir *air)
{
    const double slope = water_slope_kpa(air->air_c);
    const double gamma = water_psychrometric_kpa(air->pressure_kpa);
    const double wind = fmax(LEAST_WIND, air->wind_ms);
    const double lacking_kpa = fmax(0, air_saturation_kpa(air->air_c) - air->vapour_kpa);
    const double kept = air->net_wm2 * MJ_H * (air->daylight ? 0.9 : 0.5);
    const double mm =
        (0.408 * slope * kept + gamma * 37 / (air->air_c + 273) * wind * lacking_kpa) /
        (slope + gamma * (1 + 0.34 * wind));

    return fmax(0, mm);
}

static double radiated_wm2(double temperature_c)
{
    return STEFAN_BOLTZMANN * pow(temperature_c + KELVIN, 4);
}

double water_loss_mm(const OutdoorStep *outdoor, const PlaceStep *met, bool sees_sky)
{
    const double lost = sees_sky ? radiated_wm2(met->air_c) - radiated_wm2(outdoor->sky_c) : 0;
    const WaterAir air = {.air_c = met->air_c,
                          .vapour_kpa = air_saturation_kpa(outdoor->dew_point_c),
                          .wind_ms = sees_sky ? water_wind_2m(outdoor->wind_ms) : 0,
                          .net_wm2 = (1 - ALBEDO) * met->light_wm2 - lost,
                          .pressure_kpa = WATER_SEA_LEVEL_KPA,
                          .daylight = met->light_wm2 > LIGHT_WM2};

    return water_reference_mm_h(&air) / STEPS_PER_H;
}

double water_held_mm(double volume_ml, int per_tray)
{
    return EASY_WATER * volume_ml * per_tray / 1000 / TRAY_M2;
}

double water_litres(double mm)
{
    return mm * TRAY_M2;
}
