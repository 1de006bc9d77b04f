/* SPDX-License-Identifier: MIT */
/* What readings have taught, beside the figures that rest on it. Internal to api*.c. */
#pragma once

#include "service/api-json.h"

/* What is known of the open air's forecast for `utc`, or of a place as its prediction has it. */
LearnedError api_learned_open_air(const Service *service, int site, Extreme which, int64_t utc);
LearnedError api_learned_place(const Service *service, const PlacePrediction *prediction,
                               Extreme which);

/* Adds what was learned of a place, of its low and its high, as it will stand; nothing where nobody
 * read it. */
void api_add_learned_place(const Service *service, int place, JsonArray *learned);

/* The open air of a site, then its places; the caller's. */
JsonArray *api_learned_site(const Service *service, int site);
