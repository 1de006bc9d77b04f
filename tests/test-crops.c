/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib.h>
#include <glib/gstdio.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "garden/crop-sources.h"

/* The shipped file, as text and as read. */
typedef struct Fixture {
    char *path, *bytes;
    gsize length;
    Crops *crops;
} Fixture;

static int set_up(void **state)
{
    static Fixture fixture;
    *state = &fixture;
    g_autoptr(GError) error = NULL;

    fixture.path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "daemon", "garden", "crops.conf", NULL);
    if (!g_file_get_contents(fixture.path, &fixture.bytes, &fixture.length, &error) ||
        !crops_load(fixture.path, NULL, &fixture.crops, &error)) {
        fprintf(stderr, "%s\n", error->message);
        return -1;
    }
    return 0;
}

static int tear_down(void **state)
{
    Fixture *fixture = *state;
    crops_free(fixture->crops);
    g_free(fixture->path);
    g_free(fixture->bytes);
    return 0;
}

/* A crop of distinct figures, "crops.conf": its title on line 2, the fields from line 3 on. */
static const char leaf[] = "[crop leaf]\n"
                           "title=Green leaf\n"
                           "growing-on-night-c=10 | chosen\n"
                           "floor-soft-c=3 | common practice\n"
                           "floor-hardened-c=-2 | some-paper-1990, derived\n"
                           "damage-soft-c=-1 | from memory\n"
                           "damage-hardened-c=-6|chosen\n"
                           "drop-first-k=2.5 | chosen\n"
                           "drop-k=5 | chosen\n"
                           "heat-limit-c=32 | chosen\n"
                           "soil-at-planting-c=4.5 | chosen\n"
                           "emergence-base-c=-1.5 | chosen\n"
                           "emergence-kd=110 | chosen\n"
                           "weeks-to-harden=5.5 | chosen\n"
                           "weeks-to-plant=7 | chosen\n"
                           "settle-days=6 | chosen\n"
                           "group=herb\n"
                           "grows-from-c=4 | some-paper-1990\n"
                           "grows-to-c=24 | chosen\n"
                           "frost-class=light frost | some-paper-1990\n"
                           "germinate-at-c=20 | chosen\n"
                           "germinate-from-c=5 | chosen\n"
                           "germinate-below-c=35 | chosen\n"
                           "leaf-base-c=0 | chosen\n"
                           "leaf-kd=45 | chosen\n"
                           "prick-out-leaves=2 | chosen\n"
                           "leaf-height-cm=2.5 | chosen\n"
                           "chill-below-c=10 | chosen\n"
                           "chill-days=12 | chosen\n"
                           "chill-from-leaves=4 | chosen\n"
                           "chill-does=buttons | chosen\n"
                           "[source some-paper-1990]\n"
                           "title=A. Author (1990). Some paper\n";

/* The same figures without sources, as a grower would write a new crop, under another name. */
static char *grower_crop(const char *name)
{
    g_autoptr(GString) text = g_string_new(NULL);
    g_auto(GStrv) lines = g_strsplit(leaf, "\n", -1);
    g_string_printf(text, "[crop %s]\n", name);
    for (int i = 2; lines[i] != NULL && *lines[i] != '['; i++) {
        g_autofree char *figure_only = g_strndup(lines[i], strcspn(lines[i], "|"));
        g_string_append_printf(text, "%s\n", figure_only);
    }
    return g_string_free(g_steal_pointer(&text), FALSE);
}

static gboolean parse(const char *shipped, const char *overrides, Crops **ret, GError **error)
{
    return crops_parse(shipped, strlen(shipped), "crops.conf", overrides,
                       overrides != NULL ? strlen(overrides) : 0, "mine.conf", ret, error);
}

