/* SPDX-License-Identifier: MIT */
/* An invented garden of every kind of place, on Thursday 16 April 2026 at noon. */
#pragma once

#include "service/wording.h"

enum { HOME, PLOT, N_SITES };
enum {
    PROPAGATOR,
    SILL,
    FRAME,
    BOX,
    SLAB,
    TUNNEL,
    GREENHOUSE,
    BED,
    FLEECE,
    INNER,
    SHEET_2,
    N_PLACES
};
enum { TOMATO, CABBAGE, KALE, FRENCH_BEAN, SPROUTS, N_CROPS };
enum { TOMATO_1, CABBAGE_A, KALE_1, BEANS, TOMATO_2, N_BATCHES };

typedef struct Fixture {
    Site sites[N_SITES];
    Place places[N_PLACES];
    Crop crops[N_CROPS];
    Container containers[1];
    Grower growers[1]; /* at home, 20 minutes from the plot */
    Garden garden;
    Batch batches[N_BATCHES];
    GTimeZone *zones[N_SITES];
    WordingContext context;
    Visit visit;
} Fixture;

/* Fills the fixture; its pointers go to itself. fixture_clear() lets go of the time zone. */
void fixture_init(Fixture *f);
void fixture_clear(Fixture *f);

/* So many rounds of a random test; ten times THOLE_TEST_ROUNDS where that is fewer: under valgrind
 * a round takes long, and the sanitizers see all. */
int fixture_rounds(int usual);
