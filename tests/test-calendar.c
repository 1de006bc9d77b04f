/* SPDX-License-Identifier: MIT */
/* What becomes of calendar events when the plan changes. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "calendar-check.h"
#include "calendar/decide.h"
#include "calendar/write.h"

#define HOUR_S 3600
#define DAY_S 86400
#define MONDAY INT64_C(1775433600) /* 2026-04-06T00:00:00Z */
#define LAG_S (6 * HOUR_S)

static EventMemory *event_at(const GPtrArray *memory, guint i)
{
    assert_true(i < memory->len);
    return memory->pdata[i];
}

/* Decide, and put the new memory in the place of the old; gives the changes. */
static GPtrArray *step(GPtrArray **memory, const GPtrArray *wanted, int64_t now_utc)
{
    g_autoptr(GError) error = NULL;
    GPtrArray *next = NULL, *changes = NULL;

    if (!calendar_decide(*memory, wanted, now_utc, LAG_S, &next, &changes, &error))
        fail_msg("%s", error->message);
    g_ptr_array_unref(*memory);
    *memory = next;
    return changes;
}

/* The same, where one event at most changes; gives the kind, -1 for none. */
static int step_one(GPtrArray **memory, const GPtrArray *wanted, int64_t now_utc)
{
    g_autoptr(GPtrArray) changes = step(memory, wanted, now_utc);

    assert_in_range(changes->len, 0, 1);
    return changes->len == 1 ? (int)((CalendarChange *)changes->pdata[0])->kind : -1;
}

/* An event that is as it was published on Monday 06:00 for Tuesday 07:30. */
static GPtrArray *one_event(void)
{
    g_autoptr(GPtrArray) wanted = calendar_sample_array();
    GPtrArray *memory = g_ptr_array_new();

    g_ptr_array_add(wanted, calendar_sample("v1", MONDAY + DAY_S + 27000, "Open frame", "open"));
    assert_int_equal(step_one(&memory, wanted, MONDAY + 6 * HOUR_S), CALENDAR_ADDED);
    return memory;
}

static void test_added(void **state)
{
    g_autoptr(GPtrArray) memory = one_event();
    const EventMemory *event = event_at(memory, 0);

    (void)state;
    assert_int_equal(memory->len, 1);
    assert_true(g_uuid_string_is_valid(event->uid));
    assert_int_equal(event->sequence, 0);
    assert_int_equal(event->created_utc, MONDAY + 6 * HOUR_S);
    assert_int_equal(event->dtstamp_utc, MONDAY + 6 * HOUR_S);
    assert_int_equal(event->last_modified_utc, event->dtstamp_utc);
    assert_string_equal(event->visit_id, "v1");
    assert_string_equal(event->summary, "Open frame");
    assert_int_equal(event->alarms->len, 1);
    assert_false(event->cancelled);
    assert_true(event_memory_is_shown(event));
}

/* One sentence each: how the wanted visit differs from the published one, and what that does. */
static const struct {
    const char *sentence;
    int start_shift_s, end_shift_s;
    const char *summary, *substance;
    int minutes_before;
    int kind, sequence; /* kind -1: nothing changes */
} update_rows[] = {
    {"nothing new", 0, 0, "Open frame", "open", 20, -1, 0},
    {"an hour later", HOUR_S, HOUR_S, "Open frame", "open", 20, CALENDAR_MOVED, 1},
    {"ten minutes longer", 0, 600, "Open frame", "open", 20, CALENDAR_MOVED, 1},
    {"to the next day", DAY_S, DAY_S, "Open frame", "open", 20, CALENDAR_MOVED, 1},
    {"moved with another job", 600, 600, "Shut frame", "shut", 20, CALENDAR_MOVED, 1},
    {"another job", 0, 0, "Shut frame", "shut", 20, CALENDAR_REVISED, 1},
    {"another temperature band", 0, 0, "Open frame (+4)", "open", 20, CALENDAR_REWORDED, 0},
    {"an earlier alarm", 0, 0, "Open frame", "open", 45, CALENDAR_REWORDED, 0},
    {"another job in the same words", 0, 0, "Open frame", "open both", 20, -1, 0},
};

