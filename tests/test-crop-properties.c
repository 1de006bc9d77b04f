/* SPDX-License-Identifier: MIT */
/*
 * Every crop of the shipped data through the laws: no figure may make the ramp or the planner fail,
 * whatever the destination, and a crop that lives as it is asked to comes to be hardened.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <glib.h>

#include "garden/crops.h"
#include "test-plan-walk.h"

#define ARENA_SIZE ((size_t)32 << 20)
#define BUDGET 20000 /* evaluations: enough for one batch, and quick */

static World world;
static Walked walked;
static unsigned char *memory;
static Crops *crops;

/* Fourteen hours of day in the open, ten of night at this air. */
static RampDay live_day(const Crop *crop, RampState *state, double night_c)
{
    for (int i = 0; i < 48; i++) {
        const bool night = i >= 28;
        const RampStep step = {.air_c = night ? night_c : crop->growing_on_night_c + 3,
                               .leaf_c = crop->growing_on_night_c,
                               .exposure_weight = night ? 0 : 0.7,
                               .shelter = 0,
                               .night = night};
        ramp_step(crop, &step, state);
    }
    return ramp_close_day(crop, true, state->day_start_utc + 86400, state);
}

/* Each night as cold as it is allowed to be: never a check, and within a month it is hardened. */
static void test_ramp_to_the_letter(void **state)
{
    (void)state;
    for (int c = 0; c < crops->n; c++) {
        const Crop *crop = &crops->crops[c];
        RampState ramp;
        int day = 0;

        ramp_begin(crop, START_UTC, &ramp);
        while (ramp.hardened_to_c > crop->floor_hardened_c + 0.1 && day < 30) {
            const double before_c = ramp.hardened_to_c, allowed_c = ramp_allowed_low_c(crop, &ramp);
            assert_true(isfinite(allowed_c) && allowed_c >= crop->floor_hardened_c - 1e-9);
            const RampDay lived = live_day(crop, &ramp, allowed_c);
            if (lived.check)
                fail_msg("%s: a check on day %d, %g K·h", crop->name, day, lived.excess_kh);
            assert_true(ramp.hardened_to_c <= before_c + 1e-9);
            assert_true(ramp_floor_c(crop, &ramp) >= crop->floor_hardened_c - 1e-9);
            assert_true(ramp_damage_c(crop, &ramp) >= crop->damage_hardened_c - 1e-9);
            day++;
        }
        if (ramp.hardened_to_c > crop->floor_hardened_c + 0.1 || day < 2)
            fail_msg("%s: at %g °C after %d days, its floor is %g", crop->name, ramp.hardened_to_c,
                     day, crop->floor_hardened_c);
    }
}

/* Out of the heat into a night far below what is allowed is a check for any crop. */
static void test_ramp_shock(void **state)
{
    (void)state;
    for (int c = 0; c < crops->n; c++) {
        const Crop *crop = &crops->crops[c];
        RampState ramp;

        ramp_begin(crop, START_UTC, &ramp);
        const double allowed_c = ramp_allowed_low_c(crop, &ramp);
        if (!live_day(crop, &ramp, allowed_c - 6).check)
            fail_msg("%s: no check six kelvin below the allowed low", crop->name);
    }
}

/* Normals of a site whose nights warm up slowly: the day is found, and lies within the year. */
static void test_season(void **state)
{
    (void)state;
    for (int c = 0; c < crops->n; c++) {
        world_open(&world, 12, 5, 0.3);
        world.crops[CABBAGE] = crops->crops[c];
        world_batch(&world, 0, CABBAGE, SILL, BED, STAGE_GROWING_ON);
        const int64_t from = plan_season_from(&world.garden, &world.batches[0], START_UTC);
        const double low_c = plan_normal_low_c(&world.garden, &world.batches[0], from);
        if (from < START_UTC || from > START_UTC + 366 * INT64_C(86400) || !isfinite(low_c))
            fail_msg("%s: in season after %g days, normal low %g °C", crops->crops[c].name,
                     (double)(from - START_UTC) / 86400, low_c);
        for (int m = 0; m < 12; m++) /* where it is always warm it is always in season */
            world.sites[PLOT].normals.mean_c[m] = 25;
        assert_true(plan_season_from(&world.garden, &world.batches[0], START_UTC) == START_UTC);
        assert_true(plan_may_harden(&world.garden, &world.batches[0], START_UTC));
    }
}

