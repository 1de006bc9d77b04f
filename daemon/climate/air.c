/* SPDX-License-Identifier: MIT */
/* Humidity by FAO-56 (Allen et al. 1998); sky by Li, Jiang and Coimbra 2017 with the cloud term of
 * TRNSYS. */
#include "climate/air.h"

#include <math.h>

#define KELVIN 273.15
#define HOUR_S 3600
#define GUST_FACTOR 1.6 /* gust to mean wind; chosen */

double air_saturation_kpa(double temperature_c)
{
    return 0.6108 * exp(17.27 * temperature_c / (temperature_c + 237.3));
}

double air_dew_point_c(double vapour_kpa)
{
    const double x = log(vapour_kpa / 0.6108);

    return 237.3 * x / (17.27 - x);
}

double air_sky_emissivity(double dew_point_c, double cloud)
{
    const double d = dew_point_c / 100;
    const double clear = 0.758 + 0.521 * d + 0.625 * d * d;

    return clear + (1 - clear) * 0.9 * cloud;
}

double air_sky_c(double temperature_c, double dew_point_c, double cloud)
{
    return (temperature_c + KELVIN) * sqrt(sqrt(air_sky_emissivity(dew_point_c, cloud))) - KELVIN;
}

double air_hargreaves_mj(double extraterrestrial_mj, double low_c, double high_c,
                         double coefficient)
{
    return coefficient * sqrt(fmax(0, high_c - low_c)) * extraterrestrial_mj;
}

double air_linvill_c(int64_t utc, int64_t sunrise_utc, int64_t sunset_utc, int64_t next_sunrise_utc,
                     double low_c, double high_c, double next_low_c)
{
    const double pi = 3.14159265358979323846;
    const double length_h = (double)(sunset_utc - sunrise_utc) / HOUR_S;
    const double since_rise_h = (double)(utc - sunrise_utc) / HOUR_S;

    if (utc <= sunset_utc)
        return low_c + (high_c - low_c) * sin(pi * since_rise_h / (length_h + 4));

    const double at_sunset_c = low_c + (high_c - low_c) * sin(pi * length_h / (length_h + 4));
    const double night_h = (double)(next_sunrise_utc - sunset_utc) / HOUR_S;
    const double since_set_h = (double)(utc - sunset_utc) / HOUR_S;

    return at_sunset_c - (at_sunset_c - next_low_c) * log(since_set_h + 1) / log(night_h + 1);
}

/* Parton and Logan 1981, air at 150 cm: lag of the high after the middle of the day, of the low
 * after sunrise, and the decay over a night. Hours, hours, 1. */
#define PARTON_LOGAN_HIGH_H 1.86
#define PARTON_LOGAN_LOW_H (-0.17)
#define PARTON_LOGAN_DECAY 2.20

double air_parton_logan_c(int64_t utc, int64_t sunrise_utc, int64_t sunset_utc,
                          int64_t next_sunrise_utc, double low_c, double high_c, double next_low_c)
{
    const double pi = 3.14159265358979323846;
    const double period_h = (double)(sunset_utc - sunrise_utc) / HOUR_S + 2 * PARTON_LOGAN_HIGH_H;
    const double since_low_h = (double)(utc - sunrise_utc) / HOUR_S - PARTON_LOGAN_LOW_H;
    const double until_set_h = (double)(sunset_utc - sunrise_utc) / HOUR_S - PARTON_LOGAN_LOW_H;

    if (utc <= sunset_utc)
        return low_c + (high_c - low_c) * sin(pi * since_low_h / period_h);

    const double at_sunset_c = low_c + (high_c - low_c) * sin(pi * until_set_h / period_h);
    const double night_h = (double)(next_sunrise_utc - sunset_utc) / HOUR_S + PARTON_LOGAN_LOW_H;
    const double share = (double)(utc - sunset_utc) / HOUR_S / night_h;
    const double end = exp(-PARTON_LOGAN_DECAY);

    return next_low_c +
           (at_sunset_c - next_low_c) * (exp(-PARTON_LOGAN_DECAY * share) - end) / (1 - end);
}

