/* SPDX-License-Identifier: MIT */
/* What readings have taught, in the plan: predictions, odds, and nothing where nothing was read. */
#include "odds-dense.h"

#include "plan-garden.h"

#define ARENA_SIZE ((size_t)16 << 20)
#define BUDGET 20000
#define SAMPLES 20000
#define FRAME_OPEN 3

static World world;
static CoverError errors[N_PLACES * POSITIONS_MAX];
static unsigned char *memory[2];

static Plan make_in(unsigned char *at)
{
    Plan plan = {0};
    Arena arena = {.base = at, .size = ARENA_SIZE};
    assert_true(plan_make(&world.snapshot, BUDGET, &arena, &plan));
    return plan;
}

static int chain_of(int place, int *ret_layer)
{
    *ret_layer = 0;
    for (int c = 0; c < world.snapshot.n_chains; c++) {
        for (int l = 0; l < world.chains[c].n; l++) {
            if (world.chains[c].layers[l].place == place) {
                *ret_layer = l;
                return c;
            }
        }
    }
    fail_msg("place %d is in no chain", place);
    return 0;
}

/* As before any reading. */
static void errors_prior(void)
{
    for (int p = 0; p < N_PLACES; p++) {
        int layer;
        const Chain *chain = &world.chains[chain_of(p, &layer)];
        for (int at = 0; at < POSITIONS_MAX; at++) {
            for (int which = 0; which < EXTREMES; which++)
                errors[p * POSITIONS_MAX + at].of[which] =
                    (LearnedError){.spread_k = chain_spread_k(chain, layer, (Extreme)which)};
        }
    }
}

static void learn(int place, int position, double bias_k, double spread_k)
{
    for (int which = 0; which < EXTREMES; which++)
        errors[place * POSITIONS_MAX + position].of[which] = (LearnedError){bias_k, spread_k, 10};
}

/* Nobody ever comes, so there is one window over the whole horizon, and nothing to do in it. */
static void open_empty(double mean_c)
{
    world_open(&world, mean_c, 4, 0.2);
    world.snapshot.n_windows = 0;
    errors_prior();
}

static PlacePrediction predicted(const Plan *plan, int place)
{
    const PlacePrediction *found = NULL;
    for (int i = 0; i < plan->n_predictions && found == NULL; i++)
        found = plan->predictions[i].place == place ? &plan->predictions[i] : NULL;
    assert_non_null(found);
    return *found;
}

static void test_nothing_read(void **state)
{
    (void)state; /* errors as they are assumed give the plan that comes without any, to the bit */
    world_open(&world, 7, 4, 0.1);
    errors_prior();
    world.cold_night = 1;
    world.cold_night_k = 4;
    world_weather(&world);
    world_batch(&world, 0, CABBAGE, FRAME, BED, STAGE_HARDENING);
    world_batch(&world, 1, TOMATO, SILL, TUNNEL, STAGE_GROWING_ON);
    Plan none = make_in(memory[0]);
    world.snapshot.cover_errors = errors;
    Plan prior = make_in(memory[1]);
    assert_true(none.n_jobs > 0 && none.n_jobs == prior.n_jobs);
    assert_int_equal(none.n_visits, prior.n_visits);
    assert_int_equal(none.n_predictions, prior.n_predictions);
    assert_true(none.value.number == prior.value.number && none.value.loss == prior.value.loss);
    for (int j = 0; j < none.n_jobs; j++) {
        assert_int_equal(none.jobs[j].kind, prior.jobs[j].kind);
        assert_int_equal(none.jobs[j].position, prior.jobs[j].position);
    }
    for (int i = 0; i < none.n_predictions; i++) {
        const PlacePrediction *a = &none.predictions[i], *b = &prior.predictions[i];
        assert_true(a->low_c == b->low_c && a->low_spread_k == b->low_spread_k);
        assert_true(a->high_c == b->high_c && a->high_spread_k == b->high_spread_k);
        assert_true(a->leaf_frost_odds == b->leaf_frost_odds);
    }
    for (int i = 0; i < 2; i++)
        assert_true(none.outlooks[i].damage_odds == prior.outlooks[i].damage_odds);
}

