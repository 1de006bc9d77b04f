/* SPDX-License-Identifier: MIT */
/* Properties of plans over random gardens, weather and batches. Each failure prints the seed that
 * gives it; THOLE_TEST_ROUNDS says how many. */
#include <inttypes.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "test-plan-walk.h"

#define ROUNDS 150 /* usual */
#define ARENA_SIZE ((size_t)32 << 20)
#define BUDGET 100000

static uint64_t rounds = ROUNDS;
static World world;
static Walked walked;
static unsigned char *memory, *memory_again;

static uint64_t random_state;

static double chance(void) /* 0..1, xorshift64* */
{
    random_state ^= random_state >> 12;
    random_state ^= random_state << 25;
    random_state ^= random_state >> 27;
    return (double)((random_state * 0x2545F4914F6CDD1Du) >> 11) / 9007199254740992.0;
}

static int pick(int n)
{
    return (int)(chance() * n);
}

static void random_batches(void)
{
    static const int stands[] = {SILL, STANDING, FRAME, TUNNEL, BOX, BED};
    int n = 1 + pick(5), used[N_PLACES] = {0};
    for (int b = 0; b < n; b++) {
        int place = stands[pick(6)], crop = chance() < 0.7 ? CABBAGE : TOMATO;
        bool indoors = place == SILL, bed = place == BED;
        if (world.places[place].trays >= 0 && used[place] >= world.places[place].trays)
            place = STANDING;
        used[place]++;
        world_batch(&world, b, crop, place, chance() < 0.8 ? BED : FLEECE,
                    bed       ? STAGE_PLANTED_OUT
                    : indoors ? STAGE_GROWING_ON
                              : STAGE_HARDENING);
        RampState *ramp = &world.batches[b].ramp;
        if (!indoors) {
            ramp->exposure_days = pick(7);
            ramp->hardened_to_c -= chance() * 5.0;
            ramp->frost_tolerance = chance();
            ramp->hold_days = chance() < 0.1 ? 1 + pick(2) : 0;
        }
    }
}

static void random_world(uint64_t seed)
{
    random_state = seed * 0x9E3779B97F4A7C15u + 1;
    (void)chance();
    world_open(&world, 5.0 + 10.0 * chance(), 2.0 + 6.0 * chance(), chance());
    world.cold_night = chance() < 0.5 ? 1 + pick(6) : -1;
    world.cold_night_k = 8.0 * chance();
    world_weather(&world);
    world_windows(&world, chance() < 0.4);
    world.growers[0].visits_a_day_away = 1 + pick(2);
    if (chance() < 0.3)
        world_absent(&world, 1, 1 + pick(3));
    if (chance() < 0.2) {
        double factor = 1.0 + 4.0 * chance();
        for (int i = 0; i <= TEST_STEPS; i++)
            world.steps[PLOT][i].gust_ms *= factor;
    }
    world.places[FRAME].trays = 1 + pick(4);
    world.positions[FRAME] = pick(4);
    world.positions[TUNNEL] = pick(2);
    world.positions[BOX] = pick(4);
    random_batches();
}

/* Fixed visits, at times of their own and off the grid, at most one a day; hours that are offered.
 */
static void random_wishes(void)
{
    for (int day = 0; day < 9; day++) {
        const int64_t midnight = START_UTC + (int64_t)day * 86400;
        const int site = pick(2);
        if (chance() < 0.4)
            world_fix(&world, site, midnight + (int64_t)pick(24 * 60) * 60);
        if (chance() < 0.3)
            world_offer(&world, pick(2), midnight + 10 * 3600,
                        midnight + (10 + pick(6)) * (int64_t)3600);
    }
}

static bool make(unsigned char *at, size_t size, Plan *ret)
{
    Arena arena = {.base = at, .size = size};
    return plan_make(&world.snapshot, BUDGET, &arena, ret);
}

#define HOLDS(seed, condition, ...)                                                                \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            print_error("seed %" PRIu64 ": %s\n", (uint64_t)(seed), #condition);                   \
            print_error("  " __VA_ARGS__);                                                         \
            print_error("\n");                                                                     \
            fail();                                                                                \
        }                                                                                          \
    } while (0)

