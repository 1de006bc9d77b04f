/* SPDX-License-Identifier: MIT */
/*
 * What a half-hour of a chain costs, in nanoseconds of processor time a layer, by depth; and beside
 * it the cheapest that CVODE solves the same weather with while the air is nowhere further off than
 * ours may be. Ten days by the hour, with fronts and a sun
 * that breaks through; covers shut.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "climate/chain-internal.h"
#include "garden/kinds.h"
#include "reference-chain.h"
#include "reference-weather.h"

#define DEPTHS 3
#define STEPS WEATHER_STEPS
#define RUNS 500
#define CVODE_RUNS 3
#define AIR_MOST_K 0.05
#define DEEP_C 8.0

typedef double Air[STEPS][CHAIN_LAYERS_MAX];

static OutdoorStep weather[STEPS + 1];
static const int shut[CHAIN_LAYERS_MAX] = {0};
static volatile double sink;

static double now_ns(void)
{
    struct timespec t;

    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e9 + (double)t.tv_nsec;
}

/* A tunnel, a box in it, fleece in that. */
static void make_chain(int depth, Chain *ret)
{
    static const char *const words[DEPTHS] = {"tunnel", "box", "fleece"};

    *ret = (Chain){.n = depth};
    for (int i = 0; i < depth; i++) {
        const Kind *kind = kind_find(words[i]);
        const CoverChoice choice = kind_cover_choice(kind);
        ChainLayer *layer = &ret->layers[i];

        *layer = (ChainLayer){
            .parent = i - 1,
            .depth = i + 1,
            .footprint = i == 0 ? 1 : 0.4,
            .set_point_c = NAN,
            .floor = FLOOR_SOIL,
            .covered = true,
        };
        kind_build_cover(kind, &choice, &layer->cover);
        layer->cover.wets = false; /* CVODE takes all half-hours with one set of flows */
    }
}

static double ours_ns(const Chain *chain, Air *ret)
{
    double least = INFINITY;

    for (int run = 0; run < RUNS; run++) {
        PlaceStep steps[CHAIN_LAYERS_MAX];
        ChainState state;

        chain_rest(chain, 6, DEEP_C, &state);
        const double begin = now_ns();
        for (int k = 0; k < STEPS; k++) {
            const ChainForcing forcing = {&weather[k], &weather[k + 1], DEEP_C, 0};

            chain_step(chain, shut, &forcing, &state, steps);
            for (int i = 0; i < chain->n; i++)
                (*ret)[k][i] = steps[i].air_c;
        }
        least = fmin(least, now_ns() - begin);
    }
    return least / STEPS / chain->n;
}

static void copy_pairs(const System *whole, System *ret)
{
    memcpy(ret->floor, whole->floor, sizeof whole->floor[0] * (size_t)whole->n);
    memcpy(ret->cover, whole->cover, sizeof whole->cover[0] * (size_t)whole->n);
}

/* The arithmetic of a half-hour alone: one factorisation with the floors and two sub-steps, two
 * with the floors given, conductances at hand. Nothing that steps so can take less. */
static double arithmetic_ns(const Chain *chain)
{
    static System whole, system;
    const double opening[CHAIN_LAYERS_MAX] = {0};
    Standing standing[CHAIN_LAYERS_MAX];
    ChainState state;
    Drive drive;
    double nodes[NODES_MAX] = {0}, least_ns = INFINITY, copies_ns = INFINITY;

    chain_rest(chain, 6, DEEP_C, &state);
    chain_stand(chain, shut, opening, 3, 100, standing);
    chain_assemble(chain, standing, &state, -5, DEEP_C, &whole, &drive);
    system = whole;
    for (int run = 0; run < RUNS; run++) {
        double begin = now_ns();

        for (int k = 0; k < STEPS; k++)
            for (int pass = 0; pass < 3; pass++) {
                copy_pairs(&whole, &system);
                for (int node = 0; node < NODES * chain->n; node++)
                    nodes[node] = 100;
                sink = system.floor[0].one;
            }
        copies_ns = fmin(copies_ns, now_ns() - begin);
        begin = now_ns();
        for (int k = 0; k < STEPS; k++) {
            for (int pass = 0; pass < 3; pass++) {
                copy_pairs(&whole, &system);
                for (int node = 0; node < NODES * chain->n; node++)
                    nodes[node] = 100;
                chain_factor(&system, standing, &drive, pass == 1 ? 900 : 0);
                for (int solve = 0; solve < (pass == 1 ? 2 : 1); solve++)
                    chain_solve(&system, nodes);
            }
            sink = nodes[0];
        }
        least_ns = fmin(least_ns, now_ns() - begin);
    }
    return (least_ns - copies_ns) / STEPS / chain->n;
}

