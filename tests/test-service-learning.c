/* SPDX-License-Identifier: MIT */
/* What the service learns from readings, and what a reading of this evening changes. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <math.h>
#include <string.h>

#include "service-world.h"
#include "service/api-nights.h"
#include "service/desktop-wanted.h"
#include "service/forecasts.h"
#include "service/reading.h"
#include "service/wording-names.h"
#include "service/wording-notice.h"
#include "service/wording-reading.h"
#include "store/store-garden-events.h"

#define START "2026-04-08T16:00:00Z" /* a Wednesday, 17:00 in London */

static const WorldWeather cool = {.low_c = 3, .high_c = 14};
static const WorldWeather cold = {.low_c = 2, .high_c = 13}; /* the frame stays shut by night */

static World *begin_stage(const WorldWeather *weather, Stage stage, int age_days)
{
    World *w = world_new(world_garden, START);
    world_start(w);
    world_forecast(w, weather);
    world_add_batch(w, "lettuce", 24, "frame", stage, age_days);
    return w;
}

static World *begin(const WorldWeather *weather)
{
    return begin_stage(weather, STAGE_HARDENING, 50);
}

static int place(const World *w, const char *name)
{
    return garden_find_place(w->service->garden, name);
}

/* A reading now; what was said of it, with a new plan. */
static char *take(World *w, const char *name, StoreReadingKind kind, double value_c, gboolean moved,
                  ReadingTaken *ret)
{
    g_autoptr(GError) error = NULL;
    int site = garden_find_site(w->service->garden, name);
    const ReadingAsked asked = {.place = site >= 0 ? -1 : place(w, name),
                                .site = site,
                                .kind = kind,
                                .time_utc = world_now(w),
                                .value_c = value_c,
                                .moved = moved};
    if (!reading_take(w->service, &asked, ret, &error))
        fail_msg("%s", error->message);
    g_autofree char *said = wording_reading(w->service, ret);
    service_ask_plan(w->service, "reading");
    world_run_for(w, 0);
    g_autofree char *night = wording_reading_night(w->service, ret);
    print_message("%s | %s\n", said, night);
    return g_strdup_printf("%s\n%s", said, night != NULL ? night : "");
}

static const CoverError *of_place(const World *w, const char *name, int position)
{
    return &forecasts_learned(w->service->forecasts)
                ->covers[place(w, name) * POSITIONS_MAX + position];
}

/* To 08:30 in London on the next morning. */
static void next_morning(World *w)
{
    world_run(w, world_now(w) / DAY_S * DAY_S + DAY_S + 7 * HOUR_S + HOUR_S / 2);
}

/* Mornings in which the frame was `off_k` warmer than reckoned, each with a new forecast. */
static void mornings(World *w, int n, double off_k, ReadingTaken *ret)
{
    for (int i = 0; i < n; i++) {
        next_morning(w);
        g_autofree char *first = take(w, "frame", STORE_READING_MINIMUM, 4.0, FALSE, ret);
        double reckoned_c = ret->reading.basis.computed_c - ret->reading.basis.bias_k;
        g_autofree char *said =
            take(w, "frame", STORE_READING_MINIMUM, reckoned_c + off_k, FALSE, ret);
        world_run(w, world_now(w) + 9 * HOUR_S); /* 17:30 */
        world_forecast(w, &cold);
    }
}

static void test_a_warm_frame(void **state)
{
    (void)state;
    ReadingTaken taken;
    /* Too young to harden: it stays where it is, and the frame is set the same every night. */
    World *w = begin_stage(&cold, STAGE_GROWING_ON, 10);
    const double prior_k = of_place(w, "frame", 0)->of[EXTREME_LOW].spread_k;
    mornings(w, 1, 1.4, &taken);
    assert_int_equal(taken.use, USE_LEARNED);
    const LearnedError *one = &of_place(w, "frame", taken.reading.basis.position)->of[EXTREME_LOW];
    double first_k = one->bias_k;
    assert_true(one->n == 1 && first_k > 0.05 && first_k < 1.4);
    mornings(w, 9, 1.4, &taken);
    const LearnedError *ten = &of_place(w, "frame", taken.reading.basis.position)->of[EXTREME_LOW];
    assert_int_equal(ten->n, 10);
    assert_true(ten->bias_k > first_k && fabs(ten->bias_k - 1.4) < 0.7 && ten->spread_k < prior_k);

    /* The store's readings are the one truth: a new start learns the same. */
    double bias_k = ten->bias_k;
    world_stop(w);
    world_start(w);
    ten = &of_place(w, "frame", taken.reading.basis.position)->of[EXTREME_LOW];
    assert_true(fabs(ten->bias_k - bias_k) < 0.01 && ten->n == 10);

    /* A thermometer that was moved begins again. */
    next_morning(w);
    g_autofree char *said = take(w, "frame", STORE_READING_INSTANT, 6.0, TRUE, &taken);
    assert_non_null(strstr(said, "what was learned of frame before is laid aside"));
    assert_int_equal(of_place(w, "frame", 0)->of[EXTREME_LOW].n, 0);
    world_free(w);
}

