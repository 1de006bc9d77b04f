/* SPDX-License-Identifier: MIT */
/* What the picture of a batch shows, read from the daemon's reply. */
#pragma once

#include <json-glib/json-glib.h>
#include <stdbool.h>

#define RAMP_PAST_MOST 11  /* days that have been; as many columns fit a phone; chosen */
#define RAMP_AHEAD_MOST 10 /* and days ahead */

/* A ramp day and its night; NAN not known. */
typedef struct RampFigureDay {
    const char *date, *when, *place; /* (unowned) */
    bool planned, check, estimated;
    double low_c, cold_c, spread_k, allowed_low_c, hardened_to_c, damage_c, odds;
    double exposed_h, allowed_h;
} RampFigureDay;

typedef struct RampFigure {
    JsonObject *reply;                                      /* (owned) holds the texts */
    const char *name, *crop, *stage, *place, *site, *bound; /* (unowned) "" none */
    char *ready;                                            /* (owned) a sentence */
    const char *ready_date; /* (owned by the reply) begins with it; "" none */
    bool fahrenheit;
    GArray *days; /* (owned) (element-type RampFigureDay) */
} RampFigure;

/* Reads a reply of /v1/batches/{name}; NULL and why (the caller's) where nothing can be drawn. */
RampFigure *ramp_figure_new(JsonObject *reply, char **ret_why);
void ramp_figure_free(RampFigure *figure);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(RampFigure, ramp_figure_free)
