/* SPDX-License-Identifier: MIT */
/*
 * docs/crop-table.md is what the shipped crop data give. `make crop-table` writes it anew:
 * THOLE_WRITE=1 makes this program write the page instead of comparing it.
 */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib.h>
#include <stdio.h>
#include <string.h>

#include "garden/crop-sources.h"

/* A cell holds the figures of these keys, with the marks of their sources. */
typedef struct Column {
    const char *heading, *keys, *between;
} Column;

static const Column temperatures[] = {
    {"raised at night", "growing-on-night-c", ""},
    {"grows at", "grows-from-c grows-to-c", " to "},
    {"stands", "frost-class", ""},
    {"floor", "floor-soft-c floor-hardened-c", " → "},
    {"damage", "damage-soft-c damage-hardened-c", " → "},
    {"fall a day", "drop-first-k drop-k", " → "},
    {"heat", "heat-limit-c", ""},
    {NULL, NULL, NULL},
};
static const Column times[] = {
    {"germinates at", "germinate-at-c", ""},
    {"comes up from", "germinate-from-c", ""},
    {"not at", "germinate-below-c", ""},
    {"seed still below", "emergence-base-c", ""},
    {"warmth", "emergence-kd", ""},
    {"a leaf above", "leaf-base-c", ""},
    {"each", "leaf-kd", ""},
    {"cm a leaf", "leaf-height-cm", ""},
    {"chill below", "chill-below-c", ""},
    {"most days of it", "chill-days", ""},
    {"from leaves", "chill-from-leaves", ""},
    {"it then", "chill-does", ""},
    {"pricked out at", "prick-out-leaves", ""},
    {"soil", "soil-at-planting-c", ""},
    {"weeks to harden", "weeks-to-harden", ""},
    {"to plant", "weeks-to-plant", ""},
    {"settles, days", "settle-days", ""},
    {NULL, NULL, NULL},
};
static const char *const headings[CROP_GROUPS] = {"Vegetables", "Herbs", "Flowers"};

static int field_of(const char *key)
{
    for (int i = 0; i < CROP_FIELDS; i++)
        if (g_str_equal(crop_fields[i].key, key))
            return i;
    g_error("no figure is called %s", key);
}

/* "1" for the first published source of the file; c, p and m for those that are none. */
static char *source_mark(const Crops *crops, const char *source)
{
    for (int i = 0; i < crops->n_references; i++)
        if (g_str_equal(crops->references[i].key, source))
            return g_strdup_printf("%d", i + 1);
    return g_strdup(g_str_equal(source, CROP_SOURCE_CHOSEN)     ? "c"
                    : g_str_equal(source, CROP_SOURCE_PRACTICE) ? "p"
                                                                : "m");
}

static void put_value(GString *page, const CropField *field, double value)
{
    if (field->words != NULL)
        g_string_append(page, field->words[(int)value]);
    else
        g_string_append_printf(page, "%s%g", value < 0 ? "−" : "", value < 0 ? -value : value);
}

/* The mark stands behind the last of several figures where they have one source. */
static void put_cell(GString *page, const Crops *crops, int crop, const Column *column)
{
    g_auto(GStrv) keys = g_strsplit(column->keys, " ", -1);

    for (int k = 0; keys[k] != NULL; k++) {
        const int field = field_of(keys[k]);
        const char *source = crops->sources[crop].of[field];
        const char *next =
            keys[k + 1] != NULL ? crops->sources[crop].of[field_of(keys[k + 1])] : NULL;
        if (source == NULL) {
            g_string_append(page, k == 0 ? "–" : "");
            continue;
        }
        g_autofree char *mark = source_mark(crops, source);
        g_string_append(page, k > 0 ? column->between : "");
        put_value(page, &crop_fields[field],
                  crop_field_value(&crops->crops[crop], &crop_fields[field]));
        if (next == NULL || !g_str_equal(source, next))
            g_string_append_printf(page, " <sup>%s%s</sup>", mark,
                                   crops->sources[crop].derived[field] ? "d" : "");
    }
}

