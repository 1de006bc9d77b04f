/* SPDX-License-Identifier: MIT */
/*
 * A trigger (forecast, config, a grower's word, a time) asks for a plan; requests of one instant
 * are one plan. Its visits are matched with those published, kept and shown.
 */
#pragma once

#include <gio/gio.h>

#include "base/clock.h"
#include "garden/crops.h"
#include "garden/garden.h"
#include "plan/plan.h"
#include "service/open-visit.h"
#include "service/service-options.h"
#include "service/site-weather.h"
#include "service/state.h"
#include "service/wording.h"
#include "store/store.h"

#define SERVICE_HORIZON_D 10 /* days that a plan looks ahead */
#define SERVICE_PUBLISH_D 7  /* days whose visits are published */

typedef struct Service Service;

/* Called after each plan; for rehearsals and tests. */
typedef void (*ServicePlanned)(Service *service, const char *trigger, gpointer data);

struct Service {
    Clock *clk; /* (unowned) */
    ServiceOptions options;
    Store *store;
    Crops *crops;
    Garden *garden;
    GTimeZone **zones;           /* (owned) per site */
    struct Forecasts *forecasts; /* (owned) service/forecasts.h */
    SiteWeather *weather;        /* (owned) per site, as of the last plan */
    State settled;               /* up to here nothing is open; what the store holds */
    State current;               /* the settled state moved on to the grid step of now */
    Plan plan;                   /* lives in `arena` */
    Arena arena;
    GPtrArray *visits;      /* (owned) (element-type OpenVisit) published and open, by time */
    GArray *alerts;         /* (owned) (element-type Job) of the plan, that no visit can do */
    GPtrArray *memory;      /* (owned) (element-type EventMemory) */
    GArray *windows;        /* (owned) (element-type VisitWindow) of the last plan */
    char *config_problem;   /* (owned) (nullable) why the file as it is now was refused */
    char *calendar_problem; /* (owned) (nullable) */
    char *store_problem;    /* (owned) (nullable) */
    gboolean plan_failed;   /* store_problem is why */
    int64_t planned_utc, config_read_utc, midnight_utc, stale_utc;
    int64_t retry_utc;                    /* 0: the last plan stands well */
    struct Planner *planner;              /* (owned) service/planner.h */
    guint64 plans, gardens;               /* made; read */
    guint wake, plan_alarm, config_alarm; /* alarms */
    char *plan_trigger;                   /* (owned) of the plan asked for, or in the making */
    GFileMonitor *config_monitor;
    struct Control *control;
    struct Desktop *desktop; /* (owned) service/desktop.h */
    struct Post *post;       /* (owned) service/post.h */
    struct Outlets *outlets; /* (owned) service/outlets.h */
    struct FeedOutlet *feed; /* (owned) service/feed-outlet.h */
    ServicePlanned planned;
    gpointer planned_data;
};

/*
 * Opens the store, reads the garden, makes the first plan and listens. The garden's file must be
 * good at start; later a bad one is refused, the garden kept. Takes over the strings of `options`.
 */
Service *service_new(Clock *clk, ServiceOptions *options, GError **error) G_GNUC_WARN_UNUSED_RESULT;
void service_free(Service *service);
G_DEFINE_AUTOPTR_CLEANUP_FUNC(Service, service_free)

/* Asks for a new plan at this instant; `trigger` says why, in words for the record. */
void service_ask_plan(Service *service, const char *trigger);

/* Makes it now, if one was asked for, and waits for it; for rehearsals and tests. */
void service_plan_now(Service *service);

/* Reads batches and positions from the store again, after a change; open jobs follow them. */
gboolean service_refresh(Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Reads the garden's file again. FALSE: refused, the running garden stays. */
gboolean service_reload(Service *service, GError **error);

/* What the texts are made with; valid until the next plan. */
WordingContext service_wording(const Service *service);

/* The weather note of a site, or NULL. */
const char *service_weather_note(const Service *service, int site);
