/* SPDX-License-Identifier: MIT */
/*
 * Properties of the air under covers over random chains. The flows between nodes are written here
 * once more, straight from docs/climate.md and without any matrix.
 */
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <string.h>
#include <time.h>

#include "climate/chain-heaters.h"
#include "test-climate-covers.h"

#define CHAINS 1000

static double uniform(double from, double to)
{
    return from + (to - from) * rand() / RAND_MAX;
}

static void seed(void)
{
    const char *given = getenv("THOLE_TEST_SEED");
    const unsigned number = given ? (unsigned)strtoul(given, NULL, 10) : (unsigned)time(NULL);

    print_message("# seed %u (THOLE_TEST_SEED)\n", number);
    srand(number);
}

static Cover random_cover(void)
{
    const double ir = uniform(0, 0.9);
    Cover cover = cover_of(uniform(0.5, 0.95), ir, uniform(0.05, 1) * (1 - ir), uniform(1, 3),
                           uniform(0.05, 4), uniform(0, 2), 0);

    cover.wets = rand() % 2;
    cover.wet_ir_transmittance = uniform(0, 0.9);
    cover.wet_ir_emissivity = uniform(0.05, 1) * (1 - cover.wet_ir_transmittance);
    cover.insulation_m2kw = rand() % 3 == 0 ? uniform(0, 0.4) : 0;
    cover.positions[PROPPED].exchange_wm2k = cover.positions[SHUT].exchange_wm2k + uniform(1, 20);
    cover.positions[PROPPED].exchange_per_ms =
        cover.positions[SHUT].exchange_per_ms + uniform(0, 4);
    return cover;
}

/* Depth 1 to 3, several children side by side, some bare. Openers left out: they have a test of
 * their own. */
static void random_chain(Chain *ret)
{
    *ret = (Chain){.n = 1 + rand() % 6};
    double left[CHAIN_LAYERS_MAX];

    for (int i = 0; i < ret->n; i++) {
        const int parent = i == 0 ? -1 : rand() % i;
        const double share = i == 0 ? 1 : left[parent] * uniform(0.1, 1);

        ret->layers[i] =
            rand() % 5 == 0 ? bare_layer(parent, share) : layer_of(parent, share, random_cover());
        ret->layers[i].floor = (FloorKind)(rand() % 3);
        ret->layers[i].depth = ret->layers[i].covered + (i == 0 ? 0 : ret->layers[parent].depth);
        if (ret->layers[i].depth > 3)
            ret->layers[i].covered = false;
        if (rand() % 6 == 0) {
            ret->layers[i].heater_wm2 = uniform(0, 150);
            ret->layers[i].set_point_c = uniform(0, 18);
        }
        if (rand() % 6 == 0) {
            ret->layers[i].cable_wm2 = uniform(0, 150);
            ret->layers[i].soil_set_point_c = uniform(5, 25);
        }
        ret->layers[i].water_lm2 = rand() % 4 == 0 ? uniform(0, 100) : 0;
        if (i > 0)
            left[parent] -= share;
        left[i] = 1;
    }
}

static void random_positions(int *positions)
{
    for (int i = 0; i < CHAIN_LAYERS_MAX; i++)
        positions[i] = rand() % 3;
}

static void random_state(ChainState *ret)
{
    for (int i = 0; i < CHAIN_LAYERS_MAX; i++) {
        ret->surface_c[i] = uniform(-5, 30);
        ret->deep_c[i] = uniform(0, 20);
        ret->cover_c[i] = uniform(-10, 30);
        ret->water_c[i] = uniform(-5, 30);
    }
}

static OutdoorStep random_outdoors(void)
{
    const double air_c = uniform(-10, 25);

    return (OutdoorStep){
        .air_c = air_c,
        .sky_c = air_c - uniform(0, 25),
        .wind_ms = uniform(0, 15),
        .radiation_wm2 = rand() % 2 ? uniform(0, 900) : 0,
    };
}

/* The weather half an hour later. */
static OutdoorStep drift(OutdoorStep from)
{
    const double air_k = uniform(-3, 3);

    from.air_c += air_k;
    from.sky_c = fmin(from.air_c, from.sky_c + air_k + uniform(-5, 5));
    from.wind_ms = fmax(0, from.wind_ms + uniform(-3, 3));
    from.radiation_wm2 = fmax(0, fmin(1000, from.radiation_wm2 + uniform(-300, 300)));
    return from;
}

