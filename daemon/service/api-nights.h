/* SPDX-License-Identifier: MIT */
/* The nights ahead under each cover of a site, as planned. Internal to api*.c. */
#pragma once

#include "service/api-json.h"

/* Each outdoor place of the site in the night that begins on `day`; the caller's. */
JsonArray *api_place_nights(const Service *service, int site, int day);

/* What the plants in a place allow now: the highest, °C; NAN where none is being hardened. */
double api_allowed_low_c(const Service *service, int place);

/* That the day of the prediction is too hot for those who stand there now; NAN in the open, and
 * where nobody stands. */
double api_heat_odds(const Service *service, const PlacePrediction *prediction);

/* The one thing that matters of the nights ahead, in a sentence or two; NULL where nothing is
 * known. The caller's. */
char *api_nights_headline(const Service *service, int site);

/* The same of tonight, a line for each site with places outdoors; NULL where none is known. The
 * caller's. */
char *api_tonight_headline(const Service *service);

/* The member `second_opinion` of tonight at a site; null where there is no basis. */
gboolean api_set_second_opinion(const Service *service, int site, JsonObject *object,
                                GError **error) G_GNUC_WARN_UNUSED_RESULT;
