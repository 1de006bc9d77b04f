/* SPDX-License-Identifier: MIT */
/* How sites, places and plants are called in a sentence. */
#pragma once

#include "service/wording.h"

/* "the plot", "home". "" where unknown. */
char *wording_site_words(const WordingContext *context, int site);

/* "the frame", "bed-1" (a name with a number or a capital has no article), "on the sill"; "its
 * place". And plants that are new to the reader: "12 tomatoes (tomato-1)". */
char *wording_place_words(const WordingContext *context, int place);
char *wording_where(const WordingContext *context, int place);
char *wording_plants(const WordingContext *context, const Batch *batch);
