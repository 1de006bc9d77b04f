/* SPDX-License-Identifier: MIT */
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

#define SOURCES_FLAGGED 3 /* words that stand for "no published source, or not seen" */
static const char *const flagged[SOURCES_FLAGGED] = {CROP_SOURCE_CHOSEN, CROP_SOURCE_MEMORY,
                                                     CROP_SOURCE_PRACTICE};

typedef struct Fixture {
    Crops *crops;
    char *references; /* with a line feed before the first line */
} Fixture;

static int set_up(void **state)
{
    static Fixture fixture;
    *state = &fixture;
    const char *source = g_getenv("THOLE_SOURCE_DIR");
    g_autofree char *references_path = g_build_filename(source, "docs", "references.md", NULL);
    g_autofree char *text = NULL;
    g_autoptr(GError) error = NULL;

    g_autofree char *path = g_build_filename(source, "daemon", "garden", "crops.conf", NULL);
    if (!g_file_get_contents(references_path, &text, NULL, &error) ||
        !crops_load(path, NULL, &fixture.crops, &error)) {
        fprintf(stderr, "%s\n", error->message);
        return -1;
    }
    fixture.references = g_strconcat("\n", text, NULL);
    return 0;
}

static int tear_down(void **state)
{
    Fixture *fixture = *state;
    crops_free(fixture->crops);
    g_free(fixture->references);
    return 0;
}

static gboolean is_flagged(const char *source)
{
    for (int i = 0; i < SOURCES_FLAGGED; i++)
        if (strcmp(flagged[i], source) == 0)
            return TRUE;
    return FALSE;
}

static const CropField *field_of(const char *key)
{
    for (int i = 0; i < CROP_FIELDS; i++)
        if (strcmp(crop_fields[i].key, key) == 0)
            return &crop_fields[i];
    fail_msg("no field \"%s\"", key);
    return NULL;
}

static double figure(const Crops *crops, const char *name, const char *key)
{
    int at = crops_find(crops, name);
    if (at < 0)
        fail_msg("no crop \"%s\"", name);
    return crop_field_value(&crops->crops[at], field_of(key));
}

static gboolean in_references(const Fixture *fixture, const char *source)
{
    g_autofree char *heading = g_strdup_printf("\n## %s\n", source);
    return strstr(fixture->references, heading) != NULL;
}

static void test_crops_there(void **state)
{
    const Fixture *fixture = *state;
    g_auto(GStrv) names = g_strsplit(
        "cabbage cauliflower broccoli kale brussels-sprouts leek onion sweet-pea broad-bean pea "
        "lettuce celery celeriac tomato courgette squash cucumber sweet-corn french-bean "
        "runner-bean pepper aubergine basil beetroot spinach",
        " ", -1);
    for (int i = 0; names[i] != NULL; i++) {
        int at = crops_find(fixture->crops, names[i]);
        assert_true(at >= 0);
        assert_true(g_unichar_isupper(g_utf8_get_char(fixture->crops->crops[at].title)));
    }
    assert_int_equal(fixture->crops->n, g_strv_length(names));
    assert_int_equal(crops_find(fixture->crops, "Tomato"), -1);
}

static void test_sources_resolve(void **state)
{
    const Fixture *fixture = *state;
    const Crops *crops = fixture->crops;
    int published = 0, all = 0, unresolved = 0, of_flag[SOURCES_FLAGGED] = {0};

    for (int c = 0; c < crops->n; c++) {
        for (int i = 0; i < CROP_FIELDS; i++) {
            const char *source = crops_source(crops, c, crop_fields[i].key);
            int flag = 0;
            assert_non_null(source);
            all++;
            while (flag < SOURCES_FLAGGED && strcmp(source, flagged[flag]) != 0)
                flag++;
            if (flag < SOURCES_FLAGGED) {
                of_flag[flag]++;
            } else if (in_references(fixture, source)) {
                published++;
            } else {
                unresolved++;
                print_message("# [crop %s] %s: no heading \"%s\" in docs/references.md\n",
                              crops->crops[c].name, crop_fields[i].key, source);
            }
        }
    }
    print_message("# figures with a published source: %d of %d (%d %%); %s %d, %s %d, %s %d\n",
                  published, all, 100 * published / all, flagged[0], of_flag[0], flagged[1],
                  of_flag[1], flagged[2], of_flag[2]);
    assert_int_equal(unresolved, 0);
    assert_int_equal(all, crops->n * CROP_FIELDS);
}