static double worst_k(const Chain *chain, const Air *one, const Air *other)
{
    double worst = 0;

    for (int k = 0; k < STEPS; k++)
        for (int i = 0; i < chain->n; i++)
            worst = fmax(worst, fabs((*one)[k][i] - (*other)[k][i]));
    return worst;
}

static void exact(const Chain *chain, Air *ret)
{
    const ReferenceSetup setup = reference_setup();
    ChainState state;

    chain_rest(chain, 6, DEEP_C, &state);
    ReferenceChain *reference = reference_new(chain, &setup, &state);
    reference_run(reference, shut, weather, STEPS, DEEP_C, 1, *ret);
    reference_free(reference);
}

typedef struct Try {
    bool adams;
    int restart; /* half-hours */
    double tolerance, worst_k, ns, alone_ns;
} Try;

/* One way to use CVODE. */
static void try_cvode(const Chain *chain, const Air *truth, Try *of)
{
    static Air air;
    ReferenceSetup setup = reference_setup();
    double balance_ns = INFINITY;

    setup.adams = of->adams;
    setup.relative = setup.absolute_k = of->tolerance;
    of->ns = INFINITY;
    for (int run = 0; run < CVODE_RUNS; run++) {
        ChainState state;

        chain_rest(chain, 6, DEEP_C, &state);
        ReferenceChain *reference = reference_new(chain, &setup, &state);
        const double begin = now_ns();
        const long rates = reference_run(reference, shut, weather, STEPS, DEEP_C, of->restart, air);
        const double between = now_ns();
        reference_rates(reference, (int)rates);
        balance_ns = fmin(balance_ns, (now_ns() - between) / STEPS / chain->n);
        of->ns = fmin(of->ns, (between - begin) / STEPS / chain->n);
        reference_free(reference);
    }
    of->worst_k = worst_k(chain, &air, truth);
    of->alone_ns = fmax(0, of->ns - balance_ns);
}

static void tell(const Try *best, double ns)
{
    printf(
        "         CVODE %s, %s, tolerance %.1e: %.0f ns, air within %.3f K; ratio %.0f, and %.0f "
        "with the balance for nothing\n",
        best->adams ? "Adams" : "BDF", best->restart ? "restarted hourly" : "plain",
        best->tolerance, best->ns, best->worst_k, best->ns / ns, best->alone_ns / ns);
}

/* The cheapest within what is allowed, and within what ours is. */
static void beside_cvode(const Chain *chain, double ns, double ours_k, const Air *truth)
{
    const double most_k[2] = {AIR_MOST_K, ours_k};
    Try best[2] = {{.ns = INFINITY}, {.ns = INFINITY}};

    for (int method = 0; method < 4; method++)
        for (int halvings = 1; halvings < 28; halvings++) {
            Try one = {
                .adams = method % 2, .restart = method / 2 * 2, .tolerance = ldexp(1, -halvings)};

            try_cvode(chain, truth, &one);
            for (int which = 0; which < 2; which++)
                if (one.worst_k <= most_k[which] && one.ns < best[which].ns)
                    best[which] = one;
        }
    for (int which = 0; which < 2; which++)
        tell(&best[which], ns);
}

int main(void)
{
    static Air air, truth;

    srand(1);
    make_weather(weather);
    printf("a chain, ns per layer and half-hour:\n");
    for (int depth = 1; depth <= DEPTHS; depth++) {
        Chain chain;

        make_chain(depth, &chain);
        const double ns = ours_ns(&chain, &air), floor_ns = arithmetic_ns(&chain);
        exact(&chain, &truth);
        const double ours_k = worst_k(&chain, &air, &truth);
        printf("depth %d: %.0f ns, air within %.3f K; its arithmetic alone %.0f ns\n", depth, ns,
               ours_k, floor_ns);
        beside_cvode(&chain, ns, ours_k, &truth);
    }
    return 0;
}
