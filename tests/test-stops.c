/* SPDX-License-Identifier: MIT */
/* The order in which the jobs of a visit are walked, in a small garden by hand. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include <stdio.h>
#include <string.h>

#include "plan/stops.h"

enum { STANDING, FRAME, TUNNEL, BOX, FLEECE, SILL, PLOT_BED, N_PLACES };
enum { HOME, PLOT };
#define JOBS_MAX 12
#define ROUNDS 2000

typedef struct World {
    Place places[N_PLACES];
    Garden garden;
    Job jobs[JOBS_MAX];
    int n;
} World;

static void world_open(World *w)
{
    static const PlaceKind kinds[N_PLACES] = {PLACE_STANDING, PLACE_COLD_FRAME, PLACE_TUNNEL,
                                              PLACE_BOX,      PLACE_FLEECE,     PLACE_SILL,
                                              PLACE_BED};
    *w = (World){.garden = {.n_places = N_PLACES, .n_sites = 2}};
    for (int p = 0; p < N_PLACES; p++)
        w->places[p] = (Place){.kind = kinds[p], .parent = -1, .trays = -1};
    w->places[BOX].parent = TUNNEL;
    w->places[FLEECE].parent = BOX;
    w->places[SILL].indoors = true;
    w->places[PLOT_BED].site = PLOT;
    w->garden.places = w->places;
}

static void cover(World *w, int place, int from, int to)
{
    w->jobs[w->n++] = (Job){.kind = JOB_SET_COVER,
                            .batch = -1,
                            .place = place,
                            .from_place = -1,
                            .from_position = from,
                            .position = to};
}

static void carry(World *w, JobKind kind, int batch, int from, int to)
{
    w->jobs[w->n++] =
        (Job){.kind = kind, .batch = batch, .place = to, .from_place = from, .position = -1};
}

static void water(World *w, int place)
{
    w->jobs[w->n++] = (Job){.kind = JOB_WATER, .batch = -1, .place = place, .from_place = -1};
}

static void planted(World *w, JobKind kind, int batch, int place)
{
    w->jobs[w->n++] = (Job){.kind = kind, .batch = batch, .place = place, .from_place = -1};
}

/* "move 1 sill>frame" is written m1:5>1, a cover c1=3, water w1 (batch 0 alone: w1/0), a guard g1.
 */
static void check(World *w, const char *expected)
{
    static unsigned char room[1 << 16];
    Arena arena = {.base = room, .size = sizeof room};
    char text[256] = "";
    assert_true(stops_order(&w->garden, HOME, w->jobs, w->n, &arena));
    assert_int_equal(arena.used, 0);
    for (int j = 0; j < w->n; j++) {
        const Job *job = &w->jobs[j];
        char *at = text + strlen(text);
        size_t left = sizeof text - strlen(text);
        if (job->kind == JOB_SET_COVER)
            (void)snprintf(at, left, " c%d=%d", job->place, job->position);
        else if (job->kind == JOB_WATER && job->batch >= 0)
            (void)snprintf(at, left, " w%d/%d", job->place, job->batch);
        else if (job->kind == JOB_WATER || job->kind == JOB_PROTECT)
            (void)snprintf(at, left, " %c%d", job->kind == JOB_WATER ? 'w' : 'g', job->place);
        else
            (void)snprintf(at, left, " m%d:%d>%d", job->batch, job->from_place, job->place);
    }
    assert_string_equal(text, expected);
}

/* Out of the house to two places: the sill once, and each place with all that is done there. */
static void test_morning(void **state)
{
    World w;
    (void)state;
    world_open(&w);
    carry(&w, JOB_MOVE, 0, SILL, FRAME);
    carry(&w, JOB_MOVE, 1, SILL, TUNNEL);
    water(&w, TUNNEL);
    cover(&w, FRAME, 0, 1);
    cover(&w, BOX, 0, 1);
    cover(&w, TUNNEL, 0, 1);
    water(&w, SILL);
    check(&w, " m0:5>1 m1:5>2 w5 c2=1 c3=1 w2 c1=1");
}

/* Watered before they are lifted, then planted, guarded, and the fleece over them last. */
static void test_planting(void **state)
{
    World w;
    (void)state;
    world_open(&w);
    carry(&w, JOB_MOVE, 0, BOX, FLEECE);
    planted(&w, JOB_PROTECT, -1, BOX);
    carry(&w, JOB_PLANT_OUT, 0, FRAME, BOX);
    water(&w, FRAME);
    planted(&w, JOB_WATER, 0, FRAME);
    cover(&w, FRAME, 0, 3);
    check(&w, " c1=3 w1/0 m0:1>3 w1 g3 m0:3>4");
}

