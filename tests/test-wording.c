/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "service/wording-notice.h"
#include "service/wording-names.h"
#include "wording-garden.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Minutes after that Thursday noon. */
static int64_t after(const Fixture *f, int hours, int minutes)
{
    return f->context.now_utc + hours * 3600 + minutes * 60;
}

/* ---- a sentence per row ---- */

#define NIGHT 17, 30 /* Friday 05:30 */
#define NOON 24, 0   /* Friday 12:00 */
#define NONE 0, 0

typedef struct Row {
    const char *sentence;
    JobKind kind;
    int batch, place, from, position;
    int deadline_h, deadline_min;
    LimitKind limit;
    int bound, where;
    int at_h, at_min;
    double predicted, limit_value, odds, otherwise, otherwise_odds;
    uint32_t estimated;
    const char *job, *reason, *summary;
} Row;

static const Row rows[] = {
#include "wording-rows.inc"
};

static Job row_job(const Fixture *f, const Row *row)
{
    Job job = {.kind = row->kind,
               .batch = row->batch,
               .place = row->place,
               .from_place = row->from,
               .position = row->position,
               .urgent = row->kind == JOB_RESCUE};

    if (row->deadline_h != 0 || row->deadline_min != 0)
        job.deadline_utc = after(f, row->deadline_h, row->deadline_min);
    job.reason = (Reason){.limit = row->limit,
                          .batch = row->bound,
                          .place = row->where,
                          .predicted_c = row->predicted,
                          .limit_c = row->limit_value,
                          .odds = row->odds,
                          .otherwise_c = row->otherwise,
                          .otherwise_odds = row->otherwise_odds,
                          .spread_k = 2.0,
                          .estimated = row->estimated};
    if (row->at_h != 0 || row->at_min != 0)
        job.reason.at_utc = after(f, row->at_h, row->at_min);
    return job;
}

static void test_sentences(void **state)
{
    Fixture f;
    int wrong = 0;
    (void)state;
    fixture_init(&f);
    for (gsize i = 0; i < G_N_ELEMENTS(rows); i++) {
        const Row *row = &rows[i];
        const Job job = row_job(&f, row);
        const bool late = wording_is_too_late(&f.context, &job);
        f.visit.site = row->place >= 0 ? f.places[row->place].site : HOME;
        g_autofree char *text = (late ? wording_too_late : wording_job)(&f.context, &job);
        g_autofree char *reason = wording_reason(&f.context, &job);
        g_autofree char *summary = late ? wording_too_late_summary(&f.context, &job)
                                        : wording_summary(&f.context, &f.visit, &job, 1);
        printf("# %s\n#     [%s]\n#     %s\n#     %s\n", row->sentence, summary, text, reason);
        if (strcmp(text, row->job) != 0 || strcmp(reason, row->reason) != 0 ||
            strcmp(summary, row->summary) != 0) {
            printf("#   expected [%s]\n#   %s\n#   %s\n", row->summary, row->job, row->reason);
            wrong++;
        }
    }
    fixture_clear(&f);
    assert_int_equal(wrong, 0);
}

/* ---- the pieces ---- */

static void test_temperatures(void **state)
{
    static const struct {
        double c;
        bool fahrenheit;
        const char *text;
    } cases[] = {
        {-2.4, false, "−2 °C"}, {-0.4, false, "0 °C"},  {-0.0, false, "0 °C"},
        {0.49, false, "0 °C"},  {-0.6, false, "−1 °C"}, {NAN, false, ""},
        {20.0, true, "68 °F"},  {-17.9, true, "0 °F"},  {-40.0, true, "−40 °F"},
        {11.5, false, "12 °C"},
    };
    (void)state;

    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        const Garden garden = {.fahrenheit = cases[i].fahrenheit};
        g_autofree char *text = wording_temperature(&garden, cases[i].c);
        assert_string_equal(text, cases[i].text);
    }
    g_autofree char *text = wording_temperature(NULL, 3.0);
    assert_string_equal(text, "3 °C");
}

static void test_odds(void **state)
{
    static const double edges[] = {0.01, 0.05, 0.10, 0.25, 0.50, 0.75};
    (void)state;

    assert_string_equal(wording_odds(0.0), "practically none");
    assert_string_equal(wording_odds(0.0099), "practically none");
    assert_string_equal(wording_odds(0.01), "1–5 %");
    assert_string_equal(wording_odds(0.3), "25–50 %");
    assert_string_equal(wording_odds(1.0), "over 75 %");
    assert_string_equal(wording_odds(NAN), "");
    for (int i = 0; i < (int)G_N_ELEMENTS(edges); i++) {
        /* near an edge the band stays what it was; well past it, it follows */
        assert_int_equal(wording_odds_band(edges[i] * 1.05, i), i);
        assert_int_equal(wording_odds_band(edges[i] * 0.95, i + 1), i + 1);
        assert_int_equal(wording_odds_band(edges[i] * 1.15, i), i + 1);
        assert_int_equal(wording_odds_band(edges[i] * 0.85, i + 1), i);
    }
    assert_int_equal(wording_odds_band(0.9, 0), 6);
    assert_int_equal(wording_odds_band(0.9, 99), 6);
    assert_int_equal(wording_odds_band(NAN, 3), -1);
}