static void test_every_field_arrives(void **state)
{
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    assert_true(parse(leaf, NULL, &crops, &error));
    assert_int_equal(crops->n, 1);
    const Crop *crop = &crops->crops[0];
    assert_string_equal(crop->name, "leaf");
    assert_string_equal(crop->title, "Green leaf");
    assert_true(crop->growing_on_night_c == 10);
    assert_true(crop->floor_soft_c == 3);
    assert_true(crop->floor_hardened_c == -2);
    assert_true(crop->damage_soft_c == -1);
    assert_true(crop->damage_hardened_c == -6);
    assert_true(crop->drop_first_k == 2.5);
    assert_true(crop->drop_k == 5);
    assert_true(crop->heat_limit_c == 32);
    assert_true(crop->soil_at_planting_c == 4.5);
    assert_true(crop->emergence_base_c == -1.5);
    assert_true(crop->emergence_kd == 110);
    assert_true(crop->weeks_to_harden == 5.5);
    assert_true(crop->weeks_to_plant == 7);
    assert_int_equal(crop->settle_days, 6);
    assert_true(crop_field_value(crop, &crop_fields[CROP_FIELDS - 1]) == 6); /* the one int */
    assert_int_equal(crop->group, CROP_HERB);
    assert_true(crop->grows_from_c == 4);
    assert_true(crop->grows_to_c == 24);
    assert_int_equal(crop->frost_class, FROST_LIGHT);
    assert_true(crop->germinate_at_c == 20);
    assert_true(crop->germinate_from_c == 5);
    assert_true(crop->germinate_below_c == 35);
    assert_true(crop->leaf_base_c == 0);
    assert_true(crop->leaf_kd == 45);
    assert_int_equal(crop->prick_out_leaves, 2);
    assert_true(crop->leaf_height_cm == 2.5);
    assert_true(crop->chill_below_c == 10 && crop->chill_days == 12);
    assert_true(crop->chill_from_leaves == 4);
    assert_int_equal(crop->chill_does, CHILL_BUTTONS);
    assert_string_equal(crops_source_title(crops, "some-paper-1990"),
                        "A. Author (1990). Some paper");
    assert_null(crops_source_title(crops, "chosen"));
    assert_string_equal(crops_source(crops, 0, "growing-on-night-c"), "chosen");
    assert_string_equal(crops_source(crops, 0, "floor-soft-c"), "common practice");
    assert_string_equal(crops_source(crops, 0, "floor-hardened-c"), "some-paper-1990");
    assert_string_equal(crops_source(crops, 0, "damage-soft-c"), "from memory");
    assert_string_equal(crops_source(crops, 0, "damage-hardened-c"), "chosen");
    for (int i = 0; i < CROP_FIELDS; i++)
        assert_int_equal(crops->sources[0].derived[i],
                         g_str_equal(crop_fields[i].key, "floor-hardened-c"));
    assert_null(crops_source(crops, 0, "title"));
    assert_null(crops_source(crops, 1, "drop-k"));
    assert_null(crops_source(crops, -1, "drop-k"));
}

/* What is only shown may be left out, of a shipped crop and of a grower's. */
static void test_shown_figures_left_out(void **state)
{
    g_autoptr(GString) shipped = g_string_new(leaf);
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    for (int i = 0; i < CROP_FIELDS; i++) {
        if (!crop_fields[i].optional)
            continue;
        g_autofree char *key = g_strdup_printf("\n%s=", crop_fields[i].key);
        char *line = strstr(shipped->str, key) + 1;
        g_string_erase(shipped, line - shipped->str, (gssize)strcspn(line, "\n") + 1);
    }
    if (!parse(shipped->str, "[crop leaf]\nfrost-class=no cold\n", &crops, &error))
        fail_msg("%s", error->message);
    for (int i = 0; i < CROP_FIELDS; i++) {
        const gboolean given =
            !crop_fields[i].optional || g_str_equal(crop_fields[i].key, "frost-class");
        assert_int_equal(crops->sources[0].of[i] != NULL, given);
        assert_int_equal(!isnan(crop_field_value(&crops->crops[0], &crop_fields[i])), given);
    }
    assert_int_equal(crops->crops[0].frost_class, FROST_NO_COLD);
}