/* ---- the flows once more ---- */

typedef struct World {
    const Chain *chain;
    const Standing *standing;
    double coefficient[NODES_MAX]
                      [CHAIN_LAYERS_MAX + 1]; /* radiative, node to cover; last: to the sky */
    double out_c, sky_c, deep_c;
    double sun_wm2[CHAIN_LAYERS_MAX]; /* above each layer */
    double water_c[CHAIN_LAYERS_MAX];
} World;

/* 0.95 σ (Ta⁴ − Tb⁴) / (Ta − Tb) */
static double radiative(double a_c, double b_c)
{
    const double a = a_c + 273.15, b = b_c + 273.15;

    return 0.95 * 5.670374419e-8 * (a * a * a + a * a * b + a * b * b + b * b * b);
}

static void make_world(World *w, const Chain *chain, const Standing *standing,
                       const ChainState *state, const OutdoorStep *outdoors, double mean_sky_c,
                       double deep_c)
{
    *w = (World){.chain = chain,
                 .standing = standing,
                 .out_c = outdoors->air_c,
                 .sky_c = outdoors->sky_c,
                 .deep_c = deep_c};
    memcpy(w->water_c, state->water_c, sizeof w->water_c);
    for (int i = 0; i < chain->n; i++) {
        const double own[2] = {state->surface_c[i], state->cover_c[i]};
        const int nodes[2] = {NODES * i + NODE_UPPER, NODES * i + NODE_COVER};

        for (int k = 0; k < 2; k++) {
            for (int j = 0; j < chain->n; j++)
                w->coefficient[nodes[k]][j] = radiative(own[k], state->cover_c[j]);
            w->coefficient[nodes[k]][CHAIN_LAYERS_MAX] = radiative(own[k], mean_sky_c);
        }
        w->sun_wm2[i] = outdoors->radiation_wm2;
        for (int p = chain->layers[i].parent; p >= 0; p = chain->layers[p].parent)
            if (standing[p].present)
                w->sun_wm2[i] *= chain->layers[p].cover.solar_transmittance;
    }
}

/* One flow: `watts` leave node `from` and enter node `to`; -1 is outdoors. */
static void flow(double *net, double *gross, int from, int to, double watts)
{
    net[from] -= watts;
    gross[from] += fabs(watts);
    if (to >= 0) {
        net[to] += watts;
        gross[to] += fabs(watts);
    }
}

static void radiate(const World *w, const double *t, int node, int lid, double area, double *net,
                    double *gross)
{
    while (lid >= 0) {
        const Standing *cover = &w->standing[lid];
        const int to = NODES * lid + NODE_COVER;

        flow(net, gross, node, to,
             area * cover->ir_emissivity * cover->inside * w->coefficient[node][lid] *
                 (t[node] - t[to]));
        area *= cover->ir_transmittance;
        lid = w->standing[lid].up;
    }
    flow(net, gross, node, -1,
         area * w->coefficient[node][CHAIN_LAYERS_MAX] * (t[node] - w->sky_c));
}

static double air_of(const World *w, const double *t, int lid)
{
    return lid < 0 ? w->out_c : t[NODES * lid + NODE_AIR];
}

static int air_node(int lid)
{
    return lid < 0 ? -1 : NODES * lid + NODE_AIR;
}

