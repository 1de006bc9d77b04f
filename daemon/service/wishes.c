/* SPDX-License-Identifier: MIT */
#include "service/wishes.h"

#include <math.h>

#include "base/local-time.h"
#include "plan/window.h"
#include "service/jobs.h"
#include "service/publish.h"
#include "store/store-garden-events.h"

#define AROUND_S (3 * 3600) /* see wishes_span() */
#define DAY_S 86400
#define OFFER_MOST_S (2 * DAY_S) /* a longer offer says nothing of when; chosen */

gboolean wishes_load(const Service *s, GArray **ret, GError **error)
{
    return store_load_wishes(s->store, s->garden, clock_now(s->clk), ret, error);
}

/* A visit that the plan had withdrawn before it was moved goes on under another id. */
static gboolean is_about(const StoreWish *wish, const Visit *visit, const char *uid)
{
    return (*visit->id != '\0' && g_str_equal(wish->visit_id, visit->id)) ||
           (*uid != '\0' && g_str_equal(wish->uid, uid)) ||
           (visit->fixed && wish->kind == STORE_WISH_FIXED && wish->site == visit->site &&
            wish->grower == visit->grower && wish->start_utc == visit->start_utc);
}

const StoreWish *wishes_about(const GArray *wishes, const Visit *visit, const char *uid)
{
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        if (is_about(wish, visit, uid))
            return wish;
    }
    return NULL;
}

void wishes_span(const Service *s, const Visit *visit, int64_t *ret_from_utc, int64_t *ret_to_utc)
{
    GTimeZone *zone = s->zones[visit->site];
    const int day = local_day(zone, visit->start_utc);
    int64_t from_utc = MAX(visit->start_utc - AROUND_S, local_midnight(zone, day)),
            to_utc = MIN(visit->start_utc + AROUND_S, local_midnight(zone, day + 1) - 1);

    for (guint i = 0; i < s->visits->len; i++) {
        const Visit *other = &((const OpenVisit *)s->visits->pdata[i])->visit;
        const int64_t half_utc = visit->start_utc + (other->start_utc - visit->start_utc) / 2;
        if (other->site != visit->site || other->grower != visit->grower ||
            g_str_equal(other->id, visit->id))
            continue;
        if (other->start_utc < visit->start_utc)
            from_utc = MAX(from_utc, half_utc);
        else if (other->start_utc > visit->start_utc)
            to_utc = MIN(to_utc, half_utc);
    }
    *ret_from_utc = from_utc;
    *ret_to_utc = to_utc;
}

/* ---- what cannot be ---- */

gboolean wishes_is_away(const GArray *aways, int grower, int64_t utc)
{
    for (guint i = 0; i < aways->len; i++) {
        const StoreAway *away = &g_array_index(aways, StoreAway, i);
        if (away->grower == grower && utc >= away->from_utc && utc < away->to_utc)
            return TRUE;
    }
    return FALSE;
}

/* Minutes that lie at least between two visits of a grower, the second of them at `site`. */
static double apart_min(const Service *s, int grower, const Visit *first, int site)
{
    const double takes_min =
        first->minutes > 0.0 ? first->minutes : s->garden->sites[first->site].visit_min;
    return first->site == site ? (double)STEP_S / 60.0
                               : takes_min + s->garden->growers[grower].travel_min;
}

/* Whether the grower is somewhere else then, or there already, by what is fixed or under way. */
static gboolean is_elsewhere(const Service *s, const Visit *visit, int64_t to_utc,
                             const Visit *other)
{
    const Visit moved = {.site = visit->site, .start_utc = to_utc, .minutes = visit->minutes};
    const gboolean before = other->start_utc <= to_utc;
    const double between_min = before ? apart_min(s, visit->grower, other, visit->site)
                                      : apart_min(s, visit->grower, &moved, other->site);

    return other->grower == visit->grower &&
           fabs((double)(other->start_utc - to_utc)) < between_min * 60.0;
}

