/* SPDX-License-Identifier: MIT */
/*
 * How long a plan takes, beside a reference of the same run: every chain simulated once over the
 * horizon. Milliseconds of processor time, the least of several runs, and their ratio.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "plan-garden.h"

#define RUNS 15
#define MANY_BATCHES 200
#define MANY_FRAMES 10
#define ARENA_SIZE ((size_t)256 << 20)

static World world;
static unsigned char *memory;
static volatile double sink;

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static double simulate_all_ms(const Snapshot *s)
{
    double least = INFINITY;
    for (int run = 0; run < RUNS; run++) {
        double begin = now_ms();
        for (int c = 0; c < s->n_chains; c++) {
            const Chain *chain = &s->chains[c];
            const SiteOutlook *site = &s->sites[s->garden->places[chain->layers[0].place].site];
            ChainState state = s->states[c];
            int positions[CHAIN_LAYERS_MAX] = {0};
            PlaceStep met[CHAIN_LAYERS_MAX];
            for (int i = 0; i < s->n_steps; i++) {
                ChainForcing forcing = {
                    .now = &site->steps[i], .next = &site->steps[i + 1], .deep_c = site->deep_c};
                chain_step(chain, positions, &forcing, &state, met);
            }
            sink = met[0].air_c;
        }
        least = fmin(least, now_ms() - begin);
    }
    return least;
}

static void report(const char *what, const Snapshot *s, uint64_t budget, int runs)
{
    double least = INFINITY, reference = simulate_all_ms(s);
    Plan plan = {0};
    for (int run = 0; run < runs; run++) {
        Arena arena = {.base = memory, .size = ARENA_SIZE};
        double begin = now_ms();
        if (!plan_make(s, budget, &arena, &plan)) {
            printf("%s: the arena is too small\n", what);
            return;
        }
        least = fmin(least, now_ms() - begin);
    }
    printf("%-28s %8.2f ms a plan, %6.2f ms the reference, ratio %5.1f, %llu evaluations\n", what,
           least, reference, least / reference, (unsigned long long)plan.nodes);
}

static void small_garden(double mean_c, double half_range_k, double cloud)
{
    world_open(&world, mean_c, half_range_k, cloud);
    world_batch(&world, 0, CABBAGE, SILL, BED, STAGE_GROWING_ON);
    world_batch(&world, 1, CABBAGE, FRAME, BED, STAGE_HARDENING);
    world_batch(&world, 2, TOMATO, SILL, BED, STAGE_GROWING_ON);
    world_batch(&world, 3, CABBAGE, BOX, FLEECE, STAGE_HARDENING);
}

/* The small garden with frames added, and batches in forty groups that are equal among themselves.
 */
static void large_garden(void)
{
    static Place places[N_PLACES + MANY_FRAMES];
    static Chain chains[N_PLACES + MANY_FRAMES];
    static ChainState states[N_PLACES + MANY_FRAMES];
    static int positions[N_PLACES + MANY_FRAMES];
    static Batch batches[MANY_BATCHES];
    small_garden(9, 5, 0.4);
    int n = world.snapshot.n_chains;
    memcpy(places, world.places, sizeof world.places);
    memcpy(chains, world.chains, sizeof world.chains);
    memcpy(states, world.states, sizeof world.states);
    world.garden.places = places;
    for (int f = 0; f < MANY_FRAMES; f++) {
        places[N_PLACES + f] = places[FRAME];
        places[N_PLACES + f].trays = 40;
        world.garden.n_places = N_PLACES + f + 1;
        (void)chain_build(&world.garden, N_PLACES + f, &chains[n]);
        chain_rest(&chains[n], world.mean_c, world.mean_c, &states[n]);
        n++;
    }
    places[TUNNEL].trays = 80;
    for (int b = 0; b < MANY_BATCHES; b++) {
        int group = b % 40;
        batches[b] = world.batches[1];
        batches[b].crop = group % 2;
        batches[b].place = group < 4 ? TUNNEL : N_PLACES + group % MANY_FRAMES;
        batches[b].ramp.exposure_days = group / 2 % 7;
        batches[b].ramp.hardened_to_c -= group / 14;
    }
    world.snapshot.chains = chains;
    world.snapshot.states = states;
    world.snapshot.positions = positions;
    world.snapshot.batches = batches;
    world.snapshot.n_batches = MANY_BATCHES;
    world.snapshot.n_chains = n;
}

int main(void)
{
    memory = malloc(ARENA_SIZE);
    if (memory == NULL)
        return 1;
    small_garden(9, 5, 0.4);
    report("4 batches, mild", &world.snapshot, 100000, RUNS);
    small_garden(14, 6, 0);
    report("4 batches, warm and clear", &world.snapshot, 100000, RUNS);
    small_garden(5, 4, 0.2);
    report("4 batches, cold", &world.snapshot, 100000, RUNS);
    large_garden();
    report("200 batches in 40 groups", &world.snapshot, 100000, 2);
    free(memory);
    return 0;
}