/* Net heat into each node, W per m² of the outermost floor, and the sum of what passes. */
static void net_heat(const World *w, const double *t, double *net, double *gross)
{
    for (int k = 0; k < NODES * w->chain->n; k++)
        net[k] = gross[k] = 0;
    for (int i = 0; i < w->chain->n; i++) {
        const ChainLayer *layer = &w->chain->layers[i];
        const Standing *s = &w->standing[i];
        const double floor = s->floor_area, wind = s->wind_ms;
        const int lower = NODES * i + NODE_LOWER, upper = lower + 1, air = lower + 2,
                  cover = lower + 3;
        const int lid = s->present ? i : s->up;
        const bool shelf = layer->floor == FLOOR_SHELF, slab = layer->floor == FLOOR_SLAB;
        const double between = shelf ? 0 : slab ? 6 : 10;
        const double loss = shelf ? 2 * 5 : 5;
        const double windy = s->present || s->up >= 0 ? 0 : (shelf ? 2 : 1) * 3 * wind;

        flow(net, gross, lower, upper, floor * between * (t[lower] - t[upper]));
        if (!shelf || layer->parent < 0)
            flow(net, gross, lower, -1, floor * 2.6 * (t[lower] - w->deep_c));
        if (shelf && layer->parent < 0)
            flow(net, gross, lower, air_node(lid), floor * 4 * (t[lower] - air_of(w, t, lid)));
        flow(net, gross, upper, air_node(lid),
             floor * (loss + windy) * (t[upper] - air_of(w, t, lid)));
        radiate(w, t, upper, lid, floor, net, gross);

        const double light = w->sun_wm2[i] * (s->present ? layer->cover.solar_transmittance : 1);
        const double sun = 0.77 * light * (1 - 0.2) * s->lit_area;
        net[upper] += lid < 0 ? sun : 0.5 * sun;
        if (lid >= 0) {
            net[air_node(lid)] += 0.5 * sun;
            /* barrels hold their temperature, as the ground far below does */
            flow(net, gross, air_node(lid), -1,
                 0.06 * layer->water_lm2 * s->area * (air_of(w, t, lid) - w->water_c[i]));
        }
        if (!s->present)
            continue;
        const double skin = layer->cover.area_ratio * s->area;
        flow(net, gross, air, cover, 5 * s->inside * skin * (t[air] - t[cover]));
        flow(net, gross, air, air_node(s->up),
             s->exchange_wm2k * s->area * (t[air] - air_of(w, t, s->up)));
        flow(net, gross, cover, air_node(s->up),
             (5.7 + 3.8 * wind) * skin * (t[cover] - air_of(w, t, s->up)));
        radiate(w, t, cover, s->up, s->ir_emissivity * skin, net, gross);
        net[cover] += 0.06 * w->sun_wm2[i] * skin;
    }
}

/* Half a sub-step of the product: middles in `t`, heaters' watts in `watts`. */
typedef struct Middle {
    Standing standing[CHAIN_LAYERS_MAX];
    Drive drive;
    Heaters heaters;
    double t[NODES_MAX], watts[HEATERS_MAX];
} Middle;

static void middle(const Chain *chain, const int *positions, const ChainState *state,
                   const OutdoorStep *outdoors, double dt_s, Middle *ret)
{
    double opening[CHAIN_LAYERS_MAX]; /* of covers that open themselves */
    System system;

    for (int i = 0; i < chain->n; i++)
        opening[i] = uniform(0, 1);
    chain_stand(chain, positions, opening, outdoors->wind_ms, outdoors->radiation_wm2,
                ret->standing);
    chain_assemble(chain, ret->standing, state, outdoors->sky_c, 9, &system, &ret->drive);
    chain_factor(&system, ret->standing, &ret->drive, dt_s);
    chain_drive_heat(&ret->drive, chain->n, outdoors->air_c, outdoors->sky_c, ret->t);
    for (int i = 0; i < chain->n; i++) {
        ret->t[NODES * i] += 2 * ret->drive.capacity[NODES * i] / dt_s * state->deep_c[i];
        ret->t[NODES * i + 1] +=
            2 * ret->drive.capacity[NODES * i + 1] / dt_s * state->surface_c[i];
    }
    chain_solve(&system, ret->t);
    chain_heaters(chain, ret->standing, &system, &ret->heaters);
    chain_set_cables(chain, state, ret->t, &ret->heaters);
    chain_hold_set_points(&ret->heaters, chain->n, ret->t, ret->watts);
}

/* What leaves a layer enters the next, and what enters a floor is stored there: to 1e-9 of what
 * passes. */
