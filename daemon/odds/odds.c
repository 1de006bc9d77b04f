/* SPDX-License-Identifier: MIT */
#include "odds/odds.h"

#include <math.h>

double odds_margin(double value_c, double spread_k, double limit_c)
{
    double above = value_c - limit_c;
    if (spread_k > 0.0)
        return above / spread_k;
    return above > 0.0 ? INFINITY : -INFINITY;
}

double odds_of_margin(double margin)
{
    return 0.5 * erfc(margin * 0.70710678118654752440);
}

double odds_below(const double *value_c, const double *spread_k, int n, double limit_c)
{
    double least = INFINITY;
    for (int i = 0; i < n; i++)
        least = fmin(least, odds_margin(value_c[i], spread_k[i], limit_c));
    return odds_of_margin(least);
}

double odds_margin_for(double odds)
{
    double low = -8.0, high = 8.0;

    for (int i = 0; i < 60; i++) {
        const double middle = 0.5 * (low + high);

        if (odds_of_margin(middle) > odds)
            low = middle;
        else
            high = middle;
    }
    return high;
}
