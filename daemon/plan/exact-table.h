/* SPDX-License-Identifier: MIT */
/* What the exact search looks up for one set of visits. Internal to plan/. */
#pragma once

#include "plan/exact.h"

enum { WITHIN, BROKEN, MODES }; /* number, of choices within the limits; broken + number */

/* The air of a chain in one segment, after one course of settings. */
typedef struct Air {
    Track track;
    ChainState end;
} Air;

/* A setting is a number: the positions of those covers that could ever be over a batch. A course is
 * one too: the settings after each visit, the first one its highest digit. */
typedef struct ExactChain {
    int n_covers, place[CHAIN_LAYERS_MAX], n_positions[CHAIN_LAYERS_MAX], n_settings;
    int still;                                     /* the course in which nothing is done */
    int power[SEGMENTS_MAX], offset[SEGMENTS_MAX]; /* courses of k visits; where they begin */
    Air **airs; /* [offset[k] + course of k visits]: of segment k; NULL not asked for yet */
} ExactChain;

typedef struct ExactWorth {
    double broken, number;
} ExactWorth;

/* One way of a batch through the window. */
typedef struct ExactPath {
    int places[SEGMENTS_MAX];
    double carrying;                                       /* batch-days */
    int n_chains, chain[SEGMENTS_MAX], upto[SEGMENTS_MAX]; /* visits whose settings matter */
    int n_courses;
    ExactWorth *worth;   /* of all courses; NULL not asked for yet */
    double least[MODES]; /* without carrying */
} ExactPath;

/* Batches that are equal, or one alone. */
typedef struct ExactGroup {
    int leader, n, n_places, *places;
    bool movable;
    double floor, least[MODES]; /* `least` with carrying */
    int n_paths;
    ExactPath *paths;
    int *order[MODES]; /* paths, the least first */
} ExactGroup;

typedef struct Exact {
    Search *q;
    const ExactTask *task;
    Schedule *probe, *trial; /* for a table; for a whole choice */
    Tracks air;
    ExactChain *chains;
    ExactGroup *groups;
    int n_groups, n_members, *members, *group_of;  /* batches that are here, by group; per member */
    int *path_of;                                  /* per member: position in the order */
    int *level;                                    /* per member: see courses_of() */
    uint8_t *shelters[SEGMENTS_MAX];               /* per place */
    int *taken[SEGMENTS_MAX], *came[SEGMENTS_MAX]; /* per place: trays there; batches that came */
    int *course, *best_course, *component, *joined, *shelved; /* per chain */
    int mode;
    double base, best; /* of the visits; of what was found, in this mode */
    double bound;      /* of the sets of visits that were given up */
    Schedule *found;   /* the best so far, and its value */
    PlanValue *value;
    uint64_t last, steps;
    int n_given_up;        /* sets of visits */
    bool given_up, failed; /* `failed`: the arena was too small */
} Exact;

/* The tables of the visits of `x->probe`; false where they are too large. */
bool exact_table_open(Exact *x);
/* Works out every course of a path; false where the work is spent. */
bool exact_table_path(Exact *x, const ExactGroup *group, ExactPath *path);
/* In a mode; INFINITY where it is not within the limits and should be. */
double exact_worth(const ExactWorth *worth, int mode);
int exact_path_course(const Exact *x, const ExactPath *path);
void exact_set_positions(const Exact *x, int chain, int course, int visits, Schedule *schedule);