static void test_energy(void **unused)
{
    (void)unused;
    seed();
    for (int c = 0; c < CHAINS; c++) {
        static Middle m;
        Chain chain;
        ChainState state;
        World w;
        int positions[CHAIN_LAYERS_MAX];
        double net[NODES_MAX], gross[NODES_MAX];
        const OutdoorStep outdoors = random_outdoors();
        const double dt_s = uniform(60, 900);

        random_chain(&chain);
        random_positions(positions);
        random_state(&state);
        chain.layers[0].cover.opener_from_c = c % 3 == 0 ? 15 : NAN;
        middle(&chain, positions, &state, &outdoors, dt_s, &m);
        make_world(&w, &chain, m.standing, &state, &outdoors, outdoors.sky_c, 9);
        net_heat(&w, m.t, net, gross);
        for (int h = 0; h < m.heaters.n; h++) {
            const Heater *heater = &m.heaters.of[h];
            const double more_k = m.t[heater->node] - heater->set_point_c;

            /* the least that holds the set point, or all that there is */
            assert_true(m.watts[h] >= heater->least_w && m.watts[h] <= heater->limit_w);
            assert_true(m.watts[h] <= heater->least_w + 1e-9 || more_k < 1e-9);
            assert_true(m.watts[h] >= heater->limit_w - 1e-9 || more_k > -1e-9);
            net[m.heaters.of[h].node] += m.watts[h];
        }
        double stored = 0, all = 0, balance = 0;
        for (int i = 0; i < chain.n; i++) {
            const double start[2] = {state.deep_c[i], state.surface_c[i]};

            for (int k = 0; k < NODES; k++) {
                const int node = NODES * i + k;
                const double gain =
                    k < NODE_AIR ? 2 * m.drive.capacity[node] * (m.t[node] - start[k]) / dt_s : 0;

                if (k >= NODE_AIR && !m.standing[i].present)
                    continue;
                assert_float_equal(net[node], gain, 1e-9 * (gross[node] + fabs(gain) + 1));
                stored += gain;
                balance += net[node];
                all += gross[node];
            }
        }
        assert_float_equal(balance, stored, 1e-9 * (all + 1));
    }
}

/* Heat, J per m² of the outermost floor. */
typedef struct Ledger {
    double sun, heaters, air, sky, deep, gross;
} Ledger;

/* The half-hour of chain_step() once more, each sub-step's heat entered into the ledger: `state`
 * comes out as there. Returns what the stores gained. */
static double half_hour(const Chain *chain, const int *positions, const ChainForcing *forcing,
                        ChainState *state, Ledger *ledger)
{
    static System system;
    static Drive d;
    static Heaters heaters;
    const OutdoorStep *now = forcing->now, *next = forcing->next;
    Standing standing[CHAIN_LAYERS_MAX];
    double opening[CHAIN_LAYERS_MAX], t[NODES_MAX], watts[HEATERS_MAX], stored = 0;
    double water_air_c[CHAIN_LAYERS_MAX] = {0};

    chain_hold(chain, positions, forcing, state, opening, standing, &system, &d);
    const int n = chain_substeps(chain, standing, &system, &d);
    const double dt = (double)STEP_S / n;
    chain_factor(&system, standing, &d, dt);
    chain_heaters(chain, standing, &system, &heaters);
    for (int step = 0; step < n; step++) {
        const double air_c = now->air_c + (next->air_c - now->air_c) * (step + 0.5) / n;
        const double sky_c = now->sky_c + (next->sky_c - now->sky_c) * (step + 0.5) / n;

        chain_drive_heat(&d, chain->n, air_c, sky_c, t);
        for (int i = 0; i < chain->n; i++) {
            t[NODES * i] += 2 * d.capacity[NODES * i] / dt * state->deep_c[i];
            t[NODES * i + 1] += 2 * d.capacity[NODES * i + 1] / dt * state->surface_c[i];
        }
        chain_solve(&system, t);
        chain_set_cables(chain, state, t, &heaters);
        chain_hold_set_points(&heaters, chain->n, t, watts);
        for (int i = 0; i < chain->n; i++)
            water_air_c[i] += (standing[i].lid < 0 ? air_c : t[NODES * standing[i].lid + 2]) / n;
        for (int k = 0; k < NODES * chain->n; k++) {
            const double flows[] = {d.to_air[k] * (air_c - t[k]), d.to_sky[k] * (sky_c - t[k]),
                                    d.to_deep[k] * (d.deep_c - t[k])};

            ledger->sun += dt * d.source[k];
            ledger->air += d.to_air[k] > 0 ? dt * flows[0] : 0;
            ledger->sky += d.to_sky[k] > 0 ? dt * flows[1] : 0;
            ledger->deep += d.to_deep[k] > 0 ? dt * flows[2] : 0;
            ledger->gross += dt * d.source[k];
            for (int f = 0; f < 3; f++)
                ledger->gross += fabs(dt * flows[f]);
        }
        for (int h = 0; h < heaters.n; h++)
            ledger->heaters += dt * watts[h];
        for (int i = 0; i < chain->n; i++) {
            const double lower_k = 2 * (t[NODES * i] - state->deep_c[i]);
            const double upper_k = 2 * (t[NODES * i + 1] - state->surface_c[i]);

            stored += d.capacity[NODES * i] * lower_k + d.capacity[NODES * i + 1] * upper_k;
            state->deep_c[i] += lower_k;
            state->surface_c[i] += upper_k;
        }
    }
    for (int i = 0; i < chain->n; i++) {
        /* what barrels gain is what the air about them lost to them */
        const double litres = chain->layers[i].water_lm2 * standing[i].area;
        const double watts_k = 0.06 * litres;
        const double gain = STEP_S * watts_k * (water_air_c[i] - d.water_c[i]);

        if (!(litres > 0))
            continue;
        if (standing[i].lid < 0)
            ledger->air += gain;
        else /* the conductance to them stands in the air's row, their heat among the sources */
            ledger->sun -= STEP_S * watts_k * d.water_c[i];
        ledger->gross += fabs(gain);
        stored += gain;
        state->water_c[i] += gain / (4180 * litres);
    }
    return stored;
}

