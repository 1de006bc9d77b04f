/* SPDX-License-Identifier: MIT */
#include "service/status.h"

#include "service/api-day.h"
#include "service/wording-status.h"

/* Its jobs that are neither reported nor assumed. */
static int open_jobs(const OpenVisit *visit)
{
    int n = 0;
    for (guint i = 0; i < visit->jobs->len; i++)
        n += g_array_index(visit->jobs, OpenJob, i).state == STORE_JOB_PLANNED;
    return n;
}

char *service_status(const Service *service)
{
    const WordingContext context = service_wording(service);
    WordingStatus status = {.n_alerts = api_count_alerts(service), .no_plan = service->plan_failed};
    for (guint i = 0; i < service->visits->len && status.next == NULL; i++) {
        const OpenVisit *visit = g_ptr_array_index(service->visits, i);
        status.n_jobs = visit->closed ? 0 : open_jobs(visit);
        if (status.n_jobs > 0) {
            status.next = &visit->visit;
            status.begun = visit->begun;
        }
    }
    return wording_status(&context, &status);
}