static void test_bias(void **state)
{
    (void)state; /* warmer by what was learned, at its own place and position only */
    open_empty(3);
    Plan none = make_in(memory[0]);
    world.snapshot.cover_errors = errors;
    learn(FRAME, 0, 1.4, 0.6);
    learn(TUNNEL, 1, 5.0, 0.6); /* its doors are shut */
    Plan with = make_in(memory[1]);
    PlacePrediction before = predicted(&none, FRAME), after = predicted(&with, FRAME);
    assert_true(fabs(after.low_c - before.low_c - 1.4) < 1e-12);
    assert_true(fabs(after.leaf_low_c - before.leaf_low_c - 1.4) < 1e-12);
    assert_true(fabs(after.high_c - before.high_c - 1.4) < 1e-12);
    assert_true(after.low_spread_k < before.low_spread_k);
    assert_true(after.high_spread_k < before.high_spread_k);
    assert_true(after.leaf_frost_odds < before.leaf_frost_odds);
    assert_true(after.air_frost_odds < before.air_frost_odds);
    for (int p = 0; p < N_PLACES; p++) {
        if (p != FRAME)
            assert_true(predicted(&none, p).low_c == predicted(&with, p).low_c);
    }
    world.positions[FRAME] = FRAME_OPEN; /* learned shut, it says nothing of open */
    world.snapshot.cover_errors = NULL;
    none = make_in(memory[0]);
    world.snapshot.cover_errors = errors;
    with = make_in(memory[1]);
    assert_true(predicted(&none, FRAME).low_c == predicted(&with, FRAME).low_c);
}

/* The chance of frost on leaves, sampled: one error for the whole night, in spreads. */
static void test_frost_odds(void **state)
{
    (void)state;
    open_empty(8);
    world.snapshot.cover_errors = errors;
    learn(FRAME, 0, -0.7, 0.9);
    Plan plan = make_in(memory[0]);
    PlacePrediction p = predicted(&plan, FRAME);
    int layer, c = chain_of(FRAME, &layer);
    const Chain *chain = &world.chains[c];
    ChainState at = world.states[c];
    static double leaf[TEST_STEPS], air[TEST_STEPS], spread[TEST_STEPS];
    int shut[CHAIN_LAYERS_MAX] = {0}, frosts = 0, air_frosts = 0;
    for (int i = 0; i < TEST_STEPS; i++) {
        PlaceStep met[CHAIN_LAYERS_MAX];
        const OutdoorStep *o = &world.steps[PLOT][i];
        ChainForcing forcing = {.now = o, .next = o + 1, .deep_c = world.outlooks[PLOT].deep_c};
        chain_step(chain, shut, &forcing, &at, met);
        leaf[i] = met[layer].leaf_c - 0.7;
        air[i] = met[layer].air_c - 0.7;
        spread[i] = hypot(chain_open_share(chain, shut, layer) * o->spread_k, 0.9);
    }
    for (int s = 0; s < SAMPLES; s++) {
        double z = normal();
        bool frost = false, air_frost = false;
        for (int i = 0; i < TEST_STEPS; i++) {
            frost = frost || leaf[i] + z * spread[i] < 0.0;
            air_frost = air_frost || air[i] + z * spread[i] < 0.0;
        }
        frosts += frost;
        air_frosts += air_frost;
    }
    double sure = 4.0 * sqrt(p.leaf_frost_odds * (1.0 - p.leaf_frost_odds) / SAMPLES);
    print_message("# frost on leaves %.4f, sampled %.4f; in the air %.4f, sampled %.4f\n",
                  p.leaf_frost_odds, (double)frosts / SAMPLES, p.air_frost_odds,
                  (double)air_frosts / SAMPLES);
    assert_true(p.leaf_frost_odds > 0.02 && p.leaf_frost_odds < 0.98);
    assert_true(fabs(p.leaf_frost_odds - (double)frosts / SAMPLES) < sure);
    assert_true(fabs(p.air_frost_odds - (double)air_frosts / SAMPLES) < sure);
}

/* A colder place, or a less certain one, is never safer for what stands in it. */
static void test_damage_odds(void **state)
{
    (void)state;
    double odds[4];
    const double rows[4][2] = {{1.0, 0.5}, {0.0, 0.5}, {0.0, 1.2}, {-1.5, 1.2}};
    for (int r = 0; r < 4; r++) {
        world_open(&world, 6, 4, 0);
        world.cold_night = 1;
        world.cold_night_k = 4;
        world_weather(&world);
        errors_prior();
        world.snapshot.cover_errors = errors;
        for (int at = 0; at < POSITIONS_MAX; at++)
            learn(BED, at, rows[r][0], rows[r][1]);
        for (int p = 0; p < N_PLACES; p++)
            world.places[p].trays = p == BED ? -1 : 0; /* nowhere else to go */
        world_batch(&world, 0, CABBAGE, BED, BED, STAGE_HARDENING);
        Plan plan = make_in(memory[0]);
        odds[r] = plan.outlooks[0].damage_odds;
        assert_true(r == 0 || odds[r] > odds[r - 1]);
    }
    print_message("# damage %.4f %.4f %.4f %.4f\n", odds[0], odds[1], odds[2], odds[3]);
}