/* The half-hour in which a fixed visit counts. */
static int64_t grid_utc(int64_t utc)
{
    return (utc + STEP_S - 1) / STEP_S * STEP_S;
}

/* The first thing that is in its way; NULL nothing. */
static char *clash(const Service *s, const GArray *wishes, const Visit *visit, int64_t to_utc,
                   const char *uid)
{
    const WordingContext words = service_wording(s);
    int that_day = 0;

    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = &g_array_index(wishes, StoreWish, i);
        const Visit other = {
            .grower = wish->grower, .site = wish->site, .start_utc = wish->start_utc};
        if (wish->kind != STORE_WISH_FIXED || wish->site < 0 || wish->grower < 0 ||
            is_about(wish, visit, uid))
            continue;
        that_day +=
            wish->site == visit->site && local_day(s->zones[visit->site], wish->start_utc) ==
                                             local_day(s->zones[visit->site], to_utc);
        if (is_elsewhere(s, visit, to_utc, &other) ||
            (wish->site == visit->site && grid_utc(wish->start_utc) == grid_utc(to_utc)))
            return wording_edit_clash(&words, visit->site, to_utc, wish->site, wish->start_utc);
    }
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *open = s->visits->pdata[i];
        if (open->begun && !g_str_equal(open->visit.id, visit->id) &&
            is_elsewhere(s, visit, to_utc, &open->visit))
            return wording_edit_clash(&words, visit->site, to_utc, open->visit.site,
                                      open->visit.start_utc);
    }
    return that_day >= VISITS_MAX ? wording_edit_refused(&words, EDIT_TOO_MANY, visit->site, to_utc)
                                  : NULL;
}

/* What is common to a time at which a visit should be, and one at which it could be. */
static gboolean check_time(const Service *s, int grower, int site, int64_t from_utc, int64_t to_utc,
                           char **ret_refused, GError **error)
{
    const WordingContext words = service_wording(s);
    const int64_t now_utc = clock_now(s->clk);
    g_autoptr(GArray) aways = NULL;

    if (!store_load_aways(s->store, s->garden, now_utc, &aways, error))
        return FALSE;
    if (to_utc < now_utc)
        *ret_refused = wording_edit_refused(&words, EDIT_PAST, site, to_utc);
    else if (from_utc >= now_utc + (int64_t)SERVICE_PUBLISH_D * DAY_S)
        *ret_refused = wording_edit_refused(&words, EDIT_FAR, site, from_utc);
    else if (wishes_is_away(aways, grower, from_utc))
        *ret_refused = wording_edit_refused(&words, EDIT_AWAY, site, from_utc);
    return TRUE;
}

static gboolean any_reported(const OpenVisit *open)
{
    for (guint i = 0; i < open->jobs->len; i++) {
        const OpenJob *job = &g_array_index(open->jobs, OpenJob, i);
        if (job->state != STORE_JOB_PLANNED || job->unknown)
            return TRUE;
    }
    return FALSE;
}

/* ---- what is wished ---- */

static void fill(StoreWish *wish, StoreWishKind kind, const Visit *visit, const char *uid)
{
    wish->kind = kind;
    wish->site = visit->site;
    wish->grower = visit->grower;
    g_strlcpy(wish->visit_id, visit->id, sizeof wish->visit_id);
    g_strlcpy(wish->uid, uid, sizeof wish->uid);
}

/* A copy of the wish about a visit, its text shared; all 0 where there is none. */
static StoreWish former_wish(const GArray *wishes, const Visit *visit, const char *uid)
{
    const StoreWish *found = wishes_about(wishes, visit, uid);
    return found != NULL ? *found : (StoreWish){0};
}

/* The hours of a visit, with those that were its before. */
static void widen(const Service *s, const Visit *visit, StoreWish *wish)
{
    int64_t from_utc, to_utc;

    wishes_span(s, visit, &from_utc, &to_utc);
    if (wish->clear_from_utc < wish->clear_to_utc) {
        from_utc = MIN(from_utc, wish->clear_from_utc);
        to_utc = MAX(to_utc, wish->clear_to_utc);
    }
    wish->clear_from_utc = from_utc;
    wish->clear_to_utc = to_utc;
}

