/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib/gstdio.h>
#include <math.h>
#include <string.h>
#include <sys/stat.h>

#include "climate/chain.h"
#include "garden/garden.h"
#include "garden/kinds.h"
#include "garden/read.h"

static const char whole[] = "# A garden with everything in it.\n"
                            "[garden]\n"
                            "risk-damage=0.5\n"
                            "units=F\n"
                            "\n"
                            "[place box]\n"
                            "inside=tunnel\n"
                            "kind=box\n"
                            "material=twin-wall\n"
                            "length-cm=200\n"
                            "width-cm=150\n"
                            "prop-heights-cm=5, 10,20\n"
                            "\n"
                            "[site home]\n"
                            "latitude=51.98765\n"
                            "longitude=-2.98765\n"
                            "altitude=35\n"
                            "zone=Europe/London\n"
                            "\n"
                            "[site plot]\n"
                            "latitude=51.88765\n"
                            "longitude=-2.88765\n"
                            "weather=file:forecast/plot.json\n"
                            "last-frost=05-09 sd 10.5\n"
                            "visit-minutes=25\n"
                            "\n"
                            "[place propagator]\n"
                            "kind=propagator\n"
                            "site=home\n"
                            "set-point-c=22.5\n"
                            "heater-watts=18\n"
                            "room-c=5-11\n"
                            "[place porch]\n"
                            "kind=porch\nsite=home\n"
                            "range-c=-2-14\n"
                            "trays=9\n"
                            "[place tunnel]\n"
                            "kind=tunnel\n"
                            "site=plot\n"
                            "length-cm=600\n"
                            "width-cm=300\n"
                            "water-litres=400\n"
                            "soil-cable-watts=75\n"
                            "soil-cable-c=18\n"
                            "heater-watts=1000\n"
                            "set-point-c=2\n"
                            "[place frame]\n"
                            "kind=cold-frame\n"
                            "site=plot\n"
                            "stands-on=slab\n"
                            "gust-limit-ms=12\n"
                            "opener-c=22\n"
                            "leakage=3\n"
                            "height-cm=50\n"
                            "[place bed]\n"
                            "kind=bed\nsite=plot\n"
                            "[place fleece]\n"
                            "kind=fleece\ninside=bed\n"
                            "\n"
                            "[container block-5]\n"
                            "volume-ml=100\n"
                            "per-tray=28\n"
                            "hold-max-weeks=6.5\n"
                            "[container pot-9]\n"
                            "volume-ml=380\n"
                            "\n"
                            "[grower one]\n"
                            "visits-home=07:00-08:30; 17:30-dusk\n"
                            "visits-plot=Mon-Fri 17:30-19:30; Sat-Sun 09:00-18:00\n"
                            "travel-minutes=25\n"
                            "[grower two]\n"
                            "visits-plot=Wed 12:00-13:00\n"
                            "home=plot\n"
                            "visits-a-day-home=1\n"
                            "visits-a-day-away=2\ntrays-per-trip=4\n"
                            "minutes-per-batch-day=45\n"
                            "desktop=no\n";

static const Crop crops[] = {
    {.name = "tomato", .title = "Tomato", .growing_on_night_c = 15},
    {.name = "french-bean", .title = "French bean", .growing_on_night_c = 14},
};

static Garden *parse(const char *text)
{
    g_autoptr(GError) error = NULL;
    Garden *garden =
        garden_parse(text, strlen(text), "/srv/thole/thole.conf", crops, 2, NULL, &error);

    if (garden == NULL)
        fail_msg("%s", error->message);
    return garden;
}

static const Place *place(const Garden *garden, const char *name)
{
    int i = garden_find_place(garden, name);

    assert_true(i >= 0);
    return &garden->places[i];
}

static void near(double seen, double wanted)
{
    if (!(fabs(seen - wanted) < 1e-9))
        fail_msg("%.12g is not %.12g", seen, wanted);
}

