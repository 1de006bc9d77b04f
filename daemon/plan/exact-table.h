/* SPDX-License-Identifier: MIT */
/* What the exact search looks up for one set of visits. Internal to plan/. */
#pragma once

#include "plan/exact.h"

enum { WITHIN, BROKEN }; /* number, of choices within the limits; broken + number */

/* The air of a chain in one segment, after one course of settings. */
typedef struct Air {
    Track track;
    ChainState end;
} Air;

/* A setting is a number: the positions of those covers that could ever be over a batch. A course is
 * one too: the settings after each visit, the first one its highest digit; what it begins with are
 * the courses of fewer visits. All of them have a place in a row, the shorter ones first. */
typedef struct ExactChain {
    int n_covers, place[CHAIN_LAYERS_MAX], n_positions[CHAIN_LAYERS_MAX], n_settings;
    int now, still; /* the setting as it stands; the course in which nothing is done */
    int power[SEGMENTS_MAX], offset[SEGMENTS_MAX]; /* courses of k visits; where they begin */
    int first, all; /* where those of this chain begin among all, and how many they are */
    Air **airs;     /* of the last segment of a course; NULL not asked for yet */
} ExactChain;

/* One way of a batch through the window. */
typedef struct ExactPath {
    int places[SEGMENTS_MAX];
    double carrying, rent;                                 /* batch-days; for room, a batch */
    int n_chains, chain[SEGMENTS_MAX], upto[SEGMENTS_MAX]; /* visits whose settings matter */
    int n_courses;
} ExactPath;

/* A way under one course of each chain along it; or, until these are asked for, under any. */
typedef struct ExactColumn {
    double value;                   /* of a batch, in the mode at hand; not known: nothing less */
    double broken, number;          /* where it is known, with carrying */
    int course;                     /* of the path's */
    int16_t path, at[SEGMENTS_MAX]; /* per chain of the path: its course, among all */
    bool known;
} ExactColumn;

/* Batches that are equal, or one alone. */
typedef struct ExactGroup {
    int leader, n, n_places, *places;
    int first, left;        /* the first of them among the members; how many have no way yet */
    double floor, least;    /* of one of them, nothing less: before anything is known; as reduced */
    double settled, enough; /* the least, nothing paid; what is no part of anything better */
    double paid;            /* for every course, whichever it is */
    int n_paths, n_columns, size, n_active; /* active: could still be part of something better */
    ExactPath *paths;
    ExactColumn *columns; /* the active ones first */
    int best;             /* of them, as reduced */
    struct Met *met;      /* exact-met.c; NULL nothing is said of what it meets */
    double *way;          /* per path: see exact-room.c */
    double *price;        /* per course of all chains: what is paid for there, see exact-prices.c */
} ExactGroup;

typedef struct Exact {
    Search *q;
    const ExactTask *task;
    Schedule *probe, *trial; /* for a table; for a whole choice */
    Tracks air;
    ExactChain *chains;
    ExactGroup *groups;
    int n_groups, n_members, *members, *group_of; /* batches that are here, by group; per member */
    bool *had;                                    /* scratch: courses */
    uint8_t *shelters[SEGMENTS_MAX];              /* per place */
    /* Of those placed so far, per place: trays there; batches that came; that are under it. */
    int *taken[SEGMENTS_MAX], *came[SEGMENTS_MAX], *under[SEGMENTS_MAX];
    struct Reach *reach;
    struct Rents *rents;
    struct Ways *ways;
    int *course, *order, *shelved; /* per chain; `course` is chosen where `fixed` */
    bool *fixed;
    int n_order;              /* chains to choose courses for */
    int n_columns, n_courses; /* of all groups; of all chains, with all that they begin with */
    double *cost, *room;      /* per course of all chains: by itself, with what is paid; spare */
    int mode;
    double base, best, lower; /* of the visits; of what was found; nothing less; in this mode */
    double settled, at_hand;  /* nothing less, where nothing is paid; by what is paid now */
    double rent_back;         /* of all room, beside what is paid for it */
    double bound;             /* of the sets of visits that were given up */
    Schedule *found;          /* the best so far, and its value */
    PlanValue *value;
    uint64_t last, steps, steps_most; /* evaluations; columns looked at */
    int n_given_up;                   /* sets of visits */
    bool again;            /* what was found is so much better that it is worth to bound anew */
    bool given_up, failed; /* `failed`: the arena was too small */
} Exact;

/* Paths and courses of the visits of `x->probe`; false where they are too many. */
bool exact_table_open(Exact *x);
/* Works out a column; false where the work is spent. */
bool exact_table_column(Exact *x, const ExactGroup *group, ExactColumn *column);
/* The air of segment `visits`, after a course of so many; NULL where the arena is too small. */
const Air *exact_air(Exact *x, int chain, int visits, int course);
/* In a mode; INFINITY where it is not within the limits and should be. */
double exact_column_value(const ExactColumn *column, int mode);
void exact_set_positions(const Exact *x, int chain, int course, int visits, Schedule *schedule);
