/* SPDX-License-Identifier: MIT */
/* Forecasts, visits, jobs, plans, events and the export: what goes in comes out again. */
#include "store-fixture.h"

#include "store/store-minutes.h"
#include "store/store-wishes.h"
#include "store/store-batches.h"
#include "store/store-calendar.h"
#include "store/store-export.h"
#include "store/store-garden-events.h"
#include "store/store-readings.h"
#include "store/store-plan-records.h"
#include "store/store-plan.h"
#include "store/store-waterings.h"
#include "store/store-weather.h"

#include <json-glib/json-glib.h>

static void test_forecasts(void **state)
{
    Fixture *f = *state;
    WeatherHour hours[2] = {
        {T0, 1.5, NAN, 3, 4, 5, 6, 7, 0.5, EST_DEW_POINT | EST_CLOUD},
        {T0 + HOUR, -1.5, -2, 30, 40, 50, 60, 70, 1, 0},
    };
    assert_ok(store_put_forecast(f->store, "plot", "s", T0, T0 + 60, hours, 2, E));
    hours[0].temperature_c = 99;
    assert_ok(store_put_forecast(f->store, "plot", "s", T0, T0 + 90, hours, 2, E));
    assert_ok(store_put_forecast(f->store, "plot", "s", T0 + 10, T0 + 90, hours, 1, E));
    hours[0].temperature_c = 1.5;
    g_autoptr(StoreForecast) none = NULL, at = NULL;
    assert_ok(store_load_forecast(f->store, "plot", T0 - 1, &none, E));
    assert_null(none);
    assert_ok(store_load_forecast(f->store, "plot", T0 + 9, &at, E));
    assert_non_null(at);
    assert_int_equal(at->fetched_utc, T0 + 60);
    assert_string_equal(at->source, "s");
    assert_int_equal(at->hours->len, 2);
    const WeatherHour *got = &g_array_index(at->hours, WeatherHour, 0);
    assert_true(isnan(got->dew_point_c) && got->temperature_c == 1.5 && got->cloud_pct == 3 &&
                got->wind_ms == 4 && got->gust_ms == 5 && got->radiation_wm2 == 6 &&
                got->precipitation_mm == 7 && got->spread_k == 0.5 &&
                got->estimated == (EST_DEW_POINT | EST_CLOUD));
    hours[1].time_utc = T0;
    assert_refused(store_put_forecast(f->store, "plot", "s", T0 + 5, T0, hours, 2, E),
                   STORE_ERROR_INVALID, "in order of time");
    assert_refused(store_put_forecast(f->store, "plot", "s", T0 + 5, T0, hours, 0, E),
                   STORE_ERROR_INVALID, "plot");
}

static void test_services(void **state)
{
    Fixture *f = *state;
    g_autoptr(StoreService) none = NULL, got = NULL, other = NULL;
    StoreService kept = {.what = (char *)"https://a 53.12", .asked_utc = T0, .next_utc = T0 + HOUR};
    assert_ok(store_load_service(f->store, "plot", "Open-Meteo", &none, E));
    assert_null(none);
    assert_ok(store_put_service(f->store, "plot", "Open-Meteo", &kept, E));
    kept.good_utc = T0 + 5;
    kept.failures = 3;
    kept.problem = (char *)"it's \"down\"";
    kept.last_modified = (char *)"Thu,  2 Apr 2026 00:31:02 GMT";
    assert_ok(store_put_service(f->store, "plot", "Open-Meteo", &kept, E));
    reopen(f);
    assert_ok(store_load_service(f->store, "plot", "Open-Meteo", &got, E));
    assert_true(got->asked_utc == T0 && got->next_utc == T0 + HOUR && got->good_utc == T0 + 5 &&
                got->failures == 3);
    assert_string_equal(got->what, kept.what);
    assert_string_equal(got->problem, kept.problem);
    assert_string_equal(got->last_modified, kept.last_modified);
    assert_null(got->notice);
    assert_ok(store_load_service(f->store, "home", "Open-Meteo", &other, E));
    assert_null(other);

    /* The newest forecast of the source is the one that still holds. */
    WeatherHour hours[] = {{T0, 1, 1, 1, 1, 1, 1, 1, 1, 0}};
    g_autoptr(StoreForecast) newest = NULL, older = NULL;
    assert_ok(store_put_forecast(f->store, "plot", "a", T0 - 20, T0, hours, 1, E));
    assert_ok(store_put_forecast(f->store, "plot", "a", T0 - 10, T0, hours, 1, E));
    assert_ok(store_put_forecast(f->store, "plot", "b", T0 - 5, T0, hours, 1, E));
    assert_ok(store_confirm_forecast(f->store, "plot", "a", T0 + 7, E));
    assert_ok(store_load_forecast(f->store, "plot", T0 - 6, &newest, E));
    assert_ok(store_load_forecast(f->store, "plot", T0 - 11, &older, E));
    assert_true(newest->issued_utc == T0 - 10 && newest->confirmed_utc == T0 + 7);
    assert_true(older->issued_utc == T0 - 20 && older->confirmed_utc == 0);
}