static void test_settings_and_sites(void **state)
{
    g_autoptr(Garden) garden = parse(whole);
    const Site *home = NULL, *plot = NULL;

    (void)state;
    near(garden->risk.damage, 0.005);
    near(garden->risk.check, 0.10);
    assert_int_equal(garden->assume_done_h, 3);
    assert_true(garden->fahrenheit);
    assert_int_equal(garden->n_sites, 2);
    home = &garden->sites[garden_find_site(garden, "home")];
    plot = &garden->sites[garden_find_site(garden, "plot")];
    near(plot->visit_min - home->visit_min, 25 - 15);
    near(home->latitude, 51.98765);
    near(home->longitude, -2.98765);
    near(home->altitude_m, 35);
    assert_false(home->altitude_estimated);
    assert_string_equal(home->zone, "Europe/London");
    assert_string_equal(home->weather, "none");
    assert_true(home->last_frost_estimated);
    assert_true(home->normals.estimated);
    near(plot->altitude_m, 100);
    assert_true(plot->altitude_estimated);
    assert_string_equal(plot->zone, "UTC"); /* the machine's, in tests */
    assert_string_equal(plot->weather, "file:/srv/thole/forecast/plot.json");
    assert_int_equal(plot->last_frost_month, 5);
    assert_int_equal(plot->last_frost_day, 9);
    near(plot->last_frost_sd_d, 10.5);
    assert_false(plot->last_frost_estimated);
}

static void test_places(void **state)
{
    g_autoptr(Garden) garden = parse(whole);
    const Place *box = place(garden, "box"), *tunnel = place(garden, "tunnel"),
                *frame = place(garden, "frame");
    const Place *propagator = place(garden, "propagator"), *porch = place(garden, "porch");
    const Place *bed = place(garden, "bed"), *fleece = place(garden, "fleece");

    (void)state;
    assert_int_equal(garden->n_places, 7);
    assert_ptr_equal(&garden->places[box->parent], tunnel);
    assert_true(tunnel < box);
    assert_int_equal(box->site, garden_find_site(garden, "plot"));
    near(box->footprint, 3.0 / 18.0);
    near(box->floor_m2, 3.0);
    assert_string_equal(box->cover.material, "twin-wall");
    assert_int_equal(box->cover.n_positions, 5);
    assert_string_equal(box->cover.positions[1].name, "5 cm");
    near(box->cover.positions[0].exchange_wm2k, 0.34 * 0.4 * 2.0); /* loose twin-wall, 40 cm high */
    assert_int_equal(tunnel->parent, -1);
    near(tunnel->footprint, 1);
    near(tunnel->heater_w, 1000);
    near(tunnel->set_point_c, 2);
    near(tunnel->water_l, 400);
    near(tunnel->cable_w, 75);
    near(tunnel->soil_set_point_c, 18);
    assert_true(tunnel->mains);
    assert_int_equal(frame->floor, FLOOR_SLAB);
    near(frame->cover.gust_limit_ms, 12);
    near(frame->cover.opener_from_c, 22);
    near(frame->cover.positions[0].exchange_wm2k, 0.34 * 0.5 * 3.0);
    assert_true(isnan(frame->set_point_c));
    near(frame->heater_w, 0);
    assert_false(frame->mains);
    assert_true(propagator->indoors && propagator->mains && !propagator->covered);
    near(propagator->set_point_c, 22.5);
    near(propagator->indoor_night_c, 5);
    near(propagator->lift_k, 18 / (4.5 * (2 * 0.2 + 4 * sqrt(0.2) * 0.2)));
    near(porch->indoor_night_c, -2);
    near(porch->indoor_day_c, 14);
    assert_int_equal(porch->trays, 9);
    assert_false(bed->covered);
    assert_int_equal(bed->trays, -1);
    assert_true(fleece->covered && fleece->cover.porous);
    near(fleece->footprint, 0.5);
    near(fleece->floor_m2, 0.5 * bed->floor_m2);
}