static void test_updates(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(update_rows); i++) {
        g_autoptr(GPtrArray) memory = one_event();
        g_autoptr(GPtrArray) wanted = calendar_sample_array();
        g_autofree char *uid = g_strdup(event_at(memory, 0)->uid);
        int64_t start_utc = MONDAY + DAY_S + 27000 + update_rows[i].start_shift_s;
        int64_t now_utc = MONDAY + 9 * HOUR_S;
        EventWanted *visit =
            calendar_sample("v1", start_utc, update_rows[i].summary, update_rows[i].substance);
        const EventMemory *event;
        int kind;

        visit->end_utc += update_rows[i].end_shift_s - update_rows[i].start_shift_s;
        g_array_index(visit->alarms, EventAlarm, 0).minutes_before = update_rows[i].minutes_before;
        g_ptr_array_add(wanted, visit);
        kind = step_one(&memory, wanted, now_utc);
        event = event_at(memory, 0);
        if (kind != update_rows[i].kind || event->sequence != update_rows[i].sequence)
            fail_msg("%s: kind %d, sequence %d", update_rows[i].sentence, kind, event->sequence);
        assert_string_equal(event->uid, uid);
        assert_int_equal(event->created_utc, MONDAY + 6 * HOUR_S);
        assert_int_equal(event->dtstamp_utc, kind < 0 ? MONDAY + 6 * HOUR_S : now_utc);
        assert_int_equal(event->last_modified_utc, event->dtstamp_utc);
        assert_int_equal(event->start_utc, start_utc);
        assert_string_equal(event->substance, update_rows[i].substance);
    }
}

/* Each of the texts is content: another one is published, and moves the stamp. */
static void test_every_text_counts(void **state)
{
    (void)state;
    for (int which = 0; which < 4; which++) {
        g_autoptr(GPtrArray) memory = one_event();
        g_autoptr(GPtrArray) wanted = calendar_sample_array();
        const char *categories[] = {which == 2 ? "Frost" : NULL, NULL};
        EventWanted *visit = calendar_sample("v1", MONDAY + DAY_S + 27000, "Open frame", "open");

        visit->categories = g_strdupv((char **)categories);
        if (which == 0) {
            g_free(visit->location);
            visit->location = g_strdup("Home");
        } else if (which == 1) {
            g_clear_pointer(&visit->description, g_free);
        } else if (which == 3) {
            g_array_set_size(visit->alarms, 0);
            event_alarms_add(visit->alarms, 20, FALSE, "Leave in a minute.");
        }
        g_ptr_array_add(wanted, visit);
        assert_int_equal(step_one(&memory, wanted, MONDAY + 9 * HOUR_S), CALENDAR_REWORDED);
        assert_int_equal(event_at(memory, 0)->dtstamp_utc, MONDAY + 9 * HOUR_S);
        assert_int_equal(event_at(memory, 0)->sequence, 0);
    }
}

static void test_cancelled_then_leaves(void **state)
{
    g_autoptr(GPtrArray) memory = one_event();
    g_autoptr(GPtrArray) none = calendar_sample_array();
    const EventMemory *event;

    (void)state;
    assert_int_equal(step_one(&memory, none, MONDAY + 9 * HOUR_S), CALENDAR_CANCELLED);
    event = event_at(memory, 0);
    assert_true(event->cancelled);
    assert_int_equal(event->sequence, 1);
    assert_int_equal(event->alarms->len, 0);
    assert_true(event_memory_is_shown(event));
    assert_true(calendar_visit_ended(memory, "v1"));
    assert_false(calendar_visit_ended(memory, "v2"));

    /* It stays to the last second of its day. */
    assert_int_equal(step_one(&memory, none, MONDAY + 2 * DAY_S - 1), -1);
    assert_true(event_memory_is_shown(event_at(memory, 0)));
    assert_int_equal(step_one(&memory, none, MONDAY + 2 * DAY_S), CALENDAR_LEFT);
    event = event_at(memory, 0);
    assert_false(event_memory_is_shown(event));
    assert_int_equal(event->sequence, 1);
    /* And does not come back when the clock does. */
    assert_int_equal(step_one(&memory, none, MONDAY), -1);
    assert_true(event_at(memory, 0)->ended);
}

