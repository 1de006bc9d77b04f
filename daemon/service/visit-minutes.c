/* SPDX-License-Identifier: MIT */
#include "service/visit-minutes.h"

#include "store/store-minutes.h"

#define REPORTS_MOST 15 /* the newest count: a shed is moved nearer; chosen */
#define SET_COUNTS 2.0  /* what is set counts as so many reports; chosen */
#define LEAST_SHARE (1.0 / 3.0)
#define MOST_SHARE 4.0 /* of what is set; chosen */
#define LEAST_MIN 1.0

static gint by_size(gconstpointer a, gconstpointer b)
{
    const double x = *(const double *)a, y = *(const double *)b;

    return x < y ? -1 : x > y;
}

/* Of a visit beside its jobs: by the middle report, one that was far off does not count for more.
 */
static double middle(const GArray *reports)
{
    g_autoptr(GArray) sorted = g_array_new(FALSE, FALSE, sizeof(double));

    for (guint i = 0; i < reports->len; i++) {
        const StoreMinutes *report = &g_array_index(reports, StoreMinutes, i);
        const double beside = MAX(report->minutes - report->jobs_minutes, LEAST_MIN);
        g_array_append_val(sorted, beside);
    }
    g_array_sort(sorted, by_size);
    const guint half = sorted->len / 2;
    const double upper = g_array_index(sorted, double, half);
    return sorted->len % 2 == 1 ? upper : 0.5 * (upper + g_array_index(sorted, double, half - 1));
}

gboolean visit_minutes_of(const Service *s, int site, VisitMinutes *ret, GError **error)
{
    g_autoptr(GArray) reports = NULL;
    const double set_min = s->garden->sites[site].visit_min;

    if (!store_load_minutes(s->store, s->garden, site, REPORTS_MOST, &reports, error))
        return FALSE;
    *ret = (VisitMinutes){.set_min = set_min, .min = set_min, .reports = (int)reports->len};
    if (reports->len > 0) {
        const double n = (double)reports->len;
        const double drawn = (SET_COUNTS * set_min + n * middle(reports)) / (SET_COUNTS + n);
        ret->min = CLAMP(drawn, LEAST_SHARE * set_min, MOST_SHARE * set_min);
    }
    return TRUE;
}

double *visit_minutes_all(const Service *s, GError **error)
{
    g_autofree double *all = g_new(double, s->garden->n_sites);

    for (int site = 0; site < s->garden->n_sites; site++) {
        VisitMinutes minutes;
        if (!visit_minutes_of(s, site, &minutes, error))
            return NULL;
        all[site] = minutes.min;
    }
    return g_steal_pointer(&all);
}

/* As schedule_jobs() reckons them; what was missed took no time. */
static double jobs_minutes(const OpenVisit *visit)
{
    const PlanWeights weights = plan_weights_default();
    double minutes = 0.0;

    for (guint i = 0; i < visit->jobs->len; i++) {
        const OpenJob *job = &g_array_index(visit->jobs, OpenJob, i);
        const JobKind kind = job->job.kind;
        if (job->state == STORE_JOB_MISSED)
            continue;
        if (kind == JOB_SET_COVER)
            minutes += weights.cover_min;
        else if (kind == JOB_MOVE || kind == JOB_TRANSFER || kind == JOB_PLANT_OUT)
            minutes += weights.move_min;
    }
    return minutes;
}

gboolean visit_minutes_report(Service *s, const OpenVisit *visit, double minutes, GError **error)
{
    StoreMinutes report = {.site = visit->visit.site,
                           .time_utc = visit->visit.start_utc,
                           .minutes = minutes,
                           .jobs_minutes = jobs_minutes(visit)};

    g_strlcpy(report.visit_id, visit->visit.id, sizeof report.visit_id);
    return store_put_minutes(s->store, s->garden, &report, error);
}
