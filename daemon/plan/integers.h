/* SPDX-License-Identifier: MIT */
/* What <stdlib.h> and others give for floating point only. */
#pragma once

#include <stdint.h>

static inline int int_abs(int x)
{
    return x < 0 ? -x : x;
}
static inline int int_min(int x, int y)
{
    return x < y ? x : y;
}
static inline int int_max(int x, int y)
{
    return x > y ? x : y;
}
static inline int64_t int64_later(int64_t x, int64_t y)
{
    return x > y ? x : y;
}
