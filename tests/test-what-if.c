/* SPDX-License-Identifier: MIT */
/* What would differ if something were otherwise: what it says, and that asking changes nothing. */
#include "api-garden.h"

#include <glib/gstdio.h>
#include <string.h>

#include "base/local-time.h"
#include "service/what-if.h"
#include "service/outlets.h"

static int set_up(void **state)
{
    static const ApiRow rows[] = {
        {"leeks in the frame", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":40,\"place\":\"frame\",\"name\":\"early\",\"sown\":"
         "\"2026-01-28\"}",
         200, NULL},
        {"cabbages on the sill", "POST", "/v1/batches",
         "{\"crop\":\"cabbage\",\"number\":24,\"place\":\"sill\",\"sown\":\"2026-02-18\"}", 200,
         NULL},
        {"tomatoes on the sill", "POST", "/v1/batches",
         "{\"crop\":\"tomato\",\"number\":12,\"sown\":\"2026-03-20\",\"destination\":\"tunnel\"}",
         200, NULL},
    };

    *state = api_garden_new();
    api_rows(*state, rows, G_N_ELEMENTS(rows));
    return 0;
}

/* ---- nothing is changed ---- */

static gint by_name(gconstpointer a, gconstpointer b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Every byte of a file, or of all files beneath a folder, goes into the sum. */
static void add_files(GChecksum *sum, const char *path)
{
    g_autofree char *bytes = NULL;
    gsize length = 0;

    if (g_file_test(path, G_FILE_TEST_IS_DIR)) {
        g_autoptr(GDir) folder = g_dir_open(path, 0, NULL);
        g_autoptr(GPtrArray) names = g_ptr_array_new_with_free_func(g_free);
        const char *name;
        while ((name = g_dir_read_name(folder)) != NULL)
            g_ptr_array_add(names, g_strdup(name));
        g_ptr_array_sort(names, by_name);
        for (guint i = 0; i < names->len; i++) {
            g_autofree char *child = g_build_filename(path, names->pdata[i], NULL);
            add_files(sum, child);
        }
    } else if (g_file_get_contents(path, &bytes, &length, NULL)) {
        g_checksum_update(sum, (const guchar *)path, -1);
        g_checksum_update(sum, (const guchar *)bytes, (gssize)length);
    }
}

static void add_reply(GChecksum *sum, ApiGarden *garden, const char *target)
{
    g_autofree char *reply = client_ask(garden->socket, "GET", target, "");

    g_checksum_update(sum, (const guchar *)strstr(reply, "\r\n\r\n"), -1);
}

/* The store and the calendar as they lie on the disk, where all stands, and all that is replied of
 * it and of the plan, which lies where it lay. */
static char *everything(ApiGarden *garden)
{
    static const char *const targets[] = {"/v1/today",    "/v1/week",     "/v1/batches",
                                          "/v1/calendar", "/v1/check",    "/v1/export",
                                          "/v1/places",   "/v1/why/early"};
    const Service *s = garden->service;
    const gsize places = (gsize)s->garden->n_places;
    g_autoptr(GChecksum) sum = g_checksum_new(G_CHECKSUM_SHA256);
    g_autofree char *state = g_build_filename(garden->folder, "state", NULL),
                    *calendar = g_build_filename(garden->folder, "thole.ics", NULL);

    for (gsize i = 0; i < G_N_ELEMENTS(targets); i++)
        add_reply(sum, garden, targets[i]);
    add_files(sum, state);
    add_files(sum, calendar);
    const gconstpointer kept[] = {s->plan.visits, s->plan.jobs, s->plan.course, s->arena.base};
    g_checksum_update(sum, (const guchar *)kept, sizeof kept);
    g_checksum_update(sum, (const guchar *)&s->arena.used, sizeof s->arena.used);
    g_checksum_update(sum, (const guchar *)s->current.batches->data,
                      (gssize)(s->current.batches->len * sizeof(Batch)));
    g_checksum_update(sum, (const guchar *)s->current.chain_states,
                      (gssize)(places * sizeof(ChainState)));
    g_checksum_update(sum, (const guchar *)s->current.positions, (gssize)(places * sizeof(int)));
    for (int site = 0; site < s->garden->n_sites; site++)
        g_checksum_update(sum, (const guchar *)s->weather[site].steps->data,
                          (gssize)(s->weather[site].steps->len * sizeof(OutdoorStep)));
    return g_strdup(g_checksum_get_string(sum));
}

/* Planned at once; its plan is good until the next one. */
static WhatIf *planned(const Service *s, const Supposed *supposed)
{
    static Arena arena;
    WhatIf *w = what_if_new(s, supposed, NULL);

    assert_non_null(w);
    g_autoptr(Situation) situation = what_if_look(w, NULL);
    assert_non_null(situation);
    assert_true(situation_plan(situation, &arena, &w->service.plan));
    return w;
}

static int first_handle(const ApiGarden *garden)
{
    for (guint i = 0; i < garden->service->visits->len; i++) {
        const OpenVisit *visit = garden->service->visits->pdata[i];
        if (!visit->begun && visit->jobs->len > 0)
            return g_array_index(visit->jobs, OpenJob, 0).handle;
    }
    fail_msg("no job is open");
    return 0;
}

/* What the plan before wrote into them is on its way in a thread. */
static void wait_for_calendars(ApiGarden *garden)
{
    const Outlets *outlets = garden->service->outlets;

    for (guint i = 0; i < outlets_count(outlets); i++) {
        for (;;) {
            const OutletView view = outlets_view(outlets, i);
            if (view.pending == 0 && view.row->pending == 0 && view.row->delivered_utc != 0)
                break;
            g_main_context_iteration(NULL, TRUE);
        }
    }
}

static void test_changes_nothing(void **state)
{
    ApiGarden *garden = *state;
    g_autofree char *skip =
        g_strdup_printf("{\"change\":\"skip\",\"job\":%d}", first_handle(garden));
    const char *const bodies[] = {
        skip,
        "{\"change\":\"frost\",\"site\":\"plot\",\"night\":\"tonight\",\"low\":-7}",
        "{\"change\":\"place\",\"kind\":\"cold-frame\",\"site\":\"home\"}",
        "{\"change\":\"place\",\"kind\":\"sill\",\"site\":\"plot\",\"trays\":2}",
        "{\"change\":\"sown\",\"batch\":\"cabbage-1\",\"sown\":\"2026-04-10\"}",
        "{\"change\":\"sown\",\"batch\":\"early\",\"sown\":\"2026-04-10\"}",
    };
    const guint64 plans = garden->service->plans;
    wait_for_calendars(garden);
    g_autofree char *before = everything(garden);

    for (gsize i = 0; i < G_N_ELEMENTS(bodies); i++) {
        g_autoptr(JsonParser) parser = json_parser_new();
        int status = 0;
        (void)api_ask(garden, parser, "POST", "/v1/what-if", bodies[i], &status);
        assert_int_equal(status, i + 1 < G_N_ELEMENTS(bodies) ? 200 : 409);
        g_autofree char *after = everything(garden);
        if (!g_str_equal(before, after))
            fail_msg("%s changed something", bodies[i]);
    }
    assert_int_equal(garden->service->plans, plans);
}

/* ---- what it says ---- */

static void test_rows(void **state)
{
    ApiGarden *garden = *state;
    static const ApiRow rows[] = {
        {"what?", "POST", "/v1/what-if", "{}", 400, "change is missing; …"},
        {"an unknown change", "POST", "/v1/what-if", "{\"change\":\"rain\"}", 400,
         "change: \"rain\" is not accepted; give skip, frost, place or sown"},
        {"no such job", "POST", "/v1/what-if", "{\"change\":\"skip\",\"job\":999}", 404,
         "no open job has the number 999; tholectl week lists them"},
        {"a member of another change", "POST", "/v1/what-if",
         "{\"change\":\"skip\",\"job\":1,\"site\":\"plot\"}", 400,
         "the member site is not known; …"},
        {"a frost nowhere", "POST", "/v1/what-if",
         "{\"change\":\"frost\",\"site\":\"plott\",\"night\":\"tonight\",\"low\":-7}", 404,
         "no site is called \"plott\"; did you mean \"plot\"? sites: home, plot"},
        {"a frost last night", "POST", "/v1/what-if",
         "{\"change\":\"frost\",\"site\":\"plot\",\"night\":\"yesterday\",\"low\":-7}", 400,
         "night: Wed 15 Apr is over; give a day from 2026-04-16 to 2026-04-25, on which the night "
         "begins"},
        {"as cold already", "POST", "/v1/what-if",
         "{\"change\":\"frost\",\"site\":\"plot\",\"night\":\"2026-04-18\",\"low\":2}", 200,
         "Nothing would differ: the forecast is as cold already."},
        {"a kind that is none", "POST", "/v1/what-if",
         "{\"change\":\"place\",\"kind\":\"cold-fram\",\"site\":\"home\"}", 400,
         "kind: \"cold-fram\" is not accepted; did you mean \"cold-frame\"? …"},
        {"a bed more", "POST", "/v1/what-if",
         "{\"change\":\"place\",\"kind\":\"bed\",\"site\":\"home\"}", 409,
         "kind: plants stay in …"},
        {"no trays", "POST", "/v1/what-if",
         "{\"change\":\"place\",\"kind\":\"box\",\"site\":\"home\",\"trays\":0}", 400, "trays: …"},
        {"a propagator where nothing stands", "POST", "/v1/what-if",
         "{\"change\":\"place\",\"kind\":\"propagator\",\"site\":\"plot\"}", 200,
         "Nothing would differ: the same visits and ready dates, no batch at more risk."},
        {"sown when?", "POST", "/v1/what-if", "{\"change\":\"sown\",\"batch\":\"cabbage-1\"}", 400,
         "sown is missing; give a day such as 2026-03-10"},
        {"sown tomorrow", "POST", "/v1/what-if",
         "{\"change\":\"sown\",\"batch\":\"cabbage-1\",\"sown\":\"2026-04-17\"}", 400,
         "sown: Fri 00:00 is still to come; give a time of the last 366 days, up to now"},
        {"nobody sowed that", "POST", "/v1/what-if",
         "{\"change\":\"sown\",\"batch\":\"kale-1\",\"sown\":\"2026-04-10\"}", 404,
         "no batch is called \"kale-1\"; …"},
        {"one that hardens", "POST", "/v1/what-if",
         "{\"change\":\"sown\",\"batch\":\"early\",\"sown\":\"2026-04-10\"}", 409,
         "early is hardening: when it was sown decides nothing any more"},
    };

    api_rows(garden, rows, G_N_ELEMENTS(rows));
}

static JsonObject *asked(ApiGarden *garden, JsonParser *parser, const char *body)
{
    int status = 0;
    JsonObject *object = api_ask(garden, parser, "POST", "/v1/what-if", body, &status);

    assert_int_equal(status, 200);
    return object;
}

static JsonObject *of_batch(JsonObject *reply, const char *name)
{
    JsonArray *batches = json_object_get_array_member(reply, "batches");

    for (guint i = 0; i < json_array_get_length(batches); i++) {
        JsonObject *batch = json_array_get_object_element(batches, i);
        if (g_str_equal(json_object_get_string_member(batch, "batch"), name))
            return batch;
    }
    return NULL;
}

/* Cabbages sown yesterday are weeks from leaving the heat. */
static void test_later_sown(void **state)
{
    g_autoptr(JsonParser) parser = json_parser_new();
    JsonObject *reply = asked(
        *state, parser, "{\"change\":\"sown\",\"batch\":\"cabbage-1\",\"sown\":\"2026-04-15\"}");
    JsonObject *cabbage = of_batch(reply, "cabbage-1");

    assert_non_null(cabbage);
    assert_true(json_object_get_int_member(cabbage, "days_later") > 20);
}

/* The visit that nobody makes is no visit, and nobody comes in those hours. */
static void test_skipped(void **state)
{
    ApiGarden *garden = *state;
    g_autoptr(JsonParser) parser = json_parser_new();
    const int handle = first_handle(garden);
    g_autofree char *body = g_strdup_printf("{\"change\":\"skip\",\"job\":%d}", handle);
    const OpenVisit *skipped = NULL;

    for (guint i = 0; i < garden->service->visits->len; i++) {
        const OpenVisit *visit = garden->service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++)
            if (g_array_index(visit->jobs, OpenJob, k).handle == handle)
                skipped = visit;
    }
    const Supposed supposed = {.without = skipped, .batch = -1};
    g_autoptr(WhatIf) w = planned(garden->service, &supposed);
    for (int i = 0; i < w->service.plan.n_visits; i++) {
        const Visit *visit = &w->service.plan.visits[i];
        assert_false(visit->site == skipped->visit.site &&
                     visit->start_utc == skipped->visit.start_utc);
    }
    const Supposed nothing = {.batch = -1};
    g_autoptr(WhatIf) as_it_is = planned(garden->service, &nothing);
    assert_true(w->service.windows->len + 1 == as_it_is->service.windows->len);
    JsonArray *visits = json_object_get_array_member(asked(garden, parser, body), "visits");
    assert_true(json_array_get_length(visits) > 0);
}

