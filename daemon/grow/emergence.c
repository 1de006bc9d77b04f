/* SPDX-License-Identifier: MIT */
#include "grow/emergence.h"

#include <math.h>

#define HOURS 24

double emergence_rate(const Crop *crop, double compost_c)
{
    if (compost_c >= crop->germinate_below_c) /* false where it is NAN */
        return 0.0;
    /* fmin passes over NAN: without a best temperature the line goes on */
    const double felt_c = fmin(compost_c, crop->germinate_at_c);
    return fmax(0.0, felt_c - crop->emergence_base_c) / crop->emergence_kd;
}

double emergence_hour_c(double low_c, double high_c, int hour)
{
    const double pi = 3.14159265358979323846;
    return low_c + (high_c - low_c) * (0.5 - 0.5 * cos(2.0 * pi * (hour + 0.5) / HOURS));
}

double emergence_day_rate(const Crop *crop, double low_c, double high_c)
{
    double sum = 0.0;
    for (int h = 0; h < HOURS; h++)
        sum += emergence_rate(crop, emergence_hour_c(low_c, high_c, h));
    return sum / HOURS;
}

double emergence_days(const Crop *crop, double low_c, double high_c)
{
    const double rate = emergence_day_rate(crop, low_c, high_c);
    return rate > 0.0 ? 1.0 / rate : INFINITY;
}

double emergence_spread_d(double days)
{
    return fmax(EMERGENCE_SPREAD_D, EMERGENCE_SPREAD * days);
}

SeedFit emergence_fit(const Crop *crop, double low_c, double high_c)
{
    const double mean_c = (low_c + high_c) / 2.0;
    if (mean_c >= crop->germinate_below_c)
        return SEED_TOO_HOT;
    if (mean_c < crop->germinate_from_c || emergence_days(crop, low_c, high_c) > EMERGENCE_MOST_D)
        return SEED_TOO_COLD;
    return SEED_FITS;
}

double emergence_leaf_rate(const Crop *crop, double air_c)
{
    const bool printed = crop->leaf_kd > 0.0; /* false where it is NAN */
    const double base_c = printed ? crop->leaf_base_c : crop->emergence_base_c;
    return fmax(0.0, air_c - base_c) / (printed ? crop->leaf_kd : EMERGENCE_LEAF_KD);
}

double emergence_leaves_a_day(const Crop *crop, double low_c, double high_c)
{
    double sum = 0.0;
    for (int h = 0; h < HOURS; h++)
        sum += emergence_leaf_rate(crop, emergence_hour_c(low_c, high_c, h));
    return sum / HOURS;
}
