/* SPDX-License-Identifier: MIT */
/* What growers are answered who change visits in a calendar, and what it costs, in words. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>

#include "service/wording-edits.h"
#include "store/store-wishes.h"
#include "wording-garden.h"

#define HOUR_S 3600

static void says(char *said, const char *expected)
{
    assert_string_equal(said, expected);
    g_free(said);
}

static void test_refusals(void **state)
{
    static const char *const why[] = {
        [EDIT_PAST] = "that is past",
        [EDIT_FAR] = "visits are planned seven days ahead; say it again when it is nearer",
        [EDIT_AWAY] = "you are away then; \"tholectl away end\" takes that back",
        [EDIT_BEGUN] = "the visit is reported, or over; say with done or missed what became of it",
        [EDIT_OVER] = "it had begun; say with done or missed what became of it",
        [EDIT_TOO_MANY] = "three visits of that day are set already, and more are not planned",
        [EDIT_ALL_DAY] = "a whole day does not say at what time; give it one",
        [EDIT_REPEATS] = "an event that repeats is not taken; make one for each visit",
        [EDIT_LONG] = "more than two days do not say when; give hours",
        [EDIT_EARLY] = "that day has not come; what was done early, say with tholectl done",
        [EDIT_NO_VISIT] = "this is a reminder, not a visit: its time says how long there is"};
    Fixture f;
    (void)state;

    fixture_init(&f);
    const int64_t utc = f.context.now_utc + 5 * HOUR_S;
    for (int i = 0; i <= EDIT_NO_VISIT; i++) {
        g_autofree char *expected = g_strdup_printf("Not taken (the plot, Thu 17:00): %s.", why[i]);
        says(wording_edit_refused(&f.context, (EditRefusal)i, PLOT, utc), expected);
    }
    says(wording_edit_clash(&f.context, PLOT, utc, PLOT, utc + 600),
         "Not taken (the plot, Thu 17:00): another visit stands there (the plot, Thu 17:10).");
    says(wording_edit_clash(&f.context, PLOT, utc, HOME, utc + 600),
         "Not taken (the plot, Thu 17:00): another visit stands too near (home, Thu 17:10), the "
         "way between them counted.");
    fixture_clear(&f);
}

static void test_costs(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    const int64_t utc = f.context.now_utc + 5 * HOUR_S;
    const EditCost nothing = {
        .stays = -1, .place = -1, .position = -1, .batch = -1, .odds = NAN, .odds_usual = NAN};
    EditCost cost = nothing;
    says(wording_edit_cost(&f.context, &cost), "No batch is at more risk for it.");
    cost = (EditCost){.stays = -1,
                      .place = FRAME,
                      .position = 1,
                      .until_utc = utc,
                      .jobs_more = 1,
                      .batch = TOMATO_1,
                      .odds = 0.2,
                      .odds_usual = 0.02,
                      .night_utc = utc + 12 * HOUR_S};
    says(wording_edit_cost(&f.context, &cost),
         "No visit before Thu 17:00: the frame stays propped 10 cm. 1 other job would have been "
         "done then. tomato-1 is at more risk for it: odds of damage 10–25 % in the night to Fri, "
         "instead of 1–5 %.");
    cost.until_utc = 0;
    cost.jobs_more = 0;
    cost.odds = 0.02;
    cost.odds_usual = 0.2;
    says(wording_edit_cost(&f.context, &cost),
         "Without that visit the frame stays propped 10 cm. tomato-1 is safer for it: odds of "
         "damage 1–5 % in the night to Fri, instead of 10–25 %.");
    cost = nothing;
    cost.stays = TOMATO_1;
    cost.place = SILL;
    cost.until_utc = utc;
    says(wording_edit_cost(&f.context, &cost),
         "No visit before Thu 17:00: tomato-1 stays on the sill. No batch is at more risk for it.");
    cost = nothing;
    cost.jobs_more = 2;
    says(wording_edit_cost(&f.context, &cost),
         "2 jobs would have been done then. No batch is at more risk for it.");
    fixture_clear(&f);
}

static void test_answers(void **state)
{
    const int places[] = {FRAME, SILL, BOX};
    Fixture f;
    (void)state;

    fixture_init(&f);
    const WordingContext *words = &f.context;
    const int64_t utc = f.context.now_utc + 5 * HOUR_S;
    says(wording_edit_fixed("No."), "You set this time. No.");
    says(wording_edit_dropped(words, PLOT, utc, "No."), "You left out the visit of Thu 17:00. No.");
    says(wording_edit_list(words, STORE_WISH_FIXED, PLOT, utc, utc),
         "set by you: the plot, Thu 17:00");
    says(wording_edit_list(words, STORE_WISH_DROPPED, HOME, utc, utc), "left out: home, Thu 17:00");
    says(wording_edit_list(words, STORE_WISH_OFFERED, PLOT, utc, utc + HOUR_S),
         "offered: the plot, Thu 17:00 to Thu 18:00");
    says(wording_edit_reading(words, PLOT, "frame", "−1.5 °C", utc),
         "Taken: frame −1.5 °C at Thu 17:00.");
    says(wording_edit_reported(1, TRUE), "Taken: 1 job done.");
    says(wording_edit_reported(2, FALSE), "Taken: 2 jobs not done.");
    says(wording_edit_reported(0, TRUE), "Taken: done; no job was open.");
    says(wording_edit_reported(0, FALSE), "Taken: not done; no job was open.");
    says(wording_edit_watered(words, places, 0), "Taken: watered; no batch stands there.");
    says(wording_edit_watered(words, places, 1), "Taken: watered in the frame.");
    says(wording_edit_watered(words, places, 3),
         "Taken: watered in the frame, on the sill and in box-1.");
    says(wording_edit_note("slugs"), "Kept as a note: slugs");
    says(wording_edit_not_taken("frmae 9", "no such place"), "Not taken (frmae 9): no such place.");
    says(wording_edit_offered(words, PLOT, utc, utc + HOUR_S),
         "Taken: you can be there (the plot, Thu 17:00 to 18:00).");
    says(wording_edit_late(words, PLOT, utc),
         "Deleted after it began (the plot, Thu 17:00): its jobs are still asked for.");
    says(wording_edit_lost(),
         "All our events were gone from a calendar at once. That is taken as a loss, not as your "
         "word: they are put again.");
    fixture_clear(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_costs),
        cmocka_unit_test(test_answers),
    };
    return cmocka_run_group_tests_name("wording edits", tests, NULL, NULL);
}
