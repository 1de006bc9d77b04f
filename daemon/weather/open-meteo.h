/* SPDX-License-Identifier: MIT */
/*
 * The forecast service of Open-Meteo, https://open-meteo.com/en/docs: one request an hour, a reply
 * of columns. open-meteo.c asks, open-meteo-parse.c reads; docs/weather.md has both in words.
 */
#pragma once

#include "weather/forecast.h"

#define OPEN_METEO_TITLE "Open-Meteo"

/* The names of the columns that are asked for, with commas between, as in a request. */
char *open_meteo_columns(void);

/*
 * The forecast in LENGTH bytes of a reply, for the PLACE-th (from 0) of the coordinates that were
 * asked for, under the name SITE. The service tells no time of issue: it is FETCHED_UTC. Not
 * completed. NULL and an error (invalid) that names what is wrong, with its place and value.
 */
Forecast *open_meteo_parse(const char *text, gsize length, guint place, const char *site,
                           int64_t fetched_utc, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The sentence in a reply that is an error, fit to be shown; NULL where there is none. */
char *open_meteo_reason(const char *text, gsize length);
