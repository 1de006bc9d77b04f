/* SPDX-License-Identifier: MIT */
/* A garden and those who work in it: how long visits take, who comes while one is away. */
#include "api-garden.h"

#include <string.h>

#include "service/jobs.h"
#include "service/visit-minutes.h"
#include "store/store-minutes.h"

#define DAY_S 86400

static int set_up(void **state)
{
    static const ApiRow rows[] = {
        {"leeks in the frame", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":40,\"place\":\"frame\",\"name\":\"early\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"tomatoes on the sill", "POST", "/v1/batches", "{\"crop\":\"tomato\",\"number\":12}", 200,
         NULL},
    };

    *state = api_garden_new();
    api_rows(*state, rows, G_N_ELEMENTS(rows));
    return 0;
}

static int tear_down(void **state)
{
    api_garden_free(*state);
    return 0;
}

/* The first visit to a site that is still to come. */
static OpenVisit *next_visit(const ApiGarden *garden, const char *site)
{
    const Service *s = garden->service;

    for (guint i = 0; i < s->visits->len; i++) {
        OpenVisit *visit = s->visits->pdata[i];
        if (!visit->begun && g_str_equal(s->garden->sites[visit->visit.site].name, site))
            return visit;
    }
    fail_msg("no visit to %s is to come", site);
    return NULL;
}

/* Asks; the reply's text, or the detail of a refusal. */
static char *ask(ApiGarden *garden, const char *method, const char *target, const char *body,
                 int status)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    int seen = 0;
    JsonObject *reply = api_ask(garden, parser, method, target, body, &seen);

    assert_int_equal(seen, status);
    return g_strdup(
        json_object_get_string_member_with_default(reply, status == 200 ? "text" : "detail", ""));
}

/* ---- minutes ---- */

static void put_minutes(const ApiGarden *garden, int site, int n, double minutes)
{
    Service *s = garden->service;
    const OpenVisit *visit = next_visit(garden, "plot");
    static int made;

    for (int i = 0; i < n; i++) {
        StoreMinutes report = {.site = site,
                               .time_utc = clock_now(s->clk) + made++,
                               .minutes = minutes + 2.0,
                               .jobs_minutes = 2.0};
        const StoreScope scope = {.garden = s->garden};
        Visit past = visit->visit;
        g_autoptr(GError) error = NULL;
        past.id[0] = '\0';
        assert_true(
            store_put_visit(s->store, &scope, &past, STORE_VISIT_DONE, clock_now(s->clk), &error));
        g_strlcpy(report.visit_id, past.id, sizeof report.visit_id);
        assert_true(store_put_minutes(s->store, s->garden, &report, &error));
    }
}

static double reckoned(const ApiGarden *garden, int site)
{
    VisitMinutes minutes;
    g_autoptr(GError) error = NULL;

    assert_true(visit_minutes_of(garden->service, site, &minutes, &error));
    return minutes.min;
}

/* Reports draw the figure towards them; one that is far off does not, and it stays in its bounds.
 */
static void test_learned_minutes(void **state)
{
    ApiGarden *garden = *state;
    const int plot = next_visit(garden, "plot")->visit.site;

    assert_float_equal(reckoned(garden, plot), 15.0, 1e-9);
    put_minutes(garden, plot, 1, 27.0);
    assert_float_equal(reckoned(garden, plot), (2 * 15.0 + 27.0) / 3, 1e-9);
    put_minutes(garden, plot, 3, 27.0);
    const double four = (2 * 15.0 + 4 * 27.0) / 6;
    assert_float_equal(reckoned(garden, plot), four, 1e-9);
    put_minutes(garden, plot, 1, 500.0);
    assert_float_equal(reckoned(garden, plot), (2 * 15.0 + 5 * 27.0) / 7, 1e-9);
    /* Of the last 15 most were long, and it is bounded. */
    put_minutes(garden, plot, 14, 500.0);
    assert_float_equal(reckoned(garden, plot), 60.0, 1e-9);
    put_minutes(garden, plot, 15, 1.0);
    assert_float_equal(reckoned(garden, plot), 5.0, 1e-9);
    assert_float_equal(reckoned(garden, 1 - plot), 15.0, 1e-9);
}

/* Said with what was done: the reply tells what was learned, the next visits take as long. */
static void test_minutes_reported(void **state)
{
    ApiGarden *garden = *state;
    const OpenVisit *first = next_visit(garden, "plot");
    const int plot = first->visit.site;
    const double minutes = first->visit.minutes;

    g_autofree char *early = ask(garden, "POST", "/v1/jobs/report",
                                 "{\"state\":\"done\",\"all\":true,\"minutes\":40}", 409);
    assert_string_equal(early, "no job of a visit that has begun is open");
    api_garden_run_to(garden, first->visit.start_utc + 1200);
    g_autofree char *missed = ask(garden, "POST", "/v1/jobs/report",
                                  "{\"state\":\"missed\",\"all\":true,\"minutes\":40}", 400);
    assert_non_null(strstr(missed, "minutes"));
    g_autofree char *never = ask(garden, "POST", "/v1/jobs/report",
                                 "{\"state\":\"done\",\"all\":true,\"minutes\":0}", 400);
    assert_string_equal(never, "minutes: 0 is not accepted; give a whole number from 1 to 600");
    g_autofree char *text = ask(garden, "POST", "/v1/jobs/report",
                                "{\"state\":\"done\",\"all\":true,\"minutes\":60}", 200);
    print_message("%s\n", text);
    assert_non_null(strstr(text, "A visit to the plot is reckoned with "));
    assert_non_null(strstr(text, " min beside its jobs, by 1 report; set are 15 min."));
    const double learned = reckoned(garden, plot);
    assert_float_equal(learned, 15.0 + (60.0 - (minutes - 15.0) - 15.0) / 3, 1e-9);
    const OpenVisit *next = next_visit(garden, "plot");
    double jobs = 0.0;
    for (guint k = 0; k < next->jobs->len; k++) {
        const JobKind kind = g_array_index(next->jobs, OpenJob, k).job.kind;
        jobs += kind == JOB_SET_COVER ? 1.0 : kind == JOB_MOVE || kind == JOB_TRANSFER ? 5.0 : 0.0;
    }
    assert_float_equal(next->visit.minutes, learned + jobs, 1.0 + 1e-9);
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;
    JsonObject *weather = api_ask(garden, parser, "GET", "/v1/weather/plot", NULL, &status);
    assert_true(g_str_has_prefix(json_object_get_string_member(weather, "visit_minutes"),
                                 "A visit to the plot is reckoned with "));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_learned_minutes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_minutes_reported, set_up, tear_down)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
