/* SPDX-License-Identifier: MIT */
/*
 * How far the exact search gets where much can be chosen: random sites of twelve groups in four
 * covered places on three chains, with three visits. How many windows are proved with the planner's
 * allowance, beginning from what the greedy search found, and what that takes.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "plan-garden.h"
#include "plan/exact.h"

#define GARDENS 50
#define BATCHES 12
#define SECOND_FRAME STANDING /* moved to the plot, and covered */
#define ARENA_SIZE ((size_t)256 << 20)

static World world;
static Batch batches[BATCHES];
static unsigned char *memory;
static uint64_t random_state;

static double chance(void)
{
    random_state = random_state * 6364136223846793005u + 1442695040888963407u;
    return (double)(random_state >> 11) / 9007199254740992.0;
}

static int pick(int n)
{
    return (int)(chance() * n);
}

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static const int covered[] = {FRAME, TUNNEL, BOX, SECOND_FRAME};

static void random_places(void)
{
    Place *second = &world.places[SECOND_FRAME];
    char name[NAME_SIZE];
    memcpy(name, second->name, sizeof name);
    *second = world.places[FRAME];
    memcpy(second->name, name, sizeof name);
    for (int i = 0; i < 4; i++) { /* shut, half open, open; or shut and open */
        Cover *c = &world.places[covered[i]].cover;
        if (c->n_positions == 4) {
            const bool half = chance() < 0.5;
            c->positions[1] = c->positions[half ? 2 : 3];
            c->positions[2] = c->positions[3];
            c->n_positions = half ? 3 : 2;
        }
        world.places[covered[i]].trays = 5 + pick(4);
    }
    world.places[FLEECE].trays = 0;
    int n = 0;
    for (int p = 0; p < N_PLACES; p++) {
        if (world.places[p].parent >= 0)
            continue;
        (void)chain_build(&world.garden, p, &world.chains[n]);
        chain_rest(&world.chains[n], world.mean_c, world.mean_c, &world.states[n]);
        n++;
    }
    world.snapshot.n_chains = n;
    for (int p = 0; p < N_PLACES; p++)
        world.positions[p] = world.places[p].covered ? pick(world.places[p].cover.n_positions) : 0;
}

static void random_batches(void)
{
    const double may_move = 0.2 + 0.8 * chance();
    for (int i = 0; i < BATCHES; i++) {
        const Stage stage = chance() < may_move ? STAGE_HARDENING : STAGE_GROWING_ON;
        world_batch(&world, 0, chance() < 0.8 ? CABBAGE : TOMATO, covered[i % 4], BED, stage);
        Batch *batch = &batches[i];
        *batch = world.batches[0];
        (void)snprintf(batch->name, sizeof batch->name, "b%d", i);
        if (stage == STAGE_GROWING_ON)
            batch->sown_utc = START_UTC - 14 * 86400; /* too small to harden */
        batch->trays = 1 + pick(2);
        batch->resowable = chance() < 0.5;
        batch->ramp.exposure_days = pick(7);
        batch->ramp.hardened_to_c -= 7.0 * chance();
        batch->ramp.frost_tolerance = sqrt(chance());
    }
    world.snapshot.batches = batches;
    world.snapshot.n_batches = BATCHES;
}

/* Three stretches of a day at the plot. */
static void random_garden(void)
{
    static const int hours[] = {7, 12, 18};
    const bool mild = chance() < 0.7;
    world_open(&world, mild ? 9.0 + 5.0 * chance() : 2.0 + 14.0 * chance(), 2.0 + 6.0 * chance(),
               chance());
    world.snapshot.n_windows = 0;
    for (int i = 0; i < 30; i++) {
        const int64_t midnight = START_UTC + (int64_t)(i / 3) * 86400,
                      from = midnight + (int64_t)hours[i % 3] * 3600;
        world.windows[world.snapshot.n_windows++] =
            (VisitWindow){.site = PLOT,
                          .day = (int32_t)(midnight / 86400),
                          .from_utc = from,
                          .to_utc = from + 2 * STEP_S};
    }
    world.cold_night = 1;
    world.cold_night_k = mild ? 2.0 * chance() : 6.0 * chance();
    world_weather(&world);
    random_places();
    random_batches();
}

typedef struct Tally {
    int proved, within, proved_within, better;
    double ms, most_ms, gap, evaluations;
} Tally;

static void prove(uint64_t seed, uint64_t evaluations, Tally *tally)
{
    Arena arena = {.base = memory, .size = ARENA_SIZE};
    Plan plan = {0};
    Board b;
    Search q;
    ExactProof proof;
    PlanValue found, greedy;
    random_state = seed;
    (void)chance();
    random_garden();
    if (!board_open(&b, &world.snapshot, &arena, &plan))
        abort();
    int i = 0;
    while (b.windows[i].site != PLOT || b.windows[i].n_slots < 3)
        i++;
    Window *w = &b.windows[i];
    w->cap = VISITS_MAX;
    b.budget = UINT64_MAX;
    b.work_ahead = 1.0 / BATCHES;
    board_group(&b);
    Schedule *schedule = schedule_new(&b, &b.stand);
    if (!tracks_open(&b) || !search_window(&b, w, schedule) || !search_open(&b, w, &q) ||
        !evaluate_exact(&b, w, schedule, q.results, NULL, &greedy))
        abort();
    const ExactTask task = {.most = VISITS_MAX, .evaluations = evaluations};
    const uint64_t before = b.nodes;
    const double begin = now_ms();
    found = greedy;
    if (!exact_window(&q, &task, schedule, &found, &proof))
        abort();
    const double ms = now_ms() - begin;
    const bool within = found.broken <= 1e-9;
    tally->proved += proof.proved;
    tally->within += within;
    tally->proved_within += within && proof.proved;
    tally->ms += ms / GARDENS;
    tally->most_ms = fmax(tally->most_ms, ms);
    tally->evaluations += (double)(b.nodes - before) / GARDENS;
    tally->gap += 100.0 * proof.gap / (found.broken + found.number) / GARDENS;
    tally->better += plan_value_compare(&found, &greedy) < 0;
}

int main(void)
{
    static const uint64_t allowances[] = {3000, 30000, 150000};
    memory = malloc(ARENA_SIZE);
    if (memory == NULL)
        return 1;
    for (size_t i = 0; i < sizeof allowances / sizeof *allowances; i++) {
        Tally t = {0};
        for (uint64_t seed = 1; seed <= GARDENS; seed++)
            prove(seed, allowances[i], &t);
        printf("exact, 12 groups, 3 chains, 3 visits, at most %6llu evaluations: %d of %d proved "
               "(%d of %d within the limits), gap %.1f %% on the mean, %d bettered; %.1f ms, at "
               "most %.1f, %.0f evaluations\n",
               (unsigned long long)allowances[i], t.proved, GARDENS, t.proved_within, t.within,
               t.gap, t.better, t.ms, t.most_ms, t.evaluations);
        (void)fflush(stdout);
    }
    free(memory);
    return 0;
}
