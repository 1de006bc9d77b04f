/* SPDX-License-Identifier: MIT */
/* How sites, places and plants are called in a sentence; the sky, and what a place has. */
#pragma once

#include "service/wording.h"

/* "the plot", "home". "" where unknown. */
char *wording_site_words(const WordingContext *context, int site);

/* "the frame", "bed-1" (a name with a number or a capital has no article), "on the sill"; "its
 * place". And plants that are new to the reader: "12 tomatoes (tomato-1)". */
char *wording_place_words(const WordingContext *context, int place);
char *wording_where(const WordingContext *context, int place);
char *wording_plants(const WordingContext *context, const Batch *batch);

/* How long a visit to a site is reckoned with, beside its jobs; NULL where nobody reported. */
char *wording_visit_minutes(const WordingContext *context, int site, double set_min, double min,
                            int reports);

/* "clear", "partly", "cloudy", by the mean cloud. */
const char *wording_sky(double cloud_pct);

/* "soil cable to 18 °C, 200 l of water": what warms a place, or opens it; NULL nothing. */
char *wording_devices(const Garden *garden, const Place *place);

/* That a batch planted out needs no watching any more: the last line of its notes. */
char *wording_established(const WordingContext *context, const Batch *batch);