static Reason a_reason(int i)
{
    return (Reason){.limit = (LimitKind)(i % (LIMIT_DAYLIGHT + 1)),
                    .batch = i % 2 - 1,
                    .place = i % 4 - 1,
                    .at_utc = T0 + i,
                    .predicted_c = -2.1 / (i + 1),
                    .spread_k = 1.0 / 3,
                    .limit_c = i % 2 == 0 ? NAN : 0.1,
                    .odds = NAN,
                    .otherwise_odds = 0.07,
                    .otherwise_c = i,
                    .estimated = EST_WIND};
}

static void assert_same_reason(const Reason *a, const Reason *b)
{
    assert_true(a->limit == b->limit && a->batch == b->batch && a->place == b->place &&
                a->at_utc == b->at_utc && a->estimated == b->estimated);
    assert_true(a->predicted_c == b->predicted_c && a->spread_k == b->spread_k);
    assert_true(a->limit_c == b->limit_c || (isnan(a->limit_c) && isnan(b->limit_c)));
    assert_true(isnan(a->odds) && isnan(b->odds) && a->otherwise_odds == b->otherwise_odds &&
                a->otherwise_c == b->otherwise_c);
}

static void test_visits_and_jobs(void **state)
{
    Fixture *f = *state;
    Batch batch = a_batch("tomato-1");
    assert_ok(store_put_batch(f->store, &f->garden, &batch, T0, E));
    StoreScope scope = {&f->garden, &batch, 1};
    Visit late = {.site = 1, .start_utc = T0 + 9 * HOUR, .minutes = 12.5, .beyond_cap = true};
    Visit idle = {.site = 0, .start_utc = T0 + 5 * HOUR, .minutes = 5, .fixed = true};
    Visit early = {.site = 0, .start_utc = T0 + HOUR, .minutes = 7};
    assert_ok(store_put_visit(f->store, &scope, &late, STORE_VISIT_PLANNED, T0, E));
    assert_ok(store_put_visit(f->store, &scope, &idle, STORE_VISIT_PLANNED, T0 + 1, E));
    assert_ok(store_put_visit(f->store, &scope, &early, STORE_VISIT_PLANNED, T0 + 2, E));
    Job jobs[LIMIT_DAYLIGHT + 1];
    for (int i = 0; i <= LIMIT_DAYLIGHT; i++) {
        jobs[i] = (Job){.kind = (JobKind)(i % (JOB_PROTECT + 1)),
                        .batch = i % 2 - 1,
                        .place = 1,
                        .from_place = i % 4 - 1,
                        .position = i % 4 - 1,
                        .deadline_utc = i,
                        .guard = i % 2 == 0,
                        .urgent = i % 3 == 0,
                        .reason = a_reason(i)};
        assert_ok(store_put_job(f->store, &scope, &jobs[i], i < 15 ? late.id : early.id, -i, E));
    }
    reopen(f);
    g_autoptr(GArray) visits = NULL, open = NULL;
    assert_ok(store_load_open_visits(f->store, &scope, &visits, &open, E));
    assert_true(visits->len == 3 && open->len == LIMIT_DAYLIGHT + 1);
    const Visit *v = (const Visit *)visits->data;
    assert_string_equal(v[0].id, early.id);
    assert_string_equal(v[2].id, late.id);
    assert_true(v[0].n_jobs == LIMIT_DAYLIGHT - 14 && v[0].first_job == 0);
    assert_true(v[1].n_jobs == 0 && v[1].first_job == v[0].n_jobs && v[1].fixed);
    assert_true(v[2].n_jobs == 15 && v[2].first_job == v[0].n_jobs && v[2].beyond_cap &&
                v[2].minutes == 12.5);
    for (guint i = 0; i < open->len; i++) {
        const Job *got = &g_array_index(open, Job, i), *want = &jobs[LIMIT_DAYLIGHT];
        while (strcmp(want->id, got->id) != 0)
            want--;
        assert_int_equal(got->visit, want - jobs < 15 ? 2 : 0);
        assert_true(got->kind == want->kind && got->batch == want->batch && got->place == 1 &&
                    got->from_place == want->from_place && got->position == want->position &&
                    got->deadline_utc == want->deadline_utc && got->guard == want->guard &&
                    got->urgent == want->urgent);
        assert_same_reason(&got->reason, &want->reason);
    }
}

