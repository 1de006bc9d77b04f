/* SPDX-License-Identifier: MIT */
/* What the grower reports of jobs, by their numbers or by telling what was done. Internal to
 * api*.c.
 */
#pragma once

#include "control/control.h"
#include "service/service.h"

typedef struct ApiReport {
    GArray *handles; /* (unowned) (element-type int64_t) of open jobs */
    gboolean done;
    int64_t at_utc;    /* 0: at the visit's time */
    double minutes;    /* that the visit took, all in all; 0 not said: the jobs are of one visit */
    const char *batch; /* (nullable) that the reply is about */
} ApiReport;

/* All of them are reported, or none; the reply. `lead` (nullable) is said first. */
JsonNode *api_report(Service *service, const ApiReport *report, const char *lead, GError **error);

/* The same for all open jobs of a visit, done at its time; FALSE without an error: none is open. */
gboolean api_report_visit(Service *service, const char *visit_id, GError **error);

/*
 * Where an open job asks for exactly what was done at `at_utc` (see jobs_asking), telling it is the
 * report of that job: TRUE, and *ret is the reply, or NULL and the error.
 */
gboolean api_report_asking(Service *service, const Job *what, int64_t at_utc, const char *lead,
                           JsonNode **ret, GError **error);
