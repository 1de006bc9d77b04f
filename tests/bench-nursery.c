/* SPDX-License-Identifier: MIT */
/*
 * A community nursery planned for seven days, with 10 to 1,000 batches, or as many as asked for.
 * The reference of the same run is every batch of ten planned apart: what it would cost if nothing
 * were shared. Processor time of one thread; the memory is what the planner took of its arena.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <time.h>

#include "nursery.h"

#define ARENA_SIZE ((size_t)1 << 30)
#define BUDGET 20000 /* as the service's */

static Nursery nursery;
static unsigned char *memory;

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static int by_size(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median over the windows decided, in per cent of the window's own number. */
static double median_gap(const Plan *plan, bool near_only)
{
    static double gaps[512];
    int n = 0;
    for (int i = 0; i < plan->n_proofs && n < 512; i++) {
        const WindowProof *p = &plan->proofs[i];
        if (p->near || !near_only)
            gaps[n++] = p->number > 0.0 ? 100.0 * p->gap / p->number : 0.0;
    }
    qsort(gaps, (size_t)n, sizeof *gaps, by_size);
    return n > 0 ? gaps[n / 2] : NAN;
}

/* Its own processor time, or NAN; `ten_ms` of ten batches, 0 not known. */
static double bench(int n_batches, double ten_ms)
{
    struct rusage usage;
    Plan plan = {0};
    nursery_make(n_batches, &nursery);
    Arena arena = {.base = memory, .size = ARENA_SIZE};
    const double begin = now_ms();
    if (!plan_make(&nursery.snapshot, BUDGET, &arena, &plan)) {
        printf("nursery, %5d batches: more than %zu MB\n", n_batches, ARENA_SIZE >> 20);
        return NAN;
    }
    const double ms = now_ms() - begin;
    (void)getrusage(RUSAGE_SELF, &usage);
    printf(
        "nursery, %5d batches in %3d groups: %9.1f ms, %6.1f MB of arena, %ld MB in all, "
        "%llu evaluations, %d visits, %d jobs, median gap %.1f %% of near windows, %.1f %% of all",
        n_batches, nursery_groups(&nursery), ms, (double)arena.used / (1 << 20),
        usage.ru_maxrss / 1024, (unsigned long long)plan.nodes, plan.n_visits, plan.n_jobs,
        median_gap(&plan, true), median_gap(&plan, false));
    if (ten_ms > 0.0)
        printf(", ratio to tens apart %.3f", ms / (ten_ms * n_batches / 10.0));
    printf("\n");
    (void)fflush(stdout);
    return ms;
}

int main(int argc, char **argv)
{
    memory = malloc(ARENA_SIZE);
    if (memory == NULL)
        return 1;
    if (argc > 1) {
        (void)bench(atoi(argv[1]), 0.0);
    } else {
        const double ten_ms = bench(10, 0.0);
        for (int n = 100; n <= 1000; n *= 10) /* 10,000 take long: bench-nursery 10000 */
            (void)bench(n, ten_ms);
    }
    free(memory);
    return 0;
}
