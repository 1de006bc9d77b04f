/* SPDX-License-Identifier: MIT */
#include "service/absence.h"

#include "base/local-time.h"
#include "base/log.h"
#include "service/api-day.h"
#include "service/wording-people.h"

#define NOTICE_S (2 * 86400) /* before an absence (docs/plan.md) */

/* Those not over; none where the store fails, which is logged. */
static GArray *load(const Service *s)
{
    g_autoptr(GError) error = NULL;
    GArray *aways = NULL;

    if (!store_load_aways(s->store, s->garden, clock_now(s->clk), &aways, &error)) {
        log_warning("service", NULL, "absences cannot be read: %s", error->message);
        aways = g_array_new(FALSE, FALSE, sizeof(StoreAway));
    }
    return aways;
}

void absence_add_windows(Service *s, const GArray *aways)
{
    for (guint i = 0; i < aways->len; i++) {
        const StoreAway *away = &g_array_index(aways, StoreAway, i);
        if (away->grower < 0 || away->helper[0] == '\0')
            continue;
        GTimeZone *zone = s->zones[away->helper_site];
        const int today = local_day(zone, clock_now(s->clk));
        for (int day = MAX(today, local_day(zone, away->from_utc));
             day <= MIN(today + SERVICE_HORIZON_D, local_day(zone, away->to_utc)); day++) {
            VisitWindow w = {.grower = away->grower,
                             .site = away->helper_site,
                             .day = day,
                             .from_utc = local_time_on_day(zone, day, away->helper_from_min),
                             .to_utc = local_time_on_day(zone, day, away->helper_to_min),
                             .helped = TRUE};
            if (w.from_utc >= away->from_utc && w.to_utc <= away->to_utc)
                g_array_append_val(s->windows, w);
        }
    }
}

/* ---- in words ---- */

char *absence_words(const Service *s, const StoreAway *away)
{
    const WordingContext words = service_wording(s);
    const Grower *grower = away->grower >= 0 ? &s->garden->growers[away->grower] : NULL;
    const int site = grower != NULL ? grower->home_site : 0;
    GTimeZone *zone = s->zones[site];
    /* Whole days are said as days; who, only where there are several. */
    const int first = local_day(zone, away->from_utc), last = local_day(zone, away->to_utc - 1);
    const gboolean whole = away->from_utc == local_midnight(zone, first) &&
                           away->to_utc == local_midnight(zone, last + 1);
    g_autofree char *from =
        whole ? api_day_short(first) : wording_when(&words, site, away->from_utc);
    g_autofree char *to = whole ? api_day_short(last) : wording_when(&words, site, away->to_utc);
    g_autofree char *helper =
        away->helper[0] == '\0' ? g_strdup("")
                                : wording_helper_hours(&words, away->helper, away->helper_site,
                                                       away->helper_from_min, away->helper_to_min);

    return g_strdup_printf("%s%saway from %s to %s%s%s",
                           grower == NULL             ? "A former grower"
                           : s->garden->n_growers > 1 ? grower->name
                                                      : "",
                           grower == NULL || s->garden->n_growers > 1 ? ": " : "", from,
                           whole ? "the end of " : "", to, helper);
}

/* The absence that begins after a visit of its grower, so that no other of theirs to that site lies
 * between; and when somebody may come again (0 not within the horizon). */
static gboolean is_last_before(const Service *s, const Visit *visit, const StoreAway *away,
                               int64_t *ret_again_utc)
{
    if (away->grower != visit->grower || visit->start_utc >= away->from_utc ||
        visit->start_utc < away->from_utc - NOTICE_S)
        return FALSE;
    for (guint i = 0; i < s->visits->len; i++) {
        const Visit *other = &((const OpenVisit *)s->visits->pdata[i])->visit;
        if (other->site == visit->site && other->start_utc > visit->start_utc &&
            other->start_utc < away->from_utc)
            return FALSE;
    }
    *ret_again_utc = 0;
    for (guint i = 0; i < s->windows->len; i++) {
        const VisitWindow *w = &g_array_index(s->windows, VisitWindow, i);
        if (w->site == visit->site && w->from_utc >= away->from_utc &&
            (*ret_again_utc == 0 || w->from_utc < *ret_again_utc))
            *ret_again_utc = w->from_utc;
    }
    return TRUE;
}

