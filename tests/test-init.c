/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <string.h>

#include "garden/garden.h"
#include "garden/init.h"
#include "garden/kinds.h"
#include "garden/read.h"
#include "service/init-config.h"

static void test_owned(void **state)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(GArray) all = init_parse_places(
        " sill,  2 cold-frame 6 trays at plot,tunnel, bed at home 1 tray", "home", "plot", &error);
    const InitPlaces *places = NULL;

    (void)state;
    assert_non_null(all);
    assert_int_equal(all->len, 4);
    places = (const InitPlaces *)(const void *)all->data;
    assert_true(places[0].kind == PLACE_SILL && places[0].count == 1 && places[0].trays == 0 &&
                !places[0].at_plot);
    assert_true(places[1].kind == PLACE_COLD_FRAME && places[1].count == 2 &&
                places[1].trays == 6 && places[1].at_plot);
    assert_true(places[2].kind == PLACE_TUNNEL && places[2].at_plot);
    assert_true(places[3].kind == PLACE_BED && places[3].trays == 1 && !places[3].at_plot);
}

/* How people say it. */
static void test_owned_in_other_words(void **state)
{
    g_autoptr(GError) error = NULL;
    g_autoptr(GArray) all = init_parse_places(
        "a window sill; 2 cold frames 6 trays and the polytunnel, beds", "home", NULL, &error);
    static const struct {
        PlaceKind kind;
        int count, trays;
    } rows[] = {
        {PLACE_SILL, 1, 0}, {PLACE_COLD_FRAME, 2, 6}, {PLACE_TUNNEL, 1, 0}, {PLACE_BED, 1, 0}};

    (void)state;
    assert_non_null(all);
    assert_int_equal(all->len, G_N_ELEMENTS(rows));
    for (guint i = 0; i < all->len; i++) {
        const InitPlaces *places = &g_array_index(all, InitPlaces, i);
        assert_int_equal(places->kind, rows[i].kind);
        assert_int_equal(places->count, rows[i].count);
        assert_int_equal(places->trays, rows[i].trays);
    }
}

static void test_owned_refused(void **state)
{
    static const struct {
        const char *text, *message;
    } rows[] = {
        {"", "\"\": an empty item; accepted are items such as sill, 2 cold-frame 6 trays, tunnel "
             "at plot"},
        {"sill,,bed", "\"\": an empty item; accepted are items such as sill, 2 cold-frame 6 trays, "
                      "tunnel at plot"},
        {"0 sill", "\"0 sill\": the number of places is not from 1 to 100; accepted are items such "
                   "as sill, 2 cold-frame "
                   "6 trays, tunnel at plot"},
        {"tunel", "\"tunel\": no such kind of place; did you mean \"tunnel\"? kinds: propagator, "
                  "sill, porch, tunnel, "
                  "greenhouse, cold-frame, box, fleece, standing, bed"},
        {"2", "\"2\": no such kind of place; kinds: propagator, sill, porch, tunnel, greenhouse, "
              "cold-frame, box, fleece, "
              "standing, bed"},
        {"sill at shed", "\"sill at shed\": no such site; accepted are items such as sill, 2 "
                         "cold-frame 6 trays, tunnel "
                         "at plot"},
        {"sill 0 trays", "\"sill 0 trays\": the number of trays is not from 1 to 1000; accepted "
                         "are items such as sill, "
                         "2 cold-frame 6 trays, tunnel at plot"},
        {"sill 6", "\"sill 6\": words that cannot be read; accepted are items such as sill, 2 "
                   "cold-frame 6 trays, tunnel "
                   "at plot"},
        {"sill\377",
         "\"sill\uFFFD\": not UTF-8 text; accepted are items such as sill, 2 cold-frame 6 "
         "trays, tunnel at plot"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(GArray) all = init_parse_places(rows[i].text, "home", NULL, &error);

        assert_null(all);
        assert_string_equal(error->message, rows[i].message);
    }
}

static void test_batch(void **state)
{
    static const char *const bad[] = {"",
                                      "tomato",
                                      "tomato 12",
                                      "tomato 0 sill",
                                      "tomato 12 sill x",
                                      "tomato x sill",
                                      "tomato 99999999999 sill",
                                      "\377 1 sill"};
    InitBatch batch = {.number = -1};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(bad); i++) {
        g_autoptr(GError) error = NULL;
        g_autofree char *shown = g_utf8_make_valid(bad[i], -1);
        g_autofree char *message = g_strdup_printf(
            "the batch \"%s\" cannot be read; accepted is CROP NUMBER PLACE, such as tomato 12 "
            "sill, with a number from 1 to 10000",
            shown);

        assert_false(init_parse_batch(bad[i], &batch, &error));
        assert_string_equal(error->message, message);
        assert_int_equal(batch.number, -1);
    }
    assert_true(init_parse_batch("tomato  12 sill\n", &batch, NULL));
    assert_string_equal(batch.crop, "tomato");
    assert_string_equal(batch.place, "sill");
    assert_int_equal(batch.number, 12);
}