static void check_visits(uint64_t seed, const Plan *p)
{
    for (int v = 0; v < p->n_visits; v++) {
        const Visit *x = &p->visits[v];
        bool inside = false, fixed = false;
        int that_day = 0, more = 0;
        for (int i = 0; i < world.snapshot.n_windows; i++) {
            const VisitWindow *w = &world.windows[i];
            const bool that = w->site == x->site && w->day == (int32_t)(x->start_utc / 86400);
            more |= that && w->offered;
            fixed = fixed || (that && w->fixed);
            inside = inside || (w->site == x->site && w->grower == x->grower &&
                                x->start_utc >= w->from_utc && x->start_utc <= w->to_utc);
        }
        HOLDS(seed, inside, "visit %d", v);
        HOLDS(seed, x->n_jobs > 0 || x->fixed, "visit %d", v);
        for (int u = 0; u <= v; u++) {
            const Visit *y = &p->visits[u];
            double apart_min = (double)(x->start_utc - y->start_utc) / 60.0;
            /* What a fixed visit takes is not known yet when others are chosen; nor is it on the
               grid. */
            double takes_min = y->fixed   ? world.snapshot.weights.visit_min
                               : x->fixed ? y->minutes - 30.0
                                          : y->minutes;
            that_day += y->site == x->site && y->start_utc / 86400 == x->start_utc / 86400;
            HOLDS(seed,
                  y->site == x->site || apart_min + (y->fixed ? 30.0 : 0.0) >=
                                            takes_min + world.growers[0].travel_min,
                  "visits %d and %d, %.0f min apart", u, v, apart_min);
        }
        int cap = x->site == HOME ? world.growers[0].visits_a_day_home
                                  : world.growers[0].visits_a_day_away;
        HOLDS(seed, that_day <= cap + more || x->beyond_cap || fixed,
              "visit %d is number %d of its day", v, that_day);
    }
}

/* Each fixed visit is there, to the second, and no other claims to be one. */
static void check_fixed(uint64_t seed, const Plan *p)
{
    int n = 0, found = 0;
    for (int i = 0; i < world.snapshot.n_windows; i++) {
        const VisitWindow *w = &world.windows[i];
        bool there = !w->fixed;
        for (int v = 0; v < p->n_visits; v++)
            there = there || (p->visits[v].fixed && p->visits[v].site == w->site &&
                              p->visits[v].start_utc == w->from_utc);
        HOLDS(seed, there, "window %d, hour %g", i, (double)(w->from_utc - START_UTC) / 3600.0);
        n += w->fixed;
    }
    for (int v = 0; v < p->n_visits; v++)
        found += p->visits[v].fixed;
    HOLDS(seed, n == found, "%d fixed, %d in the plan", n, found);
}

static void check_jobs(uint64_t seed, const Plan *p)
{
    for (int j = 0; j < p->n_jobs; j++) {
        const Job *x = &p->jobs[j];
        HOLDS(seed, x->reason.limit != LIMIT_NONE, "job %d kind %d", j, x->kind);
        HOLDS(seed, x->reason.at_utc != 0, "job %d kind %d", j, x->kind);
        HOLDS(seed,
              x->visit < 0 || x->deadline_utc == 0 ||
                  x->deadline_utc > p->visits[x->visit].start_utc,
              "job %d kind %d limit %d", j, x->kind, x->reason.limit);
        HOLDS(seed, !x->guard || x->deadline_utc != 0, "job %d", j);
        HOLDS(seed, x->visit >= 0 || x->kind == JOB_RESCUE || x->kind == JOB_LEAVE_SHUT, "job %d",
              j);
    }
}

/* What the walk finds beyond a risk limit is named by the plan; a little slack for the window's
 * edges. */
