/* SPDX-License-Identifier: MIT */
#include "service/event-text.h"

#include <json-glib/json-glib.h>
#include <string.h>

#include "base/error.h"
#include "base/local-time.h"
#include "service/absence.h"
#include "service/desktop.h"
#include "service/edit-told.h"
#include "service/jobs.h"
#include "service/wording-notice.h"
#include "store/store-calendar.h"

#define EARLY_ALARM_MIN                                                                            \
    60 /* the second alarm of a visit that guards plants, before the first; chosen */
#define ASK_AFTER_S                                                                                \
    3600 /* a question stands in the calendar so long after the visit began; chosen */
#define ASK_LASTS_S 900
#define SOON_S 300          /* what is late is put so soon, on the grid of this; chosen */
#define ALERT_BEFORE_S 3600 /* an alert that no visit can answer, before it is too late; chosen */

static gboolean any_guard(const GArray *jobs)
{
    for (guint i = 0; i < jobs->len; i++) {
        if (g_array_index(jobs, Job, i).guard || g_array_index(jobs, Job, i).urgent)
            return TRUE;
    }
    return FALSE;
}

static EventWanted *event_at(const Service *s, int site, const char *id, int64_t start_utc,
                             int64_t end_utc)
{
    EventWanted *event = event_wanted_new();
    GTimeZone *zone = s->zones[site];
    event->visit_id = g_strdup(id);
    event->start_utc = start_utc;
    event->end_utc = end_utc;
    event->day_end_utc = local_midnight(zone, local_day(zone, start_utc) + 1);
    event->location = g_strdup(s->garden->sites[site].name);
    event->alarms = event_alarms_new();
    return event;
}

static EventWanted *visit_event(Service *s, const OpenVisit *v)
{
    WordingContext context = service_wording(s);
    g_autoptr(GArray) array = jobs_open(v, FALSE);
    const Job *jobs = (const Job *)(gconstpointer)array->data;
    int n = (int)array->len, site = v->visit.site;
    EventWanted *event = event_at(s, site, v->visit.id, v->visit.start_utc,
                                  v->visit.start_utc + (int64_t)(v->visit.minutes * 60.0));
    event->whose = g_strdup(s->garden->growers[v->visit.grower].name);
    event->summary = wording_summary(&context, &v->visit, jobs, n);
    event->description =
        edits_described(s, &v->visit,
                        absence_description(s, v,
                                            wording_description(&context, &v->visit, jobs, n,
                                                                service_weather_note(s, site))));
    event->substance = wording_substance(&context, &v->visit, jobs, n);
    g_autofree char *text = wording_alarm(&context, &v->visit, jobs, n);
    int leave_min = (int)(jobs_way_s(s, &v->visit) / 60);
    gboolean guard = any_guard(array);
    event_alarms_add(event->alarms, leave_min, guard, text);
    if (guard)
        event_alarms_add(event->alarms, leave_min + EARLY_ALARM_MIN, TRUE, text);
    return event;
}

static const EventMemory *remembered(const Service *s, const char *id)
{
    for (guint i = 0; i < s->memory->len; i++) {
        const EventMemory *m = g_ptr_array_index(s->memory, i);
        if (g_strcmp0(m->visit_id, id) == 0)
            return m;
    }
    return NULL;
}

/* An id that was withdrawn cannot come back: the next time is another event, "alert-x-2". */
static char *living_id(const Service *s, const GPtrArray *wanted, const char *base)
{
    for (int generation = 1;; generation++) {
        char *id = generation == 1 ? g_strdup(base) : g_strdup_printf("%s-%d", base, generation);
        const EventMemory *m = remembered(s, id);
        gboolean taken = m != NULL && (m->cancelled || m->ended);
        for (guint i = 0; !taken && i < wanted->len; i++)
            taken =
                g_strcmp0(((const EventWanted *)g_ptr_array_index(wanted, i))->visit_id, id) == 0;
        if (!taken)
            return id;
        g_free(id);
    }
}

/* Where an event published with this id stands, else `utc`, or as soon as may be: an alarm in the
 * past is none. */
