/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

#include "store/store-plan.h"

/* A visit of the plan with its jobs as they stand in the store. */
typedef struct OpenVisit {
    Visit visit;     /* first_job unused */
    GArray *jobs;    /* (owned) (element-type OpenJob) in walking order */
    gboolean begun;  /* its start is past: its jobs are taken as under way until reported */
    gboolean closed; /* its time to report is past; it waits for what is not known */
} OpenVisit;

typedef struct OpenJob {
    Job job;
    int handle; /* what the grower calls it; unique among open jobs */
    StoreJobState state;
    gboolean asked_again;
    gboolean unknown; /* stored so: guards, and was not reported in time; it still can be */
} OpenJob;

/* (element-type OpenVisit) that frees its visits. */
GPtrArray *open_visits_new(void);