static void check_named(uint64_t seed, const Plan *p)
{
    const Risk *risk = &world.garden.risk;
    HOLDS(seed, (p->value.broken > 1e-9) == (p->n_breaches > 0), "broken %g, %d breaches",
          p->value.broken, p->n_breaches);
    HOLDS(seed, p->within_limits == (p->n_breaches == 0), "within %d", p->within_limits);
    for (int b = 0; b < world.snapshot.n_batches; b++) {
        const WalkedBatch *x = &walked.batches[b];
        HOLDS(seed, x->damage_odds <= risk->damage * 1.05 || plan_names(p, b, LIMIT_DAMAGE),
              "batch %d odds %g", b, x->damage_odds);
        HOLDS(seed, x->check_share <= risk->check + 0.02 || plan_names(p, b, LIMIT_CHECK),
              "batch %d share %g", b, x->check_share);
        HOLDS(seed, x->heat_kh <= 0.05 || plan_names(p, b, LIMIT_HEAT), "batch %d heat %g K h", b,
              x->heat_kh);
        HOLDS(seed, x->scorch_h <= 0.05 || plan_names(p, b, LIMIT_SCORCH), "batch %d scorch %g h",
              b, x->scorch_h);
        HOLDS(seed, x->frozen_touched == 0, "batch %d", b);
    }
}

/* A light that stands open over plants in a gust above its limit is named. */
static void check_gusts(uint64_t seed, const Plan *p)
{
    bool named = plan_names(p, -1, LIMIT_GUST);
    for (int i = 0; i < TEST_STEPS - 48; i++) {
        for (int b = 0; b < world.snapshot.n_batches; b++) {
            for (int at = walked.places_at[b][i]; at >= 0; at = world.places[at].parent) {
                const Place *place = &world.places[at];
                bool harmed = place->covered && !place->cover.porous &&
                              place->cover.n_positions > 1 && walked.positions_at[at][i] != 0 &&
                              world.steps[place->site][i].gust_ms > place->cover.gust_limit_ms;
                HOLDS(seed, !harmed || named, "batch %d under place %d, half-hour %d", b, at, i);
            }
        }
    }
}

/* What is passed in the first windows for good is also cried out, and a grave harm days before. */
static void check_rescues(uint64_t seed, const Plan *p)
{
    for (int i = 0; i < p->n_breaches; i++) {
        const Reason *r = &p->breaches[i];
        bool cried = false;
        for (int j = 0; j < p->n_jobs; j++)
            cried = cried || (p->jobs[j].kind == JOB_RESCUE && p->jobs[j].batch == r->batch &&
                              (p->jobs[j].urgent || p->jobs[j].reason.odds <= 0.05));
        HOLDS(seed,
              cried || r->limit != LIMIT_DAMAGE ||
                  r->at_utc >= START_UTC + (r->odds > 0.25 ? 3 : 1) * 86400,
              "breach %d of batch %d", i, r->batch);
    }
}

static void test_properties(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= rounds; seed++) {
        Plan p;
        random_world(seed);
        HOLDS(seed, make(memory, ARENA_SIZE, &p), "the arena is large enough");
        walk_plan(&world, &p, &walked);
        HOLDS(seed, walked.fault == NULL, "%s, job %d", walked.fault, walked.fault_job);
        check_visits(seed, &p);
        check_jobs(seed, &p);
        check_named(seed, &p);
        check_gusts(seed, &p);
        check_rescues(seed, &p);
    }
}

static void hold_same(uint64_t seed, const Plan *a, const Plan *b);