/*
 * Published bounds. `low` and `high` are included; INFINITY where the source bounds one side only.
 * Each source is a heading of docs/references.md.
 */
#define LEAST -INFINITY
#define MOST INFINITY
typedef struct Band {
    const char *sentence, *crops, *key;
    double low, high;
    const char *source;
} Band;

#define COOL                                                                                       \
    "cabbage cauliflower broccoli kale brussels-sprouts leek onion sweet-pea broad-bean pea "      \
    "lettuce beetroot spinach celery celeriac"
#define TENDER                                                                                     \
    "tomato courgette squash cucumber sweet-corn french-bean runner-bean pepper aubergine basil"
static const Band bands[] = {
    {"raised no colder than the least monthly mean for growth",
     "cabbage broccoli kale brussels-sprouts broad-bean beetroot spinach", "growing-on-night-c",
     4.4, MOST, "knott-1997"},
    {"raised no colder than the least monthly mean for growth",
     "cauliflower celery celeriac lettuce pea leek onion", "growing-on-night-c", 7.2, MOST,
     "knott-1997"},
    {"raised no colder than the least monthly mean for growth",
     "french-bean sweet-corn squash courgette", "growing-on-night-c", 10, MOST, "knott-1997"},
    {"raised no colder than the least monthly mean for growth", "cucumber", "growing-on-night-c",
     15.6, MOST, "knott-1997"},
    {"hardy crops are raised no warmer than the glasshouse trade does",
     "cabbage broccoli cauliflower onion", "growing-on-night-c", LEAST, 15.6,
     "mid-atlantic-recommendations"},
    {"nights are no warmer than the glasshouse trade's", "cucumber courgette aubergine",
     "growing-on-night-c", LEAST, 18.3, "mid-atlantic-recommendations"},
    {"lettuce is raised no colder than the trade's least night", "lettuce", "growing-on-night-c",
     4.4, MOST, "mid-atlantic-recommendations"},
    {"a week below this stunts tender plants", TENDER, "growing-on-night-c", 12.8, MOST,
     "colorado-state-planting-guide"},
    {"no tender seedling goes out in colder air before it is hardened", TENDER, "floor-soft-c", 7.2,
     MOST, "ca-master-gardener"},
    {"stays out overnight from here", "cucumber", "floor-hardened-c", 10, MOST, "umd-hardening"},
    {"not below the range in which cold injury is seen", "tomato", "floor-hardened-c", 0.6, 10,
     "utah-state-tomato"},
    {"tender transplants of cool crops need nights above freezing", COOL, "floor-soft-c", 0, MOST,
     "colorado-state-planting-guide"},
    {"established ones bear the middle twenties Fahrenheit", COOL, "floor-hardened-c", -4, MOST,
     "colorado-state-planting-guide"},
    {"hardened damage is not colder than the damaging range +5 to 0", "tomato cucumber",
     "damage-hardened-c", 0, MOST, "wilson-payne-boyd-2023"},
    {"hardened damage is not colder than the damaging range 0 to -2", "french-bean sweet-corn",
     "damage-hardened-c", -2, MOST, "wilson-payne-boyd-2023"},
    {"hardened damage is not colder than the damaging range -2 to -4", "pea lettuce",
     "damage-hardened-c", -4, MOST, "wilson-payne-boyd-2023"},
    {"hardened damage is not colder than the damaging range -4 to -7",
     "cauliflower broccoli kale cabbage beetroot onion", "damage-hardened-c", -7, MOST,
     "wilson-payne-boyd-2023"},
    {"hardened damage is not colder than the damaging range -7 to -10", "spinach broad-bean",
     "damage-hardened-c", -10, MOST, "wilson-payne-boyd-2023"},
    {"seedlings at 5 °C came to bear -6 °C", "cabbage", "damage-hardened-c", -6, MOST,
     "sasaki-1996"},
    {"plants of the light-frost class are damaged within it when soft",
     "beetroot broccoli cabbage cauliflower celeriac celery onion", "damage-soft-c", -2.2, 0,
     "msu-phillips-2014"},
    {"three hours just under freezing kill these",
     "cucumber french-bean runner-bean aubergine pepper squash courgette sweet-corn tomato",
     "damage-soft-c", -0.3, MOST, "msu-phillips-2014"},
    {"unhardened lettuce can be damaged near 0 °C", "lettuce", "damage-soft-c", -0.5, MOST,
     "snyder-melo-abreu-2005"},
    {"covers come off tomatoes above this", "tomato", "heat-limit-c", LEAST, 32,
     "utah-state-tomato"},
    {"no crop is kept warmer than the greatest monthly mean of any crop", TENDER " " COOL,
     "heat-limit-c", LEAST, 35, "knott-1997"},
    {"not below the greatest monthly mean it grows at",
     "cabbage broccoli kale brussels-sprouts broad-bean beetroot spinach cauliflower celery "
     "celeriac lettuce pea",
     "heat-limit-c", 24, MOST, "knott-1997"},
    {"not below the greatest monthly mean it grows at", "leek onion", "heat-limit-c", 29, MOST,
     "knott-1997"},
    {"not below the greatest monthly mean it grows at", "tomato pepper french-bean", "heat-limit-c",
     27, MOST, "knott-1997"},
    {"not below the greatest monthly mean it grows at", "squash courgette cucumber", "heat-limit-c",
     32, MOST, "knott-1997"},
    {"not below the greatest monthly mean it grows at", "sweet-corn aubergine", "heat-limit-c", 35,
     MOST, "knott-1997"},
    {"even seed comes up in this soil", "beetroot broccoli cabbage cauliflower pea",
     "soil-at-planting-c", 4.4, MOST, "ifas-soil"},
    {"even seed comes up in this soil", "lettuce onion spinach", "soil-at-planting-c", 0, MOST,
     "ifas-soil"},
    {"even seed comes up in this soil", "tomato sweet-corn", "soil-at-planting-c", 12.8, MOST,
     "texas-am-soil"},
    {"no warmer than what seed needs", "french-bean cucumber pepper squash courgette",
     "soil-at-planting-c", LEAST, 15.6, "ifas-soil"},
    {"roots of tropical crops are harmed below this",
     "courgette squash cucumber french-bean runner-bean pepper aubergine basil",
     "soil-at-planting-c", 12.5, MOST, "snyder-melo-abreu-2005"},
    {"weeks to raise a transplant", "broccoli", "weeks-to-plant", 4, 7,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "cabbage", "weeks-to-plant", 6, 7,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "cauliflower", "weeks-to-plant", 6, 8,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "cucumber courgette", "weeks-to-plant", 2, 4,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "aubergine", "weeks-to-plant", 6, 9,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "lettuce", "weeks-to-plant", 4, 6,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "onion", "weeks-to-plant", 9, 12,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "pepper", "weeks-to-plant", 7, 9,
     "mid-atlantic-recommendations"},
    {"weeks to raise a transplant", "tomato", "weeks-to-plant", 5, 6,
     "mid-atlantic-recommendations"},
};

