/* SPDX-License-Identifier: MIT */
#include "store/store-pack.h"

#include <string.h>

_Static_assert(sizeof(double) == 8, "doubles are kept as IEEE 754 binary64");

void pack_int(GByteArray *to, int64_t value)
{
    uint64_t bytes = GUINT64_TO_LE((uint64_t)value);
    g_byte_array_append(to, (const guint8 *)&bytes, sizeof bytes);
}

void pack_double(GByteArray *to, double value)
{
    int64_t bits;
    memcpy(&bits, &value, sizeof bits);
    pack_int(to, bits);
}

void pack_doubles(GByteArray *to, const double *values, int n)
{
    for (int i = 0; i < n; i++)
        pack_double(to, values[i]);
}

int64_t unpack_int(Unpacker *from)
{
    uint64_t bytes;
    if (from->left < sizeof bytes) {
        from->short_of = true;
        return 0;
    }
    memcpy(&bytes, from->data, sizeof bytes);
    from->data += sizeof bytes;
    from->left -= sizeof bytes;
    return (int64_t)GUINT64_FROM_LE(bytes);
}

double unpack_double(Unpacker *from)
{
    int64_t bits = unpack_int(from);
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

void unpack_doubles(Unpacker *from, double *values, int n)
{
    for (int i = 0; i < n; i++)
        values[i] = unpack_double(from);
}

int unpack_int_within(Unpacker *from, int low, int high)
{
    int64_t value = unpack_int(from);
    if (value < low || value > high) {
        from->short_of = true;
        return low;
    }
    return (int)value;
}
