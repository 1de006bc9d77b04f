/* SPDX-License-Identifier: MIT */
/* What a grower is told without asking: that a batch will have to wait, and what else there is. */
#include "api-garden.h"

#include <string.h>

#include "service/advice.h"
#include "service/waiting.h"

static int set_up(void **state)
{
    static const ApiRow rows[] = {
        {"tomatoes sown long ago", "POST", "/v1/batches",
         "{\"crop\":\"tomato\",\"number\":12,\"name\":\"old\",\"sown\":\"2026-02-01\","
         "\"destination\":\"bed\"}",
         200, NULL},
        {"tomatoes sown in time", "POST", "/v1/batches",
         "{\"crop\":\"tomato\",\"number\":12,\"name\":\"young\",\"sown\":\"2026-04-10\","
         "\"destination\":\"bed\"}",
         200, NULL},
        {"leeks for the bed", "POST", "/v1/batches",
         "{\"crop\":\"leek\",\"number\":40,\"name\":\"leeks\",\"sown\":\"2026-01-28\","
         "\"destination\":\"bed\"}",
         200, NULL},
    };

    *state = api_garden_new();
    api_rows(*state, rows, G_N_ELEMENTS(rows));
    return 0;
}

static int index_of(const Service *s, const char *name)
{
    for (guint i = 0; i < s->current.batches->len; i++)
        if (g_str_equal(g_array_index(s->current.batches, Batch, i).name, name))
            return (int)i;
    fail_msg("no batch is called %s", name);
    return -1;
}