/*
 * Over days of random weather, covers moved and openers at work: sun, heaters, air, sky and deep
 * ground bring what the stores gain. The project asks for 0.1 % of what passes.
 */
static void test_energy_of_runs(void **unused)
{
    (void)unused;
    double worst = 0;

    seed();
    for (int c = 0; c < CHAINS / 20; c++) {
        Chain chain;
        ChainState state, again;
        Ledger ledger = {0};
        OutdoorStep now = random_outdoors();
        int positions[CHAIN_LAYERS_MAX];
        double stored = 0;

        random_chain(&chain);
        random_state(&state);
        if (c % 3 == 0)
            chain.layers[0].cover.opener_from_c = uniform(10, 25);
        for (int k = 0; k < 5 * 48; k++) {
            const OutdoorStep next = rand() % 20 ? drift(now) : random_outdoors();
            const ChainForcing forcing = {&now, &next, 9, 0};
            PlaceStep steps[CHAIN_LAYERS_MAX];

            if (k % 16 == 0)
                random_positions(positions);
            again = state;
            stored += half_hour(&chain, positions, &forcing, &again, &ledger);
            chain_step(&chain, positions, &forcing, &state, steps);
            for (int i = 0; i < chain.n; i++) {
                assert_float_equal(again.surface_c[i], state.surface_c[i], 1e-9);
                assert_float_equal(again.deep_c[i], state.deep_c[i], 1e-9);
                assert_float_equal(again.water_c[i], state.water_c[i], 1e-9);
            }
            now = next;
        }
        const double came = ledger.sun + ledger.heaters + ledger.air + ledger.sky + ledger.deep;
        worst = fmax(worst, fabs(came - stored) / ledger.gross);
    }
    print_message("# heat closes to %.1e of what passes\n", worst);
    assert_true(worst < 1e-9);
}

/* ---- order ---- */

/* Some half-hours of the same weather, shifted. */
static void shifted_run(const Chain *chain, const int *positions, const OutdoorStep *weather, int n,
                        double air_k, double sky_k, ChainState *state,
                        PlaceStep (*steps)[CHAIN_LAYERS_MAX])
{
    for (int k = 0; k < n; k++) {
        OutdoorStep now = weather[k], next = weather[k + 1];
        const ChainForcing forcing = {&now, &next, 9, 0};

        now.air_c += air_k;
        next.air_c += air_k;
        now.sky_c += sky_k;
        next.sky_c += sky_k;
        chain_step(chain, positions, &forcing, state, steps[k]);
    }
}

/*
 * Warmer floors, warmer air, a warmer sky: the air under every cover is never colder, in weather
 * that drifts and in weather that leaps by tens of kelvin from one half-hour to the next. Where a
 * cable holds a floor at its set point whatever came before, nothing is left of the shift but what
 * it made of radiative conductances: then within 0.02 K.
 */