static void test_times(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    g_autofree char *near_by = wording_when(&f.context, HOME, after(&f, 6, 30));
    g_autofree char *week = wording_when(&f.context, HOME, after(&f, 6 * 24, 0));
    g_autofree char *far = wording_when(&f.context, HOME, after(&f, 8 * 24 + 6, 30));
    g_autofree char *missing = wording_when(&f.context, HOME, 0);
    g_autofree char *nowhere = wording_when(&f.context, -1, after(&f, 6, 30));
    assert_string_equal(near_by, "Thu 18:30");
    assert_string_equal(week, "Wed 12:00");
    assert_string_equal(far, "Fri 24 Apr 18:30");
    assert_string_equal(missing, "");
    assert_string_equal(nowhere,
                        "Thu 17:30"); /* no site: UTC, an hour behind British summer time */
    fixture_clear(&f);
}

/* ---- a whole visit ---- */

static Job cover_job(const Fixture *f, int place, int position, LimitKind limit, int batch,
                     double otherwise)
{
    return (Job){.kind = JOB_SET_COVER,
                 .batch = -1,
                 .place = place,
                 .from_place = -1,
                 .position = position,
                 .reason = {.limit = limit,
                            .batch = batch,
                            .place = place,
                            .at_utc = after(f, 17, 30),
                            .predicted_c = 2.6,
                            .limit_c = -0.7,
                            .spread_k = 2.2,
                            .odds = 0.002,
                            .otherwise_c = otherwise,
                            .otherwise_odds = 0.6}};
}

static const char description[] =
    "Take along: bed-fleece.\n"
    "- Close the frame by 19:30. Otherwise the leaves of the tomatoes (tomato-1) may fall to "
    "about −2 °C early on Fri: odds of damage 50–75 %, with this done practically none.\n"
    "- Lay the bed-fleece over the cabbages. Otherwise the leaves of the cabbages may fall to "
    "about −4 °C early on Fri: odds of damage 50–75 %, with this done practically none.\n"
    "As planned: leaves of the tomatoes (tomato-1) about 3 °C early on Fri, give or take 2 °C, "
    "damage below −1 °C; leaves of the cabbages about 3 °C early on Fri, give or take 2 °C, damage "
    "below −1 °C.\n"
    "These are estimates: your own thermometer and the local forecast decide.\n"
    "Weather: forecast 31 h old.\n"
    "Caution: glass. Wear gloves and use both hands; a large light takes two people.";

static void test_description(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    Job jobs[] = {cover_job(&f, FRAME, 0, LIMIT_DAMAGE, TOMATO_1, -1.8),
                  cover_job(&f, FLEECE, 0, LIMIT_DAMAGE, CABBAGE_A, -4.0)};
    jobs[0].deadline_utc = after(&f, 7, 30);
    g_autofree char *text = wording_description(&f.context, &f.visit, jobs, 2, "forecast 31 h old");
    g_autofree char *summary = wording_summary(&f.context, &f.visit, jobs, 2);
    g_autofree char *alarm = wording_alarm(&f.context, &f.visit, jobs, 2);
    printf("# %s\n# %s\n", summary, alarm);
    g_auto(GStrv) lines = g_strsplit(text, "\n", -1);
    for (int i = 0; lines[i] != NULL; i++)
        printf("#   | %s\n", lines[i]);
    assert_string_equal(text, description);
    assert_string_equal(summary, "Close frame, bed-fleece on by 19:30");
    assert_string_equal(alarm, "Close frame, bed-fleece on by 19:30: home, 18:00");

    jobs[1].deadline_utc = after(&f, 6, 30); /* the sooner of the two that are shown */
    g_autofree char *sooner = wording_summary(&f.context, &f.visit, jobs, 2);
    assert_string_equal(sooner, "Lay bed-fleece on, close frame by 18:30");
    fixture_clear(&f);
}