static void test_a_cover_that_was_moved(void **state)
{
    (void)state;
    ReadingTaken taken;
    g_autoptr(GError) error = NULL;
    World *w = begin(&cool);
    world_run(w, world_utc("2026-04-08T23:00:00Z"));
    const StorePosition open = {place(w, "frame"), 2, world_now(w), true};
    assert_true(store_begin(w->service->store, &error) &&
                store_put_position(w->service->store, w->service->garden, &open, &error) &&
                store_commit(w->service->store, &error));
    next_morning(w);
    g_autofree char *said = take(w, "frame", STORE_READING_MINIMUM, 4.0, FALSE, &taken);
    assert_int_equal(taken.use, USE_MOVED);
    assert_non_null(strstr(said, "nothing is learned from it"));
    assert_int_equal(of_place(w, "frame", 0)->of[EXTREME_LOW].n, 0);
    world_free(w);
}

/* Forecast 3, read 0.5 at 21:00. */
static void test_an_evening(void **state)
{
    (void)state;
    ReadingTaken taken;
    World *w = begin(&cool);
    world_run(w, world_utc("2026-04-08T20:00:00Z"));
    const StoreReading open = {.reading = {-1, world_now(w), 0}, .site = 1};
    const StoreReading frame = {.reading = {place(w, "frame"), world_now(w), 0}, .site = -1};
    ReadingNight before = reading_night(w->service, &open),
                 covered = reading_night(w->service, &frame);
    g_autofree char *said = take(w, "plot", STORE_READING_INSTANT, 4.0, FALSE, &taken);
    ReadingNight after = reading_night(w->service, &open);
    assert_int_equal(taken.use, USE_NOW);
    assert_true(taken.reading.basis.computed_c > 5.0);
    assert_true(after.low_c < before.low_c - 0.3 && after.frost_odds > before.frost_odds);
    assert_true(reading_night(w->service, &frame).low_c < covered.low_c - 0.2);

    /* Under the cover it is known better than by both parts. */
    g_autofree char *again =
        take(w, "frame", STORE_READING_INSTANT, covered.low_c + 1.0, FALSE, &taken);
    assert_true(isfinite(taken.reading.basis.computed_c));
    /* It is said again after a new start, and fades. */
    ReadingNight told = reading_night(w->service, &frame);
    world_stop(w);
    world_start(w);
    world_forecast(w, &cool);
    assert_true(fabs(reading_night(w->service, &frame).low_c - told.low_c) < 0.2);
    next_morning(w);
    world_run_for(w, DAY_S / 2);
    world_forecast(w, &cool);
    assert_true(fabs(reading_night(w->service, &open).low_c - before.low_c) < 0.2);
    world_free(w);
}

static void test_the_open_air(void **state)
{
    (void)state;
    ReadingTaken taken;
    World *w = begin(&cool);
    for (int i = 0; i < 8; i++) {
        next_morning(w);
        g_autofree char *said =
            take(w, i < 4 ? "plot" : "bed", STORE_READING_MINIMUM, 1.0, FALSE, &taken);
        assert_int_equal(taken.use, USE_LEARNED);
        world_run(w, world_now(w) + 9 * HOUR_S);
        world_forecast(w, &cool);
    }
    const LearnedSite *site = &forecasts_learned(w->service->forecasts)->sites[1];
    assert_int_equal(site->open_air.used, 8);
    assert_true(site->lead[0][EXTREME_LOW].n == 8 && site->lead[0][EXTREME_LOW].bias_k < -0.8);
    assert_true(site->lead[0][EXTREME_HIGH].n == 0);
    assert_true(site->lead[3][EXTREME_LOW].n > 0);
    /* Each lead day learns by its own forecasts, and what was learned outlives a new start. */
    double bias_k = site->lead[0][EXTREME_LOW].bias_k;
    world_stop(w);
    world_start(w);
    world_forecast(w, &cool);
    site = &forecasts_learned(w->service->forecasts)->sites[1];
    assert_true(fabs(site->lead[0][EXTREME_LOW].bias_k - bias_k) < 0.05);
    /* What is planned from is colder than the forecast, and the home site is as forecast. */
    const StoreReading open = {.reading = {-1, 0, 0}, .site = 1}, home = {.reading = {-1, 0, 0}};
    assert_true(reading_night(w->service, &open).low_c <
                reading_night(w->service, &home).low_c - 0.8);
    g_autofree char *said = take(w, "plot", STORE_READING_INSTANT, 9.0, TRUE, &taken);
    assert_non_null(strstr(said, "what was learned of plot before is laid aside"));
    site = &forecasts_learned(w->service->forecasts)->sites[1];
    assert_true(site->lead[0][EXTREME_LOW].n == 0 && site->open_air.used == 0);
    world_free(w);
}

