/* SPDX-License-Identifier: MIT */
/* Numbers as bytes, little-endian, each of 8 bytes: doubles bit for bit, NAN included. */
#pragma once

#include <glib.h>
#include <stdbool.h>
#include <stdint.h>

typedef struct Unpacker {
    const uint8_t *data;
    size_t left;   /* bytes */
    bool short_of; /* more was asked than there is; what was given then is 0 */
} Unpacker;

void pack_int(GByteArray *to, int64_t value);
void pack_double(GByteArray *to, double value);
void pack_doubles(GByteArray *to, const double *values, int n);

int64_t unpack_int(Unpacker *from);
double unpack_double(Unpacker *from);
void unpack_doubles(Unpacker *from, double *values, int n);

/* An int of LOW … HIGH; anything else counts as short_of. */
int unpack_int_within(Unpacker *from, int low, int high);