static void test_ended_id_refused(void **state)
{
    g_autoptr(GPtrArray) memory = one_event();
    g_autoptr(GPtrArray) none = calendar_sample_array();
    g_autoptr(GPtrArray) again = calendar_sample_array();
    g_autoptr(GPtrArray) other = calendar_sample_array();
    g_autoptr(GError) error = NULL;
    GPtrArray *untouched = NULL, *changes = NULL;
    int64_t start_utc = MONDAY + DAY_S + 27000;

    (void)state;
    assert_int_equal(step_one(&memory, none, MONDAY + 9 * HOUR_S), CALENDAR_CANCELLED);
    g_ptr_array_add(again, calendar_sample("v1", start_utc, "Open frame", "open"));
    assert_false(
        calendar_decide(memory, again, MONDAY + 10 * HOUR_S, LAG_S, &untouched, &changes, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_CONFLICT));
    assert_non_null(strstr(error->message, "v1"));
    assert_null(untouched);
    assert_null(changes);

    /* The same visit under a new id is a new event beside the cancelled one. */
    g_ptr_array_add(other, calendar_sample("v2", start_utc, "Open frame", "open"));
    assert_int_equal(step_one(&memory, other, MONDAY + 10 * HOUR_S), CALENDAR_ADDED);
    assert_int_equal(memory->len, 2);
    assert_string_not_equal(event_at(memory, 0)->uid, event_at(memory, 1)->uid);
    assert_true(event_at(memory, 0)->cancelled);
    assert_false(event_at(memory, 1)->cancelled);
}

static void test_begun_is_not_cancelled(void **state)
{
    g_autoptr(GPtrArray) memory = one_event();
    g_autoptr(GPtrArray) none = calendar_sample_array();
    int64_t start_utc = MONDAY + DAY_S + 27000;

    (void)state;
    assert_int_equal(step_one(&memory, none, start_utc), -1);
    assert_int_equal(step_one(&memory, none, start_utc + 1800), -1);
    assert_false(event_at(memory, 0)->cancelled);
    assert_int_equal(event_at(memory, 0)->alarms->len, 1);
    assert_int_equal(step_one(&memory, none, MONDAY + 2 * DAY_S), CALENDAR_LEFT);
    assert_false(event_at(memory, 0)->cancelled);
}

static void test_over_stays_as_it_was(void **state)
{
    g_autoptr(GPtrArray) memory = one_event();
    g_autoptr(GPtrArray) reworded = calendar_sample_array();
    g_autoptr(GPtrArray) later = calendar_sample_array();
    g_autoptr(GPtrArray) unknown = calendar_sample_array();
    int64_t start_utc = MONDAY + DAY_S + 27000;

    (void)state;
    g_ptr_array_add(reworded, calendar_sample("v1", start_utc, "Frame was opened", "done"));
    assert_int_equal(step_one(&memory, reworded, start_utc + 1800), -1);
    assert_string_equal(event_at(memory, 0)->summary, "Open frame");

    /* A visit that was missed and is made in the evening moves. */
    g_ptr_array_add(later, calendar_sample("v1", start_utc + 10 * HOUR_S, "Open frame", "open"));
    assert_int_equal(step_one(&memory, later, start_utc + HOUR_S), CALENDAR_MOVED);
    assert_int_equal(event_at(memory, 0)->start_utc, start_utc + 10 * HOUR_S);

    /* What was over before it was ever published is not added; a past day's id is no conflict. */
    g_ptr_array_add(unknown, calendar_sample("v9", start_utc, "Open frame", "open"));
    g_ptr_array_add(unknown, g_ptr_array_steal_index(later, 0));
    assert_int_equal(step_one(&memory, unknown, start_utc + 2 * HOUR_S), -1);
    assert_int_equal(memory->len, 1);
    assert_int_equal(step_one(&memory, unknown, MONDAY + 2 * DAY_S), CALENDAR_LEFT);
    assert_int_equal(step_one(&memory, unknown, MONDAY + 2 * DAY_S + 1), -1);
}

