/* SPDX-License-Identifier: MIT */
/*
 * A community nursery planned for seven days, with 10 to 10,000 batches. The reference of the same
 * run is every batch of ten planned apart: what it would cost if nothing were shared. Processor
 * time of one thread; the memory is what the planner took of its arena.
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

/* Median over the windows decided, as a share of the window's part of the plan's number. */
static double median_gap(const Plan *plan, double *ret_near)
{
    static double gaps[512];
    int n = 0, near = 0;
    for (int i = 0; i < plan->n_proofs && n < 512; i++)
        if (plan->proofs[i].near)
            gaps[n++] = plan->proofs[i].gap;
    near = n;
    qsort(gaps, (size_t)n, sizeof *gaps, by_size);
    *ret_near = near > 0 ? gaps[near / 2] : NAN;
    n = 0;
    for (int i = 0; i < plan->n_proofs && n < 512; i++)
        gaps[n++] = plan->proofs[i].gap;
    qsort(gaps, (size_t)n, sizeof *gaps, by_size);
    return n > 0 ? gaps[n / 2] : NAN;
}

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
    double near, all = median_gap(&plan, &near);
    (void)getrusage(RUSAGE_SELF, &usage);
    printf("nursery, %5d batches in %3d groups: %9.1f ms, %6.1f MB of arena, %ld MB in all, "
           "%llu evaluations, %d visits, %d jobs, median gap %.4f near, %.4f of all, number %.2f",
           n_batches, nursery_groups(&nursery), ms, (double)arena.used / (1 << 20),
           usage.ru_maxrss / 1024, (unsigned long long)plan.nodes, plan.n_visits, plan.n_jobs, near,
           all, plan.value.number);
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
        for (int n = 100; n <= NURSERY_BATCHES_MAX; n *= 10)
            (void)bench(n, ten_ms);
    }
    free(memory);
    return 0;
}
