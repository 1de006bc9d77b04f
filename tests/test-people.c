/* SPDX-License-Identifier: MIT */
/* A garden and those who work in it: how long visits take, who comes while one is away. */
#include "api-garden.h"

#include <string.h>

#include "service/absence.h"
#include "service/jobs.h"
#include "service/visit-minutes.h"
#include "service/waiting.h"
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

/* ---- absences and helpers ---- */

static void test_refusals(void **state)
{
    static const ApiRow rows[] = {
        {"a helper without hours", "POST", "/v1/aways",
         "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\",\"helper\":\"Kim\"}", 400,
         "give helper, who comes, and visits, the hours, together"},
        {"hours that are none", "POST", "/v1/aways",
         "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\",\"helper\":\"Kim\",\"visits\":\"9-8\"}",
         400, "visits: \"9-8\" is not accepted; give hours such as 08:00-09:00"},
        {"hours that end before they begin", "POST", "/v1/aways",
         "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\",\"helper\":\"Kim\",\"visits\":"
         "\"09:00-08:00\"}",
         400, "visits: \"09:00-08:00\" is not accepted; give hours such as 08:00-09:00"},
        {"a grower who is none", "POST", "/v1/aways",
         "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\",\"grower\":\"you\"}", 404,
         "there is no grower \"you\""},
        {"a site that is none", "POST", "/v1/aways",
         "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\",\"helper\":\"Kim\",\"visits\":"
         "\"08:00-09:00\",\"site\":\"plto\"}",
         404, "…"},
        {"nobody is away yet", "GET", "/v1/aways", NULL, 200, NULL},
    };

    api_rows(*state, rows, G_N_ELEMENTS(rows));
}

static const char *alert_of(JsonObject *today, const char *kind)
{
    JsonArray *alerts = json_object_get_array_member(today, "alerts");

    for (guint i = 0; i < json_array_get_length(alerts); i++) {
        JsonObject *alert = json_array_get_object_element(alerts, i);
        if (g_str_equal(json_object_get_string_member(alert, "kind"), kind))
            return json_object_get_string_member(alert, "text");
    }
    return NULL;
}

/* Three days away from the day after tomorrow: said today, and on the last visit before. */
static void test_notice(void **state)
{
    ApiGarden *garden = *state;
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    g_autofree char *later =
        ask(garden, "POST", "/v1/aways", "{\"from\":\"2026-04-20\",\"to\":\"2026-04-22\"}", 200);
    assert_true(g_str_has_prefix(later, "Noted: away from Mon 20 Apr to the end of Wed 22 Apr."));
    JsonObject *today = api_ask(garden, parser, "GET", "/v1/today", NULL, &status);
    assert_null(alert_of(today, "absence"));
    api_garden_run_to(garden, API_NOW_UTC + 2 * DAY_S + 8 * 3600);
    today = api_ask(garden, parser, "GET", "/v1/today", NULL, &status);
    const char *text = alert_of(today, "absence");
    print_message("%s\n", text);
    assert_non_null(text);
    assert_true(g_str_has_prefix(text, "Soon away from Mon 20 Apr to the end of Wed 22 Apr. "));
    const Service *s = garden->service;
    int noted = 0, before = 0;
    const int64_t from_utc = API_NOW_UTC + 3 * DAY_S + 7 * 3600;
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *visit = s->visits->pdata[i];
        g_autofree char *note = absence_note(s, &visit->visit);
        before += !visit->begun && visit->visit.start_utc < from_utc;
        noted += !visit->begun && note != NULL;
        /* Nobody is there meanwhile. */
        assert_false(visit->visit.start_utc >= from_utc &&
                     visit->visit.start_utc < from_utc + 3 * DAY_S);
        if (note != NULL)
            assert_true(g_str_has_prefix(note, "After this visit nobody comes until Thu 23 Apr ") ||
                        g_str_has_prefix(note, "After this visit nobody comes until Thu "));
    }
    assert_int_equal(noted > 0, before > 0);
    assert_int_equal(strstr(text, "Last visit") != NULL, noted > 0);
}

/* Away from the day after tomorrow: the last visit before says so, here and in the calendar. */
static void test_last_visit(void **state)
{
    ApiGarden *garden = *state;
    const Service *s = garden->service;
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0, noted = 0;

    g_free(
        ask(garden, "POST", "/v1/aways", "{\"from\":\"2026-04-18\",\"to\":\"2026-04-20\"}", 200));
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *visit = s->visits->pdata[i];
        g_autofree char *note = absence_note(s, &visit->visit);
        if (note == NULL)
            continue;
        noted++;
        print_message("%s\n", note);
        assert_true(g_str_has_prefix(note, "After this visit nobody comes until Tue"));
        g_autofree char *text = absence_description(s, visit, g_strdup("Take along: nothing."));
        assert_true(g_str_has_prefix(text, "Take along: nothing.\nAfter this visit nobody"));
    }
    assert_true(noted > 0);
    JsonObject *today = api_ask(garden, parser, "GET", "/v1/today", NULL, &status);
    const char *text = alert_of(today, "absence");
    print_message("%s\n", text);
    assert_true(g_str_has_prefix(text, "Soon away from Sat 18 Apr to the end of Mon 20 Apr. Last "
                                       "visit to the plot: "));
}

