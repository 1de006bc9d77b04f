/* SPDX-License-Identifier: MIT */
/* Which planned visit continues which former one. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <glib.h>
#include <stdlib.h>
#include <string.h>

#include "calendar-check.h"
#include "calendar/match.h"

#define VISITS_MAX 9
#define DAY_MIN 1440

/* A visit in a table: minutes since some midnight; id NULL where it has none. */
typedef struct Row {
    int grower, site, start_min;
    const char *id;
} Row;

/* One sentence each. Unused rows at the end have grower -1. */
/* clang-format off */
#define NONE {-1, 0, 0, NULL}
static const struct {
    const char *sentence;
    Row former[3], planned[3];
    int former_of[3];
    gboolean days;
} rows[] = {
    {"the same time is the same visit",
     {{0, 0, 450, "a"}, NONE, NONE}, {{0, 0, 450, NULL}, NONE, NONE}, {0}, TRUE},
    {"three hours away still is",
     {{0, 0, 450, "a"}, NONE, NONE}, {{0, 0, 630, NULL}, NONE, NONE}, {0}, TRUE},
    {"a minute more is not",
     {{0, 0, 450, "a"}, NONE, NONE}, {{0, 0, 631, NULL}, NONE, NONE}, {-1}, TRUE},
    {"another site is another visit",
     {{0, 0, 450, "a"}, NONE, NONE}, {{0, 1, 450, NULL}, NONE, NONE}, {-1}, TRUE},
    {"another grower is another visit",
     {{0, 0, 450, "a"}, NONE, NONE}, {{1, 0, 450, NULL}, NONE, NONE}, {-1}, TRUE},
    {"the nearest takes it, the other is new",
     {{0, 0, 450, "a"}, NONE, NONE},
     {{0, 0, 390, NULL}, {0, 0, 480, NULL}, NONE}, {-1, 0}, TRUE},
    {"nearest pair first, though the other would shift less in sum",
     {{0, 0, 450, "a"}, {0, 0, 540, "b"}, NONE},
     {{0, 0, 510, NULL}, {0, 0, 660, NULL}, NONE}, {1, -1}, TRUE},
    {"of equals the first",
     {{0, 0, 420, "a"}, {0, 0, 480, "b"}, NONE}, {{0, 0, 450, NULL}, NONE, NONE}, {0}, TRUE},
    {"over midnight too",
     {{0, 0, DAY_MIN - 30, "a"}, NONE, NONE},
     {{0, 0, DAY_MIN + 30, NULL}, NONE, NONE}, {0}, TRUE},
    {"but rather on the same day, though further",
     {{0, 0, DAY_MIN - 30, "a"}, NONE, NONE},
     {{0, 0, DAY_MIN + 30, NULL}, {0, 0, DAY_MIN - 120, NULL}, NONE}, {-1, 0}, TRUE},
    {"without days the nearest",
     {{0, 0, DAY_MIN - 30, "a"}, NONE, NONE},
     {{0, 0, DAY_MIN + 30, NULL}, {0, 0, DAY_MIN - 120, NULL}, NONE}, {0, -1}, FALSE},
    {"an id binds at any distance, before all nearness",
     {{0, 0, 450, "a"}, {0, 0, 460, "b"}, NONE},
     {{0, 0, 450, "b"}, {0, 0, 470, NULL}, NONE}, {1, 0}, TRUE},
    {"an id that is not among the former ones is new",
     {{0, 0, 450, "a"}, NONE, NONE}, {{0, 0, 450, "z"}, NONE, NONE}, {-1}, TRUE},
    {"nothing former, all new",
     {NONE, NONE, NONE}, {{0, 0, 450, NULL}, {0, 0, 450, NULL}, NONE}, {-1, -1}, TRUE},
};
/* clang-format on */

static int fill(const Row *from, int n_max, Visit *visits, int32_t *days)
{
    int n = 0;

    memset(visits, 0, (gsize)n_max * sizeof *visits);
    for (; n < n_max && from[n].grower >= 0; n++) {
        visits[n].grower = from[n].grower;
        visits[n].site = from[n].site;
        visits[n].start_utc = INT64_C(60) * from[n].start_min;
        days[n] = from[n].start_min / DAY_MIN;
        if (from[n].id != NULL)
            g_strlcpy(visits[n].id, from[n].id, sizeof visits[n].id);
    }
    return n;
}

