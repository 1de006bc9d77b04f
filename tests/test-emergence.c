/* SPDX-License-Identifier: MIT */
/*
 * Emergence against the whole table of Harrington & Minges (1954), as printed in Knott's Handbook:
 * days from sowing 13 mm deep, at steady soil temperatures. The law is not fitted here: it has the
 * crop data's figures, and of five vegetables that thole does not have, those that the same line
 * through 1/days gives. Where it misses, docs/emergence.md shows the miss.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "garden/crops.h"
#include "grow/emergence.h"

#define COLUMNS 9
#define NG (-1.0) /* no germination */
#define NT NAN    /* not tested */

static const double columns_c[COLUMNS] = {0, 5, 10, 15, 20, 25, 30, 35, 40};

/* `crop`: in the crop data; else base, warmth and best temperature (IFAS, °F) stand here. */
typedef struct Row {
    const char *title, *crop;
    double base_c, kd, best_f;
    double days[COLUMNS];
} Row;

static const Row rows[] = {
    {"asparagus", NULL, 6.9, 186, 75, {NG, NG, 53, 24, 15, 10, 12, 20, 28}},
    {"lima bean", NULL, 13, 90, 80, {NT, NT, NG, 31, 18, 7, 7, NG, NT}},
    {"snap bean", "french-bean", 0, 0, 0, {NG, NG, NG, 16, 11, 8, 6, 6, NG}},
    {"beet", "beetroot", 0, 0, 0, {NT, 42, 17, 10, 6, 5, 5, 5, NT}},
    {"cabbage", "cabbage", 0, 0, 0, {NT, NT, 15, 9, 6, 5, 4, NT, NT}},
    {"carrot", NULL, 2.1, 132, 80, {NG, 51, 17, 10, 7, 6, 6, 9, NG}},
    {"cauliflower", "cauliflower", 0, 0, 0, {NT, NT, 20, 10, 6, 5, 5, NT, NT}},
    {"celery", "celery", 0, 0, 0, {NG, 41, 16, 12, 7, NG, NG, NG, NT}},
    {"sweet corn", "sweet-corn", 0, 0, 0, {NG, NG, 22, 12, 7, 4, 4, 3, NG}},
    {"cucumber", "cucumber", 0, 0, 0, {NG, NG, NG, 13, 6, 4, 3, 3, NT}},
    {"eggplant", "aubergine", 0, 0, 0, {NT, NT, NT, NT, 13, 8, 5, NT, NT}},
    {"lettuce", "lettuce", 0, 0, 0, {49, 15, 7, 4, 3, 2, 3, NG, NG}},
    {"muskmelon", "melon", 0, 0, 0, {NT, NT, NT, NT, 8, 4, 3, NT, NT}},
    {"okra", NULL, 10.7, 149, 95, {NG, NG, NG, 27, 17, 13, 7, 6, 7}},
    {"onion", "onion", 0, 0, 0, {136, 31, 13, 7, 5, 4, 4, 13, NG}},
    {"parsley", "parsley", 0, 0, 0, {NT, NT, 29, 17, 14, 13, 12, NT, NT}},
    {"parsnip", "parsnip", 0, 0, 0, {172, 57, 27, 19, 14, 15, 32, NG, NG}},
    {"pea", "pea", 0, 0, 0, {NT, 36, 14, 9, 8, 6, 6, NT, NT}},
    {"pepper", "pepper", 0, 0, 0, {NG, NG, NG, 25, 13, 8, 8, 9, NG}},
    {"radish", NULL, 3.1, 69, 80, {NG, 29, 11, 6, 4, 4, 3, NT, NT}},
    {"spinach", "spinach", 0, 0, 0, {63, 23, 12, 7, 6, 5, 6, NG, NG}},
    {"tomato", "tomato", 0, 0, 0, {NG, NG, 43, 14, 8, 6, 6, 9, NG}},
    {"turnip", "turnip", 0, 0, 0, {NG, NG, 5, 3, 2, 1, 1, 1, 3}},
    {"watermelon", "watermelon", 0, 0, 0, {NT, NG, NT, NT, 12, 5, 4, 3, NT}},
};

