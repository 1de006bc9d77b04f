/* SPDX-License-Identifier: MIT */
/* The nights ahead under each cover of a site, as planned. Internal to api*.c. */
#pragma once

#include "service/api-json.h"

/* Each outdoor place of the site in the night that begins on `day`; the caller's. */
JsonArray *api_place_nights(const Service *service, int site, int day);

/*
 * What readings have changed of that night's low, in a sentence: of the open air at a site, of the
 * place as it is planned. NULL where none was read. The caller's.
 */
char *api_learned_of_site(const Service *service, int site, double lead_h);
char *api_learned_of_place(const Service *service, const PlacePrediction *prediction);

/* The one thing that matters of the nights ahead, in a sentence or two; NULL where nothing is
 * known. The caller's. */
char *api_nights_headline(const Service *service, int site);
