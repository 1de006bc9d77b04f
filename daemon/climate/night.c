/* SPDX-License-Identifier: MIT */
#include "climate/night.h"

#include <math.h>

#define CALM_MS 2.0      /* FAO ch. 5 */
#define CLEAR_CLOUD 0.25 /* chosen */
#define ALIKE 1e-9       /* of a variance, K²: no line through that */

bool night_is_radiative(const OutdoorStep *now)
{
    return now->wind_ms < CALM_MS && now->cloud < CLEAR_CLOUD && !(now->precipitation_mm > 0);
}

/* The line y = slope · x + intercept of least squares; false where the x are all alike. */
static bool line(const double *x, const double *y, int n, double *ret_slope, double *ret_intercept)
{
    double mean_x = 0, mean_y = 0, xx = 0, xy = 0;

    for (int i = 0; i < n; i++) {
        mean_x += x[i] / n;
        mean_y += y[i] / n;
    }
    for (int i = 0; i < n; i++) {
        xx += (x[i] - mean_x) * (x[i] - mean_x);
        xy += (x[i] - mean_x) * (y[i] - mean_y);
    }
    if (!(xx > ALIKE * n))
        return false;
    *ret_slope = xy / xx;
    *ret_intercept = mean_y - *ret_slope * mean_x;
    return true;
}

bool night_fit(const NightRecord *records, int n, NightRegression *ret)
{
    double x[NIGHT_RECORDS_MAX], y[NIGHT_RECORDS_MAX];
    double slope, intercept, dew_slope, dew_intercept, squares = 0;

    if (n < NIGHT_RECORDS_MIN)
        return false;
    if (n > NIGHT_RECORDS_MAX) {
        records += n - NIGHT_RECORDS_MAX;
        n = NIGHT_RECORDS_MAX;
    }
    for (int i = 0; i < n; i++) {
        x[i] = records[i].evening_c;
        y[i] = records[i].low_c;
    }
    if (!line(x, y, n, &slope, &intercept))
        return false;
    for (int i = 0; i < n; i++) {
        y[i] -= slope * x[i] + intercept;
        x[i] = records[i].dew_point_c;
    }
    if (!line(x, y, n, &dew_slope, &dew_intercept))
        return false;
    for (int i = 0; i < n; i++) {
        const double left = y[i] - dew_slope * x[i] - dew_intercept;
        squares += left * left;
    }
    *ret = (NightRegression){
        .on_evening = slope,
        .on_dew_point = dew_slope,
        .constant_c = intercept + dew_intercept,
        .rmse_k = sqrt(squares / n),
        .n = n,
    };
    return true;
}

double night_predict_c(const NightRegression *regression, double evening_c, double dew_point_c)
{
    return regression->on_evening * evening_c + regression->on_dew_point * dew_point_c +
           regression->constant_c;
}

double night_trend_c(double evening_c, double low_c, double since_h, double length_h)
{
    return evening_c + (low_c - evening_c) * sqrt(since_h / length_h);
}

double night_trend_low_c(double evening_c, double read_c, double since_h, double length_h)
{
    return evening_c + (read_c - evening_c) * sqrt(length_h / since_h);
}