/* Who asks a service is told what he sends, and on which terms; nobody else is. */
static void test_terms(void **state)
{
    static const InitPlaces places[] = {{PLACE_SILL, 1, 0, FALSE}};
    static const struct {
        const char *weather;
        gboolean told;
    } rows[] = {{"open-meteo", TRUE},
                {"file:/a.csv; open-meteo", TRUE},
                {"file:/met-norway.csv", FALSE},
                {"none", FALSE}};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        InitAnswers answers = {
            .home = {"home", 53.1, -2.1, rows[i].weather, "07:00-08:30"},
            .places = places,
            .n_places = G_N_ELEMENTS(places),
        };
        g_autoptr(GError) error = NULL;
        g_autofree char *text = init_config_text(&answers, &error);

        if (text == NULL)
            fail_msg("%s", error->message);
        assert_int_equal(strstr(text, "rounded to 0.01 degrees") != NULL &&
                             strstr(text, "non-commercial") != NULL,
                         rows[i].told);
    }
}

/* The whole first file, so that a change of its wording is seen. */
static void test_text(void **state)
{
    static const InitPlaces places[] = {
        {PLACE_SILL, 1, 3, FALSE}, {PLACE_TUNNEL, 1, 0, TRUE}, {PLACE_BOX, 2, 0, TRUE}};
    InitAnswers answers = {
        .home = {"home", 53.1, -2.1, "none", "07:00-08:30; 17:30-dusk"},
        .plot = {"plot", 53.2, -2.2, "file:plot.json", "Sat-Sun 09:00-18:00"},
        .travel_min = 20,
        .places = places,
        .n_places = G_N_ELEMENTS(places),
    };
    g_autoptr(GError) error = NULL;
    g_autofree char *text = init_config_text(&answers, &error);

    (void)state;
    assert_non_null(text);
    assert_string_equal(
        text,
        "# What the garden has. Every key: thole.conf.md, in the documentation.\n"
        "# Lines that begin with \"# estimated\" say what is taken where you say nothing:\n"
        "# to mend one, write the key and your own value on a line of its own below it.\n"
        "\n[garden]\nunits=C\n"
        "\n[site home]\nlatitude=53.100000\nlongitude=-2.100000\nweather=none\n"
        "# estimated: altitude=100\n# estimated: last-frost=05-02 sd 12\n"
        "# estimated: monthly means from 1 to 17 °C (normals=FILE for your own)\n"
        "\n[site plot]\nlatitude=53.200000\nlongitude=-2.200000\nweather=file:plot.json\n"
        "# estimated: altitude=100\n# estimated: last-frost=05-02 sd 12\n"
        "# estimated: monthly means from 1 to 17 °C (normals=FILE for your own)\n"
        "\n[place sill]\nkind=sill\nsite=home\ntrays=3\n# estimated: range-c=12-20\n"
        "\n[place tunnel]\nkind=tunnel\nsite=plot\n# estimated: trays=24\n"
        "# estimated: material=polythene, height-cm=200\n"
        "\n[place box-1]\nkind=box\ninside=tunnel\n# estimated: trays=4\n"
        "# estimated: material=polythene, height-cm=40\n"
        "\n[place box-2]\nkind=box\ninside=tunnel\n# estimated: trays=4\n"
        "# estimated: material=polythene, height-cm=40\n"
        "\n[grower me]\nvisits-home=07:00-08:30; 17:30-dusk\nvisits-plot=Sat-Sun 09:00-18:00\n"
        "travel-minutes=20\n");
}

