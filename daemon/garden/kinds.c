/* SPDX-License-Identifier: MIT */
/*
 * The policy of this file: every figure that the grower's file may leave out stands in one of the
 * two tables below. Where no source is named, the figure is chosen.
 */
#include "garden/kinds.h"

#include <math.h>
#include <string.h>

/* Heat to warm the air of a room once an hour: 1.2 kg/m³ · 1005 J/kgK / 3600 s; W/m³K. */
#define AIR_CHANGE_WM3K 0.34

/* All of the following are chosen. */
#define CLOSED_WIND_SHARE 0.1   /* rise of a shut cover's leakage with each m/s, as its share */
#define PROP_WM2K_PER_CM 1.0    /* 10 cm: 10, 20 cm: 20 W/m²K; to be calibrated */
#define PROP_PER_MS_PER_CM 0.2  /* its rise with the wind */
#define DOORS_WM2K 10.0         /* open doors or vents */
#define DOORS_PER_MS 2.0        /* its rise with the wind */
#define PROP_WEIGHT 0.2         /* exposure under a small opening */
#define HALF_OPEN_WEIGHT 0.5    /* under the largest prop */
#define HALF_OPEN_LEAST_CM 15.0 /* a prop below this is never half open */
#define POROUS_WEIGHT 0.4       /* light off but under fleece or net */
#define PROPPED_SHELTER 0.5     /* of a layer propped or with its doors open */
#define GUST_LIMIT_MS 14.0      /* covers */

/*
 * One set of figures a material, for the heat of every place and the light of every plant; what
 * they give beside published measurements is in docs/calibration.md.
 *
 * Light: glass 0.88, Hanson 1963, J. Appl. Meteorol. 2:793; twin-wall 0.78-0.82, Sanford,
 * University of Wisconsin Extension, "Glazing Materials"; acrylic 0.90, fleece 0.90 and 0.85 for 15
 * and 19 g/m² (common practice, no source); the rest chosen. Infrared: that glass and rigid sheets
 * stop nearly all and dry polythene a quarter, Hanson 1963 (night protection of 93 and 26 %); wet
 * polythene, thermal film and fleece from memory, emission chosen so that no more than 1 is shared
 * out. Fleece reflects a little. Insulation: two sheets with air between, so that the loss through
 * twin-wall is the published 3.4 to 4.0 W/m²K (Sanford); blanket: a centimetre of felt at 0.04 W/mK
 * (from memory); fleece chosen. Exchange: of porous sheets, chosen: the heavier the tighter.
 */
/* clang-format off */
static const Material materials[] = {
    /* word                light dry through, emitted; wet;     R     exchange, per m/s  shelter porous */
    { "glass",             0.88, 0.03, 0.87,   0.03, 0.87,      0,    0,   0,            1.0,    false },
    { "twin-wall",         0.80, 0.02, 0.90,   0.02, 0.90,      0.11, 0,   0,            1.0,    false },
    { "acrylic",           0.90, 0.02, 0.90,   0.02, 0.90,      0,    0,   0,            1.0,    false },
    { "polythene",         0.85, 0.72, 0.24,   0.20, 0.70,      0,    0,   0,            1.0,    false },
    { "thermal-polythene", 0.85, 0.25, 0.60,   0.10, 0.80,      0,    0,   0,            1.0,    false },
    { "fleece",            0.85, 0.55, 0.35,   0.35, 0.55,      0,    8,   2.5,          0.5,    true },
    { "fleece-17",         0.85, 0.55, 0.35,   0.35, 0.55,      0,    8,   2.5,          0.5,    true },
    { "fleece-30",         0.75, 0.42, 0.48,   0.25, 0.65,      0.02, 5.5, 1.8,          0.5,    true },
    { "fleece-50",         0.60, 0.28, 0.62,   0.15, 0.75,      0.06, 2.5, 1.0,          0.5,    true },
    { "blanket",           0.00, 0.00, 0.90,   0.00, 0.90,      0.10, 4,   1.0,          1.0,    false },
    { "net",               0.90, 0.75, 0.20,   0.75, 0.20,      0,    30,  15,           0.0,    true },
};
/* clang-format on */

/*
 * Area ratio: cover area over floor area. Footprint: share of the parent's floor where sizes are
 * not given. Air changes an hour: when shut. Indoor range: night, day. All chosen, from ordinary
 * sizes.
 */
