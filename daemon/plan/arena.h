/* SPDX-License-Identifier: MIT */
/* The caller's memory, handed out from the front; nothing is given back but all at once, or to a
 * mark. */
#pragma once

#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

typedef struct Arena {
    unsigned char *base;
    size_t size, used;
    int failed; /* an allocation did not fit: the result is not to be used */
    /* (nullable) once it is set, by whatever thread, nothing fits any more: what is being made with
       this memory ends soon, without a result */
    const atomic_bool *stop;
} Arena;

/* Zeroed room for `count` things of `size` bytes, or NULL (and `failed` set) where it does not fit.
 */
static inline void *arena_new(Arena *arena, size_t count, size_t size)
{
    size_t start = (arena->used + 15u) & ~(size_t)15u;
    if (arena->stop != NULL && atomic_load_explicit(arena->stop, memory_order_relaxed)) {
        arena->failed = 1;
        return NULL;
    }
    if (size != 0 && count > (SIZE_MAX - start) / size) {
        arena->failed = 1;
        return NULL;
    }
    size_t bytes = count * size;
    if (start > arena->size || bytes > arena->size - start) {
        arena->failed = 1;
        return NULL;
    }
    arena->used = start + bytes;
    return memset(arena->base + start, 0, bytes);
}

#define ARENA_NEW(arena, count, type) ((type *)arena_new((arena), (size_t)(count), sizeof(type)))