/* What of the open air's error comes in, all covers shut. */
static double share_shut(int place)
{
    static const int shut[CHAIN_LAYERS_MAX] = {0};
    int layer, c = chain_of(place, &layer);
    return chain_open_share(&world.chains[c], shut, layer);
}

static void test_tonight(void **state)
{
    (void)state; /* a reading of tonight: shift and spread of its place, while the cover stays */
    open_empty(5);
    world.snapshot.n_steps = 40;
    Plan none = make_in(memory[0]);
    static TonightError shifts[40];
    static double outdoor[40];
    for (int i = 0; i < 40; i++) {
        shifts[i] = (TonightError){.shift_k = -2.0, .variance_k2 = 0.09 - 0.04};
        outdoor[i] = 0.2;
    }
    TonightPlace places[N_PLACES] = {[FRAME] = {.position = 0, .steps = shifts}};
    world.snapshot.tonight = places;
    world.snapshot.n_tonight = 40;
    world.outlooks[PLOT].tonight_spread_k = outdoor;
    Plan with = make_in(memory[1]);
    PlacePrediction before = predicted(&none, FRAME), after = predicted(&with, FRAME);
    assert_true(fabs(after.low_c - before.low_c + 2.0) < 1e-12);
    double frame = 0.2 * share_shut(FRAME), tunnel = 0.2 * share_shut(TUNNEL);
    assert_true(fabs(after.low_spread_k - sqrt(0.09 - 0.04 + frame * frame)) < 1e-12);
    assert_true(fabs(predicted(&with, TUNNEL).low_spread_k - hypot(tunnel, 1.2)) < 1e-12);
    places[FRAME].position = 2; /* it was read propped, and is shut now */
    with = make_in(memory[1]);
    assert_true(predicted(&with, FRAME).low_c == before.low_c);
    /* whatever is said of variances, something stays unknown */
    for (int i = 0; i < 40; i++)
        shifts[i].variance_k2 = -1.0;
    places[FRAME].position = 0;
    with = make_in(memory[1]);
    assert_true(fabs(predicted(&with, FRAME).low_spread_k - 0.1) < 1e-12);
}

static void test_past(void **state)
{
    (void)state; /* what has passed is moved on with the same air */
    world_open(&world, 8, 4, 0.2);
    errors_prior();
    world_batch(&world, 0, CABBAGE, FRAME, BED, STAGE_HARDENING);
    Batch as_computed = world.batches[0], warmer = as_computed;
    learn(FRAME, 0, 1.4, 0.6);
    PlanPast past = {.garden = &world.garden,
                     .site = PLOT,
                     .start_utc = START_UTC,
                     .n = 6,
                     .outlook = &world.outlooks[PLOT],
                     .chains = world.chains,
                     .n_chains = world.snapshot.n_chains,
                     .positions = world.positions,
                     .n_batches = 1};
    bool checked[1] = {false};
    ChainState states[2][N_PLACES];
    memcpy(states[0], world.states, sizeof states[0]);
    memcpy(states[1], world.states, sizeof states[1]);
    plan_advance(&past, states[0], &as_computed, checked);
    past.cover_errors = errors;
    plan_advance(&past, states[1], &warmer, checked);
    int n = as_computed.ramp.day_steps;
    assert_int_equal(n, warmer.ramp.day_steps);
    assert_true(fabs(warmer.ramp.day_air_c[n - 1] - as_computed.ramp.day_air_c[n - 1] - 1.4) <
                1e-12);
    assert_memory_equal(states[0], states[1], sizeof states[0]); /* the chain itself is untouched */
}

static int set_up(void **state)
{
    (void)state;
    dense_seed();
    memory[0] = malloc(ARENA_SIZE);
    memory[1] = malloc(ARENA_SIZE);
    return memory[0] == NULL || memory[1] == NULL;
}

static int tear_down(void **state)
{
    (void)state;
    free(memory[0]);
    free(memory[1]);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_read), cmocka_unit_test(test_bias),
        cmocka_unit_test(test_frost_odds),   cmocka_unit_test(test_damage_odds),
        cmocka_unit_test(test_tonight),      cmocka_unit_test(test_past),
    };
    return cmocka_run_group_tests_name("plan-errors", tests, set_up, tear_down);
}