static void test_many_jobs(void **state)
{
    Fixture f;
    Job jobs[8];
    (void)state;

    fixture_init(&f);
    for (int i = 0; i < 8; i++)
        jobs[i] = cover_job(&f, FRAME, i % 4, LIMIT_PROGRESS, TOMATO_1, NAN);
    jobs[7] = cover_job(&f, BOX, 0, LIMIT_DAMAGE, KALE_1, -3.0);
    jobs[7].guard = true;
    g_autofree char *text = wording_description(&f.context, &f.visit, jobs, 8, NULL);
    g_autofree char *summary = wording_summary(&f.context, &f.visit, jobs, 8);
    g_auto(GStrv) items = g_strsplit(text, "- ", -1); /* the pressing one is in, as one walks */
    assert_int_equal(g_strv_length(items), 1 + 5);
    assert_true(g_str_has_prefix(items[5], "Close box-1."));
    assert_non_null(strstr(text, "And 3 more: \"tholectl today\" lists them."));
    assert_string_equal(summary, "Close box-1, close frame (−3° tonight) +6");
    g_autofree char *nothing = wording_summary(&f.context, &f.visit, NULL, 0);
    assert_string_equal(nothing, "Nothing to do");
    fixture_clear(&f);
}

/* Each caution where it applies, and only there. */
static void test_cautions(void **state)
{
    static const struct {
        const char *sentence;
        JobKind kind;
        int place, from;
        LimitKind limit;
        bool glass, wind, fuel, mains, hotter;
    } cases[] = {
        {"a glass light is lifted", JOB_SET_COVER, FRAME, -1, LIMIT_PROGRESS, true, false, false,
         false, false},
        {"a plastic lid is not glass", JOB_SET_COVER, BOX, -1, LIMIT_PROGRESS, false, false, false,
         false, false},
        {"vents are not lifted", JOB_SET_COVER, GREENHOUSE, -1, LIMIT_PROGRESS, false, false, false,
         false, false},
        {"a sheet in gusts", JOB_SET_COVER, FLEECE, -1, LIMIT_GUST, false, true, false, false,
         false},
        {"out of the propagator", JOB_MOVE, SILL, PROPAGATOR, LIMIT_PROGRESS, false, false, false,
         true, false},
        {"no heat in a frame", JOB_RESCUE, FRAME, -1, LIMIT_DAMAGE, false, false, false, false,
         false},
        {"a little heat in the tunnel", JOB_RESCUE, TUNNEL, -1, LIMIT_DAMAGE, false, false, true,
         true, false},
        {"a box in the tunnel", JOB_RESCUE, INNER, -1, LIMIT_DAMAGE, false, false, true, true,
         false},
        {"nor against heat", JOB_RESCUE, TUNNEL, -1, LIMIT_HEAT, false, false, false, false, true},
        {"nor to shut it", JOB_SET_COVER, TUNNEL, -1, LIMIT_DAMAGE, false, false, false, false,
         false},
        {"hot under a lid", JOB_SET_COVER, BOX, -1, LIMIT_HEAT, false, false, false, false, true},
    };
    Fixture f;
    (void)state;

    fixture_init(&f);
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        Job job = cover_job(&f, cases[i].place, 0, cases[i].limit, BEANS, NAN);
        job.kind = cases[i].kind;
        job.from_place = cases[i].from;
        job.batch = BEANS;
        job.urgent = job.kind == JOB_RESCUE;
        g_autofree char *text = wording_description(&f.context, &f.visit, &job, 1, NULL);
        print_message("# %s\n", cases[i].sentence);
        assert_int_equal(strstr(text, "gloves") != NULL, cases[i].glass);
        assert_int_equal(strstr(text, "Caution: wind") != NULL, cases[i].wind);
        assert_int_equal(strstr(text, "carbon monoxide") != NULL, cases[i].fuel);
        assert_int_equal(strstr(text, "RCD") != NULL, cases[i].mains);
        assert_int_equal(strstr(text, "in one case of ten") != NULL, cases[i].hotter);
        assert_int_equal(strstr(text, "a little heat") != NULL, cases[i].fuel);
    }
    fixture_clear(&f);
}