/* The plan is steady: with nothing supposed it is made once more as it is. */
static void test_nothing_supposed(void **state)
{
    const Service *s = ((ApiGarden *)*state)->service;
    const Supposed supposed = {.batch = -1};
    g_autoptr(WhatIf) w = planned(s, &supposed);
    assert_int_equal(w->service.plan.n_visits, s->plan.n_visits);
    for (int i = 0; i < s->plan.n_visits; i++)
        assert_int_equal(w->service.plan.visits[i].start_utc, s->plan.visits[i].start_utc);
    for (guint i = 0; i < s->current.batches->len; i++)
        assert_int_equal(w->service.plan.outlooks[i].ready_utc, s->plan.outlooks[i].ready_utc);
}

/* What was supposed comes true: the visits are those that were told. */
static void test_comes_true(void **state)
{
    ApiGarden *garden = *state;
    const StoreWarning frost = {.site = 1,
                                .night_day = 20559, /* 16 April 2026 */
                                .low_c = -7.0,
                                .heard_utc = clock_now(garden->clk)};
    const Supposed supposed = {.frost = &frost, .batch = -1};
    g_autoptr(WhatIf) w = planned(garden->service, &supposed);
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    assert_non_null(w);
    assert_true(w->colder);
    const Plan *told = &w->service.plan;
    g_autofree int64_t *starts = g_new0(int64_t, told->n_visits + 1);
    g_autofree int *jobs = g_new0(int, told->n_visits + 1);
    const int n = told->n_visits;
    for (int i = 0; i < n; i++) {
        starts[i] = told->visits[i].start_utc;
        jobs[i] = told->visits[i].n_jobs;
    }
    (void)api_ask(garden, parser, "POST", "/v1/frosts",
                  "{\"site\":\"plot\",\"night\":\"tonight\",\"low\":-7}", &status);
    assert_int_equal(status, 200);
    const Plan *plan = &garden->service->plan;
    assert_int_equal(plan->n_visits, n);
    for (int i = 0; i < n; i++) {
        assert_int_equal(plan->visits[i].start_utc, starts[i]);
        assert_int_equal(plan->visits[i].n_jobs, jobs[i]);
    }
}

