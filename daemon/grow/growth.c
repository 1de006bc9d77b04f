/* SPDX-License-Identifier: MIT */
#include "grow/growth.h"

#include <math.h>

#include "grow/emergence.h"

#define HOURS 24
#define DAYS_MOST 365

/* A factor on height as CROPGRO has it: corners of a line, and level outside (dssat-cropgro). */
typedef struct Corner {
    double air_c, factor;
} Corner;

#define CORNERS 3
static const Corner tomato[CORNERS] = {{0, 0.05}, {11, 0.40}, {26, 1.00}};
static const Corner cabbage[CORNERS] = {{-2, 0.40}, {10, 0.50}, {21, 1.00}};

double growth_stretch(const Crop *crop, double air_c)
{
    const Corner *of = crop->growing_on_night_c >= GROWTH_TENDER_NIGHT_C ? tomato : cabbage;
    if (air_c <= of[0].air_c)
        return of[0].factor;
    for (int i = 1; i < CORNERS; i++) {
        const Corner *a = &of[i - 1], *b = &of[i];
        if (air_c <= b->air_c)
            return a->factor + (b->factor - a->factor) * (air_c - a->air_c) / (b->air_c - a->air_c);
    }
    return of[CORNERS - 1].factor;
}

static double leaf_cm(const Crop *crop)
{
    return crop->leaf_height_cm > 0.0 ? crop->leaf_height_cm : GROWTH_LEAF_CM; /* NAN: not given */
}

void growth_step(const Crop *crop, double air_c, double hours, Growth *growth)
{
    if (!growth->known)
        return;
    const double leaves = emergence_leaf_rate(crop, air_c) * hours / HOURS;
    growth->leaves += leaves;
    growth->height_cm += leaves * leaf_cm(crop) * growth_stretch(crop, air_c);
}

bool growth_chills(const Crop *crop, const Growth *growth, bool bought)
{
    if (!(crop->chill_days > 0.0)) /* NAN: no such cold is known */
        return false;
    return growth->known ? growth->leaves >= crop->chill_from_leaves : bought;
}

double growth_chill_left_h(const Crop *crop, const Growth *growth, bool bought)
{
    return growth_chills(crop, growth, bought) ? HOURS * crop->chill_days - growth->chill_h
                                               : INFINITY;
}

/* Hours of such days until `reached`, at most DAYS_MOST days; as days. */
static double days_until(const Crop *crop, Growth growth, double low_c, double high_c,
                         bool (*reached)(const Growth *growth, double whole), double whole)
{
    if (!growth.known)
        return INFINITY;
    for (int h = 0; h < DAYS_MOST * HOURS; h++) {
        if (reached(&growth, whole))
            return (double)h / HOURS;
        growth_step(crop, emergence_hour_c(low_c, high_c, h % HOURS), 1.0, &growth);
    }
    return INFINITY;
}

Growth growth_begin(const Crop *crop, double low_c, double high_c, double days)
{
    Growth growth = {.known = true};
    for (int h = 0; h < (int)(days * HOURS); h++)
        growth_step(crop, emergence_hour_c(low_c, high_c, h % HOURS), 1.0, &growth);
    return growth;
}

double growth_height_cm(const Growth *growth)
{
    if (!growth->known)
        return (double)NAN;
    return growth->height_cm * (growth->height_factor > 0.0 ? growth->height_factor : 1.0);
}

static bool has_leaves(const Growth *growth, double whole)
{
    return growth->leaves >= whole;
}

static bool has_height(const Growth *growth, double whole)
{
    return growth_height_cm(growth) >= whole;
}

double growth_days_to_leaves(const Crop *crop, const Growth *growth, double leaves, double low_c,
                             double high_c)
{
    return days_until(crop, *growth, low_c, high_c, has_leaves, leaves);
}

double growth_days_to_height(const Crop *crop, const Growth *growth, double height_cm, double low_c,
                             double high_c)
{
    return days_until(crop, *growth, low_c, high_c, has_height, height_cm);
}

void growth_measured(const Crop *crop, double height_cm, Growth *growth)
{
    if (!growth->known) {
        *growth = (Growth){.known = true,
                           .leaves = height_cm / leaf_cm(crop),
                           .height_cm = height_cm,
                           .height_factor = 1.0,
                           .chill_h = growth->chill_h,
                           .hardening_h = growth->hardening_h};
        return;
    }
    /* a stem below the first leaf is not reckoned: what no factor can explain is put to it */
    const double factor = growth->height_cm > 0.0 ? height_cm / growth->height_cm : INFINITY;
    growth->height_factor = fmin(GROWTH_FACTOR_MOST, fmax(GROWTH_FACTOR_LEAST, factor));
    if (growth->leaves < 1.0) /* too young to tell how it will grow on */
        growth->height_factor = 1.0;
    growth->height_cm = height_cm / growth->height_factor;
}