static void test_published_bands(void **state)
{
    const Fixture *fixture = *state;
    int outside = 0;

    for (gsize i = 0; i < G_N_ELEMENTS(bands); i++) {
        const Band *band = &bands[i];
        g_auto(GStrv) names = g_strsplit(band->crops, " ", -1);
        assert_true(in_references(fixture, band->source));
        for (int n = 0; names[n] != NULL; n++) {
            double value = figure(fixture->crops, names[n], band->key);
            if (value >= band->low && value <= band->high)
                continue;
            outside++;
            print_message("# [crop %s] %s=%g is outside %g to %g: %s (%s)\n", names[n], band->key,
                          value, band->low, band->high, band->sentence, band->source);
        }
    }
    assert_int_equal(outside, 0);
}

/*
 * Figures as printed, with the unit they are printed in: whatever the data say a source gives, it
 * gives. Emergence is checked by the days it comes to, weeks by their range above.
 */
typedef struct Printed {
    const char *source, *key, *crops;
    double figure;
    char unit; /* 'F', 'C', or 'w' weeks */
} Printed;

static const Printed printed_figures[] = {
    {"wilson-payne-boyd-2023", "damage-hardened-c", "tomato cucumber french-bean", 0, 'C'},
    {"wilson-payne-boyd-2023", "damage-hardened-c", "pea lettuce cauliflower beetroot", -4, 'C'},
    {"wilson-payne-boyd-2023", "damage-hardened-c", "spinach", -7, 'C'},
    {"sasaki-1996", "damage-hardened-c", "cabbage", -6, 'C'},
    {"snyder-melo-abreu-2005", "damage-soft-c", "lettuce", 0, 'C'},
    {"snyder-melo-abreu-2005", "soil-at-planting-c",
     "courgette squash cucumber french-bean runner-bean pepper aubergine basil", 12.5, 'C'},
    {"utah-state-tomato", "heat-limit-c", "tomato french-bean runner-bean " COOL, 90, 'F'},
    {"knott-1997", "heat-limit-c", "sweet-corn aubergine", 95, 'F'},
    {"umd-hardening", "floor-hardened-c", "cucumber", 50, 'F'},
    {"ifas-soil", "soil-at-planting-c", "broccoli cabbage cauliflower pea", 40, 'F'},
    {"texas-am-soil", "soil-at-planting-c", "beetroot", 45, 'F'},
    {"texas-am-soil", "soil-at-planting-c", "tomato sweet-corn", 55, 'F'},
    {"mid-atlantic-recommendations", "weeks-to-plant", "cucumber courgette", 4, 'w'},
    {"mid-atlantic-recommendations", "weeks-to-plant", "tomato lettuce", 6, 'w'},
    {"mid-atlantic-recommendations", "weeks-to-plant", "broccoli cabbage", 7, 'w'},
    {"mid-atlantic-recommendations", "weeks-to-plant", "cauliflower", 8, 'w'},
    {"mid-atlantic-recommendations", "weeks-to-plant", "aubergine pepper", 9, 'w'},
    {"mid-atlantic-recommendations", "weeks-to-plant", "onion", 12, 'w'},
};