static void test_states_of_jobs(void **state)
{
    Fixture *f = *state;
    StoreScope scope = {&f->garden, NULL, 0};
    Visit visit = {.start_utc = T0 + HOUR};
    Job job = {.place = 1,
               .from_place = -1,
               .batch = -1,
               .position = 2,
               .reason = {.batch = -1, .place = -1}};
    assert_refused(store_put_job(f->store, &scope, &job, "nothing", 0, E), STORE_ERROR_MISSING,
                   "visit");
    assert_string_equal(job.id, "");
    assert_ok(store_put_visit(f->store, &scope, &visit, STORE_VISIT_PLANNED, T0, E));
    assert_ok(store_put_job(f->store, &scope, &job, visit.id, 0, E));
    for (int s = STORE_JOB_PLANNED; s <= STORE_JOB_WITHDRAWN; s++) {
        g_autoptr(GArray) stored = NULL;
        assert_ok(store_set_job_state(f->store, job.id, (StoreJobState)s, T0 + s, E));
        assert_ok(store_put_job(f->store, &scope, &job, visit.id, 0, E));
        assert_ok(store_load_jobs_since(f->store, &scope, T0, &stored, E));
        assert_int_equal(stored->len, 1);
        const StoreJob *got = &g_array_index(stored, StoreJob, 0);
        assert_true(got->state == (StoreJobState)s && got->reported_utc == T0 + s);
        assert_string_equal(got->visit_id, visit.id);
    }
    visit.start_utc = T0 + 2 * HOUR;
    for (int s = STORE_VISIT_DONE; s <= STORE_VISIT_PAST; s++) {
        g_autofree StoreVisit *got = NULL;
        g_autoptr(GArray) visits = NULL, jobs = NULL;
        assert_ok(store_put_visit(f->store, &scope, &visit, (StoreVisitState)s, T0 + 99, E));
        assert_ok(store_get_visit(f->store, &scope, visit.id, &got, E));
        assert_true(got->state == (StoreVisitState)s && got->first_published_utc == T0 &&
                    got->visit.start_utc == T0 + 2 * HOUR);
        assert_ok(store_load_open_visits(f->store, &scope, &visits, &jobs, E));
        assert_true(visits->len == 0 && jobs->len == 0);
    }
    /* The cover lost its last position, and the garden the grower's name: -1, nothing refused. */
    f->places[1].cover.n_positions = 2;
    f->growers[0].name[0] = 'X';
    g_autoptr(GArray) jobs = NULL, none = NULL;
    g_autofree StoreVisit *stored = NULL, *nobody = NULL;
    assert_ok(store_load_jobs_since(f->store, &scope, T0 + 2 * HOUR, &jobs, E));
    assert_ok(store_load_jobs_since(f->store, &scope, T0 + 2 * HOUR + 1, &none, E));
    assert_ok(store_get_visit(f->store, &scope, visit.id, &stored, E));
    assert_true(jobs->len == 1 && none->len == 0);
    assert_int_equal(g_array_index(jobs, StoreJob, 0).job.position, -1);
    assert_int_equal(stored->visit.grower, -1);

    assert_ok(store_get_visit(f->store, &scope, "nobody", &nobody, E));
    assert_null(nobody);
    assert_refused(store_set_job_state(f->store, "nobody", STORE_JOB_DONE, T0, E),
                   STORE_ERROR_MISSING, "job");
    assert_refused(store_set_visit_state(f->store, "nobody", STORE_VISIT_DONE, E),
                   STORE_ERROR_MISSING, "visit");
    assert_refused(store_put_job(f->store, &scope, &job, visit.id, 0, E), STORE_ERROR_INVALID,
                   "2 of 2");
}