static const Kind kinds[] = {
    {.word = "propagator",
     .kind = PLACE_PROPAGATOR,
     .indoors = true,
     .mains = true,
     .floor_m2 = 0.2,
     .height_m = 0.2,
     .set_point_c = 20,
     .night_c = 20,
     .day_c = 24,
     .floor = FLOOR_SHELF,
     .trays = 2},
    {.word = "sill",
     .kind = PLACE_SILL,
     .indoors = true,
     .floor_m2 = 0.3,
     .height_m = 1.0,
     .set_point_c = NAN,
     .night_c = 12,
     .day_c = 20,
     .floor = FLOOR_SHELF,
     .trays = 2},
    {.word = "porch",
     .kind = PLACE_PORCH,
     .indoors = true,
     .floor_m2 = 1.0,
     .height_m = 2.0,
     .set_point_c = NAN,
     .night_c = 8,
     .day_c = 16,
     .floor = FLOOR_SHELF,
     .trays = 4},
    {.word = "tunnel",
     .kind = PLACE_TUNNEL,
     .fixed = true,
     .opening = OPENING_DOORS,
     .material = "polythene",
     .area_ratio = 1.6,
     .floor_m2 = 18,
     .height_m = 2.0,
     .footprint = 0.5,
     .air_changes_h = 1.0,
     .set_point_c = NAN,
     .floor = FLOOR_SOIL,
     .trays = 24},
    {.word = "greenhouse",
     .kind = PLACE_GREENHOUSE,
     .fixed = true,
     .opening = OPENING_DOORS,
     .material = "glass",
     .area_ratio = 2.5,
     .floor_m2 = 4.5,
     .height_m = 2.0,
     .footprint = 0.5,
     .air_changes_h = 1.5,
     .set_point_c = NAN,
     .floor = FLOOR_SLAB,
     .trays = 12},
    {.word = "cold-frame",
     .kind = PLACE_COLD_FRAME,
     .opening = OPENING_PROP,
     .material = "glass",
     .area_ratio = 1.5,
     .floor_m2 = 1.2,
     .height_m = 0.35,
     .footprint = 0.2,
     .air_changes_h = 1.0,
     .set_point_c = NAN,
     .floor = FLOOR_SOIL,
     .trays = 6},
    {.word = "box",
     .kind = PLACE_BOX,
     .opening = OPENING_PROP,
     .material = "polythene",
     .area_ratio = 2.0,
     .floor_m2 = 0.8,
     .height_m = 0.4,
     .footprint = 0.15,
     .air_changes_h = 1.0,
     .set_point_c = NAN,
     .floor = FLOOR_SOIL,
     .trays = 4},
    {.word = "fleece",
     .kind = PLACE_FLEECE,
     .opening = OPENING_SHEET,
     .material = "fleece",
     .area_ratio = 1.1,
     .floor_m2 = 2,
     .height_m = 0.2,
     .footprint = 0.5,
     .air_changes_h = 2.0,
     .set_point_c = NAN,
     .floor = FLOOR_SOIL,
     .trays = -1},
    {.word = "standing",
     .kind = PLACE_STANDING,
     .floor_m2 = 4,
     .height_m = 0.2,
     .footprint = 0.5,
     .set_point_c = NAN,
     .floor = FLOOR_SLAB,
     .trays = -1},
    {.word = "bed",
     .kind = PLACE_BED,
     .floor_m2 = 5,
     .height_m = 0.2,
     .footprint = 0.5,
     .set_point_c = NAN,
     .floor = FLOOR_SOIL,
     .trays = -1},
};

#define LOOSE_TWIN_WALL 2.0 /* twin-wall frames and boxes shut less tight than glass; chosen */

const Kind *kind_get(PlaceKind kind)
{
    const Kind *found = &kinds[0];

    for (gsize i = 0; i < G_N_ELEMENTS(kinds); i++) {
        if (kinds[i].kind == kind)
            found = &kinds[i];
    }
    return found;
}

const Kind *kind_find(const char *word)
{
    for (gsize i = 0; i < G_N_ELEMENTS(kinds); i++) {
        if (strcmp(kinds[i].word, word) == 0)
            return &kinds[i];
    }
    return NULL;
}

const Material *material_find(const char *word)
{
    for (gsize i = 0; i < G_N_ELEMENTS(materials); i++) {
        if (strcmp(materials[i].word, word) == 0)
            return &materials[i];
    }
    return NULL;
}

const char *const *kind_words(void)
{
    static const char *words[G_N_ELEMENTS(kinds) + 1];

    for (gsize i = 0; i < G_N_ELEMENTS(kinds); i++)
        words[i] = kinds[i].word;
    return words;
}

const char *const *material_words(void)
{
    static const char *words[G_N_ELEMENTS(materials) + 1];

    for (gsize i = 0; i < G_N_ELEMENTS(materials); i++)
        words[i] = materials[i].word;
    return words;
}

CoverChoice kind_cover_choice(const Kind *kind)
{
    CoverChoice choice = {
        .material = material_find(kind->material),
        .prop_cm = {10, 20}, /* of a frame's light or a box's lid; chosen */
        .n_props = kind->opening == OPENING_PROP ? 2 : 0,
        .air_changes_h = NAN,
        .height_m = kind->height_m,
        .fixed = kind->fixed,
    };

    return choice;
}

