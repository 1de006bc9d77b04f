/* SPDX-License-Identifier: MIT */
/* How long a new plan takes through the whole service, beside one commit of the store. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>

#include "service-world.h"

#define ROUNDS 5

static const WorldWeather frost = {.low_c = 4, .high_c = 14, .cold_day = 3, .cold_c = -4};

static double milliseconds_since(gint64 us)
{
    return (double)(g_get_monotonic_time() - us) / 1000.0;
}

static double commit_ms(World *w)
{
    gint64 begun_us = g_get_monotonic_time();
    for (int i = 0; i < 50; i++) {
        assert_true(store_begin(w->service->store, NULL));
        assert_true(store_put_setting(w->service->store, "bench", i % 2 ? "a" : "b", NULL));
        assert_true(store_commit(w->service->store, NULL));
    }
    return milliseconds_since(begun_us) / 50;
}

static void bench(int n)
{
    static const char *const crops[] = {"lettuce", "cabbage", "leek", "tomato"};
    World *w = world_new(world_garden, "2026-04-08T16:00:00Z");
    world_start(w);
    w->durable = TRUE;
    world_stop(w);
    world_start(w);
    world_forecast(w, &frost);
    for (int i = 0; i < n; i++)
        world_put_batch(w, crops[i % 4], 12,
                        i % 3 == 0   ? "bed"
                        : i % 3 == 1 ? "tunnel"
                                     : "frame",
                        STAGE_HARDENING, 40 + i % 20);
    double commit = commit_ms(w);
    gint64 begun_us = g_get_monotonic_time();
    for (int i = 0; i < ROUNDS; i++) {
        service_ask_plan(w->service, "bench");
        service_plan_now(w->service);
    }
    double plan = milliseconds_since(begun_us) / ROUNDS;
    assert_null(w->service->store_problem);
    print_message("a new plan, %3d batches %29s %8.1f ms, a commit %.2f ms: %.0f commits\n", n, "",
                  plan, commit, plan / commit);
    world_free(w);
}

int main(void)
{
    bench(4);
    bench(10);
    bench(200);
    return 0;
}
