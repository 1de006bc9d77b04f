/* SPDX-License-Identifier: MIT */
#include "base/backoff.h"

int64_t backoff_jitter_s(int64_t delay_s, GRand *rand)
{
    return MAX(1, (int64_t)((double)delay_s * g_rand_double_range(rand, 0.75, 1.25)));
}

int64_t backoff_s(guint failures, int64_t first_s, int64_t last_s)
{
    int64_t delay_s = first_s;

    for (guint i = 1; i < failures && delay_s < last_s; i++)
        delay_s *= 2;
    return MIN(delay_s, last_s);
}