/* The file as it is, changed, and read again. */
static void change_garden(const ApiGarden *garden, const char *from, const char *to)
{
    g_autofree char *path = g_build_filename(garden->folder, "thole.conf", NULL);
    g_autofree char *text = NULL;
    g_autoptr(GError) error = NULL;

    assert_true(g_file_get_contents(path, &text, NULL, NULL));
    const char *at = strstr(text, from);
    assert_non_null(at);
    g_autofree char *changed =
        g_strdup_printf("%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    assert_true(g_file_set_contents(path, changed, -1, NULL));
    assert_true(service_reload(garden->service, &error));
    service_plan_now(garden->service);
}

/* The only reason is the season, so the tunnel and a fleece are offered, and earlier days. */
static void test_has_to_wait(void **state)
{
    const Service *s = ((ApiGarden *)*state)->service;
    g_autoptr(GHashTable) seasons = advice_seasons_new();
    g_autofree char *text = advice_wait(s, index_of(s, "old"), seasons);

    assert_non_null(text);
    print_message("# %s\n", text);
    assert_true(g_str_has_prefix(text, "old will have to wait: large and hard enough by "));
    assert_non_null(strstr(text, "in the bed it is normally too early for late frosts before "));
    assert_non_null(strstr(text, " In the tunnel it could go from "));
    assert_non_null(strstr(text, " With a fleece to lay over the bed it could go from about "));
}

static void test_need_not(void **state)
{
    const Service *s = ((ApiGarden *)*state)->service;
    g_autoptr(GHashTable) seasons = advice_seasons_new();

    assert_null(advice_wait(s, index_of(s, "young"), seasons));
    assert_null(advice_wait(s, index_of(s, "leeks"), seasons));
}

/* A frame can be taken off; a tunnel cannot, and somewhere to stand trays helps. */
static void test_no_open_place(void **state)
{
    const ApiGarden *garden = *state;
    const Service *s = garden->service;

    assert_null(advice_no_open_place(s, index_of(s, "leeks")));
    change_garden(garden, "[place frame]\nsite=plot\nkind=cold-frame\ntrays=3\n", "");
    g_autofree char *text = advice_no_open_place(s, index_of(s, "leeks"));
    assert_non_null(text);
    print_message("# %s\n", text);
    assert_true(g_str_has_prefix(
        text, "Nothing in this garden gives leeks enough hours in the open for the bed: "));
    assert_non_null(strstr(text, "kind=standing"));
    change_garden(garden, "[place tunnel]\n",
                  "[place yard]\nsite=home\nkind=standing\n[place tunnel]\n");
    assert_null(advice_no_open_place(s, index_of(s, "leeks")));
}

/* What is told of each batch is told in the same words where it is shown. */
static void test_told_together(void **state)
{
    const Service *s = ((ApiGarden *)*state)->service;
    const int old = index_of(s, "old");
    g_autoptr(GHashTable) seasons = advice_seasons_new();
    g_autofree char *wait = advice_wait(s, old, seasons);
    g_autofree char *again = advice_wait(s, old, seasons);
    g_autoptr(GError) error = NULL;
    g_autoptr(GPtrArray) texts = advice_of(s, old, &error);
    guint found = 0;

    assert_string_equal(again, wait); /* by what was found before */
    assert_non_null(texts);
    for (guint i = 0; i < texts->len; i++)
        found += g_str_equal(texts->pdata[i], wait);
    assert_int_equal(found, 1);
}

/* The text of the first step about something; NULL none is. */
static const char *step_about(JsonObject *why, const char *about)
{
    JsonArray *steps = json_object_get_array_member(why, "steps");

    for (guint i = 0; i < json_array_get_length(steps); i++) {
        JsonObject *step = json_array_get_object_element(steps, i);
        if (g_str_equal(json_object_get_string_member(step, "about"), about))
            return json_object_get_string_member(step, "text");
    }
    return NULL;
}

/* Frost is forecast for the third night, so tomatoes that are fit to leave the sill stay on it:
 * told in the same words by all that tell of it, and of nothing that goes or is too young. */
static void test_stays(void **state)
{
    ApiGarden *garden = *state;
    const int old = index_of(garden->service, "old");
    g_autofree char *text = waiting_stays(garden->service, old, FALSE);
    g_autofree char *named = waiting_stays(garden->service, old, TRUE);
    g_autofree char *young =
        waiting_stays(garden->service, index_of(garden->service, "young"), FALSE);
    static const char *const lists[] = {"/v1/today", "/v1/week"};
    g_autoptr(JsonParser) parser = json_parser_new();
    int status = 0;

    assert_null(young);
    assert_non_null(text);
    print_message("# %s\n", named);
    assert_true(g_str_has_prefix(text, "It stays on the sill: in the "));
    assert_true(g_str_has_prefix(named, "old stays on the sill: in the "));
    assert_non_null(strstr(text, " at the plot "));
    assert_non_null(strstr(text, "on Sun"));
    JsonObject *batch = api_ask(garden, parser, "GET", "/v1/batches/old", NULL, &status);
    assert_string_equal(json_object_get_string_member(batch, "stays"), text);
    JsonObject *why = api_ask(garden, parser, "GET", "/v1/why/old", NULL, &status);
    assert_string_equal(step_about(why, "stays"), text);
    why = api_ask(garden, parser, "GET", "/v1/why/young", NULL, &status);
    assert_null(step_about(why, "stays"));
    for (gsize i = 0; i < G_N_ELEMENTS(lists); i++) {
        JsonObject *reply = api_ask(garden, parser, "GET", lists[i], NULL, &status);
        JsonArray *stays = json_object_get_array_member(reply, "stays");
        guint found = 0;
        for (guint k = 0; k < json_array_get_length(stays); k++) {
            JsonObject *one = json_array_get_object_element(stays, k);
            if (!g_str_equal(json_object_get_string_member(one, "batch"), "old"))
                continue;
            found++;
            assert_string_equal(json_object_get_string_member(one, "text"), named);
        }
        assert_int_equal(found, 1);
    }
}

#define IN_A_GARDEN(test) cmocka_unit_test_setup_teardown(test, set_up, api_garden_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_A_GARDEN(test_has_to_wait),   IN_A_GARDEN(test_need_not),
        IN_A_GARDEN(test_no_open_place), IN_A_GARDEN(test_told_together),
        IN_A_GARDEN(test_stays),
    };

    return cmocka_run_group_tests_name("advice", tests, NULL, NULL);
}
