/* SPDX-License-Identifier: MIT */
#pragma once

#include <glib.h>

#define FEED_TOKEN_LENGTH 32 /* hexadecimal digits: 128 bits */

/*
 * Whether A and B are the same FEED_TOKEN_LENGTH bytes, in a time that does not tell how many of
 * them are. A is of any length, B a token.
 */
gboolean feed_token_equal(const char *a, gsize a_length, const char *b);