static void test_growers_containers_crops(void **state)
{
    g_autoptr(Garden) garden = parse(whole);
    const Grower *one = &garden->growers[0];
    const Grower *two = &garden->growers[1];
    const Container *block = &garden->containers[garden_find_container(garden, "block-5")];
    const Container *pot = &garden->containers[garden_find_container(garden, "pot-9")];

    (void)state;
    assert_string_equal(one->name, "one");
    assert_string_equal(two->name, "two");
    assert_int_equal(one->home_site, garden_find_site(garden, "home"));
    assert_int_equal(one->visits_a_day_home, 2);
    assert_int_equal(one->visits_a_day_away, 1);
    near(one->minutes_per_batch_day, 30);
    assert_true(one->desktop);
    near(one->travel_min, 25);
    assert_int_equal(one->n_rules, 4);
    assert_int_equal(one->rules[3].site, garden_find_site(garden, "plot"));
    assert_int_equal(one->rules[3].weekdays, 0x60);
    assert_int_equal(two->home_site, garden_find_site(garden, "plot"));
    assert_int_equal(two->visits_a_day_home, 1);
    assert_int_equal(two->visits_a_day_away, 2);
    assert_int_equal(two->trays_per_trip - one->trays_per_trip, 4);
    near(two->minutes_per_batch_day, 45);
    assert_false(two->desktop);
    near(two->travel_min, TRAVEL_USUAL_MIN);
    near(block->volume_ml, 100);
    assert_int_equal(block->per_tray, 28);
    near(block->hold_max_weeks, 6.5);
    near(pot->volume_ml, 380); /* over the usual one, the rest of which stays */
    assert_true(pot->per_tray > 0 && pot->hold_max_weeks > 0);
    assert_int_equal(garden->n_crops, 2);
    assert_ptr_not_equal(garden->crops, crops);
    assert_int_equal(garden_find_crop(garden, "french-bean"), 1);
    assert_int_equal(garden_find_crop(garden, "FRENCH BEAN"), 1);
    assert_int_equal(garden_find_crop(garden, "bean"), -1);
    assert_int_equal(garden_find_crop(garden, "\377"), -1);
    assert_int_equal(garden_find_place(garden, "Frame"), -1);
}

static void test_names_in_other_letters(void **state)
{
    g_autoptr(Garden) garden =
        parse("[site garten-süd]\r\nlatitude=-35\r\nlongitude = 149\r\n  \r\n"
              "[place fenster_1]\r\nkind=sill\r\n[grower jörg]\r\n"
              "visits-garten-süd = 7:00-24:00\r\n");

    (void)state;
    assert_int_equal(garden_find_site(garden, "garten-süd"), 0);
    assert_int_equal(garden->growers[0].rules[0].from_min, 420);
    assert_int_equal(garden->growers[0].rules[0].to_min, 1440);
}

static void test_suggestions(void **state)
{
    g_autoptr(Garden) garden = parse(whole);
    static const struct {
        GardenThing thing;
        const char *seen, *text;
    } rows[] = {
        {GARDEN_PLACE, "fram",
         "did you mean \"frame\"? places: propagator, porch, tunnel, frame, bed, fleece, box"},
        {GARDEN_PLACE, "tunnle",
         "did you mean \"tunnel\"? places: propagator, porch, tunnel, frame, bed, fleece, box"},
        {GARDEN_PLACE, "xy", "places: propagator, porch, tunnel, frame, bed, fleece, box"},
        {GARDEN_SITE, "HOME", "did you mean \"home\"? sites: home, plot"},
        {GARDEN_CROP, "tomatoe", "did you mean \"tomato\"? crops: tomato, french-bean"},
        {GARDEN_GROWER, "", "growers: one, two"},
        {GARDEN_CROP, "\377\377\377\377", "crops: tomato, french-bean"},
    };
    g_autofree char *containers = garden_suggest(garden, GARDEN_CONTAINER, "pot9");

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *text = garden_suggest(garden, rows[i].thing, rows[i].seen);

        assert_string_equal(text, rows[i].text);
    }
    assert_true(g_str_has_prefix(containers, "did you mean \"pot-9\"? containers: "));
}

static void test_visit_rules(void **state)
{
    static const struct {
        const char *text;
        int n, weekdays, from_min, to_min; /* of the last one */
        bool to_dusk;
    } rows[] = {
        {"07:00-08:30; 17:30-dusk", 2, 0x7f, 1050, 1440, true},
        {"Mon-Fri 17:30-19:30; Sat-Sun 09:00-18:00", 2, 0x60, 540, 1080, false},
        {"Mon,Wed,Fri 18:00-19:00", 1, 0x15, 1080, 1140, false},
        {"Mon, Wed-Thu  18:00-19:00", 1, 0x0d, 1080, 1140, false},
        {"Sat-Mon 8:00-Dusk", 1, 0x61, 480, 1440, true},
        {"sun 00:00-24:00", 1, 0x40, 0, 1440, false},
        {"Tue-Mon 23:59-24:00", 1, 0x7f, 1439, 1440, false},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autofree char *why = NULL;
        g_autoptr(GArray) rules = read_rules(rows[i].text, 7, &why);
        const VisitRule *last = NULL;

        if (rules == NULL)
            fail_msg("%s: %s", rows[i].text, why);
        assert_int_equal(rules->len, rows[i].n);
        last = &g_array_index(rules, VisitRule, rules->len - 1);
        assert_int_equal(last->site, 7);
        assert_int_equal(last->weekdays, rows[i].weekdays);
        assert_int_equal(last->from_min, rows[i].from_min);
        assert_int_equal(last->to_min, rows[i].to_min);
        assert_int_equal(last->to_dusk, rows[i].to_dusk);
    }
}