static int64_t stands_utc(const Service *s, const char *id, int64_t utc)
{
    const EventMemory *m = remembered(s, id);
    int64_t soonest_utc = (clock_now(s->clk) / SOON_S + 1) * SOON_S;
    return m != NULL ? m->start_utc : MAX(utc, soonest_utc);
}

/* A job that guards plants and was not reported: a second alarm asks for it. */
static EventWanted *question(Service *s, const OpenVisit *v, const GPtrArray *wanted)
{
    g_autoptr(GArray) array = jobs_open(v, TRUE);
    if (!v->begun || array->len == 0)
        return NULL;
    WordingContext context = service_wording(s);
    const Job *jobs = (const Job *)(gconstpointer)array->data;
    g_autofree char *base = g_strdup_printf(EVENT_ASK_PREFIX "%s", v->visit.id);
    const EventMemory *before = remembered(s, base);
    if (before != NULL && before->ended)
        return NULL; /* its day is over: it was asked */
    g_autofree char *id = living_id(s, wanted, base);
    g_autofree char *summary = wording_summary(&context, &v->visit, jobs, (int)array->len);
    /* Where it would be too late by then, as soon as it is asked. */
    int64_t asked_utc = jobs_ask_utc(s, v);
    int64_t at_utc = stands_utc(s, id,
                                asked_utc < v->visit.start_utc + ASK_AFTER_S / 2
                                    ? asked_utc
                                    : v->visit.start_utc + ASK_AFTER_S);
    EventWanted *event = event_at(s, v->visit.site, id, at_utc, at_utc + ASK_LASTS_S);
    event->whose = g_strdup(s->garden->growers[v->visit.grower].name);
    g_autofree char *asked = g_strdup_printf("Done? %s", summary);
    event->summary = g_utf8_strlen(asked, -1) <= WORDING_SUMMARY_MAX ? g_steal_pointer(&asked)
                                                                     : g_strdup(summary);
    g_autofree char *body = wording_description(&context, &v->visit, jobs, (int)array->len,
                                                service_weather_note(s, v->visit.site));
    event->description =
        g_strdup_printf("Nobody has reported this yet, and plants depend on it. Report it with "
                        "\"tholectl done\" or \"tholectl missed\".\n%s",
                        body);
    event->substance = wording_substance(&context, &v->visit, jobs, (int)array->len);
    event_alarms_add(event->alarms, 0, TRUE, event->summary);
    return event;
}

static int64_t alert_last_utc(const Job *job)
{
    return job->deadline_utc != 0 ? job->deadline_utc : job->reason.at_utc;
}

char *event_text_alert_id(const Service *s, const Job *job)
{
    int site = s->garden->places[job->place].site;
    const char *batch =
        job->batch >= 0 ? g_array_index(s->current.batches, Batch, job->batch).id : "garden";
    const WordingContext words = service_wording(s);
    return g_strdup_printf(EVENT_ALERT_PREFIX "%s-%d%s", batch,
                           local_day(s->zones[site], alert_last_utc(job)),
                           wording_is_too_late(&words, job) ? "-late" : "");
}

/* When somebody may come to open: the next sunrise; where there is none, when it is coldest. */
static int64_t morning_utc(const Service *s, int site, const Job *job)
{
    const GArray *days = s->weather != NULL ? s->weather[site].days : NULL;
    for (guint i = 0; days != NULL && i < days->len; i++) {
        const SolarDay *day = &g_array_index(days, SolarDay, i);
        if (day->sunrise_utc > clock_now(s->clk))
            return day->sunrise_utc / STEP_S * STEP_S;
    }
    return job->reason.at_utc;
}

/* Nobody can come in time any more: what is not to be done in the morning. */
static EventWanted *too_late(const Service *s, const Job *job, const GPtrArray *wanted)
{
    const WordingContext context = service_wording(s);
    int site = s->garden->places[job->place].site;
    g_autofree char *base = event_text_alert_id(s, job);
    g_autofree char *id = living_id(s, wanted, base);
    int64_t at_utc = stands_utc(s, id, morning_utc(s, site, job));
    EventWanted *event = event_at(s, site, id, at_utc, at_utc + ASK_LASTS_S);
    event->summary = wording_too_late_summary(&context, job);
    event->description = wording_too_late_notice(&context, job);
    event->substance = g_strdup_printf("late %s", base);
    event_alarms_add(event->alarms, 0, TRUE, event->summary);
    return event;
}