/* Meanwhile somebody comes to the plot: visits are theirs, with a sentence each, and they neither
 * carry trays there nor plant. */
static void test_helper(void **state)
{
    ApiGarden *garden = *state;
    const Service *s = garden->service;
    int helped = 0;

    g_autofree char *noted =
        ask(garden, "POST", "/v1/aways",
            "{\"from\":\"2026-04-17\",\"to\":\"2026-04-20\",\"helper\":\"Kim\",\"visits\":"
            "\"08:00-09:00\",\"site\":\"plot\",\"grower\":\"me\"}",
            200);
    assert_true(g_str_has_prefix(noted, "Noted: away from Fri 17 Apr to the end of Mon 20 Apr; Kim "
                                        "comes to the plot from 08:00 to 09:00."));
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *visit = s->visits->pdata[i];
        g_autofree char *helper = absence_helper(s, &visit->visit);
        g_autofree char *text = absence_helper_text(s, visit);
        assert_int_equal(helper != NULL, visit->visit.helped);
        if (helper == NULL)
            continue;
        helped++;
        print_message("%s\n", text);
        assert_string_equal(helper, "Kim");
        assert_true(g_str_has_prefix(text, "For Kim, "));
        assert_null(strchr(text, '\n'));
        const int64_t minute = (visit->visit.start_utc + 3600) % DAY_S / 60;
        assert_in_range(minute, 8 * 60, 9 * 60);
        for (guint k = 0; k < visit->jobs->len; k++) {
            const JobKind kind = g_array_index(visit->jobs, OpenJob, k).job.kind;
            assert_true(kind != JOB_TRANSFER && kind != JOB_PLANT_OUT);
        }
    }
    assert_true(helped > 0);
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;
    JsonObject *week = api_ask(garden, parser, "GET", "/v1/week", NULL, &status);
    g_autofree char *json = json_to_string(json_parser_get_root(parser), FALSE);
    assert_non_null(week);
    assert_non_null(strstr(json, "\"helper\":\"Kim\",\"helper_text\":\"For Kim, "));
}

/* ---- room ---- */

/* Fit for the open, and every place outdoors is full: said of the place, of the batch, and why. */
static void test_waits(void **state)
{
    static const ApiRow rows[] = {
        {"the frame is full", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":80,\"place\":\"frame\",\"name\":\"more\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"the tunnel is full", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":800,\"place\":\"tunnel\",\"name\":\"field\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"the box is full", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":160,\"place\":\"box\",\"name\":\"boxed\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"cabbages on the sill", "POST", "/v1/batches",
         "{\"crop\":\"cabbage\",\"number\":24,\"place\":\"sill\",\"name\":\"late\",\"sown\":"
         "\"2026-02-20\"}",
         200, NULL},
    };
    ApiGarden *garden = *state;
    const Service *s = garden->service;
    int index = -1;

    api_rows(garden, rows, G_N_ELEMENTS(rows));
    assert_non_null(state_find_batch(&s->current, "late", &index));
    g_autofree char *text = waiting_text(s, index);
    print_message("%s\n", text != NULL ? text : "does not wait");
    assert_non_null(text);
    assert_true(g_str_has_prefix(text, "late waits for room since "));
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;
    JsonObject *batch = api_ask(garden, parser, "GET", "/v1/batches/late", NULL, &status);
    assert_string_equal(json_object_get_string_member(batch, "waits"), text);
    JsonObject *places = api_ask(garden, parser, "GET", "/v1/places", NULL, &status);
    g_autofree char *all = json_to_string(json_parser_get_root(parser), FALSE);
    assert_non_null(places);
    assert_non_null(strstr(all, text));
    assert_non_null(api_ask(garden, parser, "GET", "/v1/why/late", NULL, &status));
    g_autofree char *why = json_to_string(json_parser_get_root(parser), FALSE);
    assert_non_null(strstr(why, text));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_learned_minutes, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_minutes_reported, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_refusals, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_notice, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_waits, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_last_visit, set_up, tear_down),
        cmocka_unit_test_setup_teardown(test_helper, set_up, tear_down)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
