/* SPDX-License-Identifier: MIT */
/* How long a visit to a site takes beside its jobs: as set, corrected by what was reported. */
#pragma once

#include "service/service.h"

typedef struct VisitMinutes {
    double set_min; /* as the garden's file has it */
    double min;     /* as reckoned with */
    int reports;    /* that it rests on; 0: as set */
} VisitMinutes;

/*
 * The middle one of the last reports, drawn towards what is set as if that were two reports more,
 * and between a third of it and four times of it (all chosen).
 */
gboolean visit_minutes_of(const Service *service, int site, VisitMinutes *ret,
                          GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* Of all sites, for a Snapshot. The caller frees. NULL and the error where the store fails. */
double *visit_minutes_all(const Service *service, GError **error) G_GNUC_WARN_UNUSED_RESULT;

/* The grower says that a visit took so long: within a transaction that the caller began. */
gboolean visit_minutes_report(Service *service, const OpenVisit *visit, double minutes,
                              GError **error) G_GNUC_WARN_UNUSED_RESULT;
