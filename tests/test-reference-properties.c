/* SPDX-License-Identifier: MIT */
/*
 * The air under covers beside a second solver, over ten days of hourly weather with fronts and a
 * sun that breaks through, covers moved twice a day: every kind of cover, material, floor and
 * depth, heaters and openers. Two errors are told apart: that of stepping, beside the same linear
 * equations solved to many digits, and that of holding coefficients, between those and the full
 * ones.
 */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "garden/kinds.h"
#include "reference-chain.h"
#include "reference-weather.h"

#define STEPS WEATHER_STEPS
#define DAY_STEPS 48
#define DEPTHS 3
#define FLOORS (FLOOR_SHELF + 1)
#define DEEP_C 8.0

/* What the project asks of itself, K of air. */
#define STEPPING_MOST_K 0.05
#define STEPPING_NIGHT_MOST_K 0.02
#define HOLDING_MOST_K 0.1

static void seed(void)
{
    const char *given = getenv("THOLE_TEST_SEED");
    const unsigned number = given ? (unsigned)strtoul(given, NULL, 10) : 20261125;

    print_message("# seed %u (THOLE_TEST_SEED)\n", number);
    srand(number);
}

static int count(const char *const *words)
{
    int n = 0;

    while (words[n] != NULL)
        n++;
    return n;
}

/* Kinds of place that have a cover. */
static int covered_kinds(const Kind **ret)
{
    const char *const *words = kind_words();
    int n = 0;

    for (int i = 0; words[i] != NULL; i++) {
        ret[n] = kind_find(words[i]);
        n += ret[n]->material != NULL;
    }
    return n;
}

/* Numbers from 0 in any order. */
static void shuffle(int *ret, int n)
{
    for (int i = 0; i < n; i++) {
        const int other = rand() % (i + 1);

        ret[i] = ret[other];
        ret[other] = i;
    }
}

/*
 * `depth` covers in one another, each with a bare place in it. Numbers go round: every kind of
 * place comes on every floor, and every material, at every depth and level.
 */
static void make_chain(int number, int depth, const int *materials, Chain *ret)
{
    const Kind *kinds[32];
    const int n_kinds = covered_kinds(kinds), n_materials = count(material_words());

    *ret = (Chain){.n = 0};
    for (int level = 0; level < depth; level++) {
        const Kind *kind = kinds[(number + level) % n_kinds];
        CoverChoice choice = kind_cover_choice(kind);
        ChainLayer layer = {
            .parent = level == 0 ? -1 : 2 * (level - 1),
            .depth = level + 1,
            .footprint = level == 0 ? 1 : weather_uniform(0.1, 0.7),
            .set_point_c = NAN,
            .floor = (FloorKind)((number + level) % FLOORS),
            .covered = true,
        };

        choice.material =
            material_find(material_words()[materials[(number + level) % n_materials]]);
        kind_build_cover(kind, &choice, &layer.cover);
        if (level == depth - 1 && number % 4 == 0) {
            layer.heater_wm2 = weather_uniform(20, 200);
            layer.set_point_c = weather_uniform(3, 15);
        }
        if (number % 5 == 2) {
            layer.cable_wm2 = weather_uniform(20, 150);
            layer.soil_set_point_c = weather_uniform(8, 20);
        }
        if (number % 5 == 4)
            layer.water_lm2 = weather_uniform(10, 100);
        if (level == 0 && number % 4 == 1)
            layer.cover.opener_from_c = weather_uniform(15, 25);
        ret->layers[ret->n++] = layer;
        ret->layers[ret->n++] = (ChainLayer){
            .parent = 2 * level,
            .depth = level + 1,
            .footprint = weather_uniform(0.05, 0.3),
            .set_point_c = NAN,
            .floor = (FloorKind)(rand() % FLOORS),
        };
    }
}

typedef struct Errors {
    double stepping_k, stepping_night_k, holding_k, whole_k, leaf_k;
    bool stood[FLOORS][POSITIONS_MAX]; /* covers over such a floor in such a position */
} Errors;

static void widen(double *most, double value)
{
    *most = fmax(*most, fabs(value));
}