/* A risk a little above what is accepted is told calmly, and gives way to what presses. */
static void test_calm_rescue(void **state)
{
    Fixture f;
    (void)state;
    fixture_init(&f);
    f.garden.risk.damage = 0.01;
    Job jobs[] = {cover_job(&f, FLEECE, -1, LIMIT_DAMAGE, CABBAGE_A, NAN),
                  cover_job(&f, FRAME, 0, LIMIT_DAMAGE, TOMATO_1, -1.8)};
    jobs[0].kind = JOB_RESCUE;
    jobs[0].batch = CABBAGE_A;
    jobs[0].deadline_utc = after(&f, 14, 30);
    jobs[0].reason.odds = 0.03;
    jobs[1].guard = true;
    g_autofree char *text = wording_visit_job(&f.context, &f.visit, &jobs[0]);
    g_autofree char *reason = wording_reason(&f.context, &jobs[0]);
    g_autofree char *alone = wording_summary(&f.context, &f.visit, jobs, 1);
    g_autofree char *both = wording_summary(&f.context, &f.visit, jobs, 2);
    printf("# [%s]\n# %s %s\n", alone, text, reason);
    assert_string_equal(text, "A second fleece over the cabbages would help in the night to Fri: "
                              "odds of damage 1–5 %, you accept 1 %.");
    assert_string_equal(reason, "Their leaves may fall to about 3 °C early on Fri.");
    g_autofree char *take = wording_take_along(&f.context, &f.visit, jobs, 1);
    assert_string_equal(take, "a fleece");
    assert_string_equal(alone, "Lay fleece over cabbages (3° tonight)");
    assert_true(g_str_has_prefix(both, "Close frame"));
    jobs[0].place = FRAME;
    g_autofree char *bare = wording_job(&f.context, &jobs[0]);
    assert_true(g_str_has_prefix(bare, "A fleece over the cabbages would help"));
    fixture_clear(&f);
}

/* A cover that was wider open comes down; one that was not, or of which nothing is known, goes up.
 */
static void test_comes_down(void **state)
{
    static const struct {
        int place, from, to;
        const char *job, *summary;
    } cases[] = {
        {FRAME, -1, 2, "Prop the frame 20 cm.", "Prop frame 20 cm"},
        {FRAME, 0, 2, "Prop the frame 20 cm.", "Prop frame 20 cm"},
        {FRAME, 2, 1, "Lower the light of the frame to 10 cm.", "Lower frame to 10 cm"},
        {FRAME, 3, 2, "Put the light back on the frame, propped 20 cm.",
         "Put light on frame, 20 cm"},
        {BOX, 3, 1, "Put the lid back on box-1, propped 10 cm.", "Put lid on box-1, 10 cm"},
        {FRAME, 3, 0, "Close the frame.", "Close frame"},
        {FRAME, 99, 2, "Prop the frame 20 cm.", "Prop frame 20 cm"},
    };
    Fixture f;
    (void)state;

    fixture_init(&f);
    for (gsize i = 0; i < G_N_ELEMENTS(cases); i++) {
        Job job = cover_job(&f, cases[i].place, cases[i].to, LIMIT_NONE, -1, NAN);
        job.from_position = cases[i].from;
        g_autofree char *text = wording_job(&f.context, &job);
        g_autofree char *summary = wording_summary(&f.context, &f.visit, &job, 1);
        assert_string_equal(text, cases[i].job);
        assert_string_equal(summary, cases[i].summary);
    }
    fixture_clear(&f);
}

/* Two batches that go the same way share a verb. */
static void test_moves_together(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    Job jobs[] = {cover_job(&f, SILL, -1, LIMIT_DAMAGE, TOMATO_1, NAN),
                  cover_job(&f, SILL, -1, LIMIT_DAMAGE, BEANS, NAN),
                  cover_job(&f, BOX, 0, LIMIT_NONE, -1, NAN)};
    for (int i = 0; i < 2; i++) {
        jobs[i].kind = JOB_TRANSFER;
        jobs[i].from_place = TUNNEL;
        jobs[i].batch = i == 0 ? TOMATO_1 : BEANS;
    }
    g_autofree char *text = wording_summary(&f.context, &f.visit, jobs, 3);
    g_autofree char *numbers = wording_description(&f.context, &f.visit, jobs, 2, NULL);
    assert_true(g_str_has_prefix(text, "Carry tomatoes and French beans to sill"));
    assert_true(g_str_has_suffix(text, " +1"));
    assert_null(strstr(numbers, "As planned")); /* indoors no leaf is near its limit */
    jobs[1].place = BOX;
    g_autofree char *apart = wording_summary(&f.context, &f.visit, jobs, 3);
    assert_true(g_str_has_prefix(apart, "Carry tomatoes to sill"));
    fixture_clear(&f);
}

static void test_luggage(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    Job job = {
        .kind = JOB_TRANSFER,
        .batch = TOMATO_1,
        .place = TUNNEL,
        .from_place = FRAME,
        .position = -1,
        .reason = {.batch = -1, .place = -1, .odds = NAN, .otherwise_c = NAN, .predicted_c = NAN}};
    f.visit.site = PLOT;
    g_autofree char *there = wording_description(&f.context, &f.visit, &job, 1, NULL);
    assert_true(g_str_has_prefix(
        there, "Take along: the 12 tomatoes (tomato-1) in 2 trays. Leave at 17:40.\nCarry"));
    job.place = SILL;
    job.from_place = TUNNEL;
    g_autofree char *back = wording_description(&f.context, &f.visit, &job, 1, NULL);
    assert_true(g_str_has_prefix(back, "Take along: room for 2 trays on the way back. Leave at"));
    fixture_clear(&f);
}