static void put_table(GString *page, const Crops *crops, int group, const Column *columns)
{
    g_string_append(page, "\n| crop |");
    for (const Column *c = columns; c->heading != NULL; c++)
        g_string_append_printf(page, " %s |", c->heading);
    g_string_append(page, "\n|---|");
    for (const Column *c = columns; c->heading != NULL; c++)
        g_string_append(page, "---|");
    g_string_append(page, "\n");
    for (int i = 0; i < crops->n; i++) {
        if ((int)crops->crops[i].group != group)
            continue;
        g_string_append_printf(page, "| %s |", crops->crops[i].title);
        for (const Column *c = columns; c->heading != NULL; c++) {
            g_string_append(page, " ");
            put_cell(page, crops, i, c);
            g_string_append(page, " |");
        }
        g_string_append(page, "\n");
    }
}

static void put_share(GString *page, CropShare share)
{
    g_string_append_printf(page, " %d of %d, %d %% |", share.published, share.figures,
                           crop_share_percent(share));
}

static void put_shares(GString *page, const Crops *crops)
{
    static const struct {
        const char *name;
        int kind;
    } kinds[] = {{"growing-on temperatures", CROP_KIND_GROWING_ON},
                 {"germination", CROP_KIND_GERMINATION},
                 {"soil temperature", CROP_KIND_SOIL},
                 {"frost class", CROP_KIND_FROST},
                 {"these four", CROP_ALL}};
    static const int groups[] = {CROP_VEGETABLE, CROP_HERB, CROP_FLOWER, CROP_ALL};

    g_string_append(page,
                    "\n| figures | vegetables | herbs | flowers | all |\n|---|---|---|---|---|\n");
    for (gsize k = 0; k < G_N_ELEMENTS(kinds); k++) {
        g_string_append_printf(page, "| **%s** |", kinds[k].name);
        for (gsize g = 0; g < G_N_ELEMENTS(groups); g++)
            put_share(page, crops_kind_share(crops, groups[g], kinds[k].kind));
        g_string_append(page, "\n");
    }
    for (int i = 0; i <= CROP_FIELDS; i++) {
        if (i < CROP_FIELDS)
            g_string_append_printf(page, "| `%s` |", crop_fields[i].key);
        else
            g_string_append(page, "| **all figures** |");
        for (gsize g = 0; g < G_N_ELEMENTS(groups); g++)
            put_share(page, crops_share(crops, groups[g], i < CROP_FIELDS ? i : CROP_ALL));
        g_string_append(page, "\n");
    }
}

static char *make_page(const Crops *crops)
{
    g_autoptr(GString) page = g_string_new(
        "# The crop table\n\n"
        "Made from `daemon/garden/crops.conf` by `make -C build crop-table`; not to be edited.\n"
        "[The crop data](crops.md) says what each figure means and how to put yours in its "
        "place.\n\n"
        "Temperatures are °C, falls a day K, warmth to emergence °C·d above the temperature at\n"
        "which seed stands still. An arrow goes from a soft plant to a hardened one. Behind each\n"
        "figure stands where it is from: a number is a source below, **c** chosen by us,\n"
        "**p** common practice, **m** from memory; – is not known to be printed anywhere. A **d**\n"
        "behind the number: worked out from what that source prints, as it says there.\n");

    for (int g = 0; g < CROP_GROUPS; g++) {
        g_string_append_printf(page, "\n## %s\n", headings[g]);
        put_table(page, crops, g, temperatures);
        put_table(page, crops, g, times);
    }
    g_string_append(page, "\n## Share of figures with a published source\n\n"
                          "Rounded down. A figure that is left out counts as one without.\n");
    put_shares(page, crops);
    g_string_append(page, "\n## Sources\n\nMore about each is in [references](references.md).\n\n");
    for (int i = 0; i < crops->n_references; i++)
        g_string_append_printf(page, "%d. %s (`%s`)\n", i + 1, crops->references[i].title,
                               crops->references[i].key);
    return g_string_free(g_steal_pointer(&page), FALSE);
}