static void test_plans_and_thinning(void **state)
{
    Fixture *f = *state;
    const StorePlan bad = {.made_utc = T0, .trigger = "forecast", .decisions = "{"};
    assert_refused(store_put_plan(f->store, &bad, E), STORE_ERROR_INVALID, "not JSON");
    /* Ten days of three plans, three forecasts, and three predictions for two places. */
    const WeatherHour hour = {.time_utc = T0};
    assert_ok(store_begin(f->store, E));
    for (int i = 0; i < 30; i++) {
        int64_t t = T0 + (int64_t)(i / 3) * DAY + i % 3 * HOUR;
        StorePlan plan = {
            .made_utc = t, .trigger = "forecast", .decisions = "[]", .value = i, .bound_gap = NAN};
        assert_ok(store_put_plan(f->store, &plan, E));
        assert_ok(store_put_forecast(f->store, "plot", "s", t, t, &hour, 1, E));
        for (int p = 0; p < 4; p++) {
            StorePrediction prediction = {.made_utc = t,
                                          .place = p / 2,
                                          .night_day = 20562,
                                          .what = (StorePredicted)(p % 2),
                                          .mean_c = i,
                                          .spread_k = NAN,
                                          .forecast_issued_utc = t};
            assert_ok(store_put_prediction(f->store, &f->garden, &prediction, E));
        }
    }
    assert_ok(store_commit(f->store, E));
    assert_int_equal(count(f->store,
                           "SELECT count(*) FROM plan WHERE value = (made_utc - 1776643200)"
                           " / 86400 * 3 + made_utc % 86400 / 3600 AND bound_gap IS NULL"
                           " AND cause = 'forecast' AND decisions = '[]'"),
                     30);
    int removed = -1;
    assert_ok(store_thin(f->store, T0 + 400 * DAY, &removed, E));
    assert_int_equal(removed, 0);
    /* Five days are older than 400: two of three plans, forecasts and prediction sets go. */
    assert_ok(store_thin(f->store, T0 + 405 * DAY + HOUR, &removed, E));
    assert_int_equal(removed, 5 * 2 * (1 + 1 + 4));
    assert_ok(store_thin(f->store, T0 + 405 * DAY + HOUR, &removed, E));
    assert_int_equal(removed, 0);
    assert_int_equal(
        count(f->store, "SELECT count(*) FROM plan WHERE value < 15 AND value % 3 = 2"), 5);
    assert_int_equal(count(f->store, "SELECT count(*) FROM plan"), 5 + 15);
    g_autoptr(GArray) predictions = NULL;
    assert_ok(store_load_predictions(f->store, &f->garden, 20562, 20562, &predictions, E));
    assert_int_equal(predictions->len, (5 + 15) * 4);
    for (guint i = 0; i < 20; i++) {
        const StorePrediction *p = &g_array_index(predictions, StorePrediction, i);
        assert_int_equal(p->made_utc, T0 + (int64_t)(i / 4) * DAY + 2 * HOUR);
        assert_true(p->mean_c == i / 4 * 3 + 2 && isnan(p->spread_k) &&
                    p->forecast_issued_utc == p->made_utc);
        assert_true(p->place == (int)(i % 4 / 2) && p->what == (StorePredicted)(i % 2));
    }
}

static void test_events(void **state)
{
    Fixture *f = *state;
    StoreScope scope = {&f->garden, NULL, 0};
    Visit visit = {.start_utc = T0};
    assert_ok(store_put_visit(f->store, &scope, &visit, STORE_VISIT_PLANNED, T0, E));
    StoreEvent event = {.uid = "u-1",
                        .sequence = 3,
                        .dtstamp_utc = T0 + 1,
                        .created_utc = T0 + 2,
                        .last_modified_utc = T0 + 3,
                        .content_hash = "f00",
                        .status = "CONFIRMED",
                        .start_utc = T0 + 4,
                        .end_utc = T0 + 5,
                        .day_end_utc = T0 + 6,
                        .content = (char[]){"{}"}};
    g_strlcpy(event.visit_id, visit.id, sizeof event.visit_id);
    StoreEvent digest = {.uid = "u-0", .status = "TENTATIVE", .start_utc = T0 + 4};
    assert_ok(store_put_event(f->store, &event, E));
    assert_ok(store_put_event(f->store, &digest, E));
    g_autoptr(GArray) before = NULL;
    assert_ok(store_load_events(f->store, TRUE, &before, E));
    StoreEvent *got = &g_array_index(before, StoreEvent, 1);
    assert_string_equal(got->content, "{}");
    assert_string_equal(g_array_index(before, StoreEvent, 0).content, "");
    StoreEvent same = *got;
    same.content = event.content;
    assert_memory_equal(&same, &event, sizeof event);
    event.sequence = 2;
    assert_refused(store_put_event(f->store, &event, E), STORE_ERROR_INVALID, "u-1");
    event.sequence = 4;
    event.ended = true;
    assert_ok(store_put_event(f->store, &event, E));
    g_autoptr(GArray) all = NULL, living = NULL;
    assert_ok(store_load_events(f->store, TRUE, &all, E));
    assert_ok(store_load_events(f->store, FALSE, &living, E));
    assert_true(all->len == 2 && living->len == 1);
    assert_string_equal(g_array_index(all, StoreEvent, 0).uid, "u-0");
}

