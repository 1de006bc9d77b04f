/* SPDX-License-Identifier: MIT */
/* A whole service in a folder of its own, on the virtual clock, with invented weather. */
#pragma once

#include "service/forecasts.h"
#include "service/jobs.h"
#include "service/service.h"

#define HOUR_S 3600
#define DAY_S 86400

/* Weather that is the same every day, but for one night. */
typedef struct WorldWeather {
    double low_c, high_c; /* 04:00 and 16:00 UTC */
    int cold_day;         /* 0 none; days after the first whose night is cold */
    double cold_c;        /* its low */
} WorldWeather;

typedef struct World {
    char *folder, *config, *calendar, *csv; /* (owned) */
    Clock *clk;
    Service *service;
    GMainLoop *loop;
    char *weather;  /* (owned) (nullable) what the service takes for the file's; "none" at first */
    GPtrArray *log; /* (owned) (element-type utf8) every line that was logged */
    GPtrArray *triggers;    /* (owned) (element-type utf8) of each plan made */
    char *socket;           /* (owned) (nullable) of the control interface */
    gboolean desktop;       /* alarms go to the session bus */
    gboolean channels;      /* messages are sent */
    gboolean outlets;       /* the calendars of thole.conf are kept */
    gboolean durable;       /* the store is synchronised, as in earnest */
    ServicePlanned planned; /* (nullable) the test's own, after each plan */
} World;

/* London, one grower at home and at a plot; a sill, a frame, a tunnel with a box, a bed. */
extern const char world_garden[];

/* A folder with this garden's file. The clock stands at `start` ("2026-04-08T07:00Z"). */
World *world_new(const char *garden, const char *start);
void world_free(World *world);

/* The service is made, on the folder as it is, and its first plan. */
void world_start(World *world);
void world_stop(World *world);

/* Lives on to `utc`; everything due until then has happened. */
void world_run(World *world, int64_t utc);
void world_run_for(World *world, int64_t seconds);
int64_t world_now(const World *world);
int64_t world_utc(const char *text);

/* A forecast issued now, from two days ago to ten days ahead; then its plan. */
void world_forecast(World *world, const WorldWeather *weather);
/* The same as a table in world->csv, rows issued now. */
void world_write_csv(World *world, const WorldWeather *weather);
void world_write(const char *path, const char *text);
char *world_read(const char *path);

/* A batch of that age, in that place and stage, to be planted in the bed; add: then its plan. */
void world_put_batch(World *world, const char *crop, int number, const char *place, Stage stage,
                     int age_days);
void world_add_batch(World *world, const char *crop, int number, const char *place, Stage stage,
                     int age_days);
const Batch *world_batch(const World *world, const char *name);

/* The calendar file's bytes; its lines that begin so; how many lines were logged with `part`. */
char *world_calendar(const World *world);
guint world_logged(const World *world, const char *part);
void world_forget_log(World *world);

/* A visit with a job of this kind that has not begun or (guard) that guards, else NULL. */
OpenVisit *world_visit(const World *world, gboolean guard);

/* What the store says of a job; the test fails where it has none. */
StoreJobState world_stored_job(const World *world, const char *job_id);

/* One line per open visit and job: ids, times, handles, states. */
char *world_visits_text(const World *world);
/* Every number of every batch, settled and current. */
char *world_state_text(const World *world);

/* The independent reader's JSON of the calendar file; a complaint of it fails the test. */
char *world_read_calendar(const World *world);
