/* SPDX-License-Identifier: MIT */
/* The service from plan to plan: what a forecast, a report, a day and a restart make of visits and
 * events. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <string.h>

#include "base/local-time.h"
#include "calendar-check.h"
#include "service-world.h"
#include "store/store-garden-events.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */

static const WorldWeather mild = {.low_c = 6, .high_c = 14};
static const WorldWeather frost = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -5};

static int setup(void **state)
{
    World *w = world_new(world_garden, START);
    world_start(w);
    *state = w;
    return 0;
}

static int teardown(void **state)
{
    world_free(*state);
    return 0;
}

/* Lettuces under way in the frame, cabbages on the sill. */
static void plant(World *w)
{
    world_add_batch(w, "lettuce", 24, "frame", STAGE_HARDENING, 50);
    world_add_batch(w, "cabbage", 24, "sill", STAGE_GROWING_ON, 50);
}

static int count(const char *text, const char *part)
{
    int n = 0;
    for (const char *at = strstr(text, part); at != NULL; at = strstr(at + 1, part))
        n++;
    return n;
}

static gboolean has_id(const World *w, const char *id)
{
    for (guint i = 0; i < w->service->visits->len; i++) {
        if (strcmp(((const OpenVisit *)g_ptr_array_index(w->service->visits, i))->visit.id, id) ==
            0)
            return TRUE;
    }
    return FALSE;
}

static const EventMemory *event_of(const World *w, const char *visit_id)
{
    for (guint i = 0; i < w->service->memory->len; i++) {
        const EventMemory *m = g_ptr_array_index(w->service->memory, i);
        if (strcmp(m->visit_id, visit_id) == 0)
            return m;
    }
    return NULL;
}

static void check_calendar(const World *w)
{
    g_autofree char *bytes = world_calendar(w);
    g_autofree char *complaint = calendar_check(bytes, strlen(bytes));
    if (complaint != NULL)
        fail_msg("%s\n%s", complaint, bytes);
}

static void test_frost_makes_a_new_plan(void **state)
{
    World *w = *state;
    world_forecast(w, &mild);
    plant(w);
    assert_non_null(world_visit(w, FALSE));
    g_autofree char *before = world_calendar(w);
    assert_int_equal(count(before, "frost"), 0);
    assert_null(world_visit(w, TRUE));
    guint plans = w->triggers->len;
    world_run_for(w, 3600);
    world_forecast(w, &frost);
    assert_true(w->triggers->len > plans);
    /* There is a job now that guards, its event rings twice, and it comes before the frost. */
    OpenVisit *guard = world_visit(w, TRUE);
    assert_non_null(guard);
    assert_true(guard->visit.start_utc < world_utc("2026-04-11T04:00:00Z"));
    const EventMemory *event = event_of(w, guard->visit.id);
    assert_non_null(event);
    assert_int_equal(event->alarms->len, 2);
    check_calendar(w);
}

static void test_a_replan_that_changes_nothing(void **state)
{
    World *w = *state;
    world_forecast(w, &frost);
    plant(w);
    g_autofree char *before = world_calendar(w), *visits = world_visits_text(w);
    assert_true(count(before, "BEGIN:VEVENT") > 0);
    for (int i = 0; i < 3; i++) {
        service_ask_plan(w->service, "again");
        world_run_for(w, 0);
    }
    g_autofree char *after = world_calendar(w), *visits_after = world_visits_text(w);
    assert_string_equal(before, after);
    assert_string_equal(visits, visits_after);
    /* The same forecast an hour later: words may change, no event moves. */
    world_run_for(w, 600);
    service_ask_plan(w->service, "again");
    world_run_for(w, 0);
    g_autofree char *later = world_calendar(w);
    assert_int_equal(count(later, "SEQUENCE:0"), count(before, "SEQUENCE:0"));
}

/* Lives until a visit begins with a job that sets a cover, or one that guards, and gives both. */
static OpenVisit *begin_visit(World *w, gboolean guard, OpenJob **ret_job)
{
    for (int day = 0; day < 12; day++) {
        OpenVisit *v = world_visit(w, guard);
        if (v == NULL) {
            world_run_for(w, 12 * HOUR_S);
            continue;
        }
        world_run(w, v->visit.start_utc);
        for (guint i = 0; i < w->service->visits->len; i++) {
            OpenVisit *begun = g_ptr_array_index(w->service->visits, i);
            for (guint k = 0; begun->begun && k < begun->jobs->len; k++) {
                OpenJob *job = &g_array_index(begun->jobs, OpenJob, k);
                if (job->state == STORE_JOB_PLANNED && (guard || job->job.kind == JOB_SET_COVER) &&
                    job->job.guard == (guard != FALSE)) {
                    *ret_job = job;
                    return begun;
                }
            }
        }
    }
    fail_msg("no such visit came");
    return NULL;
}