/* The law of estimated normals, solved by hand: the day when the mean rises past 11 °C. */
static double frost_day_by_hand(double latitude)
{
    double share = (11 - (27 - 0.33 * fabs(latitude))) / 8;
    double before_d = acos(CLAMP(share, -1, 1)) / (2 * G_PI) * 365;

    return fmod((latitude >= 0 ? 200 : 19) - before_d + 365, 365);
}

static void test_estimates(void **state)
{
    (void)state;
    for (int latitude = -70; latitude <= 70; latitude += 5) {
        Normals normals = read_estimate_normals(latitude);
        double mean_c = 0, off_d = 0;
        int month = 0, day = 0;
        GDate date;

        for (int i = 0; i < 12; i++)
            mean_c += normals.mean_c[i] / 12;
        assert_true(fabs(mean_c - (27 - 0.33 * abs(latitude))) < 0.1);
        assert_true(normals.mean_c[latitude >= 0 ? 6 : 0] - normals.mean_c[latitude >= 0 ? 0 : 6] >
                    15.5);
        near(normals.daily_range_k[3], 8);
        assert_true(normals.estimated);
        read_estimate_last_frost(&normals, &month, &day);
        assert_true(g_date_valid_dmy((GDateDay)day, (GDateMonth)month, 2001));
        g_date_clear(&date, 1);
        g_date_set_dmy(&date, (GDateDay)day, (GDateMonth)month, 2001);
        off_d = fabs(g_date_get_day_of_year(&date) - 1 - frost_day_by_hand(latitude));
        /* The flanks run straight between the middles of months; near the turning points they are
         * flat. */
        if (MIN(off_d, 365 - off_d) > (abs(latitude) >= 30 && abs(latitude) <= 65 ? 3 : 16))
            fail_msg("latitude %d: %02d-%02d is %g days off", latitude, month, day, off_d);
    }
}

static const char good_normals[] =
    "month,mean_c,daily_range_k\n1,4,6\n2,4.5,6\n3,6,7\n4,8.5,8\n5,11.5,9\n6,14.5,9\n"
    "7,16.5,9\n8,16.5,8\n9,14,8\n10,10.5,7\n11,7,6\n12,4.5,6\n";

static void test_normals(void **state)
{
    static const struct {
        const char *find, *put, *message;
    } rows[] = {
        {"month,", "Month,",
         "n.csv:1: the first line is not as it must be; accepted is month,mean_c,daily_range_k"},
        {"12,4.5,6\n", "", "n.csv: 12 lines; accepted are 13: a heading and one for each month"},
        {"4,8.5,8", "4,8.5",
         "n.csv:5: \"4,8.5\" is not the row of month 4; accepted is 4,MEAN,RANGE with a mean from "
         "-60 to 50 °C and a "
         "daily range from 0 to 40 K"},
        {"5,11.5,9", "5,115,9",
         "n.csv:6: \"5,115,9\" is not the row of month 5; accepted is 5,MEAN,RANGE with a mean "
         "from -60 to 50 °C and "
         "a daily range from 0 to 40 K"},
        {"6,14.5", "5,14.5",
         "n.csv:7: \"5,14.5,9\" is not the row of month 6; accepted is 6,MEAN,RANGE with a mean "
         "from -60 to 50 °C and "
         "a daily range from 0 to 40 K"},
        {"7,16.5", "\377", "n.csv: is not UTF-8 text; accepted is CSV with 12 months"},
    };
    Normals normals = {0};
    int month = 0, day = 0;

    (void)state;
    assert_true(read_normals(good_normals, strlen(good_normals), "n.csv", &normals, NULL));
    near(normals.mean_c[0], 4);
    near(normals.daily_range_k[11], 6);
    assert_false(normals.estimated);
    /* From 8.5 in mid-April to 11.5 in mid-May: five sixths of the way is about 10 May. */
    read_estimate_last_frost(&normals, &month, &day);
    assert_int_equal(month, 5);
    assert_in_range(day, 10, 12);
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GString) text = g_string_new(good_normals);
        g_autoptr(GError) error = NULL;

        assert_int_equal(g_string_replace(text, rows[i].find, rows[i].put, 1), 1);
        assert_false(read_normals(text->str, text->len, "n.csv", &normals, &error));
        assert_string_equal(error->message, rows[i].message);
        near(normals.mean_c[0], 4);
    }
}

