/* SPDX-License-Identifier: MIT */
#include "service/wording-notice.h"

#include <math.h>

#include "service/wording-names.h"
#include "service/wording-private.h"

char *wording_test_summary(void)
{
    return g_strdup("Test alarm, nothing to do");
}

char *wording_test_notice(const WordingContext *context, int64_t utc)
{
    g_autofree char *when = wording_when(context, 0, utc);
    return g_strdup_printf("Alarms reach this desktop. The calendar should remind you too: %s.",
                           when);
}

char *wording_test_description(void)
{
    return g_strdup("You asked for it with \"tholectl test-alarm\". If your phone reminded you, "
                    "alarms reach it. The event goes away by itself.");
}

bool wording_is_too_late(const WordingContext *context, const Job *job)
{
    const Garden *garden = context->garden;
    const int site = wording_site(context, job->place, job->batch);
    double way_min = INFINITY;

    for (int i = 0; i < garden->n_growers; i++)
        way_min = fmin(way_min,
                       garden->growers[i].home_site == site ? 0.0 : garden->growers[i].travel_min);
    return job->kind == JOB_RESCUE && job->urgent && job->reason.limit == LIMIT_DAMAGE &&
           job->deadline_utc != 0 && isfinite(way_min) &&
           job->deadline_utc - context->now_utc <= (int64_t)(60.0 * way_min);
}

/* "eave the box shut" */
static char *leave_clause(const WordingContext *context, const Job *job)
{
    g_autofree char *place = wording_place_words(context, job->place);
    const Place *here = wording_place(context, job->place);

    if (here != NULL && (here->covered || here->parent >= 0))
        return g_strdup_printf("eave %s shut", place);
    return g_strdup_printf("eave %s alone", wording_is_one(context, job->batch) ? "it" : "them");
}

char *wording_too_late(const WordingContext *context, const Job *job)
{
    g_autofree char *plants = wording_batch_words(context, job->batch);
    g_autofree char *place = wording_place_words(context, job->place);
    const Place *here = wording_place(context, job->place);
    const bool one = wording_is_one(context, job->batch);
    g_autofree char *where =
        here != NULL ? g_strdup_printf(" %s %s", wording_in(here), place) : g_strdup("");
    g_autofree char *leave = leave_clause(context, job);

    return g_strdup_printf("It is too late to save %s%s from the frost: going no longer helps. L%s "
                           "in the morning until %s thawed.",
                           plants, where, leave, one ? "it has" : "they have");
}

char *wording_too_late_summary(const WordingContext *context, const Job *job)
{
    g_autofree char *leave = leave_clause(context, job);

    return g_strdup_printf("Frost: l%s until thawed", leave);
}

char *wording_too_late_notice(const WordingContext *context, const Job *job)
{
    g_autofree char *what = wording_too_late(context, job);
    g_autofree char *why = wording_reason(context, job);

    return g_strdup_printf("%s\n%s", what, why);
}
