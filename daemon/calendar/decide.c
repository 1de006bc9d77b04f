/* SPDX-License-Identifier: MIT */
#include "calendar/decide.h"

#include <string.h>

#include "base/error.h"

/* Four digits of a year are all that iCalendar has: 9999-12-31T23:59:59Z. */
#define TIME_MAX_UTC INT64_C(253402300799)

typedef struct Decision {
    GHashTable *wanted; /* (element-type EventWanted) not over, by visit id; taken out once seen */
    int64_t now_utc, lag_s;
    GPtrArray *changes; /* (element-type CalendarChange) */
} Decision;

void calendar_change_free(CalendarChange *change)
{
    if (change == NULL)
        return;
    g_free(change->uid);
    g_free(change->visit_id);
    g_free(change);
}

static void memory_free(gpointer data)
{
    event_memory_free(data);
}

static void change_free(gpointer data)
{
    calendar_change_free(data);
}

static gboolean is_used_up(const EventMemory *memory)
{
    return memory->cancelled || memory->ended;
}

gboolean calendar_visit_ended(const GPtrArray *memory, const char *visit_id)
{
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *event = memory->pdata[i];
        if (is_used_up(event) && strcmp(event->visit_id, visit_id) == 0)
            return TRUE;
    }
    return FALSE;
}

/* ---- what is wanted ---- */

static gboolean check_alarms(const EventWanted *wanted, GError **error)
{
    for (guint i = 0; wanted->alarms != NULL && i < wanted->alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(wanted->alarms, EventAlarm, i);
        if (alarm->minutes_before < 0 || alarm->minutes_before > EVENT_ALARM_MINUTES_MAX) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                        "visit %s: alarm %d minutes before the start; 0 to %d are accepted",
                        wanted->visit_id, alarm->minutes_before, EVENT_ALARM_MINUTES_MAX);
            return FALSE;
        }
        if (alarm->text == NULL || alarm->text[0] == '\0') {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                        "visit %s: the alarm %d minutes before the start has no text",
                        wanted->visit_id, alarm->minutes_before);
            return FALSE;
        }
    }
    return TRUE;
}

static gboolean check_wanted(const EventWanted *wanted, GError **error)
{
    if (wanted->visit_id == NULL || wanted->visit_id[0] == '\0') {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "the visit at %" G_GINT64_FORMAT " has no id", wanted->start_utc);
        return FALSE;
    }
    if (wanted->start_utc < 0 || wanted->end_utc <= wanted->start_utc ||
        wanted->end_utc > TIME_MAX_UTC) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "visit %s: from %" G_GINT64_FORMAT " to %" G_GINT64_FORMAT
                    "; the end must come after the start, both between 1970 and 9999",
                    wanted->visit_id, wanted->start_utc, wanted->end_utc);
        return FALSE;
    }
    if (wanted->day_end_utc <= wanted->start_utc) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "visit %s: its day ends at %" G_GINT64_FORMAT
                    "; it must end after the visit's start at %" G_GINT64_FORMAT,
                    wanted->visit_id, wanted->day_end_utc, wanted->start_utc);
        return FALSE;
    }
    if (wanted->summary == NULL || wanted->summary[0] == '\0' || wanted->substance == NULL) {
        g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                    "visit %s: a summary and a substance are needed", wanted->visit_id);
        return FALSE;
    }
    return check_alarms(wanted, error);
}

/* The wanted visits by id; NULL with error when one of them cannot be. */
static GHashTable *index_wanted(const GPtrArray *memory, const GPtrArray *wanted, int64_t now_utc,
                                GError **error)
{
    g_autoptr(GHashTable) by_id = g_hash_table_new(g_str_hash, g_str_equal);

    for (guint i = 0; i < wanted->len; i++) {
        EventWanted *event = wanted->pdata[i];
        if (!check_wanted(event, error))
            return NULL;
        /* A visit that is over is history, which a plan may still show; only an answer is put to
         * it. */
        if (event->end_utc <= now_utc && !event->answers)
            continue;
        if (!g_hash_table_insert(by_id, event->visit_id, event)) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_INVALID,
                        "visit %s is there twice; each visit has one event", event->visit_id);
            return NULL;
        }
    }
    for (guint i = 0; i < memory->len; i++) {
        const EventMemory *event = memory->pdata[i];
        if (is_used_up(event) && g_hash_table_contains(by_id, event->visit_id)) {
            g_set_error(error, THOLE_ERROR, THOLE_ERROR_CONFLICT,
                        "visit %s was withdrawn or is past; it needs a new id to come back",
                        event->visit_id);
            return NULL;
        }
    }
    return g_steal_pointer(&by_id);
}

