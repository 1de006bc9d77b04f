/* SPDX-License-Identifier: MIT */
/*
 * The times are those of the calendar's alarms; the words are made of the jobs as they stand. An
 * alarm is wanted as long as what it is about: it leaves the screen when it is not any more.
 */
#include "service/desktop-wanted.h"

#include <string.h>

#include "service/event-text.h"
#include "service/jobs.h"
#include "service/wording-notice.h"

#define APART_S 3600 /* an alert shown so shortly before its alarm is not repeated then; chosen */

gboolean desktop_is_asked_for(const Garden *garden)
{
    for (int i = 0; i < garden->n_growers; i++)
        if (garden->growers[i].desktop)
            return TRUE;
    return FALSE;
}

static int64_t alarm_utc(const EventMemory *event, guint i)
{
    return event->start_utc -
           60 * (int64_t)g_array_index(event->alarms, EventAlarm, i).minutes_before;
}

/* What must not stand on the screen any longer once it has changed: the short form, and what is to
 * be done; the reasons' figures move with every forecast. */
static char *sense(const WordingContext *words, const Visit *visit, const Job *jobs, int n_jobs)
{
    g_autofree char *alarm = wording_alarm(words, visit, jobs, n_jobs);
    GString *text = g_string_new(alarm);
    for (int i = 0; i < n_jobs; i++) {
        g_autofree char *job = wording_job(words, &jobs[i]);
        g_string_append_printf(text, "\n%s", job);
    }
    return g_string_free(text, FALSE);
}

/* The jobs in words, under `key`. */
static NoticeWanted *notice(const Service *s, const char *key, int64_t due_utc, int64_t last_utc,
                            const Visit *visit, const GArray *jobs)
{
    const WordingContext words = service_wording(s);
    const Job *first = (const Job *)(gconstpointer)jobs->data;
    NoticeWanted *wanted = notice_wanted_new(key, due_utc, last_utc);
    wanted->summary = wording_summary(&words, visit, first, (int)jobs->len);
    wanted->body = wording_notice(&words, visit, first, (int)jobs->len);
    wanted->sense = sense(&words, visit, first, (int)jobs->len);
    if (visit == NULL && wording_is_too_late(&words, first)) {
        g_free(wanted->summary);
        g_free(wanted->body);
        g_free(wanted->sense);
        wanted->summary = wording_too_late_summary(&words, first);
        wanted->body = wording_too_late_notice(&words, first);
        wanted->sense = g_strdup(wanted->summary);
    }
    wanted->visit_id = visit != NULL ? g_strdup(visit->id) : NULL;
    return wanted;
}

/* ---- visits, and questions about them ---- */

/* It is worth going until the visit is over, or the last deadline has passed. */
static int64_t visit_last_utc(const EventMemory *event, const GArray *jobs)
{
    int64_t last_utc = event->end_utc;
    for (guint i = 0; i < jobs->len; i++)
        last_utc = MAX(last_utc, g_array_index(jobs, Job, i).deadline_utc);
    return last_utc;
}

static const OpenVisit *find_visit(const Service *s, const char *id)
{
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = s->visits->pdata[i];
        if (strncmp(v->visit.id, id, strlen(v->visit.id)) == 0)
            return v;
    }
    return NULL;
}

/* A question about the visit takes the place of its alarms. */
static gboolean is_asked_about(const Service *s, const OpenVisit *v, int64_t now_utc)
{
    g_autofree char *id = g_strdup_printf(EVENT_ASK_PREFIX "%s", v->visit.id);
    for (guint i = 0; i < s->memory->len; i++) {
        const EventMemory *event = s->memory->pdata[i];
        if (g_str_has_prefix(event->visit_id, id) && !event->cancelled && !event->ended &&
            event->start_utc <= now_utc)
            return TRUE;
    }
    return FALSE;
}

