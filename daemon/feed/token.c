/* SPDX-License-Identifier: MIT */
#include "feed/token.h"

gboolean feed_token_equal(const char *a, gsize a_length, const char *b)
{
    volatile unsigned char differs = 0; /* or the compiler may leave the loop early */

    if (a_length != FEED_TOKEN_LENGTH)
        return FALSE; /* how long a token is everybody may know */
    for (gsize i = 0; i < FEED_TOKEN_LENGTH; i++)
        differs |= (unsigned char)a[i] ^ (unsigned char)b[i];
    return differs == 0;
}