static void test_stamp_always_rises(void **state)
{
    g_autoptr(GPtrArray) memory = one_event();
    g_autoptr(GPtrArray) wanted = calendar_sample_array();
    int64_t start_utc = MONDAY + DAY_S + 27000;
    int64_t published_utc = MONDAY + 6 * HOUR_S;

    (void)state;
    g_ptr_array_add(wanted, calendar_sample("v1", start_utc, "Open both", "open both"));
    assert_int_equal(step_one(&memory, wanted, published_utc), CALENDAR_REVISED);
    assert_int_equal(event_at(memory, 0)->dtstamp_utc, published_utc + 1);
    g_ptr_array_set_size(wanted, 0);
    g_ptr_array_add(wanted, calendar_sample("v1", start_utc, "Open frame", "open"));
    assert_int_equal(step_one(&memory, wanted, published_utc - DAY_S), CALENDAR_REVISED);
    assert_int_equal(event_at(memory, 0)->dtstamp_utc, published_utc + 2);
}

/* One sentence each: what is wrong with a wanted visit, and what the message must name. */
static const struct {
    const char *sentence;
    const char *visit_id, *summary;
    int64_t start_utc, end_utc, day_end_utc;
    int minutes_before;
    const char *text, *names;
} refused_rows[] = {
    {"no id", "", "s", 100, 200, 86400, 0, "t", "no id"},
    {"ends as it starts", "v", "s", 100, 100, 86400, 0, "t", "from 100 to 100"},
    {"starts before 1970", "v", "s", -5, 100, 86400, 0, "t", "from -5"},
    {"after the year 9999", "v", "s", 100, INT64_MAX, 86400, 0, "t", "9999"},
    {"a day that is over before", "v", "s", 100, 200, 100, 0, "t", "ends at 100"},
    {"no summary", "v", "", 100, 200, 86400, 0, "t", "summary"},
    {"an alarm after the start", "v", "s", 100, 200, 86400, -1, "t", "-1 minutes"},
    {"an alarm too long before", "v", "s", 100, 200, 86400, 10081, "t", "10081 minutes"},
    {"an alarm that says nothing", "v", "s", 100, 200, 86400, 5, "", "no text"},
};

static void test_refused(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(refused_rows); i++) {
        g_autoptr(GPtrArray) memory = one_event();
        g_autoptr(GPtrArray) wanted = calendar_sample_array();
        g_autoptr(GError) error = NULL;
        GPtrArray *next = NULL, *changes = NULL;
        EventWanted *visit = calendar_sample(refused_rows[i].visit_id, refused_rows[i].start_utc,
                                             refused_rows[i].summary, "job");

        visit->end_utc = refused_rows[i].end_utc;
        visit->day_end_utc = refused_rows[i].day_end_utc;
        g_array_set_size(visit->alarms, 0);
        event_alarms_add(visit->alarms, refused_rows[i].minutes_before, FALSE,
                         refused_rows[i].text);
        g_ptr_array_add(wanted, visit);
        if (calendar_decide(memory, wanted, 0, LAG_S, &next, &changes, &error))
            fail_msg("%s: accepted", refused_rows[i].sentence);
        assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
        if (strstr(error->message, refused_rows[i].names) == NULL)
            fail_msg("%s: %s", refused_rows[i].sentence, error->message);
        assert_null(next);
        assert_null(changes);
    }
}

static void test_twice_refused(void **state)
{
    g_autoptr(GPtrArray) memory = g_ptr_array_new();
    g_autoptr(GPtrArray) wanted = calendar_sample_array();
    g_autoptr(GError) error = NULL;
    GPtrArray *next = NULL, *changes = NULL;

    (void)state;
    g_ptr_array_add(wanted, calendar_sample("v1", MONDAY, "Open frame", "open"));
    g_ptr_array_add(wanted, calendar_sample("v1", MONDAY + HOUR_S, "Open frame", "open"));
    assert_false(calendar_decide(memory, wanted, 0, LAG_S, &next, &changes, &error));
    assert_true(g_error_matches(error, THOLE_ERROR, THOLE_ERROR_INVALID));
    assert_non_null(strstr(error->message, "v1"));
    assert_null(next);
}

static void test_alarms_tidied(void **state)
{
    g_autoptr(GPtrArray) memory = g_ptr_array_new();
    g_autoptr(GPtrArray) wanted = calendar_sample_array();
    EventWanted *visit = calendar_sample("v1", MONDAY + DAY_S, "Shut frame", "shut");
    const GArray *alarms;

    (void)state;
    event_alarms_add(visit->alarms, 120, TRUE, "Frost tonight.");
    event_alarms_add(visit->alarms, 20, TRUE, "Frost: leave now.");
    g_ptr_array_add(wanted, visit);
    assert_int_equal(step_one(&memory, wanted, MONDAY), CALENDAR_ADDED);
    alarms = event_at(memory, 0)->alarms;
    assert_int_equal(alarms->len, 2);
    assert_int_equal(g_array_index(alarms, EventAlarm, 0).minutes_before, 120);
    assert_string_equal(g_array_index(alarms, EventAlarm, 1).text, "Frost: leave now.");
}