static void test_monotone(void **unused)
{
    (void)unused;
    enum { N = 12 };
    double most_k = 0;

    seed();
    for (int c = 0; c < CHAINS; c++) {
        static PlaceStep base[N][CHAIN_LAYERS_MAX], warm[N][CHAIN_LAYERS_MAX];
        OutdoorStep weather[N + 1];
        Chain chain;
        ChainState start, state;
        int positions[CHAIN_LAYERS_MAX];
        const double by_k = uniform(0.1, 3);
        bool cables = false;

        random_chain(&chain);
        random_positions(positions);
        random_state(&start);
        for (int i = 0; i < chain.n; i++)
            cables = cables || chain.layers[i].cable_wm2 > 0;
        weather[0] = random_outdoors();
        for (int k = 1; k <= N; k++)
            weather[k] = c % 2 ? random_outdoors() : drift(weather[k - 1]);
        state = start;
        shifted_run(&chain, positions, weather, N, 0, 0, &state, base);
        for (int what = 0; what < 4; what++) {
            state = start;
            for (int i = 0; i < CHAIN_LAYERS_MAX; i++) {
                state.surface_c[i] += what == 0 || what == 3 ? by_k : 0;
                state.deep_c[i] += what == 0 || what == 3 ? by_k : 0;
                state.water_c[i] += what == 0 || what == 3 ? by_k : 0;
            }
            shifted_run(&chain, positions, weather, N, what == 1 || what == 3 ? by_k : 0,
                        what == 2 || what == 3 ? by_k : 0, &state, warm);
            for (int k = 0; k < N; k++)
                for (int i = 0; i < chain.n; i++) {
                    const double falls_k = base[k][i].air_c - warm[k][i].air_c;

                    if (cables)
                        most_k = fmax(most_k, falls_k);
                    if (falls_k > (cables ? 0.02 : 1e-9))
                        fail_msg("chain %d, shift %d, step %d, layer %d: %.6f < %.6f", c, what, k,
                                 i, warm[k][i].air_c, base[k][i].air_c);
                    assert_true(isfinite(base[k][i].air_c) && isfinite(base[k][i].leaf_c) &&
                                isfinite(base[k][i].surface_c) && isfinite(base[k][i].light_wm2));
                }
        }
    }
    print_message("# with cables the air falls by %.1e K at most\n", most_k);
}

/* No sun, no wind, a sky as warm as the air: in the end everything has one temperature. */
static void test_all_meet(void **unused)
{
    (void)unused;
    const OutdoorStep still = {.air_c = 9, .sky_c = 9};
    const ChainForcing forcing = {&still, &still, 9, 0};

    seed();
    for (int c = 0; c < 30; c++) {
        Chain chain;
        ChainState state;
        PlaceStep steps[CHAIN_LAYERS_MAX];
        int positions[CHAIN_LAYERS_MAX];

        random_chain(&chain);
        random_positions(positions);
        random_state(&state);
        for (int i = 0; i < chain.n; i++)
            chain.layers[i].heater_wm2 = chain.layers[i].cable_wm2 = 0;
        for (int k = 0; k < 48 * 60; k++)
            chain_step(&chain, positions, &forcing, &state, steps);
        for (int i = 0; i < chain.n; i++) {
            assert_float_equal(steps[i].air_c, 9, 1e-3);
            assert_float_equal(steps[i].leaf_c, 9, 1e-3);
            assert_float_equal(steps[i].surface_c, 9, 1e-3);
            assert_float_equal(state.cover_c[i], 9, 1e-3);
        }
    }
}

/* Air of layer `which` at once, with the floors of `state` and the coefficients that it gives. */
static void instant(const Chain *chain, const int *positions, const ChainState *state,
                    const OutdoorStep *outdoors, double *ret_t)
{
    static System system;
    static Drive drive;
    const double opening[CHAIN_LAYERS_MAX] = {0};
    Standing standing[CHAIN_LAYERS_MAX];

    chain_stand(chain, positions, opening, outdoors->wind_ms, 0, standing);
    chain_assemble(chain, standing, state, outdoors->sky_c, 9, &system, &drive);
    chain_factor(&system, standing, &drive, 0);
    chain_drive_heat(&drive, chain->n, outdoors->air_c, outdoors->sky_c, ret_t);
    for (int i = 0; i < chain->n; i++) {
        ret_t[NODES * i] = state->deep_c[i];
        ret_t[NODES * i + 1] = state->surface_c[i];
    }
    chain_solve(&system, ret_t);
}

/* By how much `c` lies outside of what lies between `a` and `b`. */
static double outside_k(double a, double b, double c)
{
    return fmax(0, fmax(fmin(a, b) - c, c - fmax(a, b)));
}

/*
 * Over one step without sun, from the same floors, the air under a propped outermost cover lies
 * between what it is shut and open, whatever stands under it. Under an inner one it lies between
 * what it is shut and the air around it: with it off the floor would see the outer cover, which can
 * be colder than both. With floors as they are this is exact; by the end of a half-hour they have
 * parted a little.
 */