/* Home in the evening: what is carried in comes before the cover is shut over the rest, and the
 * house is last, since all of it ends there. */
static void test_evening(void **state)
{
    World w;
    (void)state;
    world_open(&w);
    cover(&w, TUNNEL, 1, 0);
    cover(&w, FRAME, 3, 0);
    cover(&w, FLEECE, 1, 0);
    cover(&w, BOX, 1, 0);
    water(&w, SILL);
    carry(&w, JOB_MOVE, 0, FRAME, SILL);
    carry(&w, JOB_MOVE, 1, TUNNEL, SILL);
    check(&w, " m0:1>5 c1=0 m1:2>5 c4=0 c3=0 c2=0 w5");
}

/* One goes on as another takes its place: frame to standing, sill to frame, in one walk. */
static void test_moving_up(void **state)
{
    World w;
    (void)state;
    world_open(&w);
    carry(&w, JOB_MOVE, 0, FRAME, STANDING);
    carry(&w, JOB_MOVE, 1, SILL, FRAME);
    cover(&w, FRAME, 0, 2);
    water(&w, STANDING);
    check(&w, " m1:5>1 c1=2 m0:1>0 w0");
}

/* What has come from elsewhere is put down first, what goes there is taken last. */
static void test_trips(void **state)
{
    World w;
    (void)state;
    world_open(&w);
    cover(&w, STANDING, 0, 1);
    carry(&w, JOB_TRANSFER, 0, TUNNEL, PLOT_BED);
    carry(&w, JOB_TRANSFER, 1, PLOT_BED, FRAME);
    check(&w, " m1:6>1 c0=1 m0:2>6");
}

/* Two that change places: each stop still comes once. */
static void test_round_about(void **state)
{
    World w;
    (void)state;
    world_open(&w);
    carry(&w, JOB_MOVE, 0, FRAME, TUNNEL);
    carry(&w, JOB_MOVE, 1, TUNNEL, FRAME);
    cover(&w, FRAME, 0, 1);
    cover(&w, TUNNEL, 1, 0);
    check(&w, " c1=1 m0:1>2 m1:2>1 c2=0");
}

static int stop_of(const World *w, const Job *job)
{
    bool moves = job->kind == JOB_MOVE;
    int p = moves ? job->from_place : job->place;
    while (w->places[p].parent >= 0)
        p = w->places[p].parent;
    return p;
}

/* Whatever is to be done: all of it once, no stop twice, and nothing shut before what is carried
 * out of it or, but in a round, into it. */
static void test_any(void **state)
{
    uint32_t seed = 20261126, random = seed;
    (void)state;
    print_message("seed %u\n", seed);
    for (int round = 0; round < ROUNDS; round++) {
        static unsigned char room[1 << 16];
        Arena arena = {.base = room, .size = sizeof room};
        World w;
        bool seen[JOBS_MAX] = {false}, left[N_PLACES] = {false};
        world_open(&w);
        while (w.n < JOBS_MAX) {
            random = random * 1664525u + 1013904223u;
            int p = (int)(random >> 16) % PLOT_BED, q = (int)(random >> 8) % PLOT_BED;
            if (random >> 30 == 0)
                water(&w, p);
            else if (random >> 30 == 1)
                cover(&w, p, 1, (int)(random >> 29) % 2 * 2);
            else if (p != q)
                carry(&w, JOB_MOVE, w.n, p, q);
        }
        for (int j = 0; j < w.n; j++)
            w.jobs[j].visit = j; /* a mark of its own */
        assert_true(stops_order(&w.garden, HOME, w.jobs, w.n, &arena));
        for (int j = 0, at = -1; j < w.n; j++) {
            int stop = stop_of(&w, &w.jobs[j]);
            assert_false(seen[w.jobs[j].visit]);
            seen[w.jobs[j].visit] = true;
            assert_false(stop != at && left[stop]);
            if (at >= 0 && stop != at)
                left[at] = true;
            at = stop;
            bool shuts = w.jobs[j].kind == JOB_SET_COVER && w.jobs[j].position == 0;
            for (int k = j + 1; shuts && k < w.n; k++)
                assert_false(w.jobs[k].kind == JOB_MOVE && w.jobs[k].place != FLEECE &&
                             stop_of(&w, &w.jobs[k]) == stop);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_morning), cmocka_unit_test(test_planting),
        cmocka_unit_test(test_evening), cmocka_unit_test(test_moving_up),
        cmocka_unit_test(test_trips),   cmocka_unit_test(test_round_about),
        cmocka_unit_test(test_any)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