static void test_substance(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    Job jobs[] = {
        cover_job(&f, FRAME, 0, LIMIT_DAMAGE, TOMATO_1, -1.8),
        {.kind = JOB_MOVE, .batch = TOMATO_2, .place = FRAME, .from_place = SILL, .position = -1}};
    jobs[0].deadline_utc = after(&f, 7, 30);
    g_autofree char *first = wording_substance(&f.context, &f.visit, jobs, 2);

    /* figures, reasons, order and the visit's time do not matter */
    const Job turned[] = {jobs[1], jobs[0]};
    jobs[0].reason.otherwise_c = -9.0;
    jobs[0].reason.limit = LIMIT_CHECK;
    jobs[0].deadline_utc += 20 * 60;
    f.visit.start_utc += 3600;
    g_autofree char *figures = wording_substance(&f.context, &f.visit, jobs, 2);
    g_autofree char *order = wording_substance(&f.context, &f.visit, turned, 2);
    assert_string_equal(figures, first);
    assert_string_equal(order, first);

    /* what is to be done does */
    Job changed[5][2];
    for (int i = 0; i < 5; i++)
        memcpy(changed[i], jobs, sizeof jobs);
    changed[0][0].position = 1;
    changed[1][0].place = BOX;
    changed[2][1].batch = TOMATO_1;
    changed[3][1].kind = JOB_TRANSFER;
    changed[4][0].deadline_utc += 1800;
    for (int i = 0; i < 5; i++) {
        g_autofree char *other = wording_substance(&f.context, &f.visit, changed[i], 2);
        assert_string_not_equal(other, first);
    }
    g_autofree char *fewer = wording_substance(&f.context, &f.visit, jobs, 1);
    assert_string_not_equal(fewer, first);
    fixture_clear(&f);
}

/* ---- outlooks ---- */

#define IN_DAYS(d) after(&f, (d)*24, 0)

/* What holds tomato-1 back. */
static Reason bound_by(LimitKind limit, int place, double predicted_c, double limit_c,
                       int64_t at_utc)
{
    return (Reason){.limit = limit,
                    .batch = TOMATO_1,
                    .place = place,
                    .predicted_c = predicted_c,
                    .limit_c = limit_c,
                    .at_utc = at_utc};
}

static void test_outlook(void **state)
{
    Fixture f;
    (void)state;

    fixture_init(&f);
    BatchOutlook o = {.batch = TOMATO_1,
                      .allowed_low_c = 6.2,
                      .floor_c = 6.0,
                      .damage_c = -0.7,
                      .tonight_cold_c = 8.1,
                      .tonight_leaf_c = 5.0,
                      .tonight_spread_k = 2.0,
                      .damage_odds = 0.002,
                      .ready_utc = IN_DAYS(8),
                      .not_before = true,
                      .bound = {.limit = LIMIT_EXPOSURE,
                                .batch = TOMATO_1,
                                .place = -1,
                                .predicted_c = 5.0,
                                .limit_c = 6.0,
                                .odds = NAN,
                                .otherwise_c = NAN}};
    const struct {
        const char *expected;
        int batch;
        Reason bound;
    } bounds[] = {
        {"It needs 6 days in the open: 3 used so far.", TOMATO_1, o.bound},
        {"It needs 3 nights of the last 5 with no more cover than in the long-bed; as planned it "
         "has had 1.",
         TOMATO_1, bound_by(LIMIT_NIGHTS, -1, 1, 3, 0)},
        {"It had a check and rests, with no colder nights, until Sat 18 Apr.", TOMATO_1,
         bound_by(LIMIT_HOLD, -1, NAN, NAN, IN_DAYS(2))},
        {"It settles after pricking out or potting on until Sun 19 Apr.", TOMATO_1,
         bound_by(LIMIT_SETTLING, -1, NAN, NAN, IN_DAYS(3))},
        {"The plants are not large enough to plant before Sun 26 Apr.", TOMATO_1,
         bound_by(LIMIT_SIZE, -1, NAN, NAN, IN_DAYS(10))},
        {"The ground of the long-bed is about 8 °C at 08:00 and must be 12 °C for planting.",
         TOMATO_1, bound_by(LIMIT_SOIL, BED, 8.2, 12.0, 0)},
        {"In the long-bed it may be 3 °C in the night to Fri, and the tomatoes (tomato-1) bear 6 "
         "°C.",
         TOMATO_1, bound_by(LIMIT_DESTINATION, BED, 3.2, 6.0, after(&f, 17, 30))},
        {"In the long-bed it may be 1 °C in the night to Fri, too near the −1 °C that the tomatoes "
         "(tomato-1) bear.",
         TOMATO_1, bound_by(LIMIT_DESTINATION, BED, 1.2, -0.7, after(&f, 17, 30))},
        {"No destination has been named yet.", TOMATO_1,
         bound_by(LIMIT_DESTINATION, -1, NAN, NAN, 0)},
        {"It is planted out: only frost counts now.",
         CABBAGE_A,
         {.limit = LIMIT_NONE, .batch = -1, .place = -1}},
    };
    g_autofree char *line = wording_outlook(&f.context, &f.batches[TOMATO_1], &o);
    printf("# %s\n", line);
    assert_string_equal(
        line, "tomato-1, 12 tomatoes: hardening, bears 9 °C; tonight 6 °C is allowed, about 8 °C "
              "expected; ready not before Fri 24 Apr: it needs more days in the open.");
    for (gsize i = 0; i < G_N_ELEMENTS(bounds); i++) {
        o.bound = bounds[i].bound;
        g_autofree char *text = wording_bound(&f.context, &f.batches[bounds[i].batch], &o);
        printf("# %s\n", text);
        assert_string_equal(text, bounds[i].expected);
    }
    o.ready_utc = f.context.now_utc;
    o.not_before = false;
    g_autofree char *ready = wording_outlook(&f.context, &f.batches[BEANS], &o);
    g_autofree char *planted = wording_outlook(&f.context, &f.batches[CABBAGE_A], &o);
    printf("# %s\n# %s\n", ready, planted);
    assert_true(g_str_has_suffix(ready, "; ready to plant."));
    assert_string_equal(
        planted,
        "cabbages, 24 cabbages: planted out; tonight leaves about 5 °C, damage below −1 °C.");
    fixture_clear(&f);
}