/* One sentence each: when the plan changes, against an alarm at 07:10 on Tuesday and 6 h lag. */
static const struct {
    const char *sentence;
    int64_t now_utc;
    int shift_s; /* of the start; INT_MAX: withdrawn */
    gboolean may_miss;
} lag_rows[] = {
    {"moved a day ahead", MONDAY + 7 * HOUR_S, HOUR_S, FALSE},
    {"moved four hours before the old alarm", MONDAY + DAY_S + 3 * HOUR_S, 9 * HOUR_S, TRUE},
    {"moved forward, so that the new alarm is near", MONDAY + DAY_S, -3 * HOUR_S, TRUE},
    {"withdrawn a day ahead", MONDAY + 7 * HOUR_S, INT_MAX, FALSE},
    {"withdrawn four hours before the alarm", MONDAY + DAY_S + 3 * HOUR_S, INT_MAX, TRUE},
    {"withdrawn after the alarm rang", MONDAY + DAY_S + 26400, INT_MAX, FALSE},
    {"moved so that its alarm is past already", MONDAY + DAY_S + 23400, -1200, TRUE},
};

static void test_lag(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(lag_rows); i++) {
        g_autoptr(GPtrArray) memory = one_event();
        g_autoptr(GPtrArray) wanted = calendar_sample_array();
        g_autoptr(GPtrArray) changes = NULL;
        const CalendarChange *change;

        if (lag_rows[i].shift_s != INT_MAX) {
            g_ptr_array_add(wanted,
                            calendar_sample("v1", MONDAY + DAY_S + 27000 + lag_rows[i].shift_s,
                                            "Open frame", "open"));
        }
        changes = step(&memory, wanted, lag_rows[i].now_utc);
        assert_int_equal(changes->len, 1);
        change = changes->pdata[0];
        if (change->phone_may_miss != lag_rows[i].may_miss)
            fail_msg("%s: %d", lag_rows[i].sentence, change->phone_may_miss);
        assert_false(change->urgent);
        if (lag_rows[i].shift_s == INT_MAX) {
            assert_int_equal(change->first_alarm_utc, 0);
        } else {
            assert_int_equal(change->first_alarm_utc,
                             MONDAY + DAY_S + 27000 + lag_rows[i].shift_s - 1200);
        }
    }
}

/* ---- random plans ---- */

/* A visit as the random grower has it. */
typedef struct ModelVisit {
    int number;
    int64_t start_utc;
    int length_s, words, job, alarm_min; /* alarm_min -1: none */
} ModelVisit;

typedef struct Model {
    GRand *rand;
    int64_t now_utc;
    int next_number;
    GArray *visits; /* (element-type ModelVisit) */
} Model;

static GPtrArray *model_wanted(const Model *model)
{
    GPtrArray *wanted = calendar_sample_array();

    for (guint i = 0; i < model->visits->len; i++) {
        const ModelVisit *visit = &g_array_index(model->visits, ModelVisit, i);
        g_autofree char *id = g_strdup_printf("visit-%d", visit->number);
        g_autofree char *summary = g_strdup_printf("Job %d, band %d", visit->job, visit->words);
        g_autofree char *substance = g_strdup_printf("job %d", visit->job);
        EventWanted *one = calendar_sample(id, visit->start_utc, summary, substance);

        one->end_utc = one->start_utc + visit->length_s;
        g_array_set_size(one->alarms, 0);
        if (visit->alarm_min >= 0)
            event_alarms_add(one->alarms, visit->alarm_min, visit->job % 3 == 0, "Leave now.");
        g_ptr_array_add(wanted, one);
    }
    return wanted;
}

static int64_t random_start(const Model *model)
{
    return model->now_utc + g_rand_int_range(model->rand, -2 * HOUR_S, 4 * DAY_S);
}

