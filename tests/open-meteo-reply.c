/* SPDX-License-Identifier: MIT */
#include "open-meteo-reply.h"

#include <math.h>
#include <stdio.h>

#include "base/local-time.h"
#include "weather/fields.h"
#include "weather/forecast.h"

static const char *const names[WEATHER_FIELDS] = {
    "temperature_2m", "dew_point_2m",        "cloud_cover",   "wind_speed_10m",
    "wind_gusts_10m", "shortwave_radiation", "precipitation",
};

static void append_number(GString *to, double value, const char *missing)
{
    char text[G_ASCII_DTOSTR_BUF_SIZE];
    g_string_append(to, isnan(value) ? missing : g_ascii_formatd(text, sizeof text, "%.2f", value));
}

char *open_meteo_reply(const WeatherHour *hours, int n)
{
    GString *to = g_string_new(
        "{\"latitude\":52.52,\"longitude\":13.419998,\"generationtime_ms\":0.05900859832763672,"
        "\"utc_offset_seconds\":0,\"timezone\":\"GMT\",\"timezone_abbreviation\":\"GMT\","
        "\"elevation\":38.0,\"hourly_units\":{\"time\":\"unixtime\",\"temperature_2m\":\"°C\","
        "\"dew_point_2m\":\"°C\",\"cloud_cover\":\"%\",\"wind_speed_10m\":\"m/s\","
        "\"wind_gusts_10m\":\"m/s\",\"shortwave_radiation\":\"W/m²\",\"precipitation\":\"mm\"},"
        "\"hourly\":{\"time\":[");
    for (int i = 0; i < n; i++)
        g_string_append_printf(to, "%s%" G_GINT64_FORMAT, i > 0 ? "," : "", hours[i].time_utc);
    for (int k = 0; k < WEATHER_FIELDS; k++) {
        g_string_append_printf(to, "],\"%s\":[", names[k]);
        for (int i = 0; i < n; i++) {
            WeatherHour hour = hours[i];
            g_string_append(to, i > 0 ? "," : "");
            append_number(to, *weather_field(&hour, (WeatherFieldKind)k), "null");
        }
    }
    g_string_append(to, "]}}");
    return g_string_free(to, FALSE);
}

char *open_meteo_table(const WeatherHour *hours, int n)
{
    GString *to = g_string_new("time");
    for (int k = 0; k < WEATHER_FIELDS; k++)
        g_string_append_printf(to, ",%s", weather_fields[k].name);
    g_string_append_c(to, '\n');
    for (int i = 0; i < n; i++) {
        g_autofree char *time = utc_format(hours[i].time_utc);
        g_string_append(to, time);
        for (int k = 0; k < WEATHER_FIELDS; k++) {
            WeatherHour hour = hours[i];
            g_string_append_c(to, ',');
            append_number(to, *weather_field(&hour, (WeatherFieldKind)k), "");
        }
        g_string_append_c(to, '\n');
    }
    return g_string_free(to, FALSE);
}

void open_meteo_days(WeatherHour *hours, int n, int64_t from_utc, double low_c)
{
    for (int i = 0; i < n; i++) {
        WeatherHour *hour = &hours[i];
        *hour = weather_hour_missing(from_utc + (int64_t)i * 3600);
        double at_h = (double)(hour->time_utc % 86400) / 3600;
        /* The sun of the hour that ends at `time`: between 6 and 18 o'clock. */
        double sun = sin((at_h - 0.5 - 6) * G_PI / 12);
        hour->temperature_c = low_c + 5 - 5 * cos((at_h - 4) * G_PI / 12);
        hour->dew_point_c = low_c - 1;
        hour->cloud_pct = 25;
        hour->wind_ms = 2.5;
        hour->gust_ms = 6 + at_h / 10;
        hour->radiation_wm2 = sun > 0 ? 600 * sun : 0;
        hour->precipitation_mm = at_h == 3 ? 1.5 : 0;
    }
}
