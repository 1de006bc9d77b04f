/* SPDX-License-Identifier: MIT */
/* One small garden with one batch in the weather of one spring, for the hindcast: what a morning's
 * plan sees, and the true world that then passes. Failures are asserted. */
#pragma once

#include "plan/plan.h"
#include "test-hindcast-ground.h"

#define WORLD_AHEAD_D 10 /* days of forecast a plan has */
#define WORLD_AHEAD_STEPS (WORLD_AHEAD_D * 24 * STEPS_PER_H)
#define WORLD_SUN_DAYS (WORLD_AHEAD_D + 3)
#define WORLD_AHEAD_H (WORLD_AHEAD_D * 24 + 2)
#define WORLD_PLACES 8 /* at most */

/* What first happened, as the batch stood at 13:00 and at 02:00. */
typedef enum WatchFirst {
    FIRST_OUT,       /* of the building */
    FIRST_PROPPED,   /* less than half open by day */
    FIRST_HALF_OPEN, /* by day */
    FIRST_OPEN_DAY,
    FIRST_OPEN_NIGHT,
    FIRSTS,
} WatchFirst;

/* What became of the batch. */
typedef struct Watch {
    int first[FIRSTS]; /* days from the start; -1 never */
    int checks, visits;
    double margin_k;         /* least of the leaf above the damage figure of the moment */
    double leaf_c, damage_c; /* at that moment */
    int margin_day;
    double damage_kh, heat_kh; /* of the leaf below what damages, of covered air above the limit */
    int damage_days, damage_day; /* with any of the former, and the last of them */
    /* by figures that the caller sets: days with a leaf below one, hours below the other */
    double kills_c, chills_c, chill_h;
    int kill_days, kill_day;
} Watch;

/* Another world than the model's, and a forecaster; both may be missing. */
typedef struct WorldHooks {
    void *data;
    /* one half-hour of chain `c` as it truly is; `local_s` of the day when it ends */
    void (*step)(void *data, int c, const int *positions, const ChainForcing *forcing,
                 int64_t local_s, PlaceStep *met);
    /* what is forecast in place of an hour of the truth */
    void (*foresee)(void *data, int h, double lead_h, WeatherHour *hour);
} WorldHooks;

typedef struct World {
    const Garden *garden;
    const Station *at;
    const GArray *days; /* (element-type DailyWeather) */
    GArray *hours;      /* (owned) (element-type WeatherHour) the truth */
    double shift_k;
    int32_t start, today; /* local days */
    int64_t now_utc;      /* this morning */
    /* where everything stands */
    Chain chains[WORLD_PLACES];
    ChainState states[WORLD_PLACES];
    int n_chains;
    int positions[WORLD_PLACES];
    Batch batch;
    /* what lies ahead */
    SolarDay sun[WORLD_SUN_DAYS];
    WorldHooks hooks;
    const CoverError *cover_errors; /* (nullable) as in a Snapshot */
    const Plan *published;          /* (nullable) its visits are open; jobs' `visit` is one */
    OutdoorStep steps[WORLD_AHEAD_STEPS + 1];
    SiteOutlook outlooks[2]; /* the same at home and, where there is one, on the plot */
} World;

/* A watch that has seen nothing. */
Watch watch_new(void);

/*
 * The garden on the morning of `start`, after ten days on the sill, with enough weather for
 * `last_day` mornings more. The batch is as old as it must be to be planted. Free it with
 * world_free().
 */
World *world_new(const Garden *garden, const Station *at, const GArray *days, const char *crop,
                 const char *destination, int32_t start, int last_day, double shift_k);
void world_free(World *world);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(World, world_free)

/* This morning's plan, in `arena`. The forecast is the truth, off by `error_sd` of its own spread,
 * and as the hooks have it. */
void world_plan(World *world, double error_sd, Arena *arena, Plan *ret);

/* Today's visits to the letter, and the world up to the next morning; or up to some hours on. */
void world_live(World *world, const Plan *plan, Watch *watch);
void world_live_hours(World *world, const Plan *plan, int hours, Watch *watch);

/* Today without a plan: the batch is carried to `place` for the half-hours `from` to `to` and back
 * again, or, with `to` at the day's end, left there. */
void world_outing(World *world, int place, int from, int to, Watch *watch);

void world_foresee(World *world); /* this morning's forecast, in world->steps */

/* The batch in its destination, covers on, left alone for `days`. */
void world_plant_out(World *world, int days, Watch *watch);