/* Time passes, and up to three things about the plan change. */
static void model_step(Model *model)
{
    if (g_rand_int_range(model->rand, 0, 3) > 0)
        model->now_utc += g_rand_int_range(model->rand, 0, 9 * HOUR_S);
    for (int n = g_rand_int_range(model->rand, 0, 4); n > 0; n--) {
        guint at = model->visits->len == 0
                       ? 0
                       : (guint)g_rand_int_range(model->rand, 0, (gint32)model->visits->len);
        int what = model->visits->len == 0 ? 0 : g_rand_int_range(model->rand, 0, 7);
        ModelVisit *visit = &g_array_index(model->visits, ModelVisit, at);

        if (what <= 1) {
            ModelVisit fresh = {.number = model->next_number++,
                                .start_utc = random_start(model),
                                .length_s = 60 * g_rand_int_range(model->rand, 1, 90),
                                .alarm_min = g_rand_int_range(model->rand, -1, 90)};
            g_array_append_val(model->visits, fresh);
        } else if (what == 2) {
            g_array_remove_index(model->visits, at);
        } else if (what == 3) {
            visit->start_utc = random_start(model);
        } else if (what == 4) {
            visit->words++;
        } else if (what == 5) {
            visit->job++;
        } else {
            visit->alarm_min = g_rand_int_range(model->rand, -1, 90);
        }
    }
}

/* The laws for one event from one memory to the next. */
static void check_event(const EventMemory *old, const EventMemory *new, int64_t now_utc)
{
    g_autofree char *old_content = calendar_content(old);
    g_autofree char *new_content = calendar_content(new);
    gboolean changed = strcmp(old_content, new_content) != 0;
    gboolean same_times = old->start_utc == new->start_utc && old->end_utc == new->end_utc;

    assert_string_equal(old->uid, new->uid);
    assert_string_equal(old->visit_id, new->visit_id);
    assert_int_equal(old->created_utc, new->created_utc);
    assert_in_range(new->sequence, old->sequence, old->sequence + 1);
    if (!same_times || old->cancelled != new->cancelled)
        assert_int_equal(new->sequence, old->sequence + 1);
    else if (strcmp(old->substance, new->substance) == 0)
        assert_int_equal(new->sequence, old->sequence);
    if (changed)
        assert_true(new->dtstamp_utc > old->dtstamp_utc &&new->dtstamp_utc >= now_utc);
    else
        assert_int_equal(new->dtstamp_utc, old->dtstamp_utc);
    assert_int_equal(new->last_modified_utc, new->dtstamp_utc);
    assert_int_equal(changed, strcmp(old->hash, new->hash) != 0);
    if (old->ended)
        assert_true(new->ended && !changed);
    if (old->cancelled)
        assert_true(new->cancelled && !changed);
}

static void check_memory(const GPtrArray *old, const GPtrArray *new, const GPtrArray *wanted,
                         int64_t now_utc)
{
    g_autoptr(GHashTable) live = g_hash_table_new(g_str_hash, g_str_equal);
    g_autoptr(GHashTable) uids = g_hash_table_new(g_str_hash, g_str_equal);

    assert_true(new->len >= old->len);
    for (guint i = 0; i < new->len; i++) {
        EventMemory *event = new->pdata[i];
        if (i < old->len)
            check_event(old->pdata[i], event, now_utc);
        else
            assert_int_equal(event->sequence, 0);
        assert_true(g_hash_table_add(uids, event->uid));
        if (event->cancelled)
            assert_int_equal(event->alarms->len, 0);
        /* What has not left belongs to a day that is not past. */
        if (!event->ended)
            assert_true(now_utc < event->day_end_utc || now_utc < event->end_utc);
        if (!event->ended && !event->cancelled)
            assert_true(g_hash_table_insert(live, event->visit_id, event));
    }
    for (guint i = 0; i < wanted->len; i++) {
        const EventWanted *visit = wanted->pdata[i];
        const EventMemory *event = g_hash_table_lookup(live, visit->visit_id);
        if (visit->end_utc <= now_utc)
            continue;
        assert_non_null(event);
        assert_int_equal(event->start_utc, visit->start_utc);
        assert_int_equal(event->end_utc, visit->end_utc);
        assert_string_equal(event->summary, visit->summary);
        g_hash_table_remove(live, visit->visit_id);
    }
    /* Whatever else is live has begun: nothing unwanted is left to ring. */
    GHashTableIter iter;
    gpointer value;
    g_hash_table_iter_init(&iter, live);
    while (g_hash_table_iter_next(&iter, NULL, &value))
        assert_true(((EventMemory *)value)->start_utc <= now_utc);
}