/* Whether hours that the last plan knew of are over by now. */
static bool hours_are_over(const Service *s)
{
    for (guint i = 0; i < s->windows->len; i++) {
        const VisitWindow *window = &g_array_index(s->windows, VisitWindow, i);
        if (window->to_utc < clock_now(s->clk))
            return true;
    }
    return false;
}

static bool is_under_way(const Service *s, const Visit *visit)
{
    for (guint i = 0; i < s->visits->len; i++) {
        const OpenVisit *open = s->visits->pdata[i];
        if (open->begun && open->visit.site == visit->site &&
            open->visit.start_utc <= visit->start_utc)
            return true;
    }
    return false;
}

/* The last plan is of the morning: what is supposed in the evening is not mended at noon. */
static void test_not_in_the_past(void **state)
{
    ApiGarden *garden = *state;
    const Service *s = garden->service;
    int visits = 0;

    for (int hours = 0; hours < 24 && !hours_are_over(s); hours++)
        api_garden_run_to(garden, clock_now(garden->clk) + 3600);
    assert_true(hours_are_over(s));
    for (int site = 0; site < s->garden->n_sites; site++) {
        const StoreWarning frost = {.site = site,
                                    .night_day = local_day(s->zones[site], clock_now(s->clk)),
                                    .low_c = -9.0,
                                    .heard_utc = clock_now(s->clk)};
        const Supposed supposed = {.frost = &frost, .batch = -1};
        g_autoptr(WhatIf) w = planned(s, &supposed);
        for (guint i = 0; i < w->service.windows->len; i++)
            assert_true(g_array_index(w->service.windows, VisitWindow, i).to_utc >=
                        clock_now(s->clk));
        for (int i = 0; i < w->service.plan.n_visits; i++, visits++) {
            const Visit *visit = &w->service.plan.visits[i];
            assert_true(visit->start_utc >= clock_now(s->clk) - 1800 || is_under_way(s, visit));
        }
    }
    assert_true(visits > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_changes_nothing),  cmocka_unit_test(test_rows),
        cmocka_unit_test(test_later_sown),       cmocka_unit_test(test_skipped),
        cmocka_unit_test(test_nothing_supposed), cmocka_unit_test(test_comes_true),
        cmocka_unit_test(test_not_in_the_past),
    };

    return cmocka_run_group_tests_name("what-if", tests, set_up, api_garden_tear_down);
}