static void add_position(Cover *cover, const char *name, double exchange_wm2k,
                         double exchange_per_ms, double exposure_weight, double shelter, bool open)
{
    CoverPosition *position = &cover->positions[cover->n_positions++];

    g_strlcpy(position->name, name, sizeof position->name);
    position->exchange_wm2k = exchange_wm2k;
    position->exchange_per_ms = exchange_per_ms;
    position->exposure_weight = exposure_weight;
    position->shelter = shelter;
    position->open = open;
}

static double usual_air_changes_h(const Kind *kind, const Material *material)
{
    gboolean loose = kind->opening == OPENING_PROP && strcmp(material->word, "twin-wall") == 0;

    return loose ? LOOSE_TWIN_WALL : kind->air_changes_h;
}

/* The first position: shut, or for a sheet: on. */
static void add_shut(const Kind *kind, const CoverChoice *choice, Cover *cover)
{
    const Material *material = choice->material;
    const char *name = kind->opening == OPENING_SHEET ? "on" : "closed";
    double changes =
        isnan(choice->air_changes_h) ? usual_air_changes_h(kind, material) : choice->air_changes_h;
    double leak_wm2k = material->porous ? 0 : AIR_CHANGE_WM3K * choice->height_m * changes;

    add_position(cover, name, leak_wm2k + material->exchange_wm2k,
                 CLOSED_WIND_SHARE * leak_wm2k + material->exchange_per_ms,
                 material->porous ? POROUS_WEIGHT : 0, material->shelter, false);
}

static void add_props(const CoverChoice *choice, Cover *cover)
{
    for (int i = 0; i < choice->n_props; i++) {
        double height_cm = choice->prop_cm[i];
        gboolean half_open = i == choice->n_props - 1 && height_cm >= HALF_OPEN_LEAST_CM;
        double weight = half_open ? HALF_OPEN_WEIGHT : PROP_WEIGHT;
        char number[G_ASCII_DTOSTR_BUF_SIZE];
        g_autofree char *name = NULL;

        g_ascii_formatd(number, sizeof number, "%.4g", height_cm);
        name = g_strconcat(number, " cm", NULL);
        add_position(cover, name, PROP_WM2K_PER_CM * height_cm, PROP_PER_MS_PER_CM * height_cm,
                     choice->material->porous ? MAX(weight, POROUS_WEIGHT) : weight,
                     MIN(PROPPED_SHELTER, choice->material->shelter), false);
    }
}

void kind_build_cover(const Kind *kind, const CoverChoice *choice, Cover *ret)
{
    const Material *material = choice->material;

    memset(ret, 0, sizeof *ret);
    g_strlcpy(ret->material, material->word, sizeof ret->material);
    ret->solar_transmittance = material->solar_transmittance;
    ret->ir_transmittance = material->ir_transmittance;
    ret->ir_emissivity = material->ir_emissivity;
    ret->wet_ir_transmittance = material->wet_ir_transmittance;
    ret->wet_ir_emissivity = material->wet_ir_emissivity;
    ret->wets = material->wet_ir_transmittance < material->ir_transmittance;
    ret->insulation_m2kw = material->insulation_m2kw;
    ret->area_ratio = kind->area_ratio;
    ret->gust_limit_ms = GUST_LIMIT_MS;
    ret->opener_from_c = NAN;
    ret->porous = material->porous;
    add_shut(kind, choice, ret);
    add_props(choice, ret);
    if (kind->opening == OPENING_DOORS) {
        add_position(ret, kind->kind == PLACE_GREENHOUSE ? "vents open" : "doors open", DOORS_WM2K,
                     DOORS_PER_MS, material->porous ? POROUS_WEIGHT : PROP_WEIGHT,
                     MIN(PROPPED_SHELTER, material->shelter), false);
    }
    if (!choice->fixed)
        add_position(ret, kind->opening == OPENING_SHEET ? "off" : "open", 0, 0, 1, 0, true);
}

void kind_usual_place(const Kind *kind, Place *ret)
{
    *ret = (Place){.kind = kind->kind,
                   .parent = -1,
                   .indoors = kind->indoors,
                   .covered = kind->opening != OPENING_NONE,
                   .indoor_night_c = kind->night_c,
                   .indoor_day_c = kind->day_c,
                   .set_point_c = kind->set_point_c,
                   .floor_m2 = kind->floor_m2,
                   .height_m = kind->height_m,
                   .footprint = 1.0,
                   .floor = kind->floor,
                   .trays = kind->trays,
                   .mains = kind->mains};
    if (ret->covered) {
        const CoverChoice choice = kind_cover_choice(kind);
        kind_build_cover(kind, &choice, &ret->cover);
    }
}