/* What no visit can do: once, before it is too late. */
static EventWanted *alert(Service *s, const Job *job, const GPtrArray *wanted)
{
    int64_t last_utc = alert_last_utc(job);
    WordingContext context = service_wording(s);
    if (job->urgent && job->place >= 0 && wording_is_too_late(&context, job))
        return too_late(s, job, wanted);
    if (!job->urgent || job->place < 0 || last_utc <= clock_now(s->clk))
        return NULL;
    int site = s->garden->places[job->place].site;
    g_autofree char *base = event_text_alert_id(s, job);
    g_autofree char *id = living_id(s, wanted, base);
    int64_t at_utc = stands_utc(s, id, (last_utc - ALERT_BEFORE_S) / STEP_S * STEP_S);
    EventWanted *event = event_at(s, site, id, at_utc, at_utc + ASK_LASTS_S);
    event->summary = wording_summary(&context, NULL, job, 1);
    event->description = wording_description(&context, NULL, job, 1, service_weather_note(s, site));
    event->substance = wording_substance(&context, NULL, job, 1);
    event_alarms_add(event->alarms, 0, TRUE, event->summary);
    return event;
}

/* What the grower asked for to see whether alarms arrive. It leaves as soon as it is over. */
static EventWanted *test_alarm(const Service *s, const GPtrArray *wanted)
{
    int64_t at_utc = desktop_test_utc(s->desktop);
    if (at_utc == 0)
        return NULL;
    g_autofree char *base = g_strdup_printf(EVENT_TEST_PREFIX "%" G_GINT64_FORMAT, at_utc);
    g_autofree char *id = living_id(s, wanted, base);
    EventWanted *event = event_at(s, 0, id, at_utc, at_utc + DESKTOP_TEST_LASTS_S);
    event->day_end_utc = event->end_utc;
    event->summary = wording_test_summary();
    event->description = wording_test_description();
    event->substance = g_strdup(id);
    event_alarms_add(event->alarms, 0, FALSE, event->summary);
    return event;
}

GPtrArray *event_text_wanted(Service *s)
{
    GPtrArray *wanted = g_ptr_array_new_with_free_func((GDestroyNotify)event_wanted_free);
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *v = g_ptr_array_index(s->visits, i);
        EventWanted *event = v->begun ? question(s, v, wanted) : visit_event(s, v);
        if (event != NULL)
            g_ptr_array_add(wanted, event);
    }
    EventWanted *test = test_alarm(s, wanted);
    if (test != NULL)
        g_ptr_array_add(wanted, test);
    for (guint i = 0; i < s->alerts->len; i++) {
        EventWanted *event = alert(s, &g_array_index(s->alerts, Job, i), wanted);
        if (event != NULL)
            g_ptr_array_add(wanted, event);
    }
    edits_add_answered(s, wanted);
    return wanted;
}

/* ---- the store's copy ---- */

static void set_text(JsonObject *object, const char *name, const char *value)
{
    json_object_set_string_member(object, name, value != NULL ? value : "");
}

static gboolean visits(const Grower *grower, int site)
{
    for (int i = 0; i < grower->n_rules; i++) {
        if (grower->rules[i].site == site)
            return TRUE;
    }
    return FALSE;
}

gboolean event_text_is_for(const Service *service, const EventMemory *event, int grower)
{
    const Garden *garden = service->garden;
    if (grower < 0)
        return TRUE;
    if (*event->whose != '\0')
        return strcmp(event->whose, garden->growers[grower].name) == 0;
    const int site = garden_find_site(garden, event->location);
    return g_str_has_prefix(event->visit_id, EVENT_TEST_PREFIX) || site < 0 ||
           visits(&garden->growers[grower], site);
}