static void test_export(void **state)
{
    Fixture *f = *state;
    Batch batch = a_batch("tomato-1");
    StoreScope scope = {&f->garden, &batch, 1};
    Visit visit = {.start_utc = T0};
    Job job = {.place = 1, .from_place = -1, .position = 0, .guard = true, .reason = a_reason(1)};
    StorePosition position = {1, 1, T0, true};
    StoreReading reading = {.reading = {1, T0, -1.25}, .site = -1};
    StoreAway away = {.from_utc = T0, .to_utc = T0 + 1};
    StoreWarning warning = {1, 20562, -3, T0};
    StoreWatering watering = {.time_utc = T0, .known = true};
    assert_ok(store_put_batch(f->store, &f->garden, &batch, T0, E));
    g_strlcpy(watering.batch_id, batch.id, sizeof watering.batch_id);
    assert_ok(store_put_placement(f->store, &f->garden, batch.id, 0, T0, E) &&
              store_put_loss(f->store, batch.id, T0, 2, "slugs", E) &&
              store_put_note(f->store, batch.id, T0, "a \"quoted\" word\n", E) &&
              store_put_position(f->store, &f->garden, &position, E) &&
              store_put_reading(f->store, &f->garden, &reading, E) &&
              store_put_away(f->store, &f->garden, &away, E) &&
              store_put_watering(f->store, &watering, E) &&
              store_put_warning(f->store, &f->garden, &warning, E) &&
              store_put_visit(f->store, &scope, &visit, STORE_VISIT_DONE, T0, E) &&
              store_put_job(f->store, &scope, &job, visit.id, 0, E));
    StoreMinutes took = {.time_utc = T0, .minutes = 25, .jobs_minutes = 6};
    g_autoptr(GArray) reports = NULL;
    g_strlcpy(took.visit_id, visit.id, sizeof took.visit_id);
    assert_ok(store_put_minutes(f->store, &f->garden, &took, E));
    took.minutes = 26; /* said again */
    assert_ok(store_put_minutes(f->store, &f->garden, &took, E) &&
              store_load_minutes(f->store, &f->garden, 0, 9, &reports, E));
    assert_int_equal(reports->len, 1);
    assert_true(g_array_index(reports, StoreMinutes, 0).minutes == 26);
    StoreWish wish = {.kind = STORE_WISH_FIXED, .start_utc = T0, .end_utc = T0};
    assert_ok(store_put_wish(f->store, &f->garden, &wish, E) && wish.n > 0 &&
              store_put_wish(f->store, &f->garden, &wish, E)); /* the same once more */
    g_autofree char *text = NULL;
    assert_ok((text = store_export(f->store, E)) != NULL);
    g_autoptr(JsonNode) node = json_from_string(text, NULL);
    assert_non_null(node);
    JsonObject *root = json_node_get_object(node);
    assert_int_equal(json_object_get_int_member(root, "thole-export"), STORE_EXPORT_VERSION);
    const char *const keys[] = {"batches",   "placements", "waterings",     "losses", "notes",
                                "positions", "readings",   "visit_minutes", "aways",  "warnings",
                                "visits",    "jobs",       "visit_wishes"};
    assert_int_equal(json_object_get_size(root), 1 + G_N_ELEMENTS(keys));
    for (size_t i = 0; i < G_N_ELEMENTS(keys); i++)
        assert_int_equal(json_array_get_length(json_object_get_array_member(root, keys[i])), 1);
#define FIRST(key) json_array_get_object_element(json_object_get_array_member(root, key), 0)
    assert_string_equal(json_object_get_string_member(FIRST("batches"), "crop"), "tomato");
    assert_true(json_object_get_null_member(FIRST("batches"), "ended_utc"));
    assert_string_equal(json_object_get_string_member(FIRST("notes"), "text"),
                        "a \"quoted\" word\n");
    assert_true(json_object_get_double_member(FIRST("readings"), "value_c") == -1.25);
    assert_true(json_object_get_boolean_member(FIRST("jobs"), "guard"));
    JsonObject *reason = json_object_get_object_member(FIRST("jobs"), "reason");
    assert_string_equal(json_object_get_string_member(reason, "batch"), batch.id);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, set_up, tear_down)
    const struct CMUnitTest tests[] = {
        TEST(test_forecasts), TEST(test_visits_and_jobs),    TEST(test_states_of_jobs),
        TEST(test_services),  TEST(test_plans_and_thinning), TEST(test_events),
        TEST(test_export),
    };
    return cmocka_run_group_tests_name("store-plan", tests, NULL, NULL);
}