static void test_propped_between(void **unused)
{
    (void)unused;
    double most_k[2] = {0, 0};

    seed();
    for (int c = 0; c < 4 * CHAINS; c++) {
        OutdoorStep outdoors = random_outdoors();
        const ChainForcing forcing = {&outdoors, &outdoors, 9, 0};
        Chain chain;
        ChainState start;
        PlaceStep at[3][CHAIN_LAYERS_MAX];
        double t[3][NODES_MAX], around_c = outdoors.air_c;
        int positions[CHAIN_LAYERS_MAX];

        random_chain(&chain);
        random_positions(positions);
        random_state(&start);
        outdoors.radiation_wm2 = 0;
        const int which = rand() % chain.n, air = NODES * which + NODE_AIR;
        if (!chain.layers[which].covered)
            continue;
        for (int position = SHUT; position <= OPEN; position++) {
            ChainState state = start;

            positions[which] = position;
            chain_step(&chain, positions, &forcing, &state, at[position]);
            if (position < OPEN)
                instant(&chain, positions, &start, &outdoors, t[position]);
        }
        const int parent = chain.layers[which].parent;
        for (int up = parent; up >= 0 && around_c == outdoors.air_c; up = chain.layers[up].parent)
            if (chain.layers[up].covered && positions[up] != OPEN)
                around_c = t[PROPPED][NODES * up + NODE_AIR];
        assert_true(outside_k(t[SHUT][air], around_c, t[PROPPED][air]) < 1e-9);
        const double end_c = parent < 0 ? at[OPEN][which].air_c : at[PROPPED][parent].air_c;
        most_k[parent >= 0] = fmax(
            most_k[parent >= 0], outside_k(at[SHUT][which].air_c, end_c, at[PROPPED][which].air_c));
    }
    print_message("# outermost covers within %.4f K, inner ones %.4f K\n", most_k[0], most_k[1]);
    assert_true(most_k[0] <= 0.05 && most_k[1] <= 0.1);
}

/* Cloud from sunset to sunrise, the air as it was: no minimum falls. */
static void test_cloud_by_night(void **unused)
{
    (void)unused;
    enum { N = 3 * 48 };
    double most_k = 0;

    seed();
    for (int c = 0; c < CHAINS / 4; c++) {
        const double more = uniform(0, 1), depth_k = uniform(5, 25), wind_ms = uniform(0, 8);
        double low_c[2][CHAIN_LAYERS_MAX];
        Chain chain;
        ChainState start;
        int positions[CHAIN_LAYERS_MAX];

        random_chain(&chain);
        random_positions(positions);
        random_state(&start);
        for (int cloudy = 0; cloudy < 2; cloudy++) {
            ChainState state = start;

            for (int i = 0; i < chain.n; i++)
                low_c[cloudy][i] = INFINITY;
            for (int k = 0; k < N; k++) {
                OutdoorStep at[2];
                PlaceStep steps[CHAIN_LAYERS_MAX];

                for (int e = 0; e < 2; e++) {
                    const double sun = sin(acos(-1) * (k + e - 12) / 24);

                    at[e].air_c = 5 + 6 * sun;
                    at[e].sky_c = at[e].air_c - depth_k * (1 - (sun < 0 ? more * cloudy : 0));
                    at[e].wind_ms = wind_ms;
                    at[e].radiation_wm2 = fmax(0, 700 * sun);
                }
                const ChainForcing forcing = {&at[0], &at[1], 9, 0};
                chain_step(&chain, positions, &forcing, &state, steps);
                for (int i = 0; i < chain.n; i++)
                    low_c[cloudy][i] = fmin(low_c[cloudy][i], steps[i].air_c);
            }
        }
        for (int i = 0; i < chain.n; i++)
            most_k = fmax(most_k, low_c[0][i] - low_c[1][i]);
    }
    print_message("# a minimum falls by %.1e K at most\n", most_k);
    assert_true(most_k <= 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_energy),          cmocka_unit_test(test_energy_of_runs),
        cmocka_unit_test(test_monotone),        cmocka_unit_test(test_all_meet),
        cmocka_unit_test(test_propped_between), cmocka_unit_test(test_cloud_by_night),
    };
    return cmocka_run_group_tests_name("climate-properties", tests, NULL, NULL);
}