static void test_shares(void **state)
{
    g_autofree char *mine = grower_crop("root");
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    g_autoptr(GString) root = g_string_new(mine);
    g_string_replace(root, "group=herb", "group=flower", 1);
    assert_true(parse(leaf, root->str, &crops, &error));
    CropShare share = crops_share(crops, CROP_HERB, CROP_ALL); /* three of the paper */
    assert_int_equal(share.published, 3);
    assert_int_equal(share.figures, CROP_FIELDS);
    assert_int_equal(crop_share_percent(share), 10);      /* 10.7, rounded down */
    share = crops_kind_share(crops, CROP_HERB, CROP_ALL); /* 3 + 3 + 1 + 1 figures */
    assert_int_equal(share.published, 2);
    assert_int_equal(share.figures, 8);
    assert_int_equal(crops_kind_share(crops, CROP_HERB, CROP_KIND_FROST).published, 1);
    assert_int_equal(crops_kind_share(crops, CROP_HERB, CROP_KIND_SOIL).published, 0);
    assert_int_equal(crops_share(crops, CROP_FLOWER, CROP_ALL).published, 0); /* the grower's */
    assert_int_equal(crops_share(crops, CROP_ALL, CROP_ALL).figures, 2 * CROP_FIELDS);
    assert_int_equal(crop_share_percent(crops_share(crops, CROP_VEGETABLE, CROP_ALL)), 0);
}

static void test_matches(void **state)
{
    const Crop crop = {.name = "busy-lizzie", .title = "Busy Lizzie (Impatiens)"};

    (void)state;
    assert_true(crop_matches(&crop, "lizz"));
    assert_true(crop_matches(&crop, "LIZ"));
    assert_true(crop_matches(&crop, "impat"));
    assert_true(crop_matches(&crop, "busy lizzie"));
    assert_false(crop_matches(&crop, "daisy"));
    assert_false(crop_matches(&crop, ""));
}

static void test_overrides(void **state)
{
    g_autofree char *root = grower_crop("root");
    g_autofree char *mine = g_strconcat("# cool porch\n[crop leaf]\nfloor-soft-c=4\nsettle-days=5\n"
                                        "title=Porch leaf\n",
                                        root, NULL);
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    assert_true(parse(leaf, mine, &crops, &error));
    assert_int_equal(crops->n, 2);
    assert_int_equal(crops_find(crops, "root"), 1);
    assert_string_equal(crops->crops[0].title, "Porch leaf");
    assert_string_equal(crops->crops[1].title, "root");
    for (int i = 0; i < CROP_FIELDS; i++) {
        const CropField *field = &crop_fields[i];
        gboolean own =
            g_str_equal(field->key, "floor-soft-c") || g_str_equal(field->key, "settle-days");
        assert_int_equal(strcmp(crops_source(crops, 0, field->key), "grower") == 0, own);
        assert_string_equal(crops_source(crops, 1, field->key), "grower");
        double expected = crop_field_value(&crops->crops[1], field); /* as shipped for leaf */
        if (g_str_equal(field->key, "floor-soft-c"))
            expected = 4;
        if (g_str_equal(field->key, "settle-days"))
            expected = 5;
        assert_true(crop_field_value(&crops->crops[0], field) == expected);
    }
}

static void test_empty_overrides(void **state)
{
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    assert_true(parse(leaf, "# nothing yet\n", &crops, &error));
    assert_int_equal(crops->n, 1);
    crops_free(NULL);
}

/* In the shipped text `find` becomes `put`; then the whole message is this. */
typedef struct Refusal {
    const char *sentence, *find, *put, *overrides, *message;
} Refusal;