static void test_answers_refused(void **state)
{
    static const InitPlaces sill = {PLACE_SILL, 1, 0, FALSE};
    static const struct {
        const char *name, *plot, *weather, *visits, *message;
        double latitude;
    } rows[] = {
        {"my home", "", "none", "7:00-8:00",
         "a site cannot have the name \"my home\"; accepted are letters, digits, - and _, no "
         "spaces, "
         "at most 47 bytes",
         1},
        {"home", "", "none\n[garden]", "7:00-8:00",
         "site home: the weather source must be one line of text", 1},
        {"home", "", "none", "", "site home: the visits must be one line of text", 1},
        {"home", "plot", "none", "7:00-8:00",
         "no place stands at plot; accepted is at least one place at each site, such as sill at "
         "home",
         1},
        {"home", "", "none", "7:00-8:00",
         "[site home] latitude: out of range; accepted is -90 to 90 degrees", 97},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        InitAnswers answers = {.places = &sill, .n_places = 1};
        g_autoptr(GError) error = NULL;
        g_autofree char *text = NULL;

        g_strlcpy(answers.home.name, rows[i].name, NAME_SIZE);
        g_strlcpy(answers.plot.name, rows[i].plot, NAME_SIZE);
        answers.home.latitude = rows[i].latitude;
        answers.home.weather = answers.plot.weather = rows[i].weather;
        answers.home.visits = answers.plot.visits = rows[i].visits;
        text = init_config_text(&answers, &error);
        assert_null(text);
        assert_string_equal(error->message, rows[i].message);
    }
}

/* The garden read back has what was answered. */
static void check_round_trip(const InitAnswers *answers)
{
    g_autoptr(GError) error = NULL;
    g_autofree char *text = init_config_text(answers, &error);
    g_autoptr(Garden) garden = NULL;
    int wanted = 0;

    if (text == NULL)
        fail_msg("%s", error->message);
    garden = garden_parse(text, strlen(text), "thole.conf", NULL, 0, NULL, &error);
    assert_non_null(garden);
    assert_true(fabs(garden->sites[0].latitude - answers->home.latitude) < 1e-6);
    assert_true(fabs(garden->sites[0].longitude - answers->home.longitude) < 1e-6);
    assert_int_equal(garden->n_sites, answers->plot.name[0] != '\0' ? 2 : 1);
    assert_int_equal(garden->n_growers, 1);
    for (int i = 0; i < answers->n_places; i++) {
        const InitPlaces *places = &answers->places[i];
        int trays = places->trays > 0 ? places->trays : kind_get(places->kind)->trays, alike = 0,
            given = 0;

        wanted += places->count;
        for (int j = 0; j < answers->n_places; j++) {
            const InitPlaces *other = &answers->places[j];

            if (other->kind == places->kind && other->at_plot == places->at_plot &&
                (other->trays > 0 ? other->trays : kind_get(other->kind)->trays) == trays)
                given += other->count;
        }
        for (int j = 0; j < garden->n_places; j++) {
            const Place *place = &garden->places[j];

            alike += place->kind == places->kind && place->site == (places->at_plot ? 1 : 0) &&
                     place->trays == trays;
        }
        assert_int_equal(alike, given);
    }
    assert_int_equal(garden->n_places, wanted);
}

static void test_round_trip(void **state)
{
    const char *given = g_getenv("THOLE_TEST_SEED");
    guint32 seed = given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);

    (void)state;
    print_message("THOLE_TEST_SEED=%u\n", seed);
    for (int round = 0; round < 500; round++) {
        InitPlaces places[7] = {{PLACE_SILL, 1, 0, FALSE}, {PLACE_BED, 1, 0, TRUE}};
        gboolean plot = g_rand_boolean(rand);
        InitAnswers answers = {
            .home = {"home", g_rand_double_range(rand, -90, 90),
                     g_rand_double_range(rand, -180, 180), "none", "07:00-08:30; 17:30-dusk"},
            .travel_min = g_rand_int_range(rand, 0, 120),
            .places = places,
            .n_places = g_rand_int_range(rand, 2, 8),
        };

        if (plot)
            answers.plot =
                (InitSite){"plot", g_rand_double_range(rand, -90, 90),
                           g_rand_double_range(rand, -180, 180), "none", "Mon,Wed-Fri 18:00-19:00"};
        places[1].at_plot = plot;
        for (int i = 2; i < answers.n_places; i++) {
            places[i].kind = (PlaceKind)g_rand_int_range(rand, PLACE_PROPAGATOR, PLACE_BED + 1);
            places[i].count =
                g_rand_int_range(rand, 1, 3); /* all inside one another stay within a chain */
            places[i].trays = g_rand_boolean(rand) ? 0 : g_rand_int_range(rand, 1, 50);
            places[i].at_plot = plot && g_rand_boolean(rand);
        }
        check_round_trip(&answers);
    }
}