/* ---- content ---- */

static void set_text(char **field, const char *text)
{
    g_free(*field);
    *field = event_text_clean(text);
}

/* Earliest first; of two at one minute the urgent one first. */
static int compare_alarms(gconstpointer left, gconstpointer right)
{
    const EventAlarm *a = left, *b = right;

    if (a->minutes_before != b->minutes_before)
        return a->minutes_before > b->minutes_before ? -1 : 1;
    return (b->urgent != FALSE) - (a->urgent != FALSE);
}

/* The alarms sorted, one for each minute: two at once would ring twice for one thing. */
static GArray *tidy_alarms(const GArray *alarms)
{
    g_autoptr(GArray) sorted = event_alarms_new();
    g_autoptr(GArray) tidy = event_alarms_new();

    for (guint i = 0; alarms != NULL && i < alarms->len; i++) {
        const EventAlarm *alarm = &g_array_index(alarms, EventAlarm, i);
        g_autofree char *text = event_text_clean(alarm->text);
        event_alarms_add(sorted, alarm->minutes_before, alarm->urgent, text);
    }
    g_array_sort(sorted, compare_alarms);
    for (guint i = 0; i < sorted->len; i++) {
        const EventAlarm *alarm = &g_array_index(sorted, EventAlarm, i);
        if (i == 0 || alarm->minutes_before != (alarm - 1)->minutes_before)
            event_alarms_add(tidy, alarm->minutes_before, alarm->urgent, alarm->text);
    }
    return g_steal_pointer(&tidy);
}

static char **tidy_categories(char **categories)
{
    GPtrArray *tidy = g_ptr_array_new();

    for (char **category = categories; category != NULL && *category != NULL; category++)
        g_ptr_array_add(tidy, event_name_clean(*category));
    g_ptr_array_add(tidy, NULL);
    return (char **)g_ptr_array_free(tidy, FALSE);
}

static void take_content(EventMemory *event, const EventWanted *wanted)
{
    event->start_utc = wanted->start_utc;
    event->end_utc = wanted->end_utc;
    event->day_end_utc = wanted->day_end_utc;
    set_text(&event->whose, wanted->whose);
    set_text(&event->summary, wanted->summary);
    set_text(&event->location, wanted->location);
    set_text(&event->description, wanted->description);
    g_strfreev(event->categories);
    event->categories = tidy_categories(wanted->categories);
    g_array_unref(event->alarms);
    event->alarms = tidy_alarms(wanted->alarms);
    g_free(event->substance);
    event->substance = g_strdup(wanted->substance);
}

/* Stamp the event if its content is no longer what its hash says; whether it was. */
static gboolean stamp(EventMemory *event, int64_t now_utc)
{
    g_autofree char *hash = event_memory_hash(event);

    if (strcmp(hash, event->hash) == 0)
        return FALSE;
    g_free(event->hash);
    event->hash = g_steal_pointer(&hash);
    /* Readers break ties by DTSTAMP: it rises even within a second, or when the clock went back. */
    event->dtstamp_utc = MAX(now_utc, event->dtstamp_utc + 1);
    event->last_modified_utc = event->dtstamp_utc;
    return TRUE;
}

/* ---- changes ---- */

static int64_t alarm_utc(const EventMemory *event, guint i)
{
    const EventAlarm *alarm = &g_array_index(event->alarms, EventAlarm, i);

    return event->start_utc - INT64_C(60) * alarm->minutes_before;
}

static gboolean has_urgent(const EventMemory *event)
{
    for (guint i = 0; i < event->alarms->len; i++) {
        if (g_array_index(event->alarms, EventAlarm, i).urgent)
            return TRUE;
    }
    return FALSE;
}

/*
 * Whether phones may ring wrongly or not at all: an old alarm still to come that they cannot yet
 * know to be void, or a new one that falls due, or already fell due, before they know of it.
 */
static gboolean may_miss(const Decision *decision, const EventMemory *before,
                         const EventMemory *after)
{
    int64_t known_utc = decision->now_utc + decision->lag_s;

    for (guint i = 0; before != NULL && i < before->alarms->len; i++) {
        int64_t at_utc = alarm_utc(before, i);
        if (at_utc >= decision->now_utc && at_utc < known_utc)
            return TRUE;
    }
    if (after->end_utc <= decision->now_utc)
        return FALSE;
    for (guint i = 0; i < after->alarms->len; i++) {
        if (alarm_utc(after, i) < known_utc)
            return TRUE;
    }
    return FALSE;
}