/* ---- anything at all ---- */

static double any_double(GRand *rand)
{
    static const double odd[] = {NAN, INFINITY, -INFINITY, -0.0, -0.4, 0.0, 1e300, -1e300};
    const int pick = g_rand_int_range(rand, 0, 16);

    return pick < (int)G_N_ELEMENTS(odd) ? odd[pick] : g_rand_double_range(rand, -30.0, 50.0);
}

static int64_t any_time(const Fixture *f, GRand *rand)
{
    static const int64_t odd[] = {0, -1, INT64_MAX, INT64_MIN, 1};
    const int pick = g_rand_int_range(rand, 0, 20);

    return pick < (int)G_N_ELEMENTS(odd)
               ? odd[pick]
               : f->context.now_utc + g_rand_int_range(rand, -900000, 900000);
}

static Job any_job(const Fixture *f, GRand *rand)
{
    Job job = {.kind = (JobKind)g_rand_int_range(rand, 0, JOB_PROTECT + 1),
               .batch = g_rand_int_range(rand, -1, N_BATCHES + 1),
               .place = g_rand_int_range(rand, -1, N_PLACES + 1),
               .from_place = g_rand_int_range(rand, -1, N_PLACES + 1),
               .position = g_rand_int_range(rand, -1, POSITIONS_MAX + 1),
               .from_position = g_rand_int_range(rand, -1, POSITIONS_MAX + 1),
               .deadline_utc = any_time(f, rand),
               .guard = g_rand_boolean(rand),
               .urgent = g_rand_boolean(rand)};
    job.reason = (Reason){.limit = (LimitKind)g_rand_int_range(rand, 0, LIMIT_DAYLIGHT + 1),
                          .batch = g_rand_int_range(rand, -1, N_BATCHES + 1),
                          .place = g_rand_int_range(rand, -1, N_PLACES + 1),
                          .at_utc = any_time(f, rand),
                          .predicted_c = any_double(rand),
                          .limit_c = any_double(rand),
                          .spread_k = any_double(rand),
                          .otherwise_c = any_double(rand),
                          .odds = g_rand_boolean(rand) ? NAN : g_rand_double(rand),
                          .otherwise_odds = g_rand_boolean(rand) ? NAN : g_rand_double(rand),
                          .estimated = (uint32_t)g_rand_int_range(rand, 0, 64)};
    return job;
}