static const Refusal refusals[] = {
    {"a key that no crop has", "drop-k=", "dropp-k=", NULL,
     "crops.conf:9: [crop leaf] dropp-k: unknown key"},
    {"a figure left out of the shipped data", "drop-k=5 | chosen\n", "", NULL,
     "crops.conf:1: [crop leaf]: no drop-k; every figure is needed"},
    {"no source", "drop-k=5 | chosen", "drop-k=5", NULL,
     "crops.conf:9: [crop leaf] drop-k=5: no source that can be used; after the number and a bar "
     "(|) "
     "accepted is a heading of the references, \"chosen\", \"from memory\" or \"common practice\""},
    {"a source that is not a heading", "drop-k=5 | chosen", "drop-k=5 | Some Paper", NULL,
     "crops.conf:9: [crop leaf] drop-k=5 | Some Paper: no source that can be used; after the "
     "number "},
    {"derived from nothing published", "drop-k=5 | chosen", "drop-k=5 | chosen, derived", NULL,
     "crops.conf:9: [crop leaf] drop-k=5 | chosen, derived: no source that can be used; after the "
     "number "},
    {"the grower is no source of shipped data", "drop-k=5 | chosen", "drop-k=5 | grower", NULL,
     "crops.conf:9: [crop leaf] drop-k=5 | grower: no source that can be used; after the number "},
    {"a figure that is no number", "drop-k=5 ", "drop-k=five ", NULL,
     "crops.conf:9: [crop leaf] drop-k=five | chosen: \"five\" cannot be used; accepted is a "
     "number "
     "from 0.5 to 10 K"},
    {"a bar without a number", "drop-k=5 ", "drop-k=", NULL,
     "crops.conf:9: [crop leaf] drop-k=| chosen: \"\" cannot be used; accepted is a number "
     "from 0.5 to 10 K"},
    {"a drop of nothing", "drop-first-k=2.5", "drop-first-k=0", NULL,
     "crops.conf:8: [crop leaf] drop-first-k=0 | chosen: \"0\" cannot be used; accepted is a "
     "number "
     "from 0.5 to 10 K"},
    {"a drop below nothing", "drop-k=5", "drop-k=-5", NULL,
     "crops.conf:9: [crop leaf] drop-k=-5 | chosen: \"-5\" cannot be used; accepted is a number "
     "from 0.5 to 10 K"},
    {"degrees Fahrenheit", "growing-on-night-c=10", "growing-on-night-c=50", NULL,
     "crops.conf:3: [crop leaf] growing-on-night-c=50 | chosen: \"50\" cannot be used; accepted is "
     "a "
     "number from 0 to 25 °C"},
    {"part of a day to settle", "settle-days=6", "settle-days=6.5", NULL,
     "crops.conf:16: [crop leaf] settle-days=6.5 | chosen: \"6.5\" cannot be used; accepted is a "
     "whole "
     "number from 0 to 21 days"},
    {"a key given twice", "drop-k=5 | chosen\n", "drop-k=5 | chosen\ndrop-k=4 | chosen\n", NULL,
     "crops.conf:10: [crop leaf] drop-k: is there already, on line 9; keep one of the two"},
    {"a crop given twice", "settle-days=6 | chosen\n", "settle-days=6 | chosen\n[crop leaf]\n",
     NULL, "crops.conf:17: [crop leaf] is there already, on line 1; keep one of the two"},
    {"a section of another kind", "[crop leaf]", "[corp leaf]", NULL,
     "crops.conf:1: [corp leaf]: unknown section; did you mean \"crop\"?"},
    {"a crop without a name", "[crop leaf]", "[crop]", NULL,
     "crops.conf:1: [crop]: no name; accepted is [crop NAME]"},
    {"a title too long", "Green leaf", "A leaf that is as green as the grass on the other side",
     NULL,
     "crops.conf:2: [crop leaf] title=A leaf that is as green as the grass on the other side: "
     "cannot be "
     "used; accepted is a text of at most 47 bytes"},
    {"raised at its floor", "growing-on-night-c=10", "growing-on-night-c=3", NULL,
     "crops.conf:4: [crop leaf] floor-soft-c=3 | common practice: growing-on-night-c is 3 °C; "
     "accepted "
     "is less than that"},
    {"a hardened floor above the soft", "floor-hardened-c=-2", "floor-hardened-c=3.5", NULL,
     "crops.conf:5: [crop leaf] floor-hardened-c=3.5 | some-paper-1990, derived: floor-soft-c is 3 "
     "°C; "
     "accepted "
     "is the same or less than that"},
    {"damaged sooner when hardened", "damage-hardened-c=-6", "damage-hardened-c=0", NULL,
     "crops.conf:7: [crop leaf] damage-hardened-c=0|chosen: damage-soft-c is -1 °C; accepted is "
     "the same "
     "or less than that"},
    {"a soft floor at the damage", "floor-soft-c=3", "floor-soft-c=-1", NULL,
     "crops.conf:6: [crop leaf] damage-soft-c=-1 | from memory: floor-soft-c is -1 °C; accepted is "
     "less "
     "than that"},
    {"a hardened floor at the damage", "floor-hardened-c=-2", "floor-hardened-c=-6", NULL,
     "crops.conf:7: [crop leaf] damage-hardened-c=-6|chosen: floor-hardened-c is -6 °C; accepted "
     "is less "
     "than that"},
    {"a greater drop fresh off the heat", "drop-first-k=2.5", "drop-first-k=6", NULL,
     "crops.conf:8: [crop leaf] drop-first-k=6 | chosen: drop-k is 5 K; accepted is the same or "
     "less "
     "than that"},
    {"raised above the heat limit", "heat-limit-c=32", "heat-limit-c=20",
     "[crop leaf]\ngrowing-on-night-c=22\n",
     "mine.conf:2: [crop leaf] growing-on-night-c=22: heat-limit-c is 20 °C; accepted is less than "
     "that"},
    {"planted before it is hardened", "weeks-to-plant=7", "weeks-to-plant=5", NULL,
     "crops.conf:14: [crop leaf] weeks-to-harden=5.5 | chosen: weeks-to-plant is 5 weeks; accepted "
     "is the "
     "same or less than that"},
    {"no group", "group=herb\n", "", NULL,
     "crops.conf:1: [crop leaf]: no group; accepted are vegetable, herb and flower"},
    {"a group that there is not", "group=herb", "group=herbs", NULL,
     "crops.conf:17: [crop leaf] group=herbs: unknown; did you mean \"herb\"? accepted: vegetable, "
     "herb, flower"},
    {"a class of frost that there is not", "light frost", "some frost", NULL,
     "crops.conf:20: [crop leaf] frost-class=some frost | some-paper-1990: \"some frost\" cannot "
     "be "
     "used; "},
    {"grown in no month", "grows-to-c=24", "grows-to-c=3", NULL,
     "crops.conf:19: [crop leaf] grows-to-c=3 | chosen: \"3\" cannot be used; accepted is a number "
     "from 10 to 45 °C"},
    {"warmest below coldest", "grows-from-c=4", "grows-from-c=24", NULL,
     "crops.conf:18: [crop leaf] grows-from-c=24 | some-paper-1990: grows-to-c is 24 °C; accepted "
     "is less than that"},
    {"a source without a section", "[source some-paper-1990]", "[source some-paper-1991]", NULL,
     "crops.conf: [crop leaf] grows-from-c: no section [source some-paper-1990]; accepted is a "
     "source that has one, with its title"},
    {"a source without a title", "title=A. Author (1990). Some paper\n", "", NULL,
     "crops.conf:32: [source some-paper-1990]: no name or no title; accepted is [source NAME] with "
     "title=TEXT"},
    {"the grower's file: a source of its own", "", "", "[crop leaf]\ndrop-k=4\n[source mine]\n",
     "mine.conf:3: [source mine]: unknown section; "},
    {"no crop at all", leaf, "# empty\n", NULL,
     "crops.conf: no crop in it; accepted are [crop NAME] sections with every figure"},
    {"the grower's file: a misspelt crop", "", "", "\n[crop leef]\ndrop-k=4\n",
     "mine.conf:2: [crop leef]: not in the crop data, and no growing-on-night-c; a new crop needs "
     "every "
     "figure; did you mean \"leaf\"? crops: leaf"},
    {"the grower's file: a new crop but for one figure", "", "",
     "[crop other]\ngrowing-on-night-c=10\nfloor-soft-c=3\nfloor-hardened-c=-2\ndamage-soft-c=-1\n"
     "damage-hardened-c=-6\ndrop-first-k=2\ndrop-k=3\nheat-limit-c=32\nsoil-at-planting-c=5\n"
     "emergence-base-c=2\nemergence-kd=100\nweeks-to-harden=4\nweeks-to-plant=6\n",
     "mine.conf:1: [crop other]: not in the crop data, and no settle-days; a new crop needs every "
     "figure; crops: leaf"},
    {"the grower's file: a source", "", "", "[crop leaf]\ndrop-k=4 | chosen\n",
     "mine.conf:2: [crop leaf] drop-k=4 | chosen: a source is not for the grower to give; the "
     "number "
     "alone is accepted"},
    {"the grower's file: a key that no crop has", "", "", "[crop leaf]\ndrop=4\n",
     "mine.conf:2: [crop leaf] drop: unknown key; "},
    {"the grower's file: a comment in the value", "", "", "[crop leaf]\ndrop-k=4 # ours\n",
     "mine.conf:2: [crop leaf] drop-k: a \"#\" in the value is no comment"},
    {"the grower's file: alone in order, against the shipped figure out of it", "", "",
     "[crop leaf]\nfloor-soft-c=12\n",
     "mine.conf:2: [crop leaf] floor-soft-c=12: growing-on-night-c is 10 °C; accepted is less than "
     "that"},
    {"the grower's file: the upper one is the given one", "", "", "[crop leaf]\ndrop-k=2\n",
     "mine.conf:2: [crop leaf] drop-k=2: drop-first-k is 2.5 K; accepted is the same or more than "
     "that"},
};