static void test_files(void **state)
{
    g_autofree char *folder = g_dir_make_tmp("thole-XXXXXX", NULL);
    g_autofree char *conf = g_build_filename(folder, "thole.conf", NULL);
    g_autofree char *csv = g_build_filename(folder, "normals.csv", NULL);
    g_autofree char *pipe = g_build_filename(folder, "pipe", NULL);
    static const char text[] =
        "[site home]\nlatitude=50\nlongitude=1\nnormals=normals.csv\n[place sill]\nkind=sill\n"
        "[grower one]\nvisits-home=07:00-08:00\n";
    const char *const bad[] = {folder, pipe, "/nowhere/thole.conf"};

    (void)state;
    assert_true(g_file_set_contents(conf, text, -1, NULL));
    assert_true(g_file_set_contents(csv, good_normals, -1, NULL));
    assert_int_equal(mkfifo(pipe, 0600), 0);
    {
        g_autoptr(GError) error = NULL;
        g_autoptr(Garden) garden = garden_load(conf, crops, 2, NULL, &error);

        assert_non_null(garden);
        near(garden->sites[0].normals.mean_c[6], 16.5);
        assert_int_equal(garden->sites[0].last_frost_month, 5);
        assert_true(garden->sites[0].last_frost_estimated);
    }
    for (gsize i = 0; i < G_N_ELEMENTS(bad); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(Garden) garden = garden_load(bad[i], crops, 2, NULL, &error);

        assert_null(garden);
        assert_true(g_error_matches(error, CONFIG_ERROR, CONFIG_ERROR_UNREADABLE));
    }
    g_unlink(conf);
    g_unlink(csv);
    g_unlink(pipe);
    g_rmdir(folder);
}

/* Whatever cover a grower describes: figures within physics, and each step open lets in more. */
static void test_covers(void **state)
{
    (void)state;
    for (int k = 0; kind_words()[k] != NULL; k++) {
        const Kind *kind = kind_find(kind_words()[k]);

        assert_ptr_equal(kind_get(kind->kind), kind);
        for (int m = 0; kind->opening != OPENING_NONE && material_words()[m] != NULL; m++) {
            CoverChoice choice = kind_cover_choice(kind);
            Cover cover;
            const CoverPosition *last = NULL;

            choice.material = material_find(material_words()[m]);
            kind_build_cover(kind, &choice, &cover);
            last = &cover.positions[cover.n_positions - 1];
            assert_in_range(cover.n_positions, 2, POSITIONS_MAX);
            /* a blanket alone is dark */
            assert_true(
                cover.solar_transmittance <= 1 &&
                (cover.solar_transmittance > 0.5 || strcmp(material_words()[m], "blanket") == 0));
            assert_true(cover.insulation_m2kw >= 0);
            assert_true(!cover.wets || (cover.wet_ir_transmittance < cover.ir_transmittance &&
                                        cover.wet_ir_transmittance + cover.wet_ir_emissivity <= 1));
            assert_true(cover.ir_transmittance >= 0 && cover.ir_emissivity > 0);
            assert_true(cover.ir_transmittance + cover.ir_emissivity <= 1);
            assert_true(cover.area_ratio >= 1);
            assert_int_equal(last->open, !kind->fixed);
            for (int i = 1; i < cover.n_positions; i++) {
                const CoverPosition *a = &cover.positions[i - 1], *b = &cover.positions[i];

                assert_true(b->exposure_weight >= a->exposure_weight && b->shelter <= a->shelter);
                assert_true(b->open || cover.porous || b->exchange_wm2k > a->exchange_wm2k);
                assert_false(a->open);
            }
        }
    }
}

