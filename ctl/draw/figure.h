/* SPDX-License-Identifier: MIT */
/* What a drawing shows, read from the daemon's reply; times are hours from its start. */
#pragma once

#include <json-glib/json-glib.h>
#include <stdbool.h>

typedef struct FigureDay {
    const char *when;                       /* (unowned) */
    double midnight_h, sunrise_h, sunset_h; /* NAN: the sun does not */
} FigureDay;

typedef struct FigureStretch { /* a cover stays as it is */
    double from_h, to_h, open; /* open: 0 shut, 0.5 propped, 1 off */
    const char *position;      /* (unowned) */
} FigureStretch;

typedef struct FigureFrost {
    double at_h, odds;
} FigureFrost;

typedef struct FigureVisit {
    double at_h;
    const char *clock; /* (unowned) */
} FigureVisit;

/* One panel: the outdoors, or a place. */
typedef struct FigurePanel {
    const char *name;         /* (unowned) */
    double *air_c, *spread_k; /* (owned) of n_steps; NAN not known */
    GArray *stretches;        /* (owned) (element-type FigureStretch) */
    GArray *frosts;           /* (owned) (element-type FigureFrost) */
    const char *limit_batch;  /* (unowned) NULL none */
    double limit_c;
} FigurePanel;

typedef struct Figure {
    JsonObject *reply; /* (owned) holds the texts */
    int n_steps;
    double step_h, normals_from_h; /* NAN never */
    const char *site, *forecast;   /* (unowned) */
    bool fahrenheit;
    GArray *days, *visits, *panels; /* (owned) panels: the outdoors first */
} Figure;

/* Reads a reply of /v1/course/{site}; NULL and why (the caller's) where it is none. */
Figure *figure_new(JsonObject *reply, char **ret_why);
void figure_free(Figure *figure);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Figure, figure_free)
