/* SPDX-License-Identifier: MIT */
/*
 * What the tests of the odds share: random numbers of a printed seed, and Gaussian conditioning in
 * one piece, on dense matrices, without any recursion: the reference for every filter.
 */
#pragma once

#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define DENSE_MAX 40

static inline void dense_seed(void)
{
    const char *given = getenv("THOLE_TEST_SEED");
    unsigned number = given ? (unsigned)strtoul(given, NULL, 10) : (unsigned)time(NULL);
    print_message("# seed %u (THOLE_TEST_SEED)\n", number);
    srand(number);
}

static inline double uniform(double from, double to)
{
    return from + (to - from) * rand() / RAND_MAX;
}

/* Box and Muller. */
static inline double normal(void)
{
    double u = (rand() + 1.0) / (RAND_MAX + 2.0);
    return sqrt(-2.0 * log(u)) * cos(6.283185307179586 * rand() / RAND_MAX);
}

/* Student's t with four degrees of freedom, scaled to a variance of 1. */
static inline double heavy(void)
{
    double square = 0.0;
    for (int i = 0; i < 4; i++) {
        double x = normal();
        square += x * x;
    }
    return normal() / sqrt(square / 4.0) / sqrt(2.0);
}

/* What was seen, jointly normal about 0. */
typedef struct Dense {
    int n;
    double seen[DENSE_MAX], covariance[DENSE_MAX][DENSE_MAX];
} Dense;

/* Mean and variance of an unknown with `with[]` as its covariances and `variance` beforehand. */
static inline void dense_condition(const Dense *d, const double *with, double variance,
                                   double *ret_mean, double *ret_variance)
{
    static double m[DENSE_MAX][DENSE_MAX + 1];
    for (int i = 0; i < d->n; i++) {
        memcpy(m[i], d->covariance[i], sizeof d->covariance[i]);
        m[i][d->n] = with[i];
    }
    for (int i = 0; i < d->n; i++) {
        int best = i;
        for (int r = i; r < d->n; r++)
            best = fabs(m[r][i]) > fabs(m[best][i]) ? r : best;
        for (int c = 0; c <= d->n; c++) {
            double swapped = m[i][c];
            m[i][c] = m[best][c];
            m[best][c] = swapped;
        }
        for (int r = 0; r < d->n; r++) {
            double factor = r == i ? 0.0 : m[r][i] / m[i][i];
            for (int c = i; c <= d->n; c++)
                m[r][c] -= factor * m[i][c];
        }
    }
    *ret_mean = 0.0;
    *ret_variance = variance;
    for (int i = 0; i < d->n; i++) {
        double weight = m[i][d->n] / m[i][i];
        *ret_mean += weight * d->seen[i];
        *ret_variance -= weight * with[i];
    }
}