char *absence_note(const Service *s, const Visit *visit)
{
    g_autoptr(GArray) aways = load(s);
    const WordingContext words = service_wording(s);

    for (guint i = 0; i < aways->len; i++) {
        const StoreAway *away = &g_array_index(aways, StoreAway, i);
        int64_t again_utc = 0;
        if (is_last_before(s, visit, away, &again_utc))
            return wording_last_visit(&words, visit->site, again_utc);
    }
    return NULL;
}

char *absence_helper(const Service *s, const Visit *visit)
{
    g_autoptr(GArray) aways = load(s);

    for (guint i = 0; i < aways->len; i++) {
        const StoreAway *away = &g_array_index(aways, StoreAway, i);
        if (away->helper[0] != '\0' && away->grower == visit->grower &&
            away->helper_site == visit->site && visit->start_utc >= away->from_utc &&
            visit->start_utc < away->to_utc)
            return g_strdup(away->helper);
    }
    return NULL;
}

char *absence_helper_text(const Service *s, const OpenVisit *visit)
{
    g_autofree char *helper = absence_helper(s, &visit->visit);
    const WordingContext words = service_wording(s);
    g_autoptr(GArray) jobs = g_array_new(FALSE, FALSE, sizeof(Job));

    for (guint i = 0; helper != NULL && i < visit->jobs->len; i++) {
        const OpenJob *job = &g_array_index(visit->jobs, OpenJob, i);
        if (job->state == STORE_JOB_PLANNED)
            g_array_append_val(jobs, job->job);
    }
    return helper == NULL ? NULL
                          : wording_helper(&words, helper, &visit->visit,
                                           (const Job *)(gconstpointer)jobs->data, (int)jobs->len);
}

char *absence_description(const Service *s, const OpenVisit *visit, char *description)
{
    g_autofree char *own = description;
    g_autofree char *helper = absence_helper_text(s, visit);
    g_autofree char *note = absence_note(s, &visit->visit);

    return g_strdup_printf("%s%s%s%s%s", helper != NULL ? helper : "", helper != NULL ? "\n" : "",
                           own, note != NULL ? "\n" : "", note != NULL ? note : "");
}

/* ---- two days before ---- */

/* The last visits before it, in words; "" where none is needed. */
static char *last_visits(const Service *s, const StoreAway *away)
{
    const WordingContext words = service_wording(s);
    GString *text = g_string_new(NULL);

    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *open = s->visits->pdata[i];
        int64_t again_utc = 0;
        if (open->begun || !is_last_before(s, &open->visit, away, &again_utc))
            continue;
        g_autofree char *visit =
            wording_last_before(&words, open->visit.site, open->visit.start_utc, again_utc);
        g_string_append_printf(text, " %s", visit);
    }
    return g_string_free(text, FALSE);
}

/* The limits that are passed while nobody comes, as planned: two at most. */
static char *what_may_befall(const Service *s, const StoreAway *away)
{
    const WordingContext words = service_wording(s);
    GString *text = g_string_new(NULL);
    int told = 0;

    for (int i = 0; i < s->plan.n_breaches && told < 2; i++) {
        const Reason *reason = &s->plan.breaches[i];
        if (reason->at_utc < away->from_utc || reason->at_utc >= away->to_utc || reason->place < 0)
            continue;
        g_autofree char *why =
            wording_reason_plain(&words, reason, s->garden->places[reason->place].site);
        g_string_append_printf(text, "%s%s", told > 0 ? " " : " But meanwhile: ", why);
        told++;
    }
    if (told == 0 && s->plan.outlooks != NULL)
        g_string_append(text, " As planned, no limit is passed meanwhile.");
    return g_string_free(text, FALSE);
}

GPtrArray *absence_notices(const Service *s)
{
    GPtrArray *notices = g_ptr_array_new_with_free_func(g_free);
    g_autoptr(GArray) aways = load(s);
    const int64_t now_utc = clock_now(s->clk);

    for (guint i = 0; i < aways->len; i++) {
        const StoreAway *away = &g_array_index(aways, StoreAway, i);
        if (away->grower < 0 || now_utc < away->from_utc - NOTICE_S || now_utc >= away->from_utc)
            continue;
        g_autofree char *words = absence_words(s, away);
        g_autofree char *visits = last_visits(s, away);
        g_autofree char *befalls = what_may_befall(s, away);
        g_ptr_array_add(notices,
                        g_strdup_printf("Soon %s.%s%s", words,
                                        *visits != '\0' ? visits : " No visit is needed before it.",
                                        befalls));
    }
    return notices;
}