/* Each change tells the truth, and no event that looks different goes without one. */
static void check_changes(const GPtrArray *old, const GPtrArray *new, const GPtrArray *changes)
{
    g_autoptr(GHashTable) told = g_hash_table_new(g_str_hash, g_str_equal);

    for (guint i = 0; i < changes->len; i++)
        g_hash_table_add(told, ((CalendarChange *)changes->pdata[i])->uid);
    for (guint i = 0; i < new->len; i++) {
        const EventMemory *after = new->pdata[i];
        g_autofree char *content = calendar_content(after);
        g_autofree char *before = i < old->len ? calendar_content(old->pdata[i]) : NULL;
        gboolean left = after->ended && (i >= old->len || !((EventMemory *)old->pdata[i])->ended);
        gboolean differs = g_strcmp0(content, before) != 0 || left;
        assert_int_equal(g_hash_table_contains(told, after->uid), differs);
    }
}

/* The same plan again changes no byte. */
static void check_still(const GPtrArray *memory, const GPtrArray *wanted, int64_t now_utc)
{
    g_autoptr(GBytes) before = calendar_write(memory, "Garden", NULL);
    g_autoptr(GPtrArray) next = NULL, changes = NULL;
    g_autoptr(GError) error = NULL;
    g_autoptr(GBytes) after = NULL;
    g_autofree char *complaint = NULL;
    gsize length;
    const char *bytes = g_bytes_get_data(before, &length);

    assert_true(calendar_decide(memory, wanted, now_utc, LAG_S, &next, &changes, &error));
    assert_int_equal(changes->len, 0);
    after = calendar_write(next, "Garden", NULL);
    assert_true(g_bytes_equal(before, after));
    complaint = calendar_check(bytes, length);
    if (complaint != NULL)
        fail_msg("%s", complaint);
}

/* The grower gives no id of an ended visit again. */
static void drop_ended(Model *model, const GPtrArray *memory)
{
    for (guint i = model->visits->len; i-- > 0;) {
        const ModelVisit *visit = &g_array_index(model->visits, ModelVisit, i);
        g_autofree char *id = g_strdup_printf("visit-%d", visit->number);
        if (calendar_visit_ended(memory, id))
            g_array_remove_index(model->visits, i);
    }
}

static void test_random_plans(void **state)
{
    g_autoptr(GRand) rand = g_rand_new_with_seed(calendar_seed("random plans"));
    const char *rounds_text = g_getenv("THOLE_TEST_ROUNDS");
    const int rounds = rounds_text != NULL ? atoi(rounds_text) : 60;

    (void)state;
    for (int round = 0; round < rounds; round++) {
        g_autoptr(GArray) visits = g_array_new(FALSE, TRUE, sizeof(ModelVisit));
        g_autoptr(GPtrArray) memory = g_ptr_array_new();
        Model model = {.rand = rand, .now_utc = MONDAY, .visits = visits};

        for (int n = 0; n < 40; n++) {
            g_autoptr(GPtrArray) old = g_ptr_array_ref(memory);
            g_autoptr(GPtrArray) wanted = NULL, changes = NULL;
            model_step(&model);
            drop_ended(&model, memory);
            wanted = model_wanted(&model);
            changes = step(&memory, wanted, model.now_utc);
            check_memory(old, memory, wanted, model.now_utc);
            check_changes(old, memory, changes);
            check_still(memory, wanted, model.now_utc);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_added),
        cmocka_unit_test(test_updates),
        cmocka_unit_test(test_every_text_counts),
        cmocka_unit_test(test_cancelled_then_leaves),
        cmocka_unit_test(test_ended_id_refused),
        cmocka_unit_test(test_begun_is_not_cancelled),
        cmocka_unit_test(test_over_stays_as_it_was),
        cmocka_unit_test(test_stamp_always_rises),
        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_twice_refused),
        cmocka_unit_test(test_alarms_tidied),
        cmocka_unit_test(test_lag),
        cmocka_unit_test(test_random_plans),
    };
    return cmocka_run_group_tests_name("calendar", tests, NULL, NULL);
}