/* A minimum read once a week is of the one cold night of it; of nights alike it is of none. */
static void test_once_a_week(void **state)
{
    (void)state;
    static const WorldWeather one_cold = {.low_c = 5, .high_c = 14, .cold_day = 3, .cold_c = -3};
    ReadingTaken taken;
    World *w = begin(&cool);
    next_morning(w);
    g_autofree char *first = take(w, "plot", STORE_READING_MINIMUM, 2.5, FALSE, &taken);
    assert_int_equal(taken.use, USE_LEARNED);
    const int32_t first_day = learned_span(w->service, &taken.reading).day;
    world_forecast(w, &one_cold);
    for (int i = 0; i < 6; i++) {
        next_morning(w);
        if (i == 0) /* the forecast of each day knows the same night */
            world_forecast(w,
                           &(WorldWeather){.low_c = 5, .high_c = 14, .cold_day = 2, .cold_c = -3});
        if (i == 1)
            world_forecast(w,
                           &(WorldWeather){.low_c = 5, .high_c = 14, .cold_day = 1, .cold_c = -3});
        if (i == 2)
            world_forecast(w, &(WorldWeather){.low_c = 5, .high_c = 14});
    }
    g_autofree char *said = take(w, "plot", STORE_READING_MINIMUM, -4.0, FALSE, &taken);
    assert_int_equal(taken.use, USE_LEARNED);
    assert_int_equal(taken.nights, 6);
    assert_int_equal(taken.reading.day, first_day + 3);
    assert_non_null(strstr(said, "Of the 6 nights since it was reset, the one that began on Sat 11 "
                                 "Apr was reckoned clearly the coldest."));
    assert_float_equal(taken.reading.basis.computed_c, -3.0, 1.0);
    assert_true(taken.learned.bias_k < taken.learned_before.bias_k);
    /* It outlives a new start. */
    const double bias_k = taken.learned.bias_k;
    world_stop(w);
    world_start(w);
    const LearnedSite *site = &forecasts_learned(w->service->forecasts)->sites[1];
    assert_float_equal(site->lead[0][EXTREME_LOW].bias_k, bias_k, 0.02);
    assert_int_equal(site->open_air.used, 2);

    /* Four nights alike. */
    world_forecast(w, &cool);
    for (int i = 0; i < 4; i++) {
        next_morning(w);
        world_forecast(w, &cool);
    }
    g_autofree char *alike = take(w, "plot", STORE_READING_MINIMUM, 2.0, FALSE, &taken);
    assert_int_equal(taken.use, USE_DOUBT);
    assert_int_equal(taken.reading.day, 0);
    assert_non_null(strstr(alike, "it may be of an older night, and none of them was reckoned "
                                  "clearly the coldest. It is kept; nothing is learned from it."));
    world_free(w);
}

/* The reset is told: the reading is of last night, though the one before it is a week old. */
static void test_reset_is_told(void **state)
{
    (void)state;
    ReadingTaken taken;
    g_autoptr(GError) error = NULL;
    World *w = begin(&cool);
    next_morning(w);
    g_autofree char *first = take(w, "plot", STORE_READING_MINIMUM, 2.5, FALSE, &taken);
    for (int i = 0; i < 4; i++) {
        next_morning(w);
        world_forecast(w, &cool);
    }
    const ReadingAsked asked = {.place = -1,
                                .site = 1,
                                .kind = STORE_READING_MINIMUM,
                                .time_utc = world_now(w),
                                .since_utc = world_now(w) - 14 * HOUR_S,
                                .value_c = 2.0};
    assert_true(reading_take(w->service, &asked, &taken, &error));
    assert_int_equal(taken.use, USE_LEARNED);
    assert_true(taken.nights == 1 && taken.reading.day == 0);
    world_free(w);
}

