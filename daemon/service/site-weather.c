/* SPDX-License-Identifier: MIT */
#include "service/site-weather.h"

static GArray *copy_of(GArray *from)
{
    return from != NULL ? g_array_copy(from) : NULL;
}

SiteWeather *site_weather_copy(const SiteWeather *weather, int n_sites)
{
    SiteWeather *copy = g_memdup2(weather, (gsize)n_sites * sizeof *weather);

    for (int i = 0; i < n_sites; i++) {
        copy[i].steps = copy_of(weather[i].steps);
        copy[i].days = copy_of(weather[i].days);
        copy[i].tonight_spread = copy_of(weather[i].tonight_spread);
        copy[i].note = g_strdup(weather[i].note);
    }
    return copy;
}

void site_weather_free(SiteWeather *weather, int n_sites)
{
    for (int i = 0; weather != NULL && i < n_sites; i++) {
        g_clear_pointer(&weather[i].steps, g_array_unref);
        g_clear_pointer(&weather[i].days, g_array_unref);
        g_clear_pointer(&weather[i].tonight_spread, g_array_unref);
        g_free(weather[i].note);
    }
    g_free(weather);
}
