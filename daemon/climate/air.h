/* SPDX-License-Identifier: MIT */
/* Humidity, sky temperature, and hours made from daily values. Pure. */
#pragma once

#include "garden/types.h"

/* Saturation vapour pressure, kPa; FAO-56 eq. 11. */
double air_saturation_kpa(double temperature_c);

/* Dew point, °C, from vapour pressure in kPa; the inverse of air_saturation_kpa(). */
double air_dew_point_c(double vapour_kpa);

/* Emissivity of the sky 0..1: calibrated Berdahl-Martin with the cloud term; `cloud` 0..1. */
double air_sky_emissivity(double dew_point_c, double cloud);

/* Temperature of a black sky that radiates as much, °C. */
double air_sky_c(double temperature_c, double dew_point_c, double cloud);

/*
 * Daily incoming radiation, MJ/m², from the daily range; Hargreaves, FAO-56 eq. 50. `coefficient`
 * 0.16 inland. Not for the service: the hindcast makes hours of daily records with it, and the
 * checks hold the laws of the sky to FAO-56's worked examples.
 */
double air_hargreaves_mj(double extraterrestrial_mj, double low_c, double high_c,
                         double coefficient);

/*
 * Air temperature at `utc` between a day's low at sunrise and its high (Linvill 1990), given this
 * day's sunrise, sunset, low and high, and the next day's sunrise and low. Valid from sunrise to
 * next sunrise.
 */
double air_linvill_c(int64_t utc, int64_t sunrise_utc, int64_t sunset_utc, int64_t next_sunrise_utc,
                     double low_c, double high_c, double next_low_c);

/*
 * The same by Parton and Logan 1981 (Agric. Meteorol. 23:205): a sine from the low, a little before
 * sunrise, to sunset, then an exponential fall. Theirs ends a tenth of its fall above the next low;
 * here it is stretched to meet it. Lags and decay are those of air at 1.5 m. Not for the service:
 * the hindcast asks how much rests on the shape of the day.
 */
double air_parton_logan_c(int64_t utc, int64_t sunrise_utc, int64_t sunset_utc,
                          int64_t next_sunrise_utc, double low_c, double high_c, double next_low_c);

/*
 * Half-hours of outdoor conditions for one site from its hourly series: instants linear between
 * hours, period values held over their hour. `ret` has n + 1 entries; entry n holds the instants at
 * the end. False, and nothing written, where the series does not reach from start_utc to the end,
 * or holds a NAN in temperature, dew point, cloud, wind or radiation (weather/ fills those before).
 * A missing gust is taken as 1.6 times the wind (chosen), missing rain as none.
 */
bool air_outdoor_steps(const WeatherHour *hours, size_t n_hours, int64_t start_utc, size_t n,
                       OutdoorStep *ret);
