/* SPDX-License-Identifier: MIT */
/*
 * Replies in the shape of Open-Meteo's forecast service, written by hand after its documentation
 * and the writer in its server (JsonWriter.swift).
 */
#pragma once

#include <glib.h>

#include "garden/types.h"

/* N hours as one place of a reply; NAN is null. The caller owns it. */
char *open_meteo_reply(const WeatherHour *hours, int n);

/* The same hours as a table (weather/csv.h). The caller owns it. */
char *open_meteo_table(const WeatherHour *hours, int n);

/* N invented hours from FROM_UTC on, each day like the other, with values in every column. */
void open_meteo_days(WeatherHour *hours, int n, int64_t from_utc, double low_c);