/* The first line in which they differ, so that a failure says more than that there is one. */
static char *first_difference(const char *have, const char *want)
{
    g_auto(GStrv) a = g_strsplit(have, "\n", -1), b = g_strsplit(want, "\n", -1);
    int i = 0;

    while (a[i] != NULL && b[i] != NULL && g_str_equal(a[i], b[i]))
        i++;
    return g_strdup_printf("line %d\n  is      %s\n  must be %s", i + 1, a[i] ? a[i] : "(the end)",
                           b[i] ? b[i] : "(the end)");
}

static void test_page_is_what_the_data_give(void **state)
{
    const char *folder = g_getenv("THOLE_SOURCE_DIR");
    g_autofree char *data = g_build_filename(folder, "daemon", "garden", "crops.conf", NULL);
    g_autofree char *path = g_build_filename(folder, "docs", "crop-table.md", NULL);
    g_autofree char *have = NULL;
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;

    (void)state;
    if (!crops_load(data, NULL, &crops, &error))
        fail_msg("%s", error->message);
    g_autofree char *want = make_page(crops);
    if (g_getenv("THOLE_WRITE") != NULL) {
        if (!g_file_set_contents(path, want, -1, &error))
            fail_msg("%s", error->message);
        return;
    }
    if (!g_file_get_contents(path, &have, NULL, &error))
        fail_msg("%s", error->message);
    if (!g_str_equal(have, want)) {
        g_autofree char *where = first_difference(have, want);
        fail_msg("docs/crop-table.md is not what the crop data give (make crop-table): %s", where);
    }
}

/* Every figure of the data stands in one of the tables, so that none is forgotten. */
static void test_no_figure_is_left_out(void **state)
{
    (void)state;
    for (int i = 0; i < CROP_FIELDS; i++) {
        int found = 0;
        for (const Column *c = temperatures; c->heading != NULL; c++)
            found += strstr(c->keys, crop_fields[i].key) != NULL;
        for (const Column *c = times; c->heading != NULL; c++)
            found += strstr(c->keys, crop_fields[i].key) != NULL;
        if (found != 1)
            fail_msg("%s stands %d times in the tables", crop_fields[i].key, found);
    }
}

/* README.md and docs/crops.md say how many crops there are. */
static void test_numbers_told(void **state)
{
    const char *folder = g_getenv("THOLE_SOURCE_DIR");
    g_autofree char *data = g_build_filename(folder, "daemon", "garden", "crops.conf", NULL);
    g_autofree char *readme = g_build_filename(folder, "README.md", NULL);
    g_autofree char *page = g_build_filename(folder, "docs", "crops.md", NULL);
    const char *const paths[] = {readme, page};
    g_autoptr(Crops) crops = NULL;
    g_autoptr(GError) error = NULL;
    int n[CROP_GROUPS] = {0};

    (void)state;
    if (!crops_load(data, NULL, &crops, &error))
        fail_msg("%s", error->message);
    for (int i = 0; i < crops->n; i++)
        n[crops->crops[i].group]++;
    g_autofree char *told = g_strdup_printf("%d vegetables, %d herbs, %d ", n[CROP_VEGETABLE],
                                            n[CROP_HERB], n[CROP_FLOWER]);
    g_autofree char *all = g_strdup_printf("%d crops", crops->n);
    for (gsize i = 0; i < G_N_ELEMENTS(paths); i++) {
        g_autofree char *text = NULL;
        if (!g_file_get_contents(paths[i], &text, NULL, &error))
            fail_msg("%s", error->message);
        if (strstr(text, told) == NULL || strstr(text, all) == NULL)
            fail_msg("%s does not say \"%s\" and \"%s\"", paths[i], all, told);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_figure_is_left_out),
        cmocka_unit_test(test_page_is_what_the_data_give),
        cmocka_unit_test(test_numbers_told),
    };
    return cmocka_run_group_tests_name("crop-table", tests, NULL, NULL);
}