static void add_visit(const Service *s, const EventMemory *event, gboolean is_question,
                      GPtrArray *wanted)
{
    const char *id = event->visit_id + (is_question ? strlen(EVENT_ASK_PREFIX) : 0);
    const OpenVisit *v = find_visit(s, id);
    const int64_t now_utc = clock_now(s->clk);
    if (v == NULL || v->closed || !s->garden->growers[v->visit.grower].desktop ||
        (!is_question && is_asked_about(s, v, now_utc)))
        return;
    g_autoptr(GArray) jobs = jobs_open(v, is_question);
    for (guint i = 0; jobs->len > 0 && i < event->alarms->len; i++) {
        /* The next alarm takes over from an early one. */
        const gboolean early = i + 1 < event->alarms->len;
        const int64_t last_utc = early ? alarm_utc(event, i + 1) - 1 : visit_last_utc(event, jobs);
        g_autofree char *key = g_strconcat(is_question ? EVENT_ASK_PREFIX : "", v->visit.id,
                                           early ? "/early" : "", NULL);
        if (early && now_utc > last_utc)
            continue;
        NoticeWanted *one = notice(s, key, alarm_utc(event, i), last_utc, &v->visit, jobs);
        one->critical = g_array_index(event->alarms, EventAlarm, i).urgent;
        if (is_question) {
            g_free(one->summary);
            one->summary = g_strdup(event->summary);
        }
        g_ptr_array_add(wanted, one);
    }
}

/* ---- what no visit can do ---- */

/* Its last moment is the event's end at the latest; shown at once, and once more at its alarm. */
static void add_alert(const Service *s, const EventMemory *event, const Job *job, const char *key,
                      GPtrArray *wanted)
{
    const int64_t now_utc = clock_now(s->clk);
    const int64_t at_utc = event->alarms->len > 0 ? alarm_utc(event, 0) : event->start_utc;
    const gboolean twice = at_utc - event->created_utc > APART_S;
    const int64_t last_utc = MAX(event->end_utc, job->deadline_utc);
    g_autofree char *now_key = g_strdup_printf("%s/now", key);
    g_autoptr(GArray) jobs = g_array_new(FALSE, FALSE, sizeof(Job));
    g_array_append_vals(jobs, job, 1);
    if (!twice || now_utc < at_utc)
        g_ptr_array_add(wanted, notice(s, now_key, event->created_utc,
                                       twice ? at_utc - 1 : last_utc, NULL, jobs));
    if (twice)
        g_ptr_array_add(wanted, notice(s, key, at_utc, last_utc, NULL, jobs));
}

/* Two alerts of one batch and day are two. */
static char *unused_key(const GPtrArray *wanted, const char *id)
{
    for (int n = 1;; n++) {
        char *key = n == 1 ? g_strdup(id) : g_strdup_printf("%s+%d", id, n);
        g_autofree char *now_key = g_strdup_printf("%s/now", key);
        gboolean used = FALSE;
        for (guint i = 0; i < wanted->len; i++) {
            const NoticeWanted *w = wanted->pdata[i];
            used = used || g_str_equal(w->key, key) || g_str_equal(w->key, now_key);
        }
        if (!used)
            return key;
        g_free(key);
    }
}

static void add_alerts(const Service *s, GPtrArray *wanted)
{
    for (guint i = 0; i < s->alerts->len; i++) {
        const Job *job = &g_array_index(s->alerts, Job, i);
        if (job->place < 0)
            continue;
        g_autofree char *id = event_text_alert_id(s, job);
        g_autofree char *key = unused_key(wanted, id);
        const EventMemory *event = NULL;
        for (guint k = 0; k < s->memory->len; k++) {
            const EventMemory *m = s->memory->pdata[k];
            if (g_str_has_prefix(m->visit_id, id) && !m->cancelled && !m->ended)
                event = m;
        }
        const guint before = wanted->len;
        if (event != NULL)
            add_alert(s, event, job, key, wanted);
        for (guint k = before; k < wanted->len; k++) {
            NoticeWanted *one = wanted->pdata[k];
            one->critical = one->once = TRUE;
        }
    }
}

GPtrArray *desktop_wanted(const Service *s)
{
    GPtrArray *wanted = g_ptr_array_new_with_free_func((GDestroyNotify)notice_wanted_free);
    if (!desktop_is_asked_for(s->garden))
        return wanted;
    for (guint i = 0; i < s->memory->len; i++) {
        const EventMemory *event = s->memory->pdata[i];
        const gboolean is_question = g_str_has_prefix(event->visit_id, EVENT_ASK_PREFIX);
        if (event->cancelled || event->ended ||
            g_str_has_prefix(event->visit_id, EVENT_ALERT_PREFIX) ||
            g_str_has_prefix(event->visit_id, EVENT_TEST_PREFIX))
            continue;
        add_visit(s, event, is_question, wanted);
    }
    add_alerts(s, wanted);
    return wanted;
}
