/* SPDX-License-Identifier: MIT */
#include "weather/forecast.h"

#include <math.h>

/* P(|error| <= 2 K) = 0.865 for a normal error gives 2/1.4947 = 1.34 K. Met Office, "Accuracy
 * performance": minimum temperature of the first night, 119 UK sites, 36-month mean. */
#define SPREAD_NIGHT_1_K 1.34
/* Assumption; near the growth from day 3 to 5 of the operational model's T850 error in WeatherBench
 * (Rasp et al. 2020), 0.33 K a day. */
#define SPREAD_PER_DAY_K 0.35
#define SPREAD_MAX_K 4.0 /* assumption: about the spread of the climate itself */

Forecast *forecast_new(const char *site, const char *source, int64_t issued_utc,
                       int64_t fetched_utc)
{
    Forecast *forecast = g_new0(Forecast, 1);
    forecast->site = g_strdup(site);
    forecast->source = g_strdup(source);
    forecast->issued_utc = issued_utc;
    forecast->fetched_utc = fetched_utc;
    forecast->hours = g_array_new(FALSE, FALSE, sizeof(WeatherHour));
    forecast->notes = g_ptr_array_new_with_free_func(g_free);
    return forecast;
}

Forecast *forecast_copy(const Forecast *forecast)
{
    Forecast *copy =
        forecast_new(forecast->site, forecast->source, forecast->issued_utc, forecast->fetched_utc);
    if (forecast->hours->len > 0)
        g_array_append_vals(copy->hours, forecast->hours->data, forecast->hours->len);
    for (guint i = 0; i < forecast->notes->len; i++)
        g_ptr_array_add(copy->notes, g_strdup(g_ptr_array_index(forecast->notes, i)));
    return copy;
}

void forecast_free(Forecast *forecast)
{
    if (forecast == NULL)
        return;
    g_free(forecast->site);
    g_free(forecast->source);
    g_array_unref(forecast->hours);
    g_ptr_array_unref(forecast->notes);
    g_free(forecast);
}

WeatherHour weather_hour_missing(int64_t time_utc)
{
    return (WeatherHour){
        .time_utc = time_utc,
        .temperature_c = NAN,
        .dew_point_c = NAN,
        .cloud_pct = NAN,
        .wind_ms = NAN,
        .gust_ms = NAN,
        .radiation_wm2 = NAN,
        .precipitation_mm = NAN,
        .spread_k = NAN,
    };
}

double weather_spread_k(double lead_h)
{
    double days = fmax(lead_h / 24, 1);
    return fmin(SPREAD_MAX_K, SPREAD_NIGHT_1_K + SPREAD_PER_DAY_K * (days - 1));
}