static void test_refusals(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(refusals); i++) {
        const Refusal *row = &refusals[i];
        Crops *crops = (Crops *)&refusals; /* must stay as it is */
        g_autoptr(GError) error = NULL;
        g_autoptr(GString) shipped = g_string_new(leaf);

        if (*row->find != '\0')
            assert_int_equal(g_string_replace(shipped, row->find, row->put, 0), 1);
        gboolean accepted = parse(shipped->str, row->overrides, &crops, &error);
        if (accepted || !g_error_matches(error, CONFIG_ERROR, CONFIG_ERROR_INVALID) ||
            !g_str_has_prefix(error->message, row->message))
            fail_msg("%s:\n  want %s\n  have %s", row->sentence, row->message,
                     accepted ? "no error" : error->message);
        assert_ptr_equal(crops, &refusals);
    }
}

static void test_files(void **state)
{
    const Fixture *fixture = *state;
    g_autoptr(GError) error = NULL;
    g_autofree char *folder = g_dir_make_tmp("thole-crops-XXXXXX", &error);
    g_autofree char *mine = g_build_filename(folder, "mine.conf", NULL);
    g_autoptr(Crops) crops = NULL;

    assert_false(crops_load(fixture->path, mine, &crops, &error));
    assert_true(g_error_matches(error, CONFIG_ERROR, CONFIG_ERROR_UNREADABLE));
    assert_non_null(strstr(error->message, mine));
    assert_null(crops);
    g_clear_error(&error);
    assert_false(crops_load(mine, NULL, &crops, &error));
    assert_true(g_error_matches(error, CONFIG_ERROR, CONFIG_ERROR_UNREADABLE));
    assert_null(crops);
    g_clear_error(&error);

    assert_true(g_file_set_contents(mine, "[crop tomato]\ngrowing-on-night-c=14\n", -1, &error));
    assert_true(crops_load(fixture->path, mine, &crops, &error));
    int tomato = crops_find(crops, "tomato");
    assert_true(crops->crops[tomato].growing_on_night_c == 14);
    assert_string_equal(crops_source(crops, tomato, "growing-on-night-c"), "grower");
    const Crop *shipped = &fixture->crops->crops[crops_find(fixture->crops, "tomato")];
    assert_true(crops->crops[tomato].floor_soft_c == shipped->floor_soft_c);
    assert_int_equal(g_remove(mine), 0);
    assert_int_equal(g_rmdir(folder), 0);
}