/* The first hour from `i` on that ends at or after `utc`; n where none does. */
static size_t hour_at(const WeatherHour *hours, size_t n, size_t i, int64_t utc)
{
    while (i < n && hours[i].time_utc < utc)
        i++;
    return i;
}

static double between(double from, double to, double share)
{
    return share == 0 ? from : from + (to - from) * share;
}

/* Instants at `utc`, which lies after hours[i - 1] and not after hours[i]. */
static bool instants(const WeatherHour *hours, size_t n, size_t i, int64_t utc, OutdoorStep *ret)
{
    if (i == n || (i == 0 && hours[0].time_utc != utc))
        return false;
    const WeatherHour *to = &hours[i];
    const WeatherHour *from = to->time_utc == utc ? to : &hours[i - 1];
    if (to->time_utc - from->time_utc > HOUR_S)
        return false;
    const double share = from == to ? 0 : (double)(utc - from->time_utc) / HOUR_S;
    const double temperature_c = between(from->temperature_c, to->temperature_c, share);
    const double dew_point_c = between(from->dew_point_c, to->dew_point_c, share);
    const double cloud = fmax(0, fmin(1, between(from->cloud_pct, to->cloud_pct, share) / 100));
    const double wind_ms = between(from->wind_ms, to->wind_ms, share);

    /* cloud goes through fmin, which swallows a NAN */
    if (isnan(temperature_c) || isnan(dew_point_c) || isnan(from->cloud_pct) ||
        isnan(to->cloud_pct) || isnan(wind_ms))
        return false;
    *ret = (OutdoorStep){
        .air_c = temperature_c,
        .sky_c = air_sky_c(temperature_c, dew_point_c, cloud),
        .wind_ms = wind_ms,
        .cloud = cloud,
        .radiation_wm2 = NAN,
        .gust_ms = NAN,
        .precipitation_mm = NAN,
        .spread_k = between(from->spread_k, to->spread_k, share),
        .dew_point_c = dew_point_c,
        .estimated = from->estimated | to->estimated,
    };
    return true;
}

/* Period values of the step [utc, utc + STEP_S): those of the hour that holds its middle. */
static bool period(const WeatherHour *hours, size_t n, size_t i, int64_t utc, OutdoorStep *step)
{
    i = hour_at(hours, n, i, utc + STEP_S / 2);
    if (i == n || hours[i].time_utc - HOUR_S > utc + STEP_S / 2 || isnan(hours[i].radiation_wm2))
        return false;
    const WeatherHour *hour = &hours[i];
    step->radiation_wm2 = fmax(0, hour->radiation_wm2);
    step->gust_ms = isnan(hour->gust_ms) ? GUST_FACTOR * step->wind_ms : hour->gust_ms;
    step->precipitation_mm =
        isnan(hour->precipitation_mm) ? 0 : hour->precipitation_mm / STEPS_PER_H;
    step->estimated |= hour->estimated;
    return true;
}

/* Runs the series; where `ret` is NULL it only looks whether it can. */
static bool run(const WeatherHour *hours, size_t n_hours, int64_t start_utc, size_t n,
                OutdoorStep *ret)
{
    size_t i = 0;

    for (size_t k = 0; k <= n; k++) {
        const int64_t utc = start_utc + (int64_t)k * STEP_S;
        OutdoorStep step;

        i = hour_at(hours, n_hours, i, utc);
        if (!instants(hours, n_hours, i, utc, &step))
            return false;
        if (k < n && !period(hours, n_hours, i, utc, &step))
            return false;
        if (ret)
            ret[k] = step;
    }
    return true;
}

bool air_outdoor_steps(const WeatherHour *hours, size_t n_hours, int64_t start_utc, size_t n,
                       OutdoorStep *ret)
{
    return run(hours, n_hours, start_utc, n, NULL) && run(hours, n_hours, start_utc, n, ret);
}