/* The cover's position that the history has for `utc`; -1 none. */
static int position_at(const World *w, int place, int64_t utc, bool *ret_known)
{
    g_autoptr(GArray) history = NULL;
    int position = -1;
    assert_true(
        store_load_position_history(w->service->store, w->service->garden, 0, &history, NULL));
    for (guint i = 0; i < history->len; i++) {
        const StorePosition *p = &g_array_index(history, StorePosition, i);
        if (p->place == place && p->from_utc <= utc) {
            position = p->position;
            *ret_known = p->known;
        }
    }
    return position;
}

typedef struct ReportRow {
    const char *sentence;
    gboolean done;
    int at_s; /* the time given, after the visit's start; 1 none */
    gboolean replan;
    gboolean at_start; /* from the visit's start the cover stands as the job said */
} ReportRow;

static const ReportRow reports[] = {
    {"done on time changes nothing in the plan", TRUE, 1, FALSE, TRUE},
    {"done forty minutes late counts from then", TRUE, 2400, TRUE, FALSE},
    {"done an hour early stays done at the visit's time", TRUE, -3600, TRUE, TRUE},
    {"missed: undone from the visit's time", FALSE, 1, TRUE, FALSE},
};

static void test_reports(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(reports); i++) {
        const ReportRow *row = &reports[i];
        World *w = world_new(world_garden, START);
        world_start(w);
        world_forecast(w, &mild);
        plant(w);
        OpenJob *job = NULL;
        OpenVisit *v = begin_visit(w, FALSE, &job);
        const Job was = job->job;
        int64_t start_utc = v->visit.start_utc;
        bool known = false;
        print_message("# %s\n", row->sentence);
        assert_int_equal(position_at(w, was.place, start_utc, &known), was.position);
        assert_false(known);
        int former = position_at(w, was.place, start_utc - 1, &known);
        world_run_for(w, 3000);
        guint plans = w->triggers->len;
        v = NULL;
        job = jobs_find(w->service, job->handle, &v);
        assert_non_null(job);
        assert_true(jobs_report(w->service, v, job, row->done,
                                row->at_s == 1 ? 0 : start_utc + row->at_s, NULL));
        world_run_for(w, 0);
        assert_int_equal(w->triggers->len > plans, row->replan);
        assert_int_equal(position_at(w, was.place, start_utc, &known),
                         row->at_start ? was.position : MAX(former, 0));
        assert_true(known);
        if (row->at_s != 1)
            assert_int_equal(position_at(w, was.place, start_utc + row->at_s, &known),
                             was.position);
        assert_int_equal(position_at(w, was.place, world_now(w), &known),
                         row->done ? was.position : MAX(former, 0));
        world_free(w);
    }
}

static void test_a_routine_job_is_assumed(void **state)
{
    World *w = *state;
    world_forecast(w, &mild);
    plant(w);
    OpenJob *job = NULL;
    OpenVisit *v = begin_visit(w, FALSE, &job);
    g_autofree char *id = g_strdup(job->job.id), *visit = g_strdup(v->visit.id);
    int64_t assume_utc = v->visit.start_utc + (int64_t)w->service->garden->assume_done_h * HOUR_S;
    world_run(w, assume_utc - 1);
    assert_int_equal(world_stored_job(w, id), STORE_JOB_PLANNED);
    assert_true(w->service->settled.as_of_utc <=
                assume_utc - (int64_t)w->service->garden->assume_done_h * HOUR_S);
    world_run(w, assume_utc);
    assert_int_equal(world_stored_job(w, id), STORE_JOB_ASSUMED);
    assert_false(has_id(w, visit));
}

static gboolean any_unknown(const World *w)
{
    gboolean unknown = FALSE;
    for (guint i = 0; i < w->service->current.batches->len; i++)
        unknown = unknown || g_array_index(w->service->current.batches, Batch, i).position_unknown;
    return unknown;
}

static void test_a_guarding_job_is_asked_again_and_never_assumed(void **state)
{
    World *w = *state;
    world_forecast(w, &frost);
    plant(w);
    OpenJob *job = NULL;
    OpenVisit *v = begin_visit(w, TRUE, &job);
    g_autofree char *id = g_strdup(job->job.id), *ask = g_strdup_printf("ask-%s", v->visit.id);
    int64_t start_utc = v->visit.start_utc;
    /* Half an hour before it is too late to go once more, 20 min by the way. */
    int64_t asked_utc = job->job.deadline_utc - (20 + 30) * 60;
    assert_true(asked_utc > start_utc && asked_utc < start_utc + 1800);
    world_run(w, asked_utc - 1);
    assert_null(event_of(w, ask));
    world_run(w, asked_utc);
    assert_int_equal(world_logged(w, "has not been reported"), 1);
    const EventMemory *event = event_of(w, ask);
    assert_non_null(event);
    assert_int_equal(event->alarms->len, 1);
    assert_in_range(event->start_utc, asked_utc + 1, asked_utc + 300);
    g_autofree char *calendar = world_calendar(w);
    assert_int_equal(count(calendar, event->uid), 2); /* the event's, and its alarm's */
    check_calendar(w);
    world_run(w, start_utc + (int64_t)w->service->garden->assume_done_h * HOUR_S);
    assert_int_equal(world_logged(w, "has not been reported"), 1);
    assert_int_equal(world_stored_job(w, id), STORE_JOB_UNKNOWN);
    assert_true(any_unknown(w));
    /* It stays so over a restart, by the same number, and until it is reported after all. */
    int handle = job->handle;
    world_stop(w);
    world_start(w);
    assert_true(any_unknown(w));
    world_run_for(w, 20 * HOUR_S);
    assert_true(any_unknown(w));
    job = jobs_find(w->service, handle, &v);
    assert_non_null(job);
    assert_string_equal(job->job.id, id);
    assert_true(jobs_report(w->service, v, job, TRUE, 0, NULL));
    assert_false(any_unknown(w));
    world_run_for(w, 0);
    assert_null(jobs_find(w->service, handle, &v));
    assert_int_equal(world_stored_job(w, id), STORE_JOB_DONE);
}