static void test_usual_positions(void **state)
{
    static const struct {
        PlaceKind kind;
        int n;
        struct {
            const char *name;
            double weight, shelter;
            bool open;
        } positions[4];
    } rows[] = {
        {PLACE_COLD_FRAME,
         4,
         {{"closed", 0, 1, false},
          {"10 cm", 0.2, 0.5, false},
          {"20 cm", 0.5, 0.5, false},
          {"open", 1, 0, true}}},
        {PLACE_BOX,
         4,
         {{"closed", 0, 1, false},
          {"10 cm", 0.2, 0.5, false},
          {"20 cm", 0.5, 0.5, false},
          {"open", 1, 0, true}}},
        {PLACE_TUNNEL, 2, {{"closed", 0, 1, false}, {"doors open", 0.2, 0.5, false}}},
        {PLACE_GREENHOUSE, 2, {{"closed", 0, 1, false}, {"vents open", 0.2, 0.5, false}}},
        {PLACE_FLEECE, 2, {{"on", 0.4, 0.5, false}, {"off", 1, 0, true}}},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        CoverChoice choice = kind_cover_choice(kind_get(rows[i].kind));
        Cover cover;

        kind_build_cover(kind_get(rows[i].kind), &choice, &cover);
        assert_int_equal(cover.n_positions, rows[i].n);
        near(cover.gust_limit_ms, 14);
        assert_true(isnan(cover.opener_from_c));
        for (int j = 0; j < rows[i].n; j++) {
            assert_string_equal(cover.positions[j].name, rows[i].positions[j].name);
            near(cover.positions[j].exposure_weight, rows[i].positions[j].weight);
            near(cover.positions[j].shelter, rows[i].positions[j].shelter);
            assert_int_equal(cover.positions[j].open, rows[i].positions[j].open);
        }
    }
    assert_int_equal(GARDEN_CHAIN_PLACES_MAX, CHAIN_LAYERS_MAX);
}

/* Half open asks for a real opening: the largest prop alone does not make it one. */
static void test_small_props(void **state)
{
    static const struct {
        double largest_cm, weight;
    } rows[] = {{5, 0.2}, {14.9, 0.2}, {15, 0.5}, {40, 0.5}};

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        const Kind *frame = kind_get(PLACE_COLD_FRAME);
        CoverChoice choice = kind_cover_choice(frame);
        Cover cover;

        choice.n_props = 2;
        choice.prop_cm[0] = 2;
        choice.prop_cm[1] = rows[i].largest_cm;
        kind_build_cover(frame, &choice, &cover);
        near(cover.positions[1].exposure_weight, 0.2);
        near(cover.positions[2].exposure_weight, rows[i].weight);
        near(cover.positions[2].exchange_wm2k, rows[i].largest_cm);
    }
}

/* Places that do not say how much floor they take leave room for each other. */
static void test_shared_floor(void **state)
{
    g_autoptr(GString) text =
        g_string_new("[site a]\nlatitude=1\nlongitude=1\n[grower one]\nvisits-a=7:00-8:00\n"
                     "[place t]\nkind=tunnel\n");
    g_autoptr(Garden) garden = NULL;
    double sum = 0;

    (void)state;
    for (int i = 0; i < 10; i++)
        g_string_append_printf(text, "[place b%d]\nkind=box\ninside=t\n%s", i,
                               i == 0 ? "footprint=40\n" : "");
    garden = parse(text->str);
    for (int i = 0; i < garden->n_places; i++)
        sum += garden->places[i].parent == 0 ? garden->places[i].footprint : 0;
    near(sum, 1);
    near(place(garden, "b0")->footprint, 0.4);
    near(place(garden, "b7")->footprint, 0.6 / 9);
}

/* The page on thole.conf: its example is a garden, and it has every key that the readers ask for.
 */