static void check_plan(const char *crop, const char *weather, int destination, const Plan *plan)
{
    const Risk *risk = &world.garden.risk;
    const char *to = world.places[destination].name;

    walk_plan(&world, plan, &walked);
    if (walked.fault != NULL)
        fail_msg("%s to the %s, %s: %s", crop, to, weather, walked.fault);
    for (int b = 0; b < world.snapshot.n_batches; b++) {
        const WalkedBatch *x = &walked.batches[b];
        if (!(x->damage_odds <= risk->damage * 1.05) && !plan_names(plan, b, LIMIT_DAMAGE))
            fail_msg("%s to the %s, %s: damage at odds %g, not told", crop, to, weather,
                     x->damage_odds);
        if (!(x->check_share <= risk->check + 0.02) && !plan_names(plan, b, LIMIT_CHECK))
            fail_msg("%s to the %s, %s: a check of %g, not told", crop, to, weather,
                     x->check_share);
        if (!(x->heat_kh <= 0.05) && !plan_names(plan, b, LIMIT_HEAT))
            fail_msg("%s to the %s, %s: heat of %g K·h, not told", crop, to, weather, x->heat_kh);
        assert_true(isfinite(plan->outlooks[b].allowed_low_c));
        assert_true(isfinite(plan->outlooks[b].missing_days));
        assert_true(plan->outlooks[b].bound.limit != LIMIT_NONE || plan->outlooks[b].ready_utc > 0);
    }
}

/* One batch on the sill and one in the frame, to each destination, in weather mild, cool, frosty.
 */
static void test_plans(void **state)
{
    static const struct {
        const char *name;
        double mean_c, half_range_k, cloud;
        int cold_night;
    } weathers[] = {{"mild", 15, 5, 0.3, -1}, {"cool", 8, 5, 0.9, -1}, {"frost", 9, 6, 0.1, 2}};
    static const int destinations[] = {BED, FLEECE, TUNNEL};

    (void)state;
    for (int c = 0; c < crops->n; c++) {
        for (gsize w = 0; w < G_N_ELEMENTS(weathers); w++) {
            for (gsize d = 0; d < G_N_ELEMENTS(destinations); d++) {
                Arena arena = {.base = memory, .size = ARENA_SIZE};
                Plan plan;
                world_open(&world, weathers[w].mean_c, weathers[w].half_range_k, weathers[w].cloud);
                world.cold_night = weathers[w].cold_night;
                world.cold_night_k = 6;
                world_weather(&world);
                world.crops[CABBAGE] = crops->crops[c];
                world_batch(&world, 0, CABBAGE, SILL, destinations[d], STAGE_GROWING_ON);
                world_batch(&world, 1, CABBAGE, FRAME, destinations[d], STAGE_HARDENING);
                if (!plan_make(&world.snapshot, BUDGET, &arena, &plan))
                    fail_msg("%s: no plan", crops->crops[c].name);
                check_plan(crops->crops[c].name, weathers[w].name, destinations[d], &plan);
            }
        }
    }
}

static int set_up(void **state)
{
    (void)state;
    g_autofree char *path =
        g_build_filename(g_getenv("THOLE_SOURCE_DIR"), "daemon", "garden", "crops.conf", NULL);
    g_autoptr(GError) error = NULL;

    memory = malloc(ARENA_SIZE);
    if (memory == NULL || !crops_load(path, NULL, &crops, &error)) {
        print_error("%s\n", error != NULL ? error->message : "no memory");
        return -1;
    }
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    free(memory);
    crops_free(crops);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ramp_to_the_letter),
        cmocka_unit_test(test_ramp_shock),
        cmocka_unit_test(test_season),
        cmocka_unit_test(test_plans),
    };
    return cmocka_run_group_tests_name("crop-properties", tests, set_up, tear_down);
}