/* before is NULL for an event that is new. */
static void note_change(Decision *decision, CalendarChangeKind kind, const EventMemory *before,
                        const EventMemory *after)
{
    CalendarChange *change = g_new0(CalendarChange, 1);

    change->kind = kind;
    change->uid = g_strdup(after->uid);
    change->visit_id = g_strdup(after->visit_id);
    change->urgent = (before != NULL && has_urgent(before)) || has_urgent(after);
    change->phone_may_miss = kind != CALENDAR_LEFT && may_miss(decision, before, after);
    change->first_alarm_utc = after->alarms->len > 0 ? alarm_utc(after, 0) : 0;
    g_ptr_array_add(decision->changes, change);
}

/* ---- one event ---- */

static void update(Decision *decision, EventMemory *event, const EventWanted *wanted)
{
    g_autoptr(EventMemory) before = event_memory_copy(event);
    gboolean moved = event->start_utc != wanted->start_utc || event->end_utc != wanted->end_utc;
    gboolean revised = strcmp(event->substance, wanted->substance) != 0;

    take_content(event, wanted);
    if (!stamp(event, decision->now_utc))
        return;
    if (moved || revised)
        event->sequence++;
    note_change(decision,
                moved     ? CALENDAR_MOVED
                : revised ? CALENDAR_REVISED
                          : CALENDAR_REWORDED,
                before, event);
}

static void cancel(Decision *decision, EventMemory *event)
{
    g_autoptr(EventMemory) before = event_memory_copy(event);

    event->cancelled = TRUE;
    g_array_set_size(event->alarms, 0);
    event->sequence++;
    stamp(event, decision->now_utc);
    note_change(decision, CALENDAR_CANCELLED, before, event);
}

static void add(Decision *decision, GPtrArray *memory, const EventWanted *wanted)
{
    EventMemory *event = event_memory_new();

    g_free(event->uid);
    event->uid = g_uuid_string_random();
    g_free(event->visit_id);
    event->visit_id = g_strdup(wanted->visit_id);
    event->created_utc = decision->now_utc;
    take_content(event, wanted);
    stamp(event, decision->now_utc);
    g_ptr_array_add(memory, event);
    note_change(decision, CALENDAR_ADDED, NULL, event);
}

/* Take one former event on; what it answers to is removed from the wanted ones. */
static void carry_on(Decision *decision, EventMemory *event)
{
    const EventWanted *wanted;

    if (event->ended)
        return;
    wanted = g_hash_table_lookup(decision->wanted, event->visit_id);
    if (wanted != NULL) {
        update(decision, event, wanted);
        g_hash_table_remove(decision->wanted, event->visit_id);
    } else if (!event->cancelled && decision->now_utc < event->start_utc) {
        cancel(decision, event);
    }
    if (decision->now_utc >= event->end_utc && decision->now_utc >= event->day_end_utc) {
        event->ended = TRUE;
        note_change(decision, CALENDAR_LEFT, event, event);
    }
}

gboolean calendar_decide(const GPtrArray *memory, const GPtrArray *wanted, int64_t now_utc,
                         int64_t lag_s, GPtrArray **ret_memory, GPtrArray **ret_changes,
                         GError **error)
{
    g_autoptr(GHashTable) by_id = index_wanted(memory, wanted, now_utc, error);
    g_autoptr(GPtrArray) result = g_ptr_array_new_with_free_func(memory_free);
    g_autoptr(GPtrArray) changes = g_ptr_array_new_with_free_func(change_free);
    Decision decision = {
        .wanted = by_id,
        .now_utc = now_utc,
        .lag_s = lag_s,
        .changes = changes,
    };

    if (by_id == NULL)
        return FALSE;
    for (guint i = 0; i < memory->len; i++) {
        EventMemory *event = event_memory_copy(memory->pdata[i]);
        g_ptr_array_add(result, event);
        carry_on(&decision, event);
    }
    /* In the order given, not in that of the table. */
    for (guint i = 0; i < wanted->len; i++) {
        const EventWanted *event = wanted->pdata[i];
        if (g_hash_table_lookup(by_id, event->visit_id) == event && event->end_utc > now_utc)
            add(&decision, result, event);
    }
    *ret_memory = g_steal_pointer(&result);
    *ret_changes = g_steal_pointer(&changes);
    return TRUE;
}