/* Every figure of docs/crops.md is the field table's, and its new crop can be used as printed. */
static void test_page_agrees(void **state)
{
    const Fixture *fixture = *state;
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "docs", "crops.md", NULL);
    g_autofree char *page = NULL;
    g_autoptr(GError) error = NULL;
    assert_true(g_file_get_contents(path, &page, NULL, &error));

    for (int i = 0; i < CROP_FIELDS; i++) {
        const CropField *field = &crop_fields[i];
        g_autoptr(GString) row = g_string_new(NULL);
        if (field->words != NULL) {
            g_autofree char *words = g_strjoinv(", ", (char **)field->words);
            g_string_printf(row, "\n| `%s` | %s | ", field->key, words);
        } else {
            g_string_printf(row, "\n| `%s` | %g to %g %s | ", field->key, field->min, field->max,
                            field->unit);
        }
        g_string_replace(row, "| -", "| −", 0);
        if (strstr(page, row->str) == NULL)
            fail_msg("docs/crops.md lacks the row%s", row->str);
    }
    g_autoptr(GString) example = g_string_new(NULL);
    g_auto(GStrv) lines = g_strsplit(page, "\n", -1);
    for (int i = 0; lines[i] != NULL; i++)
        if (g_str_has_prefix(lines[i], "    ") && strchr(lines[i], '|') == NULL)
            g_string_append_printf(example, "%s\n", lines[i] + 4);
    g_autoptr(Crops) crops = NULL;
    if (!crops_parse(fixture->bytes, fixture->length, "crops.conf", example->str, example->len,
                     "docs/crops.md", &crops, &error))
        fail_msg("%s", error->message);
    assert_int_equal(crops->n, fixture->crops->n + 1);
}

