/* SPDX-License-Identifier: MIT */
/* What is said of a batch that is fit to go on and stays: one row a sentence, to be read aloud. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "service/wording-stays.h"
#include "wording-garden.h"

#define NIGHT_H 17 /* from Thursday noon: early on Friday */
#define NOON_H 25

typedef struct Row {
    LimitKind limit;
    int batch, place, ahead_h;
    double predicted_c, limit_c, odds;
    const char *says;
} Row;

static const Row rows[] = {
    {LIMIT_CHECK, TOMATO_1, TUNNEL, NIGHT_H, 2.4, 5.1, 0.9,
     "the coldest ten hours may average 2 °C in the night to Fri; it may be given 5 °C now."},
    {LIMIT_CHECK, TOMATO_1, TUNNEL, NIGHT_H, 4.8, 5.1, 0.6,
     "the coldest ten hours may average 5 °C in the night to Fri, just what it may be given now."},
    {LIMIT_CHECK, TOMATO_1, TUNNEL, NIGHT_H, 6.2, 5.1, 0.2,
     "the coldest ten hours may average 6 °C in the night to Fri, too near the 5 °C it may be "
     "given "
     "now."},
    {LIMIT_DAMAGE, TOMATO_1, INNER, NIGHT_H, -1.6, 0.8, 0.9,
     "its leaves may fall to about −2 °C early on Fri, and 1 °C damages them: odds over 75 %."},
    {LIMIT_DAMAGE, TOMATO_1, INNER, NIGHT_H, 3.1, 0.8, 0.03,
     "its leaves may fall to about 3 °C early on Fri, and 1 °C damages them: odds 1–5 %."},
    {LIMIT_CHILL, TOMATO_1, TUNNEL, NIGHT_H, 6.0, 10.0, NAN,
     "it has had its hours of cold, and more in the tunnel at the plot in the night to Fri would "
     "spoil its harvest."},
    {LIMIT_HEAT, TOMATO_1, TUNNEL, NOON_H, 36.4, 32.0, 0.6,
     "the air may reach 36 °C around noon on Fri; it bears no more than 32 °C."},
    {LIMIT_GUST, TOMATO_1, TUNNEL, NOON_H, 12.0, 9.0, NAN,
     "gusts of about 12 m/s reach it around noon on Fri; so far it stands up to 9 m/s."},
    {LIMIT_SCORCH, TOMATO_1, TUNNEL, NOON_H, 4.0, 3.0, NAN,
     "it would have more light and wind in one day than it bears yet."},
    {LIMIT_EXPOSURE, TOMATO_1, TUNNEL, NIGHT_H, 2.0, 3.0, NAN,
     "it is too early for a night in the open in the tunnel at the plot."},
    {LIMIT_CAPACITY, TOMATO_1, TUNNEL, 0, 1.0, 2.0, NAN,
     "the tunnel at the plot has 1 tray free, and it fills 2."},
    {LIMIT_CAPACITY, TOMATO_1, TUNNEL, 0, 0.0, 1.0, NAN,
     "the tunnel at the plot has no trays free, and it fills 1."},
    {LIMIT_NO_VISIT, TOMATO_1, TUNNEL, 6, NAN, NAN, NAN,
     "no visit leaves the time to carry it to the tunnel at the plot."},
    {LIMIT_PROGRESS, TOMATO_1, TUNNEL, 6, NAN, NAN, NAN,
     "carried to the tunnel at the plot on Thu 18:00 it would gain less than the way is worth."},
    {LIMIT_SOIL, TOMATO_1, TUNNEL, 0, 8.0, 12.0, NAN, NULL},
    {LIMIT_NONE, TOMATO_1, TUNNEL, 0, NAN, NAN, NAN, NULL},
    {LIMIT_CHECK, TOMATO_1, -1, NIGHT_H, 2.4, 5.1, 0.9, NULL},
    {LIMIT_CHECK, N_BATCHES, TUNNEL, NIGHT_H, 2.4, 5.1, 0.9, NULL},
};

static Reason reason_of(const Fixture *f, const Row *row)
{
    return (Reason){.limit = row->limit,
                    .batch = row->batch,
                    .place = row->place,
                    .at_utc = f->context.now_utc + (int64_t)row->ahead_h * 3600,
                    .predicted_c = row->predicted_c,
                    .limit_c = row->limit_c,
                    .odds = row->odds};
}

static void test_rows(void **state)
{
    Fixture f;
    (void)state;
    fixture_init(&f);
    f.batches[TOMATO_1].place = SILL;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const Reason reason = reason_of(&f, &rows[i]);
        g_autofree char *text = wording_stays(&f.context, &reason, true);
        if (rows[i].says == NULL) {
            assert_string_equal(text, "");
            continue;
        }
        print_message("# %s\n", text);
        assert_true(g_str_has_prefix(text, "tomato-1 stays on the sill: "));
        assert_true(g_str_has_suffix(text, rows[i].says));
    }
    fixture_clear(&f);
}

/* Without its name; and a place of its own site is named alone. */
static void test_whole(void **state)
{
    Fixture f;
    (void)state;
    fixture_init(&f);
    f.batches[TOMATO_1].place = SILL;
    Reason reason = reason_of(&f, &rows[0]);
    g_autofree char *there = wording_stays(&f.context, &reason, false);
    assert_string_equal(there,
                        "It stays on the sill: in the tunnel at the plot the coldest ten hours may "
                        "average 2 °C in the night to Fri; it may be given 5 °C now.");
    reason.place = FRAME;
    g_autofree char *here = wording_stays(&f.context, &reason, false);
    assert_string_equal(here, "It stays on the sill: in the frame the coldest ten hours may "
                              "average 2 °C in the night to Fri; it may be given 5 °C now.");
    fixture_clear(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_rows), cmocka_unit_test(test_whole)};

    return cmocka_run_group_tests_name("wording-stays", tests, NULL, NULL);
}