static void print_alerts(const World *w, const char *when)
{
    const WordingContext words = service_wording(w->service);
    for (guint i = 0; i < w->service->alerts->len; i++) {
        const Job *job = &g_array_index(w->service->alerts, Job, i);
        g_autofree char *what = wording_is_too_late(&words, job) ? wording_too_late(&words, job)
                                                                 : wording_job(&words, job);
        print_message("%s: %s\n", when, what);
    }
}

/* An event of the calendar file that stands, with an alarm. */
static gboolean has_event(const World *w, const char *start, const char *summary)
{
    g_autofree char *text = world_calendar(w);
    g_auto(GStrv) events = g_strsplit(text, "BEGIN:VEVENT", -1);
    g_autofree char *start_line = g_strdup_printf("\r\nDTSTART:%s\r\n", start);
    g_autofree char *summary_line = g_strdup_printf("\r\nSUMMARY:%s", summary);
    for (guint i = 1; events[i] != NULL; i++)
        if (strstr(events[i], start_line) != NULL && strstr(events[i], summary_line) != NULL &&
            strstr(events[i], "STATUS:CONFIRMED") != NULL && strstr(events[i], "VALARM") != NULL)
            return TRUE;
    return FALSE;
}

/* The rescue of the tomatoes that no visit can do; NULL none. */
static const Job *rescue(const World *w)
{
    for (guint i = 0; i < w->service->alerts->len; i++) {
        const Job *job = &g_array_index(w->service->alerts, Job, i);
        if (job->kind == JOB_RESCUE && job->urgent)
            return job;
    }
    return NULL;
}

/* Nobody comes to the plot before the next evening, and the evening is colder than forecast. */
static void test_a_frost_that_nobody_saw(void **state)
{
    (void)state;
    static const WorldWeather seven = {.low_c = 5, .high_c = 15};
    ReadingTaken taken;
    World *w = world_new(world_garden, START);
    world_start(w);
    world_forecast(w, &seven);
    world_add_batch(w, "tomato", 24, "frame", STAGE_HARDENING, 60);
    world_run(w, world_utc("2026-04-08T21:30:00Z"));
    print_alerts(w, "before");
    assert_null(rescue(w));
    g_autofree char *said = take(w, "frame", STORE_READING_INSTANT, 1.2, FALSE, &taken);
    print_alerts(w, "22:30");
    const Job *job = rescue(w);
    assert_non_null(job);
    assert_true(job->deadline_utc > world_now(w));
    assert_true(has_event(w, "20260408T233000Z", "Save tomatoes by Thu 01:30 ("));
    world_run(w, world_utc("2026-04-09T03:30:00Z"));
    g_autofree char *again = take(w, "frame", STORE_READING_INSTANT, -2.5, FALSE, &taken);
    print_alerts(w, "04:30");
    const WordingContext words = service_wording(w->service);
    job = rescue(w);
    assert_non_null(job);
    assert_true(wording_is_too_late(&words, job));
    g_autofree char *late = wording_too_late(&words, job);
    assert_non_null(strstr(late, "Leave the box shut in the morning until they have thawed."));
    /* The calendar says so at sunrise, and keeps what it said; the desktop says it at once. */
    const char *brief = "Frost: leave the box shut until thawed";
    assert_true(has_event(w, "20260409T050000Z", brief));
    g_autoptr(GPtrArray) wanted = desktop_wanted(w->service);
    const NoticeWanted *notice = NULL;
    for (guint i = 0; i < wanted->len && notice == NULL; i++) {
        const NoticeWanted *one = wanted->pdata[i];
        if (strcmp(one->summary, brief) == 0 && one->due_utc <= world_now(w))
            notice = one;
    }
    assert_non_null(notice);
    assert_true(notice->critical && g_str_has_prefix(notice->body, late));
    world_run(w, world_utc("2026-04-09T06:00:00Z"));
    assert_true(has_event(w, "20260409T050000Z", brief));
    world_free(w);
}

#define HOME_GARDEN                                                                                \
    "[garden]\n[grower one]\nvisits-home=07:00-08:00; 18:00-dusk\n"                                \
    "[site home]\nlatitude=53.10\nlongitude=-2.02\nzone=Europe/London\nweather=none\n"             \
    "[place frame]\nkind=cold-frame\ntrays=6\nstands-on=slab\n[place bed]\nkind=bed\n"