/* Whatever the bytes: either whole crops, in range, or an error; never half of either. */
static void test_damaged_files(void **state)
{
    const Fixture *fixture = *state;
    guint32 seed = g_random_int();
    g_autoptr(GRand) random = g_rand_new_with_seed(seed);
    int read = 0, refused = 0;

    print_message("# damaged files: seed %u\n", seed);
    for (int round = 0; round < 400; round++) {
        g_autofree char *bytes = g_memdup2(fixture->bytes, fixture->length);
        gsize length = (gsize)g_rand_int_range(random, 0, (gint32)fixture->length + 1);
        if (round % 2 == 0)
            length = fixture->length;
        for (int n = g_rand_int_range(random, 0, 4); n > 0; n--)
            bytes[g_rand_int_range(random, 0, (gint32)fixture->length)] =
                (char)g_rand_int_range(random, 0, 256);
        g_autofree char *exact =
            g_memdup2(bytes, length); /* no byte to spare: reading past it is seen */
        g_autoptr(Crops) crops = NULL;
        g_autoptr(GError) error = NULL;
        if (!crops_parse(exact, length, "crops.conf", NULL, 0, NULL, &crops, &error)) {
            assert_null(crops);
            assert_non_null(error);
            refused++;
            continue;
        }
        assert_null(error);
        read++;
        for (int c = 0; c < crops->n; c++) {
            for (int i = 0; i < CROP_FIELDS; i++) {
                double value = crop_field_value(&crops->crops[c], &crop_fields[i]);
                assert_true(crops->sources[c].of[i] != NULL || crop_fields[i].optional);
                assert_true(crops->sources[c].of[i] == NULL ||
                            (value >= crop_fields[i].min && value <= crop_fields[i].max));
            }
        }
    }
    assert_true(read > 0 && refused > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_field_arrives),
        cmocka_unit_test(test_shown_figures_left_out),
        cmocka_unit_test(test_overrides),
        cmocka_unit_test(test_shares),
        cmocka_unit_test(test_matches),
        cmocka_unit_test(test_empty_overrides),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_files),
        cmocka_unit_test(test_page_agrees),
        cmocka_unit_test(test_damaged_files),
    };
    return cmocka_run_group_tests_name("crops", tests, set_up, tear_down);
}