static void test_documentation(void **state)
{
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "docs", "thole.conf.md", NULL);
    g_autofree char *page = NULL;
    g_autofree char *example = NULL;
    g_autoptr(GError) error = NULL;
    g_autoptr(Config) config = NULL;
    g_autoptr(Garden) garden = NULL;
    const char *start = NULL;

    (void)state;
    assert_true(g_file_get_contents(path, &page, NULL, NULL));
    start = strstr(page, "```ini\n");
    assert_non_null(start);
    start += strlen("```ini\n");
    example = g_strndup(start, (gsize)(strstr(start, "```") - start));
    config = config_scan(example, strlen(example), "thole.conf", &error);
    assert_non_null(config);
    garden = garden_read(config, crops, 2, NULL, &error);
    if (garden == NULL)
        fail_msg("%s", error->message);
    assert_true(config_finish(config, NULL));
    for (guint i = 0; i < config->sections->len; i++) {
        const ConfigSection *section = g_ptr_array_index(config->sections, i);
        g_autofree char *heading = g_strdup_printf("\n## [%s", section->kind);
        const char *chapter = strstr(page, heading);
        const char *end = NULL;

        assert_non_null(chapter);
        end = strstr(chapter + 1, "\n## ");
        for (guint j = 0; j < section->asked->len; j++) {
            const char *key = section->asked->pdata[j];
            g_autofree char *quoted = g_strdup_printf("`%s`", key);
            const char *found =
                strstr(chapter, g_str_has_prefix(key, "visits-") && !strstr(key, "-a-day-")
                                    ? "`visits-SITE`"
                                    : quoted);

            if (found == NULL || (end != NULL && found > end))
                fail_msg("thole.conf.md has no %s under [%s]", quoted, section->kind);
        }
    }
}

static guint32 choose_seed(void)
{
    const char *given = g_getenv("THOLE_TEST_SEED");
    guint32 seed = given != NULL ? (guint32)g_ascii_strtoull(given, NULL, 10) : g_random_int();

    print_message("THOLE_TEST_SEED=%u\n", seed);
    return seed;
}

static void test_any_order(void **state)
{
    guint32 seed = choose_seed();
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);

    (void)state;
    for (int round = 0; round < 200; round++) {
        g_auto(GStrv) parts =
            g_strsplit("kind=tunnel|kind=box\ninside=p0|kind=fleece\ninside=p1|kind=bed\ninside=p0|"
                       "kind=cold-frame|kind=fleece\ninside=p4|kind=bed\ninside=p2",
                       "|", -1);
        g_autoptr(GString) text =
            g_string_new("[site a]\nlatitude=1\nlongitude=1\n[grower g]\nvisits-a=7:00-8:00\n");
        int order[] = {0, 1, 2, 3, 4, 5, 6};
        g_autoptr(Garden) garden = NULL;

        for (int i = 6; i > 0; i--) {
            int j = g_rand_int_range(rand, 0, i + 1), kept = order[i];

            order[i] = order[j];
            order[j] = kept;
        }
        for (int i = 0; i < 7; i++)
            g_string_append_printf(text, "[place p%d]\n%s\n", order[i], parts[order[i]]);
        garden = parse(text->str);
        assert_int_equal(garden->n_places, 7);
        for (int i = 0; i < 7; i++)
            assert_true(garden->places[i].parent < i);
        assert_string_equal(garden->places[place(garden, "p6")->parent].name, "p2");
    }
}

/* What the scan accepts, GLib's own key file reader accepts, and reads the same values. */
static void compare_with_key_file(const Config *config, const char *bytes, gsize length)
{
    g_autoptr(GKeyFile) file = g_key_file_new();
    g_autoptr(GError) error = NULL;

    if (!g_key_file_load_from_data(file, bytes, length, G_KEY_FILE_NONE, &error))
        fail_msg("accepted what GKeyFile refuses: %s", error->message);
    for (guint i = 0; i < config->sections->len; i++) {
        const ConfigSection *section = g_ptr_array_index(config->sections, i);
        g_autofree char *title = section->name != NULL
                                     ? g_strdup_printf("%s %s", section->kind, section->name)
                                     : g_strdup(section->kind);

        for (guint j = 0; j < section->entries->len; j++) {
            const ConfigEntry *entry = g_ptr_array_index(section->entries, j);
            g_autofree char *value = g_key_file_get_value(file, title, entry->key, NULL);

            assert_non_null(value);
            assert_string_equal(g_strstrip(value), entry->value);
        }
    }
}

