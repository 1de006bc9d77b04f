/* SPDX-License-Identifier: MIT */
/* The numbers of an hour, and between what they are believed, whoever gives them. */
#pragma once

#include <stddef.h>

#include "garden/types.h"

typedef enum WeatherFieldKind {
    WEATHER_TEMPERATURE,
    WEATHER_DEW_POINT,
    WEATHER_CLOUD,
    WEATHER_WIND,
    WEATHER_GUST,
    WEATHER_RADIATION,
    WEATHER_PRECIPITATION,
    WEATHER_FIELDS,
} WeatherFieldKind;

typedef struct WeatherField {
    const char *name;     /* of the column in a table */
    size_t offset;        /* in WeatherHour */
    double low, high;     /* wider than records, narrower than other units; chosen */
    const char *accepted; /* the same in words */
} WeatherField;

extern const WeatherField weather_fields[WEATHER_FIELDS];

/* The number of that kind in HOUR, to read or write. */
double *weather_field(WeatherHour *hour, WeatherFieldKind kind);
