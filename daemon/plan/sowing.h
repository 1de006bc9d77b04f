/* SPDX-License-Identifier: MIT */
/*
 * The course of one sowing, from seed to planting out, beyond any forecast (docs/season.md): by
 * thermal time where it is raised, the crop's weeks, and normal nights where it is to be planted.
 * Pure. Times are instants; a day counts 86,400 s.
 */
#pragma once

#include "garden/types.h"
#include "grow/emergence.h"

/* What a crop's weeks are reckoned at; seed that is slower comes on top; chosen. */
#define SOWING_RECKONED_C 18.0
#define SOWING_FROST_AFTER_D                                                                       \
    90 /* later than this after the mean last frost none is reckoned with */

typedef struct Sowing {
    const Garden *garden;
    int crop, container; /* container -1: how long it may be held is not asked */
    int seed_place;      /* where it comes up */
    int raised_place;    /* where the seedlings stand then, until they leave the heat */
    int destination;     /* -1: the open air of the seed place's site */
    int64_t sown_utc;
    int64_t emerged_utc;    /* when it was seen to be up; 0: foretold */
    int64_t not_before_utc; /* nothing after emergence is earlier than this; 0 not asked */
    bool pricked;           /* pricked out, or past it */
    bool bought;            /* as plants: of any size */
    Growth growth;          /* as it is at not_before_utc, where it is tracked */
} Sowing;

typedef struct SowingCourse {
    double low_c, high_c; /* of the seed place on the day of sowing */
    SeedFit fit;
    double days_to_emerge, spread_d;          /* INFINITY, and the dates 0: it never comes up */
    int64_t emerged_utc, early_utc, late_utc; /* spread 0 where it was seen */
    int64_t prick_out_utc;                    /* 0 it stays where it was sown */
    int64_t leave_utc;                        /* it may leave the heat */
    bool leave_waits;                         /* for the season, not for the plant */
    int harden_days;                          /* least, by the ramp and normal nights then */
    int64_t fit_utc;                          /* hard and large enough, whatever the season */
    int64_t plant_utc;                        /* and nights there normally mild enough */
    double normal_low_c;                      /* of the nights there at fit_utc */
    bool never_mild;                          /* they never are, all year */
    int64_t held_utc;                         /* the container is outgrown; 0 not asked */
} SowingCourse;

/* From when a crop's weeks count: its sowing, later by what its seed was slower than they reckon
 * with, where the grower told when it was up. */
int64_t plan_weeks_from(const Garden *garden, const Batch *batch);

/* Low and high of a normal day in a place, °C: its own range indoors; else by the site's normals,
 * under glass or film as Savage (1980) measured in a tunnel. */
void sowing_warmth(const Garden *garden, int place, int64_t utc, double *ret_low_c,
                   double *ret_high_c);

/* What becomes of it. Where it never comes up, nothing after emergence is set. */
void sowing_course(const Sowing *sowing, SowingCourse *ret);

/*
 * Backwards: the last day of sowing, counted from `plant_utc` in whole days, from which it is fit
 * (`fit_utc`) by then. `ret` is the course of that sowing. False where none of
 * the days that its weeks and 90 days more reach is early enough, or it would not be up within
 * EMERGENCE_MOST_D.
 */
bool sowing_for(const Sowing *sowing, int64_t plant_utc, int64_t *ret_sown_utc, SowingCourse *ret);

/*
 * Odds that the last spring frost of a site comes after `utc`, by its mean date and their spread,
 * 0..1; NAN from SOWING_FROST_AFTER_D after the mean date to half a year before the next.
 */
double sowing_frost_odds(const Site *site, int64_t utc);

/* The first day from `utc` on after which those odds are at most `odds`, 0..1. */
int64_t sowing_frost_rare(const Site *site, int64_t utc, double odds);