static const Printed *find_printed(const char *source, const char *key, const char *crop)
{
    for (gsize i = 0; i < G_N_ELEMENTS(printed_figures); i++) {
        g_auto(GStrv) names = g_strsplit(printed_figures[i].crops, " ", -1);
        if (strcmp(printed_figures[i].source, source) == 0 &&
            strcmp(printed_figures[i].key, key) == 0 &&
            g_strv_contains((const char *const *)names, crop))
            return &printed_figures[i];
    }
    return NULL;
}

static void test_figures_as_printed(void **state)
{
    const Crops *crops = ((Fixture *)*state)->crops;

    for (int c = 0; c < crops->n; c++) {
        for (int i = 0; i < CROP_FIELDS; i++) {
            const char *source = crops->sources[c].of[i], *key = crop_fields[i].key;
            const char *name = crops->crops[c].name;
            gboolean emergence = g_str_has_prefix(key, "emergence-");
            if (is_flagged(source) || emergence)
                continue;
            const Printed *row = find_printed(source, key, name);
            if (row == NULL)
                fail_msg("[crop %s] %s: %s is not known to print it", name, key, source);
            double as_printed = row->unit == 'F' ? (row->figure - 32) / 1.8 : row->figure;
            if (fabs(crop_field_value(&crops->crops[c], &crop_fields[i]) - as_printed) > 0.25)
                fail_msg("[crop %s] %s: %s prints %g", name, key, source, row->figure);
        }
    }
}