static void compare(const Chain *chain, const OutdoorStep *weather, Errors *ret)
{
    ReferenceSetup setup = reference_setup();
    ChainState state;
    double night[2][CHAIN_LAYERS_MAX];
    int positions[CHAIN_LAYERS_MAX] = {0};

    chain_rest(chain, 6, DEEP_C, &state);
    ReferenceChain *full = reference_new(chain, &setup, &state);
    setup.held = true;
    ReferenceChain *linear = reference_new(chain, &setup, &state);
    for (int k = 0; k < STEPS; k++) {
        const ChainForcing forcing = {&weather[k], &weather[k + 1], DEEP_C, 0};
        PlaceStep ours[CHAIN_LAYERS_MAX], held[CHAIN_LAYERS_MAX], truth[CHAIN_LAYERS_MAX];

        if (k % DAY_STEPS == 24)
            for (int i = 0; i < chain->n; i++)
                night[0][i] = night[1][i] = INFINITY;
        if (k % DAY_STEPS == 16 || k % DAY_STEPS == 36)
            for (int i = 0; i < chain->n; i++)
                if (chain->layers[i].covered)
                    positions[i] = rand() % chain->layers[i].cover.n_positions;
        for (int i = 0; i < chain->n; i++)
            ret->stood[chain->layers[i].floor][positions[i]] |= chain->layers[i].covered;
        chain_step(chain, positions, &forcing, &state, ours);
        reference_step(linear, positions, &forcing, held);
        reference_step(full, positions, &forcing, truth);
        for (int i = 0; i < chain->n; i++) {
            widen(&ret->stepping_k, ours[i].air_c - held[i].air_c);
            widen(&ret->holding_k, held[i].air_c - truth[i].air_c);
            widen(&ret->whole_k, ours[i].air_c - truth[i].air_c);
            widen(&ret->leaf_k, ours[i].leaf_c - truth[i].leaf_c);
            if (k < 24)
                continue;
            night[0][i] = fmin(night[0][i], ours[i].air_c);
            night[1][i] = fmin(night[1][i], held[i].air_c);
            if (k % DAY_STEPS == 23)
                widen(&ret->stepping_night_k, night[0][i] - night[1][i]);
        }
    }
    reference_free(linear);
    reference_free(full);
}

static void test_reference(void **unused)
{
    (void)unused;
    static OutdoorStep weather[STEPS + 1];
    const char *given = getenv("THOLE_TEST_CHAINS");
    const int n_materials = count(material_words());
    const int chains = given ? atoi(given) : MAX(15, n_materials); /* 15: kinds times floors */
    int materials[DEPTHS][64];
    Errors at[DEPTHS] = {{0}};

    seed();
    assert_true(n_materials <= 64);
    for (int d = 0; d < DEPTHS; d++)
        shuffle(materials[d], n_materials);
    for (int number = 0; number < chains; number++) {
        make_weather(weather);
        for (int depth = 1; depth <= DEPTHS; depth++) {
            Chain chain;

            make_chain(number, depth, materials[depth - 1], &chain);
            compare(&chain, weather, &at[depth - 1]);
        }
    }
    for (int d = 0; d < DEPTHS; d++)
        print_message("# depth %d: stepping %.3f, at night minima %.3f, holding %.3f, in all %.3f, "
                      "leaf %.3f K\n",
                      d + 1, at[d].stepping_k, at[d].stepping_night_k, at[d].holding_k,
                      at[d].whole_k, at[d].leaf_k);
    for (int d = 0; d < DEPTHS; d++) {
        assert_true(at[d].stepping_k > 0 && at[d].holding_k > 0); /* they are different solvers */
        assert_true(at[d].stepping_k <= STEPPING_MOST_K);
        assert_true(at[d].stepping_night_k <= STEPPING_NIGHT_MOST_K);
        assert_true(at[d].holding_k <= HOLDING_MOST_K);
        for (int floor = 0; floor < FLOORS && given == NULL; floor++)
            for (int p = 0; p < 4; p++) /* closed, two props, open */
                assert_true(at[d].stood[floor][p]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_reference),
    };
    return cmocka_run_group_tests_name("reference-properties", tests, NULL, NULL);
}
