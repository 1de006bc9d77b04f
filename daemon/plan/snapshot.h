/* SPDX-License-Identifier: MIT */
/*
 * Everything a plan is made from, in one immutable piece: the garden, the weather of each site on
 * the half-hour grid, where everything stands now, and when somebody can be there. Pure.
 */
#pragma once

#include "climate/chain.h"
#include "garden/types.h"
#include "odds/tonight.h"

/* A span in which one grower can be at one site. */
typedef struct VisitWindow {
    int grower, site;
    int32_t day; /* the site's local day */
    int64_t from_utc, to_utc;
    bool helped;  /* somebody else comes, while the grower is away */
    bool offered; /* beside the usual hours: one more visit on that day */
    /* The grower set the time: a visit is made at from_utc, which is to_utc, whatever is in it. On
       the grid it counts from the half-hour at or after; `day` is of that. */
    bool fixed;
} VisitWindow;

/* What lies ahead at one site. */
typedef struct SiteOutlook {
    const OutdoorStep *steps; /* n_steps + 1 of them, from start_utc */
    const SolarDay *days;     /* local days that cover the horizon, the day before it first */
    int n_days;
    double deep_c; /* ground far below: mean of the last 30 days */
    /* (nullable) n_tonight: spread after readings of this night; the shift is in `steps` already,
       whose own spread stays that of the forecast: later windows are judged by it */
    const double *tonight_spread_k;
} SiteOutlook;

/* What the number of a plan weighs, in batch-days; see docs/plan.md. */
typedef struct PlanWeights {
    double lost_batch; /* a batch lost */
    double check;      /* a check of one whole ramp-day budget */
    double visit_min, cover_min,
        move_min;         /* minutes of a visit, of each cover set and each batch carried on it */
    double moved_visit;   /* a published visit moved by more than a quarter of an hour */
    double dropped_visit; /* a published visit withdrawn */
    double changed_jobs;  /* published jobs of a day and site changed */
    double transfer;      /* carrying a batch to another site */
} PlanWeights;

typedef struct Snapshot {
    const Garden *garden;
    int64_t now_utc;
    int64_t start_utc; /* the grid step that holds now_utc */
    int n_steps;
    const SiteOutlook *sites; /* per site */
    const Chain *chains;
    const ChainState *states; /* per chain, at start_utc */
    int n_chains;
    const int *positions;      /* per place; the cover's position now */
    const int64_t *shut_since; /* (nullable) per place: its own cover, over plants; 0 it is not */
    const Batch *batches;      /* the living */
    int n_batches;
    const VisitWindow *windows; /* by time; absences taken out */
    int n_windows;
    const Visit *former; /* published and still open */
    int n_former;
    const Job *former_jobs; /* (nullable) theirs; job.visit is an index into `former` */
    int n_former_jobs;
    /* (nullable) [place · POSITIONS_MAX + position of the nearest cover over it]: what readings
       have taught; NULL nothing, then chain_spread_k() holds */
    const CoverError *cover_errors;
    const TonightPlace *tonight; /* (nullable) per place; n_tonight steps each */
    int n_tonight;               /* half-hours from start_utc that readings of this night change */
    const double *visit_min;     /* (nullable) per site: minutes of a visit there, instead of
                                    weights.visit_min */
    PlanWeights weights;
} Snapshot;

/* The default weights; chosen, reasons in docs/plan.md. */
PlanWeights plan_weights_default(void);