/* A job reported before its visit stays reported; the visit does not ask for it again. */
static void test_an_early_report_stays(void **state)
{
    World *w = *state;
    world_forecast(w, &mild);
    plant(w);
    OpenVisit *v = world_visit(w, FALSE);
    assert_non_null(v);
    OpenJob *job = &g_array_index(v->jobs, OpenJob, 0);
    g_autofree char *id = g_strdup(job->job.id);
    assert_true(jobs_report(w->service, v, job, TRUE, 0, NULL));
    world_run_for(w, 0);
    assert_int_equal(world_stored_job(w, id), STORE_JOB_DONE);
    world_run_for(w, 2 * DAY_S);
    assert_int_equal(world_stored_job(w, id), STORE_JOB_DONE);
}

static OpenJob *find_rescue(const World *w, OpenVisit **ret_visit)
{
    for (guint i = 0; i < w->service->visits->len; i++) {
        OpenVisit *v = g_ptr_array_index(w->service->visits, i);
        for (guint k = 0; k < v->jobs->len; k++) {
            OpenJob *job = &g_array_index(v->jobs, OpenJob, k);
            if (job->job.kind == JOB_RESCUE && job->state == STORE_JOB_PLANNED) {
                *ret_visit = v;
                return job;
            }
        }
    }
    return NULL;
}

/* What could be done was done: new plans of the same night do not ask for it again, but another
 * night does. */
static void test_a_rescue_that_was_done(void **state)
{
    static const WorldWeather killing = {.low_c = 6, .high_c = 14, .cold_day = 3, .cold_c = -9};
    static const WorldWeather again = {.low_c = 6, .high_c = 14, .cold_day = 5, .cold_c = -9};
    World *w = *state;
    OpenVisit *v = NULL;
    world_forecast(w, &mild);
    plant(w);
    world_add_batch(w, "lettuce", 24, "bed", STAGE_PLANTED_OUT, 60);
    world_run_for(w, 3600);
    world_forecast(w, &killing);
    OpenJob *job = find_rescue(w, &v);
    assert_non_null(job);
    g_autofree char *id = g_strdup(job->job.id);
    assert_true(jobs_report(w->service, v, job, TRUE, 0, NULL));
    world_run_for(w, 3600);
    world_forecast(w, &killing);
    assert_null(find_rescue(w, &v));
    assert_int_equal(world_stored_job(w, id), STORE_JOB_DONE);
    for (guint i = 0; i < w->service->alerts->len; i++)
        assert_int_not_equal(g_array_index(w->service->alerts, Job, i).kind, JOB_RESCUE);
    world_run_for(w, 3600);
    world_forecast(w, &again);
    assert_non_null(find_rescue(w, &v));
}

/* A job in the future cannot have been done. */
static void test_a_report_from_the_future_is_refused(void **state)
{
    World *w = *state;
    g_autoptr(GError) error = NULL;
    world_forecast(w, &mild);
    plant(w);
    OpenVisit *v = world_visit(w, FALSE);
    assert_non_null(v);
    OpenJob *job = &g_array_index(v->jobs, OpenJob, 0);
    assert_false(jobs_report(w->service, v, job, TRUE, world_now(w) + 1, &error));
    assert_non_null(strstr(error->message, "accepted is a time up to now"));
    assert_int_equal(job->state, STORE_JOB_PLANNED);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_frost_makes_a_new_plan, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_replan_that_changes_nothing, setup, teardown),
        cmocka_unit_test(test_reports),
        cmocka_unit_test_setup_teardown(test_a_routine_job_is_assumed, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_guarding_job_is_asked_again_and_never_assumed, setup,
                                        teardown),
        cmocka_unit_test_setup_teardown(test_an_early_report_stays, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_rescue_that_was_done, setup, teardown),
        cmocka_unit_test_setup_teardown(test_a_report_from_the_future_is_refused, setup, teardown),
    };
    return cmocka_run_group_tests_name("service", tests, NULL, NULL);
}