gboolean wishes_fix(Service *s, const Visit *visit, OpenVisit *open, int64_t to_utc,
                    const char *uid, char **ret_refused, GError **error)
{
    const WordingContext words = service_wording(s);
    g_autoptr(GArray) wishes = NULL;

    *ret_refused = NULL;
    if (!wishes_load(s, &wishes, error) ||
        !check_time(s, visit->grower, visit->site, to_utc, to_utc, ret_refused, error))
        return FALSE;
    if (*ret_refused == NULL && open != NULL &&
        (open->closed || (open->begun && any_reported(open))))
        *ret_refused = wording_edit_refused(&words, EDIT_BEGUN, visit->site, to_utc);
    if (*ret_refused == NULL)
        *ret_refused = clash(s, wishes, visit, to_utc, uid);
    if (*ret_refused != NULL)
        return TRUE;
    StoreWish wish = former_wish(wishes, visit, uid);
    /* Moved once more, it still stands for the time that the plan had chosen. */
    if (wish.kind != STORE_WISH_FIXED || wish.n == 0)
        widen(s, visit, &wish);
    fill(&wish, STORE_WISH_FIXED, visit, uid);
    wish.start_utc = to_utc;
    wish.end_utc = MAX(to_utc, wish.clear_to_utc);
    return store_put_wish(s->store, s->garden, &wish, error) &&
           (open == NULL || jobs_put_off(s, open, to_utc, error));
}

gboolean wishes_drop(Service *s, const Visit *visit, OpenVisit *open, const char *uid,
                     char **ret_refused, GError **error)
{
    const WordingContext words = service_wording(s);
    g_autoptr(GArray) wishes = NULL;

    *ret_refused = NULL;
    if (!wishes_load(s, &wishes, error))
        return FALSE;
    if (open != NULL ? open->begun : visit->start_utc <= clock_now(s->clk)) {
        *ret_refused = wording_edit_refused(&words, EDIT_OVER, visit->site, visit->start_utc);
        return TRUE;
    }
    StoreWish wish = former_wish(wishes, visit, uid);
    widen(s, visit, &wish);
    fill(&wish, STORE_WISH_DROPPED, visit, uid);
    wish.start_utc = visit->start_utc;
    wish.end_utc = wish.clear_to_utc;
    return store_put_wish(s->store, s->garden, &wish, error) &&
           (open == NULL || publish_drop_visit(s, open, error));
}

gboolean wishes_offer(Service *s, int grower, int site, int64_t from_utc, int64_t to_utc,
                      const char *uid, char **ret_refused, GError **error)
{
    const WordingContext words = service_wording(s);
    const Visit visit = {.grower = grower, .site = site};
    g_autoptr(GArray) wishes = NULL;

    *ret_refused = NULL;
    if (!wishes_load(s, &wishes, error) ||
        !check_time(s, grower, site, from_utc, to_utc, ret_refused, error))
        return FALSE;
    if (*ret_refused == NULL && to_utc - from_utc > OFFER_MOST_S)
        *ret_refused = wording_edit_refused(&words, EDIT_LONG, site, from_utc);
    if (*ret_refused != NULL)
        return TRUE;
    StoreWish wish = former_wish(wishes, &visit, uid);
    fill(&wish, STORE_WISH_OFFERED, &visit, uid);
    wish.start_utc = from_utc;
    wish.end_utc = to_utc;
    return store_put_wish(s->store, s->garden, &wish, error);
}

/* ---- windows ---- */