/* The same with what the grower wishes; what is published does not move it. */
static void test_wishes(void **state)
{
    (void)state;
    int n_fixed = 0, with_jobs = 0, n_offered = 0;
    for (uint64_t seed = 1; seed <= rounds / 3; seed++) {
        Plan p, again;
        random_world(seed);
        random_wishes();
        HOLDS(seed, make(memory, ARENA_SIZE, &p), "the arena is large enough");
        check_visits(seed, &p);
        check_fixed(seed, &p);
        check_jobs(seed, &p);
        for (int v = 0; v < p.n_visits; v++) {
            n_fixed += p.visits[v].fixed;
            with_jobs += p.visits[v].fixed && p.visits[v].n_jobs > 0;
            for (int i = 0; i < world.snapshot.n_windows; i++) {
                const VisitWindow *w = &world.windows[i];
                n_offered += w->offered && w->site == p.visits[v].site &&
                             p.visits[v].start_utc >= w->from_utc &&
                             p.visits[v].start_utc <= w->to_utc;
            }
        }
        if (seed % 3 != 0)
            continue;
        world.snapshot.former = p.visits;
        world.snapshot.n_former = p.n_visits;
        world.snapshot.former_jobs = p.jobs;
        world.snapshot.n_former_jobs = p.n_jobs;
        HOLDS(seed, make(memory_again, ARENA_SIZE, &again), "the arena is large enough");
        check_fixed(seed, &again);
        hold_same(seed, &p, &again);
    }
    print_message("%d fixed visits, %d of them with jobs; %d in offered hours\n", n_fixed,
                  with_jobs, n_offered);
    assert_true(n_fixed > (int)rounds / 3 && with_jobs > 0 && with_jobs < n_fixed && n_offered > 0);
}

static void hold_same(uint64_t seed, const Plan *a, const Plan *b)
{
    HOLDS(seed, a->n_visits == b->n_visits && a->n_jobs == b->n_jobs,
          "%d visits, %d jobs, then %d and %d", a->n_visits, a->n_jobs, b->n_visits, b->n_jobs);
    for (int v = 0; v < a->n_visits; v++)
        HOLDS(seed,
              a->visits[v].start_utc == b->visits[v].start_utc &&
                  a->visits[v].site == b->visits[v].site,
              "visit %d", v);
    for (int j = 0; j < a->n_jobs; j++) {
        const Job *x = &a->jobs[j], *y = &b->jobs[j];
        HOLDS(seed,
              x->kind == y->kind && x->visit == y->visit && x->batch == y->batch &&
                  x->place == y->place && x->position == y->position &&
                  x->deadline_utc == y->deadline_utc,
              "job %d", j);
    }
}

static void test_published(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= rounds / 3; seed++) {
        Plan p, again;
        random_world(seed);
        HOLDS(seed, make(memory, ARENA_SIZE, &p), "the arena is large enough");
        world.snapshot.former = p.visits;
        world.snapshot.n_former = p.n_visits;
        world.snapshot.former_jobs = p.jobs;
        world.snapshot.n_former_jobs = p.n_jobs;
        HOLDS(seed, make(memory_again, ARENA_SIZE, &again), "the arena is large enough");
        hold_same(seed, &p, &again);
        world.snapshot.n_former_jobs = 0;
        HOLDS(seed, make(memory_again, ARENA_SIZE, &again), "the arena is large enough");
        hold_same(seed, &p, &again);
    }
}

static void test_small_arena(void **state)
{
    (void)state;
    random_world(7);
    Plan before = {.n_visits = -7}, p = before;
    bool made = false;
    for (size_t size = 1024; size < ARENA_SIZE && !made; size += size / 3) {
        unsigned char *exact = malloc(size);
        assert_non_null(exact);
        made = make(exact, size, &p);
        if (!made)
            assert_int_equal(p.n_visits, -7);
        free(exact);
    }
    assert_true(made);
}

static int set_up(void **state)
{
    (void)state;
    memory = malloc(ARENA_SIZE);
    memory_again = malloc(ARENA_SIZE);
    return memory == NULL || memory_again == NULL;
}

static int tear_down(void **state)
{
    (void)state;
    free(memory);
    free(memory_again);
    return 0;
}

int main(void)
{
    const char *given = getenv("THOLE_TEST_ROUNDS");
    if (given != NULL)
        rounds = strtoull(given, NULL, 10);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_properties),
        cmocka_unit_test(test_wishes),
        cmocka_unit_test(test_published),
        cmocka_unit_test(test_small_arena),
    };
    return cmocka_run_group_tests_name("plan-properties", tests, set_up, tear_down);
}