/* Services of forecasts; a key comes from a file that nobody else can read, and shows nowhere. */
static void test_services(void **state)
{
    g_autofree char *folder = g_dir_make_tmp("garden-XXXXXX", NULL);
    g_autofree char *config = g_build_filename(folder, "thole.conf", NULL);
    g_autofree char *key = g_build_filename(folder, "om.key", NULL);
    g_autofree char *text = g_strconcat(whole,
                                        "[weather met-norway]\ncontact=me@plot.example\n"
                                        "[weather open-meteo]\nkey-file=om.key\n"
                                        "url=https://customer-api.example/v1/forecast\n",
                                        NULL);
    static const struct {
        const char *content;
        int mode;
        const char *message; /* NULL: accepted */
    } rows[] = {
        {"sEcReT-1\n", 0600, NULL},
        {"sEcReT-1", 0400, NULL},
        {"sEcReT-1\n", 0640, "others may read it (mode 0640); accepted is mode 0600"},
        {"sEcReT-1\n", 0604, "others may read it (mode 0604); accepted is mode 0600"},
        {"\n", 0600, "does not hold a secret; accepted is one line"},
        {"sEcReT 1\n", 0600, "does not hold a key; accepted is one line of visible ASCII"},
        {"sEcReT-1\r\nHost: a\n", 0600, "does not hold a secret"},
    };

    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        g_autoptr(GError) error = NULL;
        g_autoptr(Garden) garden = NULL;

        assert_true(g_file_set_contents(key, rows[i].content, -1, NULL));
        assert_int_equal(g_chmod(key, rows[i].mode), 0);
        garden = garden_parse(text, strlen(text), config, crops, 2, NULL, &error);
        if (rows[i].message == NULL) {
            if (garden == NULL)
                fail_msg("%s", error->message);
            assert_string_equal(garden->services[0].name, "open-meteo");
            assert_string_equal(garden->services[0].key, "sEcReT-1");
            assert_string_equal(garden->services[0].url,
                                "https://customer-api.example/v1/forecast");
            assert_string_equal(garden->services[1].contact, "me@plot.example");
            assert_string_equal(garden->services[1].url, "");
        } else {
            assert_null(garden);
            assert_non_null(strstr(error->message, rows[i].message));
            assert_null(strstr(error->message, "sEcReT"));
        }
    }
    assert_int_equal(g_remove(key), 0);
    assert_int_equal(g_rmdir(folder), 0);
}

/* Bytes lost or changed: a garden or one error, never both, and no coordinate in a message. */
static void test_damaged_files(void **state)
{
    guint32 seed = choose_seed();
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    int accepted = 0, refused = 0;

    (void)state;
    for (int round = 0; round < 4000; round++) {
        gsize length =
            round % 4 == 0 ? (gsize)g_rand_int_range(rand, 0, sizeof whole) : sizeof whole - 1;
        g_autofree char *bytes = g_memdup2(whole, sizeof whole);
        g_autoptr(GError) error = NULL;
        g_autoptr(Config) config = NULL;
        g_autoptr(Garden) garden = NULL;

        for (int flips = g_rand_int_range(rand, 0, 4); flips > 0 && length > 0; flips--) {
            gsize at = (gsize)g_rand_int_range(rand, 0, (gint32)length);

            bytes[at] = g_rand_boolean(rand) ? (char)g_rand_int(rand)
                                             : "\n=[]# ;-.019aZ"[g_rand_int_range(rand, 0, 14)];
        }
        config = config_scan(bytes, length, "thole.conf", NULL);
        if (config != NULL)
            compare_with_key_file(config, bytes, length);
        garden = garden_parse(bytes, length, "thole.conf", crops, 2, NULL, &error);
        assert_true((garden == NULL) == (error != NULL));
        if (garden == NULL) {
            assert_true(g_utf8_validate(error->message, -1, NULL));
            assert_true(g_str_has_prefix(error->message, "thole.conf:"));
            assert_null(strstr(error->message, "98765"));
            assert_null(strchr(error->message, '\n'));
        }
        accepted += garden != NULL;
        refused += garden == NULL;
    }
    assert_true(accepted > 100 && refused > 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_settings_and_sites),
        cmocka_unit_test(test_places),
        cmocka_unit_test(test_growers_containers_crops),
        cmocka_unit_test(test_names_in_other_letters),
        cmocka_unit_test(test_suggestions),
        cmocka_unit_test(test_visit_rules),
        cmocka_unit_test(test_estimates),
        cmocka_unit_test(test_normals),
        cmocka_unit_test(test_files),
        cmocka_unit_test(test_covers),
        cmocka_unit_test(test_usual_positions),
        cmocka_unit_test(test_small_props),
        cmocka_unit_test(test_shared_floor),
        cmocka_unit_test(test_documentation),
        cmocka_unit_test(test_any_order),
        cmocka_unit_test(test_services),
        cmocka_unit_test(test_damaged_files),
    };
    return cmocka_run_group_tests_name("garden", tests, NULL, NULL);
}