/* Takes a span of a grower at a site out of the windows from `first` on. */
static void cut(GArray *windows, guint first, int grower, int site, int64_t from_utc,
                int64_t to_utc)
{
    for (guint i = windows->len; i-- > first;) {
        VisitWindow *w = &g_array_index(windows, VisitWindow, i);
        if (w->grower != grower || w->site != site || w->fixed || w->to_utc < from_utc ||
            w->from_utc > to_utc)
            continue;
        VisitWindow after = *w;
        after.from_utc = to_utc + 1;
        w->to_utc = from_utc - 1;
        if (w->to_utc < w->from_utc)
            g_array_remove_index(windows, i);
        if (after.to_utc >= after.from_utc)
            g_array_append_val(windows, after);
    }
}

/* What lies in the usual hours allows one visit more there; the rest are hours more. */
static void offer(const Service *s, const StoreWish *wish, GArray *windows)
{
    GTimeZone *zone = s->zones[wish->site];
    const guint n = windows->len;

    for (int day = local_day(zone, wish->start_utc); day <= local_day(zone, wish->end_utc); day++) {
        const VisitWindow w = {.grower = wish->grower,
                               .site = wish->site,
                               .day = day,
                               .from_utc = MAX(wish->start_utc, local_midnight(zone, day)),
                               .to_utc = MIN(wish->end_utc, local_midnight(zone, day + 1) - 1),
                               .offered = TRUE};
        if (w.to_utc >= w.from_utc)
            g_array_append_val(windows, w);
    }
    for (guint i = 0; i < n; i++) {
        VisitWindow *usual = &g_array_index(windows, VisitWindow, i);
        if (usual->grower != wish->grower || usual->site != wish->site || usual->fixed ||
            usual->to_utc < wish->start_utc || usual->from_utc > wish->end_utc)
            continue;
        const VisitWindow had = *usual;
        usual->offered = TRUE;
        cut(windows, n, had.grower, had.site, had.from_utc, had.to_utc);
    }
}

static gint by_from(gconstpointer a, gconstpointer b)
{
    const VisitWindow *x = a, *y = b;
    return x->from_utc < y->from_utc ? -1 : x->from_utc > y->from_utc;
}

static gint by_number(gconstpointer a, gconstpointer b, gpointer unused)
{
    const StoreWish *x = *(const StoreWish *const *)a, *y = *(const StoreWish *const *)b;
    (void)unused;
    return x->n < y->n ? -1 : x->n > y->n;
}

static void fix(const Service *s, const StoreWish *wish, GArray *windows)
{
    const VisitWindow w = {.grower = wish->grower,
                           .site = wish->site,
                           .day = local_day(s->zones[wish->site], grid_utc(wish->start_utc)),
                           .from_utc = wish->start_utc,
                           .to_utc = wish->start_utc,
                           .fixed = TRUE};
    g_array_append_val(windows, w);
}

void wishes_windows(const Service *s, const GArray *wishes, const GArray *aways, GArray *windows)
{
    g_autofree const StoreWish **order = g_new(const StoreWish *, wishes->len + 1);

    for (guint i = 0; i < wishes->len; i++)
        order[i] = &g_array_index(wishes, StoreWish, i);
    g_qsort_with_data(order, (int)wishes->len, sizeof *order, by_number, NULL);
    /* Of two that contradict each other the one said last counts; a fixed visit stands anyway. */
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = order[i];
        if (wish->site < 0 || wish->grower < 0)
            continue;
        if (wish->clear_from_utc < wish->clear_to_utc)
            cut(windows, 0, wish->grower, wish->site, wish->clear_from_utc, wish->clear_to_utc);
        if (wish->kind == STORE_WISH_OFFERED)
            offer(s, wish, windows);
    }
    for (guint i = 0; i < wishes->len; i++) {
        const StoreWish *wish = order[i];
        if (wish->kind == STORE_WISH_FIXED && wish->site >= 0 && wish->grower >= 0 &&
            wish->start_utc >= clock_now(s->clk) &&
            !wishes_is_away(aways, wish->grower, wish->start_utc))
            fix(s, wish, windows);
    }
    g_array_sort(windows, by_from);
}