static void test_table(void **state)
{
    (void)state;
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        Visit former[3], planned[3];
        int32_t former_day[3], planned_day[3];
        int former_of[3] = {77, 77, 77};
        int n_former = fill(rows[i].former, 3, former, former_day);
        int n_planned = fill(rows[i].planned, 3, planned, planned_day);

        calendar_match(former, rows[i].days ? former_day : NULL, n_former, planned,
                       rows[i].days ? planned_day : NULL, n_planned, former_of);
        for (int p = 0; p < 3; p++) {
            int want = p < n_planned ? rows[i].former_of[p] : 77;
            if (former_of[p] != want)
                fail_msg("%s: planned %d continues %d, not %d", rows[i].sentence, p, want,
                         former_of[p]);
        }
    }
}

/* A pair that may be, for the oracle: all of them sorted once, then taken from the front. */
typedef struct Pair {
    gboolean other_day;
    int64_t distance_s;
    int f, p;
} Pair;

static int compare_pairs(const void *left, const void *right)
{
    const Pair *a = left, *b = right;

    if (a->other_day != b->other_day)
        return a->other_day ? 1 : -1;
    if (a->distance_s != b->distance_s)
        return a->distance_s < b->distance_s ? -1 : 1;
    if (a->f != b->f)
        return a->f - b->f;
    return a->p - b->p;
}

static void oracle(const Row *former, int n_former, const Row *planned, int n_planned,
                   int *former_of)
{
    Pair pairs[VISITS_MAX * VISITS_MAX];
    gboolean used[VISITS_MAX] = {FALSE};
    gsize n = 0;

    for (int p = 0; p < n_planned; p++) {
        former_of[p] = -1;
        for (int f = 0; f < n_former; f++) {
            int64_t apart_min = abs(former[f].start_min - planned[p].start_min);
            if (former[f].grower == planned[p].grower && former[f].site == planned[p].site &&
                apart_min <= 180)
                pairs[n++] = (Pair){former[f].start_min / DAY_MIN != planned[p].start_min / DAY_MIN,
                                    apart_min * 60, f, p};
        }
    }
    qsort(pairs, n, sizeof *pairs, compare_pairs);
    for (gsize i = 0; i < n; i++) {
        if (!used[pairs[i].f] && former_of[pairs[i].p] < 0) {
            used[pairs[i].f] = TRUE;
            former_of[pairs[i].p] = pairs[i].f;
        }
    }
}

static int random_rows(GRand *rand, Row *visits)
{
    int n = g_rand_int_range(rand, 0, VISITS_MAX + 1);

    for (int i = 0; i < n; i++)
        visits[i] = (Row){g_rand_int_range(rand, 0, 2), g_rand_int_range(rand, 0, 2),
                          10 * g_rand_int_range(rand, 0, 300), NULL};
    return n;
}

static void test_random_against_oracle(void **state)
{
    g_autoptr(GRand) rand = g_rand_new_with_seed(calendar_seed("random matches"));

    (void)state;
    for (int round = 0; round < 20000; round++) {
        Row former_rows[VISITS_MAX], planned_rows[VISITS_MAX];
        Visit former[VISITS_MAX], planned[VISITS_MAX];
        int32_t former_day[VISITS_MAX], planned_day[VISITS_MAX];
        int former_of[VISITS_MAX], expected[VISITS_MAX];
        int n_former = random_rows(rand, former_rows), n_planned = random_rows(rand, planned_rows);

        fill(former_rows, n_former, former, former_day);
        fill(planned_rows, n_planned, planned, planned_day);
        calendar_match(former, former_day, n_former, planned, planned_day, n_planned, former_of);
        oracle(former_rows, n_former, planned_rows, n_planned, expected);
        for (int p = 0; p < n_planned; p++)
            assert_int_equal(former_of[p], expected[p]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_table),
        cmocka_unit_test(test_random_against_oracle),
    };
    return cmocka_run_group_tests_name("calendar-match", tests, NULL, NULL);
}