static int set_up(void **state)
{
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "daemon", "garden", "crops.conf", NULL);
    g_autoptr(GError) error = NULL;
    Crops *crops = NULL;

    if (!crops_load(path, NULL, &crops, &error)) {
        fprintf(stderr, "%s\n", error->message);
        return -1;
    }
    *state = crops;
    return 0;
}

static int tear_down(void **state)
{
    crops_free(*state);
    return 0;
}

static Crop crop_of(const Crops *crops, const Row *row)
{
    if (row->crop != NULL) {
        const int at = crops_find(crops, row->crop);
        if (at < 0)
            fail_msg("no crop \"%s\"", row->crop);
        return crops->crops[at];
    }
    return (Crop){.emergence_base_c = row->base_c,
                  .emergence_kd = row->kd,
                  .germinate_at_c = (row->best_f - 32) / 1.8,
                  .germinate_from_c = NAN,
                  .germinate_below_c = NAN};
}

/* Of a column with days: within a fifth or a day of them. Of one without: it is said, that too. */
static gboolean agrees(const Crop *crop, double at_c, double printed)
{
    const double days = emergence_days(crop, at_c, at_c);
    if (printed == NG)
        return !isfinite(days) || emergence_fit(crop, at_c, at_c) != SEED_FITS;
    return fabs(days - printed) <= fmax(1.0, 0.2 * printed);
}

/* A cell of docs/emergence.md: "ours / printed", bold where they do not agree. */
static void put_cell(GString *line, const Crop *crop, double at_c, double printed)
{
    const double days = emergence_days(crop, at_c, at_c);
    const char *bold = agrees(crop, at_c, printed) ? "" : "**";

    if (isfinite(days))
        g_string_append_printf(line, " %s%.1f / ", bold, days);
    else
        g_string_append_printf(line, " %s– / ", bold);
    if (printed == NG)
        g_string_append_printf(line, "NG%s |", bold);
    else
        g_string_append_printf(line, "%g%s |", printed, bold);
}

/* All of it stands on the page as it comes out, misses and all, and their number too. */
static void test_whole_table(void **state)
{
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "docs", "emergence.md", NULL);
    g_autofree char *page = NULL;
    int with_days = 0, within = 0, none = 0, told = 0, missing = 0;

    assert_true(g_file_get_contents(path, &page, NULL, NULL));
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        const Row *row = &rows[i];
        const Crop crop = crop_of(*state, row);
        g_autoptr(GString) line = g_string_new(NULL);
        g_string_printf(line, "| %s |", row->title);
        for (int c = 0; c < COLUMNS; c++) {
            const double printed = row->days[c];
            if (isnan(printed)) {
                g_string_append(line, " |");
                continue;
            }
            const int good = agrees(&crop, columns_c[c], printed);
            put_cell(line, &crop, columns_c[c], printed);
            *(printed == NG ? &none : &with_days) += 1;
            *(printed == NG ? &told : &within) += good;
        }
        print_message("# %s\n", line->str);
        missing += strstr(page, line->str) == NULL;
    }
    g_autofree char *sum =
        g_strdup_printf("%d of %d printed days are met, and %d of %d cells without any", within,
                        with_days, told, none);
    print_message("# %s\n", sum);
    if (missing > 0 || strstr(page, sum) == NULL)
        fail_msg("%d rows, or the sum, stand otherwise in docs/emergence.md", missing);
}

static const Crop *named(const Crops *crops, const char *name)
{
    const int at = crops_find(crops, name);
    if (at < 0)
        fail_msg("no crop \"%s\"", name);
    return &crops->crops[at];
}