static void test_init_config(void **state)
{
    static const struct {
        const char *sentence, *arguments, *says; /* the arguments are split at | */
    } rows[] = {
        {"nothing", "", "latitude is missing; give degrees, north above 0"},
        {"a key misspelt", "latitud=53",
         "\"latitud=53\": no such KEY=VALUE; did you mean \"latitude\"? keys: home, "
         "latitude, longitude, visits, weather, plot, plot-latitude, plot-longitude, "
         "plot-visits, travel-minutes, own, batch"},
        {"twice", "latitude=53|latitude=54", "latitude: given twice; give it once"},
        {"empty", "latitude=", "latitude: the value is empty; give one, or leave the key out"},
        {"not a number", "latitude=north",
         "latitude: \"north\" is not accepted; give degrees from -90 to 90"},
        {"no visits", "latitude=53|longitude=-2",
         "visits is missing; give when somebody is at home, such as 07:00-08:30; 17:30-dusk"},
        {"nothing owned", "latitude=53|longitude=-2|visits=07:00-08:30",
         "own is missing; give what stands where, such as sill, 2 cold-frame 6 trays"},
        {"no second site", "latitude=53|longitude=-2|visits=07:00-08:30|own=sill|travel-minutes=5",
         "travel-minutes: there is no second site; give plot=NAME, or leave it out"},
        {"the same name",
         "latitude=53|longitude=-2|visits=07:00-08:30|own=sill|plot=home|plot-latitude=53|"
         "plot-longitude=-2|plot-visits=07:00-08:30",
         "plot: \"home\" is the name of the first site; give another"},
        {"a batch nowhere",
         "latitude=53|longitude=-2|visits=07:00-08:30|own=sill|batch=tomato 12 frame",
         "batch: no place is called \"frame\"; places: sill"},
        {"a batch that cannot be read",
         "latitude=53|longitude=-2|visits=07:00-08:30|own=sill|batch=tomato",
         "batch: the batch \"tomato\" cannot be read; accepted is CROP NUMBER PLACE, such as "
         "tomato 12 sill, "
         "with a number from 1 "
         "to 10000"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_auto(GStrv) arguments = g_strsplit(rows[i].arguments, "|", -1);
        g_autoptr(GError) error = NULL;
        g_autofree char *text =
            init_config_from((int)g_strv_length(arguments), arguments, FALSE, &error);
        assert_null(text);
        assert_string_equal(error->message, rows[i].says);
    }
    const char *const good[] = {"home=garden",
                                "latitude=53.1",
                                "longitude=-2",
                                "visits=07:00-08:30; 17:30-dusk",
                                "own=sill at garden, 2 cold-frame 6 trays",
                                "plot=field",
                                "plot-latitude=53.2",
                                "plot-longitude=-2.1",
                                "plot-visits=Sat-Sun 09:00-18:00",
                                "travel-minutes=15",
                                "batch=tomato 12 sill"};
    g_autoptr(GError) error = NULL;
    g_autofree char *text =
        init_config_from(G_N_ELEMENTS(good), (char *const *)good, FALSE, &error);
    assert_string_equal(error != NULL ? error->message : "", "");
    assert_non_null(strstr(text, "\n[site garden]\nlatitude=53.100000\n"));
    assert_non_null(strstr(text, "\n[place cold-frame-2]\nkind=cold-frame\nsite=field\ntrays=6\n"));
    assert_non_null(strstr(text, "travel-minutes=15\n"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_owned),           cmocka_unit_test(test_owned_in_other_words),
        cmocka_unit_test(test_owned_refused),   cmocka_unit_test(test_batch),
        cmocka_unit_test(test_terms),           cmocka_unit_test(test_text),
        cmocka_unit_test(test_answers_refused), cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_init_config),
    };
    return cmocka_run_group_tests_name("init", tests, NULL, NULL);
}