/* Every source in docs/references.md gives a figure or a bound. */
static void test_references_are_used(void **state)
{
    const Fixture *fixture = *state;
    g_auto(GStrv) parts = g_strsplit(fixture->references, "\n## ", -1);

    for (int p = 1; parts[p] != NULL; p++) {
        g_autofree char *source = g_strndup(parts[p], strcspn(parts[p], "\n"));
        gboolean used = FALSE;
        for (int c = 0; c < fixture->crops->n; c++)
            for (int i = 0; i < CROP_FIELDS; i++)
                used |= strcmp(fixture->crops->sources[c].of[i], source) == 0;
        for (gsize i = 0; i < G_N_ELEMENTS(bands); i++)
            used |= strcmp(bands[i].source, source) == 0;
        if (!used)
            fail_msg("docs/references.md has \"%s\", which nothing uses", source);
    }
    assert_true(g_strv_length(parts) > 10);
}

/*
 * Days to emergence at 0, 5 … 30 °C as printed by Harrington & Minges (1954) in Knott's Handbook;
 * NAN not tested, no germination, or beyond the best temperature. From `from_c` on the crop's base
 * and warmth must give them back within a fifth or one day; docs/references.md says where they do
 * not.
 */
typedef struct Emergence {
    const char *crop;
    double from_c, days[7];
} Emergence;

static const Emergence emergences[] = {
    {"cabbage", 10, {NAN, NAN, 15, 9, 6, 5, 4}},
    {"cauliflower", 10, {NAN, NAN, 20, 10, 6, 5, NAN}},
    {"lettuce", 5, {49, 15, 7, 4, 3, 2, NAN}},
    {"onion", 5, {136, 31, 13, 7, 5, 4, NAN}}, /* its figures are Brewster's; the days check them */
    {"pea", 5, {NAN, 36, 14, 9, 8, 6, NAN}},
    {"celery", 5, {NAN, 41, 16, 12, 7, NAN, NAN}},
    {"beetroot", 10, {NAN, 42, 17, 10, 6, 5, NAN}},
    {"spinach", 5, {63, 23, 12, 7, 6, NAN, NAN}},
    {"tomato", 10, {NAN, NAN, 43, 14, 8, 6, NAN}},
    {"cucumber", 15, {NAN, NAN, NAN, 13, 6, 4, 3}},
    {"sweet-corn", 15, {NAN, NAN, 22, 12, 7, 4, NAN}},
    {"french-bean", 15, {NAN, NAN, NAN, 16, 11, 8, 6}},
    {"pepper", 15, {NAN, NAN, NAN, 25, 13, 8, NAN}},
    {"aubergine", 20, {NAN, NAN, NAN, NAN, 13, 8, 5}},
};

static double emergence_days(const Crops *crops, const char *name, double soil_c)
{
    return figure(crops, name, "emergence-kd") / (soil_c - figure(crops, name, "emergence-base-c"));
}

static void test_emergence(void **state)
{
    const Crops *crops = ((Fixture *)*state)->crops;
    int points = 0;

    for (gsize i = 0; i < G_N_ELEMENTS(emergences); i++) {
        const Emergence *row = &emergences[i];
        for (int t = 0; t < 7; t++) {
            double soil_c = 5 * t, printed = row->days[t];
            if (isnan(printed) || soil_c < row->from_c)
                continue;
            double days = emergence_days(crops, row->crop, soil_c);
            if (!(fabs(days - printed) <= fmax(1, 0.2 * printed)))
                fail_msg("%s at %g °C: %.1f days, printed are %g", row->crop, soil_c, days,
                         printed);
            points++;
        }
    }
    assert_int_equal(points, 57);
    /* Brewster, Onions and Other Vegetable Alliums, after Harrington (1962): worked examples. */
    assert_true(fabs(emergence_days(crops, "onion", 22.5) - 4) < 1e-9);
    assert_true(fabs(emergence_days(crops, "onion", 7.5) - 16) < 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_crops_there),         cmocka_unit_test(test_sources_resolve),
        cmocka_unit_test(test_references_are_used), cmocka_unit_test(test_published_bands),
        cmocka_unit_test(test_emergence),           cmocka_unit_test(test_figures_as_printed),
    };
    return cmocka_run_group_tests_name("crop-data", tests, set_up, tear_down);
}