static char *content_text(const EventMemory *m)
{
    g_autoptr(JsonObject) object = json_object_new();
    set_text(object, "visit", m->visit_id);
    set_text(object, "whose", m->whose);
    set_text(object, "substance", m->substance);
    set_text(object, "summary", m->summary);
    set_text(object, "location", m->location);
    set_text(object, "description", m->description);
    JsonArray *alarms = json_array_new();
    for (guint i = 0; i < m->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(m->alarms, EventAlarm, i);
        JsonObject *one = json_object_new();
        json_object_set_int_member(one, "before", alarm->minutes_before);
        json_object_set_boolean_member(one, "urgent", alarm->urgent);
        set_text(one, "text", alarm->text);
        json_array_add_object_element(alarms, one);
    }
    json_object_set_array_member(object, "alarms", alarms);
    g_autoptr(JsonNode) root = json_node_new(JSON_NODE_OBJECT);
    json_node_set_object(root, object);
    return json_to_string(root, FALSE);
}

gboolean event_text_remember(Store *store, const EventMemory *m, GError **error)
{
    StoreEvent event = {.sequence = m->sequence,
                        .dtstamp_utc = m->dtstamp_utc,
                        .created_utc = m->created_utc,
                        .last_modified_utc = m->last_modified_utc,
                        .start_utc = m->start_utc,
                        .end_utc = m->end_utc,
                        .day_end_utc = m->day_end_utc,
                        .ended = m->ended};
    g_strlcpy(event.uid, m->uid, sizeof event.uid);
    g_strlcpy(event.content_hash, m->hash, sizeof event.content_hash);
    g_strlcpy(event.status, m->cancelled ? "CANCELLED" : "CONFIRMED", sizeof event.status);
    /* A question or an alert belongs to no visit of the store; its id is in the content. */
    if (strchr(m->visit_id, '-') == NULL)
        g_strlcpy(event.visit_id, m->visit_id, sizeof event.visit_id);
    event.content = content_text(m);
    gboolean ok = store_put_event(store, &event, error);
    store_event_clear(&event);
    return ok;
}

static gboolean read_content(const StoreEvent *event, EventMemory *m, GError **error)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    if (!json_parser_load_from_data(parser, event->content, -1, error))
        return FALSE;
    JsonNode *root = json_parser_get_root(parser);
    if (root == NULL || !JSON_NODE_HOLDS_OBJECT(root)) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_FAILED,
                    "event %s: its remembered content is not an object", event->uid);
        return FALSE;
    }
    JsonObject *object = json_node_get_object(root);
    struct {
        const char *name;
        char **to;
    } texts[] = {{"visit", &m->visit_id},      {"whose", &m->whose},
                 {"substance", &m->substance}, {"summary", &m->summary},
                 {"location", &m->location},   {"description", &m->description}};
    for (gsize i = 0; i < G_N_ELEMENTS(texts); i++) {
        g_free(*texts[i].to);
        *texts[i].to =
            g_strdup(json_object_get_string_member_with_default(object, texts[i].name, ""));
    }
    JsonArray *alarms = json_object_get_array_member(object, "alarms");
    for (guint i = 0; alarms != NULL && i < json_array_get_length(alarms); i++) {
        JsonObject *one = json_array_get_object_element(alarms, i);
        event_alarms_add(m->alarms, (int)json_object_get_int_member_with_default(one, "before", 0),
                         json_object_get_boolean_member_with_default(one, "urgent", FALSE),
                         json_object_get_string_member_with_default(one, "text", ""));
    }
    return TRUE;
}

gboolean event_text_load(Store *store, GPtrArray *memory, GError **error)
{
    g_autoptr(GArray) events = NULL;
    if (!store_load_events(store, TRUE, &events, error))
        return FALSE;
    for (guint i = 0; i < events->len; i++) {
        const StoreEvent *event = &g_array_index(events, StoreEvent, i);
        g_autoptr(EventMemory) m = event_memory_new();
        g_free(m->uid);
        m->uid = g_strdup(event->uid);
        g_free(m->hash);
        m->hash = g_strdup(event->content_hash);
        m->sequence = event->sequence;
        m->created_utc = event->created_utc;
        m->dtstamp_utc = event->dtstamp_utc;
        m->last_modified_utc = event->last_modified_utc;
        m->start_utc = event->start_utc;
        m->end_utc = event->end_utc;
        m->day_end_utc = event->day_end_utc;
        m->cancelled = g_strcmp0(event->status, "CANCELLED") == 0;
        m->ended = event->ended;
        if (!read_content(event, m, error))
            return FALSE;
        g_ptr_array_add(memory, g_steal_pointer(&m));
    }
    return TRUE;
}