/* Names as long as they get, cut in the middle of a letter, or missing. */
static void spoil_names(Fixture *f, GRand *rand)
{
    char *const names[] = {f->places[FRAME].name,     f->places[BED].name,
                           f->batches[TOMATO_1].name, f->crops[CABBAGE].title,
                           f->sites[PLOT].name,       f->places[FRAME].cover.positions[1].name,
                           f->places[SHEET_2].name,   f->containers[0].name};

    for (gsize i = 0; i < G_N_ELEMENTS(names); i++) {
        switch (g_rand_int_range(rand, 0, 4)) {
        case 0:
            for (int k = 0; k < NAME_SIZE - 1; k++)
                names[i][k] = "ü-"[(k + (int)i) % 3];
            names[i][NAME_SIZE - 1] = '\0';
            break;
        case 1:
            names[i][0] = '\0';
            break;
        case 2:
            memset(names[i], 'w', NAME_SIZE); /* not even a zero at the end */
            break;
        default:
            break;
        }
    }
}

static void assert_readable(const char *text, const char *what)
{
    static const char *const never[] = {"nan",    "inf ", "-0", "−0",  "  ",     "%s",   "%d",
                                        "(null)", " .",   " ,", "()",  "LIMIT_", "JOB_", "sigma",
                                        "!",      ",,",   "..", "; ;", " :",     "by ."};

    if (*text == '\0' || !g_utf8_validate(text, -1, NULL))
        fail_msg("%s is empty or not UTF-8: %s", what, text);
    for (gsize i = 0; i < G_N_ELEMENTS(never); i++) {
        if (strstr(text, never[i]) != NULL)
            fail_msg("%s has \"%s\": %s", what, never[i], text);
    }
    if (text[strlen(text) - 1] == ' ')
        fail_msg("%s ends in a space: %s", what, text);
}

static void test_anything(void **state)
{
    const guint32 seed = g_random_int();
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    (void)state;

    printf("# seed %u\n", seed);
    for (int left = fixture_rounds(4000); left > 0; left--) {
        Fixture f;
        Job jobs[8];
        const int n = g_rand_int_range(rand, 0, 9);
        fixture_init(&f);
        spoil_names(&f, rand);
        f.garden.fahrenheit = g_rand_boolean(rand);
        f.visit.start_utc = any_time(&f, rand);
        f.visit.site = g_rand_int_range(rand, -1, N_SITES + 1);
        for (int i = 0; i < N_BATCHES; i++)
            f.batches[i].number = g_rand_int_range(rand, -1, 3);
        for (int i = 0; i < n; i++) {
            jobs[i] = any_job(&f, rand);
            g_autofree char *job = wording_job(&f.context, &jobs[i]);
            g_autofree char *reason = wording_reason(&f.context, &jobs[i]);
            g_autofree char *plain =
                wording_reason_plain(&f.context, &jobs[i].reason, f.visit.site);
            assert_readable(job, "job");
            assert_readable(reason, "reason");
            assert_readable(plain, "plain reason");
        }
        const Visit *visit = g_rand_int_range(rand, 0, 8) == 0 ? NULL : &f.visit;
        g_autofree char *summary = wording_summary(&f.context, visit, jobs, n);
        g_autofree char *alarm = wording_alarm(&f.context, visit, jobs, n);
        g_autofree char *text = wording_description(&f.context, visit, jobs, n, NULL);
        g_autofree char *substance = wording_substance(&f.context, visit, jobs, n);
        assert_readable(summary, "summary");
        assert_readable(alarm, "alarm");
        assert_readable(text, "description");
        assert_true(g_utf8_validate(substance, -1, NULL));
        if (g_utf8_strlen(summary, -1) > WORDING_SUMMARY_MAX)
            fail_msg("summary too long: %s", summary);
        assert_null(strstr(text, "\n6. "));
        const BatchOutlook o = {.may_harden = g_rand_boolean(rand),
                                .allowed_low_c = any_double(rand),
                                .tonight_cold_c = any_double(rand),
                                .tonight_leaf_c = any_double(rand),
                                .damage_c = any_double(rand),
                                .damage_odds = g_rand_double(rand),
                                .ready_utc = any_time(&f, rand),
                                .not_before = g_rand_boolean(rand),
                                .bound = any_job(&f, rand).reason};
        Batch *batch = &f.batches[g_rand_int_range(rand, 0, N_BATCHES)];
        batch->stage = (Stage)g_rand_int_range(rand, 0, STAGE_ENDED + 1);
        batch->destination = g_rand_int_range(rand, -1, N_PLACES + 1);
        g_autofree char *line = wording_outlook(&f.context, batch, &o);
        g_autofree char *bound = wording_bound(&f.context, batch, &o);
        assert_readable(line, "outlook");
        assert_readable(bound, "bound");
        fixture_clear(&f);
    }
}