#define DEVICES                                                                                    \
    "[place glass]\nkind=greenhouse\nheater-watts=500\nset-point-c=4\nsoil-cable-watts=75\n"       \
    "soil-cable-c=15\nwater-litres=200\nopener-c=18\n"                                             \
    "[place propagator]\nkind=propagator\nheater-watts=12\n"

static void test_devices(void **state)
{
    (void)state;
    World *w = world_new(HOME_GARDEN DEVICES, START);
    world_start(w);
    const Garden *garden = w->service->garden;
    g_autofree char *glass = wording_devices(garden, &garden->places[place(w, "glass")]);
    g_autofree char *heated = wording_devices(garden, &garden->places[place(w, "propagator")]);
    assert_string_equal(glass, "heater to 4 °C, soil cable to 15 °C, 200 l of water, opens by "
                               "itself from 18 °C");
    print_message("%s\n", heated);
    assert_true(g_str_has_prefix(heated, "heated to 20 °C (at most "));
    assert_null(wording_devices(garden, &garden->places[place(w, "bed")]));
    world_free(w);
}

/* A hot clear day: the frame at home is to be propped at the visit of that morning. */
static void test_a_hot_day(void **state)
{
    (void)state;
    static const WorldWeather hot = {.low_c = 3, .high_c = 19};
    World *w = world_new(HOME_GARDEN, START);
    world_start(w);
    world_forecast(w, &hot);
    world_add_batch(w, "tomato", 24, "frame", STAGE_HARDENING, 60);
    const int64_t opens_utc = world_utc("2026-04-09T06:00:00Z"), /* 07:00 in London */
        noon_utc = world_utc("2026-04-09T11:00:00Z");
    const WordingContext words = service_wording(w->service);
    const OpenVisit *at = NULL;
    for (guint i = 0; i < w->service->visits->len; i++) {
        const OpenVisit *visit = w->service->visits->pdata[i];
        for (guint k = 0; k < visit->jobs->len; k++) {
            const Job *job = &g_array_index(visit->jobs, OpenJob, k).job;
            if (job->kind != JOB_SET_COVER || job->reason.limit != LIMIT_HEAT ||
                visit->visit.start_utc > noon_utc)
                continue;
            g_autofree char *text = wording_job(&words, job);
            print_message("%s\n", text);
            assert_true(g_str_has_prefix(text, "Prop the frame 10 cm by Thu "));
            assert_true(job->reason.otherwise_c > job->reason.limit_c);
            assert_true(visit->visit.start_utc >= opens_utc &&
                        visit->visit.start_utc < opens_utc + HOUR_S);
            assert_true(job->deadline_utc >= visit->visit.start_utc &&
                        job->deadline_utc <= noon_utc);
            at = visit;
        }
    }
    assert_non_null(at);
    g_autoptr(GDateTime) start = g_date_time_new_from_unix_utc(at->visit.start_utc);
    g_autofree char *stamp = g_date_time_format(start, "%Y%m%dT%H%M%SZ");
    assert_true(has_event(w, stamp, "Prop frame 10 cm by "));

    /* Shut it would be too hot for them: the views have the odds of the day as planned. */
    const PlacePrediction *day = NULL;
    for (int i = 0; i < w->service->plan.n_predictions; i++)
        if (w->service->plan.predictions[i].place == place(w, "frame") &&
            w->service->plan.predictions[i].high_utc > opens_utc && day == NULL)
            day = &w->service->plan.predictions[i];
    assert_non_null(day);
    PlacePrediction hotter = *day;
    const double odds = api_heat_odds(w->service, day);
    hotter.high_c += 15;
    assert_true(odds > 0.0 && odds < 0.5 && api_heat_odds(w->service, &hotter) > 0.9);
    hotter.place = place(w, "bed"); /* in the open, and nobody stands there */
    assert_true(isnan(api_heat_odds(w->service, &hotter)));
    assert_true(api_allowed_low_c(w->service, day->place) > 0.0);
    assert_true(isnan(api_allowed_low_c(w->service, hotter.place)));
    world_free(w);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_warm_frame),
        cmocka_unit_test(test_a_cover_that_was_moved),
        cmocka_unit_test(test_an_evening),
        cmocka_unit_test(test_the_open_air),
        cmocka_unit_test(test_once_a_week),
        cmocka_unit_test(test_reset_is_told),
        cmocka_unit_test(test_a_hot_day),
        cmocka_unit_test(test_devices),
        cmocka_unit_test(test_a_frost_that_nobody_saw),
    };
    return cmocka_run_group_tests_name("service-learning", tests, NULL, NULL);
}