/* A day that is warm and cold by turns, beside a steady one. */
static void test_days_with_a_range(void **state)
{
    const Crop *tomato = named(*state, "tomato");

    assert_true(fabs(emergence_days(tomato, 20, 20) - 103.0 / 12.5) < 1e-9);
    /* on the straight part only the mean counts */
    assert_true(fabs(emergence_days(tomato, 12, 20) - 103.0 / 8.5) < 1e-9);
    /* cold nights lose nothing that the base did not take: 0 to 15 °C is more than a steady 7.5 */
    assert_false(isfinite(emergence_days(tomato, 7.5, 7.5)));
    assert_true(isfinite(emergence_days(tomato, 0, 15)));
    /* beyond the best, 29.4 °C, warmth adds nothing */
    assert_true(emergence_days(tomato, 30, 30) == emergence_days(tomato, 35, 35));
    assert_true(emergence_day_rate(tomato, 25, 45) < emergence_day_rate(tomato, 30, 30));
}

/* Every crop of the data: never slower in the warmer compost, up to its best. */
static void test_warmer_is_sooner(void **state)
{
    const Crops *crops = *state;

    for (int i = 0; i < crops->n; i++) {
        const Crop *crop = &crops->crops[i];
        const double best_c = isnan(crop->germinate_at_c) ? 25 : crop->germinate_at_c;
        for (int c = -5; c + 1 < best_c; c++)
            assert_true(emergence_rate(crop, c) <= emergence_rate(crop, c + 1));
        assert_int_equal(emergence_fit(crop, best_c, best_c), SEED_FITS);
        assert_true(emergence_days(crop, best_c, best_c) < 40);
        assert_int_equal(emergence_fit(crop, -5, -5), SEED_TOO_COLD);
    }
}

static void test_fit(void **state)
{
    /* least 10, 15.6 and 1.7 °C (oregon-state-harrington); none at 25 and 35 °C (the table) */
    assert_int_equal(emergence_fit(named(*state, "tomato"), 9, 9), SEED_TOO_COLD);
    assert_int_equal(emergence_fit(named(*state, "tomato"), 12, 20), SEED_FITS);
    assert_int_equal(emergence_fit(named(*state, "pepper"), 12, 18), SEED_TOO_COLD);
    assert_int_equal(emergence_fit(named(*state, "lettuce"), 5, 5), SEED_FITS);
    assert_int_equal(emergence_fit(named(*state, "lettuce"), 35, 35), SEED_TOO_HOT);
    assert_int_equal(emergence_fit(named(*state, "celery"), 24, 28), SEED_TOO_HOT);
    /* no least is printed for leek: 9 weeks at 3 °C are too slow */
    assert_int_equal(emergence_fit(named(*state, "leek"), 3, 3), SEED_TOO_COLD);
    assert_true(emergence_spread_d(3) == 1.0);
    assert_true(fabs(emergence_spread_d(20) - 4.0) < 1e-9);
}

/* TMGRO048 and CBGRO048: 0.45 and 0.38 leaves a day at 22 and 18 °C. */
static void test_leaves(void **state)
{
    const Crop *lettuce = named(*state, "lettuce");

    assert_true(fabs(emergence_leaves_a_day(named(*state, "tomato"), 22, 22) - 0.45) < 1e-3);
    assert_true(fabs(emergence_leaves_a_day(named(*state, "cabbage"), 18, 18) - 0.38) < 1e-3);
    assert_true(emergence_leaves_a_day(named(*state, "tomato"), 5, 5) == 0);
    assert_true(fabs(emergence_leaves_a_day(lettuce, 15, 15) -
                     (15 - lettuce->emergence_base_c) / EMERGENCE_LEAF_KD) < 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_whole_table),      cmocka_unit_test(test_days_with_a_range),
        cmocka_unit_test(test_warmer_is_sooner), cmocka_unit_test(test_fit),
        cmocka_unit_test(test_leaves),
    };
    return cmocka_run_group_tests_name("emergence", tests, set_up, tear_down);
}