/* A figure moved within its whole degree, and odds within their band, change no letter. */
static void test_steady(void **state)
{
    const guint32 seed = g_random_int();
    g_autoptr(GRand) rand = g_rand_new_with_seed(seed);
    Fixture f;
    (void)state;

    printf("# seed %u\n", seed);
    fixture_init(&f);
    for (int left = fixture_rounds(2000); left > 0; left--) {
        Job job = any_job(&f, rand), moved;
        Reason *r = &job.reason;
        r->predicted_c = g_rand_int_range(rand, -10, 40);
        r->limit_c = g_rand_int_range(rand, -10, 40);
        r->otherwise_c = g_rand_int_range(rand, -10, 40);
        r->spread_k = g_rand_int_range(rand, 1, 5);
        r->odds = 0.03;
        r->otherwise_odds = 0.3;
        moved = job;
        moved.reason.predicted_c += g_rand_double_range(rand, -0.45, 0.45);
        moved.reason.otherwise_c += g_rand_double_range(rand, -0.45, 0.45);
        moved.reason.spread_k += g_rand_double_range(rand, -0.45, 0.45);
        moved.reason.odds += g_rand_double_range(rand, -0.015, 0.015);
        moved.reason.otherwise_odds += g_rand_double_range(rand, -0.04, 0.15);
        g_autofree char *before = wording_description(&f.context, &f.visit, &job, 1, NULL);
        g_autofree char *after_it = wording_description(&f.context, &f.visit, &moved, 1, NULL);
        g_autofree char *short_before = wording_summary(&f.context, &f.visit, &job, 1);
        g_autofree char *short_after = wording_summary(&f.context, &f.visit, &moved, 1);
        assert_string_equal(before, after_it);
        assert_string_equal(short_before, short_after);
    }
    fixture_clear(&f);
}

/* Every value of each list has a word of its own. */
static void test_words(void **state)
{
    g_autoptr(GHashTable) seen = g_hash_table_new(g_str_hash, g_str_equal);
    (void)state;

    for (int i = 0; i <= STAGE_ENDED; i++)
        assert_true(g_hash_table_add(seen, (char *)wording_stage((Stage)i)));
    g_hash_table_remove_all(seen);
    for (int i = 0; i <= LIMIT_DAYLIGHT; i++)
        assert_true(g_hash_table_add(seen, (char *)wording_limit((LimitKind)i)));
    g_hash_table_remove_all(seen);
    for (int i = 0; i <= PLACE_BED; i++)
        assert_true(g_hash_table_add(seen, (char *)wording_place_kind((PlaceKind)i)));
}

/* Places with their prepositions, and plants that are new to the reader. */
static void test_names(void **state)
{
    static const struct {
        int place;
        const char *where;
    } places[] = {
        {SILL, "on the sill"},      {FRAME, "in the frame"},
        {BOX, "in box-1"},          {FLEECE, "under the bed-fleece"},
        {SHEET_2, "under sheet-2"}, {BED, "in the long-bed"},
        {-1, "in its place"},       {N_PLACES, "in its place"},
    };
    static const struct {
        int crop, number;
        const char *name, *words;
    } plants[] = {
        {TOMATO, 12, "tomato-1", "12 tomatoes (tomato-1)"},
        {TOMATO, 1, "tomato-1", "1 tomato (tomato-1)"},
        {TOMATO, 12, "tomatoes", "12 tomatoes"},
        {KALE, 9, "early", "9 kale plants (early)"},
        {-1, 2, "early", "2 plants (early)"},
    };
    Fixture f;
    (void)state;

    fixture_init(&f);
    for (gsize i = 0; i < G_N_ELEMENTS(places); i++) {
        g_autofree char *where = wording_where(&f.context, places[i].place);
        assert_string_equal(where, places[i].where);
    }
    for (gsize i = 0; i < G_N_ELEMENTS(plants); i++) {
        Batch batch = {.crop = plants[i].crop, .number = plants[i].number};
        g_strlcpy(batch.name, plants[i].name, NAME_SIZE);
        g_autofree char *words = wording_plants(&f.context, &batch);
        assert_string_equal(words, plants[i].words);
    }
    fixture_clear(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sentences),   cmocka_unit_test(test_temperatures),
        cmocka_unit_test(test_odds),        cmocka_unit_test(test_times),
        cmocka_unit_test(test_description), cmocka_unit_test(test_many_jobs),
        cmocka_unit_test(test_cautions),    cmocka_unit_test(test_calm_rescue),
        cmocka_unit_test(test_comes_down),  cmocka_unit_test(test_moves_together),
        cmocka_unit_test(test_luggage),     cmocka_unit_test(test_substance),
        cmocka_unit_test(test_outlook),     cmocka_unit_test(test_anything),
        cmocka_unit_test(test_steady),      cmocka_unit_test(test_words),
        cmocka_unit_test(test_names),
    };
    return cmocka_run_group_tests_name("wording", tests, NULL, NULL);
}
