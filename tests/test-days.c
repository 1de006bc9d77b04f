/* SPDX-License-Identifier: MIT */
/* The ramp of a batch day by day: the record of what was, and what is planned. */
#include "api-garden.h"

#include <math.h>
#include <string.h>

#include "service/ahead.h"
#include "service/api-day.h"
#include "service/api-json.h"
#include "service/planner.h"
#include "service/ramp-days.h"

#define DAY_S 86400

static int set_up(void **state)
{
    static const ApiRow rows[] = {
        {"leeks in the frame", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":40,\"place\":\"frame\",\"name\":\"early\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"tomatoes on the sill", "POST", "/v1/batches",
         "{\"crop\":\"tomato\",\"number\":12,\"sown\":\"2026-03-20\",\"destination\":\"tunnel\"}",
         200, NULL},
    };

    *state = api_garden_new();
    api_rows(*state, rows, G_N_ELEMENTS(rows));
    return 0;
}

static GPtrArray *ahead_of(const ApiGarden *garden)
{
    return planner_ahead(garden->service);
}

static const AheadDay *day_of(const GArray *days, int day)
{
    for (guint i = 0; i < days->len; i++)
        if (g_array_index(days, AheadDay, i).day == day)
            return &g_array_index(days, AheadDay, i);
    fail_msg("day %d is not ahead", day);
    return NULL;
}

/* Days follow one another, and tonight is what the plan's own outlook has of it. */
static void test_agrees_with_the_plan(void **state)
{
    const ApiGarden *garden = *state;
    const Service *s = garden->service;
    g_autoptr(GPtrArray) ahead = ahead_of(garden);

    assert_int_equal(ahead->len, s->current.batches->len);
    for (guint b = 0; b < ahead->len; b++) {
        const GArray *days = ahead->pdata[b];
        const Batch *batch = &g_array_index(s->current.batches, Batch, b);
        const BatchOutlook *outlook = &s->plan.outlooks[b];
        assert_true(days->len >= SERVICE_HORIZON_D);
        for (guint i = 1; i < days->len; i++)
            assert_int_equal(g_array_index(days, AheadDay, i).day,
                             g_array_index(days, AheadDay, i - 1).day + 1);
        const AheadDay *tonight = day_of(days, api_tonight(s, api_site_of(s, batch->place)));
        assert_float_equal(tonight->cold_c, outlook->tonight_cold_c, 0.05);
        assert_float_equal(tonight->allowed_c, outlook->allowed_low_c, 1e-9);
        if (!s->garden->places[batch->place].indoors) {
            assert_float_equal(tonight->damage_odds, outlook->damage_odds, 0.002);
            assert_float_equal(tonight->leaf_low_c, outlook->tonight_leaf_c, 0.05);
        } else {
            assert_true(isnan(tonight->damage_odds) && isnan(tonight->leaf_low_c));
        }
    }
}

/* What was planned for a day is what is recorded of it, as the forecast stays what it is. */
static void test_recorded_as_planned(void **state)
{
    ApiGarden *garden = *state;
    const int day = api_today(garden->service, 1);
    g_autoptr(GPtrArray) ahead = ahead_of(garden);
    const AheadDay planned = *day_of(ahead->pdata[0], day);
    g_autoptr(GArray) days = NULL;
    const PastDay *of_it = NULL;

    api_garden_run_to(garden, API_NOW_UTC + 3 * DAY_S);
    const Batch *early = state_find_batch(&garden->service->current, "early", NULL);
    assert_true(ramp_days_load(garden->service, early, &days, NULL));
    assert_in_range(days->len, 3, 4);
    for (guint i = 0; i < days->len; i++) {
        const PastDay *one = &g_array_index(days, PastDay, i);
        if (one->end_utc == planned.end_utc)
            of_it = one;
        if (i > 0)
            assert_in_range(one->end_utc - g_array_index(days, PastDay, i - 1).end_utc,
                            DAY_S - 3600, DAY_S + 3600);
    }
    assert_non_null(of_it);
    assert_float_equal(of_it->cold_c, planned.cold_c, 0.1);
    assert_float_equal(of_it->hardened_to_c, planned.hardened_to_c, 0.1);
    assert_float_equal(of_it->allowed_c, planned.allowed_c, 1e-9);
}

/* Its days in order, each once; gives how many have been. */
static guint past_days(ApiGarden *garden, const char *target)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;
    JsonObject *reply = api_ask(garden, parser, "GET", target, NULL, &status);
    JsonArray *days = json_object_get_array_member(reply, "days");
    const char *before = "";
    guint past = 0;

    assert_int_equal(status, 200);
    for (guint i = 0; i < json_array_get_length(days); i++) {
        JsonObject *day = json_array_get_object_element(days, i);
        const char *date = json_object_get_string_member(day, "date");
        if (strcmp(before, date) >= 0)
            fail_msg("%s comes after %s", date, before);
        past += json_object_get_boolean_member(day, "planned") ? 0 : 1;
        before = date;
    }
    assert_true(json_array_get_length(days) > past + 7);
    return past;
}

/* With one more plan, and from the store. */
static void test_each_day_once(void **state)
{
    ApiGarden *garden = *state;

    service_ask_plan(garden->service, "test");
    service_plan_now(garden->service);
    assert_in_range(past_days(garden, "/v1/batches/early"), 2, 4);
}

/* What is told before the ramp day ends, an hour after sunrise, has the night before as its first.
 */
static void test_told_before_sunrise(void **state)
{
    ApiGarden *garden = *state;
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    api_garden_run_to(garden, API_NOW_UTC + 4 * DAY_S - 11 * 3600);
    (void)api_ask(garden, parser, "POST", "/v1/batches",
                  "{\"crop\":\"leek\",\"number\":20,\"place\":\"tunnel\",\"name\":\"late\","
                  "\"sown\":\"2026-02-10\"}",
                  &status);
    assert_int_equal(status, 200);
    assert_int_equal(past_days(garden, "/v1/batches/late"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_agrees_with_the_plan),
        cmocka_unit_test(test_recorded_as_planned),
        cmocka_unit_test(test_each_day_once),
        cmocka_unit_test(test_told_before_sunrise),
    };

    return cmocka_run_group_tests_name("days", tests, set_up, api_garden_tear_down);
}
