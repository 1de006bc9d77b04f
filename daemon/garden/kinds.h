/* SPDX-License-Identifier: MIT */
/*
 * What is usual for each kind of place and each material: the figures a grower need not give. All
 * of them stand in the two tables of kinds.c, each with its source or "chosen".
 */
#pragma once

#include <glib.h>

#include "garden/types.h"

/* How the cover of a kind is opened. */
typedef enum Opening {
    OPENING_NONE,  /* no cover, or in a building */
    OPENING_PROP,  /* a light or lid propped at a height */
    OPENING_DOORS, /* doors or vents of a cover that stays */
    OPENING_SHEET, /* laid on or taken off */
} Opening;

typedef struct Material {
    const char *word;                                            /* in the file */
    double solar_transmittance, ir_transmittance, ir_emissivity; /* dry */
    double wet_ir_transmittance, wet_ir_emissivity; /* the same where it does not wet */
    double insulation_m2kw;
    double exchange_wm2k,
        exchange_per_ms; /* through a porous sheet that is on; 0 for a tight one */
    double shelter;      /* of one layer that is shut or on */
    bool porous;
} Material;

typedef struct Kind {
    const char *word; /* in the file and in messages */
    PlaceKind kind;
    bool indoors, fixed, mains;
    Opening opening;
    const char *material; /* NULL without a cover */
    double area_ratio, floor_m2, height_m, footprint, air_changes_h, set_point_c, night_c, day_c;
    FloorKind floor;
    int trays; /* -1 unlimited */
} Kind;

/* What a grower may say about a cover instead of what is usual. */
typedef struct CoverChoice {
    const Material *material;
    double prop_cm[POSITIONS_MAX - 2]; /* rising */
    int n_props;
    double air_changes_h, height_m;
    bool fixed;
} CoverChoice;

/* The figures of KIND. */
const Kind *kind_get(PlaceKind kind);

/* The kind that WORD names, or NULL. */
const Kind *kind_find(const char *word);

/* All words for kinds or materials, in the order of the tables; they end with NULL and are static.
 */
const char *const *kind_words(void);
const char *const *material_words(void);

/* The material that WORD names, or NULL. */
const Material *material_find(const char *word);

/* What is usual for the cover of KIND, which has one: what the grower says then goes over it. */
CoverChoice kind_cover_choice(const Kind *kind);

/* Writes everything of RET but its gust limit and opener, which are set to what is usual. */
void kind_build_cover(const Kind *kind, const CoverChoice *choice, Cover *ret);

/* A place of KIND with what is usual for it, outdoors itself or indoors; its name and site are the
 * caller's. */
void kind_usual_place(const Kind *kind, Place *ret);
