/* SPDX-License-Identifier: MIT */
/* A first thole.conf from four answers: where, what you own, when you are there, one batch. */
#pragma once

#include <glib.h>

#include "garden/types.h"

/* Some places of one kind. */
typedef struct InitPlaces {
    PlaceKind kind;
    int count;
    int trays;        /* of each; 0: what is usual for the kind */
    gboolean at_plot; /* at the second site */
} InitPlaces;

typedef struct InitSite {
    char name[NAME_SIZE];
    double latitude, longitude;
    const char *weather; /* "file:PATH" or "none"; (unowned) */
    const char *visits;  /* "07:00-08:30; 17:30-dusk"; (unowned) */
} InitSite;

typedef struct InitAnswers {
    InitSite home;
    InitSite plot;            /* name empty: there is none */
    double travel_min;        /* one way, home to plot */
    const InitPlaces *places; /* (unowned) */
    int n_places;
} InitAnswers;

/* The first batch; not in the file: it is what happens, not what the garden has. */
typedef struct InitBatch {
    char crop[NAME_SIZE], place[NAME_SIZE];
    int number;
} InitBatch;

/*
 * Reads what the grower owns: `sill, 2 cold-frame 6 trays at plot, tunnel at plot`; `a cold frame`
 * and `window sill` are understood too, and ";" or "and" for ",". PLOT (nullable)
 * is the second site's name. Outdoor places without `at` stand at the plot where there is one,
 * indoor ones at home. Gives an array of InitPlaces, or NULL.
 */
GArray *init_parse_places(const char *text, const char *home, const char *plot,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Reads `tomato 12 sill`: crop, number of plants, place. Whether they exist is for others to say.
 */
gboolean init_parse_batch(const char *text, InitBatch *ret,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/*
 * The text of a thole.conf, checked by reading it back; figures that were estimated stand in
 * comments that begin with "# estimated". To be freed with g_free().
 */
char *init_config_text(const InitAnswers *answers, GError **error) G_GNUC_WARN_UNUSED_RESULT;
