/* SPDX-License-Identifier: MIT */
#include "weather/fields.h"

/* Night offset of a pyranometer: common practice, no source. */
#define RADIATION_OFFSET_WM2 (-5.0)

const WeatherField weather_fields[WEATHER_FIELDS] = {
    {"temperature_c", offsetof(WeatherHour, temperature_c), -60, 60, "-60 to 60 °C"},
    {"dew_point_c", offsetof(WeatherHour, dew_point_c), -80, 40, "-80 to 40 °C"},
    {"cloud_pct", offsetof(WeatherHour, cloud_pct), 0, 100, "0 to 100 %"},
    {"wind_ms", offsetof(WeatherHour, wind_ms), 0, 80, "0 to 80 m/s"},
    {"gust_ms", offsetof(WeatherHour, gust_ms), 0, 120, "0 to 120 m/s"},
    {"radiation_wm2", offsetof(WeatherHour, radiation_wm2), RADIATION_OFFSET_WM2, 1500,
     "0 to 1500 W/m²"},
    {"precipitation_mm", offsetof(WeatherHour, precipitation_mm), 0, 400, "0 to 400 mm"},
};

double *weather_field(WeatherHour *hour, WeatherFieldKind kind)
{
    return (double *)(void *)((char *)hour + weather_fields[kind].offset);
}
